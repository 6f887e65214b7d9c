"""How long a hub's steps take, and other libraries' for scale."""

import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import simpy
from apscheduler.triggers.cron import CronTrigger
from croniter import croniter

from evenclay.controller.civil import day_of
from evenclay.controller.limits import DAY_S
from evenclay.controller.plan import Plan
from evenclay.controller.ports import OPEN, PLAN, Seen
from evenclay.controller.runner import Runner

if TYPE_CHECKING:
    from evenclay.controller.ports import Asked

EVENTS = 20_000
WARM_DAYS = 60
WARM_FROM_S = DAY_S * day_of(2022, 7, 1)


@dataclass
class Turns:
    """How long turns took, in seconds: the hub's step alone, and the whole turn (`_turn_s`).

    opening: turns that opened a valve. poll: idle polls. look: looks at a meter that stood still.
    """

    opening_s: list[float] = field(default_factory=list)
    opening_turn_s: list[float] = field(default_factory=list)
    poll_s: list[float] = field(default_factory=list)
    poll_turn_s: list[float] = field(default_factory=list)
    look_s: list[float] = field(default_factory=list)
    look_turn_s: list[float] = field(default_factory=list)


class IdlePorts:
    """Ports that take hardly any time: without hose or soil, and probes vary a little at random."""

    def __init__(self, plan: Plan) -> None:
        self.valves = len(plan.zones) + len(plan.supplies)
        self.now_s = 0
        self.seen = Seen(len(plan.zones), len(plan.supplies))
        self.seen.rain_um = 0
        self.seen.temp_mc = 20_000
        self.seen.meter_ml = [0] * len(plan.supplies)
        self.copies = {(PLAN, 0): plan.pack()}
        self.draws = 1

    def vary_readings(self) -> None:
        """Give every probe a reading within two parts per thousand of the one before."""
        for zone in range(len(self.seen.soil_vwc_ppt)):
            self.draws = (self.draws * 1103515245 + 12345) & 0x7FFFFFFF
            self.seen.soil_vwc_ppt[zone] = 330 + (self.draws >> 16) % 3

    def up_s(self) -> int:
        return self.now_s

    def wall_s(self) -> int:
        return WARM_FROM_S + self.now_s

    def set_wall_s(self, wall_s: int) -> None:
        raise OSError("the clock is not for setting")

    def look(self) -> Seen:
        return self.seen

    def take_asked(self) -> "list[Asked]":
        return []

    def close(self, valve: int) -> None:
        pass

    def open(self, valve: int, deadline_s: int) -> None:
        pass

    def read(self, slot: int, copy: int) -> bytes:
        return self.copies.get((slot, copy), b"")

    def write(self, slot: int, copy: int, data: bytes) -> None:
        self.copies[slot, copy] = data

    def report(self, event: tuple[int, ...]) -> None:
        pass

    def feed(self) -> None:
        pass


def turns(plan: Plan) -> Turns:
    """Time every turn of a hub over two warm dry months, on ports that take hardly any time."""
    ports = IdlePorts(plan)
    runner = Runner(ports)
    spent_s = 0.0
    given: list[tuple[Any, ...]] = []
    step = runner.hub.step

    def timed(*arguments: Any) -> Any:
        nonlocal spent_s
        begin_s = time.perf_counter()
        commands = step(*arguments)
        spent_s += time.perf_counter() - begin_s
        given.extend(commands)
        return commands

    runner.hub.step = timed  # type: ignore[method-assign, assignment]
    found = Turns()
    while ports.now_s < DAY_S * WARM_DAYS:
        ports.vary_readings()
        spent_s, polls = 0.0, runner.hub.polls
        given.clear()
        begin_s = time.perf_counter()
        wake_up_s = runner.turn()
        turn_s = time.perf_counter() - begin_s
        if any(command[0] == OPEN for command in given):
            found.opening_s.append(spent_s)
            found.opening_turn_s.append(turn_s)
        elif not given and runner.hub.polls > polls:
            found.poll_s.append(spent_s)
            found.poll_turn_s.append(turn_s)
        elif not given and runner.hub.wake_s < runner.hub.due_s:
            found.look_s.append(spent_s)
            found.look_turn_s.append(turn_s)
        ports.now_s = max(wake_up_s, ports.now_s)
    return found


def each_us(work: Callable[[], object]) -> float:
    """Median time of a call, us, of many calls in ten lots."""
    lots = []
    for _ in range(10):
        begin_s = time.perf_counter()
        for _ in range(EVENTS // 10):
            work()
        lots.append((time.perf_counter() - begin_s) / (EVENTS // 10))
    return 1e6 * statistics.median(lots)


def simpy_event_us() -> float:
    """A process of SimPy's that waits and wakes, and does nothing."""
    environment = simpy.Environment()

    def process() -> Any:
        while True:
            yield environment.timeout(1)

    environment.process(process())
    return each_us(environment.step)


def croniter_us() -> float:
    """croniter's next fire time."""
    schedule = croniter("*/15 4-8 * 5-9 *", datetime(2022, 5, 1, tzinfo=UTC))
    return each_us(lambda: schedule.get_next(datetime))


def apscheduler_us() -> float:
    """APScheduler's next fire time of a cron trigger."""
    trigger = CronTrigger(minute="*/15", hour="4-8", month="5-9", timezone=UTC)
    last = datetime(2022, 5, 1, tzinfo=UTC)

    def following() -> None:
        nonlocal last
        last = trigger.get_next_fire_time(last, last)

    return each_us(following)
