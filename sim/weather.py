"""Daily weather records from the files people have.

Two formats, told apart by their content: a plain daily table (a header, then a row a day) and
the GHCN-Daily by-station CSV. Every repair is written into `Weather.notes`; what cannot be
repaired is one WeatherError that names file, line, what was found and what is allowed.
"""

import datetime
import gzip
import io
import re
import zlib
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sim import et0

Floats = NDArray[np.float64]

LONGEST_FILLED_GAP_DAYS = 7  # longer than that, interpolated weather is invented weather
MISSING_WORDS = {"", "na", "nan", "null", "none", "-", "m"}
MISSING_NUMBERS = (-9999.0, -999.0, -99.9)
ALLOWED = {
    "rain": (0.0, 2000.0, "mm"),
    "tmin": (-90.0, 60.0, "deg C"),
    "tmax": (-90.0, 60.0, "deg C"),
    "et0": (0.0, 40.0, "mm"),
}
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
UNIT_SUFFIX = re.compile(r"[_ ](mm|mm_?d|mm_?day|mm/d(ay)?|c|degc|deg_c|celsius)$")
FOREIGN_UNIT = re.compile(
    r"[(\[ _](in|inch|inches|f|degf|deg f|deg_f|fahrenheit|°f)[)\]]?$", re.IGNORECASE
)
DATE_FORMATS = (
    (re.compile(r"\d{4}-\d{1,2}-\d{1,2}([T ].*)?$"), "%Y-%m-%d"),
    (re.compile(r"\d{4}/\d{1,2}/\d{1,2}([T ].*)?$"), "%Y/%m/%d"),
    (re.compile(r"\d{1,2}\.\d{1,2}\.\d{4}$"), "%d.%m.%Y"),
    (re.compile(r"\d{8}$"), "%Y%m%d"),
)
DATES_ALLOWED = "dates as 2012-01-31, 2012/01/31, 31.01.2012 or 20120131"
GZIP_MAGIC = b"\x1f\x8b"  # the archive hands its station files out compressed
GHCN_LINE = re.compile(r"[A-Za-z0-9_-]{11},\d{8},[A-Z0-9]{4},")
GHCN_ELEMENTS = {"PRCP": "rain", "TMIN": "tmin", "TMAX": "tmax"}


class WeatherError(ValueError):
    """A weather file that cannot be used; the message is one line for its owner."""


@dataclass(frozen=True)
class Weather:
    """Daily weather without gaps.

    rain_mm, tmin_c, tmax_c, et0_mm: float64, one value a day from first_day on.
    latitude_deg: -90..90, or None where it is not known.
    notes: what was filled, dropped or estimated, a line each.
    """

    first_day: datetime.date
    rain_mm: Floats
    tmin_c: Floats
    tmax_c: Floats
    et0_mm: Floats
    latitude_deg: float | None
    notes: tuple[str, ...]

    @property
    def days(self) -> int:
        """Number of days."""
        return len(self.rain_mm)

    @property
    def last_day(self) -> datetime.date:
        """The last day, included."""
        return self.first_day + datetime.timedelta(days=self.days - 1)

    def span(self, first_day: datetime.date, last_day: datetime.date) -> "Weather":
        """The days from first_day to last_day, both included.

        Raises: WeatherError where the record does not cover them.
        """
        if not self.first_day <= first_day <= last_day <= self.last_day:
            raise WeatherError(
                f"the weather covers {self.first_day} to {self.last_day}, "
                f"not {first_day} to {last_day}"
            )
        cut = slice((first_day - self.first_day).days, (last_day - self.first_day).days + 1)
        return replace(
            self,
            first_day=first_day,
            rain_mm=self.rain_mm[cut],
            tmin_c=self.tmin_c[cut],
            tmax_c=self.tmax_c[cut],
            et0_mm=self.et0_mm[cut],
        )


def read(
    path: Path | str,
    *,
    columns: dict[str, str] | None = None,
    latitude_deg: float | None = None,
    first_day: datetime.date | None = None,
    last_day: datetime.date | None = None,
) -> Weather:
    """Read a daily weather file.

    columns: names in this file for any of date, year, month, day, rain, tmin, tmax, et0,
    e.g. {"rain": "P_mm"}. latitude_deg: -90..90, needed where the file has no ET0.
    first_day, last_day: use only these days (both included), so that gaps outside do not matter.
    Raises: WeatherError.
    """
    name = str(path)
    if latitude_deg is not None and not -90.0 <= latitude_deg <= 90.0:
        raise WeatherError(f"latitude {latitude_deg}: allowed are -90 to 90 degrees")
    lines = _lines(name)
    notes: list[str] = []
    if GHCN_LINE.match(lines[0][1]):
        table = _read_ghcn(name, lines, notes)
    else:
        table = _read_plain(name, lines, columns or {}, notes)
    table = _cut(name, table, first_day, last_day)
    table = _without_gaps(name, table, notes)
    return _weather(name, table, latitude_deg, notes)


def _lines(name: str) -> list[tuple[int, str]]:
    """The file's lines with their numbers, without blank and comment lines."""
    try:
        raw = Path(name).read_bytes()
    except OSError as error:
        raise WeatherError(f"{name}: cannot be read ({error.strerror})") from None
    if raw.startswith(GZIP_MAGIC):
        try:
            raw = gzip.decompress(raw)
        except (OSError, EOFError, zlib.error):
            raise WeatherError(f"{name}: a damaged gzip file") from None
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = raw.decode("latin-1")
    numbered = enumerate(text.splitlines(), start=1)
    lines = [(i, line) for i, line in numbered if line.strip() and not line.startswith("#")]
    if len(lines) < 2:
        raise WeatherError(f"{name}: no daily rows found")
    return lines


def _read_ghcn(name: str, lines: list[tuple[int, str]], notes: list[str]) -> pd.DataFrame:
    """GHCN-Daily by-station CSV: an element of a day a line, tenths of mm and deg C.

    Source: NOAA NCEI, GHCN-Daily readme-by_station: ID, date, element, value, three flags, time.
    """
    fields = ["id", "date", "element", "value", "mflag", "qflag", "sflag", "time"]
    rows = pd.read_csv(
        io.StringIO("\n".join(line for _, line in lines)),
        header=None,
        names=fields,
        dtype=str,
        keep_default_na=False,
        on_bad_lines=lambda cells: cells[: len(fields)],
        engine="python",
    )
    rows["line"] = [number for number, _ in lines]
    rows = rows[rows["element"].isin(list(GHCN_ELEMENTS))]
    stations = sorted(set(rows["id"]))
    if len(stations) != 1:
        raise WeatherError(f"{name}: stations found: {len(stations)}; allowed is one")
    flagged = rows["qflag"].fillna("").str.strip() != ""
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
    dates = _parse_dates(name, rows["date"], rows["line"])
    tenths = _numbers(name, "value", rows["value"], rows["line"])
    rows = rows.assign(date=dates, number=tenths / 10.0)
    line_of_day = rows.groupby("date")["line"].min()
    table = rows.pivot(index="date", columns="element", values="number")
    table = table.rename(columns=GHCN_ELEMENTS).sort_index()
    for element, column in GHCN_ELEMENTS.items():
        if column not in table or table[column].isna().all():
            raise WeatherError(f"{name}: no usable {element} values; rain, Tmin, Tmax are needed")
    table["line"] = line_of_day
    crossed = table["tmax"] < table["tmin"]
    if crossed.any():
        notes.append(f"Tmax below Tmin on {int(crossed.sum())} days: both dropped")
        table.loc[crossed, ["tmin", "tmax"]] = np.nan
    _check_ranges(name, table)
    return table


def _read_plain(
    name: str, lines: list[tuple[int, str]], columns: dict[str, str], notes: list[str]
) -> pd.DataFrame:
    """A plain table: one header line, then a row a day in order."""
    header_line, header = lines[0]
    separator = _separator(header)
    rows = _cells(name, lines, separator)
    found = _find_columns(name, header_line, list(rows.columns), columns)
    line_numbers = pd.Series([number for number, _ in lines[1:]])
    date_columns = [found[key] for key in ("date", "year") if key in found]
    if not any(character.isdigit() for character in rows[date_columns[0]].iloc[0]):
        notes.append(f"line {line_numbers.iloc[0]} holds units, not a day: skipped")
        rows = rows.iloc[1:].reset_index(drop=True)
        line_numbers = line_numbers.iloc[1:].reset_index(drop=True)
    table = pd.DataFrame({"line": line_numbers})
    for key in ("rain", "tmin", "tmax", "et0"):
        if key in found:
            cells = rows[found[key]]
            if separator == ";":
                cells = cells.str.replace(",", ".", regex=False)
            table[key] = _numbers(name, found[key], cells, line_numbers)
    table.index = pd.DatetimeIndex(_dates(name, rows, found, line_numbers))
    _check_order(name, table)
    _check_ranges(name, table)
    crossed = table["tmax"] < table["tmin"]
    if crossed.any():
        row = table[crossed].iloc[0]
        raise WeatherError(
            f"{name}, line {int(row['line'])}: Tmax {row['tmax']:g} is below Tmin "
            f"{row['tmin']:g}; allowed is Tmax at or above Tmin"
        )
    return table


def _separator(header: str) -> str:
    """The sign between columns: the commonest of tab, semicolon and comma, else blanks."""
    best = max("\t;,", key=header.count)
    return best if header.count(best) else r"\s+"


def _cells(name: str, lines: list[tuple[int, str]], separator: str) -> pd.DataFrame:
    """The table's cells as text; every row as long as its header."""
    split = re.compile(separator)
    rows = [[cell.strip().strip('"') for cell in split.split(line.strip())] for _, line in lines]
    header = rows[0]
    for (number, _), row in zip(lines, rows, strict=True):
        if len(row) != len(header):
            raise WeatherError(
                f"{name}, line {number}: {len(row)} columns found; the header has {len(header)}"
            )
    return pd.DataFrame(rows[1:], columns=header, dtype=str)


def _plain_name(column: str) -> str:
    """A column name in lower case without its unit and punctuation."""
    text = re.sub(r"[(\[].*?[)\]]", "", column.strip().lower()).strip()
    text = UNIT_SUFFIX.sub("", text)
    return re.sub(r"[^a-z0-9]", "", text)


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
        if key not in NAMES:
            raise WeatherError(f"column option {key!r}: allowed are {', '.join(NAMES)}")
        if column not in header:
            raise WeatherError(
                f"{name}, line {line}: no column {column!r}; found {', '.join(header)}"
            )
        found[key] = column
    for key, names in NAMES.items():
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
        return _parse_dates(name, rows[found["date"]], line_numbers)
    parts = [
        rows[found[key]].str.replace(r"\.0$", "", regex=True) for key in ("year", "month", "day")
    ]
    text = parts[0] + "-" + parts[1] + "-" + parts[2]
    return _parse_dates(name, text, line_numbers)


def _parse_dates(name: str, text: pd.Series, line_numbers: pd.Series) -> pd.Series:
    first = text.iloc[0]
    for pattern, layout in DATE_FORMATS:
        if pattern.match(first):
            day_only = text.str.split(r"[T ]", n=1, regex=True).str[0]
            dates = pd.to_datetime(day_only, format=layout, errors="coerce")
            bad = dates.isna()
            break
    else:
        dates, bad = text, pd.Series(True, index=text.index)
    if bad.any():
        raise WeatherError(
            f"{name}, line {line_numbers[bad].iloc[0]}: date {text[bad].iloc[0]!r}; "
            f"allowed are {DATES_ALLOWED}, one layout in a file"
        )
    return dates


def _numbers(name: str, column: str, cells: pd.Series, line_numbers: pd.Series) -> pd.Series:
    """Cells as numbers, NaN where the file says that the value is missing."""
    text = cells.str.strip()
    empty = text.str.lower().isin(list(MISSING_WORDS))
    text = text.where(~text.str.lower().isin(["t", "trace"]), "0")
    values = pd.to_numeric(text.where(~empty, "nan"), errors="coerce").astype(np.float64)
    bad = (values.isna() | np.isinf(values)) & ~empty
    if bad.any():
        raise WeatherError(
            f"{name}, line {line_numbers[bad].iloc[0]}: {column} {cells[bad].iloc[0]!r}; "
            "allowed is a number, or nothing where the value is missing"
        )
    return values.mask(values.isin(list(MISSING_NUMBERS)))


def _check_order(name: str, table: pd.DataFrame) -> None:
    steps = np.diff(table.index.to_numpy()).astype("timedelta64[D]").astype(np.int64)
    wrong = np.flatnonzero(steps <= 0)
    if wrong.size:
        at = int(wrong[0]) + 1
        day = table.index[at].date()
        what = "appears twice" if steps[at - 1] == 0 else f"follows {table.index[at - 1].date()}"
        raise WeatherError(
            f"{name}, line {int(table['line'].iloc[at])}: {day} {what}; "
            "allowed is each day once, in order"
        )


def _check_ranges(name: str, table: pd.DataFrame) -> None:
    for key, (low, high, unit) in ALLOWED.items():
        if key not in table:
            continue
        wrong = (table[key] < low) | (table[key] > high)
        if wrong.any():
            row = table[wrong].iloc[0]
            raise WeatherError(
                f"{name}, line {int(row['line'])}: {key} {row[key]:g} {unit} on "
                f"{table.index[wrong.to_numpy()][0].date()}; allowed are {low:g} to {high:g} {unit}"
            )


def _cut(
    name: str,
    table: pd.DataFrame,
    first_day: datetime.date | None,
    last_day: datetime.date | None,
) -> pd.DataFrame:
    first, last = table.index[0].date(), table.index[-1].date()
    wanted_first, wanted_last = first_day or first, last_day or last
    if not first <= wanted_first <= wanted_last <= last:
        raise WeatherError(f"{name}: covers {first} to {last}, not {wanted_first} to {wanted_last}")
    inside = (table.index >= pd.Timestamp(wanted_first)) & (
        table.index <= pd.Timestamp(wanted_last)
    )
    return table[inside]


def _without_gaps(name: str, table: pd.DataFrame, notes: list[str]) -> pd.DataFrame:
    """Every day present: short gaps filled and noted, long ones refused."""
    keys = [key for key in ALLOWED if key in table]
    if "et0" in keys and table["et0"].isna().all():
        keys.remove("et0")
    known = table[keys].notna().all(axis=1)
    if not known.any():
        raise WeatherError(f"{name}: no day has all of {', '.join(keys)}")
    usable = table.index[known.to_numpy()]
    outside = int((table.index < usable[0]).sum() + (table.index > usable[-1]).sum())
    if outside:
        notes.append(f"{outside} days before the first or after the last whole day: left out")
    filled = table[keys].reindex(pd.date_range(usable[0], usable[-1], freq="D"))
    for key in keys:
        missing = filled[key].isna().to_numpy()
        if not missing.any():
            continue
        _refuse_long_gap(name, key, pd.DatetimeIndex(filled.index), missing)
        if key == "rain":
            filled[key] = filled[key].fillna(0.0)
            notes.append(f"rain: {int(missing.sum())} missing days counted as 0 mm")
        else:
            filled[key] = filled[key].interpolate()
            notes.append(f"{key}: {int(missing.sum())} missing days interpolated")
    return filled


def _refuse_long_gap(
    name: str, key: str, index: pd.DatetimeIndex, missing: NDArray[np.bool_]
) -> None:
    edges = np.flatnonzero(np.diff(np.concatenate(([False], missing, [False]))))
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        if stop - start > LONGEST_FILLED_GAP_DAYS:
            raise WeatherError(
                f"{name}: {key} missing for {stop - start} days, {index[start].date()} to "
                f"{index[stop - 1].date()}; allowed are gaps of {LONGEST_FILLED_GAP_DAYS} days"
            )


def _weather(
    name: str, table: pd.DataFrame, latitude_deg: float | None, notes: list[str]
) -> Weather:
    tmin_c = table["tmin"].to_numpy(dtype=np.float64)
    # An interpolated day may cross by a hair: Tmin and Tmax can be missing on different days.
    tmax_c = np.maximum(table["tmax"].to_numpy(dtype=np.float64), tmin_c)
    if "et0" in table:
        et0_mm = table["et0"].to_numpy(dtype=np.float64)
    elif latitude_deg is None:
        raise WeatherError(
            f"{name}: no ET0 column, and Hargreaves' estimate needs the latitude: give it"
        )
    else:
        day_of_year = pd.DatetimeIndex(table.index).day_of_year.to_numpy()
        et0_mm = et0.hargreaves_mm(tmin_c, tmax_c, latitude_deg, day_of_year)
        notes.append(f"ET0 estimated by Hargreaves (FAO-56 eq. 52) at {latitude_deg:g} degrees")
    return Weather(
        first_day=table.index[0].date(),
        rain_mm=table["rain"].to_numpy(dtype=np.float64),
        tmin_c=tmin_c,
        tmax_c=tmax_c,
        et0_mm=et0_mm,
        latitude_deg=latitude_deg,
        notes=tuple(notes),
    )
