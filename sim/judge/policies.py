"""The ways of watering that are set side by side.

All have the same weather, strips, hoses, gaps, longest runs, caps and start. `none` waters nothing.
`calendar` is the real hub under the property's own table, with everything that holds back and the
estimate taken out of its plan. `hub_alone` is the hub of the property by what it reckons alone:
nobody checks, and no soil probe speaks. `hub` is the property as it stands.

A replay sets these four side by side, a comparison more: `compared` says which.
"""

from collections.abc import Sequence
from dataclasses import replace

from evenclay.controller.plan import (
    ANY_DATE,
    NO_RAIN_SENSOR,
    HubPart,
    Plan,
    RowPart,
    SupplyPart,
    ZonePart,
)
from evenclay.sim.house.house import House
from evenclay.sim.replay.life import Policy

NONE = 0  # of a zone's `sensor`


def policies(house: House) -> tuple[Policy, ...]:
    """The four, the hub last."""
    return (
        Policy("none", None, None),
        Policy("calendar", bare_plan(house.plan), None),
        Policy("hub_alone", _sensing(house.plan, ()), None),
        hub_of(house),
    )


def hub_of(house: House) -> Policy:
    """The property as it stands. Nothing follows from a check where the hub does not reckon."""
    checks = house.owner.checks and house.plan.hub.estimate
    return Policy("hub", house.plan, house.owner if checks else None)


SELDOM_S = 65_535  # the longest that a plan can name


def bare_plan(plan: Plan) -> Plan:
    """The same table, hoses, gaps, rests and caps with nothing that holds back or reckons.

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
            "estimate": 0,
        }
        | polls
    )
    meter = {} if by_meter else {"meter": 0}
    supplies = [SupplyPart(vars(supply) | meter) for supply in plan.supplies]
    zones = [ZonePart(vars(zone) | {"probe": 0, "sensor": NONE}) for zone in plan.zones]
    return Plan(hub, supplies, zones, plan.rows, [])


# From month and day: cycles a day, minutes a cycle. Common practice for a hot northern summer, no
# source; the window is ours.
REFERENCE = (((5, 1), 3, 10), ((7, 1), 4, 15), ((9, 16), 3, 10), ((11, 1), 0, 10))
REFERENCE_WINDOW_MIN = (20 * 60, 12 * 60)  # from, and how long


def compared(house: House) -> tuple[Policy, ...]:
    """What a comparison sets side by side, but for what is known only after others have run.

    reference: one usual calendar, the same for every strip. hub_checked: the hub, and an owner who
    squeezes a sample each week; hub_sensor: one probe, that speaks for every zone; hub_sensors: a
    probe in every zone. The last two without an owner.
    """
    none, calendar, alone, _ = policies(house)
    zones = range(len(house.plan.zones))
    one = next((zone for zone in zones if house.plan.zones[zone].probe), 0)
    owner = replace(house.owner, checks=True, check="sample")
    unheard = _sensing(house.plan, ())
    return (
        none,
        Policy("reference", reference_plan(house.plan), None),
        calendar,
        alone,
        replace(hub_of(replace(house, plan=unheard, owner=owner)), name="hub_checked"),
        Policy("hub_sensor", _sensing(house.plan, [one] * len(zones)), None),
        Policy("hub_sensors", _sensing(house.plan, zones), None),
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
                "rain_um": 0,
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


def _sensing(plan: Plan, heard: Sequence[int]) -> Plan:
    """A plan with probes. heard: the place of the zone whose probe speaks for each; empty: none."""
    zones = [
        ZonePart(
            vars(zone)
            | {"probe": int(number in heard), "sensor": 1 + heard[number] if heard else NONE}
        )
        for number, zone in enumerate(plan.zones)
    ]
    return Plan(plan.hub, plan.supplies, zones, plan.rows, plan.bans)


def probed(house: House) -> House:
    """A house with a probe in every strip, of its kind where it has one; not read unasked."""
    return replace(
        house, strips=tuple(replace(strip, probe=strip.probe or True) for strip in house.strips)
    )
