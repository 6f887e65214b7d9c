"""What all weather formats share: lines, numbers, dates, ranges, and the one kind of error."""

import datetime
import gzip
import re
import zlib
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from sim import et0

MISSING_WORDS = {"", "na", "nan", "null", "none", "-", "m"}
MISSING_NUMBERS = (-9999.0, -999.0, -99.9)
# What every file must hold (or ET0 be estimated), and what only serves the estimate of ET0.
ALLOWED = {
    "rain": (0.0, 2000.0, "mm"),
    "tmin": (-90.0, 60.0, "deg C"),
    "tmax": (-90.0, 60.0, "deg C"),
    "et0": (0.0, 40.0, "mm"),
}
ALLOWED_BESIDE = {
    "rh": (0.0, 105.0, "%"),  # instruments near saturation read a little over 100
    "rh_min": (0.0, 105.0, "%"),
    "rh_max": (0.0, 105.0, "%"),
    "dew": (-95.0, 45.0, "deg C"),
    "vapour": (0.0, 12.0, "kPa"),
    "wind_2m": (0.0, 100.0, "m/s"),
    "wind_10m": (0.0, 100.0, "m/s"),
    "solar": (0.0, 50.0, "MJ/m2"),
}
LOWEST_M, HIGHEST_M = -500.0, 9000.0  # of ground
WIND_HEIGHT_M = 10.0  # of weather stations' gauges
DATE_FORMATS = (
    (re.compile(r"\d{4}-\d{1,2}-\d{1,2}([T ].*)?$"), "%Y-%m-%d"),
    (re.compile(r"\d{4}/\d{1,2}/\d{1,2}([T ].*)?$"), "%Y/%m/%d"),
    (re.compile(r"\d{1,2}\.\d{1,2}\.\d{4}$"), "%d.%m.%Y"),
    (re.compile(r"\d{8}$"), "%Y%m%d"),
)
DATES_ALLOWED = "dates as 2012-01-31, 2012/01/31, 31.01.2012 or 20120131"
FIRST_YEAR, LAST_YEAR = 1700, 2299
GZIP_MAGIC = b"\x1f\x8b"  # archives hand their station files out compressed

Lines = list[tuple[int, str]]


class WeatherError(ValueError):
    """A weather file that cannot be used; the message is one line for its owner."""


@dataclass
class Table:
    """A file as its format's reader understood it, gaps and all.

    daily: by date, in order: columns of ALLOWED and ALLOWED_BESIDE that the file has, and "line".
    hours: columns rain, temp, solar, 24 rows for each day of daily, or None.
    """

    daily: pd.DataFrame
    notes: list[str] = field(default_factory=list)
    latitude_deg: float | None = None
    elevation_m: float | None = None
    hours: pd.DataFrame | None = None


def lines_of(name: str) -> Lines:
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


def cells_of(name: str, lines: Lines, separator: str) -> pd.DataFrame:
    """The cells of a header and its rows as text; every row as long as its header."""
    split = re.compile(separator)
    rows = [[cell.strip().strip('"') for cell in split.split(line.strip())] for _, line in lines]
    header = rows[0]
    for (number, _), row in zip(lines, rows, strict=True):
        if len(row) != len(header):
            raise WeatherError(
                f"{name}, line {number}: {len(row)} columns found; the header has {len(header)}"
            )
    return pd.DataFrame(rows[1:], columns=header, dtype=str)


def dates_of(name: str, text: pd.Series, line_numbers: pd.Series) -> pd.Series:
    """Days from their text, all in the layout of the first."""
    first = text.iloc[0]
    for pattern, layout in DATE_FORMATS:
        if pattern.match(first):
            day_only = text.str.split(r"[T ]", n=1, regex=True).str[0]
            dates = pd.to_datetime(day_only, format=layout, errors="coerce")
            bad = dates.isna() | out_of_years(dates)
            break
    else:
        dates, bad = text, pd.Series(True, index=text.index)
    if bad.any():
        raise WeatherError(
            f"{name}, line {line_numbers[bad].iloc[0]}: date {text[bad].iloc[0]!r}; "
            f"allowed are {DATES_ALLOWED}, one layout in a file"
        )
    return dates


def out_of_years(dates: pd.Series) -> pd.Series:
    """Days outside the years that a weather record can have: a slip of the pen."""
    return pd.Series(~dates.dt.year.between(FIRST_YEAR, LAST_YEAR), index=dates.index)


def numbers_of(name: str, column: str, cells: pd.Series, line_numbers: pd.Series) -> pd.Series:
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


def check_order(name: str, daily: pd.DataFrame) -> None:
    """Refuse a day that appears twice or out of order."""
    steps = np.diff(daily.index.to_numpy()).astype("timedelta64[D]").astype(np.int64)
    wrong = np.flatnonzero(steps <= 0)
    if wrong.size:
        at = int(wrong[0]) + 1
        day = daily.index[at].date()
        what = "appears twice" if steps[at - 1] == 0 else f"follows {daily.index[at - 1].date()}"
        raise WeatherError(
            f"{name}, line {int(daily['line'].iloc[at])}: {day} {what}; "
            "allowed is each day once, in order"
        )


def check_ranges(name: str, daily: pd.DataFrame) -> None:
    """Refuse a value that no place on Earth has."""
    for key, (low, high, unit) in (ALLOWED | ALLOWED_BESIDE).items():
        if key not in daily:
            continue
        wrong = (daily[key] < low) | (daily[key] > high)
        if wrong.any():
            row = daily[wrong].iloc[0]
            raise WeatherError(
                f"{name}, line {int(row['line'])}: {key} {row[key]:g} {unit} on "
                f"{daily.index[wrong.to_numpy()][0].date()}; allowed are {low:g} to {high:g} {unit}"
            )
    for key in ("rh", "rh_min", "rh_max"):
        if key in daily and daily[key].max() <= 1.0:
            raise WeatherError(
                f"{name}: {key} is never above {daily[key].max():g}; allowed is humidity in percent"
            )


def check_crossed(name: str, daily: pd.DataFrame) -> None:
    """Refuse a Tmax below its Tmin."""
    crossed = daily["tmax"] < daily["tmin"]
    if crossed.any():
        row = daily[crossed].iloc[0]
        raise WeatherError(
            f"{name}, line {int(row['line'])}: Tmax {row['tmax']:g} is below Tmin "
            f"{row['tmin']:g}; allowed is Tmax at or above Tmin"
        )


def cut(
    name: str, table: Table, first_day: datetime.date | None, last_day: datetime.date | None
) -> None:
    """Keep the days from first_day to last_day, both included."""
    index = table.daily.index
    first, last = index[0].date(), index[-1].date()
    wanted_first, wanted_last = first_day or first, last_day or last
    if not first <= wanted_first <= wanted_last <= last:
        raise WeatherError(f"{name}: covers {first} to {last}, not {wanted_first} to {wanted_last}")
    inside = (index >= pd.Timestamp(wanted_first)) & (index <= pd.Timestamp(wanted_last))
    table.daily = table.daily[inside]
    if table.hours is not None:
        table.hours = table.hours[np.repeat(inside, 24)]


def vapour_kpa(daily: pd.DataFrame) -> pd.Series | None:
    """Actual vapour pressure [kPa] by the best of what a file has, None where it has nothing.

    Dew point before extremes of relative humidity before their mean: FAO-56, chapter 3.
    """
    ways: list[pd.Series] = []
    if "vapour" in daily:
        ways.append(daily["vapour"])
    if "dew" in daily:
        ways.append(pd.Series(et0.saturation_vapour_kpa(daily["dew"]), index=daily.index))
    pairs = [("rh_min", "rh_max"), ("rh", "rh")]
    for low, high in pairs:
        if low in daily and high in daily:
            kpa = et0.vapour_from_humidity_kpa(
                daily["tmin"],
                daily["tmax"],
                daily[low].clip(upper=100),
                daily[high].clip(upper=100),
            )
            ways.append(pd.Series(kpa, index=daily.index))
    if not ways:
        return None
    best = ways[0]
    for other in ways[1:]:
        best = best.fillna(other)
    return best


def wind_2m_m_s(daily: pd.DataFrame) -> pd.Series | None:
    """Wind at 2 m [m/s], from 10 m by FAO-56 eq. 47 where need be, None where there is none."""
    wind = daily.get("wind_2m")
    if "wind_10m" in daily:
        lower = et0.wind_at_2m_m_s(daily["wind_10m"], WIND_HEIGHT_M)
        from_above = pd.Series(lower, index=daily.index)
        wind = from_above if wind is None else wind.fillna(from_above)
    return wind
