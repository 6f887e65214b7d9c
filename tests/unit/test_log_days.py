"""The days of a hub's log: a reading that does not change is told on every day."""

from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from evenclay.sim.units import UNITS
from evenclay.tools.log.days import days_of
from evenclay.tools.log.items import Boot, File, Gap, Item, Turn
from evenclay.tools.log.told import Words
from tests import core
from tests.logs import Logged, bench_of

DAY_S = 86400
START_S = core.wall(2027, 6, 15)
PLAN = core.plan(2)
WORDS = Words(PLAN, ("west", "east"), ("back",), UNITS["metric"])
BREAKS = (Boot(18, 0, False, b"", b"", ()), Gap(), File(2, PLAN.crc, 0, b"state"))

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
        if breaks is not None:  # behind it the log says each reading that there is
            changes.append(breaks)
            whole.append(breaks)
            before = {}
        at_s += later_s or 0
        wall_s = None if later_s is None else at_s
        changed = {name: value for name, value in seen.items() if value != before.get(name)}
        changes.append(Turn(at_s, wall_s, changed))
        whole.append(Turn(at_s, wall_s, seen))
        before = seen
    assert days_of(changes, WORDS) == days_of(whole, WORDS)


def test_steady_sensors_are_told_each_day_until_they_are_silent(tmp_path: Path) -> None:
    logged = Logged(tmp_path)
    bench = bench_of(logged, PLAN, START_S)
    bench.seen.soil_vwc_ppt[0] = 380
    bench.boot()
    bench.run_until(4 * DAY_S)
    bench.seen.rain_um = bench.seen.temp_mc = bench.seen.soil_vwc_ppt[0] = None
    bench.run_until(8 * DAY_S)
    logged.recorders[-1].flush()
    days = list(days_of(logged.items(), WORDS).values())
    assert len(days) >= 8
    for day in days[:4]:
        found = (day.rain_um, day.coldest_mc, day.warmest_mc, day.soil_ppt)
        assert found == (0, 15000, 15000, {0: 380})
    for day in days[5:]:
        assert (day.rain_um, day.coldest_mc, day.warmest_mc, day.soil_ppt) == (None, None, None, {})
