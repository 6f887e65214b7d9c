"""GHCN-Daily of NOAA NCEI, one station: the by-station CSV and the fixed-width .dly.

Source: NOAA NCEI, GHCN-Daily readme and readme-by_station. Both hold tenths of mm, deg C and m/s.
"""

import re

import numpy as np
import pandas as pd

from sim.formats.cells import Lines, Table, WeatherError, check_ranges, dates_of, numbers_of

CSV_LINE = re.compile(r"[A-Za-z0-9_-]{11},\d{8},[A-Z0-9]{4},")
DLY_LINE = re.compile(r"[A-Za-z0-9_-]{11}\d{6}[A-Z][A-Z0-9]{3}[ \d-]")
NEEDED = {"PRCP": "rain", "TMIN": "tmin", "TMAX": "tmax"}
ELEMENTS = {**NEEDED, "AWND": "wind_10m"}
SEVERAL_DAYS = "MDPR"  # one reading for the rain of several days
COLUMNS = ["id", "date", "element", "value", "qflag", "line"]
CSV_FIELDS, CSV_LEAST = 8, 6  # what follows the quality flag is of no use here
DLY_CHARACTERS = 269
DLY_LEAST = DLY_CHARACTERS - 3  # the last day's flags may be blanks that an editor cut off


def read_csv(name: str, lines: Lines) -> Table:
    """Read the by-station CSV: an element of a day a line, in any order."""
    rows: list[tuple[str, str, str, str, str, int]] = []
    for number, line in lines:
        cells = [cell.strip() for cell in line.split(",")]
        if len(cells) < CSV_LEAST:
            raise WeatherError(
                f"{name}, line {number}: {len(cells)} fields; allowed are {CSV_FIELDS}: station, "
                "date, element, value, three flags, time"
            )
        station, date, element, value, _, qflag = cells[:CSV_LEAST]
        rows.append((station, date, element, value, qflag, number))
    return _table(name, pd.DataFrame(rows, columns=COLUMNS))


def read_dly(name: str, lines: Lines) -> Table:
    """Read the fixed-width file: an element of a month a line, 31 values with three flags each."""
    rows: list[tuple[str, str, str, str, str, int]] = []
    for number, line in lines:
        if len(line) < DLY_LEAST or not DLY_LINE.match(line):
            raise WeatherError(
                f"{name}, line {number}: {len(line)} characters, beginning {line[:21]!r}; allowed "
                f"is a station's month of {DLY_CHARACTERS} characters"
            )
        station, month, element = line[:11], line[11:17], line[17:21]
        if element not in ELEMENTS and element != SEVERAL_DAYS:
            continue
        line = line.ljust(DLY_CHARACTERS)
        for day in range(1, 32):
            at = 21 + 8 * (day - 1)
            value, qflag = line[at : at + 5].strip(), line[at + 6].strip()
            if value != "-9999":  # which also stands for days past the month's end
                rows.append((station, f"{month}{day:02}", element, value, qflag, number))
    if not rows:
        raise WeatherError(f"{name}: no usable PRCP values; rain, Tmin, Tmax are needed")
    return _table(name, pd.DataFrame(rows, columns=COLUMNS))


def _table(name: str, rows: pd.DataFrame) -> Table:
    """One row an element and day, made one row a day."""
    notes: list[str] = []
    gathered = int((rows["element"] == SEVERAL_DAYS).sum())
    if gathered:
        notes.append(f"{gathered} readings of several days' rain in one (MDPR): left out")
    rows = rows[rows["element"].isin(list(ELEMENTS))]
    stations = sorted(set(rows["id"]))
    if len(stations) != 1:
        raise WeatherError(f"{name}: stations found: {len(stations)}; allowed is one")
    flagged = rows["qflag"] != ""
    if flagged.any():
        notes.append(f"{int(flagged.sum())} values failed the archive's quality checks: dropped")
    rows = rows[~flagged]
    repeated = rows.duplicated(["date", "element"])
    if repeated.any():
        row = rows[repeated].iloc[0]
        raise WeatherError(
            f"{name}, line {row['line']}: {row['element']} of {row['date']} appears twice; "
            "allowed is one value a day"
        )
    if rows.empty:
        raise WeatherError(f"{name}: no usable PRCP values; rain, Tmin, Tmax are needed")
    dates = dates_of(name, rows["date"], rows["line"])
    tenths = numbers_of(name, "value", rows["value"], rows["line"])
    rows = rows.assign(date=dates, number=tenths / 10.0)
    line_of_day = rows.groupby("date")["line"].min()
    daily = rows.pivot(index="date", columns="element", values="number")
    daily = daily.rename(columns=ELEMENTS).sort_index()
    for element, column in NEEDED.items():
        if column not in daily or daily[column].isna().all():
            raise WeatherError(f"{name}: no usable {element} values; rain, Tmin, Tmax are needed")
    daily["line"] = line_of_day
    crossed = daily["tmax"] < daily["tmin"]
    if crossed.any():
        notes.append(f"Tmax below Tmin on {int(crossed.sum())} days: both dropped")
        daily.loc[crossed, ["tmin", "tmax"]] = np.nan
    check_ranges(name, daily)
    return Table(daily, notes)
