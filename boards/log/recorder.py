"""Writes down what a hub's core is told, so that a desktop can run the same core on it again.

A `Recorder` stands between a runner and its ports. It hands every call on, and keeps what the hub
learned by it: both clocks, readings where they differ, what the owner asked, and which commands
failed. Beside it stands what the hub reported. Turns in which the hub had nothing to do and learned
nothing new are left out. No fault of the log's own reaches the hub.

The entries of the ring hold items, one behind the other, made of values as `packed.py` keeps them:

    the first entry of a file   a tuple: CRC of the plan, version of the core; in some files record,
                                note and a state follow, from which a re-run can begin
    boot   byte 0x80; a tuple: why, uptime, whether a record was lost, note, record, what was told
    gap    byte 0x81: what was told since the item before is not all known
    turn   byte with bits of what stands in it; seconds since the item before; and then of these
           what there is: how far the wall clock moved against uptime (False: it is not trusted);
           readings that changed, each by its place and how much more it is (None: nothing was
           measured); what was asked; which commands failed, counted from 1 (0: setting the clock);
           what was told, events without their stamps where these are the turn's; a crash

Differences begin anew with each boot, each gap and each state.
"""

from evenclay.boards.log.packed import put, put_state
from evenclay.boards.log.ring import Ring
from evenclay.controller import const
from evenclay.controller.events import POWER
from evenclay.controller.ports import NOTE, Seen
from evenclay.controller.runner import Runner

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from typing import Any

    from evenclay.controller.ports import Asked, Ports

_BOOT = const(0x80)
_GAP = const(0x81)
_NONE = const(-1)
_JITTER_S = const(1)  # a clock that moves no more is not written down for that alone
_LOOKS_MAX = const(20)  # at a meter that runs with its supply shut, between two other turns
_READINGS = const(17)  # five of the hub, then one a zone, then one a supply
_ZONES_MAX = const(8)
_SUPPLIES_MAX = const(4)
_BATCH_BYTES = const(200)  # so much may wait in memory while no command is carried out
_SPARE_BYTES = const(1024)  # a file that takes less is followed by another at the next occasion


class Recorder:
    """The ports of a hub, and a log in `folder` + "/log" of what passes through them.

    core: the version of the core, 32 bits
    failed: what last kept something out of the log; None if nothing did
    """

    failed: "Exception | None" = None
    _gap: bool  # what follows cannot be run again, until a state is written
    _loses: bool  # something was lost just now
    _looks: int  # at a meter that runs with its supply shut, since another turn
    # Of the turn under way.
    _turns: bool
    _due_s: int
    _calls = 1  # commands so far
    _failed: "list[int]"
    _told: "list[tuple[int, ...]]"
    _seen: "Seen | None"
    _asked: "list[Asked] | None"
    _up_s: "int | None"
    _wall_s: "int | None"
    _written: bytes
    _crash: "Any"
    # As last kept: the readings, how far the wall clock leads uptime (None: it is not trusted), the
    # uptime, the count of boots.
    _values: "list[Any]"
    _skew_s: "int | None"
    _last_s: int
    _boots: int
    _ml: "list[int | None]"  # what each meter showed last

    def __init__(self, folder: str, core: int, most_bytes: int = 65536) -> None:
        self._folder = folder + "/log"
        self._core = core
        self._most_bytes = most_bytes
        self._batch = bytearray()  # items that are not written yet
        self._forget()
        self._end_turn()

    def boot(self, ports: "Ports", why: int = POWER) -> Runner:
        """Boot a hub on ports, as `Runner(ports, why)` does, and write down what it is told."""
        self._ports = ports
        self.valves = ports.valves
        self._runner: "Any" = None
        runner = self._runner = Runner(self, why)
        try:
            self._put_boot(why)
        except Exception as error:
            self._lose(error)
        self._end_turn()
        return runner

    def flush(self) -> None:
        """Write what is still in memory: the board is about to restart."""
        if self._crash:
            self._finish()
        try:
            self._write()
        except Exception as error:
            self._lose(error)

    # The ports.

    def up_s(self) -> int:
        up_s = self._ports.up_s()
        if not self._calls:
            self._up_s = up_s
        return up_s

    def wall_s(self) -> "int | None":
        wall_s = self._ports.wall_s()
        if not self._calls:
            self._wall_s = wall_s
        return wall_s

    def set_wall_s(self, wall_s: int) -> None:
        self._failed.append(0)
        self._ports.set_wall_s(wall_s)
        self._failed.pop()

    def look(self) -> "Seen":
        if self._turns or self._calls:  # nobody fed the watchdog since
            self._finish()
        self._turns = True
        self.valves = self._ports.valves
        self._due_s = self._runner.hub.due_s
        seen = self._seen = self._ports.look()
        return seen

    def take_asked(self) -> "list[Asked]":
        asked = self._ports.take_asked()
        if asked:
            self._asked = list(asked)
        return asked

    def close(self, valve: int) -> None:
        self._call()
        self._ports.close(valve)
        self._failed.pop()

    def open(self, valve: int, deadline_s: int) -> None:
        self._call()
        self._ports.open(valve, deadline_s)
        self._failed.pop()

    def report(self, event: "tuple[int, ...]") -> None:
        self._call()
        if not self._runner:  # at boot nobody asks whether it was shown
            self._told.append(event)
        self._ports.report(event)
        self._failed.pop()
        if self._runner:
            self._told.append(event)
            if self._crash:
                self._crash[1] = self._runner._up_s

    def read(self, slot: int, copy: int) -> bytes:
        data = self._ports.read(slot, copy)
        if self._written and data == self._written:  # it has not failed after all
            self._written = b""
            self._failed.pop()
        return data

    def write(self, slot: int, copy: int, data: bytes) -> None:
        if slot != NOTE:
            self._call()  # and has failed until it is read back
            self._written = data
        elif data and self._runner:
            # A turn, or the board's loop, has ended by an exception, and every valve was told to
            # shut: uptime, the same as it is when that is reported, commands so far (-1: there
            # was no step).
            calls = self._calls if self._turns and self._up_s is not None else _NONE
            up_s = self._runner._up_s
            self._crash = [up_s, up_s, calls, data]
        self._ports.write(slot, copy, data)

    def feed(self) -> None:
        self._ports.feed()
        self._finish()

    # A turn.

    def _call(self) -> None:
        """A command is carried out now; it has failed until it went well."""
        self._calls += 1
        self._failed.append(self._calls)

    def _end_turn(self) -> None:
        self._turns = False
        if self._calls or self._failed:  # else this leaves nothing for the collector
            self._calls = 0
            self._failed = []
            self._told = []
        self._seen = self._asked = self._up_s = self._wall_s = self._crash = None
        self._written = b""

    def _finish(self) -> None:
        """A turn is over: keep what it told the hub, if that was anything."""
        if self._turns or self._crash:
            try:
                self._keep()
            except Exception as error:
                self._lose(error)
        self._end_turn()

    def _keep(self) -> None:
        due = self._is_due()
        ran = False  # a meter ran since the last look while its supply was shut
        if self._seen:
            found_ml = self._seen.meter_ml
            for supply in range(len(found_ml)):
                if found_ml[supply] != self._ml[supply]:
                    self._ml[supply] = found_ml[supply]
                    ran = ran or self._runner.hub.guard.open_zone(supply) == _NONE
        if ran and not due:
            self._looks += 1
            if self._looks > _LOOKS_MAX and not self._gap:
                self._put_gap()
        if due or (ran and not self._gap):
            self._put_turn()
            if self._calls or self._asked or self._crash or len(self._batch) > _BATCH_BYTES:
                self._write()
        if due:
            self._see_file()
            self._looks = 0

    def _is_due(self) -> bool:
        """Whether the hub had something to do in this turn, or learned something of its clock."""
        up_s = self._up_s
        if self._crash or self._asked or self._calls or up_s is None or up_s >= self._due_s:
            return True
        wall_s, skew_s = self._wall_s, self._skew_s
        if wall_s is None or skew_s is None:
            return wall_s != skew_s  # both are None, or this is news
        jumped: bool = abs(wall_s - up_s - skew_s) > _JITTER_S
        return jumped

    # What is written.

    def _lose(self, error: Exception) -> None:
        """Something of the log failed: what was not written yet is lost. The hub goes on."""
        self._loses = True
        self.failed = error

    def _forget(self) -> None:
        """Differences begin anew."""
        self._values = [None] * _READINGS
        self._skew_s = None
        self._last_s = self._boots = 0

    def _put_gap(self) -> None:
        self._gap = True
        self._batch.append(_GAP)
        self._forget()

    def _put_boot(self, why: int) -> None:
        """A hub has booted: all begins anew with the record that it found."""
        self._ml = [None] * _SUPPLIES_MAX
        self._gap = self._loses = False
        self._looks = 0
        self._forget()
        self._batch = bytearray((_BOOT,))
        runner = self._runner
        saved = runner._saved or b""
        lost = not saved and runner.hub.record.faults != 0
        put(self._batch, (why, runner._up_s, lost, runner.trouble.pack(), saved, self._told))
        head = self._head()
        self._ring = Ring(self._folder, self._most_bytes)
        if self._ring.resume()[: len(head)] != head:
            self._ring.begin(head)

    def _put_turn(self) -> None:
        if self._loses:
            self._loses = False
            self._batch = bytearray()
            self._put_gap()
        crash = self._crash
        moved: "Any" = None
        seen = asked = None
        start_s = self._last_s
        up_s = self._up_s
        if up_s is not None and (not crash or crash[2] != _NONE):
            self._last_s = up_s
            before_s = self._skew_s
            self._skew_s = None if self._wall_s is None else self._wall_s - up_s
            if self._skew_s is None:
                moved = None if before_s is None else False
            elif self._skew_s != before_s:
                moved = self._skew_s - (before_s or 0)
            seen = self._changes()
            asked = self._asked
        told = list(map(self._stamped, self._told))
        bits = 0
        body = bytearray()
        put(body, self._last_s - start_s)
        for place, part in enumerate((moved, seen, asked, self._failed, told, crash)):
            if part or (part is not None and not place):
                bits |= 1 << place
                put(body, part)
        self._batch.append(bits)
        self._batch += body

    def _changes(self) -> "list[int | None]":
        """The readings that are not those kept before: the place of each, and how much more."""
        seen = self._seen or Seen(_ZONES_MAX, _SUPPLIES_MAX)  # where nothing was measured
        found: "list[Any]" = [seen.rain_um, seen.rain_wet, seen.temp_mc, seen.battery_mv]
        found.append(getattr(seen, "power_fails", None))
        found += seen.soil_vwc_ppt + [None] * (_ZONES_MAX - len(seen.soil_vwc_ppt)) + seen.meter_ml
        changes: "list[int | None]" = []
        for place, value in enumerate(found):
            before = self._values[place]
            if value != before:
                changes += (place, None if value is None else value - (before or 0))
        self._values = found + [None] * _SUPPLIES_MAX
        return changes

    def _stamped(self, event: "tuple[int, ...]") -> "tuple[int, ...]":
        """An event, without its stamps where they are the turn's."""
        wall_s = _NONE if self._skew_s is None else self._last_s + self._skew_s
        if event[5:] == (self._boots, self._last_s, wall_s):
            return event[:5]
        self._boots = event[5]
        return event

    # The files.

    def _head(self) -> bytearray:
        """What the first entry of each file begins with."""
        head = bytearray()
        put(head, (self._runner.hub.plan.crc, self._core))
        return head

    def _write(self) -> None:
        """Write the items in memory as one entry."""
        batch = self._batch
        if batch:
            if len(batch) > self._ring.room:
                self._ring.begin(self._head())
            self._batch = bytearray()
            self._ring.add(batch)

    def _see_file(self) -> None:
        """Begin a file with the hub's state, if it is time and no valve is open.

        It is time when the newest file is almost full, and when there is a gap to end.
        """
        full = self._ring.room < _SPARE_BYTES
        if not full and (not self._gap or self._looks > _LOOKS_MAX):
            return
        hub = self._runner.hub
        if hub.guard.open_zones or hub.runs.busy() or self._crash or self._loses:
            return
        self._write()
        body = self._head()
        put(body, self._runner._saved)
        put(body, self._runner.trouble.pack())
        put_state(body, hub)
        self._ring.begin(body)
        self._forget()
        self._gap = False
