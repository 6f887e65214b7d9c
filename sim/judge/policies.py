"""The ways of watering that are set side by side, and the owner who checks by hand.

All have the same weather, strips, hoses, gaps, longest runs, caps and start. `none` waters nothing.
`calendar` is the real hub under the property's own table, with everything that holds back or trims
taken out of its plan. `calendar_checked` is the same with an owner who pushes a blade into the
ground once a week and trims by hand. `hub` is the property as it stands.

A replay sets these four side by side, a comparison more: `compared` says which.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from numpy.random import Generator

from evenclay.controller.agenda import Agenda
from evenclay.controller.civil import FIRST_WEEKDAY
from evenclay.controller.limits import DAY_S, RUN_MAX_S
from evenclay.controller.plan import (
    ANY_DATE,
    AUTO_BOTH,
    AUTO_OFF,
    NO_RAIN_SENSOR,
    HubPart,
    Plan,
    RowPart,
    ZonePart,
)
from evenclay.controller.ports import DRY, FIRM, WET
from evenclay.sim.ground.band import BAND_PF
from evenclay.sim.house.house import House, Owner
from evenclay.sim.house.site import Sky

# What a blade finds in the top 0.3 m. Nobody has published it: these are assumptions of ours,
# fitted so that a trimmed strip ends in the band (tests/published/test_trimming.py). A strip that
# is watered from above is wettest at the top: the band keeps within pF 2.5-3.3 while the mean of
# 0-0.3 m stays near pF 2.1 before the day's first cycle. So the owner must tell 11 from 16 kPa, by
# the effort of the push: wet clay's strength grows about as its suction does (from memory).
BLADE_DRY_PF = 2.2  # hard to push in: the mean of its length above about 16 kPa
BLADE_WET_PF = 2.05  # goes in by itself and comes out sloppy: below about 11 kPa
CHECK_RAIN_UM = 1000  # after more than this in a day the owner waits for tomorrow
CHECK_BEFORE_MIN = 30  # the check is done so long before the day's first cycle, or earlier


@dataclass(frozen=True)
class Policy:
    """A plan to obey (None: nobody waters), and whoever checks by hand (None: nobody)."""

    name: str
    plan: Plan | None
    owner: Owner | None


def policies(house: House) -> tuple[Policy, ...]:
    """The four, the hub last."""
    bare = bare_plan(house.plan)
    return (
        Policy("none", None, None),
        Policy("calendar", bare, None),
        Policy("calendar_checked", bare, house.owner),
        Policy("hub", house.plan, house.owner if house.owner.checks else None),
    )


def bare_plan(plan: Plan) -> Plan:
    """The same table, hoses, gaps, rests and caps with nothing that holds back or trims."""
    hub = HubPart(
        vars(plan.hub)
        | {
            "rain_kind": NO_RAIN_SENSOR,
            "frost": 0,
            "battery": 0,
            "weekdays": 127,
            "dates": ANY_DATE,
            "auto_trim": AUTO_OFF,
            "rewet_days": 0,
        }
    )
    zones = [ZonePart(vars(zone) | {"probe": 0}) for zone in plan.zones]
    return Plan(hub, plan.supplies, zones, plan.rows, [])


# From month and day: cycles a day, minutes a cycle. Common practice for a hot northern summer, no
# source; the window is ours.
REFERENCE = (((5, 1), 3, 10), ((7, 1), 4, 15), ((9, 16), 3, 10), ((11, 1), 0, 10))
REFERENCE_WINDOW_MIN = (20 * 60, 12 * 60)  # from, and how long


def compared(house: House) -> tuple[Policy, ...]:
    """What a comparison sets side by side, but for what is known only after others have run.

    reference: one usual calendar, the same for every strip. hub_rain: the hub with rain sensor,
    frost and local rules alone; hub_checked: and the owner's weekly check; hub_probes: and a soil
    probe in every strip; hub_auto: rain and probes, by which the hub trims itself, and no owner.
    """
    none, calendar, checked, _ = policies(house)
    plain = _sensing(house.plan, probe=0, auto_trim=AUTO_OFF)
    probes = _sensing(house.plan, probe=1, auto_trim=AUTO_OFF)
    auto = _sensing(house.plan, probe=1, auto_trim=AUTO_BOTH)
    return (
        none,
        Policy("reference", reference_plan(house.plan), None),
        calendar,
        checked,
        Policy("hub_rain", plain, None),
        Policy("hub_checked", plain, house.owner),
        Policy("hub_probes", probes, house.owner),
        Policy("hub_auto", auto, None),
    )


def reference_plan(plan: Plan) -> Plan:
    """The reference calendar on a plan's hoses, nothing held back, every zone the same minutes."""
    start_min, length_min = REFERENCE_WINDOW_MIN
    rows = [
        RowPart(
            {
                "month": month,
                "day": day,
                "cycles": cycles,
                "run_s": 60 * minutes,
                "run_ml": 0,
                "demand_um": 0,
                "start_min": start_min,
                "length_min": length_min,
                "starts_min": (),
            }
        )
        for (month, day), cycles, minutes in REFERENCE
    ]
    bare = bare_plan(plan)
    zones = [ZonePart(vars(zone) | {"share_pct": 100}) for zone in bare.zones]
    return Plan(bare.hub, bare.supplies, zones, rows, [])


def scaled_plan(plan: Plan, share: float) -> Plan:
    """A bare calendar with every run so much longer or shorter, seconds rounded."""
    rows = [
        RowPart(
            vars(row)
            | {
                "run_s": min(max(round(share * row.run_s), 1), RUN_MAX_S),
                "run_ml": round(share * row.run_ml),
            }
        )
        for row in plan.rows
    ]
    return Plan(plan.hub, plan.supplies, plan.zones, rows, plan.bans)


def _sensing(plan: Plan, *, probe: int, auto_trim: int) -> Plan:
    """A plan with a probe in every zone or in none."""
    hub = HubPart(vars(plan.hub) | {"auto_trim": auto_trim})
    zones = [ZonePart(vars(zone) | {"probe": probe}) for zone in plan.zones]
    return Plan(hub, plan.supplies, zones, plan.rows, plan.bans)


def probed(house: House) -> House:
    """A house with a probe in every strip; a plan that does not ask does not read it."""
    return replace(house, strips=tuple(replace(strip, probe=True) for strip in house.strips))


def check_times(owner: Owner, plan: Plan, sky: Sky, end_s: int) -> list[int]:
    """When the owner checks: weekly, in the open season, put off by a day after rain."""
    agenda = Agenda(plan)
    time = agenda.time
    day = time.local_s(sky.start_s) // DAY_S
    last_day = time.local_s(end_s - 1) // DAY_S
    times = []
    due = False
    while day <= last_day:
        row = agenda.row_of(day)
        due = row.cycles > 0 and (due or (day + FIRST_WEEKDAY) % 7 == owner.weekday)
        if due:
            at_s = time.wall_s(day * DAY_S + 60 * check_min(owner, row))
            since_s = max(at_s - DAY_S, sky.start_s)
            dry_day = sky.fallen_um(at_s) - sky.fallen_um(since_s) <= CHECK_RAIN_UM
            if dry_day and sky.start_s <= at_s < end_s:
                times.append(at_s)
                due = False
        day += 1
    return times


def check_min(owner: Owner, row: RowPart) -> int:
    """Minute of the day at which the owner checks under a row that has cycles."""
    return min(60 * owner.hour, max(row.start_min_of(0) - CHECK_BEFORE_MIN, 0))


def readings(owner: Owner, top_pf: Sequence[float], random: Generator) -> list[int] | None:
    """What the owner reports of each strip this week; None in a week he misses.

    top_pf: the mean of 0-0.3 m of each strip.
    """
    if 100.0 * random.random() < owner.misses_pct:
        return None
    found = [blade(pf) for pf in top_pf]
    return [
        _beside(reading, random) if 100.0 * random.random() < owner.misjudges_pct else reading
        for reading in found
    ]


def _beside(reading: int, random: Generator) -> int:
    """A reading one step wrong: firm for dry and wet, either of the two for firm."""
    return int(random.choice((DRY, WET))) if reading == FIRM else FIRM


def of_band(pf: float) -> int:
    """The reading that would bring a band of some mean pF back; FIRM within it."""
    if pf > BAND_PF[1]:
        return DRY
    return WET if pf < BAND_PF[0] else FIRM


def blade(top_pf: float) -> int:
    """What the owner feels, by the mean pF of 0-0.3 m: the effort adds up along the blade."""
    if top_pf > BLADE_DRY_PF:
        return DRY
    return WET if top_pf < BLADE_WET_PF else FIRM
