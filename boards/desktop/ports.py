"""Ports of a desktop, on CPython and on MicroPython's unix build: no valve turns, no pin moves.

Time is the machine's; record and plan are files in one folder; valves are lines on the console. Use
it to watch a hub think, and as the first thing to copy when bringing the core to other hardware.
"""

import time

from evenclay.boards.drivers.store import FileStore
from evenclay.boards.talk import words
from evenclay.controller import TYPE_CHECKING
from evenclay.controller.ports import Seen

if TYPE_CHECKING:
    from collections.abc import Callable

    from evenclay.controller.ports import Asked

# time.time() counts from 1970 or from 2000, whichever the port has chosen.
EPOCH_S = 946684800 if time.gmtime(0)[0] == 1970 else 0


def now_ms() -> int:
    """Milliseconds of a clock that nobody sets."""
    if hasattr(time, "ticks_ms"):  # MicroPython
        return int(time.ticks_ms())
    return time.monotonic_ns() // 1000000


class DesktopPorts:
    """Files in `folder`, and lines for people through `say`."""

    def __init__(
        self, folder: str, zones: int, supplies: int, say: "Callable[[str], None]" = print
    ) -> None:
        self.valves = zones + supplies
        self._store = FileStore(folder)
        self._say = say
        self._start_ms = now_ms()
        self._seen = Seen(zones, supplies)
        self._events: "list[tuple[int, ...]]" = []
        self.asked: "list[Asked]" = []

    def up_s(self) -> int:
        return (now_ms() - self._start_ms) // 1000

    def wall_s(self) -> int:
        return int(time.time()) - EPOCH_S

    def set_wall_s(self, _wall_s: int) -> None:
        raise OSError("a desktop's clock is not the hub's to set")

    def look(self) -> Seen:
        return self._seen  # no sensor: every reading stays None

    def take_asked(self) -> "list[Asked]":
        asked = self.asked
        self.asked = []
        return asked

    def close(self, valve: int) -> None:
        self._say("valve %d: close" % valve)

    def open(self, valve: int, deadline_s: int) -> None:
        self._say("valve %d: open, and close by itself after %d s" % (valve, deadline_s))

    def read(self, slot: int, copy: int) -> bytes:
        return self._store.read(slot, copy)

    def write(self, slot: int, copy: int, data: bytes) -> None:
        self._store.write(slot, copy, data)

    def report(self, event: "tuple[int, ...]") -> None:
        self._events.append(event)

    def feed(self) -> None:
        """A desktop has no watchdog."""

    def heard(self) -> "list[tuple[int, ...]]":
        """Events that were reported since the last call."""
        events = self._events
        self._events = []
        return events


def texts(folder: str) -> "Callable[[int], str]":
    """What the console says: the lines of `words` beside the plan, or else those beside the code.

    A plan does not tell the property's units; without `words` the hub says that it speaks metric.
    """
    try:
        with open(folder + "/words", "rb"):
            return words.file_text(folder + "/words")
    except OSError:
        print("%s/words: found none, so this hub speaks of mm and C." % folder, end=" ")
        print("evenclay compile writes it beside the plan.")
        with open(words.__file__.rsplit("/", 1)[0] + "/words.txt") as file:
            lines = file.read().split("\n")
        return lambda number: lines[number] if number < len(lines) else ""
