"""What a layout is searched in: strips of open ground along the hose's line, paving, spigots.

Places on a ring of the line are metres along it, as in `outline/line.py`.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil

from evenclay.tools.handover.layout.limits import Limit, limit_of
from evenclay.tools.property.outline.line import Ring, foot, paved_places, rings_of
from evenclay.tools.property.outline.walls import Shape
from evenclay.tools.property.property import Property

# A shorter wall gets no valve of its own: the hose of the wall before it goes on around the corner.
# Common practice, no source.
SHORT_M = 2.0
FOOT_MOST_M = 2.0  # from a spigot to the hoses' line
LEAST_M = 1.0  # of open ground: the property file's shortest hose
SLEEVE_OVER_M = 0.15  # of a sleeve beyond each edge of the paving: common practice, no source


@dataclass(frozen=True)
class Gap:
    """A paved part of a ring, which a pipe crosses in a sleeve."""

    begins_m: float
    ends_m: float

    @property
    def sleeve_m(self) -> float:
        return self.ends_m - self.begins_m + 2 * SLEEVE_OVER_M


@dataclass(frozen=True)
class Tap:
    """A spigot at a ring. away_m: from it to the place on the ring where its water meets that."""

    supply: str
    place_m: float
    away_m: float


@dataclass(frozen=True)
class Strip:
    """Open ground along one wall, and along the short ones after it, in the order of its ring.

    cells: pieces between paving, or where one spigot could not feed more; each is watered whole.
    limits: what each spigot that may feed the strip can, by its supply. why: without any, why.
    """

    walls: tuple[int, ...]
    side: str
    zone: str  # the zone of the file whose hose is taken
    cells: tuple[tuple[float, float], ...]
    limits: Mapping[str, Limit]
    why: str = ""


@dataclass(frozen=True)
class Ground:
    """One ring with all that lies on it."""

    ring: Ring
    gaps: tuple[Gap, ...]
    taps: tuple[Tap, ...]
    strips: tuple[Strip, ...]


def grounds_of(prop: Property, shape: Shape, *, kept: bool = False) -> list[Ground]:
    """The ground of each ring on which there is room for a hose.

    kept: a side's strips may be fed from none but the supplies of its zones.
    """
    return [_ground(prop, shape, ring, kept) for ring in rings_of(shape).values()]


def _ground(prop: Property, shape: Shape, ring: Ring, kept: bool) -> Ground:
    taps = []
    for supply, place in shape.spigots.items():
        wall = shape.wall(place.wall)
        if wall.ring == ring.number:
            taps.append(Tap(supply, *foot(ring, wall, place.along_m)))
    cuts = sorted(tap.place_m for tap in taps)
    gaps = []
    for begins_m, ends_m in paved_places(ring, shape):
        # A spigot over paving sends water to either side of it, never under the whole.
        inner = [cut + turn for cut in cuts for turn in (0.0, ring.length_m)]
        ends = [begins_m, *[m for m in sorted(inner) if begins_m + 0.1 < m < ends_m - 0.1], ends_m]
        gaps += [Gap(low, high) for low, high in pairwise(ends)]
    strips = []
    for edges in _grouped(ring):
        strips.append(_strip(prop, shape, edges, ring, gaps, taps, kept))
    return Ground(ring, tuple(gaps), tuple(taps), tuple(strips))


def _grouped(ring: Ring) -> list[list[int]]:
    """Places of edges in `ring.edges`: a long one, and the short ones that follow it."""
    edges = ring.edges
    long = [n for n, edge in enumerate(edges) if edge.ends_m - edge.begins_m >= SHORT_M]
    if not long:
        return [list(range(len(edges)))]
    ends = [*long[1:], long[0] + len(edges)]
    return [
        [n % len(edges) for n in range(first, end)] for first, end in zip(long, ends, strict=True)
    ]


def zone_of_side(prop: Property, side: str) -> str:
    """The zone whose hose is taken for a side: its first, or the file's first where it has none."""
    return next(
        (name for name, zone in prop.zones.items() if zone.side == side), next(iter(prop.zones))
    )


def _strip(
    prop: Property,
    shape: Shape,
    places: Sequence[int],
    ring: Ring,
    gaps: Sequence[Gap],
    taps: Sequence[Tap],
    kept: bool,
) -> Strip:
    edges = [ring.edges[place] for place in places]
    walls = tuple(dict.fromkeys([edge.wall for edge in edges]))
    longest = max(edges, key=lambda edge: edge.ends_m - edge.begins_m)
    side = shape.wall(longest.wall).side
    zone = zone_of_side(prop, side)
    # The shorter way around the house is half of it at most; cells are small enough for that.
    half_m = ring.length_m / 2 + FOOT_MOST_M
    found = {tap.supply: limit_of(prop, prop.zones[zone], tap.supply, half_m) for tap in taps}
    limits = {supply: limit for supply, limit in found.items() if isinstance(limit, Limit)}
    if kept:
        own = {zone.supply for zone in prop.zones.values() if zone.side == side}
        limits = {supply: limit for supply, limit in limits.items() if supply in own}
    begins_m = edges[0].begins_m
    length_m = sum([edge.ends_m - edge.begins_m for edge in edges])
    open_parts = [
        part
        for part in _open(begins_m, begins_m + length_m, gaps, ring.length_m)
        if part[1] - part[0] >= LEAST_M
    ]
    why = ""
    if not open_parts:
        why = "it is paved, or has too little open ground for a hose"
    elif not taps:
        where = "the courtyard has no spigot" if ring.number else "the outline has no spigot"
        why = where
    elif not limits:
        why = "; ".join([str(found[tap.supply]) for tap in taps])
    cells = list(
        _cells(open_parts, min([limit.whole_m(half_m) for limit in limits.values()], default=1e9))
    )
    return Strip(walls, side, zone, tuple(cells), limits, why)


def _open(
    begins_m: float, ends_m: float, gaps: Sequence[Gap], round_m: float
) -> list[tuple[float, float]]:
    """The parts of a stretch that are not paved."""
    parts = [(begins_m, ends_m)]
    for gap in gaps:
        for turn_m in (-round_m, 0.0, round_m):
            low_m, high_m = gap.begins_m + turn_m, gap.ends_m + turn_m
            cut = []
            for first_m, last_m in parts:
                if high_m <= first_m or low_m >= last_m:
                    cut.append((first_m, last_m))
                    continue
                cut += [(first_m, low_m)] if low_m > first_m else []
                cut += [(high_m, last_m)] if high_m < last_m else []
            parts = cut
    return parts


def _cells(parts: Sequence[tuple[float, float]], most_m: float) -> Iterator[tuple[float, float]]:
    """Parts cut into equal pieces that one spigot can feed."""
    for begins_m, ends_m in parts:
        count = ceil((ends_m - begins_m) / most_m - 1e-9)
        step_m = (ends_m - begins_m) / count
        for piece in range(count):
            yield begins_m + piece * step_m, begins_m + (piece + 1) * step_m
