"""The times that a plan's runs and cycles take."""

from collections.abc import Iterator
from itertools import pairwise

from evenclay.controller.plan import Plan
from evenclay.sim.house.house import run_s

LITRES_BOUND = 1.5  # a run that asks for litres may take so much longer than its hose should need


def cycle_min(plan: Plan, index: int) -> float:
    """Minutes one cycle of all zones takes at most, gaps included.

    A supply's zones run one after another; supplies run beside each other as far as `open_max`
    allows, each taken as a whole by the place that is free first.
    """
    row = plan.rows[index]
    places_s = [0.0] * plan.hub.open_max
    for number, supply in enumerate(plan.supplies):
        total_s = 0.0
        for zone in plan.zones:
            if zone.supply == number:
                one_s = run_s(plan, index, zone) * (LITRES_BOUND if row.run_ml else 1)
                total_s += min(zone.longest_s, one_s) + supply.gap_s
        places_s.sort()
        places_s[0] += total_s
    return max(places_s) / 60


def spacing_min(plan: Plan, index: int) -> Iterator[tuple[int, int]]:
    """Each cycle's start and the next cycle's in the same season, in minutes from midnight.

    On the one day a season gives way to the next, runs that do not fit are left out by the hub.
    """
    row = plan.rows[index]
    starts = [row.start_min_of(cycle) for cycle in range(row.cycles)]
    yield from pairwise([*starts, starts[0] + 1440])


def slots_min(plan: Plan, index: int) -> Iterator[tuple[int, int]]:
    """The time each cycle has, in minutes from the day's midnight: until the next, or the end."""
    for cycle, (first, last) in enumerate(spacing_min(plan, index)):
        yield first, min(plan.rows[index].end_min_of(cycle), last)
