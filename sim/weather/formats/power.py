"""Daily CSV of NASA POWER: a header between two marks, then a row a day for one place.

Source: NASA POWER, the header of its own files.
"""

import re

import pandas as pd

from evenclay.sim.weather.daily import WeatherError
from evenclay.sim.weather.formats.cells import (
    Lines,
    Table,
    check_crossed,
    check_order,
    check_ranges,
    numbers_of,
    rows_of,
)
from evenclay.sim.weather.formats.dates import out_of_years
from evenclay.sim.weather.formats.units import KINDS, Unit, default_of, unit_of

BEGIN, END = "-BEGIN HEADER-", "-END HEADER-"
COLUMNS = {
    "rain": ("PRECTOTCORR", "PRECTOT"),
    "tmin": ("T2M_MIN",),
    "tmax": ("T2M_MAX",),
    "rh": ("RH2M",),
    "dew": ("T2MDEW",),
    "wind_2m": ("WS2M",),
    "wind_10m": ("WS10M",),
    "solar": ("ALLSKY_SFC_SW_DWN",),
}
NEEDED = ("rain", "tmin", "tmax")


def read(name: str, lines: Lines) -> Table:
    """Read a daily POWER file; latitude and elevation come from its header."""
    ends = [i for i, (_, line) in enumerate(lines) if line.strip().upper() == END]
    if not ends or len(lines) < ends[0] + 3:
        raise WeatherError(f"{name}: no {END} followed by columns and daily rows")
    header = [line for _, line in lines[1 : ends[0]]]
    text = "\n".join(header)
    if not re.search(r"\bdaily\b", text, re.IGNORECASE):
        raise WeatherError(f"{name}, line {lines[1][0]}: {header[:1]}; allowed are daily files")
    body = lines[ends[0] + 1 :]
    rows = rows_of(name, body, ",")
    numbers = pd.Series([number for number, _ in body[1:]])
    found = {
        key: column for key, names in COLUMNS.items() for column in names if column in rows.columns
    }
    missing = [COLUMNS[key][0] for key in NEEDED if key not in found]
    if missing or "LAT" in rows.columns:
        raise WeatherError(
            f"{name}, line {body[0][0]}: columns {', '.join(rows.columns)}; allowed is one place "
            f"with {', '.join(COLUMNS[key][0] for key in NEEDED)}"
        )
    daily = pd.DataFrame({"line": numbers})
    code = _number(r"missing.*:\s*(-?\d+(?:\.\d+)?)", text)
    notes = ["NASA POWER: estimates for a grid cell, not a gauge; a storm may be missed"]
    units: dict[str, Unit] = {}
    for key, column in found.items():
        unit = _unit(key, column, text, notes)
        if unit is not None:
            units[key] = unit
            values = numbers_of(name, column, rows[column], numbers)
            daily[key] = unit.metric(values if code is None else values.mask(values == code))
    daily.index = _days(name, rows, numbers)
    if re.search(r"\bin UTC\b", text):
        notes.append("days are counted in UTC, not in local time")
    check_order(name, daily)
    check_ranges(name, daily, units)
    check_crossed(name, daily, units)
    latitude = _number(r"latitude\s*:?\s*(-?\d+(?:\.\d+)?)", text)
    return Table(daily, notes, latitude_deg=latitude, elevation_m=elevation_m(text))


def elevation_m(header: str) -> float | None:
    """The mean height of the grid cell that a header tells, None where it tells none."""
    return _number(r"elevation[^\n]*=\s*(-?\d+(?:\.\d+)?)\s*m", header)


def _number(pattern: str, text: str) -> float | None:
    match = re.search(pattern, text, re.IGNORECASE)
    return float(match.group(1)) if match else None


def _days(name: str, rows: pd.DataFrame, numbers: pd.Series) -> pd.DatetimeIndex:
    """Dates from YEAR, MO, DY or from YEAR, DOY."""
    for parts, layout in ((("YEAR", "MO", "DY"), "%Y-%m-%d"), (("YEAR", "DOY"), "%Y-%j")):
        if set(parts) <= set(rows.columns):
            text = rows[list(parts)].agg("-".join, axis=1)
            days = pd.to_datetime(text, format=layout, errors="coerce")
            bad = days.isna() | out_of_years(days)
            if bad.any():
                line, found = numbers[bad].iloc[0], text[bad].iloc[0]
                raise WeatherError(
                    f"{name}, line {line}: {'-'.join(parts)} {found!r}; allowed is a calendar day"
                )
            return pd.DatetimeIndex(days)
    raise WeatherError(f"{name}: no columns YEAR, MO, DY or YEAR, DOY")


def _unit(key: str, column: str, header: str, notes: list[str]) -> Unit | None:
    """The unit that the header gives a column; radiation without one is of no use."""
    found = re.search(rf"^{column}\b[^\n]*\(([^()]*)\)", header, re.MULTILINE)
    unit = unit_of(KINDS[key], found[1]) if found else None
    if unit is None and key == "solar":
        notes.append(
            f"radiation not used: its unit in the header is {found[1] if found else 'none'}"
        )
        return None
    return unit or default_of(key, "metric")
