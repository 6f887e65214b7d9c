"""The one loop that boards and the simulator share: carries out what the hub says, and tells it how
that went. A step that raises closes every valve, is recorded, and starts the hub anew.
"""

from controller import journal
from controller._const import TYPE_CHECKING
from controller.events import CRASH, POWER
from controller.hub import Hub
from controller.limits import STEPS_MAX, SUPPLIES_MAX, ZONES_MAX
from controller.plan import PlanError, unpack
from controller.ports import (
    ASK_CLOCK,
    CLOSE,
    OPEN,
    PLAN,
    RECORD,
    REPORT,
    SAVE,
    Seen,
)

if TYPE_CHECKING:
    from controller.plan import Plan
    from controller.ports import Asked, Command, Ports


class Runner:
    """Boots a hub on a board's ports, and takes its turns."""

    def __init__(self, ports: "Ports", why: int = POWER) -> None:
        """Close every valve, then load plan and record. Raises PlanError without a good plan."""
        self._ports = ports
        self._blind = Seen(ZONES_MAX, SUPPLIES_MAX)
        self.hub = self._boot(why)

    def turn(self) -> int:
        """Step the hub until nothing is left to do. Returns the uptime of its next wake."""
        ports = self._ports
        seen, asked = self._look()
        seen.done = 0
        try:
            for _ in range(STEPS_MAX):
                commands = self.hub.step(ports.up_s(), self._wall_s(), seen, asked)
                asked = []
                seen.done = self._carry_out(commands)
                if not commands or commands[0][0] == REPORT:
                    ports.feed()
                    return self.hub.wake_s
            raise RuntimeError("no progress")
        except Exception:
            self._crash()
        return 0

    def _boot(self, why: int) -> Hub:
        self._close_all()
        saved = journal.newest((self._read(RECORD, 0), self._read(RECORD, 1)))
        record = journal.unpack(saved) if saved else None
        plan, self._plan_copy = self._find_plan(record.plan_crc if record else 0)
        self._saved = saved
        return Hub(plan, saved, why)

    def _find_plan(self, crc: int) -> "tuple[Plan, int]":
        """Return the plan that the record was made under, or else the first good one."""
        found = None
        for copy in (1, 0):
            try:
                plan = unpack(self._read(PLAN, copy))
            except PlanError:
                continue
            if found is None or plan.crc == crc or (copy == 0 and found[0].crc != crc):
                found = (plan, copy)
        if found is None:
            raise PlanError("no good plan stored")
        return found

    def _look(self) -> "tuple[Seen, list[Asked]]":
        """Read the sensors and what is asked; set the clock if that is asked."""
        try:
            seen = self._ports.look()
        except Exception:
            seen = self._blind
        asked = self._ports.take_asked()
        for what, _, value in asked:
            if what == ASK_CLOCK and isinstance(value, int):
                self._ports.set_wall_s(value)
        return seen, asked

    def _wall_s(self) -> "int | None":
        try:
            return self._ports.wall_s()
        except Exception:
            return None

    def _carry_out(self, commands: "list[Command]") -> int:
        """Carry commands out in order. Returns how many were, before the first that failed."""
        done = 0
        for command in commands:
            try:
                self._obey(command)
            except Exception:
                return done
            done += 1
        return done

    def _obey(self, command: "Command") -> None:
        what = command[0]
        if what == CLOSE:
            self._ports.close(command[1])
        elif what == SAVE:
            self._save(command[1], command[2])
        elif what == OPEN:
            self._ports.open(command[1], command[2])
        else:
            self._ports.report(command[1])

    def _save(self, slot: int, data: bytes) -> None:
        """Write over the older copy, and read it back."""
        copy = journal.copy_of(data) if slot == RECORD else 1 - self._plan_copy
        self._ports.write(slot, copy, data)
        if self._ports.read(slot, copy) != data:
            raise OSError("not as written")
        if slot == RECORD:
            self._saved = data
        else:
            self._plan_copy = copy

    def _read(self, slot: int, copy: int) -> bytes:
        try:
            return self._ports.read(slot, copy)
        except Exception:
            return b""

    def _close_all(self) -> None:
        for valve in range(self._ports.valves):
            try:
                self._ports.close(valve)
            except Exception:
                continue  # the hub tries again, and says so

    def _crash(self) -> None:
        """Something that must not happen did: all valves shut, the fault kept, a new start."""
        self._close_all()
        latched = journal.latched(self._saved, len(self.hub.plan.zones))
        try:
            self._save(RECORD, latched)
        except Exception:
            pass  # nothing more can be done; the hub that boots now still holds the fault
        self.hub = self._boot(CRASH)
