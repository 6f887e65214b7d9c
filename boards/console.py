"""What an owner types on a serial console, and how events and the hub's state are shown there."""

import select

from evenclay.controller import TYPE_CHECKING, const
from evenclay.controller.civil import day_of, month_days
from evenclay.controller.events import CLOSED_SEASON, FAULT, OK
from evenclay.controller.limits import ASKED_MAX
from evenclay.controller.ports import (
    ASK_CHECK,
    ASK_CLEAR,
    ASK_CLOCK,
    ASK_HOLD,
    ASK_RUN,
    ASK_RUN_ANYWAY,
    ASK_SAMPLE,
    ASK_STOP,
    ASK_TEST,
    DRY,
    FIRM,
    WET,
)
from evenclay.controller.words import WHAT, WHY

if TYPE_CHECKING:
    from typing import IO

    from evenclay.controller.journal import Trouble
    from evenclay.controller.ports import Asked
    from evenclay.controller.runner import Runner

READINGS = {"dry": DRY, "firm": FIRM, "wet": WET}
ACCOUNT = ("demand", "rain", "given", "exchanged", "corrected")
HELP = """hold HOURS | check ZONE dry|firm|wet [...] | sample ZONE 0..4 [...]
run ZONE MINUTES [anyway] | stop | clear [ZONE] | test | clock YYYY-MM-DD HH:MM (UTC) | status"""

_LINE_MOST = const(80)  # no command is longer; more is noise on the line


def parse(line: str, wall_s: "int | None") -> "Asked":
    """Return the owner command in a typed line. Raises ValueError, IndexError or KeyError."""
    words = line.split()
    what = words[0]
    if what == "hold":
        if wall_s is None:
            raise ValueError("set the clock first")
        return ASK_HOLD, -1, wall_s + int(words[1]) * 3600
    if what == "check":
        return ASK_CHECK, int(words[1]), tuple([READINGS[word] for word in words[2:]])
    if what == "sample":
        return ASK_SAMPLE, int(words[1]), tuple([int(word) for word in words[2:]])
    if what == "run":
        anyway = words[3:] == ["anyway"]
        return ASK_RUN_ANYWAY if anyway else ASK_RUN, int(words[1]), int(words[2]) * 60
    if what == "clear":
        return ASK_CLEAR, int(words[1]) if len(words) > 1 else -1, 0
    if what == "clock":
        return ASK_CLOCK, -1, _moment(words[1], words[2])
    return {"stop": ASK_STOP, "test": ASK_TEST}[what], -1, 0


def shown(event: "tuple[int, ...]") -> str:
    """One line for an event."""
    what, zone, why, value, ml, _, up_s, _ = event
    return "%8d s  zone %2d  %-10s %-14s %d %d" % (up_s, zone, WHAT[what], WHY[why], value, ml)


def noted(trouble: "Trouble") -> str:
    """One line for the exceptions in the note; "" if there are none."""
    if not trouble.count:
        return ""
    return "%d in a day, the last: %s" % (trouble.count, trouble.text)


def status(runner: "Runner", up_s: int) -> "dict[str, object]":
    """What a hub does and waits for, in plain numbers and code words."""
    hub = runner.hub
    record = hub.record
    zones = []
    for zone, part in enumerate(hub.plan.zones):
        run = hub.runs.under_way[zone]
        probe = hub.lockouts.probes[zone]
        why = hub.lockouts.why(zone, hub.clock.local_s(up_s), False, 1)
        if record.faults or record.zone_faults[zone]:
            why = FAULT
        elif why == OK and hub.lockouts.locked[CLOSED_SEASON]:
            why = CLOSED_SEASON
        zones.append(
            {
                "name": part.name,
                "open_s": up_s - hub.guard.opened_up_s[zone] if run and run.open else 0,
                "used_s": record.used_s[zone],
                "waiting": record.waiting >> zone & 1,
                "held_back": WHY[why],
                "lacks_um": record.lack_um[zone],
                "target_um": part.target_um,
                "top_lacks_um": record.top_um[zone],
                "factor_ppt": record.factor_ppt[zone],  # 0: no estimate
                "filling": record.filling >> zone & 1,
                "last_day_um": dict(zip(ACCOUNT, hub.estimates.accounts[zone])),
                "soil_vwc_ppt": probe.ppt if probe is not None else -1,
                "flow_ml_min": record.flow_ml_min[zone],
            }
        )
    return {
        "up_s": up_s,
        "wall_s": hub.clock.wall_s(up_s),
        "boots": record.boots,
        "wake_s": runner.rest_up_s or hub.wake_s,
        "alarms": [(zone, WHY[why]) for zone, why in hub.faults.alarms],
        "exceptions": noted(runner.trouble),
        "port_failed": runner.port_failed,
        "zones": zones,
    }


class Console:
    """Lines typed on `stream`, taken a character at a time and never waited for."""

    def __init__(self, stream: "IO[str]") -> None:
        self._stream = stream
        self._poll = select.poll()
        self._poll.register(stream, select.POLLIN)
        self._line = ""
        self._asked: "list[Asked]" = []
        self.status = False  # the owner wants to see the status

    def look(self, wall_s: "int | None") -> None:
        """Take what has been typed since the last look, at most a line."""
        for _ in range(_LINE_MOST):
            if not self._poll.poll(0):
                return
            try:
                char = self._stream.read(1)
            except (OSError, ValueError):  # noise on the line is no text
                self._line = char = ""
            if not char:
                return
            if char in "\r\n":
                line, self._line = self._line, ""
                self._take(line, wall_s)
                return
            self._line = (self._line + char)[-_LINE_MOST:]

    def waiting(self) -> bool:
        """Whether a command waits to be taken."""
        return bool(self._asked)

    def take(self) -> "list[Asked]":
        """Commands since the last call."""
        asked = self._asked
        self._asked = []
        return asked

    def _take(self, line: str, wall_s: "int | None") -> None:
        if not line.strip():
            return
        if line.strip() == "status":
            self.status = True
            return
        try:
            asked = parse(line, wall_s)
        except (ValueError, IndexError, KeyError):
            print("not understood: " + line + "\n" + HELP)
            return
        if len(self._asked) < ASKED_MAX:
            self._asked.append(asked)


def _moment(date: str, clock: str) -> int:
    """UTC seconds since 2000-01-01. Raises ValueError where there is no such moment."""
    year, month, day = [int(part) for part in date.split("-")]
    hour, minute = [int(part) for part in clock.split(":")]
    if not (
        2025 <= year <= 2099
        and 1 <= month <= 12
        and 1 <= day <= month_days(year, month)
        and 0 <= hour <= 23
        and 0 <= minute <= 59
    ):
        raise ValueError("no such moment")
    return day_of(year, month, day) * 86400 + hour * 3600 + minute * 60
