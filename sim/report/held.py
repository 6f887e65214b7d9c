"""For how many hours of each day every zone was held back, by reason."""

from collections.abc import Iterable, Sequence
from itertools import pairwise

import numpy as np

from evenclay.controller import events
from evenclay.controller.civil import LocalTime
from evenclay.controller.limits import DAY_S, ZONES_MAX
from evenclay.controller.lockouts import quiet
from evenclay.controller.plan import BAN_HOURS, Plan
from evenclay.sim.calendar import HOUR_S
from evenclay.sim.house.devices import Heard
from evenclay.sim.types import Floats

REASONS = (
    events.FROST,
    events.QUIET,
    events.RAIN,
    events.WET_SOIL,
    events.HOLD,
    events.CLOSED_SEASON,
    events.LOST_CLOCK,
    events.LOW_BATTERY,
    events.FAULT,
)
# Alarms that stand for something which keeps zones shut.
FAULTS = (
    events.NO_FLOW,
    events.SUPPLY_NO_FLOW,
    events.BURST,
    events.LEAK,
    events.DRIVER,
    events.BROKEN,
)
Spell = tuple[int, int, int, int]  # zone or as in an event, reason, from, until


def spells(heard: Iterable[Heard], end_s: int) -> list[Spell]:
    """Every lockout and fault that stood, from its edges; what still stands lasts to the end.

    A boot ends lockouts: the hub tells anew what it finds. Faults stay until they are cleared.
    """
    since: dict[tuple[int, int], int] = {}
    found: list[Spell] = []

    def ends(key: tuple[int, int], at_s: int) -> None:
        if key in since:
            zone, why = key
            found.append((zone, events.FAULT if why in FAULTS else why, since.pop(key), at_s))

    for item in heard:
        what, zone, why = item.event[:3]
        if what == events.BOOT:
            for key in [key for key in since if key[1] not in FAULTS]:
                ends(key, item.at_s)
        elif what == events.LOCKED or (what == events.ALARM and why in FAULTS):
            since.setdefault((zone, why), item.at_s)
        elif what in (events.RELEASED, events.CLEARED):
            ends((zone, why), item.at_s)
    for key in list(since):
        ends(key, end_s)
    return found


def hours(plan: Plan, heard: Sequence[Heard], start_s: int, days: int) -> Floats:
    """Hours [0..24] held back: (days, zones, REASONS), days from `start_s`, a local midnight."""
    held = np.zeros((days, len(plan.zones), len(REASONS)))
    for zone, why, from_s, until_s in spells(heard, start_s + DAY_S * days):
        if why in REASONS:
            reason = REASONS.index(why)
            for day in range(max((from_s - start_s) // DAY_S, 0), days):
                day_s = start_s + DAY_S * day
                if day_s >= until_s:
                    break
                overlap_s = min(until_s, day_s + DAY_S) - max(from_s, day_s)
                held[day, _zones(plan, zone), reason] += overlap_s / HOUR_S
    held[:, :, REASONS.index(events.QUIET)] = _quiet_hours(plan, start_s, days)[:, None]
    return np.minimum(held, 24.0)


def _zones(plan: Plan, zone: int) -> list[int]:
    """The zones that an event's zone number means."""
    if zone < 0:
        return list(range(len(plan.zones)))
    if zone < ZONES_MAX:
        return [zone]
    return [z for z, part in enumerate(plan.zones) if part.supply == zone - ZONES_MAX]


def _quiet_hours(plan: Plan, start_s: int, days: int) -> Floats:
    """Hours of each local day at which the plan's rules forbid watering."""
    edges = {0, 1440}
    for ban in plan.bans:
        if ban.kind == BAN_HOURS:
            edges |= {ban.first, ban.last}
    minutes = sorted(edges)
    first_day = LocalTime(plan.hub).local_s(start_s + DAY_S // 2) // DAY_S
    quiet_min = [
        sum(
            end - begin
            for begin, end in pairwise(minutes)
            if quiet(plan, day * DAY_S + 60 * begin)[0]
        )
        for day in range(first_day, first_day + days)
    ]
    return np.array(quiet_min) / 60.0
