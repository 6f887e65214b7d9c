"""What a hub and its owner tell each other: plain words, a console, a light and a button.

Here: how a hub is, in one word of four, which is what its light shows.
"""

from evenclay.controller import const, events

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from evenclay.controller.hub import Hub
    from evenclay.controller.runner import Runner

_WELL = const(0)
_HOLDING = const(1)
_NEEDS_YOU = const(2)
_NO_CLOCK = const(3)


def state(runner: "Runner", up_s: int) -> int:
    """Return _WELL, _HOLDING, _NEEDS_YOU or _NO_CLOCK; what an owner should mend counts most."""
    hub = runner.hub
    if hub.faults.alarms or runner.rest_up_s or hub.lockouts.locked[events.LOW_BATTERY]:
        return _NEEDS_YOU
    if not hub.clock.trusted:
        return _NO_CLOCK
    for zone in range(len(hub.plan.zones)):
        if why_not(hub, zone, up_s):
            return _HOLDING
    return _WELL


def why_not(hub: "Hub", zone: int, up_s: int) -> int:
    """Return what holds a zone back now, or OK."""
    if hub.record.faults or hub.record.zone_faults[zone]:
        return events.FAULT
    why = hub.lockouts.why(zone, up_s, False, 1)
    if not why and hub.lockouts.locked[events.CLOSED_SEASON]:
        return events.CLOSED_SEASON
    return why
