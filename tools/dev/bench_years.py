"""How long whole years take: of one house, of many columns of ground, of a sweep."""

import time
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory

from evenclay.controller.events import OPENED
from evenclay.sim.calendar import HOUR_S
from evenclay.sim.ground import soil
from evenclay.sim.ground.plausible import middle
from evenclay.sim.house.columns import Columns, dry_of, forcing
from evenclay.sim.house.house import House
from evenclay.sim.house.standing import SectionGround, sides_of, stand
from evenclay.sim.judge.policies import policies
from evenclay.sim.replay.life import live
from evenclay.sim.replay.span import Span, sky_of
from evenclay.sim.replay.stay import stay_of, weather_of
from evenclay.sim.section import index_of
from evenclay.sim.types import Floats
from evenclay.sim.weather.hourly import hourly
from evenclay.sim.weather.record import Weather, read
from evenclay.tools.dev.bench_houses import DEMO, ZONES, demo, eight_zones
from evenclay.tools.plan import sweep as sweeping
from evenclay.tools.plan import workers
from evenclay.tools.property.property import parse

YEARS = 7  # so often a year is repeated
SWEPT_YEARS = 100  # so many are really swept; the time of more is calculated from theirs
BATCH_ZONE_YEARS, BATCH_MOST_S = 1000, 5.0


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
        lived = live(Columns(house.strips, dry, sky.start_s), policy, sky, seed=1)
        times_s.append(time.perf_counter())
        ground = Columns(house.strips, replace(dry, forcing=lived.ground.forcing), sky.start_s)
        ground.catch_up(sky.start_s + HOUR_S * sky.hours)
        times_s.append(time.perf_counter())
        spent_ms.append([1e3 * (after - before) for before, after in pairwise(times_s)])
    dry_ms, whole_ms, physics_ms = map(list, zip(*spent_ms[1:], strict=True))
    runs = sum(heard.event[0] == OPENED for heard in lived.heard)
    return Year(len(house.strips), whole_ms, physics_ms, dry_ms, lived.wakes, runs)


@dataclass(frozen=True)
class OnSection:
    """Milliseconds of each repeat on the cross-section: the demo's year under its hub; the physics
    alone of eight zones' year."""

    hub_ms: list[float]
    physics_ms: list[float]


def on_section() -> OnSection:
    """Live the demo's year on the settled middle ground; what compiles is not counted."""
    (house, weather), (wide, _) = demo(), demo(wide=True)
    stay = stay_of(weather)
    index = index_of(weather, house.latitude_deg)
    sky, by_hour, climate = weather_of(house, stay, 1)
    standings = [
        stand(each, middle(sides_of(each), index, each.footing_m), climate, keep=False)
        for each in (house, wide)
    ]
    spent_ms = []
    for _ in range(YEARS + 1):
        times_s = [time.perf_counter()]
        live(SectionGround(standings[0], by_hour, sky.start_s), policies(house)[-1], sky, seed=1)
        times_s.append(time.perf_counter())
        ground = SectionGround(standings[1], by_hour, sky.start_s)
        ground.catch_up(sky.start_s + HOUR_S * sky.hours)
        times_s.append(time.perf_counter())
        spent_ms.append([1e3 * (after - before) for before, after in pairwise(times_s)])
    return OnSection(*map(list, zip(*spent_ms[1:], strict=True)))


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
