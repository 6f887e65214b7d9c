"""What a restart must not forget: when a faulty zone was last tried."""

from itertools import pairwise

import pytest

from evenclay.controller.events import ALARM, DRIVER, NO_FLOW
from evenclay.controller.faults import _FAULT_RETRY_S
from tests.bench import DAY_S, HOUR_S, Piped, opened, utc_plan

FIRST_S = 6 * HOUR_S


def restless(bench: Piped, until_s: int, every_s: int) -> list[int]:
    """Live on, booted anew every so often. Returns when zone 0 was told to open."""
    tried = []
    start_s = 0
    while start_s < until_s:
        bench.calls.clear()
        bench.boot()
        bench.run_until(every_s)
        tried += [start_s + up_s for what, v, up_s in bench.calls if (what, v) == ("open", 0)]
        start_s += every_s
    return tried


@pytest.mark.parametrize("every_s", [2 * HOUR_S + 601, 9 * HOUR_S, DAY_S - 1])
@pytest.mark.parametrize("fault", ["driver", "no flow"])
@pytest.mark.no_cover
def test_a_faulty_zone_is_tried_once_a_day_however_often_the_hub_restarts(
    fault: str, every_s: int
) -> None:
    bench = Piped(utc_plan(2, supplies=[{"meter": 1}], starts_min=(0, 180, 360, 540, 720, 1200)))
    if fault == "driver":
        bench.broken.add((0, "open"))
    else:
        bench.flow_ml_min[0] = 0
    tried = restless(bench, 8 * DAY_S, every_s)
    assert 6 <= len(tried) <= 9
    assert all(after - before >= _FAULT_RETRY_S for before, after in pairwise(tried))
    assert len(opened(bench, 1)) >= 16, "the other zone goes on"


@pytest.mark.no_cover
def test_a_supply_without_flow_is_tried_once_a_day_however_often_the_hub_restarts() -> None:
    bench = Piped(utc_plan(2, supplies=[{"meter": 1}]))
    bench.flow_ml_min = [0, 0]
    tried = []
    start_s = 0
    for _ in range(40):
        bench.calls.clear()
        bench.boot()
        bench.run_until(5 * HOUR_S)
        tried += [start_s + up_s for what, _, up_s in bench.calls if what == "open"]
        start_s += 5 * HOUR_S
    first, second, *later = tried
    assert second - first < HOUR_S, "each zone once, until it is known of both"
    assert 6 <= len(later) <= 9
    assert all(after - before >= _FAULT_RETRY_S for before, after in pairwise([second, *later]))


def dry() -> Piped:
    """A zone found to be without flow in the day's first cycle; it is 08:00."""
    bench = Piped(utc_plan(supplies=[{"meter": 1}]))
    bench.flow_ml_min = [0]
    bench.boot()
    bench.run_until(8 * HOUR_S)
    assert bench.told(ALARM)[0][2] == NO_FLOW
    bench.calls.clear()
    return bench


def test_a_day_without_power_counts() -> None:
    bench = dry()
    bench.now_s += DAY_S
    bench.boot()
    bench.run_until(5 * HOUR_S)
    tried = [c for c in bench.calls if c[0] == "open"]
    assert tried == [("open", 0, 30)], "the cycle of 06:00, begun late"


def test_without_a_clock_a_day_counts_from_the_boot() -> None:
    bench = dry()
    found_s = bench.offset_s
    bench.offset_s = None
    bench.boot()
    bench.run_until(HOUR_S)
    assert found_s is not None
    bench.offset_s = found_s + 9 * HOUR_S
    bench.run_until(_FAULT_RETRY_S - 1)
    assert not [c for c in bench.calls if c[0] == "open"]
    bench.run_until(2 * DAY_S)
    assert [c for c in bench.calls if c[0] == "open"]


def test_a_driver_that_works_again_is_believed_at_once_after_its_day() -> None:
    bench = Piped(utc_plan())
    bench.broken.add((0, "open"))
    bench.boot()
    bench.run_until(7 * HOUR_S)
    assert [e[2] for e in bench.told(ALARM)] == [DRIVER]
    bench.broken.clear()
    bench.boot()
    bench.run_until(2 * DAY_S)
    assert len(opened(bench)) >= 2 and opened(bench)[0] == 23 * HOUR_S  # 06:00
    assert bench.runner.hub.record.zone_faults == [0]
