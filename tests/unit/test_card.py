"""`evenclay card`: what stands on the sheet, in the house's units and clock, and its refusals."""

import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from evenclay.sim.house.house import run_s
from evenclay.sim.units import METRIC, US
from evenclay.tools.cli.commands import app
from evenclay.tools.handover.calendar import of_year
from evenclay.tools.handover.card import content, printed
from evenclay.tools.handover.card.card import SWATCH, card_of
from evenclay.tools.handover.layout.drawing import PATTERNS
from evenclay.tools.handover.layout.layout import lay_out
from evenclay.tools.handover.layout.parts import _bore, laid_items
from evenclay.tools.property.check import check
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.file.mistakes import PropertyError
from evenclay.tools.property.property import Property, load, parse
from tests.outlines import OUTLINES, house_of, text_of
from tests.unit.test_units import both, own_units_only, run, words

DEMO = Path(__file__).parents[2] / "sim" / "demo" / "property.toml"
# Of section 7 of the trade's cautions: what an owner must meet on the sheet.
TOLD = (
    "mains pressure",
    "backflow device",
    "Look for leaks",
    "drains no hose",
    "one side only",
    "gap at the slab",
    "weep holes",
    "termite barriers",
    "softened, saline or grey water",
    "new or growing cracks",
    "soft ground",
    "seepage",
    "stands an hour after a cycle",
    "engineer",
    "plumber",
    "water supplier",
    "Set up by",
    "Telephone",
)


def page_words(page: str) -> str:
    return re.sub(r"\s+", " ", words(page))


def us_text() -> str:
    """The demo with its units, as its comments allow."""
    text = DEMO.read_text("utf-8").replace('units = "metric"', 'units = "us"')
    for key, unit in (
        ("length|along|from|to|distance|height|eaves|fall", "m"),
        ("flow", "L/h/m"),
        ("pressure", "kPa"),
        ("below|above", "degC"),
        ("top|hold", "mm"),
    ):
        text = re.sub(rf"\b({key}) = (-?[\d.]+)(?=[ ,}}\n])", rf'\1 = "\2 {unit}"', text)
    text = text.replace('flow = "14 L/h/m"', 'flow = "14 L/min"')
    return text.replace('flow = "12 L/h/m"', 'flow = "12 L/min"')


@both
def test_it_speaks_in_the_house_s_units_and_clock(units: str, tmp_path: Path) -> None:
    file = tmp_path / "house.toml"
    file.write_text(us_text() if units == "us" else DEMO.read_text("utf-8"), "utf-8")
    status, said = run("card", str(file))
    assert status == 0, said
    page = (tmp_path / "card.html").read_text("utf-8")
    text = page_words(page)
    own_units_only(text, units, 350)
    assert ("8 pm, 12:40 am, 5:20 am" in text) == (units == "us")
    assert ("20:00, 00:40, 05:20" in text) == (units == "metric")
    assert f"size: {'letter' if units == 'us' else 'A4'}" in page
    assert ("rain 0.5 inch" in text) == (units == "us")


def test_what_an_owner_must_meet_is_told() -> None:
    text = page_words(card_of(load(DEMO)))
    missing = [told for told in TOLD if told not in text]
    assert not missing


def test_each_zone_has_name_colour_and_pattern() -> None:
    """No two of the eight zones that a hub can have look alike, without colour neither."""
    page = card_of(load(DEMO))
    swatches = re.findall(r'<svg class="swatch".*?</svg>', page, re.DOTALL)
    assert len(swatches) == 4
    shapes = {re.findall(r'd="([^"]*)"', swatch)[0] for swatch in swatches}
    colours = {re.findall(r'stroke="([^"]*)"', swatch)[0] for swatch in swatches}
    assert len(shapes) == len(colours) == 4
    assert set(SWATCH) == set(PATTERNS) and len(set(SWATCH.values())) == len(PATTERNS) == 8
    for name in load(DEMO).zones:
        assert f"<b>{name}</b>" in page


def test_no_text_is_smaller_than_nine_points() -> None:
    for page in (card_of(load(DEMO)), card_of(eight_zones())):
        sizes = re.findall(r"font(?:-size)?: (?:bold )?(?:[\d.]+px)?([\d.]+)(pt|px|em)", page)
        sizes += re.findall(r'font-size="([\d.]+)"()', page)
        sizes += re.findall(r"font: (?:\w+ )?([\d.]+)(px)", page)
        assert len(sizes) >= 5
        for size, unit in sizes:
            # A pixel of a drawing is a point: its viewBox is as wide as its width in points.
            least = {"em": 1.0}.get(unit, 9.0)
            assert float(size) >= least, (size, unit)
        for drawing in re.findall(r"<svg [^>]*viewBox[^>]*>", page):
            wide = re.search(r'width="([\d.]+)pt"', drawing)
            shown = re.search(r'viewBox="0 0 ([\d.]+) ', drawing)
            assert shown is not None
            if wide and "swatch" not in drawing:
                assert float(wide[1]) == pytest.approx(float(shown[1]), rel=1e-3)


def eight_zones() -> Property:
    """The U without paving, each of whose eight sides has a zone."""
    from evenclay.tools.handover.layout.written import written

    bare = OUTLINES["U"].partition("paving")[0]
    text = written(lay_out(house_of(bare)))
    prop = parse(text, "eight.toml")
    assert len(prop.zones) == 8
    return prop


@pytest.mark.parametrize("name", ["one spigot", "spigot in a corner", "U", "paving all along"])
def test_the_legend_names_what_is_drawn_and_nothing_else(name: str) -> None:
    layout = lay_out(house_of(OUTLINES[name]))
    said = " ".join(content.legend(layout))
    assert ("sleeve" in said) == bool(layout.sleeves)
    assert ("Grey" in said) == bool(layout.shape.paving)
    assert ("tee" in said) == any(laid.tee for laid in layout.laid)


def test_bores_of_a_us_house_are_the_trade_s_fractions() -> None:
    prop = parse(us_text(), "us")
    sizes = {item.kind: item.size for item in laid_items(lay_out(prop, kept=True))}
    hoses = {size for kind, size in sizes.items() if kind.endswith("hose")}
    assert hoses == {"1/2 in inside"} and sizes["feed pipe"] == "5/8 in inside"
    found = [_bore(US, mm) for mm in (12.7, 15.875, 16.0, 19.05, 14.0, 25.4, 40.0)]
    inches = ["1/2", "5/8", "5/8", "3/4", "0.551", "1", "1.57"]
    assert found == [f"{number} in inside" for number in inches]
    assert _bore(METRIC, 12.7) == "12.7 mm inside"


def test_seasons_are_the_plan_s() -> None:
    """Days without a gap, starts and minutes as the hub obeys them."""
    prop = load(DEMO)
    plan = compile_house(prop).plan
    rows = list(content.season_rows(prop, compile_house(prop)))
    assert [row.days for row in rows][:2] == ["15 Mar to 30 Apr", "1 May to 31 May"]
    assert rows[-1].days == "1 Nov to 14 Mar" and rows[-1].starts == "closed: no water"
    for index, (row, part) in enumerate(zip(rows, plan.rows, strict=True)):
        if not part.cycles:
            assert not row.minutes
            continue
        starts = [part.start_min_of(cycle) % 1440 for cycle in range(part.cycles)]
        assert row.starts == ", ".join(f"{m // 60:02}:{m % 60:02}" for m in starts)
        given = [run_s(plan, index, zone) / 60 for zone in plan.zones]
        assert [float(each) for each in row.minutes] == pytest.approx(given, abs=0.5)


@pytest.mark.parametrize("check", ["blade", "sample", "both"])
def test_findings_are_what_the_hub_understands(check: str) -> None:
    text = DEMO.read_text("utf-8").replace('check = "sample"', f'check = "{check}"')
    found = content.findings(parse(text, "house"))
    told = [each.tell for _, part in found for each in part]
    blade = [f"check west {word}" for word in ("dry", "firm", "wet")]
    sample = [f"sample west {number}" for number in range(5)]
    assert told == {"blade": blade, "sample": sample, "both": sample + blade}[check]
    page = card_of(parse(text, "house"))
    assert ("blade: 0.6 m deep" in page) == (check != "sample")
    assert ("sample: 0.5 m down" in page) == (check != "blade")
    assert "Take eight samples" not in page  # each strip has a probe


@pytest.mark.parametrize(("kept", "told"), [(0, "each strip"), (2, "north, front"), (4, None)])
def test_strips_without_a_probe_are_sampled_before_the_first_water(
    kept: int, told: str | None
) -> None:
    *parts, last = DEMO.read_text("utf-8").split("probe = true")
    text = "".join(
        part + ("probe = true" if number < kept else "probe = false")
        for number, part in enumerate(parts)
    )
    page = card_of(parse(text + last, "house"))
    assert (f"Take eight samples of {told}, one a week," in page) == (told is not None)
    assert ("eight samples" in page) == (told is not None)
    blade = parse((text + last).replace('check = "sample"', 'check = "blade"'), "house")
    assert "eight samples" not in card_of(blade)


def test_a_house_without_an_outline_has_a_card_without_a_drawing() -> None:
    text = DEMO.read_text("utf-8").partition("[outline]")[0]
    page = card_of(parse(text, "house"))
    assert "No drawing" in page and 'id="layout-' not in page
    assert "hub valve, latching" in page


def test_a_card_of_a_plain_timer_says_so_and_asks_for_no_check() -> None:
    text = DEMO.read_text("utf-8")
    timer = text.replace("[estimate]\n", '[estimate]\nestimate = "off"\n')
    pages = [page_words(card_of(parse(one, "house"))) for one in (text, timer)]
    assert ["waters by its table alone" in page for page in pages] == [False, True]
    for told in ("The check:", "rain 12 mm", "sample west"):
        assert [told in page for page in pages] == [True, False]


def test_a_card_of_a_plan_that_is_not_sure_to_help_says_so() -> None:
    text = DEMO.read_text("utf-8")
    for verdict, told in (("leave", True), ("water", False)):
        judged = text.replace("[estimate]\n", f'[estimate]\nverdict = "{verdict}"\n')
        page = page_words(card_of(parse(judged, "house")))
        assert ("is not sure to help: leave the house as it is" in page) == told


def test_without_a_plan_no_card_is_made(tmp_path: Path) -> None:
    file = tmp_path / "house.toml"
    file.write_text(text_of(OUTLINES["rectangle"]), "utf-8")
    result = CliRunner().invoke(app, ["card", str(file)])
    assert (result.exit_code, result.stderr.count("\n")) == (2, 1)
    assert "estimate: found no plan yet, allowed the numbers of one" in result.stderr
    assert list(tmp_path.iterdir()) == [file]


def test_a_spigot_that_is_called_so_is_not_called_so_twice() -> None:
    text = text_of(OUTLINES["one spigot"]).replace("supplies.back", "supplies.spigot")
    text = text.replace('supply = "back"', 'supply = "spigot"').replace("back = ", "spigot = ")
    page = page_words(card_of(parse(text, "house")))
    assert "spigot" in page and "spigot spigot" not in page


def test_the_card_draws_the_file_s_own_zones() -> None:
    """A zone on a spigot that is not the best one stays there."""
    prop = house_of(OUTLINES["two spigots"].partition("paving")[0])
    best, kept = lay_out(prop), lay_out(prop, kept=True)
    assert {laid.run.supply for laid in best.laid} == {"back", "front"}
    assert {laid.run.supply for laid in kept.laid} == {"back"}
    page = card_of(prop)
    for name in prop.zones:
        assert f"name-zone-{name}" in page


@pytest.mark.parametrize(
    ("name", "line"),
    [
        ("L", "house.toml:.*: zones: found no zone for the hose along side"),
        ("paving all along", "zones.south: found a zone for which the outline has no hose"),
    ],
)
def test_zones_that_are_not_the_outline_s_are_refused(name: str, line: str, tmp_path: Path) -> None:
    file = tmp_path / "house.toml"
    file.write_text(text_of(OUTLINES[name]), "utf-8")
    with pytest.raises(PropertyError, match=line):
        card_of(load(file))
    assert run("card", str(file))[0] == 2
    assert list(tmp_path.iterdir()) == [file]


def test_the_house_s_page_gets_a_code() -> None:
    text = DEMO.read_text("utf-8")
    bare = card_of(parse(text, "house"))
    paged = text.replace("open_at_once = 2", 'open_at_once = 2\npage = "http://hub.local/"')
    page = card_of(parse(paged, "house"))
    assert 'class="qr"' not in bare and 'class="qr"' in page and "http://hub.local/" in page
    for bad in ('"hub.local"', '"javascript:x"', '"http://a b"', "5"):
        with pytest.raises(PropertyError, match=r"hub.page: found .*, allowed an address"):
            parse(paged.replace('"http://hub.local/"', bad), "house")


def test_without_a_browser_pdf_says_how_to_print(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(printed, "BROWSERS", ("no-such-browser",))
    file = tmp_path / "house.toml"
    file.write_bytes(DEMO.read_bytes())
    status, said = run("card", str(file), "--pdf")
    assert status == 2
    assert (tmp_path / "card.html").exists() and not (tmp_path / "card.pdf").exists()
    assert "Wrote" in said


def test_text_of_an_owner_is_escaped() -> None:
    text = DEMO.read_text("utf-8").replace("Cotter house", "<b>& house")
    assert "&lt;b&gt;&amp; house" in card_of(parse(text, "house"))


def test_the_check_s_drawing_is_to_its_own_scale() -> None:
    """The sample lies as deep as the hose is far from the wall, times 0.5 / 0.4."""
    from evenclay.tools.handover.card.check_drawing import GROUND_PT, PT_PER_M, check_svg

    svg = check_svg(METRIC, sample=True, blade=True)
    rod = re.search(r"M[\d.]+ 6V([\d.]+)", svg)
    assert rod is not None
    assert (float(rod[1]) - GROUND_PT) / PT_PER_M == pytest.approx(0.6, abs=0.01)


def test_no_number_follows_a_zone_s_name_at_once() -> None:
    """A zone may be called "east 2", so that "east 2 32" would be 2, 32 or 232 minutes."""
    named = {"front": "east 2", "east": "east 3"}
    text = DEMO.read_text("utf-8")
    for name, new in named.items():
        text = text.replace(f"[zones.{name}]", f'[zones."{new}"]')
    text = re.sub(r"minutes = \d+", "minutes = 44", text.partition("[outline]")[0], count=1)
    prop = parse(text, "house")
    assert [name for name in prop.zones if name in named.values()] == ["east 3", "east 2"]
    house = compile_house(prop)
    found = check(prop, house)
    told = [row.together for row in content.season_rows(prop, house)]
    told += [str(event.get("summary")) for event in of_year(house, 2027, cycles=True).events]
    told += [found.estimate, *found.cautions]
    for pattern in (r"east\s2: ~?\d", "min east 2", "east 2 at pF", "east 2: [\\d.]+ where"):
        assert any(re.search(pattern, text) for text in told), pattern
    for text in told:
        assert not re.search(r"east\s[23]\s~?\d", text), text
