"""The demand of the seasons: reference evapotranspiration, and which months a season covers."""

from datetime import timedelta
from math import cos, pi, sqrt
from typing import TYPE_CHECKING

from evenclay.controller.civil import date_of, day_of
from evenclay.sim.weather.et0 import extraterrestrial_radiation_mj_m2
from evenclay.tools.property.property import Property

if TYPE_CHECKING:
    from evenclay.sim.weather.record import Weather  # it needs pandas, which is slow to import

YEAR = 2001  # it stands for any year of 365 days


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
        ra_mm = 0.408 * float(extraterrestrial_radiation_mj_m2(latitude_deg, of_year))
        found.append(max(0.0, 0.0023 * (temp_c + 17.8) * sqrt(12) * ra_mm))
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


def mean_et0_mm(weather: "Weather", latitude_deg: float) -> list[float]:
    """Return the mean ET0 of a record in mm a day for each month, January first.

    A month the record does not have is guessed from latitude.
    """
    found = guessed_et0_mm(latitude_deg)
    days = [weather.first_day + timedelta(days=day) for day in range(weather.days)]
    for month in range(1, 13):
        values = [float(weather.et0_mm[i]) for i, day in enumerate(days) if day.month == month]
        if values:
            found[month - 1] = sum(values) / len(values)
    return found
