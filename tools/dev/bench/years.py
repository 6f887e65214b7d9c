"""How long whole years take: of one house, of its ground alone, of a sweep."""

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory

from evenclay.controller.events import OPENED
from evenclay.sim.calendar import HOUR_S
from evenclay.sim.ground.plausible import PlausibleGround, middle
from evenclay.sim.house.house import House
from evenclay.sim.house.standing import SectionGround, sides_of, stand
from evenclay.sim.judge.policies import hub_of
from evenclay.sim.replay.lived import live
from evenclay.sim.replay.stay import stay_of, weather_of
from evenclay.sim.report.results import replay_house
from evenclay.sim.report.ways import Figures
from evenclay.sim.section import index_of
from evenclay.sim.weather.daily import Weather
from evenclay.sim.weather.record import read
from evenclay.tools.dev.bench.houses import DEMO, YEAR, demo, eight_zones
from evenclay.tools.plan import sweep as sweeping
from evenclay.tools.plan import workers
from evenclay.tools.property.property import parse

YEARS = 7  # so often a year is repeated
GROUNDS = 16  # so many a replay lives on
SWEPT_YEARS = 100  # so many are really swept; the time of more is calculated from theirs


@dataclass(frozen=True)
class Year:
    """A year of a house: milliseconds of each repeat, its zones, and what the hub did.

    whole_ms: under its hub. physics_ms: the ground alone, unwatered and stepped at once.
    """

    zones: int
    whole_ms: list[float]
    physics_ms: list[float]
    wakes: int
    runs: int


def year(house: House, weather: Weather) -> Year:
    """Live a year on the settled middle ground; the first, which compiles, is not counted."""
    index = index_of(weather, house.latitude_deg)
    sky, by_hour, climate = weather_of(house, stay_of(weather), 1)
    ground = middle(sides_of(house), index, house.footing_m)
    standing = stand(house, ground, climate, keep=False)
    policy, spent_ms = hub_of(house), []
    for _ in range(YEARS + 1):
        times_s = [time.perf_counter()]
        lived = live(SectionGround(standing, by_hour, sky.start_s), policy, sky, seed=1)
        times_s.append(time.perf_counter())
        alone = SectionGround(standing, by_hour, sky.start_s)
        alone.catch_up(sky.start_s + HOUR_S * sky.hours)
        times_s.append(time.perf_counter())
        spent_ms.append([1e3 * (after - before) for before, after in pairwise(times_s)])
    whole_ms, physics_ms = map(list, zip(*spent_ms[1:], strict=True))
    runs = sum(heard.event[0] == OPENED for heard in lived.heard)
    return Year(len(house.strips), whole_ms, physics_ms, lived.wakes, runs)


def grounds_s() -> float:
    """Seconds in which a replay lives the demo's year in four ways on GROUNDS grounds.

    On two processes that are warm, with the settled ground kept from before.
    """
    house, _ = demo()
    record = read(DEMO / "weather.csv", latitude_deg=house.latitude_deg)
    spent_s: list[float] = []
    with workers.processes(2) as (executor, _), TemporaryDirectory() as out:

        def spread(
            task: Callable[[PlausibleGround], Figures], grounds: Sequence[PlausibleGround]
        ) -> list[Figures]:
            for _ in range(2):  # first to settle and to get warm
                begin_s = time.perf_counter()
                found = list(executor.map(task, grounds))
                spent_s.append(time.perf_counter() - begin_s)
            return found

        first, last = YEAR
        replay_house(
            house, record, Path(out), first=first, last=last, grounds=GROUNDS, spread=spread
        )
    return spent_s[-1]


def sweep_s() -> float:
    """Seconds of a sweep over SWEPT_YEARS years of eight zones on two processes that are warm."""

    def weather(name: str, latitude_deg: float) -> Weather:
        return read(DEMO / name, latitude_deg=latitude_deg)

    def asked(years: int, seed: int) -> sweeping.Sweep:
        seeds = range(seed, seed + 2)
        prop = parse(eight_zones(), "eight zones")
        return sweeping.ask([prop], [], ["weather.csv"], weather, seeds, years)

    def quiet(line: str) -> None:
        """Print no progress."""

    with workers.processes(2) as (executor, count), TemporaryDirectory() as cold:
        with TemporaryDirectory() as warm:
            few = replace(asked(1, 1), batch_years=1)
            sweeping.run(few, Path(warm), executor, count, quiet)
        begin_s = time.perf_counter()
        sweeping.run(asked(SWEPT_YEARS // 2, 3), Path(cold), executor, count, quiet)
        return time.perf_counter() - begin_s
