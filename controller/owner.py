"""What an owner may ask of the hub, each answered: accepted, or refused with its reason.

The `value` of an answer's event is the command's code (ASK_HOLD and so on).
"""

from controller._const import TYPE_CHECKING
from controller.events import (
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
from controller.guard import Run
from controller.limits import ASKED_MAX, RUN_LEAST_S, WALL_MAX
from controller.plan import PlanError, unpack
from controller.ports import (
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

if TYPE_CHECKING:
    from typing import Any

    from controller.hub import Hub
    from controller.ports import Asked


def answer(hub: "Hub", asked: "list[Asked] | tuple[()]", up_s: int) -> None:
    """Answer each command in turn; those past the bound are refused unread."""
    for place, one in enumerate(asked):
        what, zone, value = one if isinstance(one, tuple) and len(one) == 3 else (None, None, None)
        if place >= ASKED_MAX:
            why = TOO_MANY
        elif not _is_int(what) or not _is_int(zone) or not -1 <= zone < len(hub.plan.zones):
            why = UNKNOWN
        else:
            why = _obey(hub, what, zone, value, up_s)
        hub.answer(ACCEPTED if why == OK else REFUSED, _shown(zone), why, _shown(what))


def _is_int(value: "object") -> bool:
    """Whether a value is an integer; True and False are not, on any Python."""
    return isinstance(value, int) and not isinstance(value, bool)


def _shown(value: "Any") -> int:
    """Return how an answer shows a number it was asked with: -1 for what is none, or far out."""
    return value if _is_int(value) and 0 <= value <= 255 else -1


def _obey(hub: "Hub", what: int, zone: int, value: "object", up_s: int) -> int:
    """Carry a command out. Returns OK, or why not."""
    if what == ASK_STOP:
        hub.stop(OWNER, up_s)
        return OK
    if what == ASK_CLEAR:
        if hub.clear(zone):
            hub.dirty = True
        return OK
    if what == ASK_TEST:
        return _test(hub)
    if what == ASK_CHECK and zone != -1:
        return _check(hub, zone, value, up_s)
    if what == ASK_PLAN and isinstance(value, bytes):
        return _new_plan(hub, value)
    if not isinstance(value, int) or not _is_int(value):
        return UNKNOWN
    if what == ASK_HOLD and 0 <= value <= WALL_MAX:
        hub.record.hold_s = value
        hub.dirty = True
        return OK
    if what == ASK_CLOCK and 0 < value < WALL_MAX:
        return OK
    if what in (ASK_RUN, ASK_RUN_ANYWAY) and zone != -1 and value > 0:
        return _run(hub, zone, value, what == ASK_RUN_ANYWAY, up_s)
    return UNKNOWN


def _test(hub: "Hub") -> int:
    if hub.intent is not None or hub.guard.open_zones or hub.test or hub.new_plan is not None:
        return BUSY
    hub.test = (1 << len(hub.plan.zones)) - 1
    return OK


def _check(hub: "Hub", zone: int, value: "object", up_s: int) -> int:
    """A blade was pushed into the ground, at one spot of a zone or several."""
    if not isinstance(value, tuple) or not value:
        return UNKNOWN
    for reading in value:
        if not _is_int(reading) or reading not in (DRY, FIRM, WET):
            return UNKNOWN
    if not hub.days.trusted:
        return LOST_CLOCK
    if hub.lockouts.after_rain(up_s):
        return AFTER_RAIN
    if hub.days.watered_today(zone) or hub.record.opening >> zone & 1:
        return AFTER_CYCLE
    hub.dirty = True
    return hub.trim.check(zone, value, hub.record.day)


def _new_plan(hub: "Hub", data: bytes) -> int:
    """A new plan is taken with every valve shut, whole or not at all."""
    if hub.new_plan is not None:
        return BUSY
    try:
        hub.new_plan = (unpack(data), data)
    except PlanError:
        return BAD_PLAN
    hub.test = 0  # its bits are the old plan's zones
    return OK


def _run(hub: "Hub", zone: int, asked_s: int, anyway: bool, up_s: int) -> int:
    """A run by hand: never longer than the longest, never past the cap."""
    if hub.intent is not None or hub.test or hub.new_plan is not None:
        return BUSY
    room_s = hub.trim.room_s(zone)
    run_s = min(asked_s, hub.plan.zones[zone].longest_s, room_s)
    if run_s < RUN_LEAST_S:
        return CAP if room_s < RUN_LEAST_S else TOO_SHORT
    if hub.lockouts.closed_season and not anyway:
        return CLOSED_SEASON
    run = Run(zone, run_s, 0, MANUAL, anyway)
    why = hub.why_not(run, up_s)
    if why == OK:
        hub.intend(run, up_s)
    return why
