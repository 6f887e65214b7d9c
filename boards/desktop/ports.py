"""Ports of a desktop, on CPython and on MicroPython's unix build: no valve turns, no pin moves.

Time is the machine's; record and plan are files in one folder; valves and events are lines on the
console; the owner types commands. Use it to watch a hub think, and as the first thing to copy when
bringing the core to other hardware.
"""

import time

from evenclay.boards.console import HELP, parse, shown
from evenclay.boards.drivers.store import FileStore
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
        self._asked: "list[Asked]" = []

    def up_s(self) -> int:
        return (now_ms() - self._start_ms) // 1000

    def wall_s(self) -> int:
        return int(time.time()) - EPOCH_S

    def set_wall_s(self, _wall_s: int) -> None:
        raise OSError("a desktop's clock is not the hub's to set")

    def look(self) -> Seen:
        return self._seen  # no sensor: every reading stays None

    def take_asked(self) -> "list[Asked]":
        asked = self._asked
        self._asked = []
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
        self._say(shown(event))

    def feed(self) -> None:
        """A desktop has no watchdog."""

    def ask(self, line: str) -> "str | None":
        """Take one typed line. Returns None, or what is wrong with it."""
        try:
            asked = parse(line, self.wall_s())
        except (ValueError, IndexError, KeyError):
            return "not understood: " + line + "\n" + HELP
        self._asked.append(asked)
        return None
