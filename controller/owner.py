"""What an owner may ask of the hub, each answered: accepted, or refused with its reason.

The `value` of an answer's event is the command's code (ASK_HOLD and so on).
"""

from evenclay.controller._const import const
from evenclay.controller.events import (
    ACCEPTED,
    AFTER_CYCLE,
    AFTER_RAIN,
    BAD_PLAN,
    BUSY,
    CAP,
    CLOSED_SEASON,
    LOST_CLOCK,
    MANUAL,
    OK,
    OWNER,
    REFUSED,
    TOO_MANY,
    TOO_SHORT,
    UNKNOWN,
)
from evenclay.controller.guard import Run
from evenclay.controller.limits import ASKED_MAX, RUN_LEAST_S, WALL_MAX
from evenclay.controller.plan import PlanError, unpack
from evenclay.controller.ports import (
    ASK_CHECK,
    ASK_CLEAR,
    ASK_CLOCK,
    ASK_HOLD,
    ASK_PLAN,
    ASK_RUN,
    ASK_RUN_ANYWAY,
    ASK_STOP,
    ASK_TEST,
    DRY,
    FIRM,
    WET,
)

TYPE_CHECKING = const(0)
if TYPE_CHECKING:
    from evenclay.controller.hub import Hub
    from evenclay.controller.ports import Asked


_NOT_ONE = const(-2)  # neither a zone nor -1, and no command


def answer(hub: "Hub", asked: "list[Asked] | tuple[()]", up_s: int) -> None:
    """Answer each command in turn; those past the bound are refused unread."""
    for place, one in enumerate(asked):
        what, zone, value = one if isinstance(one, tuple) and len(one) == 3 else (None, None, None)
        what = _code(what)
        zone = _code(zone)
        if place >= ASKED_MAX:
            why = TOO_MANY
        elif -1 <= zone < len(hub.plan.zones):
            why = _obey(hub, what, zone, value, up_s)
        else:
            why = UNKNOWN
        hub.tell(ACCEPTED if why == OK else REFUSED, max(zone, -1), why, max(what, -1))


def _code(value: "object") -> int:
    """Return a small integer as it is, and what is none as one that names nothing.

    True and False are no integers, on any Python.
    """
    return value if type(value) is int and -1 <= value <= 255 else _NOT_ONE


def _obey(hub: "Hub", what: int, zone: int, value: "object", up_s: int) -> int:
    """Carry a command out. Returns OK, or why not."""
    number = value if type(value) is int else -1
    if what == ASK_STOP:
        hub.stop(OWNER, up_s)
    elif what == ASK_CLEAR:
        hub.clear(zone)
    elif what == ASK_TEST:
        if _busy(hub) or hub.guard.open_zones:
            return BUSY
        hub.test = (1 << len(hub.plan.zones)) - 1
    elif what == ASK_HOLD and 0 <= number <= WALL_MAX:
        hub.record.hold_s = number
        hub.dirty = True
        hub.days.catch_up(up_s)
    elif what == ASK_CHECK and zone != -1:
        return _check(hub, zone, value, up_s)
    elif what == ASK_PLAN and isinstance(value, bytes):
        if hub.new_plan is not None:
            return BUSY
        try:
            hub.new_plan = (unpack(value), value)  # taken once every valve is shut
        except PlanError:
            return BAD_PLAN
        hub.test = 0  # its bits are the old plan's zones
    elif what in (ASK_RUN, ASK_RUN_ANYWAY) and zone != -1 and number > 0:
        return _run(hub, zone, number, what == ASK_RUN_ANYWAY, up_s)
    elif what != ASK_CLOCK or not 0 < number < WALL_MAX:
        return UNKNOWN
    return OK


def _busy(hub: "Hub") -> bool:
    """Whether a run, a test or a new plan is to come first."""
    return hub.intent is not None or hub.test != 0 or hub.new_plan is not None


def _check(hub: "Hub", zone: int, value: "object", up_s: int) -> int:
    """A blade was pushed into the ground, at one spot of a zone or several."""
    if not isinstance(value, tuple) or not value:
        return UNKNOWN
    for reading in value:
        if _code(reading) not in (DRY, FIRM, WET):
            return UNKNOWN
    if not hub.days.trusted:
        return LOST_CLOCK
    if up_s < hub.lockouts.after_rain_up_s:
        return AFTER_RAIN
    if hub.days.watered_today(zone) or hub.record.opening >> zone & 1:
        return AFTER_CYCLE
    hub.dirty = True
    return hub.trim.check(zone, value, hub.record.day)


def _run(hub: "Hub", zone: int, asked_s: int, anyway: bool, up_s: int) -> int:
    """A run by hand: never longer than the longest, never past the cap."""
    if _busy(hub):
        return BUSY
    room_s = hub.trim.room_s(zone)
    run_s = min(asked_s, hub.plan.zones[zone].longest_s, room_s)
    if run_s < RUN_LEAST_S:
        return CAP if room_s < RUN_LEAST_S else TOO_SHORT
    if hub.lockouts.locked[CLOSED_SEASON] and not anyway:
        return CLOSED_SEASON
    run = Run(zone, run_s, 0, MANUAL, anyway)
    why = hub.why_not(run, up_s)
    if why == OK:
        hub.intend(run, up_s)
    return why
