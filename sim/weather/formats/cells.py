"""What all weather formats share: lines, cells, numbers, ranges, and the one kind of error."""

import codecs
import csv
import gzip
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from evenclay.sim.weather import et0
from evenclay.sim.weather.daily import WeatherError
from evenclay.sim.weather.formats.units import CELSIUS, FAHRENHEIT, Unit

MISSING_WORDS = {"", "na", "n/a", "nan", "null", "none", "missing", "-", "--", "m"}
MISSING_NUMBERS = (-9999.0, -9999.9, -999.0, -999.9, -99.9, 9999.9)
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
GZIP_MAGIC = b"\x1f\x8b"  # archives hand their station files out compressed
NOT_TEXT = {
    b"PK\x03\x04": "a zip archive or a workbook; allowed is text: unpack it, or save it as CSV",
    b"\xd0\xcf\x11\xe0": "a workbook; allowed is text: save it as CSV",
    b"%PDF": "a PDF; allowed is text, such as CSV",
    b"\x89HDF": "a netCDF file; allowed is text, such as CSV",
    b"CDF": "a netCDF file; allowed is text, such as CSV",
    b"<": "a web page; allowed is text, such as the CSV that the page offers",
    b"{": "JSON; allowed is text in rows, such as CSV",
}

Lines = list[tuple[int, str]]


@dataclass
class Table:
    """A file as its format's reader understood it, gaps and all.

    daily: by date, in order: columns of ALLOWED and ALLOWED_BESIDE that the file has, and "line".
    notes: what was done. cautions: what may be wrong. hours: columns rain, temp, solar, 24 rows for
    each day of daily, or None.
    """

    daily: pd.DataFrame
    notes: list[str] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)
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
    for magic, what in NOT_TEXT.items():
        if raw.startswith(magic):
            raise WeatherError(f"{name}: {what}")
    text = _text(name, raw)
    numbered = enumerate(text.splitlines(), start=1)
    lines = [(i, line) for i, line in numbered if line.strip() and not line.startswith("#")]
    if len(lines) < 2:
        raise WeatherError(f"{name}: no daily rows found")
    return lines


def _text(name: str, raw: bytes) -> str:
    """The bytes as text: UTF-16 by its mark or its zeros, UTF-8, else the old Western encoding."""
    utf_16 = ""
    if raw.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        utf_16 = "utf-16"
    elif b"\0" in raw[:2]:
        utf_16 = "utf-16-be" if raw.startswith(b"\0") else "utf-16-le"
    try:
        return raw.decode(utf_16 or "utf-8-sig")
    except UnicodeDecodeError:
        if utf_16:
            raise WeatherError(f"{name}: a damaged UTF-16 file") from None
    return raw.decode("cp1252", errors="replace")


def split(name: str, number: int, line: str, separator: str) -> list[str]:
    """The cells of one line; a blank as separator stands for any number of blanks and tabs.

    Each line is split by itself, so that a quote which is never closed spoils no other.
    """
    if separator == " ":
        line = " ".join(line.split())
    try:
        cells = next(csv.reader([line], delimiter=separator, skipinitialspace=True))
    except csv.Error as error:
        raise WeatherError(f"{name}, line {number}: {error}") from None
    return [cell.strip() for cell in cells]


def rows_of(name: str, lines: Lines, separator: str) -> pd.DataFrame:
    """The cells of a header and its rows as text; every row as long as its header.

    Empty cells behind the header's last are left out.
    """
    header = split(name, *lines[0], separator)
    rows = []
    for number, line in lines[1:]:
        row = split(name, number, line, separator)
        if len(row) > len(header) and not any(row[len(header) :]):
            row = row[: len(header)]
        if len(row) != len(header):
            raise WeatherError(
                f"{name}, line {number}: {len(row)} columns found; the header has {len(header)}"
            )
        rows.append(row)
    return pd.DataFrame(rows, columns=header, dtype=str)


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
        what = f"follows {daily.index[at - 1].date()}"
        if steps[at - 1] == 0:
            times = int((daily.index == daily.index[at]).sum())
            what = "appears twice" if times == 2 else f"appears {times} times"
        raise WeatherError(
            f"{name}, line {int(daily['line'].iloc[at])}: {day} {what}; "
            "allowed is each day once, in order"
        )


def check_ranges(name: str, daily: pd.DataFrame, units: Mapping[str, Unit] | None = None) -> None:
    """Refuse a value that no place on Earth has; units: those of the file, to show it in."""
    for key, (low, high, metric) in (ALLOWED | ALLOWED_BESIDE).items():
        if key not in daily:
            continue
        wrong = (daily[key] < low) | (daily[key] > high)
        if wrong.any():
            row = daily[wrong].iloc[0]
            unit = (units or {}).get(key, Unit(metric))
            found, least, most = (unit.of_metric(value) for value in (row[key], low, high))
            raise WeatherError(
                f"{name}, line {int(row['line'])}: {key} {found:g} {unit.name} on "
                f"{daily.index[wrong.to_numpy()][0].date()}; allowed are {least:g} to {most:g} "
                f"{unit.name}{_unit_guess(key, daily, unit)}"
            )
    for key in ("rh", "rh_min", "rh_max"):
        if key in daily and daily[key].max() <= 1.0:
            raise WeatherError(
                f"{name}: {key} is never above {daily[key].max():g}; allowed is humidity in percent"
            )


def _unit_guess(key: str, daily: pd.DataFrame, unit: Unit) -> str:
    """What temperatures beyond all degrees C seem to be in, where more than a slip is beyond."""
    if key not in ("tmin", "tmax") or unit != CELSIUS:
        return ""
    high = float(daily[["tmin", "tmax"]].max(axis=1).quantile(0.9))
    if high > FAHRENHEIT.of_metric(ALLOWED["tmax"][1]):
        return ": it looks like tenths of degrees, which --units tenths reads"
    if high > ALLOWED["tmax"][1]:
        return ": it looks like Fahrenheit, which --units us reads"
    return ""


def check_crossed(name: str, daily: pd.DataFrame, units: Mapping[str, Unit] | None = None) -> None:
    """Refuse a Tmax below its Tmin; units: those of the file, to show them in."""
    crossed = daily["tmax"] < daily["tmin"]
    if crossed.any():
        row = daily[crossed].iloc[0]
        of_key = {key: (units or {}).get(key, CELSIUS) for key in ("tmax", "tmin")}
        high, low = (f"{unit.of_metric(row[key]):g} {unit.name}" for key, unit in of_key.items())
        raise WeatherError(
            f"{name}, line {int(row['line'])}: Tmax {high} is below Tmin {low}; "
            "allowed is Tmax at or above Tmin"
        )


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
