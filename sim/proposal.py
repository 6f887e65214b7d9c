"""What a house's strips need through the year, and the plan that gives it best.

Need: the water that holds each strip at one pF with the rain as it fell, by half-months, in a stated
share of years. Search: plans tried under the hub's rules on the years that are not held out
(`brisk.py`), by CMA-ES (Hansen 2016, arXiv:1604.00772; the package cma), which is steady on the
steps that whole minutes and single days make.
"""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import timedelta

import cma
import numpy as np
from numpy.typing import NDArray

from controller.plan import Plan
from sim.brisk import Brisk, Outcome
from sim.ground import Floats
from sim.house import House
from sim.policies import bare_plan, policies
from sim.replay import Span, climate, live, sky_of, span_of
from sim.ground import forcing
from sim.score import BAND_PF, IN_BAND, RAIN_WET, REWETTING, Bools, Codes, Season, unevenness_pf
from sim.weather import Weather

Ints = NDArray[np.int64]

HALF_MONTHS = 24
HOLD_PF = 2.9  # the middle of the band
HELD_OUT = 3  # every third year is kept from the search
THREADS = 2
POPULATION = 12
SPREAD = 0.12  # of the first plans tried, in logarithms of what is varied
# What a search may cost, in years of zones lived through: a fixed count, so that its outcome does
# not hang on the clock.
ZONE_YEARS = 15_000
LEAST_PLANS, MOST_PLANS = 60, 400
IMPOSSIBLE = 10.0  # loss of a plan that breaks a rule


def half_month_of(month: int, day: int) -> int:
    """Which of 24 half-months a date lies in; the second begins on the 16th."""
    return 2 * (month - 1) + (day > 15)


def begin_of(half_month: int) -> tuple[int, int]:
    """Month and day on which a half-month begins."""
    return half_month // 2 + 1, 16 if half_month % 2 else 1


@dataclass(frozen=True)
class Record:
    """One record of weather made ready. Years count from the first scored day.

    season: days x zones, of the scored days. half_month, year: of each scored day. held_out: the
    years kept from the search, of `years` in all.
    """

    brisk: Brisk
    span: Span
    season: Season
    half_month: Ints
    year: Ints
    years: int
    held_out: tuple[int, ...]

    def days_of(self, held_out: bool) -> Bools:
        """Scored days of the years held out, or of the others."""
        return np.asarray(np.isin(self.year, self.held_out) == held_out)


def make_record(house: House, weather: Weather, seed: int) -> Record:
    """Make a record ready. Raises: WeatherError for one of less than a year."""
    span = span_of(weather)
    dates = [span.first_day + timedelta(days=i) for i in range(span.scored_days)]
    # A part of a year at the end goes with the year before.
    years = max(round(span.scored_days / 365.25 - 0.45), 1)
    year = np.minimum((np.arange(span.scored_days) / 365.25).astype(np.int64), years - 1)
    held_out = tuple(range(1, years, HELD_OUT))
    return Record(
        brisk=Brisk(house, span, seed),
        span=span,
        season=climate(house, weather, span, seed),
        half_month=np.array([half_month_of(day.month, day.day) for day in dates]),
        year=year,
        years=years,
        held_out=held_out,
    )


@dataclass(frozen=True)
class Need:
    """What strips need by half-months: (24, zones), mm a day, in some shares of the years searched.

    mm_d: in the share asked for; low_mm_d, high_mm_d: in one and in nine of ten. rain_mm_d: mean
    rain of each half-month. dry_days: share of season days on which the clay was drier than its
    band although water was given in all the hours there are, of each zone.
    """

    mm_d: Floats
    low_mm_d: Floats
    high_mm_d: Floats
    rain_mm_d: Floats
    dry_days: Floats


def need_of(records: Sequence[Record], share: float, hours: int) -> Need:
    """Work out the need, with so many hours a day for water."""
    found, rain_mm, dry = [], [], []
    for record in records:
        scored = slice(record.span.spin_up_days, None)
        given, band_pf = (part[scored] for part in record.brisk.held(HOLD_PF, hours))
        rain = record.span.weather.rain_mm[scored]
        halves = [record.half_month == half for half in range(HALF_MONTHS)]
        for year in sorted(set(range(record.years)) - set(record.held_out)):
            of_year = record.year == year
            found.append([given[of_year & half].mean(axis=0) for half in halves])
        rain_mm.append([rain[half].mean() for half in halves])
        season = record.season.days
        dry.append(((band_pf > BAND_PF[1]) & season).sum(axis=0) / np.maximum(season.sum(axis=0), 1))
    low, asked, high = np.quantile(np.array(found), (0.1, share, 0.9), axis=0)
    return Need(asked, low, high, np.mean(rain_mm, axis=0), np.mean(dry, axis=0))


@dataclass(frozen=True)
class Kept:
    """How a plan kept the clay: percent of season days in band, rain-wet and re-wetting days apart.

    zones: of each zone. worst_year: the least of any zone and year. mm_a_year: of each zone.
    unevenness_pf: None without season days.
    """

    zones: Floats
    worst_year: float
    mm_a_year: Floats
    unevenness_pf: float


def kept(record: Record, state: Codes, pf: Floats, mm: Floats, held_out: bool) -> Kept:
    """Judge what a plan did on the years held out, or on the others; all of the scored days."""
    of_these = record.days_of(held_out)
    counted = record.season.days & (state != RAIN_WET) & (state != REWETTING)
    good = counted & (state == IN_BAND)

    def percent(days: Bools) -> Floats:
        total = counted[days].sum(axis=0)
        return np.asarray(100.0 * good[days].sum(axis=0) / np.maximum(total, 1))

    years = [year for year in range(record.years) if (year in record.held_out) == held_out]
    return Kept(
        zones=percent(of_these),
        worst_year=float(min(percent(record.year == year).min() for year in years)),
        mm_a_year=mm[of_these].sum(axis=0) / len(years),
        unevenness_pf=unevenness_pf(pf[of_these], record.season.days[of_these]) or 0.0,
    )


def _loss(records: Sequence[Record], outcomes: Sequence[Outcome], need_mm: Floats) -> float:
    """Days out of band first, in the mean and of the worst; unevenness and water second."""
    total = 0.0
    for record, outcome in zip(records, outcomes, strict=True):
        scored = slice(record.span.spin_up_days, None)
        found = kept(record, outcome.state[scored], outcome.pf[scored], outcome.mm[scored], False)
        out = 100.0 - found.zones
        water = float(found.mm_a_year.sum() / max(float(need_mm.sum()), 1.0))
        total += float(out.mean() + 0.5 * out.max()) / 100.0
        total += 0.15 * (100.0 - found.worst_year) / 100.0
        total += 0.01 * found.unevenness_pf + 0.01 * water
    return total / len(records)


def search(
    records: Sequence[Record],
    start: Sequence[float],
    plan_of: Callable[[Sequence[float]], Plan | None],
    need_mm: Floats,
    seed: int,
    progress: Callable[[int, int], None],
) -> Floats:
    """The numbers that make the best plan found; `plan_of` makes one, None where no rule allows it.

    start: where the search begins. need_mm: a year's water, to weigh what plans use. progress: told
    how many plans were tried, and of how many.
    """
    house = records[0].brisk.house
    checked = policies(house)[-1].owner is not None
    zone_years = sum(record.brisk.days for record in records) / 365.25 * len(house.strips)
    plans = int(min(max(ZONE_YEARS / zone_years, LEAST_PLANS), MOST_PLANS))

    def loss(numbers: Sequence[float]) -> float:
        plan = plan_of(numbers)
        if plan is None:
            return IMPOSSIBLE + float(np.abs(numbers).sum())
        return _loss(records, [r.brisk.outcome(plan, checked) for r in records], need_mm)

    best, least = np.asarray(start, dtype=np.float64), loss(start)
    options = {"seed": seed + 1, "popsize": POPULATION, "verbose": -9, "maxfevals": plans}
    strategy = cma.CMAEvolutionStrategy(list(start), SPREAD, options)
    with ThreadPoolExecutor(THREADS) as pool:
        while strategy.countevals < plans:
            tried = strategy.ask()
            losses = list(pool.map(loss, tried))
            strategy.tell(tried, losses)
            if min(losses) < least:
                best, least = tried[int(np.argmin(losses))], min(losses)
            progress(min(strategy.countevals, plans), plans)
    return np.asarray(best)


def replayed(record: Record, house: House, policy_name: str, seed: int) -> tuple[Codes, Floats, Floats]:
    """State, pF and mm of the scored days, days x zones, under a policy of the real hub."""
    (policy,) = [policy for policy in policies(house) if policy.name == policy_name]
    sky, by_hour = sky_of(house, record.span, seed)
    lived = live(house, policy, sky, forcing(house.strips, by_hour), seed=seed, scored_days=record.span.scored_days)
    judged = lived.judge(by_hour.rain_mm, record.span.spin_up_days, record.season)
    area_m2 = np.array([strip.area_m2 for strip in house.strips])
    return judged.state, judged.days.pf, judged.days.litres / area_m2
