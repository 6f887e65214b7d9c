"""A sensor that fails for a season costs what it told the hub, and nothing else.

The demo's house lives for years on its middle ground, as `tests.failing` says. For each sensor
and each way in which it can fail:

- in the year from then on, unrest is at most five points above that of the same hub without it;
- the excursion keeps its limit;
- no zone is given more on any day than its row and its cap allow;
- within a day there is an alarm that names what fails, where a hub can know, and no other alarm.
  A thermometer that sticks in the midst of a day cannot be known before the next whole day ended.

The tests marked `slow` let the probe of every zone fail, and go to other grounds.
"""

from dataclasses import replace
from functools import cache

import pytest

from evenclay.controller.events import STUCK
from evenclay.controller.limits import DAY_S
from evenclay.sim.calendar import HOUR_S
from evenclay.sim.house.faults import Trouble
from evenclay.sim.judge.verdict import LIMITS
from tests.failing import HUB_CASES, PROBE_CASES, REASONS, Case, World

UNREST_MORE_PCT = 5.0
GROUNDS = range(3)  # of those that judge
# Zones and grounds on which a probe that fails so costs more than it should (sim/TRIALS.md).
KNOWN_BAD = (Trouble.PROBE_OPEN, Trouble.PROBE_SHORT, Trouble.PROBE_SILENT)
COSTS_MORE = {
    (0, 1): (Trouble.PROBE_STUCK,),
    (2, 1): (Trouble.PROBE_STUCK,),
    (3, 1): (*KNOWN_BAD, Trouble.PROBE_STUCK),
    (1, 2): KNOWN_BAD,
    (2, 2): (*KNOWN_BAD, Trouble.PROBE_STUCK),
}
ZONES = range(4)  # of the demo, each with a probe
# Each of these is to the hub what one that stays here is.
ALIKE = (
    Trouble.PROBE_SHORT,
    Trouble.PROBE_SILENT,
    Trouble.THERMOMETER_COLD,
    Trouble.THERMOMETER_HOT,
)
QUICK = [case for case in (*PROBE_CASES, *HUB_CASES) if case.what not in ALIKE]
ALL = [*(replace(case, zone=zone) for zone in ZONES for case in PROBE_CASES), *HUB_CASES]

world = cache(World)


def name(case: Case) -> str:
    """Of a test."""
    return case.name


def costs_pct(on: World, case: Case) -> float:
    """How much more unrest there is than without the sensor."""
    failing, lacking = on.failing(case), on.without(case)
    return on.fault_year(failing).unrest_pct - on.fault_year(lacking).unrest_pct


def gives_no_more(on: World, case: Case) -> None:
    """Rows and caps hold, and nothing else is taken for broken."""
    failing = on.failing(case)
    assert failing.litres > 0.0 and on.beyond_s(failing) <= 0.0
    assert {why for _, _, why in on.alarms(case)} <= REASONS[case.part]


def alarms_in_time(on: World, case: Case) -> None:
    """The first alarm is the right one, within a day."""
    if case.why is not None:
        hours, zone, why = on.alarms(case)[0]
        assert (zone, why) == (case.zone if case.part == "probe" else -1, case.why)
        in_midst = case.in_frost and case.why == STUCK
        assert hours * HOUR_S <= (2 * DAY_S if in_midst else DAY_S)


@pytest.mark.parametrize("case", QUICK, ids=name)
def test_a_failing_sensor_costs_its_information_and_no_more(case: Case) -> None:
    on = world()
    gives_no_more(on, case)
    alarms_in_time(on, case)
    assert on.fault_year(on.failing(case)).excursion_pct <= LIMITS["excursion_pct"]
    assert costs_pct(on, case) <= UNREST_MORE_PCT


@pytest.mark.slow
@pytest.mark.parametrize("case", ALL, ids=name)
def test_so_does_every_zone_s_probe_and_each_way_to_fail(case: Case) -> None:
    test_a_failing_sensor_costs_its_information_and_no_more(case)


@pytest.mark.slow
@pytest.mark.parametrize("ground", GROUNDS)
@pytest.mark.parametrize("case", ALL, ids=name)
def test_so_it_does_on_other_grounds(ground: int, case: Case) -> None:
    """There the excursion may be beyond its limit without any failure: it becomes no worse."""
    on = world(ground)
    gives_no_more(on, case)
    alarms_in_time(on, case)
    failing, lacking = (on.fault_year(each) for each in (on.failing(case), on.without(case)))
    most = max(LIMITS["excursion_pct"], lacking.excursion_pct + UNREST_MORE_PCT)
    keeps = failing.excursion_pct <= most and costs_pct(on, case) <= UNREST_MORE_PCT
    costs_more = COSTS_MORE.get((case.zone, ground), ()) if case.part == "probe" else ()
    assert keeps == (case.what not in costs_more)
