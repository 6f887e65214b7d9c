"""What a house's strips need through the year, and how a plan keeps them.

Years: at most YEARS_MOST of the records, the last ones. Of these every third is held out: no search
is judged by it, and how a plan does there is what a user is told. Not the last third: the years to
come are most like those, so a search should see them too. Need: the water that holds each strip at
one pF with the rain as it fell, by half-months, in a stated share of the years searched.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from evenclay.sim.ground.band import BAND_PF
from evenclay.sim.house.columns import Columns, dry_of
from evenclay.sim.house.house import House
from evenclay.sim.judge.band_measures import unevenness_pf
from evenclay.sim.judge.brisk import Brisk
from evenclay.sim.judge.policies import policies
from evenclay.sim.judge.score import DRY, IN_BAND, RAIN_WET, REWETTING, WET, judge
from evenclay.sim.judge.season import Season, climate
from evenclay.sim.judge.years import scored_years
from evenclay.sim.replay.life import live
from evenclay.sim.replay.span import Span, sky_of, span_of
from evenclay.sim.types import Bools, Codes, Floats, Ints
from evenclay.sim.weather.formats.cells import WeatherError
from evenclay.sim.weather.generator import fit, generate
from evenclay.sim.weather.record import Weather

HALF_MONTHS = 24
HOLD_PF = 2.9  # the middle of the band
YEARS_MOST = 15  # of all records together; what is older tells less of the climate there is
HELD_OUT = 3  # one year of so many
FEW_YEARS = 6  # with fewer to search, invented ones are added
INVENTED = 6  # years


def half_month_of(month: int, day: int) -> int:
    """Which of 24 half-months a date lies in; the second begins on the 16th."""
    return 2 * (month - 1) + (day > 15)


def begin_of(half_month: int) -> tuple[int, int]:
    """Month and day on which a half-month begins."""
    return half_month // 2 + 1, 16 if half_month % 2 else 1


@dataclass(frozen=True)
class Record:
    """Whole years of weather, lived through one after the other, and which of them are judged.

    season: days x zones, of the scored days; none in other years than those judged. half_month,
    year: of each scored day; years count from 0. years: the numbers of those that are judged;
    names: the calendar's years in which those began.
    """

    span: Span
    season: Season
    half_month: Ints
    year: Ints
    years: tuple[int, ...]
    names: tuple[int, ...]

    @property
    def scored(self) -> slice:
        """The scored days among all."""
        return slice(self.span.spin_up_days, None)

    @property
    def judged(self) -> Bools:
        """Which of the scored days are of a year that is judged."""
        return np.isin(self.year, self.years)

    def judging(self, years: Sequence[int]) -> "Record":
        """The same of which only some years are judged."""
        only = replace(self, years=tuple(years), names=tuple([self.names[year] for year in years]))
        days = self.season.days & only.judged[:, None]
        return replace(only, season=replace(self.season, days=days))


@dataclass(frozen=True)
class Records:
    """What is searched, and what is held out of it; invented: of those searched, the last."""

    searched: list[Record]
    held_out: list[Record]
    invented: bool


def records_of(house: House, weathers: Sequence[Weather], seed: int) -> Records:
    """Share out the years of some records of weather; where they are few, invent more after them.

    Those searched are laid one to another, so that no time goes to years that are held out; those
    held out have the record's own years before them. Invented years have the habits of those
    searched. Season days are the whole record's for all.
    Raises: WeatherError for less than a year.
    """
    searched, held_out, learnt = [], [], []
    for weather in weathers:
        begins = scored_years(weather)
        if not begins:
            raise WeatherError(f"found {weather.days} days of weather, allowed at least a year")
        begins = begins[-max(YEARS_MOST // len(weathers), 1) - 1 :]
        years = range(len(begins) - 1)
        held = years[HELD_OUT // 2 :: HELD_OUT]
        kept = [year for year in years if year not in held]
        laid = _laid(weather, begins, kept)
        laid_begins = begins[: len(kept) + 1]
        names = [begins[year].year for year in kept]
        searched.append(_record(house, weather, laid, laid_begins, names, seed))
        if held:
            names = [begin.year for begin in begins[:-1]]
            whole = _record(house, weather, weather, begins, names, seed)
            held_out.append(whole.judging(held))
        learnt.append(laid.span(begins[0], laid.last_day))
    few = sum(len(record.years) for record in searched) < FEW_YEARS
    if few:
        made = generate(fit(learnt[0]), INVENTED + 1, seed)
        begins = scored_years(made)
        names = [begin.year for begin in begins[:-1]]
        searched.append(_record(house, weathers[0], made, begins, names, seed))
    return Records(searched, held_out, few)


def _laid(weather: Weather, begins: Sequence[date], years: Sequence[int]) -> Weather:
    """Some years of a record one after the other, after the days before the first of all.

    They keep their dates, off by a day at most around leap years.
    """
    spin_up_days = (begins[0] - weather.first_day).days
    days = list(range(spin_up_days))
    for place, year in enumerate(years):
        own, first = (begins[year + 1] - begins[year]).days, (begins[year] - weather.first_day).days
        length = (begins[place + 1] - begins[place]).days
        days += [first + min(day, own - 1) for day in range(length)]
    return weather.picked(weather.first_day, days)


def _record(
    house: House,
    known: Weather,
    weather: Weather,
    begins: Sequence[date],
    names: Sequence[int],
    seed: int,
) -> Record:
    """The years of weather between some days, all judged. known: what tells season days."""
    span = span_of(weather, begins[0], begins[-1] - timedelta(days=1))
    dates = [span.first_day + timedelta(days=i) for i in range(span.scored_days)]
    return Record(
        span=span,
        season=climate(house, known, span, seed),
        half_month=np.array([half_month_of(day.month, day.day) for day in dates]),
        year=np.array([sum(day >= begin for begin in begins[1:-1]) for day in dates]),
        years=tuple(range(len(begins) - 1)),
        names=tuple(names),
    )


@dataclass(frozen=True)
class Need:
    """What strips need by half-months: (24, zones), mm a day, in some shares of the years searched.

    share: the one asked for. mm_d: in that; low_mm_d, high_mm_d: in one and in nine of ten.
    rain_mm_d: mean rain of each half-month. dry_days: share of season days on which the clay was
    drier than its band although water was given in all the hours there are, of each zone.
    """

    share: float
    mm_d: Floats
    low_mm_d: Floats
    high_mm_d: Floats
    rain_mm_d: Floats
    dry_days: Floats


def need_of(records: Sequence[Record], brisks: Sequence[Brisk], share: float, hours: int) -> Need:
    """Work out the need, with so many hours a day for water."""
    found, rain_mm, dry = [], [], []
    for record, brisk in zip(records, brisks, strict=True):
        given, band_pf = (part[record.scored] for part in brisk.held(HOLD_PF, hours))
        rain = record.span.weather.rain_mm[record.scored]
        halves = [record.half_month == half for half in range(HALF_MONTHS)]
        for year in record.years:
            of_year = record.year == year
            found.append([given[of_year & half].mean(axis=0) for half in halves])
        rain_mm.append([rain[half].mean() for half in halves])
        season = record.season.days
        dry.append(
            ((band_pf > BAND_PF[1]) & season).sum(axis=0) / np.maximum(season.sum(axis=0), 1)
        )
    low, asked, high = np.quantile(np.array(found), (0.1, share, 0.9), axis=0)
    return Need(share, asked, low, high, np.mean(rain_mm, axis=0), np.mean(dry, axis=0))


def leading(probed: Bools) -> Bools:
    """Zones that rows follow: those without a probe, if any; a probe evens out what is wrong."""
    return probed if probed.all() else ~probed


def judged_days(record: Record, state: Codes) -> Bools:
    """Season days that are judged: not those that rain alone made wet, nor declared re-wetting."""
    return np.asarray(record.season.days & (state != RAIN_WET) & (state != REWETTING))


@dataclass(frozen=True)
class Kept:
    """How a plan kept the clay over some years: percent of the judged days.

    zones, dry, wet: in band, too dry and too wet, of each zone. worst_year: the least of any zone
    and year in band. mm_a_year: of each zone. unevenness_pf: the mean of the records'.
    """

    zones: Floats
    dry: Floats
    wet: Floats
    worst_year: float
    mm_a_year: Floats
    unevenness_pf: float


def replayed(records: Sequence[Record], house: House, policy_name: str, seed: int) -> Kept:
    """How a policy keeps the clay under the real hub."""
    (policy,) = [policy for policy in policies(house) if policy.name == policy_name]
    counts, mm, uneven = [], [], []
    for record in records:
        sky, by_hour = sky_of(house, record.span, seed)
        dry, days = dry_of(house.strips, by_hour), record.span.scored_days
        lived = live(
            Columns(house.strips, dry, sky.start_s), policy, sky, seed=seed, scored_days=days
        )
        judged = judge(lived, by_hour.rain_mm, record.span.spin_up_days, record.season)
        mm.append(judged.days.litres[record.judged].sum(axis=0))
        uneven.append(unevenness_pf(judged.days.pf, record.season.days) or 0.0)
        counted = judged_days(record, judged.state)
        states = [counted & (judged.state == code) for code in (IN_BAND, DRY, WET)]
        for year in record.years:
            days_of = record.year == year
            counts.append([part[days_of].sum(axis=0) for part in (*states, counted)])
    of_years = np.array(counts)
    total = of_years.sum(axis=0)
    in_band, dry_pct, wet_pct = 100.0 * total[:3] / np.maximum(total[3], 1)
    worst = np.where(of_years[:, 3] > 0, of_years[:, 0] / np.maximum(of_years[:, 3], 1), 1.0).min()
    area_m2 = np.array([strip.area_m2 for strip in house.strips])
    mm_a_year = np.sum(mm, axis=0) / area_m2 / len(counts)
    return Kept(in_band, dry_pct, wet_pct, 100.0 * float(worst), mm_a_year, float(np.mean(uneven)))
