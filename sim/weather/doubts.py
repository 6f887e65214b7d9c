"""What a weather record looks like where it may have been read wrong, or is too little.

Nothing is refused here: each doubt is a caution of one line. It names no unit, since the owner of
the house may use either system. The bounds are our own (common practice, no source) and coarse: the
climates of tests/unit/test_doubts.py, from Singapore to Yakutsk, pass them all.
"""

from collections.abc import Iterator

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from evenclay.sim.calendar import YEAR_DAYS
from evenclay.sim.types import Floats
from evenclay.sim.weather import et0

LEAST_DAYS = 10  # fewer show nothing but that they are few
# Rain, by the mean of its wet days. Gauges give some 3 to 20 mm on the mean wet day, and models,
# which let it drizzle on most days, 1 mm and more (from memory).
INCHES_BELOW_MM, INCHES_YEAR_BELOW_MM = 1.0, 150.0
TENTHS_ABOVE_MM, MM_AS_INCHES_ABOVE_MM = 25.0, 60.0
LEAST_WET_DAYS = 5
RAINLESS_DAYS, DRY_SPELL_DAYS = 30, 300
SAME_TEMPERATURES_DAYS, SAME_RAIN_DAYS = 15, 10
# Temperature, against a mean that falls from the tropics to the poles and a yearly wave that grows.
TOO_WARM_C, TOO_COLD_C = 15.0, 20.0
LAPSE_C_M = 0.0065
ET0_RATIO = 0.3, 3.0  # of the file's ET0 to Hargreaves'
US = "--units us reads a file so where its headings do not say otherwise"


def of(daily: pd.DataFrame, latitude_deg: float | None, elevation_m: float | None) -> list[str]:
    """Every doubt about a record without gaps, a line each, in the order of their weight.

    daily: columns rain, tmin, tmax in mm and deg C, perhaps et0, by day. latitude_deg, elevation_m:
    None where not known.
    """
    found: list[str] = []
    if len(daily) >= LEAST_DAYS:
        low, high = (daily[key].to_numpy(dtype=np.float64) for key in ("tmin", "tmax"))
        rain = daily["rain"].to_numpy(dtype=np.float64)
        found += _rain(rain, daily)
        found += _stuck(rain, low, high, daily)
        if latitude_deg is not None:
            found += _place(daily, latitude_deg, elevation_m or 0.0)
            found += _et0(daily, latitude_deg)
    if len(daily) < YEAR_DAYS:
        found.append(
            f"only {len(daily)} days of weather: less than a year shows neither the seasons nor "
            "how the ground comes back after them"
        )
    return found


def _rain(rain: Floats, daily: pd.DataFrame) -> Iterator[str]:
    """Rain in another unit than it was read in, or none."""
    wet = rain[rain > 0.0]
    if len(wet) >= LEAST_WET_DAYS:
        mean_mm = float(wet.mean())
        yearly_mm = float(rain.sum()) * YEAR_DAYS / len(rain)
        if mean_mm < INCHES_BELOW_MM and yearly_mm < INCHES_YEAR_BELOW_MM:
            yield f"so little rain on its wet days: it looks like US units read as metric; {US}"
        elif mean_mm > TENTHS_ABOVE_MM and np.all(wet == np.rint(wet)):
            yield (
                "so much rain on its wet days, all in whole numbers: it looks like tenths read as "
                "wholes; --units tenths reads them"
            )
        elif mean_mm > MM_AS_INCHES_ABOVE_MM:
            yield (
                "so much rain on its wet days: it looks like metric units read as US ones, or like "
                "tenths; without --units us a heading that says nothing means metric units"
            )
    elif not len(wet) and len(rain) >= RAINLESS_DAYS:
        yield (
            f"no rain on any of its {len(rain)} days: every day counts as dry, whatever the place "
            "is like"
        )
    dry = _longest(rain == 0.0)
    if len(wet) and dry[1] > DRY_SPELL_DAYS:
        yield f"no rain on {dry[1]} days from {_day(daily, dry[0])} on: missing rain written as 0?"


def _stuck(rain: Floats, low: Floats, high: Floats, daily: pd.DataFrame) -> Iterator[str]:
    """The same values day after day."""
    same = (np.diff(low) == 0.0) & (np.diff(high) == 0.0)
    start, more = _longest(same)
    if more + 1 >= SAME_TEMPERATURES_DAYS:
        yield f"the same temperatures on {more + 1} days from {_day(daily, start)} on"
    else:
        for name, values in (("Tmin", low), ("Tmax", high)):
            if np.ptp(values) == 0.0:
                yield f"the same {name} on all of its {len(values)} days"
    start, more = _longest((np.diff(rain) == 0.0) & (rain[1:] > 0.0))
    if more + 1 >= SAME_RAIN_DAYS:
        yield f"the same rain on {more + 1} days from {_day(daily, start)} on"


def _place(daily: pd.DataFrame, latitude_deg: float, elevation_m: float) -> Iterator[str]:
    """Temperatures that a latitude does not have."""
    mean = daily[["tmin", "tmax"]].mean(axis=1).to_numpy()
    angle = 2 * np.pi * pd.DatetimeIndex(daily.index).day_of_year.to_numpy() / 365.25
    away = abs(latitude_deg)
    expected = 27.0 - 0.6 * max(0.0, away - 20.0) - LAPSE_C_M * elevation_m
    summer = np.copysign(1.0, latitude_deg) * -np.cos(angle - 2 * np.pi * 20 / 365.25)
    off = float(np.mean(mean - expected - 0.2 * away * summer))
    here = f"than latitude {latitude_deg:g} has"
    if off > TOO_WARM_C:
        yield f"far warmer {here}: US units read as metric, or another place? {US}"
    elif off < -TOO_COLD_C:
        yield f"far colder {here}: metric units read as US ones, a high mountain, or another place?"
    elif len(daily) >= YEAR_DAYS:
        wave = np.column_stack([np.ones_like(angle), np.cos(angle), np.sin(angle)])
        _, across, along = np.linalg.lstsq(wave, mean, rcond=None)[0]
        swing = float(np.hypot(across, along))
        peak_day = float(np.arctan2(along, across)) * 365.25 / (2 * np.pi) % 365.25
        in_summer = np.cos(2 * np.pi * (peak_day - (201 if latitude_deg >= 0 else 18)) / 365.25)
        if away >= 20.0 and swing >= 3.0 and in_summer < -0.5:
            yield (
                f"warm in the winter of latitude {latitude_deg:g}: is the latitude's sign right, "
                "and is it the weather of this place?"
            )
        elif swing > 8.0 + 0.45 * away:
            yield f"more of a winter and summer {here}: the weather of another place?"
        elif swing < 0.05 * away:
            yield f"less of a winter and summer {here}: the weather of another place?"


def _et0(daily: pd.DataFrame, latitude_deg: float) -> Iterator[str]:
    """A file's own ET0 in another unit than it was read in."""
    if "et0" not in daily:
        return
    day_of_year = pd.DatetimeIndex(daily.index).day_of_year.to_numpy()
    ours = et0.hargreaves_mm(
        daily["tmin"].to_numpy(), daily["tmax"].to_numpy(), latitude_deg, day_of_year
    )
    ratio = float(daily["et0"].sum()) / max(float(np.sum(ours)), 1e-9)
    least, most = ET0_RATIO
    if not least <= ratio <= most:
        yield f"its ET0 is {ratio:.2g} times what its temperatures suggest: in another unit?"


def _longest(mask: NDArray[np.bool_]) -> tuple[int, int]:
    """Start and length of the longest run of true values."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False]))))
    if not edges.size:
        return 0, 0
    lengths = edges[1::2] - edges[::2]
    at = int(np.argmax(lengths))
    return int(edges[::2][at]), int(lengths[at])


def _day(daily: pd.DataFrame, at: int) -> str:
    return str(pd.DatetimeIndex(daily.index)[at].date())
