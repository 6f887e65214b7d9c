"""The one loop that boards and the simulator share: carries out what the hub says, and tells it how
that went.

Where a step raises, every valve is closed first. Then the cause is kept in the note, a hub is
started anew from the record, and the runner rests: until that is over it takes no step. It never
sleeps, the caller does.
"""

from . import const, events, guard, hub, journal, limits
from .plan import PlanError, unpack
from .ports import ASK_CLOCK, CLOSE, NOTE, OPEN, PLAN, RECORD, REPORT, SAVE, Seen

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from typing import Any

    from .events import Log
    from .journal import Record
    from .plan import Plan
    from .ports import Asked, Command, Ports

_NONE = const(-1)
_FAR = const(0x3FFFFFFF)  # an uptime no hub reaches: 34 years
_STEPS_MAX = const(64)  # steps one turn of the runner takes before it is no progress
_READ_TRIES = const(3)  # of a copy: a bus that missed once answers the next time
_LATCH_TIMES = const(5)  # the same text so often in a day latches
_CALLS = ("close", "write", "open", "report")  # the port's call of each command


class Restart(Exception):
    """Memory ran out: every valve is shut, and the board is to be restarted."""


class Runner:
    """Boots a hub on a board's ports, and takes its turns.

    trouble: the exceptions that ended turns, until the owner clears them
    port_failed: the last exception of a port that the hub could do without; "" if there was none
    rest_up_s: uptime until which no step is taken after an exception; 0: steps are taken
    """

    port_failed = ""
    rest_up_s = 0
    _up_s = 0  # as last known
    _try_s: int  # between two tries to close what could not be closed
    _try_up_s: int

    def __init__(self, ports: "Ports", why: int = events.POWER) -> None:
        """Close every valve, then load plan and record.

        `why`: the reason of the boot; after CRASH, exceptions in the note are rested from first.

        Raises:
            PlanError: there is no good plan, or the ports have fewer valves than it needs.
            OSError: the plan cannot be read.
        """
        self._ports = ports
        self._unshut: "list[int]" = []  # valves that did not close after an exception
        self.close_all()
        self.trouble = trouble = journal.Trouble()
        copies = (self._read(RECORD, 0), self._read(RECORD, 1))
        saved = journal.newest(copies)
        self._copy = [1 if saved is copies[1] else 0, 0]  # the one in force of each slot
        self._saved = saved
        trouble.load(self._read(NOTE, 0) or b"")
        noted = trouble.count
        record = journal.unpack_record(saved)
        plan = self._plan(record)
        if why == events.POWER and record and record.plan_crc != plan.crc:
            why = events.PLAN
        self._start(plan, why, None)
        if journal.lost(copies):
            self._warn(events.STORE, RECORD, True)
        if trouble.count > noted:
            self._try("write", self._keep)
        if why == events.CRASH and trouble.count:
            self.rest_up_s = self._uptime() + trouble.rest_s()

    def turn(self) -> int:
        """Step the hub until nothing is left to do. Returns the uptime of its next wake.

        Raises:
            Restart: memory ran out, for the first time in a day, and the note says so.
        """
        if self.rest_up_s and not self._rested():
            return self._wake()
        ports = self._ports
        try:
            try:  # not by `_try`, here and below: an idle turn leaves nothing for the collector
                seen = ports.look()
                seen.done = 0  # what is no `Seen` raises
            except Exception as error:
                self._heard("look", error)
                seen = Seen(limits.ZONES_MAX, limits.SUPPLIES_MAX)
            try:
                asked = ports.take_asked() or ()
            except Exception as error:
                self._heard("take_asked", error)
                asked = ()
            if asked:
                asked = list(asked)
                self._see_clock(asked)
            up_s = ports.up_s()  # a turn is one moment, however long its commands take
            if type(up_s) is not int or not self._up_s <= up_s < _FAR:
                raise ValueError("up_s is %r" % (up_s,))  # by such a clock no run would end
            self._up_s = up_s
            try:
                wall_s = ports.wall_s()
            except Exception as error:
                self._heard("wall_s", error)
                wall_s = None
            for _ in range(_STEPS_MAX):
                commands = self.hub.step(up_s, wall_s, seen, asked)
                if commands:
                    asked = []
                    seen.done = self._carry_out(commands)
                if not commands or commands[0][0] == REPORT:
                    if self.trouble.count and (_NONE, events.TROUBLE) not in self.hub.faults.alarms:
                        self.trouble = journal.Trouble()  # the owner has cleared its alarm
                        self.port_failed = ""
                        self._try("write", self._keep)
                    ports.feed()
                    return self.hub.wake_s
            raise guard.Broken("no progress")
        except Exception as error:
            return self.failed(error)

    def failed(self, error: Exception) -> int:
        """Something was raised that nobody copes with, by a step or by a board's own main loop.

        Closes every valve, keeps the cause, starts a hub anew, and rests. Returns the next wake.

        Raises:
            Restart: memory ran out, for the first time in a day, and the note says so.
        """
        if self.rest_up_s:
            self._heard("board", error)  # every valve is shut, or tried again, as it is
            return self._wake()
        self._unshut = self.close_all()
        self.rest_up_s = 1  # from here on nothing more is raised
        up_s = self._uptime()
        self._try_s = 1
        self._try_up_s = up_s + 1
        trouble = self.trouble
        trouble.add(error, self._try("wall_s", self._ports.wall_s))
        self.rest_up_s = up_s + trouble.rest_s()
        kept = self._try("write", self._keep)
        if isinstance(error, MemoryError) and trouble.same == 1 and kept:
            raise Restart(trouble.text)
        before = self.hub
        self._start(before.plan, events.CRASH, before.faults.log)
        after = self.hub
        if not self._unshut:  # what was open got no water while it rests
            after.shut_up_s = up_s if before.shut_up_s == _NONE else before.shut_up_s
        latches = isinstance(error, guard.Broken) or trouble.same >= _LATCH_TIMES
        if latches and (_NONE, events.BROKEN) not in after.faults.alarms:
            self._warn(events.BROKEN, 0, True)
            self._try("write", self._save, RECORD, after.record.pack())  # or the hub does later
        self._feed()
        return self._wake()

    def close_all(self) -> "list[int]":
        """Close every valve, whatever the hub thinks of it. Returns those that would not close."""
        return self._close(range(self._ports.valves))

    # While it rests.

    def _rested(self) -> bool:
        """Try again to close what did not; see whether the rest is over."""
        up_s = self._uptime()
        if self._unshut and up_s >= self._try_up_s:
            self._unshut = self._close(self._unshut)
            self._try_s *= 2
            self._try_up_s = up_s + self._try_s
        if up_s >= self.rest_up_s:
            self.rest_up_s = 0
            return True
        self._feed()
        return False

    def _wake(self) -> int:
        return min(self._try_up_s, self.rest_up_s) if self._unshut else self.rest_up_s

    def _feed(self) -> None:
        """Feed the watchdog if every valve was closed: what we cannot, a restart may."""
        if not self._unshut:
            self._try("feed", self._ports.feed)

    def _uptime(self) -> int:
        """Seconds since boot. Where nobody knows, the caller has waited as it was told."""
        up_s = self._try("up_s", self._ports.up_s)
        if type(up_s) is not int or not 0 <= up_s < _FAR:
            up_s = max(self._up_s, self.rest_up_s, self.hub.wake_s)
        self._up_s = up_s
        return up_s

    # What it keeps and says.

    def _keep(self) -> bool:
        """Write the note. Returns True."""
        self._ports.write(NOTE, 0, self.trouble.pack())
        return True

    def _try(self, call: str, function: "Callable[..., Any]", *arguments: object) -> "Any":
        """Call a port. Returns what it returns, or None if it raises: the hub copes with that."""
        try:
            return function(*arguments)
        except Exception as error:
            self._heard(call, error)
        return None

    def _heard(self, call: str, error: Exception) -> None:
        """Remember what a port raised that the hub copes with. It cannot do without memory."""
        if isinstance(error, MemoryError) and not self.rest_up_s:
            raise error
        self.port_failed = "%s: %s" % (call, journal.shown_error(error))

    def _warn(self, why: int, value: int, latched: bool) -> None:
        """Raise an alarm, and report it at once: the hub may raise before it comes to that."""
        self._carry_out(self.hub.faults.warn(self._uptime(), why, value, latched))

    # How it starts.

    def _start(self, plan: "Plan", why: int, log: "Log | None") -> None:
        """Start a hub from the record; alarms that stand go on, and are not told each time."""
        self.hub = hub.Hub(plan, self._saved, why, log)
        count = self.trouble.count
        if count > 1 and log is not None:
            self.hub.faults.alarms.append((_NONE, events.TROUBLE))
        elif count:
            self._warn(events.TROUBLE, count, False)

    def _plan(self, record: "Record | None") -> "Plan":
        """Return the plan that the record was made under, or else the first good one.

        One that asks for more valves than there are is none. Where a copy is not good and the
        record's plan is not found, that is told as trouble.
        """
        found: "Plan | None" = None
        bad: "PlanError | None" = None
        unread = False
        for copy in (1, 0):
            if found is None or record is None or found.crc != record.plan_crc:
                data = self._read(PLAN, copy)
                unread = unread or data is None
                try:
                    plan = unpack(data or b"")
                    valves = self._ports.valves
                    if len(plan.zones) + len(plan.supplies) > valves:
                        raise PlanError("a plan for more than %d valves" % valves)
                    found = plan
                    self._copy[PLAN] = copy
                except PlanError as error:
                    if data != b"":
                        bad = error
        if found is None:
            if unread:
                raise OSError("the plan cannot be read")
            raise bad or PlanError("no good plan stored")
        if bad and record and found.crc != record.plan_crc:
            self.trouble.add(PlanError("the plan is lost: an older one is used"), None)
        return found

    # What a turn does.

    def _see_clock(self, asked: "list[Asked]") -> None:
        """Set the clock if that is asked."""
        for place, one in enumerate(asked[: limits.ASKED_MAX]):
            if isinstance(one, tuple) and len(one) == 3 and one[0] == ASK_CLOCK:
                value = one[2]
                if type(value) is int and 0 < value < limits.WALL_MAX:
                    try:
                        self._ports.set_wall_s(value)
                    except Exception as error:
                        self._heard("set_wall_s", error)
                        asked[place] = (ASK_CLOCK, one[1], None)  # what was not done is refused

    def _carry_out(self, commands: "list[Command]") -> int:
        """Carry commands out in order. Returns how many were, before the first that failed."""
        ports = self._ports
        done = 0
        what = REPORT
        renewed = None
        try:
            for command in commands:
                what = command[0]
                if what == CLOSE:
                    ports.close(command[1])
                elif what == SAVE:
                    self._save(command[1], command[2])
                    if command[1] == PLAN:
                        renewed = command[2]
                elif what == OPEN:
                    ports.open(command[1], command[2])
                else:
                    ports.report(command[1])
                done += 1
            if renewed:  # plan and record are written: a hub starts from them
                self._copy[PLAN] = 1 - self._copy[PLAN]
                self._start(unpack(renewed), events.PLAN, self.hub.faults.log)
        except Exception as error:
            self._heard(_CALLS[what], error)  # the hub is told how far it came
        return done

    def _save(self, slot: int, data: bytes) -> None:
        """Write over the copy that is not the newest good one, and read it back.

        A write that failed is tried on the same copy again: the other one is all there is.
        """
        copy = 1 - self._copy[slot]
        self._ports.write(slot, copy, data)
        found = self._read(slot, copy)
        if found != data:
            raise OSError("not as written" if found is not None else self.port_failed)
        if slot == RECORD:  # of a plan, the one that the record names
            self._copy[RECORD] = copy
            self._saved = data

    def _read(self, slot: int, copy: int) -> "bytes | None":
        """Return the bytes of a copy; None if they cannot be read, try after try."""
        for _ in range(_READ_TRIES):
            data = self._try("read", self._ports.read, slot, copy)
            if isinstance(data, (bytes, bytearray)):
                return bytes(data)
            if data is not None:
                self.port_failed = "read: not bytes"
        return None

    def _close(self, valves: "Iterable[int]") -> "list[int]":
        """Close valves; one that fails stops no other. Returns those that failed."""
        failed = []
        for valve in valves:
            try:
                self._ports.close(valve)
            except Exception as error:
                failed.append(valve)
                self.port_failed = "close: " + journal.shown_error(error)
        return failed
