"""`evenclay layout`: the outline, the drawing to scale, the lists, and what --fix writes."""

import re
import shutil
from dataclasses import replace
from itertools import pairwise
from math import hypot
from pathlib import Path
from xml.etree import ElementTree

import pytest
import tomlkit
from hypothesis import given
from hypothesis import strategies as st
from shapely import box
from typer.testing import CliRunner

from evenclay.tools.cli.commands import app
from evenclay.tools.handover.layout.drawing import (
    SCALES,
    SMALLER,
    Sheet,
    figure_of,
    svg_file,
    text_mm,
)
from evenclay.tools.handover.layout.layout import Layout, lay_out
from evenclay.tools.handover.layout.parts import fittings, stack
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.file.mistakes import PropertyError
from evenclay.tools.property.outline.line import OFF_M
from evenclay.tools.property.property import load, parse
from tests.outlines import OUTLINES, house_of, text_of
from tests.unit.test_units import both, own_units_only, run, words

DEMO = Path(__file__).parents[2] / "sim" / "demo" / "property.toml"
POINTS_A_METRE = 72 / 0.0254
PAPERS_MM = ((190.0, 240.0, True), (92.0, 92.0, False))  # a sheet, and what a card has room for


def drawn(layout: Layout, wide_mm: float, high_mm: float, names: bool) -> tuple[Sheet, str]:
    sheet = Sheet(layout, wide_mm, high_mm, names)
    return sheet, svg_file(figure_of(sheet))


def paths(svg: str) -> dict[str, list[tuple[float, float]]]:
    """The corners of each path of a drawing by the name of its group, in points of the paper."""
    found = {}
    for group in ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}g"):
        path = group.find("{http://www.w3.org/2000/svg}path")
        if path is not None and "id" in group.attrib:
            numbers = re.findall(r"-?\d+(?:\.\d+)?", path.attrib["d"])
            pairs = zip(numbers[::2], numbers[1::2], strict=True)
            found[group.attrib["id"]] = [(float(x), float(y)) for x, y in pairs]
    return found


def length(points: list[tuple[float, float]]) -> float:
    return sum(hypot(bx - ax, by - ay) for (ax, ay), (bx, by) in pairwise(points))


@pytest.mark.parametrize("name", OUTLINES)
def test_the_drawing_is_to_scale(name: str) -> None:
    """Walls and hoses are measured on the paper, whose size the file itself tells."""
    layout = lay_out(house_of(OUTLINES[name]))
    sheet, svg = drawn(layout, *PAPERS_MM[0])
    root = ElementTree.fromstring(svg)
    assert root.attrib["width"].endswith("pt")
    box_pt = [float(part) for part in root.attrib["viewBox"].split()]
    assert float(root.attrib["width"].removesuffix("pt")) == pytest.approx(box_pt[2])
    found = paths(svg)
    per_m = POINTS_A_METRE / sheet.scale
    for wall in layout.shape.walls:
        on_paper = length(found[f"wall-{wall.number}"])
        assert on_paper == pytest.approx(wall.length_m * per_m, abs=0.05)
    for laid in layout.laid:
        for piece in (*laid.hoses, *laid.links):
            kind = "link" if piece in laid.links else "hose"
            on_paper = length(found[f"{kind}-{piece.label}"])
            assert on_paper == pytest.approx(piece.length_m * per_m, abs=0.05)
    for sleeve in layout.sleeves:
        outline = found[f"sleeve-{sleeve.label}"]
        if len(outline) == 5:  # a straight one; around a corner it has more sides
            across = sleeve.length_m * per_m
            sides = [length([a, b]) for a, b in pairwise(outline)]
            assert min(abs(side - across) for side in sides) < 0.05
    bar = found["scale-bar"]
    told, scale = re.search(r">(\d+) m<", svg), re.search(r">scale 1:(\d+)<", svg)
    assert told is not None and scale is not None and int(scale[1]) == sheet.scale
    assert length(bar) == pytest.approx(int(told[1]) * per_m, abs=0.05)


@pytest.mark.parametrize("paper", PAPERS_MM)
@pytest.mark.parametrize("name", OUTLINES)
def test_no_name_covers_another_or_a_hose(name: str, paper: tuple[float, float, bool]) -> None:
    """The boxes of names, the hoses, and the edge of the paper; the browser's test reads the
    drawing's own boxes."""
    layout = lay_out(house_of(OUTLINES[name]))
    sheet = Sheet(layout, *paper)
    boxes = []
    for placed in sheet.placed:
        (x, y), label = placed.middle, placed.label
        half_x, half_y = label.wide_mm / 2, label.high_mm / 2
        boxes.append(box(x - half_x, y - half_y, x + half_x, y + half_y))
    assert len(boxes) >= len(layout.laid) + len(layout.shape.spigots)
    assert {placed.label.text for placed in sheet.placed} >= {laid.zone for laid in layout.laid}
    for number, one in enumerate(boxes):
        assert not any(one.intersects(other) for other in boxes[number + 1 :])
        low_x, low_y, high_x, high_y = one.bounds
        assert 0 <= low_x < high_x <= sheet.wide_mm and 0 <= low_y < high_y <= sheet.high_mm
        for line in (*sheet.marks.hoses.values(), *sheet.marks.feeds.values()):
            assert not one.intersects(sheet.mm(line))


@pytest.mark.parametrize("paper", PAPERS_MM)
@pytest.mark.parametrize("units", SCALES)
def test_a_house_as_long_as_a_file_may_say_has_room(
    units: str, paper: tuple[float, float, bool]
) -> None:
    outline = """
corners = [[-300, 0], [300, 0], [300, 12], [-300, 12]]
spigots = { back = { side = 3, along = 290 } }
"""
    layout = lay_out(house_of(outline))
    site = layout.prop.site.model_copy(update={"units": units})
    layout = replace(layout, prop=layout.prop.model_copy(update={"site": site}))
    sheet, svg = drawn(layout, *paper)
    assert sheet.scale in SMALLER[units] and "scale" in svg
    low_x, low_y, high_x, high_y = sheet.mm(layout.shape.polygon).bounds
    assert 0 <= low_x < high_x <= sheet.wide_mm and 0 <= low_y < high_y <= sheet.high_mm


def test_a_name_with_dollars_is_no_formula() -> None:
    """Both are what matplotlib would take for one: the first cannot be read, the second can."""
    text = text_of(OUTLINES["rectangle"])
    for name in (r"$\west$", "$8 or $9"):
        renamed = text.replace("[zones.west]", f"[zones.'{name}']")
        assert name in words(drawn(lay_out(parse(renamed, "house.toml")), *PAPERS_MM[0])[1])
    assert text_mm("$8 or $9")[0] > text_mm("8 or 9")[0]


def test_the_demo_is_laid_as_its_file_says() -> None:
    """Its zones' own lengths are those that its outline gives."""
    prop = load(DEMO)
    layout = lay_out(prop)
    assert (layout.cost.unserved, len(layout.sleeves), layout.idle) == (0, 1, ())
    for laid in layout.laid:
        assert not laid.new
        assert laid.run.hose_m == pytest.approx(prop.zones[laid.zone].length, abs=0.01)
        assert laid.run.supply == prop.zones[laid.zone].supply
    kept = lay_out(prop, kept=True)
    assert [laid.run for laid in kept.laid] == [laid.run for laid in layout.laid]


def test_a_zone_without_a_length_has_that_of_its_side() -> None:
    text = DEMO.read_text("utf-8")
    bare = re.sub(r"^length = .*$", "", text, flags=re.MULTILINE)
    assert not re.search("^length", bare, re.MULTILINE)
    own = parse(bare, "bare").zones
    for name, zone in load(DEMO).zones.items():
        assert own[name].length == pytest.approx(zone.length, abs=0.01)
    longer = parse(text.replace("length = 22 ", "length = 9 "), "longer")
    assert longer.zones["west"].length == 9
    assert longer.zones["west"].length * longer.zones["west"].width == pytest.approx(5.4)


@given(sides=st.permutations([12.0, 9.0, 7.0]), first=st.sampled_from(("north", "east", "west")))
def test_sides_and_corners_tell_the_same_house(sides: list[float], first: str) -> None:
    """An L, walked to the right and to the left, has walls of the same lengths and facing."""
    a, b, c = sides
    right = [
        (a + c, "right"),
        (b, "right"),
        (c, "left"),
        (b, "right"),
        (a, "right"),
        (2 * b, "right"),
    ]
    lengths = []
    for walk in (right, [(m, {"left": "right", "right": "left"}[turn]) for m, turn in right]):
        told = ", ".join(f'"{m} m {turn}"' for m, turn in walk)
        prop = house_of(f'\nsides = [{told}]\nfirst = "{first}"\n')
        assert prop.outline is not None
        shape = prop.outline.shape
        corners = [list(wall.start) for wall in shape.walls]
        again = house_of(f"\ncorners = {corners}\n").outline
        assert again is not None and shape.walls == again.shape.walls
        assert shape.walls[0].side == first
        assert shape.polygon.area == pytest.approx((a + c) * b + a * b)
        lengths.append([wall.length_m for wall in shape.walls])
    assert lengths[0] == pytest.approx(lengths[1])


MISTAKES = (
    ('"9 right"', '"8 right"', "outline.sides", "1 m south", "sides that close"),
    ('"9 right"', '"9 left"', "outline.sides", "2 turns more", "4 more"),
    ('"9 right"', '"9"', "outline.sides", '["16 m right"', "the turn at the end of each"),
    ("along = 3", "along = 33", "outline.spigots.back", "33 m along", "a place on it"),
    ("back =", "bak =", "outline.spigots.bak", "no such supply", '"back", "front"'),
    ("at = [3, -9]", "at = [3, -4]", "outline.spigots.front", "3 m from the wall", "at it"),
    ("side = 1, along = 3", "side = 1", "outline.spigots.back", "neither", "side and along"),
    ("from = 3, to = 4.2", "from = 3, to = 3", "outline.paving[1]", "without a width", "farther"),
    ("side = 5", "side = 7", "outline.paving[1]", "side 7", "1 to 6"),
    ("paving = [", "pavin = [", "outline.pavin", "unknown key", "paving"),
    ("sides = [", "corners = [[0, 0], [1, 0], [1, 1]]\nsides = [", "outline", "both", "one of"),
)


@pytest.mark.parametrize(("old", "new", "path", "found", "allowed"), MISTAKES)
def test_a_mistake_is_one_line(
    old: str, new: str, path: str, found: str, allowed: str, tmp_path: Path
) -> None:
    text = text_of(OUTLINES["L"])
    assert old in text
    file = tmp_path / "house.toml"
    file.write_text(text.replace(old, new), "utf-8")
    with pytest.raises(PropertyError) as caught:
        lay_out(load(file))
    (line,) = caught.value.lines
    assert re.search(rf":\d+: {re.escape(path)}: found .*{re.escape(found)}", line), line
    assert allowed in line.partition(", allowed ")[2]
    before = file.read_bytes()
    assert run("layout", str(file), "--fix")[0] == 2
    assert file.read_bytes() == before and list(tmp_path.iterdir()) == [file]


@pytest.mark.parametrize(
    ("corners", "found"),
    [
        ([[0, 0], [9, 0], [0, 9], [9, 9]], "sides that cross each other"),
        ([[0, 0], [5, 0], [9, 0], [9, 9], [0, 9]], "in one straight line"),
        ([[0, 0], [9, 0], [9, 9], [9, 9.05], [0, 9]], "at least"),
    ],
)
def test_corners_that_are_no_house(corners: list[list[float]], found: str) -> None:
    with pytest.raises(PropertyError, match=found):
        house_of(f"\ncorners = {corners}\n")


def test_without_an_outline_one_line_says_so(tmp_path: Path) -> None:
    file = tmp_path / "house.toml"
    file.write_text(text_of("").replace("[outline]", ""), "utf-8")
    status, _ = run("layout", str(file))
    assert status == 2 and list(tmp_path.iterdir()) == [file]


def test_fix_writes_lengths_and_supplies_and_keeps_the_rest(tmp_path: Path) -> None:
    file = tmp_path / "house.toml"
    text = text_of(OUTLINES["rectangle"]).replace(
        'side = "north"\n', 'side = "north"  # the shady side\n'
    )
    file.write_text(text, "utf-8")
    assert run("layout", str(file), "--fix")[0] == 0
    layout = lay_out(load(file))
    for laid in layout.laid:
        zone = load(file).zones[laid.zone]
        assert not laid.new and zone.supply == laid.run.supply and zone.side == laid.side
        assert zone.length == pytest.approx(laid.run.hose_m, abs=0.01)
    after = file.read_text("utf-8")
    assert "# the shady side" in after
    gone = [line for line in text.splitlines() if line not in after.splitlines()]
    assert all(line.startswith(("length = ", "supply = ")) for line in gone)
    compile_house(load(file))
    assert run("layout", str(file), "--fix")[0] == 0
    assert file.read_text("utf-8") == after  # said again it changes nothing


def test_fix_keeps_line_ends(tmp_path: Path) -> None:
    texts = []
    for name, line_end in (("unix", "\n"), ("dos", "\r\n")):
        file = tmp_path / name
        file.write_text(text_of(OUTLINES["rectangle"]), "utf-8", newline=line_end)
        assert run("layout", str(file), "--out", str(tmp_path), "--fix")[0] == 0
        texts.append(file.read_bytes())
    assert texts[1] == texts[0].replace(b"\n", b"\r\n") != texts[0]


def test_fix_adds_a_zone_where_a_side_has_more_runs(tmp_path: Path) -> None:
    file = tmp_path / "house.toml"
    probed = text_of(OUTLINES["L"]).replace('side = "south"', 'side = "south"\nprobe = true')
    file.write_text(probed, "utf-8")
    was = set(load(file).zones)
    assert run("layout", str(file), "--fix")[0] == 0
    zones = load(file).zones
    new = {name: zone for name, zone in zones.items() if name not in was}
    assert new and set(zones) > was
    assert {zone.sensor for zone in new.values() if zone.side == "south"} == {"south"}
    assert not any(laid.new for laid in lay_out(load(file)).laid)
    compile_house(load(file))


def test_where_paving_is_taken_away_fix_says_which_zone_is_one_too_many(tmp_path: Path) -> None:
    file = tmp_path / "house.toml"
    file.write_text(text_of(OUTLINES["rectangle"]), "utf-8")
    assert run("layout", str(file), "--fix")[0] == 0
    paved = file.read_text("utf-8")
    file.write_text(re.sub("^paving = .*$", "", paved, flags=re.MULTILINE), "utf-8")
    result = CliRunner().invoke(app, ["layout", str(file), "--fix"])
    assert (result.exit_code, result.stderr.count("\n")) == (2, 1)
    assert 'zones.south: found a zone without a hose: "south 2" has all of' in result.stderr
    assert "as many zones there as hoses, 1: take this one or another out" in result.stderr
    document = tomlkit.parse(file.read_text("utf-8"))
    for name in ("south", "south 2"):
        fewer = tomlkit.parse(tomlkit.dumps(document))
        del fewer["zones"][name]
        file.write_text(tomlkit.dumps(fewer), "utf-8")
        assert run("layout", str(file), "--fix")[0] == 0


def test_a_zone_without_ground_is_refused_by_fix(tmp_path: Path) -> None:
    file = tmp_path / "house.toml"
    file.write_text(text_of(OUTLINES["paving all along"]), "utf-8")
    before = file.read_bytes()
    status, _ = run("layout", str(file), "--fix")
    assert status == 2 and file.read_bytes() == before
    status, text = run("layout", str(file))
    assert status == 0
    assert "Zone south of the file has no hose here." in text
    assert "Side 1 (south) is not watered" in text


@both
def test_it_speaks_in_the_house_s_units(units: str, tmp_path: Path) -> None:
    file = tmp_path / "house.toml"
    text = text_of(OUTLINES["one spigot"]).replace('units = "metric"', f'units = "{units}"')
    if units == "us":
        text = re.sub(r"\b(length|along|from|to) = ([\d.]+)", r'\1 = "\2 m"', text)
        text = re.sub(r"\[([\d.]+), ([\d.]+)\]", r'["\1 m", "\2 m"]', text)
        text = text.replace("flow = 14", 'flow = "14 L/min"').replace(
            "flow = 12", 'flow = "12 L/min"'
        )
        text = text.replace("flow = 4,", 'flow = "4 L/h/m",').replace("fall = 0.2", 'fall = "8 in"')
        text = re.sub(r"pressure = 75", 'pressure = "75 kPa"', text)
    file.write_text(text, "utf-8")
    status, told = run("layout", str(file), "--out", str(tmp_path / "out"))
    assert status == 0, told
    own_units_only(told, units, 150)
    own_units_only(words((tmp_path / "out" / "layout.svg").read_text("utf-8")), units, 30)
    assert (tmp_path / "out" / "layout.png").read_bytes().startswith(b"\x89PNG")
    if units == "us":
        assert run("layout", str(file), "--fix")[0] == 0
        assert re.search(r'length = "[\d.]+ ft"', file.read_text("utf-8"))


def test_the_stack_stands_in_the_order_in_which_it_is_safe() -> None:
    """Spigot, splitter, hub valve, then for each outlet backflow device, filter, regulator, hose:
    a vacuum breaker for a hose may stand under pressure for 12 hours at most (ASSE 1011), so it
    stands behind the valve."""
    prop = load(DEMO)
    kinds = [part.kind for part in stack(prop, "back", ["west", "east", "north"])]
    order = ("splitter", "hub valve", "backflow", "filter", "pressure regulator", "feed pipe")
    assert [next(word for word in order if kind.startswith(word)) for kind in kinds] == list(order)
    counts = [part.count for part in stack(prop, "back", ["west", "east", "north"])]
    assert counts == [1, 3, 3, 3, 3, 3]
    assert next(iter(stack(prop, "front", ["front"]))).kind == "flow meter"


def test_plain_washers_stand_only_behind_a_low_pressure_regulator() -> None:
    layout = lay_out(load(DEMO))
    words_of = {
        supply: " ".join(part.kind for part in fittings(layout, supply))
        for supply in ("back", "front")
    }
    assert "plain washer" in words_of["back"] and "stays in" not in words_of["back"]
    assert "plain washer" not in words_of["front"] and "stays in" in words_of["front"]


def test_hose_washers_are_one_a_joint() -> None:
    """Counted by hand for the demo's back spigot: one at the splitter, five down each of three
    outlets, one between feed and tee, and one in each of four end caps."""
    layout = lay_out(load(DEMO))
    parts = {part.kind: part.count for part in fittings(layout, "back")}
    assert (parts["hose washer"], parts["end cap"]) == (1 + 15 + 1 + 4, 4)


PATH = """
corners = [[0, 0], [14, 0], [14, 9], [0, 9]]
spigots = {{ back = {{ side = 3, along = 5 }} }}
paving = [{{ side = 3, from = 7, to = {ends} }}]
"""


def test_a_sleeve_under_a_path_is_taken_before_pipe_around_the_house() -> None:
    path, drive = [lay_out(house_of(PATH.format(ends=ends))) for ends in (8.2, 13)]
    assert [sleeve.zones for sleeve in path.sleeves] == [("north", "west")]
    assert sum(laid.feed.length_m for laid in path.laid) < 34  # around the house it was 100
    assert not drive.sleeves  # under six metres no sleeve is easier than the way around


def test_more_valves_than_a_board_has_are_told(tmp_path: Path) -> None:
    file = tmp_path / "house.toml"
    for name, said in (("L", "takes 6 valves"), ("one spigot", "")):
        file.write_text(text_of(OUTLINES[name]), "utf-8")
        result = CliRunner().invoke(app, ["layout", str(file)])
        assert result.exit_code == 0 and said in result.stderr
        assert ("valves" in result.stderr) == bool(said)


def test_hoses_keep_their_distance() -> None:
    """0.30 to 0.45 m from the slab, never against it: common practice, no source."""
    assert 0.30 <= OFF_M <= 0.45


def test_the_command_writes_beside_the_file(tmp_path: Path) -> None:
    file = tmp_path / "property.toml"
    shutil.copy(DEMO, file)
    before = file.read_bytes()
    assert run("layout", str(file))[0] == 0
    assert {path.name for path in tmp_path.iterdir()} == {
        "property.toml",
        "layout.svg",
        "layout.png",
    }
    assert file.read_bytes() == before
