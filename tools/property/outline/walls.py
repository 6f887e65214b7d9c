"""The walls of a house from above, and what stands at them: spigots and paving.

Coordinates are in metres, x to the east and y to the north. A wall runs from its first corner to
its second in the order in which the file names them.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import atan2, cos, hypot, pi, sin

from shapely import LinearRing, Polygon
from shapely.geometry.polygon import orient

from evenclay.sim.units import Units

Point = tuple[float, float]
# Of one ring, and of a house: more make the search for a layout long.
WALLS_MOST, COURTYARDS_MOST, PAVING_MOST = 24, 3, 12
CLOSES_M = 0.05  # sides measured with a tape rarely meet nearer: common practice, no source
SHORTEST_M = 0.1
STRAIGHT = 0.02  # sine of an angle below which two walls are one
OFF_M = 1.0  # a point farther from every wall is none at a wall


class ShapeError(ValueError):
    """An outline that is no house; `keys`: the place in the table.

    found, allowed: in words, with the lengths [m] in braces by their names.
    """

    def __init__(self, found: str, allowed: str, *keys: str | int, **lengths_m: float) -> None:
        super().__init__(found)
        self.keys = keys
        self._words, self._lengths_m = (found, allowed), lengths_m

    def told(self, units: Units) -> tuple[str, str]:
        """What was found and what is allowed, in these units."""
        lengths = {name: units.shown(m, "length", ".3g") for name, m in self._lengths_m.items()}
        found, allowed = [words.format(**lengths) for words in self._words]
        return found, allowed


@dataclass(frozen=True)
class Place:
    """A place at a wall: along a side by its number, or a point."""

    side: int | None = None
    along_m: float | None = None
    point: Point | None = None


@dataclass(frozen=True)
class Wall:
    """One wall. ring: 0 for the house's outer ring, from 1 on its courtyards. outward_deg: where
    its outside lies, clockwise from north."""

    number: int
    ring: int
    start: Point
    end: Point
    outward_deg: float

    @property
    def length_m(self) -> float:
        return hypot(self.end[0] - self.start[0], self.end[1] - self.start[1])

    @property
    def side(self) -> str:
        """The side of the compass that it faces."""
        return ("north", "east", "south", "west")[round(self.outward_deg / 90) % 4]

    def at(self, along_m: float) -> Point:
        """The point so far from its start."""
        share = along_m / self.length_m
        (x, y), (to_x, to_y) = self.start, self.end
        return x + share * (to_x - x), y + share * (to_y - y)

    def nearest(self, point: Point) -> tuple[float, float]:
        """Where along it a point is nearest, and how far away that is."""
        (x, y), (to_x, to_y) = self.start, self.end
        ux, uy = (to_x - x) / self.length_m, (to_y - y) / self.length_m
        along = (point[0] - x) * ux + (point[1] - y) * uy
        along = min(max(along, 0.0), self.length_m)
        return along, hypot(x + along * ux - point[0], y + along * uy - point[1])


@dataclass(frozen=True)
class Paved:
    """A paved part of a wall's outside, in metres along it."""

    wall: int
    begins_m: float
    ends_m: float


@dataclass(frozen=True)
class AtWall:
    """A spigot's place: a wall's number and metres along it."""

    wall: int
    along_m: float


@dataclass(frozen=True)
class Shape:
    """A house from above."""

    walls: tuple[Wall, ...]
    spigots: Mapping[str, AtWall]
    paving: tuple[Paved, ...]

    def ring(self, number: int) -> list[Wall]:
        """The walls of the outer ring, 0, or of a courtyard."""
        return [wall for wall in self.walls if wall.ring == number]

    @cached_property
    def rings(self) -> int:
        """How many rings there are."""
        return 1 + max(wall.ring for wall in self.walls)

    @cached_property
    def polygon(self) -> Polygon:
        """The floor of the house."""
        rings = [[wall.start for wall in self.ring(number)] for number in range(self.rings)]
        return orient(Polygon(rings[0], rings[1:]))

    def wall(self, number: int) -> Wall:
        return self.walls[number - 1]


def turned(sides: Sequence[tuple[float, str]], first: int) -> tuple[Point, ...]:
    """The corners of sides with a turn of a right angle at the end of each.

    first: the way that the first of them faces, 0 for north, clockwise.
    Raises: ShapeError where they do not close.
    """
    turns = sum([1 if turn == "right" else -1 for _, turn in sides])
    if abs(turns) != 4:
        raise ShapeError(
            f"{abs(turns)} turns more to one side than to the other",
            "4 more, as of whoever walks once around the house",
            "sides",
        )
    # Who turns right has the house on the right, and walks east along a wall that faces north.
    heading = (first + (1 if turns > 0 else -1)) * pi / 2
    x = y = 0.0
    corners = []
    for length_m, turn in sides:
        corners.append((round(x, 6), round(y, 6)))
        x, y = x + length_m * sin(heading), y + length_m * cos(heading)
        heading += pi / 2 if turn == "right" else -pi / 2
    if hypot(x, y) > CLOSES_M:
        ways = (("{x}", x, "east", "west"), ("{y}", y, "north", "south"))
        off = [
            f"{m} {plus if way > 0 else minus}"
            for m, way, plus, minus in ways
            if abs(way) > CLOSES_M
        ]
        found = f"sides that end {' and '.join(off) or '{x}'} of where they begin"
        raise ShapeError(found, "sides that close", "sides", x=abs(x), y=abs(y))
    return tuple(corners)


def shape_of(
    corners: Sequence[Point],
    courtyards: Sequence[Sequence[Point]],
    spigots: Mapping[str, Place],
    paving: Sequence[tuple[Place, Place]],
    key: str,
) -> Shape:
    """The shape of a house. key: that of its corners in the table. Raises: ShapeError."""
    house = _polygon(corners, key)
    walls = _walls(corners, 0, 1)
    for number, yard in enumerate(courtyards, 1):
        hole = _polygon(yard, "courtyards")
        if not house.contains(hole) or house.exterior.distance(hole) < SHORTEST_M:
            raise ShapeError(f"courtyard {number} beyond the house", "one inside", "courtyards")
        walls += _walls(yard, number, len(walls) + 1)
    holes = [Polygon(yard) for yard in courtyards]
    if any(one.distance(two) < SHORTEST_M for one in holes for two in holes if one is not two):
        raise ShapeError("courtyards that meet", "courtyards apart", "courtyards")
    found = {name: _at_wall(walls, place, "spigots", name) for name, place in spigots.items()}
    paved = []
    for index, (begins, ends) in enumerate(paving):
        first = _at_wall(walls, begins, "paving", index)
        last = _at_wall([walls[first.wall - 1]], ends, "paving", index)
        low, high = sorted((first.along_m, last.along_m))
        if high - low < SHORTEST_M:
            raise ShapeError(
                "paving without a width", "one that ends farther along", "paving", index
            )
        paved.append(Paved(first.wall, low, high))
    return Shape(tuple(walls), found, tuple(paved))


def _polygon(corners: Sequence[Point], key: str) -> Polygon:
    """Corners as a polygon. Raises: ShapeError where they make none."""
    count = len(corners)
    for place in range(count):
        (ax, ay), (bx, by), (cx, cy) = [corners[(place + step) % count] for step in range(3)]
        first, second = hypot(bx - ax, by - ay), hypot(cx - bx, cy - by)
        where = f"side {place + 1}"
        if first < SHORTEST_M:
            raise ShapeError(
                f"{where} of {{m}}", "at least {least}", key, m=first, least=SHORTEST_M
            )
        cross = (bx - ax) * (cy - by) - (by - ay) * (cx - bx)
        if second >= SHORTEST_M and abs(cross) < STRAIGHT * first * second:
            allowed = "a corner between any two sides"
            raise ShapeError(f"{where} and the next in one straight line", allowed, key)
    ring = LinearRing(corners)
    if not ring.is_simple:
        raise ShapeError("sides that cross each other", "sides that meet at corners alone", key)
    return Polygon(corners)


def _walls(corners: Sequence[Point], ring: int, number: int) -> list[Wall]:
    """The walls of a ring; the outside of a courtyard's lies within its ring."""
    house_left = LinearRing(corners).is_ccw == (ring == 0)
    found = []
    for place, start in enumerate(corners):
        end = corners[(place + 1) % len(corners)]
        heading = atan2(end[0] - start[0], end[1] - start[1]) * 180 / pi
        outward = (heading + (90 if house_left else -90)) % 360
        found.append(Wall(number + place, ring, start, end, outward))
    return found


def _at_wall(walls: Sequence[Wall], place: Place, *keys: str | int) -> AtWall:
    """The place at a wall. Raises: ShapeError where there is no such wall."""
    if place.point is not None:
        point = place.point
        wall = min(walls, key=lambda each: each.nearest(point)[1])
        along_m, off_m = wall.nearest(point)
        if off_m > OFF_M:
            raise ShapeError("a point {off} from the wall", "a point at it", *keys, off=off_m)
        return AtWall(wall.number, along_m)
    found = [wall for wall in walls if wall.number == place.side]
    if not found:
        raise ShapeError(f"side {place.side}", f"1 to {walls[-1].number}", *keys)
    along_m = place.along_m or 0.0
    if along_m > found[0].length_m + CLOSES_M:
        raise ShapeError(
            "{along} along a side that is {length} long",
            "a place on it",
            *keys,
            along=along_m,
            length=found[0].length_m,
        )
    return AtWall(found[0].number, min(along_m, found[0].length_m))
