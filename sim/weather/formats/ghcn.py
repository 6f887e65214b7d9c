"""GHCN-Daily of NOAA NCEI, one station: the fixed-width .dly, and CSV in the two shapes it has.

The by-station CSV has an element of a day a line, with or without a header. The access CSV has a
day a line, and beside each element a column of its attributes. All hold tenths of mm, deg C and
m/s. Source: NOAA NCEI, GHCN-Daily readme and readme-by_station; the access CSV from memory.
"""

import re
from collections.abc import Iterable

import numpy as np
import pandas as pd

from evenclay.sim.weather.daily import WeatherError
from evenclay.sim.weather.formats.cells import (
    HIGHEST_M,
    LOWEST_M,
    Lines,
    Table,
    check_ranges,
    numbers_of,
    rows_of,
    split,
)
from evenclay.sim.weather.formats.dates import dates_of
from evenclay.sim.weather.formats.units import KINDS, Unit, default_of

Row = tuple[str, str, str, str, str, int]  # as COLUMNS has it

ID = re.compile(r"[A-Za-z0-9_-]{11}$")
DLY_LINE = re.compile(r"[A-Za-z0-9_-]{11}\d{6}[A-Z][A-Z0-9]{3}[ \d-]")
NEEDED = {"PRCP": "rain", "TMIN": "tmin", "TMAX": "tmax"}
ELEMENTS = {**NEEDED, "AWND": "wind_10m"}
SEVERAL_DAYS = "MDPR"  # one reading for the rain of several days
COLUMNS = ["id", "date", "element", "value", "qflag", "line"]
# Names of the by-station CSV's fields, in order; what follows the quality flag is of no use here.
FIELDS = (
    ("ID", "STATION"),
    ("DATE", "YEAR/MONTH/DAY"),
    ("ELEMENT",),
    ("DATA_VALUE", "DATA VALUE", "VALUE"),
    ("M_FLAG", "M-FLAG", "MFLAG"),
    ("Q_FLAG", "Q-FLAG", "QFLAG"),
)
CSV_FIELDS = 8
ATTRIBUTES = "_ATTRIBUTES"
DLY_CHARACTERS = 269
DLY_LEAST = DLY_CHARACTERS - 3  # the last day's flags may be blanks that an editor cut off


def is_by_station(cells: list[str]) -> bool:
    """Whether a file's first line is the header or the first row of a by-station CSV."""
    if len(cells) < len(FIELDS):
        return False
    if _places(cells) is not None:
        return True
    station, date, element = cells[:3]
    return bool(
        ID.match(station) and re.fullmatch(r"\d{8}", date) and re.fullmatch(r"[A-Z0-9]{4}", element)
    )


def is_access(cells: list[str]) -> bool:
    """Whether a file's first line is the header of an access CSV with attributes."""
    return {"DATE", "TMIN" + ATTRIBUTES, "TMAX" + ATTRIBUTES} <= set(cells)


def _places(cells: list[str]) -> list[int] | None:
    """Where the fields of a by-station CSV stand, by its header; None without a header."""
    upper = [cell.upper() for cell in cells]
    found = [next((upper.index(n) for n in names if n in upper), None) for names in FIELDS]
    places = [place for place in found if place is not None]
    return places if len(places) == len(FIELDS) else None


def read_csv(name: str, lines: Lines) -> Table:
    """Read the by-station CSV: an element of a day a line, in any order."""
    places = _places(split(name, *lines[0], ","))
    body = lines if places is None else lines[1:]
    places = places or list(range(len(FIELDS)))
    rows: list[Row] = []
    for number, line in body:
        cells = split(name, number, line, ",")
        if len(cells) <= max(places):
            raise WeatherError(
                f"{name}, line {number}: {len(cells)} fields; allowed are {CSV_FIELDS}: station, "
                "date, element, value, three flags, time"
            )
        station, date, element, value, _, qflag = (cells[place] for place in places)
        rows.append((station, date, element, value, qflag, number))
    return _table(name, rows)


def read_access(name: str, lines: Lines, units: str, order: str | None) -> Table:
    """Read the access CSV: a day a line, elements in columns, their flags in others.

    Whole numbers are tenths, as the archive keeps them. Where any has a decimal point, the file was
    exported in `units`, a name of units.DEFAULTS. order: see dates_of.
    """
    wide = rows_of(name, lines, ",")
    if len(set(wide.columns)) < len(wide.columns):
        raise WeatherError(f"{name}, line {lines[0][0]}: two columns of one name; allowed is one")
    numbers = [number for number, _ in lines[1:]]
    station = wide["STATION"] if "STATION" in wide else [""] * len(wide)
    rows: list[Row] = []
    for element in ELEMENTS:
        if element not in wide:
            continue
        flags = wide.get(element + ATTRIBUTES, pd.Series("", index=wide.index))
        quality = [[*flag.split(","), ""][1].strip() for flag in flags]
        parts = zip(station, wide["DATE"], wide[element], quality, numbers, strict=True)
        rows += [(s, day, element, value, q, n) for s, day, value, q, n in parts if value]
    whole = not any("." in value for _, _, _, value, _, _ in rows)
    table = _table(name, rows, "tenths" if whole else units, order)
    table.latitude_deg = _middle(wide, "LATITUDE", -90.0, 90.0)
    table.elevation_m = _middle(wide, "ELEVATION", LOWEST_M, HIGHEST_M)
    return table


def _middle(wide: pd.DataFrame, column: str, least: float, most: float) -> float | None:
    """The median of a column that ought to be the same on every day, None where there is none."""
    values = pd.to_numeric(wide.get(column, pd.Series(dtype=str)), errors="coerce")
    value = float(values.median())
    return value if least <= value <= most else None


def read_dly(name: str, lines: Lines) -> Table:
    """Read the fixed-width file: an element of a month a line, 31 values with three flags each."""
    rows: list[Row] = []
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
    return _table(name, rows)


def _table(
    name: str, found: Iterable[Row], units: str = "tenths", order: str | None = None
) -> Table:
    """One row an element and day, made one row a day."""
    notes: list[str] = []
    rows = pd.DataFrame(found, columns=COLUMNS)
    gathered = int((rows["element"] == SEVERAL_DAYS).sum())
    if gathered:
        notes.append(f"{gathered} readings of several days' rain in one (MDPR): left out")
    rows = rows[rows["element"].isin(list(ELEMENTS))]
    if rows.empty:
        raise WeatherError(f"{name}: no usable PRCP values; rain, Tmin, Tmax are needed")
    stations = sorted(set(rows["id"]))
    if len(stations) != 1:
        raise WeatherError(f"{name}: stations found: {len(stations)}; allowed is one")
    flagged = rows["qflag"] != ""
    if flagged.any():
        notes.append(f"{int(flagged.sum())} values failed the archive's quality checks: dropped")
    rows = rows[~flagged]
    if rows.empty:
        raise WeatherError(f"{name}: no usable PRCP values; rain, Tmin, Tmax are needed")
    dates = dates_of(name, rows["date"], rows["line"], order)
    repeated = rows.assign(date=dates).duplicated(["date", "element"])
    if repeated.any():
        row = rows[repeated].iloc[0]
        raise WeatherError(
            f"{name}, line {row['line']}: {row['element']} of {row['date']} appears twice; "
            "allowed is one value a day"
        )
    values = numbers_of(name, "value", rows["value"], rows["line"])
    rows = rows.assign(date=dates, number=values)
    line_of_day = rows.groupby("date")["line"].min()
    daily = rows.pivot(index="date", columns="element", values="number")
    daily = daily.rename(columns=ELEMENTS).sort_index()
    for element, column in NEEDED.items():
        if column not in daily or daily[column].isna().all():
            raise WeatherError(f"{name}: no usable {element} values; rain, Tmin, Tmax are needed")
    in_units: dict[str, Unit] = {}
    for key in daily.columns.intersection(list(KINDS)):
        in_units[key] = default_of(key, units)
        daily[key] = in_units[key].metric(daily[key])
    daily["line"] = line_of_day
    crossed = daily["tmax"] < daily["tmin"]
    if crossed.any():
        notes.append(f"Tmax below Tmin on {int(crossed.sum())} days: both dropped")
        daily.loc[crossed, ["tmin", "tmax"]] = np.nan
    check_ranges(name, daily, None if units == "tenths" else in_units)
    return Table(daily, notes)
