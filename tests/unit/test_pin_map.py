"""What a pin map has, what a property may ask of it, and what can be left out."""

from itertools import combinations
from pathlib import Path

import pytest
from typer.testing import CliRunner

from evenclay.tools.board import bundle, pin_map, wiring
from evenclay.tools.board.pin_map import DeviceError
from evenclay.tools.cli import commands as cli
from evenclay.tools.property.property import Property, parse

DEMO = Path(__file__).parents[2] / "sim" / "demo" / "property.toml"
NOTHING = 'FOLDER = "/hub"\nVALVES = ((2, 3), (4, 5), 6, (7, 8))\nMASTERS = (None, 9)\n'
ALL = NOTHING + (
    "METERS = (None, 10)\nPROBES = (27, (26, 1, 0), 28, 29)\n"
    "RAIN = 11\nCONTACT = 12\nAIR: int | None = 13\nBATTERY = 14\n"
)
HOUSE = """
[site]
name = "house"
timezone = "America/Chicago"
latitude = 32
[supplies.back]
[supplies."the front"]
meter = true
master_valve = true
[[seasons]]
from = "03-01"
cycles = 1
minutes = 10
window = "05:00-08:00"
[lockouts.rain]
sensor = "gauge"
[lockouts.frost]
thermometer = true
[lockouts.battery]
open_above = 11.6
reserve = 11
"""
ZONE = """
[zones."%s"]
supply = "%s"
side = "west"
length = 20
valve = "%s"
probe = true
wet_limit = 33
hose = { kind = "porous", flow = 4, pressure = 75 }
"""
ZONES = (
    ZONE % ("west", "back", "latching")
    + ZONE % ("hot wall", "back", "latching")
    + ZONE % ("east", "back", "held")
    + ZONE % ("front", "the front", "latching")
)


def pins(tmp_path: Path, text: str) -> pin_map.PinMap:
    file = tmp_path / "pins.py"
    file.write_text(text, "utf-8")
    return pin_map.read(file, "my/pins.py")


def house(text: str = HOUSE + ZONES) -> Property:
    return parse(text, "house.toml")


def told(prop: Property, found: pin_map.PinMap) -> list[str]:
    """The lines that a property is refused with."""
    mistakes = list(wiring.misfits(prop, found))
    lines = prop.source.error(mistakes).lines
    assert len(lines) == len(mistakes)
    return [line.split(": ", 1)[1] for line in lines]


def test_what_a_pin_map_has_is_taken(tmp_path: Path) -> None:
    assert told(house(), pins(tmp_path, ALL)) == []


def test_what_it_lacks_is_named_with_the_option_that_leaves_it_out(tmp_path: Path) -> None:
    found = pins(tmp_path, NOTHING)
    options = [line.partition("or --without ")[2] for line in told(house(), found)]
    assert options == [
        "'meter.the front'",
        "gauge",
        "thermometer",
        "battery",
        "probe.west",
        "'probe.hot wall'",
        "probe.east",
        "probe.front",
    ]
    (line,) = [line for line in told(house(), found) if "probe.west" in line]
    assert line == (
        "zones.west.probe: found true, allowed a pin for it, since my/pins.py has no PROBES[0]; "
        "or --without probe.west"
    )


def test_each_option_leaves_out_its_part_and_no_other(tmp_path: Path) -> None:
    found = pins(tmp_path, NOTHING)
    parts = [option.strip("'") for option in _options(told(house(), found))]
    assert len(parts) == 8
    for part in parts:
        left = _options(told(wiring.without(house(), [part]), found))
        assert sorted([*left, part]) == sorted(parts)
    assert told(wiring.without(house(), parts), found) == []


def _options(lines: list[str]) -> list[str]:
    return [line.partition("or --without ")[2].strip("'") for line in lines]


def test_a_zone_without_its_probe_has_no_limits() -> None:
    zone = wiring.without(house(), ["probe.west"]).zones["west"]
    assert (zone.probe, zone.wet_limit, zone.wet_release) == (False, None, None)


def test_a_zone_is_not_heard_through_a_probe_that_is_left_out() -> None:
    prop = house()
    north = prop.zones["west"].model_copy(update={"probe": False, "sensor": "west"})
    prop = prop.model_copy(update={"zones": prop.zones | {"north": north}})
    left = wiring.without(prop, ["probe.west"]).zones
    assert (left["west"].probe, left["north"].sensor) == (False, None)
    assert wiring.without(prop, []).zones["north"].sensor == "west"


def test_a_contact_is_not_a_gauge(tmp_path: Path) -> None:
    prop = house((HOUSE + ZONES).replace('"gauge"', '"contact"'))
    (line,) = told(prop, pins(tmp_path, ALL.replace("CONTACT = 12", "CONTACT = None")))
    assert "no CONTACT; or --without contact" in line
    assert told(prop, pins(tmp_path, ALL.replace("RAIN = 11", "RAIN = None"))) == []


def test_a_part_that_the_property_has_not_is_one_line() -> None:
    with pytest.raises(DeviceError) as error:
        wiring.without(house(), ["probe.west", "contact"])
    line = str(error.value)
    assert line.startswith("--without: found contact, allowed probe.west, ") and "\n" not in line
    bare = HOUSE.partition("[lockouts.rain]")[0].replace("meter = true", "")
    with pytest.raises(DeviceError, match="no part to leave out"):
        wiring.without(house(bare + (ZONES.replace("probe = true\nwet_limit = 33", ""))), ["gauge"])


def test_valves_that_do_not_fit_are_refused(tmp_path: Path) -> None:
    two = ALL.replace("VALVES = ((2, 3), (4, 5), 6, (7, 8))", "VALVES = (2, (4, 5))")
    assert told(house(), pins(tmp_path, two.replace("(None, 9)", "(9,)"))) == [
        'supplies."the front": found 2 supplies, allowed at most 1, the MASTERS of my/pins.py',
        'zones.west.valve: found "latching", allowed "held", one pin, as VALVES[0] of my/pins.py',
        "zones.east: found 4 zones, allowed at most 2, the VALVES of my/pins.py",
    ]
    swapped = ALL.replace(" 6,", " (6, 9),").replace("(None, 9)", "(None, None)")
    assert told(house(), pins(tmp_path, swapped)) == [
        'supplies."the front".master_valve: found true, allowed false, or a pin: '
        "my/pins.py has no MASTERS[1]",
        'zones.east.valve: found "held", allowed "latching", two pins, as VALVES[2] of my/pins.py',
    ]


@pytest.mark.parametrize(
    ("line", "wrong"),
    [
        ("VALVES = range(4)", "found range(4), allowed a tuple with a pair of pins or one pin"),
        ("VALVES = ((2, 3), None)", "VALVES: found"),
        ("VALVES = ((2, 3, 4),)", "VALVES: found"),
        ("VALVES = 2", "VALVES: found 2"),
        ("VALVES = (True,)", "VALVES: found"),
        ("MASTERS = (None, 'a')", "MASTERS: found"),
        ("MASTERS = ((1, 2, 3),)", "MASTERS: found"),
        ("METERS = ((1, 2),)", "METERS: found"),
        ("METERS = 11", "METERS: found 11"),
        ("PROBES = (27, ())", "PROBES: found"),
        ("PROBES = (27, (None, 1))", "PROBES: found"),
        ("RAIN = (10,)", "RAIN: found (10,), allowed a pin or None"),
        ("AIR: int = 'a'", "AIR: found 'a'"),
        ("FOLDER = '/'", "FOLDER: found '/', allowed a folder"),
        ("FOLDER = 5", "FOLDER: found 5"),
        ("VALVES = (1,", "'(' was never closed"),
    ],
)
def test_a_pin_map_that_cannot_be_read_is_one_line(tmp_path: Path, line: str, wrong: str) -> None:
    with pytest.raises(DeviceError) as error:
        pins(tmp_path, NOTHING + line + "\n")
    text = str(error.value)
    assert text.startswith("my/pins.py") and wrong in text and "\n" not in text


WIRED = """FOLDER = "/hub"
VALVES = ((%d, %d), %d)
MASTERS = (None, %d, (%d, %d))
METERS = (%d, None, %d)
PROBES = (%d, (%d, %d), (%d, %d))
RAIN = %d
CONTACT = %d
AIR: "int | None" = %d
SOIL = %d
BATTERY = %d
SDA, SCL = %d, %d
PROBE_POWER = %d
LIGHT: "int | None" = %d
BUTTON = %d
POWER = %d
"""
# Of each of these numbers.
PLACES = [
    *("VALVES[0]", "VALVES[0]", "VALVES[1]", "MASTERS[1]", "MASTERS[2]", "MASTERS[2]"),
    *("METERS[0]", "METERS[2]", "PROBES[0]", "PROBES[1]", "PROBES[1]", "PROBES[2]", "PROBES[2]"),
    *("RAIN", "CONTACT", "AIR", "SOIL", "BATTERY", "SDA", "SCL", "PROBE_POWER"),
    *("LIGHT", "BUTTON", "POWER"),
]
MAY_SHARE = {(15, 16), (10, 12)}  # AIR and SOIL, a 1-wire bus; what feeds two probes


def test_a_pin_of_two_parts_is_refused_with_both_places(tmp_path: Path) -> None:
    own = list(range(len(PLACES)))
    pins(tmp_path, WIRED % tuple(own))
    pins(tmp_path, (WIRED % tuple(own)).replace('LIGHT: "int | None" = 21', 'LIGHT = "LED"'))
    for first, second in combinations(own, 2):
        places = PLACES[first], PLACES[second]
        text = WIRED % (*own[:second], first, *own[second + 1 :])
        if (first, second) in MAY_SHARE:
            pins(tmp_path, text)
            continue
        with pytest.raises(DeviceError) as error:
            pins(tmp_path, text)
        wrong = f"{first} twice" if places[0] == places[1] else f"{first}, which {places[0]} has"
        assert f": {places[1]}: found {wrong}" in str(error.value)
        assert "\n" not in str(error.value)


@pytest.mark.parametrize("name", ["FOLDER", "VALVES", "MASTERS"])
def test_what_every_pin_map_must_say(tmp_path: Path, name: str) -> None:
    lines = [line for line in NOTHING.splitlines() if not line.startswith(name)]
    with pytest.raises(DeviceError, match=f"^my/pins.py: found no {name}, allowed a "):
        pins(tmp_path, "\n".join(lines))


def test_a_pin_map_that_is_no_text_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "pins.py").write_bytes(b"# \xff\n")
    with pytest.raises(DeviceError, match=r"^my/pins\.py: [^\n]*$"):
        pin_map.read(tmp_path / "pins.py", "my/pins.py")


def test_the_pin_maps_that_come_with_the_project_serve_two_spigots() -> None:
    boards = [name for name in bundle.board_names() if name != bundle.DESKTOP]
    assert len(boards) >= 3
    for name in boards:
        found = bundle.find(name).pins
        assert found is not None and found.count("MASTERS") >= 2


def test_the_command_refuses_with_every_line_and_status_2(tmp_path: Path) -> None:
    arguments = ["bundle", "--board", "template", str(DEMO), "--out", str(tmp_path / "out")]
    done = CliRunner().invoke(cli.app, arguments)
    lines = done.stderr.splitlines()
    assert (done.exit_code, done.stdout) == (2, "")
    assert all(line.startswith(f"{DEMO}:") for line in lines)
    assert (
        sum("--without " in line for line in lines) == 7
    )  # four probes, meter, gauge, thermometer
    assert not (tmp_path / "out").exists()
    done = CliRunner().invoke(cli.app, [*arguments, "--without", "contact"])
    assert done.exit_code == 2 and done.stderr.startswith(
        "--without: found contact, allowed probe."
    )
    assert done.stderr.count("\n") == 1
