"""What is to be written, and when: the record at once or with the next opening, and a new plan."""

from . import const, events, ports
from .plan import PlanError, unpack

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from .hub import Hub
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

    def offer(self, data: bytes) -> int:
        """Take a packed plan over once every valve is shut. Returns OK, BUSY or BAD_PLAN."""
        if self.new_plan:
            return events.BUSY
        try:
            self.new_plan = (unpack(data), data)
        except PlanError:
            return events.BAD_PLAN
        return events.OK

    def commands(self, hub: "Hub", up_s: int, at_rest: bool) -> "list[Command]":
        """Return the SAVE commands that are due; what is only owed waits for an opening soon.

        Args:
            hub: what is written
            up_s: now
            at_rest: every valve is shut, and none is about to open: a new plan may be taken
        """
        record = hub.record
        given = self.new_plan if at_rest else None
        is_due = record.dirty or given or (record.owed and not hub.runs.opens_soon)
        if not is_due or up_s < self.retry_up_s:
            return []
        record.dirty = record.owed = False
        record.wall_s = hub.clock.wall_s(up_s)
        hub.lockouts.keep(up_s)
        if not given:
            return [(ports.SAVE, ports.RECORD, record.pack())]
        # Once both are written the runner starts a hub from them, and this one is no more.
        hub.days.drop_waiting(events.PLAN)
        plan, data = given
        return [
            (ports.SAVE, ports.PLAN, data),
            (ports.SAVE, ports.RECORD, record.carry(plan).pack()),
        ]

    def failed(self, hub: "Hub", slot: int, up_s: int) -> None:
        """A record or plan was not written, or not read back as it was."""
        hub.faults.store(True, slot)
        self.retry_up_s = up_s + _SAVE_RETRY_S
        if slot == ports.PLAN:
            self.new_plan = None
            hub.faults.tell(events.REFUSED, -1, events.STORE, events.PLAN)
