"""A week by the console alone, through a terminal, on a whole board under MicroPython.

The owner of it is invented. Time is the stand-in's: nothing here waits for a clock.
"""

import os
import pty
import re
import select
import subprocess
import tty
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.device.board import HEAP, SOURCES

ROOT = Path(__file__).parents[2]
MINUTE_S, HOUR_S, DAY_S = 60, 3600, 86400
WIDTH = 80
# Field names, numbers of seconds since 2000, Python's own words, and codes of events.
CODE = re.compile(r"_|[{}<>\[\]]|\d{6,}|None|True|False|Error|-1\b")


class Typist:
    """Types on a terminal, lets time pass, and reads what the board says."""

    def __init__(self, micropython: Path, folder: Path) -> None:
        orders, done = folder / "orders", folder / "done"
        os.mkfifo(orders)
        os.mkfifo(done)
        self._terminal, slave = pty.openpty()
        tty.setraw(slave)
        path = f"{SOURCES}:{ROOT}:.frozen:{ROOT / 'tests' / 'device'}"
        self._board = subprocess.Popen(
            [micropython, *HEAP, "-m", "fake_machine.typed_week", orders, done],
            cwd=folder,
            stdin=slave,
            stdout=slave,
            stderr=slave,
            env={**os.environ, "MICROPYPATH": path},
        )
        os.close(slave)
        self._orders = os.open(orders, os.O_WRONLY)
        self._done = os.open(done, os.O_RDONLY)
        self.said: list[str] = []
        self._wait()

    def order(self, order: str) -> None:
        """Have the stand-in do something."""
        os.write(self._orders, f"{order}\n".encode())

    def go(self, seconds: int) -> list[str]:
        """Let time pass. Returns the lines that were said."""
        self.order(f"go {seconds}")
        return self._wait()

    def ask(self, line: str) -> list[str]:
        """Type a line. Returns the answer."""
        os.write(self._terminal, f"{line}\n".encode())
        said = self.go(12)
        assert f"> {line}" in said, said
        return said[said.index(f"> {line}") + 1 :]

    def end(self) -> int:
        """Cut the power. Returns how the board's process ended."""
        os.close(self._orders)
        status = self._board.wait()
        os.close(self._done)
        os.close(self._terminal)
        return status

    def _wait(self) -> list[str]:
        """Read until the time has passed, and all that was said by then."""
        text = b""
        passed = False
        while True:
            ready, _, _ = select.select([self._terminal, self._done], [], [], 0 if passed else None)
            if self._terminal in ready:
                text += os.read(self._terminal, 65536)
            elif self._done in ready:
                passed = os.read(self._done, 16) != b""
                assert passed, text.decode()
            else:
                lines = text.decode("ascii").splitlines()
                self.said += lines
                return lines


@pytest.fixture
def typist(micropython: Path, tmp_path: Path) -> Iterator[Typist]:
    made = Typist(micropython, tmp_path)
    yield made
    assert made.end() == 0


def has(said: list[str], *parts: str) -> None:
    """Each part stands in a line of its own, in this order."""
    left = iter(said)
    for part in parts:
        assert any(part in line for line in left), (part, said)


def test_a_week_by_the_console_alone(typist: Typist) -> None:
    # Tuesday night: out of its box, without a clock.
    has(typist.said, "Type help to see what you may type. I water zone0, zone1")
    has(typist.ask("status"), "Now: no clock", "zone0: not now, clock not set", "battery: 9.00 V")
    has(typist.ask("water the lawn"), "I do not know that. Type help.")
    assert len(typist.ask("help")) == 14
    has(typist.ask("hold 2 days"), "The clock is not set.")
    has(typist.ask("run zone0 1"), "Not done: clock not set", "With anyway")
    has(typist.ask("clock 2026-02-30 04:00"), "I understand it like this", "clock 2026-05-01 06:30")
    has(typist.ask("clock 2026-07-01 04:00"), "Wed 1 Jul 2026, 04:00 here, -5.0 h from UTC")
    has(typist.ask("clock"), "Next cycle: 05:00")
    has(typist.ask("status"), "Now: Wed 1 Jul 2026, 04:0", "zone0: next 05:00, 10 min", "No alarm")
    typist.go(HOUR_S + MINUTE_S)
    has(typist.said, "05:00 zone0: open for 10 min, as planned")
    # Wednesday: what stop stops, and what a hand finds.
    has(typist.ask("status"), "zone0: open, ", "zone1: not now, another valve is open")
    stopped = typist.ask("stop")
    has(stopped, "zone1: not watered: you asked for it", "zone0: shut after ")
    has(typist.ask("stop"), "Nothing was open, and nothing waited.")
    has(typist.ask("check zone0 dry"), "Not done: it was watered")
    has(
        typist.ask("check zone1 dry firm"),
        "Noted. It changes nothing: it fits what was thought of the top",
    )
    has(typist.ask("check zone1 firm wet"), "wetter than thought, by your check")
    has(
        typist.ask("sample zone1 4"),
        "Noted. It changes nothing: it fits, a probe speaks, or eight samples come first",
    )
    has(typist.ask("check"), "Which zone? One of: zone0, zone1")
    has(typist.ask("rain 500 mm"), "I understand it like this", "rain 12 mm")
    has(typist.ask("rain 1.2 inch"), "Done.")
    has(typist.ask("sample zone0 0"), "Not done: after rain the top must drain for a day")
    # Thursday: guests. Nothing for eleven years, but for two days.
    has(typist.ask("hold 4015 days"), "I understand it like this", "up to 90 days")
    has(typist.ask("hold 2 days"), "held back: on hold", "no water until Fri 3 Jul 2026 05:")
    opened = len([line for line in typist.said if "open for" in line])
    typist.go(DAY_S)
    has(
        typist.ask("why zone1"),
        "zone1: not watered: it has enough",
        "Now: not now, on hold",
        "It lacks 0.0",
    )
    has(typist.ask("run zone1 3"), "Not done: on hold", "With anyway")
    has(typist.ask("run zone1 3 anyway"), "zone1: open for 3 min, by hand")
    typist.go(5 * MINUTE_S)
    assert len([line for line in typist.said if "open for" in line]) == opened + 1
    has(typist.ask("release"), "no longer held back: on hold")
    # Friday and Saturday: a tired battery opens nothing, and says so.
    typist.order("battery 4000")
    typist.go(2 * DAY_S)
    has(typist.said, "ALARM, ")
    alarms = typist.ask("alarms")
    has(
        alarms,
        "ALARM, zone0: the valve did not obey",
        "Check the wires of the valve, and the battery",
    )
    has(typist.ask("status"), "needs you", "zone0: not now, a fault, see alarms")
    has(typist.ask("run zone0 5"), "Not done: ")
    typist.order("battery 1700")
    has(typist.ask("clear"), "zone0: no longer: the valve did not obey")
    has(typist.ask("alarms"), "No alarm stands.")
    typist.go(2 * DAY_S)
    # Monday: it waters again.
    assert any("05:00 zone0: open for" in line for line in typist.ask("log"))
    has(typist.ask("status"), "Now: Mon 6 Jul 2026", "No alarm stands.")
    for line in typist.said:
        assert len(line) <= WIDTH, line
        assert not CODE.search(line.removeprefix("> ")) or "UTC" in line, line
