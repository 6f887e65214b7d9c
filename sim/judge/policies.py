"""The ways of watering that are set side by side.

All have the same weather, strips, hoses, gaps, longest runs, caps and start. `none` waters nothing.
`calendar` is the real hub under the property's own table, with everything that holds back or trims
taken out of its plan. `calendar_checked` is the same with an owner who pushes a blade into the
ground once a week and trims by hand. `hub` is the property as it stands.

A replay sets these four side by side, a comparison more: `compared` says which.
"""

from dataclasses import replace

from evenclay.controller.plan import (
    ANY_DATE,
    AUTO_BOTH,
    AUTO_OFF,
    NO_RAIN_SENSOR,
    HubPart,
    Plan,
    RowPart,
    SupplyPart,
    ZonePart,
)
from evenclay.sim.house.house import House
from evenclay.sim.replay.life import Policy


def policies(house: House) -> tuple[Policy, ...]:
    """The four, the hub last."""
    bare = bare_plan(house.plan)
    return (
        Policy("none", None, None),
        Policy("calendar", bare, None),
        Policy("calendar_checked", bare, house.owner),
        Policy("hub", house.plan, house.owner if house.owner.checks else None),
    )


SELDOM_S = 65_535  # the longest that a plan can name


def bare_plan(plan: Plan) -> Plan:
    """The same table, hoses, gaps, rests and caps with nothing that holds back or trims.

    Meters go too, but where rows ask for litres. Without any sensor there is nothing to poll.
    """
    by_meter = any(row.run_ml for row in plan.rows)
    polls = {} if by_meter else {"poll_s": SELDOM_S, "watch_s": SELDOM_S}
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
        | polls
    )
    meter = {} if by_meter else {"meter": 0}
    supplies = [SupplyPart(vars(supply) | meter) for supply in plan.supplies]
    zones = [ZonePart(vars(zone) | {"probe": 0}) for zone in plan.zones]
    return Plan(hub, supplies, zones, plan.rows, [])


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


def _sensing(plan: Plan, *, probe: int, auto_trim: int) -> Plan:
    """A plan with a probe in every zone or in none."""
    hub = HubPart(vars(plan.hub) | {"auto_trim": auto_trim})
    zones = [ZonePart(vars(zone) | {"probe": probe}) for zone in plan.zones]
    return Plan(hub, plan.supplies, zones, plan.rows, plan.bans)


def probed(house: House) -> House:
    """A house with a probe in every strip, of its kind where it has one; not read unasked."""
    return replace(
        house, strips=tuple(replace(strip, probe=strip.probe or True) for strip in house.strips)
    )
