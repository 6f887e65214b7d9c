"""A plain daily table: one header line, then a row a day in order."""

import re

import pandas as pd

from sim.formats.cells import (
    Lines,
    Table,
    WeatherError,
    cells_of,
    check_crossed,
    check_order,
    check_ranges,
    dates_of,
    numbers_of,
)

NAMES = {
    "date": {"date", "datetime", "time", "yyyymmdd", "day"},
    "year": {"year", "yr", "yyyy"},
    "month": {"month", "mon", "mo", "mm"},
    "day": {"day", "dy", "dd", "dayofmonth"},
    "rain": {"rain", "rainfall", "precipitation", "precip", "prcp", "prec", "ppt", "prectotcorr"},
    "tmin": {"tmin", "tempmin", "mintemp", "temperaturemin", "mintemperature", "tn", "t2mmin"},
    "tmax": {"tmax", "tempmax", "maxtemp", "temperaturemax", "maxtemperature", "tx", "t2mmax"},
    "et0": {"et0", "eto", "etref", "refet", "referenceet", "referenceevapotranspiration"},
}
# Only for an estimate of ET0. A wind needs its height in its name and radiation its unit: a guess
# would spoil the estimate and nobody would see it.
NAMES_BESIDE = {
    "rh": {"rh", "rhmean", "rh2m", "humidity", "relativehumidity"},
    "rh_min": {"rhmin", "minrh", "humiditymin"},
    "rh_max": {"rhmax", "maxrh", "humiditymax"},
    "dew": {"tdew", "dew", "dewpoint", "t2mdew", "dewpointtemperature"},
    "wind_2m": {"u2", "ws2m", "wind2m", "windspeed2m"},
    "wind_10m": {"u10", "ws10m", "wind10m", "windspeed10m"},
    "solar": {"solarmj", "sradmj", "rsmj", "radiationmj", "solarradiationmj", "globalradiationmj"},
}
FOREIGN_UNIT = re.compile(
    r"[(\[ _](in|inch|inches|f|degf|deg f|deg_f|fahrenheit|°f)[)\]]?$", re.IGNORECASE
)
UNIT_SUFFIX = re.compile(
    r"[_ ](mm|mm_?d|mm_?day|mm/d(ay)?|c|degc|deg_c|celsius|pct|percent|%|m_s|m/s|ms)$"
)
SOLAR_UNIT = re.compile(r"mj_?[/ ]?m[\^*]*2([_/ ]?d(ay)?)?")


def read(name: str, lines: Lines, columns: dict[str, str]) -> Table:
    """Read a plain table; columns: names in this file for keys of NAMES and NAMES_BESIDE."""
    header_line, header = lines[0]
    separator = _separator(header)
    rows = cells_of(name, lines, separator)
    found = _find_columns(name, header_line, list(rows.columns), columns)
    notes: list[str] = []
    line_numbers = pd.Series([number for number, _ in lines[1:]])
    date_columns = [found[key] for key in ("date", "year") if key in found]
    if not any(character.isdigit() for character in rows[date_columns[0]].iloc[0]):
        notes.append(f"line {line_numbers.iloc[0]} holds units, not a day: skipped")
        rows = rows.iloc[1:].reset_index(drop=True)
        line_numbers = line_numbers.iloc[1:].reset_index(drop=True)
        if rows.empty:
            raise WeatherError(f"{name}: no daily rows found")
    daily = pd.DataFrame({"line": line_numbers})
    for key in ("rain", "tmin", "tmax", "et0", *NAMES_BESIDE):
        if key in found:
            cells = rows[found[key]]
            if separator == ";":
                cells = cells.str.replace(",", ".", regex=False)
            daily[key] = numbers_of(name, found[key], cells, line_numbers)
    daily.index = pd.DatetimeIndex(_dates(name, rows, found, line_numbers))
    check_order(name, daily)
    check_ranges(name, daily)
    check_crossed(name, daily)
    return Table(daily, notes)


def _separator(header: str) -> str:
    """The sign between columns: the commonest of tab, semicolon and comma, else blanks."""
    best = max("\t;,", key=header.count)
    return best if header.count(best) else r"\s+"


def _plain_name(column: str) -> str:
    """A column name in lower case without its unit and punctuation, but for MJ."""
    text = SOLAR_UNIT.sub(" mj", column.strip().lower()).replace("(", " ( ").replace("[", " [ ")
    mj = "mj" if re.search(r"\bmj\b", text) else ""
    text = re.sub(r"[(\[].*?[)\]]", "", text).replace(" mj", "").strip()
    text = UNIT_SUFFIX.sub("", text)
    return re.sub(r"[^a-z0-9]", "", text) + mj


def _check_units(name: str, line: int, found: dict[str, str]) -> None:
    """Refuse a column whose heading names inches or Fahrenheit: everything is mm and deg C here."""
    for key, column in found.items():
        if FOREIGN_UNIT.search(column):
            raise WeatherError(
                f"{name}, line {line}: the {key} column is headed {column!r}; allowed are mm a day "
                "and degrees C: convert the file first"
            )


def _find_columns(
    name: str, line: int, header: list[str], columns: dict[str, str]
) -> dict[str, str]:
    """Which column holds what: first as the caller says, then by common names."""
    found: dict[str, str] = {}
    for key, column in columns.items():
        if key not in NAMES | NAMES_BESIDE:
            allowed = ", ".join(NAMES | NAMES_BESIDE)
            raise WeatherError(f"column option {key!r}: allowed are {allowed}")
        if column not in header:
            raise WeatherError(
                f"{name}, line {line}: no column {column!r}; found {', '.join(header)}"
            )
        found[key] = column
    for key, names in (NAMES | NAMES_BESIDE).items():
        matches = [column for column in header if _plain_name(column) in names]
        if key not in found and len(matches) > 1 and key != "date":
            raise WeatherError(f"{name}, line {line}: two {key} columns: {', '.join(matches)}")
        if key not in found and matches:
            found[key] = matches[0]
    whole_date = "date" in found and not {"year", "month"} <= set(found)
    missing = [key for key in ("rain", "tmin", "tmax") if key not in found]
    if not whole_date:
        missing += [key for key in ("year", "month", "day") if key not in found]
        found.pop("date", None)
    if missing:
        raise WeatherError(
            f"{name}, line {line}: no column for {', '.join(missing)}; found "
            f"{', '.join(header)}; name it by the column option"
        )
    _check_units(name, line, found)
    return found


def _dates(
    name: str, rows: pd.DataFrame, found: dict[str, str], line_numbers: pd.Series
) -> pd.Series:
    """The day of each row, from one date column or from year, month and day."""
    if "date" in found:
        return dates_of(name, rows[found["date"]], line_numbers)
    parts = [
        rows[found[key]].str.replace(r"\.0$", "", regex=True) for key in ("year", "month", "day")
    ]
    text = parts[0] + "-" + parts[1] + "-" + parts[2]
    return dates_of(name, text, line_numbers)
