"""The line that hoses take around a house: so far from its walls, by a mitred offset.

A place on a ring of the line is its way along it in metres, counter-clockwise from its beginning.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import hypot

from shapely import Polygon
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

from evenclay.tools.property.outline.walls import Paved, Point, Shape, Wall

OFF_M = 0.40  # hose to slab; common practice, no source: 0.30 to 0.45 m, never against it
MITRE_MOST = 5.0  # a corner more acute than 23 degrees is cut off
TOUCH_M = 0.05  # paving that ends so near to a corner is taken to reach it
SAME_M = 1e-6


@dataclass(frozen=True)
class Edge:
    """A straight part of a ring along one wall. begins_m, ends_m: places on the ring."""

    wall: int
    begins_m: float
    ends_m: float
    start: Point
    end: Point

    def along(self, point: Point) -> float:
        """The place on the ring of a point's foot on this edge."""
        length = self.ends_m - self.begins_m
        (x, y), (to_x, to_y) = self.start, self.end
        share = (point[0] - x) * (to_x - x) + (point[1] - y) * (to_y - y)
        return self.begins_m + min(max(share / length, 0.0), length)

    def at(self, place_m: float) -> Point:
        """The point of a place on this edge."""
        share = (place_m - self.begins_m) / (self.ends_m - self.begins_m)
        (x, y), (to_x, to_y) = self.start, self.end
        return x + share * (to_x - x), y + share * (to_y - y)


@dataclass(frozen=True)
class Ring:
    """A closed line around the house, or inside one of its courtyards."""

    number: int
    edges: tuple[Edge, ...]

    @property
    def length_m(self) -> float:
        return self.edges[-1].ends_m

    def of_wall(self, wall: int) -> list[Edge]:
        """The edges along a wall; none where the line has no room there."""
        return [edge for edge in self.edges if edge.wall == wall]

    def point(self, place_m: float) -> Point:
        """The point of a place."""
        place_m %= self.length_m
        return next(edge for edge in self.edges if place_m <= edge.ends_m + SAME_M).at(place_m)

    def path(self, begins_m: float, ends_m: float) -> list[Point]:
        """The points from one place on to another, the corners between them included."""
        found = [self.point(begins_m)]
        turns = int(begins_m // self.length_m)
        for turn in (turns, turns + 1):
            for edge in self.edges:
                corner_m = edge.ends_m + turn * self.length_m
                if begins_m + SAME_M < corner_m < ends_m - SAME_M:
                    found.append(edge.end)
        return [*found, self.point(ends_m)]


def rings_of(shape: Shape, off_m: float = OFF_M) -> dict[int, Ring]:
    """The rings of the hose's line, by their walls' ring; one without room is missing."""
    found = {}
    for number in range(shape.rings):
        walls = shape.ring(number)
        floor = Polygon([wall.start for wall in walls])
        grown = floor.buffer(
            -off_m if number else off_m, join_style="mitre", mitre_limit=MITRE_MOST
        )
        parts: list[Polygon] = [grown] if isinstance(grown, Polygon) else list(grown.geoms)
        line = max(parts, key=_area)  # of a courtyard with a narrow waist the larger part
        if not line.is_empty:
            found[number] = Ring(number, tuple(_edges(line, walls)))
    return found


def _area(part: BaseGeometry) -> float:
    return float(part.area)


def _edges(line: Polygon, walls: Sequence[Wall]) -> Iterator[Edge]:
    """The edges of a ring, counter-clockwise, each with its wall."""
    corners = [(float(x), float(y)) for x, y, *_ in orient(line).exterior.coords]
    place_m = 0.0
    for start, end in pairwise(corners):
        length_m = hypot(end[0] - start[0], end[1] - start[1])
        if length_m < SAME_M:
            continue
        wall = min(walls, key=lambda wall: _unlike(wall, start, end))
        yield Edge(wall.number, place_m, place_m + length_m, start, end)
        place_m += length_m


def _unlike(wall: Wall, start: Point, end: Point) -> tuple[bool, float]:
    """How little an edge looks like one that lies along a wall: not parallel, or far from it."""
    (ax, ay), (bx, by) = wall.start, wall.end
    length_m = wall.length_m * hypot(end[0] - start[0], end[1] - start[1])
    cross = (bx - ax) * (end[1] - start[1]) - (by - ay) * (end[0] - start[0])
    middle = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
    return abs(cross) > 1e-6 * length_m, wall.nearest(middle)[1]


def foot(ring: Ring, wall: Wall, along_m: float) -> tuple[float, float]:
    """Where on the ring a spigot's water meets it, and how far that is from the spigot [m]."""
    point = wall.at(along_m)
    edges = ring.of_wall(wall.number) or ring.edges
    places = [edge.along(point) for edge in edges]

    def away(place_m: float) -> float:
        x, y = ring.point(place_m)
        return hypot(x - point[0], y - point[1])

    nearest = min(places, key=away)
    return nearest, away(nearest)


def paved_places(ring: Ring, shape: Shape) -> list[tuple[float, float]]:
    """The paved parts of a ring in its order; those that meet around a corner are one.

    The last may end beyond the ring's length, where it goes on over the ring's beginning.
    """
    parts = []
    for paved in shape.paving:
        for edge in ring.of_wall(paved.wall):
            begins_m, ends_m = _paved_of(edge, shape.wall(paved.wall), paved)
            if ends_m - begins_m > SAME_M:
                parts.append((begins_m, ends_m))
    parts.sort()
    joined: list[tuple[float, float]] = []
    for begins_m, ends_m in parts:
        if joined and begins_m <= joined[-1][1] + SAME_M:
            joined[-1] = (joined[-1][0], max(joined[-1][1], ends_m))
        else:
            joined.append((begins_m, ends_m))
    whole_m = ring.length_m
    if len(joined) > 1 and joined[0][0] < SAME_M and joined[-1][1] > whole_m - SAME_M:
        first = joined.pop(0)
        joined[-1] = (joined[-1][0], whole_m + first[1])
    return joined


def _paved_of(edge: Edge, wall: Wall, paved: Paved) -> tuple[float, float]:
    """The paved part of an edge; where the paving reaches a corner so does its part."""
    ends = []
    for along_m in (paved.begins_m, paved.ends_m):
        place_m = edge.along(wall.at(along_m))
        if along_m < TOUCH_M or along_m > wall.length_m - TOUCH_M:
            middle_m = (edge.begins_m + edge.ends_m) / 2
            place_m = edge.begins_m if place_m < middle_m else edge.ends_m
        ends.append(place_m)
    return min(ends), max(ends)


def open_m(shape: Shape, side: str) -> float:
    """Metres of the hose's line along the walls that face a side of the compass, less paving."""
    total_m = 0.0
    for ring in rings_of(shape).values():
        for edge in ring.edges:
            if shape.wall(edge.wall).side == side:
                total_m += edge.ends_m - edge.begins_m
        for begins_m, ends_m in paved_places(ring, shape):
            for turn_m in (0.0, ring.length_m):
                for edge in ring.edges:
                    low_m = max(begins_m, edge.begins_m + turn_m)
                    high_m = min(ends_m, edge.ends_m + turn_m)
                    if shape.wall(edge.wall).side == side and high_m > low_m:
                        total_m -= high_m - low_m
    return total_m
