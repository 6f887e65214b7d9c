"""Print the benchmark table: a hub's steps, other libraries' for scale, and whole years.

python -m evenclay.tools.dev.bench

The hub's steps are those of the sources. Years and sweep are measured twice: from the sources, and
with the compiled core where it was built.
"""

import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

import simpy
from apscheduler.triggers.cron import CronTrigger
from croniter import croniter
from rich.console import Console
from rich.table import Table

from evenclay.controller.civil import day_of
from evenclay.controller.events import OPENED
from evenclay.controller.limits import DAY_S
from evenclay.controller.plan import Plan, ZonePart
from evenclay.controller.ports import OPEN, PLAN, Seen
from evenclay.controller.runner import Runner
from evenclay.sim.ground import soil
from evenclay.sim.house.house import House
from evenclay.sim.house.site import HOUR_S, Floats, Ground, dry_of, forcing
from evenclay.sim.judge.policies import policies
from evenclay.sim.replay.replay import Span, live, sky_of
from evenclay.sim.weather.hourly import hourly
from evenclay.sim.weather.record import Weather, read
from evenclay.tools.dev import compiled
from evenclay.tools.plan import sweep as sweeping
from evenclay.tools.plan import workers
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.demand import mean_et0_mm
from evenclay.tools.property.property import load, parse

if TYPE_CHECKING:
    from evenclay.controller.ports import Asked

DEMO = Path(__file__).parents[2] / "sim" / "demo"
YEAR = (date(2022, 1, 1), date(2022, 12, 31))
ZONES = 8
OPENING_MOST_US, POLL_MOST_US = 15.0, 4.0
YEAR_MOST_MS, WIDE_YEAR_MOST_MS, YEAR_AIM_MS = 200.0, 250.0, 60.0
YEARS = 7  # repeats
SWEEP_YEARS, SWEEP_MOST_S, SWEEP_AIM_S = 1000, 150.0, 40.0
SWEPT_YEARS = 100  # of these, in fact
BATCH_ZONE_YEARS, BATCH_MOST_S = 1000, 5.0
EVENTS = 20_000
WARM_DAYS = 60
WARM_FROM_S = DAY_S * day_of(2022, 7, 1)


@dataclass
class Turns:
    """Seconds of the turns that opened a valve, of the idle polls and of the looks at a meter that
    stood still: the hub's steps, and all.
    """

    opening_s: list[float] = field(default_factory=list)
    opening_turn_s: list[float] = field(default_factory=list)
    poll_s: list[float] = field(default_factory=list)
    poll_turn_s: list[float] = field(default_factory=list)
    look_s: list[float] = field(default_factory=list)
    look_turn_s: list[float] = field(default_factory=list)


def demo(wide: bool = False) -> tuple[House, Weather]:
    """The demo property, or the same with every zone twice; and one year of its weather."""
    prop = parse(eight_zones(), "eight zones") if wide else load(DEMO / "property.toml")
    weather = read(DEMO / "weather.csv", latitude_deg=prop.site.latitude)
    house = compile_house(prop, mean_et0_mm(weather, prop.site.latitude))
    return house, weather.span(*YEAR)


def widened(plan: Plan, supply: int) -> Plan:
    """The demo's zones again and again until there are eight, each with a probe, on one spigot.

    supply: which of the demo's that is
    """
    zones = []
    for number in range(ZONES):
        part = plan.zones[number % len(plan.zones)]
        values = vars(part) | {
            "name": f"zone {number}",
            "tag": number + 1,
            "probe": 1,
            "wet_ppt": 365,
            "wet_off_ppt": 363,
        }
        values |= {"dry_ppt": 310, "supply": 0}
        zones.append(ZonePart(values))
    return Plan(plan.hub, plan.supplies[supply : supply + 1], zones, plan.rows, plan.bans)


class Still:
    """Ports that cost next to nothing: no hose, no soil; probes that tremble as probes do."""

    def __init__(self, plan: Plan) -> None:
        self.valves = len(plan.zones) + len(plan.supplies)
        self.now_s = 0
        self.seen = Seen(len(plan.zones), len(plan.supplies))
        self.seen.rain_um = 0
        self.seen.temp_mc = 20_000
        self.seen.meter_ml = [0] * len(plan.supplies)
        self.copies = {(PLAN, 0): plan.pack()}
        self.draws = 1

    def tremble(self) -> None:
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
    """Time every turn of a hub over two warm dry months, on ports that cost next to nothing."""
    ports = Still(plan)
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
        ports.tremble()
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


@dataclass(frozen=True)
class Year:
    """A year of a house: milliseconds of each repeat, its zones, and what the hub did."""

    zones: int
    whole_ms: list[float]
    physics_ms: list[float]
    dry_ms: list[float]
    wakes: int
    runs: int


def year(house: House, weather: Weather) -> Year:
    """Replay a year under the hub's policy; the first, which compiles, is not counted."""
    sky, by_hour = sky_of(house, Span(weather, 0, 0, ()), 1)
    policy = policies(house)[-1]
    spent_ms = []
    for _ in range(YEARS + 1):
        times_s = [time.perf_counter()]
        dry = dry_of(house.strips, by_hour)
        times_s.append(time.perf_counter())
        lived = live(house, policy, sky, dry, seed=1)
        times_s.append(time.perf_counter())
        ground = Ground(house.strips, replace(dry, forcing=lived.ground.forcing), sky.start_s)
        ground.catch_up(sky.start_s + HOUR_S * sky.hours)
        times_s.append(time.perf_counter())
        spent_ms.append([1e3 * (after - before) for before, after in pairwise(times_s)])
    dry_ms, whole_ms, physics_ms = map(list, zip(*spent_ms[1:], strict=True))
    runs = sum(heard.event[0] == OPENED for heard in lived.heard)
    return Year(len(house.strips), whole_ms, physics_ms, dry_ms, lived.wakes, runs)


def batch_s() -> tuple[float, float]:
    """Seconds of many years of columns, watered and unwatered, on two threads; zone-years."""
    house = demo()[0]
    weather = read(DEMO / "weather.csv", latitude_deg=house.latitude_deg)
    years = weather.days / 365.25
    hourly_sky = hourly(weather, 1)
    dry = forcing((house.strips * ZONES)[:ZONES], hourly_sky)
    dry[::8, ZONES:, soil.IRRIGATION] = 1.0
    dry[::8, ZONES:, soil.IRRIGATION_S] = 600.0
    yard = [None] * ZONES + list(range(ZONES))
    columns = [
        soil.Columns(["clay"] * 2 * ZONES, yard=yard)
        for _ in range(round(BATCH_ZONE_YEARS / (ZONES * years)))
    ]

    def band(results: Floats) -> float:
        return float(results[:, :, soil.BAND_PF].mean())

    soil.run_batches([(columns[0], dry)], band)  # compiles
    begin_s = time.perf_counter()
    soil.run_batches([(each, dry) for each in columns], band)
    return time.perf_counter() - begin_s, len(columns) * ZONES * years


def eight_zones() -> str:
    """The demo's property with every zone twice."""
    text = (DEMO / "property.toml").read_text("utf-8")
    first, last = text.index("[zones."), text.index("[[seasons]]")
    return text[:last] + text[first:last].replace("[zones.", "[zones.far_") + text[last:]


def sweep_s() -> float:
    """Seconds of a sweep over SWEPT_YEARS years of eight zones on two processes that are warm."""

    def weather(name: str, latitude_deg: float) -> Weather:
        return read(DEMO / name, latitude_deg=latitude_deg)

    def asked(years: int, seed: int) -> sweeping.Sweep:
        seeds = range(seed, seed + 2)
        prop = parse(eight_zones(), "eight zones")
        return sweeping.ask([prop], [], ["weather.csv"], weather, seeds, years)

    def quiet(line: str) -> None:
        """Tell nobody."""

    with workers.processes(2) as (executor, count), TemporaryDirectory() as cold:
        with TemporaryDirectory() as warm:
            few = replace(asked(1, 1), batch_years=1)
            sweeping.run(few, Path(warm), executor, count, quiet)
        begin_s = time.perf_counter()
        sweeping.run(asked(SWEPT_YEARS // 2, 3), Path(cold), executor, count, quiet)
        return time.perf_counter() - begin_s


def main() -> None:
    """Measure, and print the tables, each part in a process of its own."""
    parts = {"hub": _print_hub, "years": _print_years}
    if len(sys.argv) > 1:
        parts[sys.argv[1]]()
        return
    todo = [("hub", ""), ("years", "")]
    if compiled.fresh(compiled.FOLDER):
        todo.append(("years", str(compiled.FOLDER)))
    for part, core in todo:
        command = [sys.executable, "-m", "evenclay.tools.dev.bench", part]
        subprocess.run(command, env=os.environ | {compiled.VARIABLE: core}, check=True)


def _core() -> str:
    return "core compiled" if compiled.in_use() else "core interpreted"


def _print_hub() -> None:
    console = Console()
    with console.status("measuring"):
        plan = demo()[0].plan
        assert not plan.supplies[0].meter and plan.supplies[1].meter
        found, looked = turns(widened(plan, 0)), turns(widened(plan, 1))
        scale = {
            "a bare SimPy event": simpy_event_us(),
            "croniter, next fire": croniter_us(),
            "APScheduler CronTrigger, next fire": apscheduler_us(),
        }
        took_s, zone_years = batch_s()
    console.print(_hub_table(found, looked, scale))
    per_bar_s = took_s * BATCH_ZONE_YEARS / zone_years
    kept = "" if per_bar_s <= BATCH_MOST_S else "  MISSED"
    console.print(
        f"{BATCH_ZONE_YEARS} zone-years of columns, watered and unwatered, two threads: "
        f"{per_bar_s:.2f} s, at most {BATCH_MOST_S:g}{kept}"
    )


def _print_years() -> None:
    console = Console()
    with console.status("measuring"):
        one_year, wide_year = year(*demo()), year(*demo(wide=True))
        swept_s = sweep_s() * SWEEP_YEARS / SWEPT_YEARS
    console.print(_year_table(one_year, YEAR_MOST_MS))
    console.print(_year_table(wide_year, WIDE_YEAR_MOST_MS))
    kept = "" if swept_s <= SWEEP_MOST_S else "  MISSED"
    physics_ms = min(wide_year.physics_ms)
    console.print(
        f"a sweep of {SWEEP_YEARS} years x {ZONES} zones, the hub in the loop, {_core()}, by "
        f"{SWEPT_YEARS} on two processes: {swept_s:.0f} s, at most {SWEEP_MOST_S:g}, aim "
        f"{SWEEP_AIM_S:g}{kept}; {swept_s * 2e3 / SWEEP_YEARS / physics_ms:.1f} times its physics"
    )


def _row(table: Table, name: str, value: float, most: float | None, base: float) -> None:
    kept = "" if most is None else f"at most {most:g}" + ("" if value <= most else "  MISSED")
    table.add_row(name, f"{value:.2f}", kept, f"{value / base:.2f}")


def _hub_table(found: Turns, looked: Turns, scale: dict[str, float]) -> Table:
    table = Table(title=f"{ZONES} zones, {_core()}, median")
    for column in ("what", "us", "bar", "SimPy events"):
        table.add_column(column, justify="left" if column in ("what", "bar") else "right")
    base = scale["a bare SimPy event"]

    def median_us(times_s: list[float]) -> float:
        return 1e6 * statistics.median(times_s)

    opening, poll = len(found.opening_s), len(found.poll_s)
    _row(table, f"opening wake, {opening}: hub", median_us(found.opening_s), OPENING_MOST_US, base)
    _row(table, "  with the runner", median_us(found.opening_turn_s), None, base)
    _row(table, f"idle poll, {poll}: hub", median_us(found.poll_s), POLL_MOST_US, base)
    _row(table, "  with the runner", median_us(found.poll_turn_s), None, base)
    poll, look = len(looked.poll_s), len(looked.look_s)
    _row(table, f"the same with a meter, {poll}: hub", median_us(looked.poll_s), None, base)
    each = f"its look each idle minute, {look}: hub"
    _row(table, each, median_us(looked.look_s), None, base)
    _row(table, "  with the runner", median_us(looked.look_turn_s), None, base)
    _row(table, "  a day's, with the runner", sum(looked.look_turn_s) * 1e6 / WARM_DAYS, None, base)
    for name, value in scale.items():
        _row(table, name, value, None, base)
    return table


def _year_table(found: Year, most_ms: float) -> Table:
    physics = statistics.median(found.physics_ms)
    table = Table(
        title=f"the demo's year, {_core()}, {found.zones} zones of {soil.LAYERS} layers: "
        f"{found.runs} runs, {found.wakes} wakes, {YEARS} repeats"
    )
    for column in ("what", "best ms", "median ms", "bar", "physics alone"):
        table.add_column(column, justify="left" if column in ("what", "bar") else "right")
    for name, times_ms, bar in (
        ("replay with hourly soil", found.whole_ms, True),
        ("physics alone", found.physics_ms, False),
        ("the ground unwatered, once for all policies", found.dry_ms, False),
    ):
        best, median = min(times_ms), statistics.median(times_ms)
        kept = ""
        if bar:
            kept = f"at most {most_ms:g}, aim {YEAR_AIM_MS:g}"
            kept += "" if best <= most_ms else "  MISSED"
        table.add_row(name, f"{best:.1f}", f"{median:.1f}", kept, f"{median / physics:.1f}")
    return table


if __name__ == "__main__":
    main()
