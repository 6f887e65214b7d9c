"""A plain daily table: one header line, then a row a day in order, between any usual signs.

What stands before the header is passed over. A unit is taken from the column's heading or from a
line of units under the header; where neither names one, from the caller.
"""

import re
from itertools import pairwise

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
    split,
)
from evenclay.sim.weather.formats.dates import dates_of
from evenclay.sim.weather.formats.units import (
    INCH,
    KINDS,
    SPELLINGS,
    Unit,
    default_of,
    is_unit,
    split_heading,
    unit_of,
)

# Names as _plain_name leaves them, the most telling first.
NAMES = {
    "date": "date datetime dateutc datelocal localdate obsdate yyyymmdd time timestamp day",
    "year": "year yr yyyy",
    "month": "month mon mo mm",
    "day": "day dy dd dayofmonth",
    "doy": "doy dayofyear yday julianday jday",
    "rain": "rain rainfall precip precipsum prcp prec ppt pcp pcpn prectotcorr prectot",
    "tmin": "tmin mintemp tempmin tn mint t2mmin temp2mmin mintemp2m templow lowtemp low min lo",
    "tmax": "tmax maxtemp tempmax tx maxt t2mmax temp2mmax maxtemp2m temphigh hightemp high max hi",
    "et0": "et0 eto etref refet referenceet referenceevapotranspiration et0faoevapotranspiration",
}
# Only for an estimate of ET0. A wind needs its height in its name and radiation its unit: a guess
# would spoil the estimate and nobody would see it.
NAMES_BESIDE = {
    "rh": "rh rhmean rh2m humidity relativehumidity relativehumidity2mmean",
    "rh_min": "rhmin minrh humiditymin relativehumidity2mmin",
    "rh_max": "rhmax maxrh humiditymax relativehumidity2mmax",
    "dew": "tdew dew dewpoint t2mdew dewpointtemp dewpoint2mmean",
    "wind_2m": "u2 ws2m wind2m windspeed2m windspeed2mmean",
    "wind_10m": "u10 ws10m wind10m windspeed10m windspeed10mmean",
    "solar": "solar srad rs radiation solarradiation globalradiation shortwaveradiationsum",
}
_ALL = {key: names.split() for key, names in (NAMES | NAMES_BESIDE).items()}
TELLING = ("date", "year", "month", "day", "rain", "tmin", "tmax")  # what makes a line the header
STATION, LATITUDE = {"station", "stationid"}, {"latitude", "lat"}
PREAMBLE_LINES = 100  # within so many lines a header must come
MISSING_INCHES = 99.99  # NOAA NCEI's summary of the day (from memory); no day has had so much rain
_FILLERS = re.compile(r"\b(daily|total|amount|air|24h|24hr|of)\b")
_SHORTER = {
    "temperature": "temp",
    "maximum": "max",
    "minimum": "min",
    "precipitation": "precip",
    "average": "mean",
    "avg": "mean",
}


def read(
    name: str,
    lines: Lines,
    columns: dict[str, str],
    units: str = "metric",
    date_order: str | None = None,
) -> Table:
    """Read a plain table.

    columns: names in this file for keys of NAMES and NAMES_BESIDE. units: what columns without a
    unit are in, a name of units.DEFAULTS. date_order: see dates_of.
    """
    _check_options(columns)
    at, separator = _header(name, lines, columns)
    header_line = lines[at][0]
    found = _find_columns(name, header_line, split(name, *lines[at], separator), columns)
    rows = rows_of(name, lines[at:], separator)
    if rows.empty:
        raise WeatherError(f"{name}: no daily rows found")
    line_numbers = pd.Series([number for number, _ in lines[at + 1 :]])
    table = Table(pd.DataFrame())
    below: dict[str, str] = {}
    day = rows[found["date" if "date" in found else "year"]]
    if not any(character.isdigit() for character in day.iloc[0]):
        below = {str(column): str(cell).strip("[]()- ") for column, cell in rows.iloc[0].items()}
        table.notes.append(f"line {line_numbers.iloc[0]} holds units, not a day")
        rows = rows.iloc[1:].reset_index(drop=True)
        line_numbers = line_numbers.iloc[1:].reset_index(drop=True)
        if rows.empty:
            raise WeatherError(f"{name}: no daily rows found")
    _one_station(name, rows)
    daily = pd.DataFrame({"line": line_numbers})
    found_units: dict[str, Unit] = {}
    for key in (key for key in KINDS if key in found):
        heading = found[key]
        text = split_heading(heading)[1] or below.get(heading, "")
        unit = _unit(f"{name}, line {header_line}", key, heading, text)
        if unit is None and key == "solar" and key not in columns:
            continue
        found_units[key] = unit or default_of(key, units)
        if unit is None and text:
            table.cautions.append(
                f"{text!r} of the heading {heading!r} is no unit that is known: "
                f"read as --units {units} has it"
            )
        cells = rows[heading]
        if separator != ",":
            cells = cells.str.replace(",", ".", regex=False)
        values = numbers_of(name, heading, cells, line_numbers)
        if found_units[key] == INCH:
            values = values.mask(values == MISSING_INCHES)
        daily[key] = found_units[key].metric(values)
    daily.index = pd.DatetimeIndex(_dates(name, rows, found, line_numbers, date_order))
    check_order(name, daily)
    check_ranges(name, daily, found_units)
    check_crossed(name, daily, found_units)
    table.daily = daily
    table.latitude_deg = _latitude(name, lines[: at + 2], separator)
    return table


def _check_options(columns: dict[str, str]) -> None:
    for key in columns:
        if key not in _ALL:
            raise WeatherError(f"column option {key!r}: allowed are {', '.join(_ALL)}")


def _header(name: str, lines: Lines, columns: dict[str, str]) -> tuple[int, str]:
    """Where the header stands and what divides its cells: the line with most names we know."""
    best, best_at, separator = -1, 0, ","
    for at, (number, line) in enumerate(lines[:PREAMBLE_LINES]):
        sign = max("\t;,", key=lambda sign: len(split(name, number, line, sign)))
        if len(split(name, number, line, sign)) == 1:
            sign = " "
        cells = split(name, number, line, sign)
        plain_names = {_plain_name(cell) for cell in cells if cell[:1].isalpha()}
        known = sum(not plain_names.isdisjoint(_ALL[key]) for key in TELLING)
        known += sum(column in cells for column in columns.values())
        if known > best:
            best, best_at, separator = known, at, sign
    return best_at, separator


def _plain_name(heading: str) -> str:
    """A heading's name in lower case, without its unit, punctuation and words that add nothing."""
    name = re.sub(r"[^a-z0-9]+", " ", split_heading(heading)[0].lower())
    name = _FILLERS.sub("", name).replace(" ", "")
    for word, shorter in _SHORTER.items():
        name = name.replace(word, shorter)
    return name


def _find_columns(
    name: str, line: int, header: list[str], columns: dict[str, str]
) -> dict[str, str]:
    """Which column holds what: first as the caller says, then by common names."""
    where = f"{name}, line {line}"
    found: dict[str, str] = {}
    for key, column in columns.items():
        if column not in header:
            raise WeatherError(f"{where}: no column {column!r}; found {', '.join(header)}")
        found[key] = column
    for key, names in _ALL.items():
        matches = sorted(
            (column for column in header if _plain_name(column) in names),
            key=lambda column: names.index(_plain_name(column)),
        )
        if key not in found and len(matches) > 1 and key in KINDS:
            raise WeatherError(
                f"{where}: two {key} columns: {', '.join(matches)}; allowed is one, or "
                f"--column {key}=NAME to choose"
            )
        if key not in found and matches:
            found[key] = matches[0]
    missing = [key for key in ("rain", "tmin", "tmax") if key not in found]
    if found.keys() >= {"year", "month", "day"} or found.keys() >= {"year", "doy"}:
        found.pop("date", None)
    elif "date" not in found:
        parts = [key for key in ("year", "month", "day") if key not in found]
        missing += parts if len(parts) < 3 else ["date"]
    if missing:
        raise WeatherError(
            f"{where}: no column for {', '.join(missing)}; found {', '.join(header)}; name it by "
            f"--column {missing[0]}=NAME"
        )
    for column in found.values():
        if header.count(column) > 1:
            raise WeatherError(f"{where}: two columns headed {column!r}; allowed is one")
    return found


def _unit(where: str, key: str, heading: str, text: str) -> Unit | None:
    """The unit of a column by the text of its heading; None where that names none."""
    unit = unit_of(KINDS[key], text)
    if unit is None and is_unit(text):
        allowed = ", ".join(unit.name for unit in SPELLINGS[KINDS[key]])
        raise WeatherError(
            f"{where}: the {key} column is headed {heading!r}, in {text}; allowed are {allowed}"
        )
    return unit


def _one_station(name: str, rows: pd.DataFrame) -> None:
    """Refuse rows of several stations in one file."""
    for column in rows.columns:
        if _plain_name(column) in STATION:
            stations = sorted(set(rows[column]))
            if len(stations) > 1:
                raise WeatherError(
                    f"{name}: stations found: {len(stations)}, such as {stations[0]} and "
                    f"{stations[1]}; allowed is one: keep its rows alone"
                )


def _latitude(name: str, lines: Lines, separator: str) -> float | None:
    """The latitude that stands below a heading of that name, before the rows or in the first."""
    for (number, heading), below in pairwise(lines):
        cells = split(name, *below, separator)
        for cell, value in zip(split(name, number, heading, separator), cells, strict=False):
            if _plain_name(cell) in LATITUDE:
                try:
                    return float(value) if -90.0 <= float(value) <= 90.0 else None
                except ValueError:
                    return None
    return None


def _dates(
    name: str,
    rows: pd.DataFrame,
    found: dict[str, str],
    line_numbers: pd.Series,
    order: str | None,
) -> pd.Series:
    """The day of each row, from one date column or from its parts."""
    if "date" in found:
        return dates_of(name, rows[found["date"]], line_numbers, order)
    whole = found.keys() >= {"year", "month", "day"}
    keys = ("year", "month", "day") if whole else ("year", "doy")
    parts = rows[[found[key] for key in keys]].replace(r"\.0$", "", regex=True)
    if not whole:
        parts.iloc[:, 1] = parts.iloc[:, 1].str.zfill(3)
    return dates_of(name, parts.agg("-".join, axis=1), line_numbers)
