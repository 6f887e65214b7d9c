"""How long it stays dry in a record of rain: what a weather generator is to be measured by."""

from collections.abc import Sequence

import numpy as np

from evenclay.sim.types import Floats
from evenclay.sim.weather.daily import Weather
from evenclay.sim.weather.generator import LEAST_DAYS, dates_from


def longest_dry_days(rain_mm: Sequence[float] | Floats, below_mm: float = 1.0) -> int:
    """The longest run of days with less rain than below_mm."""
    dry = np.concatenate(([False], np.asarray(rain_mm, dtype=np.float64) < below_mm, [False]))
    edges = np.flatnonzero(np.diff(dry))
    return int((edges[1::2] - edges[::2]).max()) if edges.size else 0


def longest_dry_each_year(weather: Weather, below_mm: float = 1.0) -> Floats:
    """longest_dry_days of each whole calendar year; a spell over the new year counts as two."""
    years = dates_from(weather.first_day, weather.days).astype("datetime64[Y]")
    of_years = [weather.rain_mm[years == year] for year in np.unique(years)]
    whole = [rain for rain in of_years if len(rain) >= LEAST_DAYS]
    return np.array([longest_dry_days(rain, below_mm) for rain in whole], dtype=np.float64)
