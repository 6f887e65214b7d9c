"""The hub's account of what its zones lack, beside sums: every day, run and rain once."""

from hypothesis import given, settings
from hypothesis import strategies as st

from evenclay.controller.limits import DAY_S
from evenclay.controller.plan import NO_RAIN_SENSOR
from evenclay.controller.ports import ASK_RUN_ANYWAY
from tests.bench import HOUR_S, START_S, utc_plan
from tests.core import Bench, row

# Ground of which the account is a sum: no top, no neighbour, no stress.
PLAIN = {"top_um": 0, "top_ppt": 0, "beside_ppm": 0, "freely_um": 900000, "end_um": 900001}
LEVEL_UM = 500000
NEED_UM = 3000 - 1000  # a day: 60 % of the row's demand, less its rain


@settings(max_examples=60)
@given(
    lives=st.lists(
        st.tuples(st.integers(60, 3 * DAY_S), st.integers(1, 9 * DAY_S)), min_size=1, max_size=6
    )
)
def test_a_day_that_passed_counts_once_with_power_and_without(
    lives: list[tuple[int, int]],
) -> None:
    made = utc_plan(
        zone={**PLAIN, "begin_um": LEVEL_UM},
        rows=[row(1, 1, 0, demand_um=5000, rain_um=1000)],
        frost=0,
        rain_kind=NO_RAIN_SENSOR,
        estimate=1,
        poll_s=3600,
    )
    store = Bench(made, 0).store
    true_s = START_S
    for on_s, away_s in lives:
        bench = Bench(made, true_s, store)
        bench.boot()
        bench.run_until(on_s)
        true_s += on_s
        days = true_s // DAY_S - START_S // DAY_S
        assert bench.runner.hub.record.lack_um == [LEVEL_UM + days * NEED_UM]
        true_s += away_s


@settings(max_examples=60)
@given(
    falls=st.dictionaries(st.integers(1, 6 * 24 - 2), st.integers(1, 30000), max_size=8),
    runs=st.dictionaries(st.integers(1, 6 * 24 - 2), st.integers(60, 3500), max_size=8),
)
def test_every_rain_and_run_counts_once(falls: dict[int, int], runs: dict[int, int]) -> None:
    """By the hour, over a gauge that was heard all day: from the second day on."""
    made = utc_plan(
        zone={**PLAIN, "begin_um": LEVEL_UM, "cap_s": 43200},
        rows=[row(1, 1, 0, demand_um=5000, rain_um=0)],
        frost=0,
        estimate=1,
        opening_um=65535,
        poll_s=3600,
    )
    bench = Bench(made, START_S)
    bench.boot()
    bench.run_until(DAY_S)
    for hour in range(24, 7 * 24):
        bench.run_until(hour * HOUR_S)
        if hour - 24 in falls:
            bench.seen.rain_um = (bench.seen.rain_um or 0) + falls[hour - 24]
        if hour - 24 in runs:
            bench.asked = [(ASK_RUN_ANYWAY, 0, runs[hour - 24])]
            bench.runner.turn()
    bench.run_until(7 * DAY_S)
    record = bench.runner.hub.record
    assert record.used_s == [0] and record.rain_today_um == 0
    given_s = [0] * 7  # a day's minutes are those booked in it
    for hour, run_s in runs.items():
        given_s[(hour * HOUR_S + run_s) // DAY_S] += run_s
    water_um = sum(falls.values()) + sum(day_s * 9000 // 3600 for day_s in given_s)
    assert record.lack_um == [LEVEL_UM + 7 * 3000 - water_um]
