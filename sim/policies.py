"""The four ways of watering that a replay sets side by side, and the owner who checks by hand.

All have the same weather, strips, hoses, gaps, longest runs, caps and start. `none` waters nothing.
`calendar` is the real hub under the property's own table, with everything that holds back or trims
taken out of its plan. `calendar_checked` is the same with an owner who pushes a blade into the
ground once a week and trims by hand. `hub` is the property as it stands.
"""

from dataclasses import dataclass

from controller.agenda import row_of
from controller.civil import LocalTime, weekday_of
from controller.limits import DAY_S
from controller.plan import ANY_DATE, AUTO_OFF, NO_RAIN_SENSOR, HubPart, Plan, ZonePart
from controller.ports import DRY, FIRM, WET
from sim.ground import Sky
from sim.house import House, Owner

# What a blade finds in the top 0.3 m. Nobody has published it: these are assumptions of ours.
BLADE_DRY_PF = 2.7  # it sticks in the driest layer that it meets: about 50 kPa
BLADE_WET_PF = 1.5  # it comes out sloppy over its whole length: about 3 kPa in the mean
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


def check_times(owner: Owner, plan: Plan, sky: Sky, end_s: int) -> list[int]:
    """When the owner checks: weekly, in the open season, put off by a day after rain."""
    time = LocalTime(plan.hub)
    day = time.local_s(sky.start_s) // DAY_S
    last_day = time.local_s(end_s - 1) // DAY_S
    times = []
    due = False
    while day <= last_day:
        row = row_of(plan, day)
        due = row.cycles > 0 and (due or weekday_of(day) == owner.weekday)
        if due:
            minute = min(60 * owner.hour, max(row.start_min_of(0) - CHECK_BEFORE_MIN, 0))
            at_s = time.wall_s(day * DAY_S + 60 * minute)
            since_s = max(at_s - DAY_S, sky.start_s)
            dry_day = sky.fallen_um(at_s) - sky.fallen_um(since_s) <= CHECK_RAIN_UM
            if dry_day and sky.start_s <= at_s < end_s:
                times.append(at_s)
                due = False
        day += 1
    return times


def blade(driest_pf: float, mean_pf: float) -> int:
    """What the owner feels: by the driest layer of 0-0.3 m, and by their mean."""
    if driest_pf > BLADE_DRY_PF:
        return DRY
    return WET if mean_pf < BLADE_WET_PF else FIRM
