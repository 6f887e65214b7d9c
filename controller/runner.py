"""The one loop that boards and the simulator share: carries out what the hub says, and tells it how
that went. A step that raises closes every valve, is recorded, and starts the hub anew.
"""

from controller._const import TYPE_CHECKING
from controller.events import CRASH, POWER
from controller.events import PLAN as NEW_PLAN
from controller.hub import Hub
from controller.journal import BROKEN_FAULT, Record, newest, unpack_record
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
    from controller.events import Log
    from controller.ports import Asked, Command, Ports


class Runner:
    """Boots a hub on a board's ports, and takes its turns."""

    def __init__(self, ports: "Ports", why: int = POWER) -> None:
        """Close every valve, then load plan and record. Raises PlanError without a good plan."""
        self._ports = ports
        self._blind = Seen(ZONES_MAX, SUPPLIES_MAX)
        self.close_all()
        copies = (self._read(RECORD, 0), self._read(RECORD, 1))
        saved = newest(copies)
        self._copy = [1 if saved is copies[1] else 0, 0]  # the one in force of each slot
        self._start(saved, why, None)

    def turn(self) -> int:
        """Step the hub until nothing is left to do. Returns the uptime of its next wake."""
        ports = self._ports
        try:
            try:
                seen = ports.look()
            except Exception:
                seen = self._blind
            seen.done = 0
            try:
                asked = list(ports.take_asked())
            except Exception:
                asked = []
            if asked:
                self._see_clock(asked)
            up_s = ports.up_s()  # a turn is one moment, however long its commands take
            try:
                wall_s = ports.wall_s()
            except Exception:
                wall_s = None
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

    def _start(self, saved: "bytes | None", why: int, log: "Log | None") -> None:
        """Start a hub from a record, under the plan it was made under or else the first good one.

        Raises PlanError without a good plan.
        """
        record = unpack_record(saved)
        found = None
        for copy in (1, 0):
            if found is None or record is None or found.crc != record.plan_crc:
                try:
                    found = unpack(self._read(PLAN, copy))
                    self._copy[PLAN] = copy
                except PlanError:
                    continue
        if found is None:
            raise PlanError("no good plan stored")
        self._saved = saved
        self.hub = Hub(found, saved, why, log)

    def _see_clock(self, asked: "list[Asked]") -> None:
        """Set the clock if that is asked."""
        for place, one in enumerate(asked[:ASKED_MAX]):
            if isinstance(one, tuple) and len(one) == 3 and one[0] == ASK_CLOCK:
                value = one[2]
                if type(value) is int and 0 < value < WALL_MAX:
                    try:
                        self._ports.set_wall_s(value)
                    except Exception:
                        asked[place] = (ASK_CLOCK, one[1], None)  # what was not done is refused

    def _carry_out(self, commands: "list[Command]") -> int:
        """Carry commands out in order. Returns how many were, before the first that failed."""
        ports = self._ports
        done = 0
        renewed = False
        try:
            for command in commands:
                what = command[0]
                if what == CLOSE:
                    ports.close(command[1])
                elif what == SAVE:
                    self._save(command[1], command[2])
                    renewed = renewed or command[1] == PLAN
                elif what == OPEN:
                    ports.open(command[1], command[2])
                else:
                    ports.report(command[1])
                done += 1
            if renewed:  # plan and record are written: a hub starts from them
                self._start(self._saved, NEW_PLAN, self.hub.log)
        except Exception:
            pass  # the hub is told how far it came
        return done

    def _save(self, slot: int, data: bytes) -> None:
        """Write over the copy that is not the newest good one, and read it back.

        A write that failed is tried on the same copy again: the other one is all there is.
        """
        copy = 1 - self._copy[slot]
        self._ports.write(slot, copy, data)
        if self._ports.read(slot, copy) != data:
            raise OSError("not as written")
        if slot == RECORD:  # of a plan, the one that the record names
            self._copy[RECORD] = copy
            self._saved = data

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
        record = unpack_record(self._saved) or Record(len(self.hub.plan.zones))
        record.faults |= BROKEN_FAULT
        latched = record.pack()
        try:
            self._save(RECORD, latched)
        except Exception:
            pass  # the hub that starts now holds the fault, and saves it as soon as it can
        self._start(latched, CRASH, self.hub.log)
