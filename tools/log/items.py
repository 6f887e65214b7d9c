"""What stands in a hub's log: files, boots, gaps, turns; as `boards/log/recorder.py` writes it."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from evenclay.controller.limits import SUPPLIES_MAX, ZONES_MAX
from evenclay.tools.log.frames import FrameError, entries

_BOOT, _GAP = 0x80, 0x81
_MOVED, _SEEN, _ASKED, _FAILED, _TOLD, _CRASHED = (1 << bit for bit in range(6))
_HUB_READINGS = ("rain_um", "rain_wet", "temp_mc", "battery_mv", "power_fails")
STAMPED = 8  # numbers of an event with its stamps
NEVER = -1  # a crash that was in no step
NO_PLAN = -1  # in the place of a plan's CRC: no file of the log began yet
Event = tuple[int, ...]


@dataclass(frozen=True)
class File:
    """A file of the ring begins. state: the hub's, from which it can go on; b"": none is there."""

    number: int
    plan_crc: int
    core: int
    state: bytes = b""


@dataclass(frozen=True)
class Boot:
    """A hub booted.

    why: a code of events. lost: a record had been kept, and no copy was good. note, record: from
    which it began. told: what it reported.
    """

    why: int
    up_s: int
    lost: bool
    note: bytes
    record: bytes
    told: tuple[Event, ...]


@dataclass(frozen=True)
class Gap:
    """What the hub was told from here on is not all known."""


@dataclass(frozen=True)
class Crash:
    """A turn, or the board's loop, ended by an exception, and every valve was told to close.

    late_up_s: uptime when that was reported. calls: how many commands the turn had come to, with
    those that closed every valve; NEVER: it was in no step.
    """

    up_s: int
    late_up_s: int
    calls: int
    note: bytes


@dataclass(frozen=True)
class Turn:
    """What a turn told the hub, and what the hub reported.

    up_s: None: there was no step. seen: readings that changed, by name and, behind a point, zone or
    supply. failed: which commands failed, counted from 1; 0: setting the clock.
    """

    up_s: int | None
    wall_s: int | None
    seen: Mapping[str, int | None] = field(default_factory=dict)
    asked: tuple[tuple[int, int, Any], ...] = ()
    failed: tuple[int, ...] = ()
    told: tuple[Event, ...] = ()
    crash: Crash | None = None


Item = File | Boot | Gap | Turn


class LogError(ValueError):
    """A log that cannot be read; the user is told the reason in one line."""


def items_of(files: Mapping[int, bytes]) -> Iterator[Item]:
    """Every item of a log, oldest first, of the bytes of its files by their numbers.

    What begins with differences from something that is no longer there is left out.

    Raises:
        LogError: a file, or an entry, is of another version.
    """
    reader = Reader()
    before = None
    for number in sorted(files):
        try:
            found, whole = entries(files[number], number)
        except FrameError as error:
            raise LogError(f"file {number} of the log: {error}") from None
        if before != number - 1:
            reader.knows = False
        before = number if whole else None
        if found:
            data = Bytes(found[0])
            plan_crc, core = data.value()
            state = data.rest()
            if state:
                reader.forget()
            yield File(number, plan_crc, core, state)
        for entry in found[1:]:
            yield from reader.read(entry)


class Reader:
    """Reads items; remembers what the next ones are told by their difference from.

    knows: it does remember
    """

    knows = False

    def __init__(self) -> None:
        self.forget()

    def forget(self) -> None:
        """What is told by difference begins anew."""
        self.knows = True
        self._values: dict[int, int | None] = {}
        self._skew_s: int | None = None
        self._up_s = self._boots = 0

    def read(self, entry: bytes) -> Iterator[Item]:
        """The items of an entry. Raises LogError."""
        data = Bytes(entry)
        while data.left():
            kind = data.byte()
            if kind == _BOOT:
                self.forget()
                why, up_s, lost, note, record, told = data.value()
                yield Boot(why, up_s, lost, note, record, tuple(told))
            elif kind == _GAP:
                self.forget()
                yield Gap()
            elif kind > _GAP:
                raise LogError(f"found an item of kind {kind}")
            elif not self.knows:
                return
            else:
                yield self._turn(data, kind)

    def _turn(self, data: "Bytes", bits: int) -> Turn:
        self._up_s += data.value()
        if bits & _MOVED:
            moved = data.value()
            self._skew_s = None if moved is False else (self._skew_s or 0) + moved
        seen = self._seen(data.value()) if bits & _SEEN else {}
        asked = tuple(data.value()) if bits & _ASKED else ()
        failed = tuple(data.value()) if bits & _FAILED else ()
        told = tuple(map(self._event, data.value())) if bits & _TOLD else ()
        crash = Crash(*data.value()) if bits & _CRASHED else None
        up_s = self._up_s if crash is None or crash.calls != NEVER else None
        return Turn(up_s, self._wall_s(), seen, asked, failed, told, crash)

    def _wall_s(self) -> int | None:
        return None if self._skew_s is None else self._up_s + self._skew_s

    def _seen(self, changes: list[int | None]) -> dict[str, int | None]:
        seen: dict[str, int | None] = {}
        for place, more in zip(changes[::2], changes[1::2], strict=True):
            assert place is not None
            value = None if more is None else (self._values.get(place) or 0) + more
            self._values[place] = seen[_reading(place)] = value
        return seen

    def _event(self, event: Event) -> Event:
        if len(event) == STAMPED:
            self._boots = event[5]
            return event
        wall_s = self._wall_s()
        return (*event, self._boots, self._up_s, -1 if wall_s is None else wall_s)


def _reading(place: int) -> str:
    if place < len(_HUB_READINGS):
        return _HUB_READINGS[place]
    zone = place - len(_HUB_READINGS)
    return f"soil_vwc_ppt.{zone}" if zone < ZONES_MAX else f"meter_ml.{zone - ZONES_MAX}"


READINGS = frozenset(map(_reading, range(len(_HUB_READINGS) + ZONES_MAX + SUPPLIES_MAX)))


class Bytes:
    """Numbers and values, one after the other."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._at = 0

    def left(self) -> bool:
        """Whether anything is left."""
        return self._at < len(self._data)

    def take(self, count: int) -> bytes:
        """So many bytes. Raises LogError where fewer are left."""
        self._at += count
        if self._at > len(self._data):
            raise LogError("found an entry that ends too early")
        return self._data[self._at - count : self._at]

    def rest(self) -> bytes:
        """All that is left."""
        return self.take(len(self._data) - self._at)

    def byte(self) -> int:
        return self.take(1)[0]

    def value(self) -> Any:
        """A value of any kind: see `boards/log/packed.py`."""
        code = shift = 0
        more = 128
        while more:
            byte = self.byte()
            code |= (byte & 127) << shift
            shift += 7
            more = byte & 128
        if code & 1:
            return code >> 2 if code & 3 == 1 else -(code + 1 >> 2)
        if code < 6:
            return (None, False, True)[code // 2]
        length, kind = divmod(code - 6, 6)
        if kind == 4:
            return self.take(length)
        found = [self.value() for _ in range(length)]
        return tuple(found) if kind else found
