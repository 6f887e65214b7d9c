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
from sim.generator import fit, generate
from sim.ground import Floats, forcing
from sim.house import House
from sim.policies import policies
from sim.replay import Span, climate, live, sky_of, span_of
from sim.score import (
    BAND_PF,
    IN_BAND,
    RAIN_WET,
    REWETTING,
    WET,
    Bools,
    Codes,
    Season,
    unevenness_pf,
)
from sim.weather import Weather

Ints = NDArray[np.int64]

HALF_MONTHS = 24
HOLD_PF = 2.9  # the middle of the band
HELD_OUT = 3  # one year of so many is kept from the search
FEW_YEARS = 9  # with fewer, the last ones are held out, and invented ones are added
INVENTED = 15  # years
THREADS = 2
POPULATION = 12
SPREAD = 0.06  # of the first plans searched, in logarithms of what is varied
BALANCED = 12  # plans tried before that, each to balance the one before
PER_PF = (
    0.12  # more water for each pF too dry: less than what would mend it at once, since rows share
)
OFF_MOST_PF = 0.8  # more is not told apart
# What a search may cost, in years of zones lived through: a fixed count, so that its outcome does
# not hang on the clock.
ZONE_YEARS = 15_000
LEAST_PLANS, MOST_PLANS = 60, 400
EDGE_PF = 0.1  # inside the band's limits a day begins to count as lost, and so far outside it is
TRIMMED_COST = 0.5  # of a trim that is e times 100 % on all days, in days out of band
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


def make_records(house: House, weather: Weather, seed: int) -> list[Record]:
    """Make a record ready; with few years, another after it, invented with the habits of those not
    held out, all of them for the search. Raises: WeatherError for less than a year."""
    span = span_of(weather)
    # A part of a year at the end goes with the year before.
    years = max(round(span.scored_days / 365.25 - 0.45), 1)
    if years >= FEW_YEARS:
        return [_record(house, weather, span, years, tuple(range(1, years, HELD_OUT)), seed)]
    held_out = tuple(range(years - years // HELD_OUT, years))
    found = [_record(house, weather, span, years, held_out, seed)]
    known = weather
    if held_out:
        last = span.first_day + timedelta(days=round(365.25 * held_out[0]) - 1)
        known = weather.span(weather.first_day, last)
    made = generate(fit(known), INVENTED + 1, seed)
    return [*found, _record(house, made, span_of(made), INVENTED, (), seed)]


def _record(
    house: House, weather: Weather, span: Span, years: int, held_out: tuple[int, ...], seed: int
) -> Record:
    dates = [span.first_day + timedelta(days=i) for i in range(span.scored_days)]
    year = np.minimum((np.arange(span.scored_days) / 365.25).astype(np.int64), years - 1)
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
        dry.append(
            ((band_pf > BAND_PF[1]) & season).sum(axis=0) / np.maximum(season.sum(axis=0), 1)
        )
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


def _lost(state: Codes, pf: Floats) -> Floats:
    """How far each day is from being well in band, 0..1: a half at the band's limits.

    Graded, and from inside the band on, so that a plan that just holds it in the years searched is
    not taken for one that holds it with room to spare.
    """
    off = np.abs(pf - np.mean(BAND_PF)) - (BAND_PF[1] - BAND_PF[0]) / 2.0
    lost = np.clip(0.5 + off / (2.0 * EDGE_PF), 0.0, 1.0)
    return np.asarray(np.where((state == WET) & (off <= 0.0), 1.0, lost))


def _loss(records: Sequence[Record], outcomes: Sequence[Outcome], need_mm: Floats) -> float:
    """Days out of band first, in the mean and of the worst; unevenness and water second."""
    lost, worst = [], []
    unevenness, water, trimmed = 0.0, 0.0, 0.0
    for record, outcome in zip(records, outcomes, strict=True):
        scored = slice(record.span.spin_up_days, None)
        state, pf = outcome.state[scored], outcome.pf[scored]
        days = record.days_of(False)
        counted = record.season.days & (state != RAIN_WET) & (state != REWETTING) & days[:, None]
        graded = np.where(counted, _lost(state, pf), 0.0)
        lost.append(graded.sum(axis=0) / np.maximum(counted.sum(axis=0), 1))
        for year in sorted(set(range(record.years)) - set(record.held_out)):
            of_year = record.year == year
            worst.append(graded[of_year].sum(axis=0) / np.maximum(counted[of_year].sum(axis=0), 1))
        trimmed += float(np.abs(np.log(outcome.trim_pct[scored] / 100.0)).mean())
        unevenness += unevenness_pf(pf[days], record.season.days[days]) or 0.0
        water += float(outcome.mm[scored][days].sum() / days.sum() * 365.25 / need_mm.sum())
    of_zones = np.mean(lost, axis=0)
    # The worst of the years by a high quantile of all zones' years: the worst alone is chance.
    badly = float(np.quantile(np.array(worst), 0.9))
    first = float(of_zones.mean() + 0.5 * of_zones.max() + 0.25 * badly)
    # A table that only holds with the trim at an end leaves the owner's check nothing to do.
    return first + (0.01 * (unevenness + water) + TRIMMED_COST * trimmed) / len(records)


def search(
    records: Sequence[Record],
    rows: Sequence[Ints],
    rests: int,
    plan_of: Callable[[Floats], Plan | None],
    need_mm: Floats,
    seed: int,
    progress: Callable[[int, int], None],
) -> Floats:
    """The numbers that make the best plan found; `plan_of` makes one, None where no rule allows it.

    The numbers: logarithms of what an open row's water is to be multiplied by, for each in `rows`
    (its half-months); then `rests` others; then of each zone's share. First rows and zones are
    brought into balance, which takes few plans; then all the numbers are searched. need_mm: a
    year's water, to weigh what plans use. progress: told how many plans were tried, of how many.
    """
    house = records[0].brisk.house
    checked = policies(house)[-1].owner is not None
    zone_years = sum(record.brisk.days for record in records) / 365.25 * len(house.strips)
    plans = int(min(max(ZONE_YEARS / zone_years, LEAST_PLANS), MOST_PLANS))

    def outcomes_of(numbers: Floats, checked: bool) -> list[Outcome] | None:
        plan = plan_of(numbers)
        return None if plan is None else [r.brisk.outcome(plan, checked) for r in records]

    def loss_of(numbers: Floats) -> float:
        outcomes = outcomes_of(numbers, checked)
        if outcomes is None:
            return IMPOSSIBLE + float(np.abs(numbers).sum())
        return _loss(records, outcomes, need_mm)

    balanced = np.zeros(len(rows) + rests + len(house.strips))
    best, least = balanced, IMPOSSIBLE
    for tried in range(BALANCED):
        # Without the owner's check: a trim that makes up for a table would hide what is wrong.
        outcomes = outcomes_of(balanced, False)
        if outcomes is None:
            break
        loss = _loss(records, outcomes, need_mm)
        if loss < least:
            best, least = balanced, loss
        balanced = balanced + _shift(records, outcomes, rows, rests)
        progress(tried + 1, plans)
    least = loss_of(best)
    options = {"seed": seed + 1, "popsize": POPULATION, "verbose": -9}
    strategy = cma.CMAEvolutionStrategy(list(best), SPREAD, options)
    with ThreadPoolExecutor(THREADS) as pool:
        while BALANCED + strategy.countevals < plans:
            asked = strategy.ask()
            losses = list(pool.map(loss_of, asked))
            strategy.tell(asked, losses)
            if min(losses) < least:
                best, least = np.asarray(asked[int(np.argmin(losses))]), min(losses)
            progress(min(BALANCED + strategy.countevals, plans), plans)
    return np.asarray(best)


def _shift(
    records: Sequence[Record], outcomes: Sequence[Outcome], rows: Sequence[Ints], rests: int
) -> Floats:
    """What to add to the numbers, so that each row and zone comes nearer to the middle of the band.

    Too dry by so much pF asks for so many percent more: on days that nobody but rain is to blame
    for nothing is asked.
    """
    zones = len(records[0].brisk.house.strips)
    total, count = np.zeros((HALF_MONTHS, zones)), np.zeros((HALF_MONTHS, zones))
    for record, outcome in zip(records, outcomes, strict=True):
        scored = slice(record.span.spin_up_days, None)
        state, pf = outcome.state[scored], outcome.pf[scored]
        counted = record.season.days & (state != RAIN_WET) & record.days_of(False)[:, None]
        off = np.where(counted, np.clip(pf - HOLD_PF, -OFF_MOST_PF, OFF_MOST_PF), 0.0)
        np.add.at(total, record.half_month, off)
        np.add.at(count, record.half_month, counted)
    of_zones = total.sum(axis=0) / np.maximum(count.sum(axis=0), 1)
    of_rows = [total[row].sum() / max(count[row].sum(), 1.0) for row in rows]
    return np.concatenate((PER_PF * np.array(of_rows), np.zeros(rests), PER_PF * of_zones))


def replayed(record: Record, house: House, policy_name: str, seed: int) -> dict[str, Kept]:
    """How a policy keeps the clay under the real hub: on the years searched, and those held out."""
    (policy,) = [policy for policy in policies(house) if policy.name == policy_name]
    sky, by_hour = sky_of(house, record.span, seed)
    dry, days = forcing(house.strips, by_hour), record.span.scored_days
    lived = live(house, policy, sky, dry, seed=seed, scored_days=days)
    judged = lived.judge(by_hour.rain_mm, record.span.spin_up_days, record.season)
    mm = judged.days.litres / np.array([strip.area_m2 for strip in house.strips])
    found = {"searched": kept(record, judged.state, judged.days.pf, mm, False)}
    if record.held_out:
        found["held out"] = kept(record, judged.state, judged.days.pf, mm, True)
    return found
