"""`evenclay watch`: a hub in a simulated house that lives as fast as it is told, and answers."""

import re
import sys
from pathlib import Path

import pytest

from evenclay.controller.civil import day_of
from evenclay.sim.house.site import Sky
from evenclay.sim.replay.life import Policy, begin
from evenclay.tools.board.watch import Watch
from tests.grounds import even_ground
from tests.houses import UTC, make_house, row, still_weather

DAYS = 5
START_S = day_of(2026, 7, 1) * 86400


class Room:
    """A watched house whose clock stands still until it is moved."""

    def __init__(self, speed: float = 600.0, names: tuple[str, ...] = ("metric", "tap")) -> None:
        self.now_s = 0.0
        self.said: list[str] = []
        rows = [row(cycles=1, start_min=360, length_min=240)]
        house = make_house(zones=2, hub={**UTC, "frost": 0, "battery": 0}, rows=rows)
        sky = Sky(still_weather(DAYS), START_S)
        ground = even_ground(house, still_weather(DAYS), START_S)
        self.life = begin(Policy("watch", house.plan, None), ground, sky, 1)
        self.life.run(START_S + 1)
        end_s = START_S + 86400 * DAYS
        self.watch = Watch(self.life, end_s, names, speed, lambda: self.now_s, self.said.append)
        self.watch.go_on()

    def ask(self, line: str) -> list[str]:
        before = len(self.said)
        self.watch.typed(line)
        return self.said[before:]


def test_time_passes_as_fast_as_it_is_told() -> None:
    for speed in (1.0, 600.0):
        room = Room(speed)
        room.now_s = 60.0
        room.watch.go_on()
        assert room.life.devices.now_s == START_S + 1 + int(60 * speed)


def test_the_house_lives_and_tells() -> None:
    room = Room()
    assert room.said == ["00:00 started: power was off", "The light: all is well"]
    assert "z0: next 06:00, 15 min; today given 0 s" in room.ask("status")
    room.now_s = 36.0 + 1.0  # ten minutes after six
    room.watch.go_on()
    assert room.said[-1] == "06:00 z0: open for 15 min, as planned"
    assert room.ask("")[0].startswith("06:10, open: z0, air 20.0 C, rain in a day 0.0 mm")
    assert room.ask("b") == [
        "06:10 z1: not watered: you asked for it",
        "06:10 you asked: stop",
        "06:10 z0: shut after 10 min: you asked for it",
    ]
    assert room.ask("B")[-1] == "The light: holding back"
    assert room.ask("release")[-1] == "The light: all is well"
    assert room.ask("wait 2 weeks")[0].startswith("I understand it like this")
    waited = room.ask("wait 2 days")  # to ten past six: the last zone's turn is still to come
    assert len([line for line in waited if "open for 15 min" in line]) == 3
    room.ask("quit")
    assert room.watch.ended


def test_units_and_spigots_are_the_propertys() -> None:
    room = Room(names=("us", "tap"))
    assert "air 68.0 F, rain in a day 0.00 inch" in room.ask("")[0]


def test_it_ends_with_the_weather() -> None:
    room = Room()
    assert room.ask("wait 300 days")[-1] == "The weather ends here."
    assert room.watch.ended


def test_a_watched_life_is_the_same_as_one_that_nobody_asks() -> None:
    plain, asked = Room(), Room()
    plain.ask("wait 3 days")
    for _ in range(72):
        for line in ("status", "why z0", "log 64", "alarms", "clock", "help", ""):
            asked.ask(line)
        asked.ask("wait 1 h")
    assert [one.event for one in plain.life.devices.heard] == [
        one.event for one in asked.life.devices.heard
    ]


@pytest.mark.skipif(sys.platform == "win32", reason="found no terminals of this kind on Windows")
def test_at_a_terminal(tmp_path: Path) -> None:
    """A year passes at once; what a minute here would bring is never waited for."""
    import pexpect

    root = Path(__file__).parents[2]
    demo = root / "sim" / "demo" / "property.toml"
    command = ["-m", "evenclay.tools.cli", "watch", str(demo), "--from", "2022-12-30"]
    child = pexpect.spawn(sys.executable, command, timeout=None, encoding="utf-8")
    child.setecho(False)
    child.expect("The weather is invented")
    child.expect("Type help")
    child.sendline("status")
    child.expect(r"Now: \w+ 30 Dec 2022.*No alarm stands\.")
    assert all(len(line) <= 80 for line in child.after.splitlines())
    assert re.search("west: not now, closed season", child.after)
    child.sendline("wait 3 days")
    child.expect(r"The weather ends here\.")
    child.expect(pexpect.EOF)
    child.close()
    assert child.exitstatus == 0
