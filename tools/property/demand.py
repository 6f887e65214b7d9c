"""Means of a climate by its months, for seasons that name no demand and no rain; and its sun."""

from collections.abc import Sequence
from datetime import timedelta
from math import cos, pi
from typing import NamedTuple

from evenclay.controller.civil import date_of, day_of
from evenclay.controller.plan import RowPart
from evenclay.sim.calendar import MONTHS
from evenclay.sim.weather.daily import Weather, WeatherError
from evenclay.sim.weather.et0 import (
    MM_PER_MJ_M2,
    extraterrestrial_radiation_mj_m2,
    hargreaves_mm,
)
from evenclay.tools.property.plan_ranges import RANGES
from evenclay.tools.property.property import Property

MEAN_MOST_MM = RANGES[RowPart]["rain_um"][1] / 1000.0  # of a month; no climate has more
YEAR, DAYS = 2001, 365  # it stands for any year of 365 days


def guessed_et0_mm(latitude_deg: float) -> list[float]:
    """Return a rough reference evapotranspiration in mm a day for each month, January first.

    Hargreaves with a mean temperature and a daily range of 12 degrees guessed from latitude alone;
    only good until a weather file is at hand. No source for the guess.
    """
    south = latitude_deg < 0
    found = []
    for month in range(1, 13):
        of_year = day_of(YEAR, month, 15) - day_of(YEAR, 1, 1) + 1
        warmest = 20 if south else 202
        season = cos(2 * pi * (of_year - warmest) / 365)
        temp_c = 28 - 0.008 * latitude_deg**2 + 0.3 * abs(latitude_deg) * season
        found.append(float(hargreaves_mm(temp_c - 6, temp_c + 6, latitude_deg, of_year)))
    return found


def season_days(prop: Property) -> list[list[int]]:
    """Return for each season the months of its days over 365 days, one entry a day."""
    begins = [season.begins for season in prop.seasons]
    months: list[list[int]] = [[] for _ in begins]
    for day in range(day_of(YEAR, 1, 1), day_of(YEAR + 1, 1, 1)):
        _, month, of_month = date_of(day)
        begun = [i for i, begin in enumerate(begins) if begin <= (month, of_month)]
        months[begun[-1] if begun else -1].append(month)
    return months


class Means(NamedTuple):
    """Mean reference evapotranspiration and mean rain of each month, January first, mm a day."""

    et0_mm: Sequence[float]
    rain_mm: Sequence[float]


def guessed(latitude_deg: float) -> Means:
    """Means where no weather is known: ET0 guessed from latitude, and no rain at all."""
    return Means(guessed_et0_mm(latitude_deg), [0.0] * 12)


def means_of(weather: Weather, latitude_deg: float) -> Means:
    """The means of a record; a month that it does not have is guessed.

    Raises: WeatherError where a month's is more than MEAN_MOST_MM.
    """
    found = [list(means) for means in guessed(latitude_deg)]
    months = [(weather.first_day + timedelta(days=day)).month for day in range(weather.days)]
    for month in range(1, 13):
        days = [day for day, of in enumerate(months) if of == month]
        if days:
            for means, daily in zip(found, (weather.et0_mm, weather.rain_mm), strict=True):
                means[month - 1] = sum([float(daily[day]) for day in days]) / len(days)
    for what, means in zip(("evapotranspiration", "rain"), found, strict=True):
        most_mm = max(means)
        if most_mm > MEAN_MOST_MM:
            raise WeatherError(
                f"the weather: found {most_mm:.0f} mm of {what} a day as the mean of "
                f"{MONTHS[means.index(most_mm)]}, allowed at most {MEAN_MOST_MM:.0f}: it may be in "
                "other units than it is read in"
            )
    return Means(*found)


def sun_um(latitude_deg: float) -> tuple[int, ...]:
    """Radiation from beyond the air in the middle of each 24th of a year, as water it evaporates.

    The first 24th begins with the year [um a day].
    """
    of_year = [1 + DAYS * (2 * part + 1) / 48 for part in range(24)]
    radiation_mj_m2 = extraterrestrial_radiation_mj_m2(latitude_deg, of_year)
    return tuple(round(1000 * MM_PER_MJ_M2 * float(each)) for each in radiation_mj_m2)
