"""Every layout keeps the rules, and costs what a search costs that was written apart.

The ten houses come first; then Hypothesis stretches them, moves their spigots and paves them anew.
"""

import itertools
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely import LineString, Point, Polygon, unary_union

from evenclay.sim.house import hoses
from evenclay.tools.handover.layout.ground import Ground, Strip, Tap, grounds_of
from evenclay.tools.handover.layout.layout import Layout, lay_out
from evenclay.tools.handover.layout.limits import LEAD_MM
from evenclay.tools.handover.layout.marks import marks_of
from evenclay.tools.handover.layout.parts import laid_items
from evenclay.tools.handover.layout.search import SLEEVE_WORK
from evenclay.tools.property.advice import FLOW_LEAST, SUPPLY_MOST
from evenclay.tools.property.outline.line import OFF_M
from evenclay.tools.property.piping import hose_of, spigot_of
from evenclay.tools.property.property import Property
from tests.outlines import OUTLINES, house_of

ALONG_M = 0.005  # a difference of lengths that is one of rounding


def paved_ground(layout: Layout) -> Any:
    """The ground that the file calls paved, from the wall to just beyond the hoses' line."""
    found = []
    for paved in layout.shape.paving:
        wall = layout.shape.wall(paved.wall)
        line = LineString([wall.at(paved.begins_m), wall.at(paved.ends_m)])
        found.append(line.buffer(OFF_M + 0.004, cap_style="flat").difference(layout.shape.polygon))
    return unary_union(found)


def hose_lines(layout: Layout) -> dict[str, LineString]:
    return marks_of(layout, 0.2, 0.1, 0.0).hoses


def held_to_rules(layout: Layout) -> None:
    prop, house = layout.prop, layout.shape.polygon
    lines = hose_lines(layout)
    paved = paved_ground(layout)
    for line in lines.values():
        assert line.distance(house) >= OFF_M - 1e-6
        assert max(Point(p).distance(house) for p in line.coords) <= OFF_M * 5.01
        middle = line.interpolate(0.5, normalized=True)
        assert middle.distance(house) <= OFF_M * 1.5 or line.length < 1
        assert line.intersection(paved).length < ALONG_M
    together = unary_union(list(lines.values())).length
    assert together == pytest.approx(sum(line.length for line in lines.values()), abs=ALONG_M)
    for laid in layout.laid:
        zone = prop.zones[laid.like]
        supply = prop.supplies[laid.run.supply]
        flow_l_h = hose_of(zone).flow_l_h_m * laid.run.hose_m
        assert supply.flow is not None and flow_l_h <= SUPPLY_MOST * 60 * supply.flow + 1e-6
        even(prop, layout, laid, flow_l_h)
    served_or_told(layout)


def even(prop: Property, layout: Layout, laid: Any, flow_l_h: float) -> None:
    """Both arms of a run water evenly at the pressure that its feed leaves."""
    zone = prop.zones[laid.like]
    spigot = spigot_of(prop, zone.model_copy(update={"supply": laid.run.supply}))
    fed = hoses.Spigot(spigot.still_kpa, spigot.open_l_min, laid.feed.length_m, LEAD_MM)
    start_kpa = fed.pressure_kpa(flow_l_h)
    span = (laid.run.cells[0][0], laid.run.cells[-1][1])
    arm_m = max(laid.run.fed_m - span[0], span[1] - laid.run.fed_m)
    # No less than four fifths of the flow that the hose is sold for at the spigot's pressure.
    least = spigot.still_kpa * FLOW_LEAST ** (1 / hoses.EXPONENTS[zone.hose.kind])
    assert start_kpa >= least - 1e-6
    hose = hoses.Hose(
        arm_m,
        hose_of(zone).flow_l_h_m,
        zone.hose.pressure,
        hoses.EXPONENTS[zone.hose.kind],
        zone.hose.diameter,
    )
    assert hoses.run(hose, start_kpa).evenness >= hoses.EVEN_ENOUGH - 1e-3


def served_or_told(layout: Layout) -> None:
    """Open ground along each wall has a hose, unless it is told why not or is too short for one."""
    hoses_drawn = unary_union([line.buffer(0.01) for line in hose_lines(layout).values()])
    paved = paved_ground(layout)
    with_spigot = {layout.shape.wall(place.wall).ring for place in layout.shape.spigots.values()}
    for wall in layout.shape.walls:
        if wall.ring not in with_spigot:
            assert "no spigot" in layout.unserved[wall.number]
            continue
        if wall.number in layout.unserved:
            assert layout.unserved[wall.number]
            continue
        ring = layout.rings[wall.ring]
        for edge in ring.of_wall(wall.number):
            bare = LineString([edge.start, edge.end]).difference(paved).difference(hoses_drawn)
            parts = getattr(bare, "geoms", [bare])
            assert all(part.length < 1.0 + ALONG_M for part in parts)


def connected(layout: Layout) -> None:
    """Each feed goes from its spigot to its hose, and each part of a run meets the next."""
    marks = marks_of(layout, 0.2, 0.1, 0.0)
    for laid in layout.laid:
        feed = marks.feeds[laid.feed.label]
        assert Point(feed.coords[0]).distance(Point(marks.spigots[laid.run.supply])) < 1e-6
        own = [marks.hoses[piece.label] for piece in laid.hoses]
        own += [marks.links[piece.label] for piece in laid.links]
        assert Point(feed.coords[-1]).distance(unary_union(own)) < 1e-6
        assert unary_union([line.buffer(1e-3) for line in own]).geom_type == "Polygon"
        for sleeve in layout.sleeves:
            if laid.zone not in sleeve.zones:
                gap = LineString(
                    layout.rings[laid.ring].path(sleeve.gap.begins_m, sleeve.gap.ends_m)
                )
                assert all(line.intersection(gap).length < ALONG_M for line in own)


def listed(layout: Layout) -> None:
    """Every hose, tee and sleeve that is drawn is listed once, and the lengths add up."""
    marks = marks_of(layout, 0.2, 0.1, 0.0)
    items = list(laid_items(layout))
    assert len({item.label for item in items}) == len(items)
    drawn = [*marks.hoses, *marks.links, *marks.feeds, *marks.sleeves, *marks.tees]
    assert sorted(drawn) == sorted(item.label for item in items)
    lengths = {item.label: item.length_m for item in items}
    for label, line in (*marks.hoses.items(), *marks.links.items()):
        assert lengths[label] == pytest.approx(line.length, abs=ALONG_M)
    for zone in {laid.zone for laid in layout.laid}:
        run = next(laid.run for laid in layout.laid if laid.zone == zone)
        of_zone = [item.length_m for item in items if item.zones == (zone,) and "hose" in item.kind]
        assert sum(length or 0 for length in of_zone) == pytest.approx(run.hose_m, abs=ALONG_M)
    sleeves = [item for item in items if item.kind == "sleeve"]
    pipe_m = sum(item.length_m or 0 for item in items if item.kind.endswith("pipe"))
    work_m = pipe_m + SLEEVE_WORK * sum(item.length_m or 0 for item in sleeves)
    assert work_m == pytest.approx(layout.cost.work_m, abs=ALONG_M)


# A search written apart.


def crossed(ground: Ground, start: float, length: float, way: int) -> frozenset[int]:
    """What a walk along a ring from a place steps on: looked at between any two borders of it."""
    around = ground.ring.length_m
    borders = [end for gap in ground.gaps for end in (gap.begins_m, gap.ends_m)]
    turns = sorted({0.0, length, *[way * (end - start) % around for end in borders]})
    found = set()
    for low, high in itertools.pairwise([turn for turn in turns if turn <= length]):
        if high - low < 1e-6:
            continue
        place = (start + way * (low + high) / 2) % around
        for number, gap in enumerate(ground.gaps):
            if any(gap.begins_m <= place + turn <= gap.ends_m for turn in (0.0, around)):
                found.add(number)
    return frozenset(found)


def every_way(ground: Ground, strip: Strip) -> Iterator[tuple[frozenset[int], float]]:
    """Every way to water a strip: what it crosses, and its pipe."""
    count = len(strip.cells)
    for breaks in itertools.product((False, True), repeat=count - 1):
        runs: list[list[tuple[float, float]]] = [[strip.cells[0]]]
        for cell, parted in zip(strip.cells[1:], breaks, strict=True):
            if parted:
                runs.append([cell])
            else:
                runs[-1].append(cell)
        choices = [list(every_run(ground, strip, run)) for run in runs]
        for chosen in itertools.product(*choices):
            yield (
                frozenset().union(*[one[0] for one in chosen]),
                sum(one[1] for one in chosen),
            )


def every_run(
    ground: Ground, strip: Strip, cells: list[tuple[float, float]]
) -> Iterator[tuple[frozenset[int], float]]:
    first, last = cells[0][0], cells[-1][1]
    hose_m = sum(b - a for a, b in cells)
    links_m = last - first - hose_m
    for tap in ground.taps:
        if tap.supply not in strip.limits:
            continue
        for joint in joints(ground, tap, cells):
            if max(joint - first, last - joint) > strip.limits[tap.supply].arm_m + 1e-6:
                continue
            around = ground.ring.length_m
            ahead = (joint - tap.place_m) % around
            for way, length in ((1, ahead), (-1, around - ahead if ahead else 0.0)):
                feed_m = tap.away_m + length
                if hose_m > strip.limits[tap.supply].flow_m(feed_m) + 1e-6:
                    continue
                stepped = crossed(ground, tap.place_m, length, way)
                stepped |= crossed(ground, first, last - first, 1)
                yield stepped, feed_m + links_m


def joints(ground: Ground, tap: Tap, cells: list[tuple[float, float]]) -> set[float]:
    """Ends, the middle of the hose, and beside the spigot."""
    found = {cells[0][0], cells[-1][1]}
    wet = [(a, b) for a, b in cells]
    half = sum(b - a for a, b in wet) / 2
    gone = 0.0
    for a, b in wet:
        if gone <= half <= gone + (b - a) + 1e-9:
            found.add(a + half - gone)
            break
        gone += b - a
    for turn in (0.0, ground.ring.length_m):
        found |= {tap.place_m + turn for a, b in wet if a < tap.place_m + turn < b}
    return found


def least_work(ground: Ground) -> float:
    """Work of the best of all combinations of every strip's ways.

    Of combinations that cross the same paving, the one with the least pipe is kept: pipe adds up.
    """
    states: dict[frozenset[int], float] = {frozenset(): 0.0}
    for strip in ground.strips:
        if not strip.cells or not strip.limits:
            continue
        ways: dict[frozenset[int], float] = {}
        for mask, pipe in every_way(ground, strip):
            ways[mask] = min(pipe, ways.get(mask, pipe))
        joined: dict[frozenset[int], float] = {}
        for (one, pipe), (two, more) in itertools.product(states.items(), ways.items()):
            joined[one | two] = min(pipe + more, joined.get(one | two, 1e9))
        states = joined
    return min(pipe + sleeves_work(ground, mask) for mask, pipe in states.items())


def sleeves_work(ground: Ground, mask: frozenset[int]) -> float:
    """Of sleeves, 15 cm longer than the paving at each end."""
    gaps = [ground.gaps[gap] for gap in mask]
    return sum(SLEEVE_WORK * (gap.ends_m - gap.begins_m + 0.3) for gap in gaps)


def costs_alike(prop: Property, layout: Layout) -> None:
    found = [least_work(ground) for ground in grounds_of(prop, layout.shape)]
    assert layout.cost.work_m == pytest.approx(sum(found), abs=1e-3)


@pytest.mark.parametrize("name", OUTLINES)
def test_the_ten_houses(name: str) -> None:
    prop = house_of(OUTLINES[name])
    layout = lay_out(prop)
    held_to_rules(layout)
    connected(layout)
    listed(layout)
    if len(layout.shape.walls) <= 8:
        costs_alike(prop, layout)
    assert layout.cost.unserved == {
        "U": 1,
        "courtyard": 4,
        "attached garage": 1,
        "paving all along": 1,
    }.get(name, 0)


def stretched(corners: list[tuple[float, float]], by: tuple[float, float]) -> str:
    return str([[round(x * by[0], 2), round(y * by[1], 2)] for x, y in corners])


SHAPES: tuple[list[tuple[float, float]], ...] = (
    [(0, 0), (15, 0), (15, 10), (0, 10)],
    [(0, 0), (16, 0), (16, 5), (10, 5), (10, 9), (0, 9)],
    [(0, 0), (14, 0), (14, 12), (9, 12), (9, 6), (5, 6), (5, 12), (0, 12)],
    [(0, 0), (6, 0), (6, -2.5), (12, -2.5), (12, 0), (18, 0), (18, 9), (0, 9)],
    [(0, 0), (12, -3), (15, 6), (4, 10)],
)


@st.composite
def houses(draw: st.DrawFn) -> str:
    """The table of an outline of at most eight sides, with one or two spigots and some paving."""
    shape = draw(st.sampled_from(SHAPES))
    by = tuple(draw(st.sampled_from((0.6, 1.0, 1.7, 4.0))) for _ in "xy")
    if draw(st.booleans()):
        shape = shape[::-1]
    corners = [(x * by[0], y * by[1]) for x, y in shape]
    lengths = [
        Point(corners[n]).distance(Point(corners[(n + 1) % len(corners)]))
        for n in range(len(corners))
    ]

    def place() -> tuple[int, float]:
        side = draw(st.integers(1, len(corners)))
        return side, draw(st.sampled_from((0.0, 0.2, 0.5, 1.0))) * (lengths[side - 1] - 0.05)

    spigots = []
    for supply in ("back", "front")[: draw(st.integers(1, 2))]:
        side, along = place()
        spigots.append(f"{supply} = {{ side = {side}, along = {along:.2f} }}")
    paving = []
    for _ in range(draw(st.integers(0, 3))):
        side, along = place()
        wide = draw(st.sampled_from((0.9, 2.5, 50.0)))
        end = min(along + wide, lengths[side - 1] - 0.03)
        if end - along > 0.2:
            paving.append(f"{{ side = {side}, from = {along:.2f}, to = {end:.2f} }}")
    return (
        f"\ncorners = {stretched(shape, (by[0], by[1]))}\n"
        f"spigots = {{ {', '.join(spigots)} }}\npaving = [{', '.join(paving)}]\n"
    )


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(outline=houses(), flow=st.sampled_from((4, 12)))
def test_any_house(outline: str, flow: float) -> None:
    prop = house_of(outline, flow=flow)
    layout = lay_out(prop)
    held_to_rules(layout)
    connected(layout)
    listed(layout)
    costs_alike(prop, layout)


def test_the_search_apart_finds_what_combining_all_by_hand_does() -> None:
    """The search apart keeps the best of each set; here it is held to plain combination."""
    prop = house_of(OUTLINES["one spigot"])
    (ground,) = grounds_of(prop, lay_out(prop).shape)
    ways = [list(every_way(ground, strip)) for strip in ground.strips]
    best = min(
        sum(way[1] for way in chosen)
        + sleeves_work(ground, frozenset().union(*[way[0] for way in chosen]))
        for chosen in itertools.product(*[set(each) for each in ways])
    )
    assert best == pytest.approx(least_work(ground))


def test_more_spigots_or_less_paving_never_cost_more() -> None:
    one, two = [
        lay_out(house_of(OUTLINES[f"{name}"])).cost for name in ("one spigot", "two spigots")
    ]
    assert two[:2] <= one[:2]
    bare = lay_out(house_of(OUTLINES["one spigot"].split("paving")[0])).cost
    assert bare[:2] <= one[:2]


def test_a_house_of_many_sides_is_no_dearer_than_any_greedy_way() -> None:
    """Twenty sides: each strip takes the best for itself, in any order."""
    steps = [(x, 9 if x // 4 % 2 else 12) for x in range(0, 36, 4)]
    corners = [(0, 0), (36, 0)]
    for x, y in reversed(steps):
        corners += [(x + 4, y), (x, y)]
    corners = [point for n, point in enumerate(corners) if point != corners[n - 1]]
    outline = (
        f"\ncorners = {[list(point) for point in corners]}\n"
        "spigots = { back = { side = 1, along = 10 } }\n"
        "paving = [{ side = 2, from = 3, to = 4 }, { side = 1, from = 20, to = 22 }]\n"
    )
    prop = house_of(outline)
    layout = lay_out(prop)
    assert len(layout.shape.walls) >= 20
    assert Polygon(corners).is_valid
    held_to_rules(layout)
    (ground,) = grounds_of(prop, layout.shape)
    mask: frozenset[int] = frozenset()
    pipe = 0.0
    for strip in ground.strips:
        way = min(every_way(ground, strip), key=lambda way: (len(way[0] - mask), way[1]))
        mask, pipe = mask | way[0], pipe + way[1]
    assert layout.cost.work_m <= pipe + sleeves_work(ground, mask) + 1e-6
