"""EnergyPlus weather (EPW): eight header lines, then the hours of a year.

Such a year is usually put together from months of several years, and many carry no rain. The notes
say the first, a caution the second, as of any record. Source: EnergyPlus, Auxiliary Programs,
"EnergyPlus Weather File (EPW) Data Dictionary".
"""

import datetime

import numpy as np
import pandas as pd

from evenclay.sim.calendar import HOURS
from evenclay.sim.weather import et0
from evenclay.sim.weather.daily import WeatherError
from evenclay.sim.weather.formats.cells import (
    HIGHEST_M,
    LOWEST_M,
    Lines,
    Table,
    check_ranges,
    split,
)
from evenclay.sim.weather.formats.dates import FIRST_YEAR, LAST_YEAR

FIRST_WORD = "LOCATION"
LAST_HEADER = "DATA PERIODS"
LONGEST_GAP_H = 6  # air temperature between two known hours
# Field, counted from 0, and the code at and above which it is missing.
FIELDS = {
    "temp": (6, 99.9),
    "dew": (7, 99.9),
    "rh": (8, 999.0),
    "solar": (13, 9999.0),
    "wind_10m": (21, 999.0),
    "rain": (33, 999.0),
}
NEVER_NEGATIVE = ("rh", "solar", "wind_10m", "rain")
LEAST_FIELDS = 22  # older files end before the rain
MJ_PER_WH = 0.0036
COMMON_YEAR, LEAP_YEAR = 2001, 2004  # dates for a year that never was


def read(name: str, lines: Lines) -> Table:
    """Read an EPW; its hours go along with the daily values made of them."""
    latitude, elevation = _place(name, *lines[0])
    start = [i for i, (_, line) in enumerate(lines) if line.upper().startswith(LAST_HEADER)]
    if not start:
        raise WeatherError(f"{name}: no {LAST_HEADER} line; an EPW has eight header lines")
    number, periods = lines[start[0]]
    if split(name, number, periods, ",")[1:3] != ["1", "1"]:
        raise WeatherError(
            f"{name}, line {number}: {periods.strip()!r}; allowed is one period of hourly data"
        )
    hours = _hours(name, lines[start[0] + 1 :])
    notes: list[str] = []
    index = _calendar(name, hours, notes)
    _mend_hours(name, hours, notes)
    daily = _daily(hours, index)
    check_ranges(name, daily)
    return Table(
        daily,
        notes,
        latitude_deg=latitude,
        elevation_m=elevation,
        hours=hours[["rain", "temp", "solar"]],
    )


def _place(name: str, number: int, line: str) -> tuple[float, float]:
    cells = split(name, number, line, ",")
    try:
        latitude, elevation = float(cells[6]), float(cells[9])
    except (IndexError, ValueError):
        latitude, elevation = 99.0, 0.0
    if not (-90.0 <= latitude <= 90.0 and LOWEST_M <= elevation <= HIGHEST_M):
        raise WeatherError(
            f"{name}, line {number}: {line.strip()!r}; allowed is a {FIRST_WORD} line with "
            "latitude seventh and elevation tenth"
        )
    return latitude, elevation


def _hours(name: str, lines: Lines) -> pd.DataFrame:
    """Date, hour and the fields that are of use, NaN where missing."""
    rows = []
    for number, line in lines:
        cells = split(name, number, line, ",")
        if len(cells) < LEAST_FIELDS:
            raise WeatherError(
                f"{name}, line {number}: {len(cells)} fields; allowed are 35 (at least "
                f"{LEAST_FIELDS})"
            )
        row: dict[str, float] = {"line": number}
        try:
            for key, at in (("year", 0), ("month", 1), ("day", 2), ("hour", 3)):
                row[key] = int(cells[at])
            for key, (at, missing) in FIELDS.items():
                value = float(cells[at]) if at < len(cells) and cells[at] else np.nan
                if key in NEVER_NEGATIVE and value < 0.0:
                    raise ValueError(f"field {at + 1} is {value:g}")
                row[key] = value if value < missing else np.nan
        except ValueError as error:
            raise WeatherError(
                f"{name}, line {number}: {error}; allowed are numbers, and none below 0 for "
                "humidity, radiation, wind and rain"
            ) from None
        rows.append(row)
    if not rows:
        raise WeatherError(f"{name}: no hours found")
    return pd.DataFrame(rows)


def _calendar(name: str, hours: pd.DataFrame, notes: list[str]) -> pd.DatetimeIndex:
    """The file's days as dates of one year; which year is said."""
    expected = np.arange(len(hours)) % HOURS + 1
    wrong = np.flatnonzero(hours["hour"].to_numpy() != expected)
    if wrong.size or len(hours) % HOURS:
        at = int(wrong[0]) if wrong.size else len(hours) - 1
        raise WeatherError(
            f"{name}, line {int(hours['line'].iloc[at])}: hour {int(hours['hour'].iloc[at])}; "
            f"allowed are hours 1 to {HOURS} of each day, in order"
        )
    first = hours.iloc[::HOURS]
    years = sorted({int(year) for year in hours["year"]})
    wanted = list(zip(first["month"].astype(int), first["day"].astype(int), strict=True))
    for year in ([years[0]] if len(years) == 1 else []) + [COMMON_YEAR, LEAP_YEAR]:
        index = _same_days(year, wanted)
        if index is not None:
            break
    else:
        raise WeatherError(f"{name}: its days are not one after another in a year")
    if len(years) > 1:
        notes.append(
            f"EPW: no real year: its months come from {len(years)} years ({years[0]} to "
            f"{years[-1]}); dated {year} here"
        )
    else:
        notes.append(f"EPW: most are a typical year, not a real one; dated {year} here")
    return index


def _same_days(year: int, wanted: list[tuple[int, int]]) -> pd.DatetimeIndex | None:
    if not FIRST_YEAR <= year <= LAST_YEAR:
        return None
    try:
        first = datetime.date(year, *wanted[0])
    except ValueError:
        return None
    index = pd.date_range(first, periods=len(wanted), freq="D")
    found = list(zip(index.month, index.day, strict=True))
    return index if found == wanted and index[-1].year == year else None


def _mend_hours(name: str, hours: pd.DataFrame, notes: list[str]) -> None:
    """Fill short gaps of temperature; count missing rain and radiation as none, and say so."""
    unknown = hours["temp"].isna()
    if unknown.any():
        hours["temp"] = hours["temp"].interpolate(limit=LONGEST_GAP_H, limit_area="inside")
        still = hours["temp"].isna()
        if still.any():
            raise WeatherError(
                f"{name}, line {int(hours['line'][still].iloc[0])}: temperature missing; allowed "
                f"are gaps of {LONGEST_GAP_H} hours"
            )
        notes.append(f"temperature: {int(unknown.sum())} missing hours interpolated")
    without = int(hours["rain"].isna().sum())
    hours["rain"] = hours["rain"].fillna(0.0)
    if without:
        notes.append(f"rain: {without} missing hours counted as dry")


def _daily(hours: pd.DataFrame, index: pd.DatetimeIndex) -> pd.DataFrame:
    """Daily values of the hours; a day with a missing hour of radiation or wind has none."""
    temp = hours["temp"].to_numpy()
    by_dew = et0.saturation_vapour_kpa(hours["dew"].to_numpy())
    by_rh = et0.saturation_vapour_kpa(temp) * hours["rh"].clip(upper=100).to_numpy() / 100.0
    values = {
        "rain": hours["rain"].to_numpy().reshape(-1, HOURS).sum(axis=1),
        "tmin": temp.reshape(-1, HOURS).min(axis=1),
        "tmax": temp.reshape(-1, HOURS).max(axis=1),
        "vapour": np.where(np.isnan(by_dew), by_rh, by_dew).reshape(-1, HOURS).mean(axis=1),
        "wind_10m": hours["wind_10m"].to_numpy().reshape(-1, HOURS).mean(axis=1),
        "solar": hours["solar"].to_numpy().reshape(-1, HOURS).sum(axis=1) * MJ_PER_WH,
        "line": hours["line"].to_numpy()[::HOURS],
    }
    return pd.DataFrame(values, index=index)
