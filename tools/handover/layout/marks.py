"""What is drawn of a layout, as shapes in metres of the house."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import cos, hypot, radians, sin

from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from evenclay.tools.handover.layout.layout import Laid, Layout, Piece, Sleeve
from evenclay.tools.property.outline.line import SAME_M
from evenclay.tools.property.outline.walls import Paved, Point, Wall

PAVING_DEEP_M = 1.3  # how far paving is drawn from the wall: nobody is asked how far it goes on


@dataclass(frozen=True)
class Marks:
    """Shapes of a layout, by label or zone.

    Feeds are drawn beside the hose, so that they can be told apart; they lie in the same trench.
    """

    strips: dict[str, BaseGeometry]
    hoses: dict[str, LineString]
    links: dict[str, LineString]
    feeds: dict[str, LineString]
    sleeves: dict[str, Polygon]
    tees: dict[str, Point]
    caps: tuple[LineString, ...]
    paving: tuple[Polygon, ...]
    spigots: dict[str, Point]


def marks_of(layout: Layout, lane_m: float, cap_m: float, wide_m: float) -> Marks:
    """The shapes of a layout.

    lane_m: between two feeds. cap_m: half of a closed end's bar. wide_m: the least width of a strip
    on a small drawing, where all feeds are drawn as the one trench in which they lie; 0 for a large
    one, where each has a lane of its own.
    """
    lanes = _lanes(layout) if not wide_m else dict.fromkeys([laid.zone for laid in layout.laid], 0)
    hoses, links, feeds, strips = {}, {}, {}, {}
    caps = []
    for laid in layout.laid:
        ring = layout.rings[laid.ring]
        for piece in laid.hoses:
            hoses[piece.label] = LineString(ring.path(piece.begins_m, piece.ends_m))
        for piece in laid.links:
            links[piece.label] = LineString(ring.path(piece.begins_m, piece.ends_m))
        width_m = max(layout.prop.zones[laid.like].width, wide_m)
        strips[laid.zone] = _strip(layout, [hoses[piece.label] for piece in laid.hoses], width_m)
        feeds[laid.feed.label] = _feed(layout, laid, width_m / 2 + lane_m * (1 + lanes[laid.zone]))
        ends = {laid.run.cells[0][0]: laid.hoses[0], laid.run.cells[-1][1]: laid.hoses[-1]}
        for place_m, piece in ends.items():
            if abs(place_m - laid.run.fed_m) > SAME_M:
                caps.append(_cap(hoses[piece.label], place_m == piece.begins_m, cap_m))
    tees = {
        laid.tee.label: layout.rings[laid.ring].point(laid.tee.place_m)
        for laid in layout.laid
        if laid.tee
    }
    return Marks(
        strips,
        hoses,
        links,
        feeds,
        {sleeve.label: _sleeve(layout, sleeve, lanes, lane_m) for sleeve in layout.sleeves},
        tees,
        tuple(caps),
        tuple([_paved(layout.shape.wall(paved.wall), paved) for paved in layout.shape.paving]),
        {
            name: layout.shape.wall(place.wall).at(place.along_m)
            for name, place in layout.shape.spigots.items()
        },
    )


def _lanes(layout: Layout) -> dict[str, int]:
    """A lane for each feed, so that no two that pass the same ground share one; the short ones
    nearest the hose."""
    found: dict[str, int] = {}
    used: list[tuple[Laid, int]] = []
    for laid in sorted(layout.laid, key=lambda each: each.feed.length_m):
        near = [lane for other, lane in used if _meet(layout, laid, other)]
        found[laid.zone] = next(n for n in range(len(near) + 1) if n not in near)
        used.append((laid, found[laid.zone]))
    return found


def _meet(layout: Layout, one: Laid, two: Laid) -> bool:
    """Whether two feeds pass the same ground."""
    if one.ring != two.ring:
        return False
    round_m = layout.rings[one.ring].length_m
    return any(
        min(one.feed.ends_m, two.feed.ends_m + turn_m)
        >= max(one.feed.begins_m, two.feed.begins_m + turn_m) - 0.5
        for turn_m in (-round_m, 0.0, round_m)
    )


def _strip(layout: Layout, lines: list[LineString], width_m: float) -> BaseGeometry:
    """The wetted ground along hoses, which never goes under the house."""
    grown = [
        line.buffer(width_m / 2, cap_style="flat", join_style="mitre", mitre_limit=5.0)
        for line in lines
    ]
    whole: BaseGeometry = grown[0]
    for part in grown[1:]:
        whole = whole.union(part)
    return whole.difference(layout.shape.polygon)


def _feed(layout: Layout, laid: Laid, off_m: float) -> LineString:
    """A feed from its spigot to its hose, in its lane."""
    ring, feed = layout.rings[laid.ring], laid.feed
    place = layout.shape.spigots[laid.run.supply]
    tap = layout.shape.wall(place.wall).at(place.along_m)
    joins = ring.point(laid.run.fed_m)
    if feed.ends_m - feed.begins_m < 2 * off_m:
        way = ring.path(feed.begins_m, feed.ends_m) if feed.ends_m - feed.begins_m > SAME_M else []
        return LineString([tap, *(way if laid.run.way > 0 else way[::-1]), joins])
    along = LineString(ring.path(feed.begins_m, feed.ends_m))
    # The ring runs counter-clockwise about what it encloses: right of it is away from the house,
    # and in a courtyard left of it is.
    lane = along.offset_curve(-off_m if laid.ring == 0 else off_m, join_style="mitre")
    points = list(lane.coords) if isinstance(lane, LineString) else list(along.coords)
    if hypot(points[0][0] - along.coords[0][0], points[0][1] - along.coords[0][1]) > hypot(
        points[-1][0] - along.coords[0][0], points[-1][1] - along.coords[0][1]
    ):
        points.reverse()
    if laid.run.way < 0:
        points.reverse()
    return LineString([tap, *points, joins])


def _cap(line: LineString, first: bool, half_m: float) -> LineString:
    """A bar across the closed end of a hose."""
    (x, y), (near_x, near_y) = (
        (line.coords[0], line.coords[1]) if first else (line.coords[-1], line.coords[-2])
    )
    length_m = hypot(near_x - x, near_y - y)
    dx, dy = (near_x - x) / length_m * half_m, (near_y - y) / length_m * half_m
    return LineString([(x - dy, y + dx), (x + dy, y - dx)])


def _sleeve(layout: Layout, sleeve: Sleeve, lanes: dict[str, int], lane_m: float) -> Polygon:
    """A sleeve, drawn around all pipes that lie in it, as long as it is."""
    ring = layout.rings[sleeve.ring]
    over_m = (sleeve.length_m - (sleeve.gap.ends_m - sleeve.gap.begins_m)) / 2
    line = LineString(ring.path(sleeve.gap.begins_m - over_m, sleeve.gap.ends_m + over_m))
    outer = 0.25
    for laid in layout.laid:
        if laid.ring != sleeve.ring:
            continue
        half_m = layout.prop.zones[laid.like].width / 2
        if _over(layout, sleeve, laid.feed):
            outer = max(outer, half_m + lane_m * (1.5 + lanes[laid.zone]))
    side = -1.0 if sleeve.ring == 0 else 1.0
    inner = line.offset_curve(-side * 0.15, join_style="mitre")
    far = line.offset_curve(side * outer, join_style="mitre")
    return Polygon([*inner.coords, *list(far.coords)[::-1]])


def _over(layout: Layout, sleeve: Sleeve, piece: Piece) -> bool:
    round_m = layout.rings[sleeve.ring].length_m
    return any(
        min(piece.ends_m, sleeve.gap.ends_m + turn)
        - max(piece.begins_m, sleeve.gap.begins_m + turn)
        > SAME_M
        for turn in (-round_m, 0.0, round_m)
    )


def _paved(wall: Wall, paved: Paved) -> Polygon:
    """Paving along a wall, from it on."""
    (x, y), (to_x, to_y) = wall.at(paved.begins_m), wall.at(paved.ends_m)
    dx, dy = _outward(wall)
    dx, dy = dx * PAVING_DEEP_M, dy * PAVING_DEEP_M
    return Polygon([(x, y), (to_x, to_y), (to_x + dx, to_y + dy), (x + dx, y + dy)])


def _outward(wall: Wall) -> Point:
    return sin(radians(wall.outward_deg)), cos(radians(wall.outward_deg))


def outward(layout: Layout, wall: int) -> Point:
    """The direction away from the house at a wall."""
    return _outward(layout.shape.wall(wall))


def everything(marks: Marks) -> Iterator[BaseGeometry]:
    """All shapes of a drawing, for its bounds."""
    for group in (marks.strips, marks.hoses, marks.links, marks.feeds, marks.sleeves):
        yield from group.values()
    yield from marks.paving
