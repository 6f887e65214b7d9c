"""`evenclay start`: by options or answers, a file in the house's own units that passes `check`."""

import re
import shutil
import sys
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import freezegun
import pytest
import tomlkit
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from evenclay.tools.cli.commands import app
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.property import load, parse
from evenclay.tools.start import clay, defaults, guide, place, seasons
from evenclay.tools.start.answers import _READERS
from evenclay.tools.start.questions import QUESTIONS, SIDES
from tests.unit.test_units import own_units_only

DEMO = Path(__file__).parents[2] / "sim" / "demo" / "property.toml"
US = ("--where", "76065", "--north", "40 ft", "--east", "30")
SOUTH = ("--where", "ADL", "--north", "12", "--east", "9 m", "--west-cover", "hot wall")


def run(*args: str, typed: str | None = None) -> tuple[int, str, str]:
    """Exit status, stdout and stderr."""
    result = CliRunner().invoke(app, list(args), input=typed)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.stdout, result.stderr


def begun(folder: Path, *options: str) -> Path:
    file = folder / "property.toml"
    status, out, err = run("start", str(file), *options)
    assert (status, err) == (0, ""), err
    assert out.startswith("Wrote")
    return file


def refusal(file: Path, *options: str) -> str:
    """The one line that refuses these options; nothing is written."""
    before = file.read_bytes() if file.exists() else None
    status, out, err = run("start", str(file), *options)
    assert (status, out, err.count("\n")) == (2, "", 1)
    assert (file.read_bytes() if file.exists() else None) == before
    return err


@pytest.mark.parametrize(("options", "units"), [(US, "us"), (SOUTH, "metric")])
def test_options_alone_make_a_file_that_passes_check(
    options: tuple[str, ...], units: str, tmp_path: Path
) -> None:
    file = tmp_path / "house" / "property.toml"
    status, told, err = run("start", str(file), *options)
    assert (status, err) == (0, "")
    assert "Assumed" in told and "bucket" in told and "evenclay weather" in told
    own_units_only(told, units, 150)
    written = file.read_text("utf-8").replace("litres = ", "")  # the name of a key
    own_units_only(written, units, 300)
    status, checked, _ = run("check", str(file))
    assert status == 0
    own_units_only(checked, units, 200)
    prop = load(file)
    assert prop.site.units == units and prop.site.longitude is not None
    assert {zone.side for zone in prop.zones.values()} == set(SIDES)
    open_months = {season.begins[0] for season in prop.seasons if season.count}
    assert open_months <= (set(range(3, 11)) if units == "us" else {9, 11, 12, 1, 3, 4})
    assert "banned hours" not in checked and "far from" not in checked


def test_numbers_alone_are_in_the_house_s_units_and_told(tmp_path: Path) -> None:
    options = ("--where", "76065", "--north", "40", "--east", "30 ft", "--spigot-flow", "4")
    _, told, _ = run("start", str(tmp_path / "house.toml"), *options)
    assert re.findall(r"Read .*", told) == [
        "Read --north 40 as 40 ft.",
        "Read --spigot-flow 4 as 4 gal/min.",
    ]
    prop = load(tmp_path / "house.toml")
    assert prop.zones["north"].length == pytest.approx(40 * 0.3048)
    assert prop.supplies["spigot"].flow == pytest.approx(4 * 3.785411784)


def test_the_least_flow_that_is_told_is_allowed(tmp_path: Path) -> None:
    line = refusal(tmp_path / "house.toml", *US, "--spigot-flow", "0.15 gal/min")
    least = line.partition("the longest hose wants, ")[2].partition(";")[0]
    assert re.fullmatch(r"0\.\d\d? gal/min", least)
    begun(tmp_path, *US, "--spigot-flow", least)


def test_every_question_is_an_option_and_has_a_reader() -> None:
    keys = [question.key for question in QUESTIONS]
    assert set(keys) == set(_READERS)
    status, out, _ = run("start", "--help")
    assert status == 0
    assert all(f"--{key} " in out for key in keys)


def test_what_has_to_be_answered_is_asked_for(tmp_path: Path) -> None:
    file = tmp_path / "property.toml"
    assert "--where" in refusal(file, "--north", "40 ft")
    assert "--east" in refusal(file, "--where", "76065", "--north", "40 ft")


@pytest.mark.parametrize(
    ("option", "answer", "said"),
    [
        ("where", "nowhere at all", "a US ZIP code"),
        ("where", "99999", "no ZIP code"),
        ("where", "09001", "without a place"),
        ("where", "QQQQ", "no airport"),
        ("where", "80, 20", "-66 to 66"),
        ("north", "forty", "ft"),
        ("north", "9999 ft", "3.3 to 980 ft"),
        ("north", "3 gal", "not a length"),
        ("north", "9999", 'found "9999" (9999 ft), allowed 3.3 to 980 ft'),
        ("north", "9999", 'ft, as a number or with a unit, such as "75 ft"'),
        ("spigot-flow", "4000", "gal/min, as a number or with a unit, such as"),
        ("hose-flow", "3 gal in 10, north", '0.1 to 600 min, with its unit, such as "10 min"'),
        ("units", "imperial", "us, metric"),
        ("built", "2999", "a year up to"),
        ("clay", "cheese", "black clay"),
        ("clay", "london clay", "field_capacity and wilting_point, percent of water by volume"),
        ("moving", "perhaps", "yes or no"),
        ("north-cover", "snow", "mulched"),
        ("spigots", "a, a", "no one twice"),
        ("north-spigot", "front", "several spigots"),
        ("hose-flow", "much", "gal/h/ft"),
        ("hose-flow", "300 gal in 10 min, north", '"300 gal in 10 min, north" (45 gal/h/ft)'),
        (
            "spigot-flow",
            "0.2 gal in 60 s",
            'found "0.2 gal in 60 s" (0.2 gal/min), allowed at',
        ),
        ("spigot-flow", "1 gal in 1 h", 'found "1 gal in 1 h" (0.0167 gal/min), allowed 0.14 to'),
        ("hose-flow", "3 gal in 10 min", "the side whose whole hose"),
        ("spigot-flow", "0.15 gal/min", "at least what the longest hose wants"),
        ("probes", "up", "none, all"),
        ("weekdays", "someday", "mon"),
        (
            "weekdays",
            "monday, thrusday",
            'found "monday, thrusday" ("thrusday" will not do), ',
        ),
        (
            "weekdays",
            "mon, thrusday",
            "some of mon, tue, wed, thu, fri, sat, sun, no one twice;",
        ),
        ("weekdays", "mon, mon", 'found "mon, mon" ("mon" stands twice)'),
        ("banned-hours", "00:00-23:30", "leave an hour"),
        ("banned-hours", "00:00-24:00", "leave an hour"),
        ("banned-hours", "9-5, noon", 'found "9-5, noon" ("9-5" will not do), allowed at most '),
        ("water-price", "dear", "a price"),
        ("water-price", "-$7 per 1000 gal", "a price from 0 on"),
        ("water-price", "$-7", "a price from 0 on"),
        ("water-price", "\u22127 EUR per m3", "a price from 0 on"),
        ("timezone", "Texas", "unknown"),
        ("new-seasons", "yes", "a file that is there"),
    ],
)
def test_nonsense_is_refused_in_one_line(
    option: str, answer: str, said: str, tmp_path: Path
) -> None:
    options = dict(zip(US[::2], US[1::2], strict=True)) | {f"--{option}": answer}
    line = refusal(tmp_path / "property.toml", *[part for item in options.items() for part in item])
    assert said in line and f"--{option}" in line


def test_a_house_that_moves_is_for_an_engineer(tmp_path: Path) -> None:
    file = tmp_path / "property.toml"
    status, out, _ = run("start", str(file), *US, "--moving", "yes")
    assert status == 1 and "engineer" in out and not file.exists()
    status, out, _ = run("start", str(file), typed="y\n")
    assert status == 1 and "engineer" in out and not file.exists()


@pytest.mark.parametrize(
    ("option", "answer", "line"),
    [
        ("--probes", "all", "probe = true"),
        ("--probes", "north", "probe = true"),
        ("--thermometer", "yes", "thermometer = true"),
        ("--built", "2019", "settled = false"),
    ],
)
def test_a_yes_or_no_is_changed_in_a_file_that_is_there(
    option: str, answer: str, line: str, tmp_path: Path
) -> None:
    file = tmp_path / "property.toml"
    begin = ("--where", "39211", "--north", "40 ft", "--east", "30 ft")
    assert run("start", str(file), *begin, "--probes", "none", "--thermometer", "no")[0] == 0
    assert line not in file.read_text("utf-8")
    for _ in range(2):
        assert run("start", str(file), option, answer)[0] == 0
        assert line in file.read_text("utf-8")


@pytest.mark.parametrize(
    ("probes", "check"), [("none", "sample"), ("north", "sample"), ("all", "blade")]
)
def test_samples_are_the_check_where_a_strip_has_no_probe(
    probes: str, check: str, tmp_path: Path
) -> None:
    assert load(begun(tmp_path, *US, "--probes", probes)).owner.check == check


@pytest.mark.parametrize(
    ("option", "answer"),
    [
        ("--probes", "north"),
        ("--probes", "all"),
        ("--hose-flow", "3 gal in 10 min, north"),
        ("--north", "40 ft"),
        ("--north-spigot", "spigot"),
    ],
)
def test_what_cannot_tell_two_zones_of_a_side_apart_is_refused(
    option: str, answer: str, tmp_path: Path
) -> None:
    file = begun(tmp_path, *US)
    document = tomlkit.parse(file.read_text("utf-8"))
    zones = document["zones"]
    assert isinstance(zones, dict)
    zones["north 2"] = zones["north"]
    before = tomlkit.dumps(document)
    file.write_text(before, "utf-8")
    status, _, told = run("start", str(file), option, answer)
    assert status == 2 and "change this file's by hand" in " ".join(told.split())
    assert file.read_text("utf-8") == before


@pytest.mark.parametrize("answer", ["us", "metric"])
def test_units_of_a_file_that_is_there_are_told(answer: str, tmp_path: Path) -> None:
    line = refusal(begun(tmp_path, *US), "--units", answer)
    assert f'--units: found "{answer}", allowed only for a new file; this one is us already' in line


def several(folder: Path) -> Path:
    """A file as `layout --fix` leaves it, with two zones on the east side."""
    outline = "50 ft right, 30 ft right, 50 ft right, 30 ft right"
    spigots = ("--spigots", "back, front", "--spigot-places", "back 1 12 ft, front 3 20 ft")
    where = ("--where", "76065", "--paving", "2 10 ft to 14 ft")
    file = begun(folder, *where, *spigots, "--outline", outline)
    assert run("layout", str(file), "--fix")[0] == 0
    assert [zone.side for zone in load(file).zones.values()].count("east") == 2
    return file


def test_what_concerns_a_side_with_one_zone_is_changed_beside_one_with_two(tmp_path: Path) -> None:
    file = several(tmp_path)
    was = load(file).zones
    begun(tmp_path, "--hose-flow", "1.6 gal in 10 min, north", "--probes", "north")
    zones = load(file).zones
    assert {name: zone.length for name, zone in zones.items()} == {
        name: zone.length for name, zone in was.items()
    }
    assert zones["north"].flow_l_h == pytest.approx(1.6 * 3.785411784 * 6)
    along = {name: zone.flow_l_h / zone.length for name, zone in zones.items()}
    assert len(along) == 5 and all(
        each == pytest.approx(along["north"], rel=0.01) for each in along.values()
    )
    assert [name for name, zone in zones.items() if zone.probe] == ["north"]


def test_a_cover_is_that_of_all_zones_of_a_side(tmp_path: Path) -> None:
    file = several(tmp_path)
    before = file.read_text("utf-8").splitlines()
    begun(tmp_path, "--east-cover", "lawn")
    covers = {name: (zone.cover, zone.side == "east") for name, zone in load(file).zones.items()}
    assert sorted(covers.values()) == [("bare", False)] * 3 + [("lawn", True)] * 2
    after = file.read_text("utf-8").splitlines()
    changed = [new for old, new in zip(before, after, strict=True) if old != new]
    assert changed == ["share = 100", 'cover = "lawn"'] * 2


def test_questions_about_a_file_with_several_zones_on_a_side_change_nothing(tmp_path: Path) -> None:
    """Where Enter takes what is in brackets; what is asked is what may be answered."""
    file = several(tmp_path)
    north = file.read_text("utf-8").replace('side = "north"', 'side = "EAST"')
    file.write_text(north.replace('"east"', '"north"').replace('"EAST"', '"east"'), "utf-8")
    before = file.read_bytes()
    status, told, err = run("start", str(file), typed="\n" * 60)
    assert status == 0, err
    assert file.read_bytes() == before
    assert "covers the ground on the north side" in told and "hose along the north" not in told
    assert "as: 3 gal in 10 min, east" in told


def test_lengths_that_stay_are_told_as_such(tmp_path: Path) -> None:
    file = several(tmp_path)
    was = load(file).zones
    _, told, _ = run("start", str(file), "--paving", "none")
    zones = load(file).zones
    assert all(zones[name].length == was[name].length for name in ("east", "east 2"))
    assert "The hoses of the east side are as long as they were" in told
    assert "as long as the outline has it" not in told


def test_what_it_tells_to_type_next_it_takes(tmp_path: Path) -> None:
    differ = begun(tmp_path / "differ", *US)
    text = differ.read_text("utf-8").replace('"11 psi" }', '"12 psi" }', 1)
    differ.write_text(text.replace('"0.32 gal', '"0.3 gal', 1), "utf-8")
    asked = []
    for file in (begun(tmp_path / "plain", *US), several(tmp_path / "several"), differ):
        _, told, _ = run("start", str(file), "--rain-sensor", "gauge")
        commands = re.findall(r'evenclay start (\S+) (--\S+) "(.+?)"', told)
        asked.append(len(commands))
        for path, option, answer in commands:
            answer = answer.replace("SECONDS", "60").replace("AMOUNT", "1.6")
            status, _, err = run("start", path, option, answer)
            assert status == 0, err
    assert asked == [2, 2, 1]


def test_again_it_changes_what_is_asked_and_keeps_comments(tmp_path: Path) -> None:
    file = begun(tmp_path, *US)
    mine = file.read_text("utf-8").replace("[soil]", "# mine\n[soil] # too")
    mine = mine.replace("minutes = 20", "minutes = 21  # by hand")
    file.write_text(mine, "utf-8")
    begun(tmp_path, "--clay", "sandy clay", "--rain-sensor", "gauge")
    expected = mine.replace('texture = "clay"', 'texture = "sandy clay"')
    assert file.read_text("utf-8") == expected.replace('sensor = "none"', 'sensor = "gauge"')


def test_what_changed_is_told_as_the_file_has_it(tmp_path: Path) -> None:
    file = begun(tmp_path, *US, "--foundation", "slab")

    def changed(*options: str) -> list[str]:
        _, told, _ = run("start", str(file), *options)
        return told.partition("What changed in it:\n")[2].partition("\n\n")[0].splitlines()

    assert changed("--north", "38", "--foundation", "basement", "--built", "2024-03") == [
        '  - site.foundation: it was "slab", and is "basement".',
        "  - site.settled: it was true, and is false.",
        '  - zones.north.length: it was "40 ft", and is "38 ft".',
        '  - site.poured: it was nothing, and is "2024-03".',
    ]
    assert changed("--foundation", "basement") == ["  - nothing."]
    assert "  - seasons: a new table." in changed("--where", "-35.2, 149.1")


@pytest.mark.parametrize("kept", ["\r\n", "\n"])
def test_again_it_keeps_line_ends_and_mode(kept: str, tmp_path: Path) -> None:
    file = begun(tmp_path, *US)
    file.write_bytes(file.read_bytes().replace(b"\n", kept.encode()))
    file.chmod(0o600)
    before = file.read_bytes()
    assert run("start", str(file), "--clay", "silty clay")[0] == 0
    after = file.read_bytes()
    assert after != before and after.count(b"\n") == after.count(kept.encode())
    assert kept == "\r\n" or b"\r" not in after
    assert file.stat().st_mode & 0o777 == 0o600
    assert run("start", str(file), "--clay", load(begun(tmp_path / "n", *US)).soil.texture)[0] == 0
    assert file.read_bytes() == before


@settings(max_examples=25)
@given(
    currency=st.one_of(
        st.sampled_from(["US $", "$", "EUR", "Rs.", "kr.", "-", "5", "$5 per", "/", "a b"]),
        st.text(st.characters(categories=("L", "N", "P", "S", "Zs")), min_size=1, max_size=8),
    ),
    price=st.one_of(st.sampled_from([0, 2.4, 1e-7, 1000]), st.floats(0, 1000)),
    per=st.sampled_from(["m3", "1000 gal", "ccf"]),
)
@example(currency="US $", price=2.4, per="m3")
def test_whatever_price_a_file_has_stays_or_goes(currency: str, price: float, per: str) -> None:
    water = f"[water]\nprice = {price!r}  # mine\nper = \"{per}\"\ncurrency = '{currency}'\n"
    text = re.sub(r"\[water\]\n(.+\n)+", lambda _: water, begun_text())
    try:
        before = parse(text, "")
    except ValueError:
        assume(False)

    def again(**options: str) -> str:
        return guide.file_of(guide.gather(options, before), "", before)[0]

    assert water in again(thermometer="yes")
    gone = parse(again(**{"water-price": "unknown"}), "").water
    assert (gone.price, gone.currency) == (None, "$")
    for answer, meant in (("$7 per m3", (7, "m3", "$")), ("3 EUR per ccf", (3, "ccf", "EUR"))):
        new = parse(again(**{"water-price": answer}), "").water
        assert (new.price, new.per, new.currency) == meant


@pytest.mark.parametrize("line", ['per = "ccf"', 'per = "m3"', 'currency = "EUR"', ""])
def test_a_first_price_is_what_it_was_said_to_be(line: str) -> None:
    water = f"[water]\n{line}\n"
    before = parse(re.sub(r"\[water\]\n(.+\n)+", lambda _: water, begun_text()), "")
    assert before.water.price is None
    for answer, meant in (("$7", (7, "1000 gal", "$")), ("3 EUR per m3", (3, "m3", "EUR"))):
        given = guide.gather({"water-price": answer}, before)
        new = parse(guide.file_of(given, "", before)[0], "").water
        assert (new.price, new.per, new.currency) == meant
    unpriced = guide.file_of(guide.gather({"thermometer": "yes"}, before), "", before)[0]
    assert water in unpriced


@cache
def begun_text() -> str:
    """A file as it is begun."""
    options = {"where": "76065", "north": "40 ft", "east": "30"}
    return guide.file_of(guide.gather(options, None), "", None)[0]


def test_no_new_seasons_where_the_file_bans_the_whole_day(tmp_path: Path) -> None:
    file = begun(tmp_path, *US)
    text = file.read_text("utf-8").replace("banned_hours = []", 'banned_hours = ["00:00-24:00"]')
    file.write_text(text, "utf-8")
    line = refusal(file, "--new-seasons", "yes")
    assert line.startswith('--banned-hours: found "00:00-24:00", allowed hours that leave')
    assert file.read_text("utf-8") == text
    assert run("start", str(file), "--new-seasons", "yes", "--banned-hours", "09:00-17:00")[0] == 0


def test_the_first_line_follows_the_house_s_name(tmp_path: Path) -> None:
    file = begun(tmp_path, *US)
    assert file.read_text("utf-8").startswith("# House in Midlothian, TX: a property file")
    begun(tmp_path, "--where", "39211")
    text = file.read_text("utf-8")
    assert text.startswith("# House in Jackson, MS: a property file") and "Midlothian" not in text
    file.write_text(text.replace("# House in Jackson, MS: a", "# Mine, a", 1), "utf-8")
    begun(tmp_path, "--name", "The old house")
    assert file.read_text("utf-8").startswith("# Mine, a property file")


@pytest.mark.parametrize("options", [US, SOUTH])
def test_the_same_answers_again_change_no_byte(options: tuple[str, ...], tmp_path: Path) -> None:
    file = begun(tmp_path, *options)
    before = file.read_bytes()
    begun(tmp_path, *options)
    begun(tmp_path, "--moving", "no")
    assert file.read_bytes() == before


def test_a_file_that_was_written_by_hand(tmp_path: Path) -> None:
    """The demo's: zones by other names, hoses that differ, no longitude."""
    file = tmp_path / "property.toml"
    shutil.copy(DEMO, file)
    begun(tmp_path, "--north-cover", "lawn")
    lines = zip(
        DEMO.read_text("utf-8").splitlines(), file.read_text("utf-8").splitlines(), strict=True
    )
    assert len([1 for old, new in lines if old != new]) == 2
    begun(tmp_path, "--west", "none", "--spigots", "back, front, side", "--south-spigot", "side")
    prop = load(file)
    assert prop.site.dry_sides == ("west",) and set(prop.zones) == {"east", "north", "front"}
    assert prop.zones["front"].supply == "side" and prop.zones["front"].hose.kind == "emitter"
    assert "answer hose-flow" in refusal(file, "--new-seasons", "yes")
    assert "of one kind" in refusal(file, "--hose-flow", "12 L in 10 min, north")


def test_over_the_equator_the_seasons_turn(tmp_path: Path) -> None:
    file = begun(tmp_path, *US)
    north = load(file).seasons
    begun(tmp_path, "--where", "-35.2, 149.1")
    prop = load(file)
    assert (
        prop.site.timezone == "Australia/Sydney" and prop.site.elevation != load(file).site.latitude
    )
    turned = sorted(((s.begins[0] + 5) % 12 + 1, s.begins[1]) for s in prop.seasons)
    assert turned == sorted(season.begins for season in north)
    closed = [season.begins for season in prop.seasons if not season.count]
    assert closed == [(5, 1)]


@freezegun.freeze_time("2027-03-01")
@pytest.mark.parametrize(
    ("answer", "poured"),
    [("old", None), ("2017", None), ("2018", (2018, 7)), ("2026-02", (2026, 2))],
)
def test_the_age_of_the_house(answer: str, poured: Any, tmp_path: Path) -> None:
    site = load(begun(tmp_path, *US, "--built", answer)).site
    assert (site.settled, site.poured) == (poured is None, poured)


def test_a_bucket_test_is_written_for_its_hose(tmp_path: Path) -> None:
    flow = ("--hose-flow", "3 gal in 10 min, north", "--spigot-flow", "5 gal in 75 s")
    file = begun(tmp_path, *US, *flow)
    document = tomllib.loads(file.read_text("utf-8"))
    assert document["zones"]["north"]["hose"]["bucket"] == {"litres": "3 gal", "time": "10 min"}
    prop = load(file)
    east = prop.zones["east"]
    assert east.flow_l_h == pytest.approx(prop.zones["north"].flow_l_h * 30 / 40, rel=0.01)
    assert prop.supplies["spigot"].flow == pytest.approx(4 * 3.785411784)
    assert defaults.now(prop)["hose-flow"] == flow[1]
    begun(tmp_path, "--north", "none", "--hose-flow", "0.3 gal/h/ft")
    assert "bucket" not in str(tomllib.loads(file.read_text("utf-8"))["zones"])


def test_a_second_bucket_test_leaves_the_first_and_what_changed_is_told(tmp_path: Path) -> None:
    file = begun(tmp_path, *US, "--hose-flow", "3 gal in 10 min, north")
    text = file.read_text("utf-8")
    file.write_text(text.replace('pressure = "11 psi"', 'pressure = "11 psi", diameter = "13 mm"'))
    _, told, _ = run("start", str(file), "--hose-flow", "2 gal in 10 min, east")
    hoses = {name: zone.hose for name, zone in load(file).zones.items()}
    tests = {name: hose.bucket.litres for name, hose in hoses.items() if hose.bucket}
    assert tests == pytest.approx({"north": 3 * 3.785411784, "east": 2 * 3.785411784})
    said = told.partition("gives now:")[2].partition("\n\n")[0]
    assert "east: 0.4 gal/h/ft, by its own bucket test" in said and "north:" not in said
    assert said.count("0.4 gal/h/ft, as the tested hose of the east side") == 2
    _, told, _ = run("start", str(file), "--hose-flow", "0.33 gal/h/ft")
    assert told.count("0.33 gal/h/ft, by its label") == 4
    hoses = {name: zone.hose for name, zone in load(file).zones.items()}
    assert {(hose.bucket, hose.diameter) for hose in hoses.values()} == {(None, 13)}


def test_a_house_that_moves_keeps_its_name_where_its_owner_gave_it(tmp_path: Path) -> None:
    file = begun(tmp_path, *US)
    _, told, _ = run("start", str(file), "--where", "39211")
    assert load(file).site.name == "House in Jackson, MS" in told.partition("Type next")[0]
    begun(tmp_path, "--name", "The old house")
    begun(tmp_path, "--where", "76065")
    assert load(file).site.name == "The old house"


TYPED = ["no", "76065", "", "", "", "The old house", "", "1985", "black clay", "back, front"]


def test_answers_that_are_typed_stand_beside_nonsense(tmp_path: Path) -> None:
    """What was answered before is kept; an empty answer is what stands in brackets."""
    typed = [*TYPED, "", "forty feet", "40", "snow", "mulched", "", *[""] * 40]
    typed[typed.index("") - 1] = "nowhere"
    typed.insert(2, "76065")
    typed[typed.index("mulched") + 1 :] = ["front", "25 ft", *[""] * 40]
    file = tmp_path / "property.toml"
    status, out, err = run("start", str(file), typed="\n".join(typed) + "\n")
    assert status == 0, out + err
    assert out.count("Error: ") + err.count("Error: ") == 3
    own_units_only(out, "us", 300)
    prop = load(file)
    assert prop.site.name == "The old house"
    assert prop.zones["north"].supply == "front" and prop.zones["east"].supply == "back"
    assert prop.zones["west"].length == pytest.approx(25 * 0.3048)
    assert prop.zones["north"].cover == "mulched"


HOUSE = "12 m right, 9 right, 6 m right, 3 m left, 6 m right, 6 right"
OUTLINE = ("--where", "ADL", "--spigots", "back, front", "--outline", HOUSE)


def test_an_outline_gives_sides_and_a_layout(tmp_path: Path) -> None:
    """Where the house is no plain rectangle: lengths follow from its outline, less paving."""
    places = ("--spigot-places", "back 1 3, front 5 1 m", "--paving", "1 5 to 6.2 m")
    file = begun(tmp_path, *OUTLINE, *places)
    prop = load(file)
    assert prop.outline is not None and prop.outline.shape.spigots["front"].wall == 5
    lengths = {name: zone.length for name, zone in prop.zones.items()}
    assert lengths == pytest.approx(
        {"north": 11.6, "east": 9.8, "south": 12.8, "west": 6.8 + 3}, abs=0.06
    )
    before = file.read_bytes()
    assert run("start", str(file), "--foundation", "slab")[0] == 0
    assert file.read_bytes() == before
    assert run("start", str(file), "--paving", "none")[0] == 0
    after = load(file)
    assert after.outline is not None and not after.outline.paving
    assert after.zones["north"].length == pytest.approx(12.8, abs=0.06)
    status, told, _ = run("layout", str(file), "--fix")
    assert status == 0 and "feed pipe" in told


def test_the_spigot_of_a_side_is_the_nearest(tmp_path: Path) -> None:
    """In a house of 12 by 9 m, walked around from the north."""
    outline = "12 m right, 9 right, 12 right, 9 right"
    places = ("--spigots", "back, the front", "--spigot-places", "back 1 9 m, the front 3 9 m")
    typed = [*["no", "ADL"], *[""] * 7, "back, the front", outline, "", places[3], "none"]
    file = tmp_path / "asked.toml"
    status, told, err = run("start", str(file), typed="\n".join([*typed, *[""] * 40]))
    assert status == 0, err
    assert "serves the south side (back, the front) [the front]" in told
    asked = load(file)
    begun(tmp_path, "--where", "ADL", "--outline", outline, *places)
    for prop in (asked, load(tmp_path / "property.toml")):
        supplies = {zone.side: zone.supply for zone in prop.zones.values()}
        near = {"north": "back", "east": "back", "south": "the front", "west": "the front"}
        assert supplies == near


@pytest.mark.parametrize(
    ("options", "line"),
    [
        (("--outline", "12 m right, 9"), "--outline: found"),
        (("--outline", HOUSE.replace("6 right", "5 right")), "sides that close"),
        (("--paving", "1 5 to 6.2 m"), "allowed only where the outline is told"),
        (("--outline", HOUSE, "--spigot-places", "shed 1 3"), "--spigot-places: found"),
        (("--outline", HOUSE, "--spigot-places", "spigot 9 3"), "allowed 1 to 6"),
        (
            ("--spigots", "back, front", "--outline", HOUSE, "--spigot-places", "front 1 3"),
            'found "front 1 3", allowed each spigot once: back, front; or unknown',
        ),
        (
            ("--spigots", "a tap", "--outline", HOUSE, "--spigot-places", "a tap 1 3, a tap 2 3"),
            "each spigot once",
        ),
        (("--outline", HOUSE, "--paving", "2 3 m"), "--paving: found"),
        (("--outline", HOUSE, "--paving", "2 3 m to 30 m"), "a place on it"),
    ],
)
def test_an_outline_that_will_not_do(options: tuple[str, ...], line: str, tmp_path: Path) -> None:
    assert line in refusal(tmp_path / "property.toml", "--where", "ADL", *options)


def test_a_question_without_brackets_wants_an_answer(tmp_path: Path) -> None:
    status, out, err = run("start", str(tmp_path / "property.toml"), typed="no\n\n")
    assert status == 130 and 'found "", allowed is a US ZIP code' in out + err


def test_answers_that_end_early_leave_nothing(tmp_path: Path) -> None:
    file = tmp_path / "house" / "property.toml"
    status, _, err = run("start", str(file), typed="\n".join(TYPED))
    assert status == 130 and "Stopped; nothing was written" in err
    assert not file.parent.exists()


@pytest.mark.skipif(sys.platform == "win32", reason="found no terminals of this kind on Windows")
def test_at_a_terminal_ctrl_c_leaves_nothing_and_enter_takes_brackets(tmp_path: Path) -> None:
    import pexpect

    file = tmp_path / "property.toml"
    command = [sys.executable, "-m", "evenclay.tools.cli", "start", str(file)]

    def begin() -> Any:
        child = pexpect.spawn(command[0], command[1:], timeout=None, encoding="utf-8")
        child.expect(r"moving now.*\[no\]: ")
        child.sendline("")
        child.expect("Where the house stands.*: ")
        child.sendline("ZQN")
        child.expect(r"Queenstown.*Units: us or metric \[metric\]: ")
        return child

    child = begin()
    child.sendintr()
    child.expect("Stopped; nothing was written")
    child.expect(pexpect.EOF)
    child.close()
    assert child.exitstatus == 130 and not list(tmp_path.iterdir())

    child = begin()
    for _ in range(9):
        child.sendline("")
    child.expect("Length of hose along the north side, in m, or none: ")
    child.sendline("15")
    child.expect("What covers the ground on the north side")
    child.sendline("")
    child.expect("Length of hose along the east side")
    child.sendline("10 m")
    for _ in range(40):
        child.sendline("")
    child.expect("Type next:")
    child.expect(pexpect.EOF)
    child.close()
    assert child.exitstatus == 0
    prop = load(file)
    assert prop.site.timezone == "Pacific/Auckland" and prop.site.latitude < 0
    assert prop.zones["south"].length == 15 and prop.zones["west"].length == 10


def test_places() -> None:
    dallas = place.find("dfw")
    assert dallas.country == "US" and dallas.elevation_m == pytest.approx(185, abs=10)  # 607 ft
    assert place.find("KDFW") == dallas
    town = place.find("76065-1234")
    assert town.called == "Midlothian, TX" and 0 < town.distance_km < 50
    assert town.elevation_m is not None and 100 < town.elevation_m < 300
    sea = place.find("-40, -100")
    assert sea.timezone is None and sea.elevation_m is None


@pytest.mark.parametrize("name", sorted(clay.CALLED))
def test_clay_by_its_names(name: str) -> None:
    assert "yazoo clay" in clay.CALLED
    assert clay.texture_of(name.upper()) == clay.CALLED[name]
    assert clay.CALLED[name] in clay.said(name)


texts = st.fixed_dictionaries(
    {
        "north": st.integers(2, 60).map("{} m".format),
        "east": st.one_of(st.just("none"), st.integers(2, 60).map("{} m".format)),
        "north-cover": st.sampled_from(["bare", "lawn", "hot wall", "planted shaded"]),
        "clay": st.sampled_from(sorted(clay.CALLED)),
        "hose": st.sampled_from(["porous", "emitter"]),
        "banned-hours": st.sampled_from(
            ["none", "10:00-18:00", "6 am-10 pm", "00:00-12:00, 18:00-23:00", "00:30-23:00"]
        ),
        "built": st.sampled_from(["old", "2024-01"]),
        "where": st.sampled_from(["64, 26", "41, -75", "DFW", "10, 10", "-1.2, 36.8", "-45, 169"]),
        "timezone": st.just("Etc/UTC"),
    }
)


@settings(max_examples=25)
@given(texts)
def test_whatever_is_answered_passes_check(options: dict[str, str]) -> None:
    found = guide.gather(options, None)
    text, rows = guide.file_of(found, "house.toml", None)
    house = compile_house(parse(text, "house.toml"))
    assert len(house.plan.rows) == len(rows) >= 5
    for row in rows:
        assert row.cycles == 0 or row.minutes * row.cycles <= seasons.CAP_MIN * 1.4
