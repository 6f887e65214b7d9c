"""The season: which days count for a zone, by its climate alone, whoever waters."""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from evenclay.sim.calendar import YEAR_DAYS
from evenclay.sim.ground.band import BAND_PF
from evenclay.sim.house.columns import dry_of
from evenclay.sim.house.house import House
from evenclay.sim.replay.span import Span
from evenclay.sim.types import Bools, Floats
from evenclay.sim.weather.hourly import hourly
from evenclay.sim.weather.record import Weather

SEASON_MARGIN_DAYS = 15
SEASON_LEAST_SHARE = 0.25  # one year in four


@dataclass(frozen=True)
class Season:
    """Which days count for each zone (days x zones), by the climate alone, and how it was found."""

    days: Bools
    note: str


def season_of(first_day: date, pf_unwatered: Floats, scored_first: date, scored: int) -> Season:
    """The half-months in which unwatered ground goes dry in a year of four, and 15 days around.

    first_day, pf_unwatered: the climate, as the unwatered column of each zone tells it, days x
    zones. scored_first, scored: the days to be marked. With fewer than four years one dry year is
    enough, and for less than a year every day counts.
    """
    dates = [first_day + timedelta(days=i) for i in range(len(pf_unwatered))]
    scored_dates = [scored_first + timedelta(days=i) for i in range(scored)]
    if len(dates) < YEAR_DAYS:
        note = f"season days: all, since the climate is not known from {len(dates)} days"
        return Season(np.ones((scored, pf_unwatered.shape[1]), dtype=np.bool_), note)
    seen: dict[tuple[int, int], dict[int, Bools]] = {}
    for day, dry in zip(dates, pf_unwatered > BAND_PF[1], strict=True):
        years = seen.setdefault(_half_month(day), {})
        years[day.year] = years.get(day.year, False) | dry
    dry_halves = {
        half: np.mean(list(years.values()), axis=0) >= SEASON_LEAST_SHARE
        for half, years in seen.items()
    }
    leap_year = [date(2000, 1, 1) + timedelta(days=i) for i in range(YEAR_DAYS + 1)]
    of_year = np.array([dry_halves[_half_month(day)] for day in leap_year])
    margin = range(-SEASON_MARGIN_DAYS, SEASON_MARGIN_DAYS + 1)
    wide = np.any([np.roll(of_year, shift, axis=0) for shift in margin], axis=0)
    years_seen = len(dates) / 365.25
    note = f"season days: from {years_seen:.1f} years of each zone's unwatered ground"
    if years_seen < 3.99:
        note += ", so one dry year makes a half-month count"
    return Season(wide[[_place(day) for day in scored_dates]], note)


def _half_month(day: date) -> tuple[int, int]:
    return day.month, 0 if day.day <= 15 else 1


def _place(day: date) -> int:
    """Place of a month and day in a leap year."""
    return (date(2000, day.month, day.day) - date(2000, 1, 1)).days


def climate(house: House, weather: Weather, span: Span, seed: int) -> Season:
    """Which of a span's scored days are season days, by the whole record's unwatered ground.

    The record's first year is spin-up; where that leaves less than a year, nothing is.
    """
    pf = dry_of(house.strips, hourly(weather, seed)).band_pf()
    spin_up_days = YEAR_DAYS if weather.days >= 2 * YEAR_DAYS else 0
    first_day = weather.first_day + timedelta(days=spin_up_days)
    return season_of(first_day, pf[spin_up_days:], span.first_day, span.scored_days)
