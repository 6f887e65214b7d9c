"""Ports that raise, once and for ever, from every method, and ports that return every wrong type.

A quiet day of one cycle. What must hold of each:

- after a note nothing is written for a minute, neither note nor record, and in ten minutes there
  are no more than ten moments at which anything is written;
- before a note is written every valve was closed, in the same breath;
- what was raised can be read in `status`, with its type and text;
- no valve is open while the runner rests, and none at the end;
- a fault that passed leaves a hub that waters the next day, unless it is latched: then it says so.

The campaigns marked `slow` begin each fault every ten minutes of the day, not at two moments, as
long as a sound hub calls the method once more that day.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Any

import pytest

from evenclay.controller.events import ALARM, CRASH, LOCKED, LOST_CLOCK, OPENED, REFUSED, TROUBLE
from evenclay.controller.faults import _BROKEN_FAULT
from evenclay.controller.plan import PlanError
from evenclay.controller.ports import ASK_CLEAR, NOTE, PLAN, Seen
from evenclay.controller.runner import Restart, Runner
from evenclay.sim.house.devices import PORT_CALLS
from tests.core import Bench, plan, row, wall
from tests.status import status

slow = pytest.mark.slow

HOUR = 3600
START_S = wall(2026, 6, 1, 6)  # an hour past midnight in the plan's zone
CYCLE_S = 4 * HOUR  # uptime of the day's one cycle
DAY_S = 86400
FLOW_ML_S = 50
# Every ten minutes of the first twenty hours, an odd second later each time.
ALL_DAY = range(0, 20 * HOUR, 601)
# Two moments at which a fault begins: the first opening, and a run under way.
BEGINS_S = (CYCLE_S, CYCLE_S + 300)


BOOT_ERRORS = (OSError, PlanError, MemoryError)


class Odd(Exception):
    """Nobody has heard of it."""


ERRORS: tuple[Callable[[], Exception], ...] = (
    lambda: OSError(5, "no such bus"),
    lambda: ValueError("odd value"),
    lambda: Odd("odd thing"),
    lambda: MemoryError("memory allocation failed"),
)


def odd_seen(**fields: object) -> Seen:
    seen = Seen(2, 1)
    seen.rain_um, seen.temp_mc = 0, 15000
    for name, value in fields.items():
        setattr(seen, name, value)
    return seen


# What a method may return instead: every wrong type, and containers of them.
WRONG: tuple[object, ...] = (None, "250", 2.5, b"\xff", (), [None], {"a": 1}, object(), -(10**20))
WRONG_SEEN = tuple(
    odd_seen(**{name: value})
    for name in ("rain_um", "temp_mc", "soil_vwc_ppt", "meter_ml", "battery_mv")
    for value in ("250", (), [], ["250", "250"], {}, object())
)
# Wrong things that change nothing: what a method returns is not looked at, or it says "none".
HARMLESS = {
    "wall_s": (None, -(10**20)),
    "take_asked": (None, ()),
}
NOT_LOOKED_AT = ("set_wall_s", "close", "open", "write", "report", "feed")


def garden() -> Any:
    rows = [row(1, 1, starts_min=(300,), run_s=1200)]
    zone = {"probe": 1, "rest_s": 0}
    return plan(
        2,
        rows,
        supplies=[{"meter": 1, "gap_s": 90}],
        zone=zone,
        battery=1,
        poll_s=1800,
        watch_s=600,
    )


@dataclass
class Spoiled(Bench):
    """A bench one of whose methods goes wrong between two uptimes. Restarts when it is asked to."""

    method: str
    instead: Callable[..., Any]
    from_s: int
    until_s: int
    once: bool = False
    writes_s: list[int] = field(default_factory=list)
    notes_s: list[int] = field(default_factory=list)
    trail: list[str] = field(default_factory=list)
    fired: int = 0
    restarts: int = 0
    called_s: dict[str, int] = field(default_factory=dict)  # when each method was called last
    seen_texts: set[str] = field(default_factory=set)
    meter_ml: int = 0

    def __post_init__(self) -> None:
        self.life_s = 0  # true time; `now_s` is what the board counts since its boot
        super().__init__(garden(), START_S)
        self.seen = odd_seen(soil_vwc_ppt=[320, 320], meter_ml=[0], battery_mv=9000)
        self.spoils = True
        self.boot()
        for name in PORT_CALLS:
            setattr(self, name, self.through(name, getattr(self, name)))

    def through(self, name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def call(*arguments: Any) -> Any:
            self.trail.append(f"{name} {arguments[0]}" if arguments else name)
            del self.trail[:-40]
            self.called_s[name] = self.life_s
            if name == "write":
                self.writes_s.append(self.life_s)
                if arguments[0] == NOTE:
                    self.notes_s.append(self.life_s)
                    self.check_closed()
            due = self.from_s <= self.life_s < self.until_s and not (self.once and self.fired)
            if name == self.method and due:
                self.fired += 1
                return self.instead(*arguments)
            return real(*arguments)

        return call

    def check_closed(self) -> None:
        """Nothing but looks at the clocks came between the closes of all valves and a note."""
        if not self.runner.trouble.count:
            return  # the owner cleared it
        before = [one for one in self.trail[:-1] if one not in ("up_s", "wall_s")]
        closes = [f"close {valve}" for valve in range(self.valves)]
        assert before[-self.valves :] == closes, before[-8:]

    def live(self, until_s: int) -> None:
        """Take turns as they are asked for, up to a true time."""
        while self.life_s < until_s:
            try:
                if self.runner is None:
                    self.restart()
                wake_s = self.runner.turn()
            except Restart:
                self.look_at_status()
                self.runner = None
                continue
            except BOOT_ERRORS:
                assert self.runner is None, "an exception came out of a turn"
                self.life_s += 60  # a board waits before it tries again
                continue
            if self.runner.rest_up_s and self.method != "close":
                assert not self.open_since, "a valve is open while the runner rests"
            if self.fired:
                self.look_at_status()
            assert isinstance(wake_s, int)
            # Who gives wakes that are past is asked again soon, as a board's main loop does.
            step_s = min(max(wake_s - self.now_s, 1 if wake_s >= self.now_s else 30), HOUR)
            self.meter_ml += len(self.open_since) * step_s * FLOW_ML_S
            self.seen.meter_ml[0] = self.meter_ml
            self.life_s += step_s
            self.now_s += step_s

    def look_at_status(self) -> None:
        told = status(self.runner, 0)
        self.seen_texts.add(f"{told['exceptions']} {told['port_failed']}")

    def restart(self) -> None:
        """What a board does on `Restart`."""
        self.restarts += 1
        self.trail.clear()
        self.now_s = 0
        self.life_s += 10
        self.offset_s = START_S + self.life_s
        self.runner = Runner(self, CRASH)

    def judge(self, text: str) -> None:
        """What must hold of a day that is over."""
        where = f"{self.method} from {self.from_s}"
        assert self.fired, where
        moments = sorted(set(self.writes_s))
        for note_s in self.notes_s:
            after_s = min((at_s for at_s in moments if at_s > note_s), default=note_s + 60)
            assert after_s - note_s >= 60, f"{where}: written at {note_s} and {after_s}"
        for first_s, last_s in zip(moments, moments[10:], strict=False):
            assert last_s - first_s >= 600, f"{where}: ten from {first_s} to {last_s}"
        for moment_s in moments:
            assert self.writes_s.count(moment_s) <= 4, f"{where}: {moment_s}"
        found = [one for one in self.seen_texts if text in one and one.strip()]
        # A command is refused, and a time that cannot be is a lost clock; both are told.
        told = self.told(REFUSED) or self.told(LOCKED, LOST_CLOCK)
        assert found or (not text and told), f"{where}: {text!r} not in {self.seen_texts}"
        if self.runner is not None and self.runner.trouble.count:
            assert self.told(ALARM, TROUBLE) or self.method == "report", where

    def judge_after(self) -> None:
        """The fault has passed: the garden is watered, or a fault that is latched says why not."""
        opened = len(self.told(OPENED))
        if self.runner is None:
            self.restart()
        latched = self.runner.hub.record.faults
        if latched:
            assert latched == _BROKEN_FAULT
            assert (-1, "broken") in status(self.runner, 0)["alarms"]
            self.asked.append((ASK_CLEAR, -1, 0))
        # Who was away with a valve open counts that as water: it may take the next day's cap.
        self.live(self.life_s + 2 * DAY_S)
        assert len(self.told(OPENED)) >= opened + 2, f"{self.method} from {self.from_s}: dry"
        assert not self.open_since


def day(method: str, instead: Callable[..., Any], from_s: int, once: bool, text: str) -> Spoiled:
    """Live a day with a fault, judge it, and the day after."""
    until_s = DAY_S - HOUR
    bench = Spoiled(method, instead, from_s, until_s, once)
    if method == "set_wall_s":
        bench.asked.append((6, -1, START_S + bench.now_s))
        bench.from_s = 0
    bench.live(until_s)
    bench.judge(text)
    bench.judge_after()
    return bench


def raising(make: Callable[[], Exception]) -> Callable[..., Any]:
    def instead(*_: object) -> None:
        raise make()

    return instead


def returning(value: object) -> Callable[..., Any]:
    return lambda *_: value


@cache
def last_called_s() -> dict[str, int]:
    """When each method is called last in a day with nothing wrong."""
    sound = Spoiled("", raising(Odd), DAY_S, DAY_S)
    sound.live(DAY_S - HOUR)
    assert not sound.fired
    return sound.called_s


def begins_of(method: str, begins_s: Sequence[int]) -> list[int]:
    """Those of the moments after which the method is called: a later fault would never come."""
    if method == "set_wall_s":  # an owner asks for it, see `day`
        return list(begins_s)
    return [from_s for from_s in begins_s if from_s <= last_called_s()[method]]


def raise_all(begins_s: Sequence[int], one_in: int = 1) -> int:
    """Every method raises every error, once and for ever. Returns how many days that were.

    Of the days only one in so many is lived; each error still meets each moment, and both ways.
    """
    days = 0
    for method in PORT_CALLS:
        for place, make in enumerate(ERRORS):
            for at, from_s in enumerate(begins_of(method, begins_s)):
                for once in (True, False):
                    if (place + at + once) % one_in:
                        continue
                    error = make()
                    text = type(error).__name__
                    if not isinstance(error, MemoryError):
                        text += f": {error}"
                    day(method, raising(make), from_s, once, text)
                    days += 1
    return days


def wrong_all(begins_s: Sequence[int]) -> int:
    """Every method returns every wrong type, for ever."""
    days = 0
    for method in PORT_CALLS:
        if method in NOT_LOOKED_AT:
            continue
        wrong = [*WRONG, *WRONG_SEEN] if method == "look" else list(WRONG)
        for value in wrong:
            if value in HARMLESS.get(method, ()):
                continue
            for from_s in begins_of(method, begins_s):
                day(method, returning(value), from_s, False, "")
                days += 1
    return days


def test_every_method_raises_once_and_for_ever() -> None:
    """From two moments of the day: one of them once, the other for ever, by turns."""
    assert raise_all(BEGINS_S, 2) == len(PORT_CALLS) * len(ERRORS) * len(BEGINS_S)


@slow
def test_every_method_raises_once_and_for_ever_from_both_moments() -> None:
    assert raise_all(BEGINS_S) == len(PORT_CALLS) * len(ERRORS) * len(BEGINS_S) * 2


def test_every_method_returns_every_wrong_type() -> None:
    """From one moment of the day."""
    assert wrong_all(BEGINS_S[1:]) >= 50


def test_ports_of_two_zones_under_a_plan_of_four_are_one_error() -> None:
    bench = Bench(garden(), START_S)
    bench.store[PLAN, 0] = plan(4).pack()
    with pytest.raises(PlanError, match="a plan for more than 3 valves"):
        bench.boot()
    assert bench.calls == [("close", valve, 0) for valve in range(3)]


@slow
def test_every_method_raises_from_every_ten_minutes_on() -> None:
    assert raise_all(ALL_DAY) >= 6500


@slow
def test_every_method_returns_every_wrong_type_from_every_ten_minutes_on() -> None:
    assert wrong_all(ALL_DAY) >= 5000
