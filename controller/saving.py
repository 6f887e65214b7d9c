"""What is to be written, and when: the record at once or with the next opening, and a new plan."""

from . import const, events
from .plan import PlanError, unpack
from .ports import PLAN, RECORD, SAVE

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from .civil import Clock
    from .days import Days
    from .faults import Faults
    from .journal import Record
    from .lockouts import Lockouts
    from .plan import Plan
    from .ports import Command

_SAVE_RETRY_S = const(300)  # between tries to write a store that failed


class Saving:
    """The hub's writes. A store that failed is not tried again before some minutes have passed.

    new_plan: the plan that the owner gave, until it is taken or refused, and its bytes
    retry_up_s: nothing is written before
    """

    new_plan: "tuple[Plan, bytes] | None" = None
    retry_up_s = 0

    def __init__(
        self,
        record: "Record",
        clock: "Clock",
        lockouts: "Lockouts",
        days: "Days",
        faults: "Faults",
    ) -> None:
        self._record = record
        self._clock = clock
        self._lockouts = lockouts
        self._days = days
        self._faults = faults

    def offer(self, data: bytes) -> int:
        """Take a packed plan over once every valve is shut. Returns OK, BUSY or BAD_PLAN."""
        if self.new_plan:
            return events.BUSY
        try:
            self.new_plan = (unpack(data), data)
        except PlanError:
            return events.BAD_PLAN
        return events.OK

    def commands(self, up_s: int, at_rest: bool, opens_soon: bool) -> "list[Command]":
        """Return the SAVE commands that are due.

        Args:
            up_s: now
            at_rest: every valve is shut, and none is about to open: a new plan may be taken
            opens_soon: what is only owed can wait for the next opening
        """
        record = self._record
        given = self.new_plan if at_rest else None
        is_due = record.dirty or given or (record.owed and not opens_soon)
        if not is_due or up_s < self.retry_up_s:
            return []
        record.dirty = False
        record.owed = False
        record.wall_s = self._clock.wall_s(up_s)
        self._lockouts.keep(up_s)
        if not given:
            return [(SAVE, RECORD, record.pack())]
        # Once both are written the runner starts a hub from them, and this one is no more.
        self._days.drop_waiting(events.PLAN)
        plan, data = given
        return [(SAVE, PLAN, data), (SAVE, RECORD, record.carry(plan).pack())]

    def failed(self, slot: int, up_s: int) -> None:
        """A record or plan was not written, or not read back as it was."""
        self._faults.store(True, slot)
        self.retry_up_s = up_s + _SAVE_RETRY_S
        if slot == PLAN:
            self.new_plan = None
            self._faults.tell(events.REFUSED, -1, events.STORE, events.PLAN)
