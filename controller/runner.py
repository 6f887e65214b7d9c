"""The one loop that boards and the simulator share: carries out what the hub says, and tells it how
that went. A step that raises closes every valve, is recorded, and starts the hub anew.
"""

from controller import journal
from controller._const import TYPE_CHECKING
from controller.events import CRASH, POWER
from controller.hub import Hub
from controller.limits import ASKED_MAX, STEPS_MAX, SUPPLIES_MAX, WALL_MAX, ZONES_MAX
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
        try:
            seen = self._look()
            seen.done = 0
            asked = self._take_asked()
            up_s = ports.up_s()  # a turn is one moment, however long its commands take
            wall_s = self._wall_s()
            for _ in range(STEPS_MAX):
                commands = self.hub.step(up_s, wall_s, seen, asked)
                if commands:
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
        self.close_all()
        copies = (self._read(RECORD, 0), self._read(RECORD, 1))
        saved = journal.newest(copies)
        self._record_copy = 1 if saved is copies[1] else 0
        return self._start(saved, why)

    def _start(self, saved: "bytes | None", why: int) -> Hub:
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
            if found is None or found[0].crc != crc:
                found = (plan, copy)
        if found is None:
            raise PlanError("no good plan stored")
        return found

    def _look(self) -> Seen:
        """Read the sensors; see nothing if they cannot be read."""
        try:
            return self._ports.look()
        except Exception:
            return self._blind

    def _take_asked(self) -> "list[Asked]":
        """Take what is asked; set the clock if that is asked."""
        try:
            asked = self._ports.take_asked()
        except Exception:
            return []
        if not asked:
            return asked
        for place, (what, zone, value) in enumerate(asked[:ASKED_MAX]):
            if what == ASK_CLOCK and isinstance(value, int) and 0 < value < WALL_MAX:
                try:
                    self._ports.set_wall_s(value)
                except Exception:
                    asked[place] = (what, zone, None)  # the hub refuses what was not done
        return asked

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
        """Write over the copy that is not the newest good one, and read it back.

        A write that failed is tried on the same copy again: the other one is all there is.
        """
        copy = 1 - (self._record_copy if slot == RECORD else self._plan_copy)
        self._ports.write(slot, copy, data)
        if self._ports.read(slot, copy) != data:
            raise OSError("not as written")
        if slot == RECORD:
            self._record_copy = copy
            self._saved = data
        else:
            self._plan_copy = copy

    def _read(self, slot: int, copy: int) -> bytes:
        try:
            return self._ports.read(slot, copy)
        except Exception:
            return b""

    def close_all(self) -> None:
        """Close every valve, whatever the hub thinks of it: at boot, after a crash, at the end."""
        for valve in range(self._ports.valves):
            try:
                self._ports.close(valve)
            except Exception:
                continue  # the hub tries again, and says so

    def _crash(self) -> None:
        """Something that must not happen did: all valves shut, the fault kept, a new start."""
        self.close_all()
        latched = journal.latched(self._saved, len(self.hub.plan.zones))
        try:
            self._save(RECORD, latched)
        except Exception:
            pass  # the hub that starts now holds the fault, and saves it as soon as it can
        self.hub = self._start(latched, CRASH)
