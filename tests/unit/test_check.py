"""`evenclay check`: the numbers of its tables, and each caution in its place."""

import io
import json
from pathlib import Path

import pytest
from rich.console import Console
from typer.testing import CliRunner

from evenclay.controller.civil import day_of
from evenclay.tools.cli.commands import app
from evenclay.tools.property.check import Check, check, show
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.demand import Means
from evenclay.tools.property.property import load, parse
from tests.unit.small_house import GOOD, reckoning

DEMO = Path(__file__).parents[2] / "sim" / "demo" / "property.toml"
MEANS = Means([9.0] * 12, [1.0] * 12)

# Nothing to be warned of: four sides, all answers, a meter, a gauge, a thermometer, four seasons.
CALM = """\
[site]
name = "Calm"
timezone = "America/Chicago"
latitude = 33
fall = "6 in"
downspouts = []
trees = []
foundation = "slab"
slope_or_wall = false
septic_field = false
[supplies.tap]
flow = 20
pressure = 75
meter = true
[lockouts.rain]
sensor = "gauge"
[lockouts.frost]
thermometer = true
[water]
price = 2
[zones.north]
supply = "tap"
side = "north"
length = 20
hose = { kind = "porous", flow = 6, pressure = 75 }
[zones.east]
supply = "tap"
side = "east"
length = 20
hose = { kind = "porous", flow = 6, pressure = 75 }
[zones.south]
supply = "tap"
side = "south"
length = 20
hose = { kind = "porous", flow = 6, pressure = 75 }
[zones.west]
supply = "tap"
side = "west"
length = 20
hose = { kind = "porous", flow = 6, pressure = 75 }
[[seasons]]
from = "04-01"
cycles = 2
minutes = 12
demand = 8
window = "02:00-10:00"
[[seasons]]
from = "06-01"
cycles = 2
minutes = 12
demand = 8
window = "02:00-10:00"
[[seasons]]
from = "09-01"
cycles = 2
minutes = 12
demand = 8
window = "02:00-10:00"
[[seasons]]
from = "11-01"
cycles = 0
"""


def checked(text: str) -> Check:
    prop = parse(text, "house.toml")
    return check(prop, compile_house(prop, MEANS), "weather.csv")


def cautions_of(text: str) -> tuple[str, ...]:
    """Cautions where nothing is known of the weather."""
    prop = parse(text, "house.toml")
    return check(prop, compile_house(prop)).cautions


def test_what_is_said_of_the_estimate() -> None:
    assert "`evenclay propose` works them out" in checked(CALM).estimate
    on = checked(reckoning(CALM))
    assert (
        "keeps north at pF 3.50, east at pF 3.50, south at pF 3.50, west at pF 3.50." in on.estimate
    )
    assert on.cautions == ()
    off = checked(reckoning(CALM).replace("[estimate]", '[estimate]\nestimate = "off"'))
    assert 'since [estimate] has estimate = "off"' in off.estimate
    assert [line.mm_a_day for line in on.lines] == [line.mm_a_day for line in off.lines]


def test_a_ceiling_may_be_high() -> None:
    """What is given at most may well be twice what is lost on a usual day; half of it is little."""
    text = CALM.replace("demand = 8", "demand = 4")
    assert any("far from what the strips lose" in caution for caution in checked(text).cautions)
    assert not checked(reckoning(text)).cautions
    little = reckoning(CALM.replace("demand = 8", "demand = 20"))
    assert any("far from what the strips lose" in caution for caution in checked(little).cautions)


def test_what_a_hub_that_reckons_does_not_know() -> None:
    text = reckoning(CALM).replace('sensor = "gauge"', 'sensor = "contact"')
    said = cautions_of(text.replace("thermometer = true", "thermometer = false"))
    assert said[0].endswith("not how much: the hub reckons by each season's mean rain")
    assert said[1].endswith("does not know frost, and reckons by each season's mean demand")
    assert said[2].startswith("no season has rain, so the hub reckons with none")
    assert len(checked(text).cautions) == 1
    bare = cautions_of(text.replace('"contact"', '"none"'))
    assert bare[0] == "no rain sensor: the hub reckons by each season's mean rain"


def changed(old: str, new: str) -> tuple[str, ...]:
    """Cautions of the calm house with one change."""
    assert old in CALM
    return checked(CALM.replace(old, new, 1)).cautions


def test_calm_house_has_no_cautions() -> None:
    assert checked(CALM).cautions == ()


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("flow = 6,", "flow = 6, restrictor = 1.5,", "a restrictor with a hole of 1.5 mm leaves"),
        ("flow = 6,", "flow = 6, years = 3,", "after 3 years of use the hose may give 65 % of"),
        ('side = "north"', 'side = "east"', "one-sided watering: no zone on the north side;"),
        (
            "[zones.north]",
            '[lockouts.quiet]\nallowed_weekdays = ["tue"]\n[zones.north]',
            "local rules allow 1 of 7 days",
        ),
        (
            "[zones.north]",
            '[lockouts.quiet]\nallowed_dates = "odd"\n[zones.north]',
            "local rules allow every other date",
        ),
        (
            'fall = "6 in"',
            'fall = "5 in"',
            "the ground falls 127 mm over the first 3 m, less than 152 mm (IRC R401.3)",
        ),
        ('fall = "6 in"', "fall = -0.1", "the ground falls -100 mm"),
        (
            "downspouts = []",
            'downspouts = [{ side = "east", distance = 1 }]',
            "a downspout ends 1.0 m from the house on the east side, at zone east",
        ),
        (
            "trees = []",
            'trees = [{ side = "west", height = "30 ft", distance = 8 }]',
            "a tree on the west side stands 8.0 m away and is 9.1 m high",
        ),
        ('"slab"', '"basement"', "a basement: water beside it can come in"),
        ('"slab"', '"crawl space"', "a crawl space: water beside it can come in"),
        ("slope_or_wall = false", "slope_or_wall = true", "a slope or retaining wall"),
        ("septic_field = false", "septic_field = true", "a septic field"),
        ("length = 20", "length = 20\nslab_distance = 0.2", "zone north: the hose lies 0.2 m"),
        ("length = 20", "length = 20\ndownspout_roof = 24", "gets 3 times the rain"),
        ("pressure = 75", "pressure = '25 psi'", "172 kPa is too much for porous hose"),
        (
            '"porous", flow = 6, pressure = 75',
            '"emitter", flow = 6, pressure = 170',
            "zone north: supply tap gives 75 kPa, but the hose's flow is for 170 kPa",
        ),
        (
            "length = 20",
            "length = 60",
            "zone north: 60 m of hose water unevenly (12.7 mm inside, fed at 75 kPa): least 85 % "
            "of the most, at the end 85 % of the start; up to 50 m laid alike keep 90 %",
        ),
        (
            "length = 20",
            "length = 20\nrise = 1.5",
            "zone north: 20 m of hose water unevenly (12.7 mm inside, fed at 75 kPa, its end 1.5 m "
            "up): least 80 % of the most, at the end 80 % of the start; up to 10 m laid alike",
        ),
        (
            "length = 20",
            "length = 20\nrise = -2",
            "its end 2 m down): least 80 % of the most, at the end 125 % of the start",
        ),
        (
            "pressure = 75 }",
            "pressure = 75, diameter = 6 }",
            "zone north: 20 m of hose water unevenly (6 mm inside, fed at 75 kPa)",
        ),
        (
            "pressure = 75\nmeter",
            "pressure = 58\nmeter",
            "zone north: the hose gives 92 L/h (12.7 mm inside, fed at 58 kPa) where its rating "
            "means 120: measure it with a bucket and enter that flow",
        ),
        (
            "flow = 20",
            "flow = 2.2",
            "zone north wants 2.0 of the 2.2 L/min that supply tap gives: so near its limit",
        ),
        ("minutes = 12", "minutes = 36", "go in, at most 22 min"),
        ("meter = true\n", "", "supply tap has neither meter nor master valve"),
        ("[zones.north]", "[supplies.well]\nflow = 9\npressure = 75\n[zones.north]", "feeds no"),
        ('sensor = "gauge"', 'sensor = "none"', "no rain sensor"),
        ('sensor = "gauge"', 'sensor = "contact"', "a rain contact tells wet from dry"),
        ("thermometer = true", "thermometer = false", "no thermometer"),
        ("flow = 20\n", "", "not measured: the flow of supply tap (supplies.tap.flow)"),
        ("trees = []\n", "", "not answered: which trees stand near (site.trees)"),
        ("demand = 8", "demand = 2", "season from 04-01: mm a day far from what the strips lose"),
        ("minutes = 12", "minutes = 36", "more mm a cycle than the ground takes"),
        (
            "[zones.north]",
            '[lockouts.quiet]\nbanned_hours = ["23:00-03:00"]\n[zones.north]',
            "season from 04-01: 1 of 2 cycles begin in banned hours and never run",
        ),
        (
            "[zones.north]",
            '[lockouts.quiet]\nbanned_hours = ["00:00-24:00"]\n[zones.north]',
            "season from 04-01: 2 of 2 cycles begin in banned hours and never run",
        ),
        ("America/Chicago", "Asia/Gaza", "the law of Asia/Gaza cannot be put in one rule"),
    ],
)
def test_caution(old: str, new: str, said: str) -> None:
    assert any(said in caution for caution in changed(old, new)), changed(old, new)


def test_a_run_in_which_the_hose_only_fills() -> None:
    text = CALM.replace("flow = 20", "flow = 4").replace("minutes = 12", "minutes = 2")
    said = "zone north: the hose takes 38 s to fill (2.5 L) of runs of 120 s: its end gets less"
    assert any(said in caution for caution in checked(text).cautions)
    assert not any("to fill" in c for c in checked(text.replace("flow = 4", "flow = 10")).cautions)


def test_few_seasons() -> None:
    text = CALM[: CALM.index('[[seasons]]\nfrom = "06-01"')]
    assert checked(text).cautions == (
        "1 seasons: fewer than 4 follow the year poorly (common practice)",
    )


def test_one_sided_watering_heads_the_list() -> None:
    cautions = checked(GOOD).cautions
    assert cautions[0].startswith("one-sided watering: no zone on the north and south side")
    assert cautions[1].startswith(
        "not answered: how far the ground falls away from the house (site.fall); "
        "where downspouts end (site.downspouts); which trees stand near (site.trees)"
    )
    assert cautions[-1] == "not measured: the pressure of supply tap (supplies.tap.pressure)"
    meant = checked(GOOD.replace("= 33", '= 33\ndry_sides = ["north", "south"]')).cautions
    assert meant[0].startswith("one-sided watering")
    assert "(left dry on purpose)" in meant[0]


def test_dry_side_that_is_watered() -> None:
    said = changed("trees = []", 'trees = []\ndry_sides = ["east"]')
    assert said == ("the east side is among dry_sides of [site], but a zone waters it",)


def test_no_promise_of_movement() -> None:
    output = CliRunner().invoke(app, ["check", str(DEMO)]).stdout
    assert "movement" not in output


def test_numbers() -> None:
    found = checked(CALM)
    line = found.lines[0]
    # 6 L/h/m over 20 m for 2 x 12 minutes is 48 L; over 12 m2 that is 4 mm.
    assert (line.season, line.zone, line.starts) == ("04-01", "north", (120, 360))
    assert (line.minutes_a_cycle, line.minutes_a_day) == (12, 24)
    assert line.litres_a_day == pytest.approx(48)
    assert line.mm_a_day == pytest.approx(4)
    assert line.demand_mm_a_day == pytest.approx(4)  # half of 8
    assert len(found.lines) == 16
    assert found.hours_a_day["04-01"]["tap"] == pytest.approx(4 * 24 / 60)
    assert found.cycle_minutes == {"04-01": 50, "06-01": 50, "09-01": 50, "11-01": 0}
    # Four zones of 48 L on each of 214 days from 1 April to 31 October.
    total = sum([month.litres for month in found.months])
    assert total == pytest.approx(4 * 48 * (day_of(2001, 11, 1) - day_of(2001, 4, 1)))
    assert found.months[3].litres == pytest.approx(30 * 192)
    assert found.months[3].cost == pytest.approx(30 * 0.192 * 2)
    assert found.months[0].litres == 0


def test_demand_source_is_named() -> None:
    source = "the mean evapotranspiration of weather.csv; seasons with a demand"
    assert source in checked(CALM).demand_from
    prop = parse(GOOD, "house.toml")
    assert check(prop, compile_house(prop)).demand_from.startswith("a rough guess from latitude")
    closed = CALM.replace("cycles = 0", "cycles = 0\ndemand = 2")
    assert checked(closed).demand_from == "the property file"


@pytest.mark.parametrize("units", ["metric", "us"])
def test_tables(units: str) -> None:
    text = CALM.replace("latitude = 33", f'latitude = 33\nunits = "{units}"')
    for old, unit in (
        ("flow = 20", "L/min"),
        ("pressure = 75", "kPa"),
        ("length = 20", "m"),
        ("flow = 6", "L/h/m"),
        ("demand = 8", "mm/d"),
    ):
        key, _, number = old.partition(" = ")
        text = text.replace(old, f'{key} = "{number} {unit}"')
    prop = parse(text, "house.toml")
    file = io.StringIO()
    show(check(prop, compile_house(prop, MEANS)), Console(file=file, width=120))
    shown = file.getvalue()
    assert ("2 am, 6 am" if units == "us" else "02:00, 06:00") in shown
    assert "closed" in shown
    assert "No cautions." in shown
    assert ("gal a day" in shown) is (units == "us")
    assert ("0.16" in shown) is (units == "us")  # 4 mm in inches
    assert ("L a day" in shown) is (units == "metric")


def test_names_are_not_markup() -> None:
    text = CALM.replace('"Calm"', '"[bold]Calm[/]"').replace("[zones.north]", '[zones."[red]x"]')
    prop = parse(text, "house.toml")
    file = io.StringIO()
    show(check(prop, compile_house(prop)), Console(file=file, width=120, markup=False))
    assert "[bold]Calm[/]" in file.getvalue()
    assert "[red]x" in file.getvalue()


def test_demo_passes() -> None:
    result = CliRunner().invoke(app, ["check", str(DEMO)])
    assert result.exit_code == 0
    assert result.stderr == ""
    prop = load(DEMO)
    cautions = check(prop, compile_house(prop)).cautions
    assert cautions == (
        "supply back has neither meter nor master valve: a stuck-open valve cannot be noticed",
    )


def test_json() -> None:
    weather = DEMO.with_name("weather.csv")
    result = CliRunner().invoke(app, ["check", str(DEMO), "--json", "--weather", str(weather)])
    assert result.exit_code == 0
    found = json.loads(result.stdout)
    assert found["schema"] == 1
    assert found["demand_from"].startswith("the mean evapotranspiration of ")
    assert len(found["lines"]) == 28
    assert len(found["months"]) == 12
    assert set(found["hours_a_day"]["07-01"]) == {"back", "front"}
