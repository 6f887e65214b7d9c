"""How a hub is, in one word of four: what its light shows."""

from evenclay.controller import TYPE_CHECKING, const, events

if TYPE_CHECKING:
    from evenclay.controller.hub import Hub
    from evenclay.controller.runner import Runner

WELL = const(0)
HOLDING = const(1)
NEEDS_YOU = const(2)
NO_CLOCK = const(3)


def state(runner: "Runner", up_s: int) -> int:
    """Return WELL, HOLDING, NEEDS_YOU or NO_CLOCK; what an owner should mend counts most."""
    hub = runner.hub
    if hub.faults.alarms or runner.rest_up_s or hub.lockouts.locked[events.LOW_BATTERY]:
        return NEEDS_YOU
    if not hub.clock.trusted:
        return NO_CLOCK
    for zone in range(len(hub.plan.zones)):
        if why_not(hub, zone, up_s):
            return HOLDING
    return WELL


def why_not(hub: "Hub", zone: int, up_s: int) -> int:
    """Return what holds a zone back now, or OK."""
    if hub.record.faults or hub.record.zone_faults[zone]:
        return events.FAULT
    why = hub.lockouts.why(zone, hub.clock.local_s(up_s), False, 1)
    if not why and hub.lockouts.locked[events.CLOSED_SEASON]:
        return events.CLOSED_SEASON
    return why
