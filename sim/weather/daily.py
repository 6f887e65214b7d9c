"""Daily weather without gaps, whatever it came from.

Apart from `record.py`, which reads it from files: what only lives in weather needs no pandas, which
is slow to import.
"""

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from evenclay.sim.types import Floats


class WeatherError(ValueError):
    """A weather file that cannot be used; the message is one line for its owner."""


@dataclass(frozen=True)
class Hours:
    """Hourly values where a source has them: (days, 24) each, local standard time.

    rain_mm, solar_mj_m2: of the hour (radiation NaN where missing). temp_c: air temperature.
    """

    rain_mm: Floats
    temp_c: Floats
    solar_mj_m2: Floats


@dataclass(frozen=True)
class Weather:
    """Daily weather without gaps.

    rain_mm, tmin_c, tmax_c, et0_mm: float64, one value a day from first_day on.
    latitude_deg: -90..90, or None where it is not known.
    notes: what was filled, dropped or estimated, a line each.
    cautions: what the record looks like where it may have been read wrong, a line each.
    vapour_kpa, wind_2m_m_s, solar_mj_m2: actual vapour pressure, mean wind at 2 m, solar radiation
    of the day, NaN on days without; None where the source has none.
    hours: where the source is hourly.
    """

    first_day: datetime.date
    rain_mm: Floats
    tmin_c: Floats
    tmax_c: Floats
    et0_mm: Floats
    latitude_deg: float | None
    notes: tuple[str, ...]
    vapour_kpa: Floats | None = None
    wind_2m_m_s: Floats | None = None
    solar_mj_m2: Floats | None = None
    hours: Hours | None = None
    cautions: tuple[str, ...] = ()

    @property
    def days(self) -> int:
        """Number of days."""
        return len(self.rain_mm)

    @property
    def last_day(self) -> datetime.date:
        """The last day, included."""
        return self.first_day + datetime.timedelta(days=self.days - 1)

    def span(self, first_day: datetime.date, last_day: datetime.date) -> "Weather":
        """The days from first_day to last_day, both included.

        Raises: WeatherError where the record does not cover them.
        """
        if first_day > last_day:
            raise WeatherError(f"the first day, {first_day}, is after the last, {last_day}")
        if not self.first_day <= first_day <= last_day <= self.last_day:
            raise WeatherError(
                f"the weather covers {self.first_day} to {self.last_day}, "
                f"not {first_day} to {last_day}"
            )
        start = (first_day - self.first_day).days
        return self.picked(first_day, range(start, (last_day - self.first_day).days + 1))

    def picked(self, first_day: datetime.date, days: Sequence[int]) -> "Weather":
        """These days of the record, counted from 0, one after another from first_day on."""
        rows = np.asarray(days, dtype=np.int64)

        def of(values: Floats | None) -> Floats | None:
            return None if values is None else values[rows]

        hours = self.hours
        if hours is not None:
            hours = Hours(hours.rain_mm[rows], hours.temp_c[rows], hours.solar_mj_m2[rows])
        return replace(
            self,
            first_day=first_day,
            rain_mm=self.rain_mm[rows],
            tmin_c=self.tmin_c[rows],
            tmax_c=self.tmax_c[rows],
            et0_mm=self.et0_mm[rows],
            vapour_kpa=of(self.vapour_kpa),
            wind_2m_m_s=of(self.wind_2m_m_s),
            solar_mj_m2=of(self.solar_mj_m2),
            hours=hours,
        )
