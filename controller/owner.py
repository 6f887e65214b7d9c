"""What an owner may ask of the hub, each answered: accepted, or refused with its reason.

The `value` of an answer's event is the command's code (ASK_HOLD and so on).
"""

from . import events, ports
from ._const import const
from .limits import ASKED_MAX, WALL_MAX

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from .days import Days
    from .estimates import Estimates
    from .faults import Faults
    from .lockouts import Lockouts
    from .plan import Plan
    from .ports import Asked
    from .runs import Runs
    from .saving import Saving


_NOT_ONE = const(-2)  # neither a zone nor -1, and no command


class Owner:
    """Asks the rooms of a hub for what its owner wants."""

    def __init__(
        self,
        plan: "Plan",
        faults: "Faults",
        days: "Days",
        estimates: "Estimates",
        lockouts: "Lockouts",
        saving: "Saving",
        runs: "Runs",
    ) -> None:
        self._zones = len(plan.zones)
        self._faults = faults
        self._days = days
        self._estimates = estimates
        self._lockouts = lockouts
        self._saving = saving
        self._runs = runs

    def answer(self, asked: "list[Asked] | tuple[()]", up_s: int) -> None:
        """Answer each command in turn; those past the bound are refused unread."""
        for place, one in enumerate(asked):
            what, zone, value = (
                one if isinstance(one, tuple) and len(one) == 3 else (None, None, None)
            )
            what = _code(what)
            zone = _code(zone)
            if place >= ASKED_MAX:
                why = events.TOO_MANY
            elif -1 <= zone < self._zones:
                why = self._obey(what, zone, value, up_s)
            else:
                why = events.UNKNOWN
            done = events.ACCEPTED if why == events.OK else events.REFUSED
            self._faults.tell(done, max(zone, -1), why, max(what, -1))

    def _obey(self, what: int, zone: int, value: "object", up_s: int) -> int:
        """Carry a command out. Returns OK, or why not."""
        runs = self._runs
        number = value if type(value) is int else -1
        if what == ports.ASK_STOP:
            runs.stop(events.OWNER, up_s)
        elif what == ports.ASK_CLEAR:
            self.clear(zone)
        elif what == ports.ASK_TEST:
            return runs.begin_test()
        elif what == ports.ASK_HOLD and 0 <= number <= WALL_MAX:
            self._days.hold(number, up_s)
        elif what == ports.ASK_CHECK and zone != -1:
            return self._found(zone, value, ports.DRY, ports.WET, up_s)
        elif what == ports.ASK_SAMPLE and zone != -1:
            spots = (value,) if type(value) is int else value
            return self._found(zone, spots, 0, ports.SAMPLE_MOST, up_s)
        elif what == ports.ASK_RAIN:
            return self._lockouts.rained(number, up_s)
        elif what == ports.ASK_PLAN and isinstance(value, bytes):
            why = self._saving.offer(value)
            if why == events.OK:
                runs.drop_test()  # its zones are the old plan's
            return why
        elif what in (ports.ASK_RUN, ports.ASK_RUN_ANYWAY) and zone != -1 and number > 0:
            return runs.by_hand(zone, number, what == ports.ASK_RUN_ANYWAY, up_s)
        elif what != ports.ASK_CLOCK or not 0 < number < WALL_MAX:
            return events.UNKNOWN
        return events.OK

    def clear(self, zone: int) -> None:
        """Clear the faults of a zone, or of everything (-1).

        What waits is dropped, so that no valve opens because a fault was cleared.
        """
        if self._faults.clear(zone):
            self._days.drop_waiting(events.FAULT, zone)

    def _found(self, zone: int, spots: "object", least: int, most: int, up_s: int) -> int:
        """A blade, or a sampler, was pushed into the ground at one spot of a zone or several.

        A blade's readings begin at DRY, a sample's classes at 0.
        """
        if not isinstance(spots, tuple) or not spots:
            return events.UNKNOWN
        for spot in spots:
            if not least <= _code(spot) <= most:
                return events.UNKNOWN
        why = self._days.may_tell(zone, up_s)
        if why == events.OK:
            (self._estimates.check if least else self._estimates.sample)(zone, spots)
        return why


def _code(value: "object") -> int:
    """Return a small integer as it is, and what is none as one that names nothing.

    True and False are no integers, on any Python.
    """
    return value if type(value) is int and -1 <= value <= 255 else _NOT_ONE
