"""Ports of a desktop, on CPython and on MicroPython's unix build: no valve turns, no pin moves.

Time is the machine's; record and plan are files in one folder; valves and events are lines on the
console; the owner types commands. Use it to watch a hub think, and as the first thing to copy when
bringing the core to other hardware.
"""

import os
import time

from controller._const import TYPE_CHECKING
from controller.events import WHAT, WHY
from controller.ports import (
    ASK_CHECK,
    ASK_CLEAR,
    ASK_HOLD,
    ASK_RUN,
    ASK_RUN_ANYWAY,
    ASK_STOP,
    ASK_TEST,
    DRY,
    FIRM,
    PLAN,
    RECORD,
    WET,
    Seen,
)

if TYPE_CHECKING:
    from typing import Callable

    from controller.ports import Asked

# time.time() counts from 1970 or from 2000, whichever the port has chosen.
EPOCH_S = 946684800 if time.gmtime(0)[0] == 1970 else 0
READINGS = {"dry": DRY, "firm": FIRM, "wet": WET}
HELP = """hold HOURS | check ZONE dry|firm|wet [...] | run ZONE MINUTES [anyway]
stop | clear | test | status | quit"""


class DesktopPorts:
    """Files in `folder`, names of `zones`, and lines for people through `say`."""

    def __init__(
        self, folder: str, zones: int, supplies: int, say: "Callable[[str], None]" = print
    ) -> None:
        self.valves = zones + supplies
        self._folder = folder
        self._say = say
        self._start = time.time()
        self._seen = Seen(zones, supplies)
        self._asked: "list[Asked]" = []

    def up_s(self) -> int:
        return int(time.time() - self._start)

    def wall_s(self) -> "int | None":
        return now_s()

    def set_wall_s(self, wall_s: int) -> None:
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
        try:
            with open(self._path(slot, copy), "rb") as file:
                return file.read()
        except OSError:
            return b""

    def write(self, slot: int, copy: int, data: bytes) -> None:
        with open(self._path(slot, copy), "wb") as file:
            file.write(data)
            file.flush()
        if hasattr(os, "sync"):
            os.sync()

    def report(self, event: "tuple[int, ...]") -> None:
        what, zone, why, value, ml, _, up_s, _ = event
        self._say(
            "%8d s  zone %2d  %-10s %-14s %d %d" % (up_s, zone, WHAT[what], WHY[why], value, ml)
        )

    def feed(self) -> None:
        """A desktop has no watchdog."""

    def ask(self, line: str) -> "str | None":
        """Take one typed line. Returns None, or what is wrong with it."""
        try:
            asked = parse(line, now_s())
        except (ValueError, IndexError, KeyError):
            return "not understood: " + line + "\n" + HELP
        self._asked.append(asked)
        return None

    def _path(self, slot: int, copy: int) -> str:
        name = {RECORD: "record", PLAN: "plan"}[slot]
        return "%s/%s.%d" % (self._folder, name, copy)


def now_s() -> int:
    """UTC seconds since 2000-01-01."""
    return int(time.time()) - EPOCH_S


def parse(line: str, wall_s: int) -> "Asked":
    """Return the owner command in a typed line. Raises ValueError, IndexError or KeyError."""
    words = line.split()
    what = words[0]
    if what == "hold":
        return ASK_HOLD, -1, wall_s + int(words[1]) * 3600
    if what == "check":
        return ASK_CHECK, int(words[1]), tuple([READINGS[word] for word in words[2:]])
    if what == "run":
        anyway = words[3:] == ["anyway"]
        return ASK_RUN_ANYWAY if anyway else ASK_RUN, int(words[1]), int(words[2]) * 60
    return {"stop": ASK_STOP, "clear": ASK_CLEAR, "test": ASK_TEST}[what], -1, 0
