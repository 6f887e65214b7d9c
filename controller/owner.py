"""What an owner may ask of the hub, each answered: accepted, or refused with its reason.

The `value` of an answer's event is the command's code (ASK_HOLD and so on).
"""

from . import const, events, limits, plan, ports

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from typing import Any

    from .hub import Hub
    from .ports import Asked

_NOT_ONE = const(-2)  # neither a zone nor -1, and no command


def answer(hub: "Hub", asked: "list[Asked] | tuple[()]", up_s: int) -> None:
    """Answer each command in turn; those past the bound are refused unread."""
    for place, one in enumerate(asked):
        what = zone = _NOT_ONE
        value = None
        if isinstance(one, tuple) and len(one) == 3:
            what = _code(one[0])
            zone = _code(one[1])
            value = one[2]
        why = events.UNKNOWN
        if place >= limits.ASKED_MAX:
            why = events.TOO_MANY
        elif -1 <= zone < len(hub.plan.zones):
            why = _obey(hub, what, zone, value, up_s)
        hub.faults.tell(
            events.REFUSED if why else events.ACCEPTED, max(zone, -1), why, max(what, -1)
        )


def _obey(hub: "Hub", what: int, zone: int, value: "Any", up_s: int) -> int:
    """Carry a command out. Returns OK, or why not."""
    runs = hub.runs
    record = hub.record
    number = value if type(value) is int else -1
    if what == ports.ASK_STOP:
        runs.stop(events.OWNER, up_s)
    elif what == ports.ASK_CLEAR:
        if hub.faults.clear(zone):  # what waits is dropped: no valve opens because of this
            hub.days.drop_waiting(events.FAULT, zone)
    elif what == ports.ASK_TEST:
        if runs.busy() or hub.guard.open_zones:
            return events.BUSY
        runs.test = (1 << len(hub.plan.zones)) - 1
    elif what == ports.ASK_HOLD and 0 <= number <= limits.WALL_MAX:
        record.hold_s = number  # 0 ends the hold
        record.dirty = True
        hub.days.catch_up(up_s)
    elif what == ports.ASK_CHECK and zone != -1:
        return _found(hub, zone, value, ports.DRY, ports.WET, up_s)
    elif what == ports.ASK_SAMPLE and zone != -1:
        return _found(hub, zone, value if number < 0 else (value,), 0, ports.SAMPLE_MOST, up_s)
    elif what == ports.ASK_RAIN:
        return hub.lockouts.rained(number, up_s)
    elif what == ports.ASK_PLAN and isinstance(value, bytes):
        if record.new_plan:
            return events.BUSY
        try:  # it is taken over once every valve is shut
            record.new_plan = (plan.unpack(value), value)
        except plan.PlanError:
            return events.BAD_PLAN
        runs.test = 0  # its zones are the old plan's
    elif what in (ports.ASK_RUN, ports.ASK_RUN_ANYWAY) and zone != -1 and number > 0:
        return runs.by_hand(zone, number, what == ports.ASK_RUN_ANYWAY, up_s)
    elif what != ports.ASK_CLOCK or not 0 < number < limits.WALL_MAX:
        return events.UNKNOWN
    return events.OK


def _found(hub: "Hub", zone: int, spots: "Any", least: int, most: int, up_s: int) -> int:
    """A blade, or a sampler, was pushed into the ground at one spot of a zone or several.

    A blade's readings begin at DRY, a sample's classes at 0.
    """
    if not isinstance(spots, tuple) or not spots:
        return events.UNKNOWN
    for spot in spots:
        if not least <= _code(spot) <= most:
            return events.UNKNOWN
    why = hub.days.may_tell(zone, up_s)
    if not why:
        (hub.estimates.check if least else hub.estimates.sample)(zone, spots)
    return why


def _code(value: "object") -> int:
    """Return a small integer as it is, and what is none as one that names nothing.

    True and False are no integers, on any Python.
    """
    return value if type(value) is int and -1 <= value <= 255 else _NOT_ONE
