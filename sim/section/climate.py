"""What a climate says of ground: Thornthwaite's moisture index."""

import datetime

import numpy as np

from evenclay.sim.types import Floats
from evenclay.sim.weather import et0
from evenclay.sim.weather.daily import Weather
from evenclay.sim.weather.generator import months_and_days

MONTHS = range(1, 13)
MONTH_DAYS = np.array([31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
STORE_MM = 100.0  # of Thornthwaite's soil


def thornthwaite_mm(temp_c: Floats, latitude_deg: float) -> Floats:
    """Potential evapotranspiration of each calendar month by its mean temperature, (12,) [mm].

    Source: Thornthwaite 1948, Geogr. Rev. 38:55-94 (figures from memory).
    """
    heat = np.maximum(temp_c, 0.0)
    index = float(((heat / 5.0) ** 1.514).sum())
    power = 6.75e-7 * index**3 - 7.71e-5 * index**2 + 1.792e-2 * index + 0.49239
    middles = np.array([datetime.date(2001, month, 15).timetuple().tm_yday for month in MONTHS])
    sun = et0.daylight_hours(latitude_deg, middles) / 12.0 * MONTH_DAYS / 30.0
    if index <= 0.0:
        return np.zeros(12)
    return np.asarray(16.0 * (10.0 * heat / index) ** power * sun)


def moisture_index(rain_mm: Floats, temp_c: Floats, latitude_deg: float) -> float:
    """Thornthwaite's index of 1948 by the means of the calendar months, (12,) each.

    100 times the surplus less 60 times the deficit, over the potential, with a soil that stores
    100 mm. Source: as `thornthwaite_mm`.
    """
    potential = thornthwaite_mm(temp_c, latitude_deg)
    store, surplus, deficit = STORE_MM, 0.0, 0.0
    for _ in range(20):  # until the store repeats itself
        surplus = deficit = 0.0
        for month in range(12):
            store += rain_mm[month] - potential[month]
            surplus += max(store - STORE_MM, 0.0)
            deficit += max(-store, 0.0)
            store = min(max(store, 0.0), STORE_MM)
    return float((100.0 * surplus - 60.0 * deficit) / potential.sum())


def index_of(weather: Weather, latitude_deg: float) -> float:
    """Thornthwaite's index of a record, by the means of its calendar months.

    A month that the record has no day of counts as its mean month.
    """
    month, _ = months_and_days(weather.first_day, weather.days)
    mean_c = (weather.tmin_c + weather.tmax_c) / 2.0

    def means(values: Floats) -> Floats:
        given = [values[month == number - 1] for number in MONTHS]  # `month` counts from 0
        return np.array([each.mean() if len(each) else values.mean() for each in given])

    return moisture_index(means(weather.rain_mm) * MONTH_DAYS, means(mean_c), latitude_deg)
