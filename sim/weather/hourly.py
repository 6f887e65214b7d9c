"""Daily weather made hourly: rain in showers, temperature as a wave, ET0 by the sun.

Hours are of local solar time: hour 0 begins at midnight, the sun stands highest at 12.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenclay.sim.calendar import HOURS
from evenclay.sim.types import Floats
from evenclay.sim.weather import et0
from evenclay.sim.weather.daily import Weather

Uint64s = NDArray[np.uint64]

WARMEST_HOUR = 14  # de Wit, Goudriaan & van Laar 1978: minimum at sunrise, maximum at 14:00

# Chances that the rain of a box falls in one part of it only, by the box's length in hours, and
# the shape of the (symmetric) beta law that splits it otherwise. Form: Olsson 1998 and Molnar &
# Burlando 2005. Figures from memory: middle of the range that fits to temperate gauges give.
ONE_OF_THREE = 0.35  # 24 h -> 8 h: all in one third
TWO_OF_THREE = 0.40  # 24 h -> 8 h: in two thirds
ONE_HALF = {8: 0.40, 4: 0.34, 2: 0.28}
BETA_SHAPE = {8: 1.0, 4: 1.4, 2: 2.0}


@dataclass(frozen=True)
class Hourly:
    """Hourly weather: float64 arrays of 24 values a day.

    rain_mm, et0_mm: of the hour. temp_c: air temperature of the hour.
    """

    rain_mm: Floats
    temp_c: Floats
    et0_mm: Floats

    def part(self, first: int, until: int) -> "Hourly":
        """Some of the hours."""
        hours = slice(first, until)
        return Hourly(self.rain_mm[hours], self.temp_c[hours], self.et0_mm[hours])


def hourly(weather: Weather, seed: int) -> Hourly:
    """Hourly weather from daily, the same for the same seed.

    A day's rain pattern depends on seed and date alone, so it stays the same however the years
    are cut. Daily totals of rain and ET0 are kept; each day reaches its Tmin and Tmax.
    Where the latitude is unknown every day has 12 hours of sun. A source that is hourly gives its
    own temperature, its rain's hours on days when it has rain, and ET0 by its radiation.
    """
    ordinals = weather.first_day.toordinal() + np.arange(weather.days)
    latitude = 0.0 if weather.latitude_deg is None else weather.latitude_deg
    day_of_year = _day_of_year(ordinals)
    rain, sun = rain_shares(ordinals, seed), sun_shares(latitude, day_of_year)
    own = weather.hours
    if own is None:
        temp_c = _temperature(weather, et0.daylight_hours(latitude, day_of_year))
    else:
        rain, sun = _own_shares(own.rain_mm, rain), _own_shares(own.solar_mj_m2, sun)
        temp_c = own.temp_c.reshape(-1)
    return Hourly(
        rain_mm=_keep_totals(rain, weather.rain_mm),
        temp_c=temp_c,
        et0_mm=_keep_totals(sun, weather.et0_mm),
    )


def _own_shares(values: Floats, otherwise: Floats) -> Floats:
    """Each hour's share of its day (days x 24); of a day without any, or with gaps, otherwise's."""
    totals = values.sum(axis=1, keepdims=True)
    known = np.isfinite(totals) & (totals > 0.0)
    return np.asarray(np.where(known, values / np.where(known, totals, 1.0), otherwise))


def _day_of_year(ordinals: NDArray[np.int64]) -> NDArray[np.int64]:
    days = (ordinals - 719163).astype("datetime64[D]")  # 719163 is the ordinal of 1970-01-01
    year_starts = days.astype("datetime64[Y]").astype("datetime64[D]")
    return np.asarray((days - year_starts).astype(np.int64) + 1)


def _keep_totals(shares: Floats, totals: Floats) -> Floats:
    """Totals spread by shares (days x 24), flat; what rounding loses goes to the largest hour."""
    values = shares * totals[:, None]
    rows = np.arange(len(totals))
    values[rows, np.argmax(values, axis=1)] += totals - values.sum(axis=1)
    return values.reshape(-1)


def sun_shares(latitude_deg: float, day_of_year: NDArray[np.int64]) -> Floats:
    """Share of the day's ET0 in each hour (days x 24), as the sun's radiation outside the air.

    Source: FAO-56 eq. 28: the sine of the sun's height, integrated over each hour.
    """
    latitude = np.radians(latitude_deg)
    declination = et0.solar_declination_rad(day_of_year)[:, None]
    sunset = et0.sunset_hour_angle_rad(latitude_deg, day_of_year)[:, None]
    edges = (np.arange(HOURS + 1) - 12) * np.pi / 12.0
    angle = np.clip(edges[None, :], -sunset, sunset)
    constant = np.sin(latitude) * np.sin(declination)
    swing = np.cos(latitude) * np.cos(declination)
    integral = constant * angle + swing * np.sin(angle)
    hours = np.maximum(np.diff(integral, axis=1), 0.0)
    total = hours.sum(axis=1, keepdims=True)
    even = np.full_like(hours, 1.0 / HOURS)  # the polar night has no sun to go by
    return np.asarray(np.where(total > 1e-9, hours / np.maximum(total, 1e-9), even))


def _temperature(weather: Weather, daylight_h: Floats) -> Floats:
    """Half cosines from Tmin in the hour of sunrise to Tmax in hour 14 to the next day's Tmin.

    Held within the day's own extremes, since the record says they were the extremes.
    Source: de Wit, Goudriaan & van Laar 1978; Reicosky et al. 1989 (their method WAVE).
    """
    sunrise = np.clip(np.floor(12.0 - daylight_h / 2.0), 0, WARMEST_HOUR - 1)[:, None]
    low, high = weather.tmin_c[:, None], weather.tmax_c[:, None]
    high_before = np.concatenate((high[:1], high[:-1]))
    low_after = np.concatenate((low[1:], low[-1:]))
    hour = np.arange(HOURS, dtype=np.float64)[None, :]
    night_h = sunrise + HOURS - WARMEST_HOUR
    night = _wave(high_before, low, (hour + HOURS - WARMEST_HOUR) / night_h)
    day = _wave(low, high, (hour - sunrise) / (WARMEST_HOUR - sunrise))
    evening = _wave(high, low_after, (hour - WARMEST_HOUR) / night_h)
    curve = np.where(hour < sunrise, night, np.where(hour < WARMEST_HOUR, day, evening))
    return np.asarray(np.clip(curve, low, high)).reshape(-1)


def _wave(start: Floats, end: Floats, part: Floats) -> Floats:
    """Half a cosine wave from start (part 0) to end (part 1)."""
    return start + (end - start) * (1.0 - np.cos(np.pi * part)) / 2.0


def rain_shares(ordinals: NDArray[np.int64], seed: int) -> Floats:
    """Share of the day's rain in each hour (days x 24): a microcanonical random cascade.

    24 h in three boxes of 8 h (Mueller & Haberlandt 2015), then halved to 4, 2 and 1 h. A split
    gives all to one part or shares it by a beta law, and never loses any. Without the position
    and volume classes of Olsson 1998: they would make a day depend on its neighbours.
    ordinals: proleptic day numbers (datetime.date.toordinal).
    """
    boxes = _three_boxes(ordinals, seed)
    draw = 10
    for length_h, one_half in ONE_HALF.items():
        count = boxes.shape[1]
        choice = _uniform(ordinals, seed, draw + np.arange(count))
        middle = _beta(ordinals, seed, draw + 100 + 8 * np.arange(count), BETA_SHAPE[length_h])
        first = np.where(choice < one_half / 2, 1.0, np.where(choice < one_half, 0.0, middle))
        boxes = np.stack((boxes * first, boxes * (1.0 - first)), axis=2).reshape(len(boxes), -1)
        draw += 1000
    return boxes


def _three_boxes(ordinals: NDArray[np.int64], seed: int) -> Floats:
    """The day's rain in three boxes of 8 h: in one, in two or in all of them."""
    draws = _uniform(ordinals, seed, np.arange(5))
    weights = -np.log(np.maximum(draws[:, :3], 1e-300))  # exponential: an even split law
    which = np.minimum((draws[:, 3] * 3).astype(np.int64), 2)
    only = np.eye(3)[which]
    kept = np.where(
        draws[:, 4:5] < ONE_OF_THREE,
        only,
        np.where(draws[:, 4:5] < ONE_OF_THREE + TWO_OF_THREE, 1.0 - only, 1.0),
    )
    weights = weights * kept + 1e-300 * kept
    return np.asarray(weights / weights.sum(axis=1, keepdims=True))


def _beta(ordinals: NDArray[np.int64], seed: int, draws: NDArray[np.int64], shape: float) -> Floats:
    """Symmetric beta draws by Joehnk's method, best of four tries; an even split failing all."""
    value = np.full((len(ordinals), len(draws)), 0.5)
    done = np.zeros(value.shape, dtype=np.bool_)
    for attempt in range(4):
        x = _uniform(ordinals, seed, draws + 2 * attempt) ** (1.0 / shape)
        y = _uniform(ordinals, seed, draws + 2 * attempt + 1) ** (1.0 / shape)
        good = (x + y <= 1.0) & (x + y > 0.0) & ~done
        value = np.where(good, x / np.maximum(x + y, 1e-300), value)
        done |= good
    return value


def _uniform(ordinals: NDArray[np.int64], seed: int, draws: NDArray[np.int64]) -> Floats:
    """Uniform numbers in [0, 1), a function of seed, day and number of the draw alone.

    Source: the output function of SplitMix64 (Steele, Lea & Flood 2014), used as a hash.
    """
    start = np.array([seed % 2**64], dtype=np.uint64)
    key = _mix(_mix(start) + ordinals.astype(np.uint64))
    mixed = _mix(key[:, None] + draws.astype(np.uint64)[None, :] * np.uint64(0x9E3779B97F4A7C15))
    return (mixed >> np.uint64(11)).astype(np.float64) * 2.0**-53


def _mix(value: Uint64s) -> Uint64s:
    value = value + np.uint64(0x9E3779B97F4A7C15)
    value = (value ^ (value >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    value = (value ^ (value >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return np.asarray(value ^ (value >> np.uint64(31)))
