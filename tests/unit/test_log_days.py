"""What a hub's log says of its days and zones: steady readings, and more than one plan."""

import csv
import json
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from evenclay.controller.events import ALARM, CLOSED, DONE, LACKS, LEAK, OK
from evenclay.controller.limits import ZONES_MAX
from evenclay.tools.log.days import days_of
from evenclay.tools.log.items import Boot, File, Gap, Item, Turn
from evenclay.tools.log.page import files_of
from evenclay.tools.log.retrace import retraced
from evenclay.tools.log.told import Speech
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.property import load
from tests import core
from tests.logs import Logged, bench_of

DEMO = Path(__file__).parents[2] / "sim" / "demo" / "property.toml"
DAY_S = 86400
START_S = core.wall(2027, 6, 15)
PLAN = core.plan(2)
HOUSE = compile_house(load(DEMO), None)
SPEECH = Speech({PLAN.crc: PLAN}, HOUSE)
PLAIN_FILE = File(3, PLAN.crc, 0, b"")  # one that was full was followed by it, and nothing else
BREAKS = (Boot(18, 0, False, b"", b"", ()), Gap(), File(2, PLAN.crc, 0, b"state"), PLAIN_FILE)

few = st.none() | st.integers(0, 3000)
readings = st.fixed_dictionaries(
    {"rain_um": few, "temp_mc": few, "soil_vwc_ppt.0": few, "soil_vwc_ppt.1": few}
)
clocks = st.none() | st.integers(0, DAY_S)  # how long after the turn before; None: not trusted
lives = st.lists(st.tuples(readings, clocks, st.none() | st.sampled_from(BREAKS)), max_size=12)


@given(lives)
def test_a_log_of_changes_tells_the_days_that_all_readings_tell(
    life: list[tuple[dict[str, int | None], int | None, Item | None]],
) -> None:
    changes: list[Item] = []
    whole: list[Item] = []
    at_s = START_S
    before: dict[str, int | None] = {}
    for seen, later_s, breaks in life:
        if breaks is not None:
            changes.append(breaks)
            whole.append(breaks)
            if breaks is not PLAIN_FILE:  # behind it the log says each reading that there is
                before = {}
        at_s += later_s or 0
        wall_s = None if later_s is None else at_s
        changed = {name: value for name, value in seen.items() if value != before.get(name)}
        changes.append(Turn(at_s, wall_s, changed))
        whole.append(Turn(at_s, wall_s, seen))
        before = seen
    assert days_of(changes, SPEECH) == days_of(whole, SPEECH)


def test_steady_sensors_are_told_each_day_until_they_are_silent(tmp_path: Path) -> None:
    logged = Logged(tmp_path)
    bench = bench_of(logged, PLAN, START_S)
    bench.seen.soil_vwc_ppt[0] = 380
    bench.boot()
    bench.run_until(4 * DAY_S)
    bench.seen.rain_um = bench.seen.temp_mc = bench.seen.soil_vwc_ppt[0] = None
    bench.run_until(8 * DAY_S)
    logged.recorders[-1].flush()
    days = list(days_of(logged.items(), SPEECH).values())
    assert len(days) >= 8
    read = [
        (day.rain_um, day.coldest_mc, day.warmest_mc, [s.soil_ppt for s in day.strips.values()])
        for day in days
    ]
    assert read[:4] == [(0, 15000, 15000, [380, None])] * 4
    assert read[5:] == [(None, None, None, [None, None])] * (len(read) - 5)


def test_entries_are_told_by_the_names_of_their_own_plan() -> None:
    """Under the property's plan, one that the board still holds, and one that nobody has."""
    held = core.plan(3, estimate=1)
    for part, name in zip(held.zones, ("east", "hot wall", "west"), strict=True):
        part.name = name
    unknown = 99
    own = [strip.name for strip in HOUSE.strips][:3]
    crcs = (HOUSE.plan.crc, held.crc, unknown)
    supply = ZONES_MAX
    items: list[Item] = []
    for number, crc in enumerate(crcs):
        wall_s = START_S + number * DAY_S
        told = [(CLOSED, zone, DONE, 60 * (zone + 1), 0, 1, 5, wall_s) for zone in range(3)]
        told.append((ALARM, supply, LEAK, 0, 0, 1, 5, wall_s))
        told.append((LACKS, 2, OK, 280000, 1000, 1, 5, wall_s))
        items += [File(number, crc, 0), Turn(5, wall_s, told=tuple(told))]
    found = retraced(items, {held.crc: held}, HOUSE, 0)
    names = [*own, "back", own[2], "east", "hot wall", "west", "spigot 1", "west"]
    names += ["zone 1", "zone 2", "zone 3", "spigot 1", "zone 3"]
    assert [line[21:34].strip() for line in found.lines] == names
    assert ["target" in line for line in found.lines] == [False, False, False, False, True] * 3
    assert ["not known" in line for line in found.lines] == [False] * 9 + [False] * 5 + [True]
    files = files_of(found)
    decisions = [json.loads(line)["zone"] for line in files["decisions.jsonl"].splitlines()]
    assert decisions == names
    rows = list(csv.DictReader(files["daily.csv"].splitlines()))
    minutes = [(row["zone"], row["minutes"]) for row in rows if row["minutes"] != "0.00"]
    times = ("1.00", "2.00", "3.00")
    by_plan = (own, ("east", "hot wall", "west"), ("zone 1", "zone 2", "zone 3"))
    assert minutes == [pair for each in by_plan for pair in zip(each, times, strict=True)]
    assert all(name in files["report.html"] for each in by_plan for name in each)
