"""Daily weather records from the files people have.

Formats are told apart by their content: a plain daily table, GHCN-Daily (.dly, by-station CSV and
access CSV), NASA POWER daily CSV, EPW. Every repair is written into `Weather.notes`; what looks
wrong and is used nevertheless, into `Weather.cautions`; what cannot be used is one WeatherError
that names file, line, what was found and what is allowed.
"""

import datetime
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from evenclay.sim.types import Floats
from evenclay.sim.weather import doubts, et0
from evenclay.sim.weather.daily import Hours, Weather, WeatherError
from evenclay.sim.weather.formats import cells, epw, ghcn, plain, power
from evenclay.sim.weather.formats.cells import ALLOWED, Table
from evenclay.sim.weather.formats.dates import ORDERS
from evenclay.sim.weather.formats.units import DEFAULTS

__all__ = ["DEFAULTS", "NAMES", "ORDERS", "read"]


NAMES = (*plain.NAMES, *plain.NAMES_BESIDE)  # what a column option may name
LONGEST_FILLED_GAP_DAYS = 7  # longer than that, interpolated weather is invented weather
LATITUDE_OFF_DEG = 0.5  # a file whose own latitude differs by more is worth a word


def read(
    path: Path | str,
    *,
    columns: dict[str, str] | None = None,
    units: str = "metric",
    date_order: str | None = None,
    latitude_deg: float | None = None,
    elevation_m: float | None = None,
    first_day: datetime.date | None = None,
    last_day: datetime.date | None = None,
) -> Weather:
    """Read a weather file of any format it can tell.

    columns: names in a plain table for any of NAMES, e.g. {"rain": "P_mm"}. units: what columns are
    in where neither format nor heading says, a name of DEFAULTS. date_order: "mdy" or "dmy", where
    no date of the file shows it. latitude_deg: -90..90, needed where the file has neither ET0 nor
    its latitude. elevation_m: where the file does not say. first_day, last_day: days that must be
    in the record; where it has long gaps, only the stretch around these days is used. ET0 is the
    file's own; else by Penman-Monteith where humidity, wind or radiation is given; else by
    Hargreaves.
    Raises: WeatherError.
    """
    name = str(path)
    if latitude_deg is not None and not -90.0 <= latitude_deg <= 90.0:
        raise WeatherError(f"latitude {latitude_deg}: allowed are -90 to 90 degrees")
    if elevation_m is not None and not cells.LOWEST_M <= elevation_m <= cells.HIGHEST_M:
        raise WeatherError(f"elevation {elevation_m}: allowed are -500 to 9000 m")
    lines = cells.lines_of(name)
    table = _table(name, lines, columns or {}, units, date_order)
    if latitude_deg is not None:
        own = table.latitude_deg
        if own is not None and abs(own - latitude_deg) > LATITUDE_OFF_DEG:
            table.cautions.append(
                f"the file is of latitude {own:g}, the house of {latitude_deg:g}, which is used"
            )
        table.latitude_deg = latitude_deg
    if elevation_m is not None:
        table.elevation_m = elevation_m
    _close_gaps(name, table, _wanted(name, table, first_day, last_day))
    table.cautions += doubts.of(table.daily, table.latitude_deg, table.elevation_m)
    return _weather(name, table)


def _table(
    name: str, lines: cells.Lines, columns: dict[str, str], units: str, date_order: str | None
) -> Table:
    """Tell the format by the first line, and read it."""
    number, first = lines[0]
    head = cells.split(name, number, first, ",")
    if first.strip().upper() == power.BEGIN:
        table = power.read(name, lines)
    elif head[0].upper() == epw.FIRST_WORD:
        table = epw.read(name, lines)
    elif ghcn.is_by_station(head):
        table = ghcn.read_csv(name, lines)
    elif ghcn.is_access(head):
        table = ghcn.read_access(name, lines, units, date_order)
    elif ghcn.DLY_LINE.match(first):
        table = ghcn.read_dly(name, lines)
    else:
        table = plain.read(name, lines, columns, units, date_order)
    return table


def _wanted(
    name: str, table: Table, first_day: datetime.date | None, last_day: datetime.date | None
) -> list[datetime.date]:
    """The days that must be in the record, in order; refused where the file does not cover them."""
    wanted = [day for day in (first_day, last_day) if day is not None]
    first, last = table.daily.index[0].date(), table.daily.index[-1].date()
    if wanted and not first <= wanted[0] <= wanted[-1] <= last:
        asked = " to ".join(map(str, wanted))
        raise WeatherError(f"{name}: covers {first} to {last}, not {asked}")
    return wanted


def _close_gaps(name: str, table: Table, wanted: Sequence[datetime.date]) -> None:
    """Every day present: short gaps filled and noted, long ones outside the days wanted cut off."""
    daily, notes = table.daily, table.notes
    keys = [key for key in ALLOWED if key in daily]
    if "et0" in keys and daily["et0"].isna().all():
        keys.remove("et0")
        daily = daily.drop(columns="et0")
    known = daily[keys].notna().all(axis=1)
    if not known.any():
        raise WeatherError(f"{name}: no day has all of {', '.join(keys)}")
    usable = daily.index[known.to_numpy()]
    inside = (daily.index >= usable[0]) & (daily.index <= usable[-1])
    if not inside.all():
        outside = int((~inside).sum())
        notes.append(f"{outside} days before the first or after the last whole day: left out")
    filled = daily.reindex(pd.date_range(usable[0], usable[-1], freq="D"))
    filled = _stretch(name, filled, keys, wanted, notes)
    for key in keys:
        missing = int(filled[key].isna().sum())
        if not missing:
            continue
        if key == "rain":
            filled[key] = filled[key].fillna(0.0)
            notes.append(f"rain: {missing} missing days counted as dry")
        else:
            filled[key] = filled[key].interpolate()
            notes.append(f"{key}: {missing} missing days interpolated")
    # An interpolated day may cross by a hair: Tmin and Tmax can be missing on different days.
    filled["tmax"] = filled[["tmin", "tmax"]].max(axis=1)
    table.daily = filled


def _stretch(
    name: str,
    daily: pd.DataFrame,
    keys: list[str],
    wanted: Sequence[datetime.date],
    notes: list[str],
) -> pd.DataFrame:
    """The days between long gaps that hold the wanted ones; all days where no gap is long."""
    long = np.zeros(len(daily), dtype=np.bool_)
    gaps = []
    for key in keys:
        for start, stop in _runs(daily[key].isna().to_numpy()):
            if stop - start > LONGEST_FILLED_GAP_DAYS:
                long[start:stop] = True
                gaps.append((start, stop, key))
    if not gaps:
        return daily
    days = [day.date() for day in daily.index]
    start, stop, key = min(gaps, key=lambda gap: gap[0])
    gap = f"{key} missing for {stop - start} days, {days[start]} to {days[stop - 1]}"
    known = daily[keys].notna().all(axis=1).to_numpy()
    inside = [first + np.flatnonzero(known[first:end]) for first, end in _runs(~long)]
    whole = [(int(at[0]), int(at[-1]) + 1) for at in inside if at.size]
    for first, end in whole:
        if wanted and days[first] <= wanted[0] and wanted[-1] <= days[end - 1]:
            notes.append(f"{gap}: the days from {days[first]} to {days[end - 1]} are used")
            return daily.iloc[first:end]
    first, end = max(whole, key=lambda run: run[1] - run[0])
    raise WeatherError(
        f"{name}: {gap}; allowed are gaps of {LONGEST_FILLED_GAP_DAYS} days: fill them from a "
        f"station nearby, or keep the rows of one stretch alone, such as {days[first]} to "
        f"{days[end - 1]}, the longest (replay takes its days by --from and --to)"
    )


def _runs(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Where a mask is true: start and end of each run, the end not included."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False]))))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _weather(name: str, table: Table) -> Weather:
    daily = table.daily
    beside = {
        "humidity": _values(cells.vapour_kpa(daily)),
        "wind": _values(cells.wind_2m_m_s(daily)),
        "radiation": _values(daily.get("solar")),
    }
    if "et0" in daily:
        et0_mm = daily["et0"].to_numpy(dtype=np.float64)
    elif table.latitude_deg is None:
        raise WeatherError(
            f"{name}: no ET0 column, and {_method(beside)} estimate needs the latitude: give it by "
            "--latitude"
        )
    else:
        et0_mm = _estimate(table, table.latitude_deg, beside)
    hours = table.hours
    return Weather(
        first_day=daily.index[0].date(),
        rain_mm=daily["rain"].to_numpy(dtype=np.float64),
        tmin_c=daily["tmin"].to_numpy(dtype=np.float64),
        tmax_c=daily["tmax"].to_numpy(dtype=np.float64),
        et0_mm=et0_mm,
        latitude_deg=table.latitude_deg,
        notes=tuple(table.notes),
        cautions=tuple(table.cautions),
        vapour_kpa=beside["humidity"],
        wind_2m_m_s=beside["wind"],
        solar_mj_m2=beside["radiation"],
        hours=None
        if hours is None
        else Hours(*(hours[key].to_numpy().reshape(-1, 24) for key in ("rain", "temp", "solar"))),
    )


def _values(series: pd.Series | None) -> Floats | None:
    """A column's values, None where it holds none."""
    if series is None or series.isna().all():
        return None
    return series.to_numpy(dtype=np.float64)


def _method(beside: dict[str, Floats | None]) -> str:
    return "Hargreaves'" if all(v is None for v in beside.values()) else "Penman-Monteith's"


def _estimate(table: Table, latitude_deg: float, beside: dict[str, Floats | None]) -> Floats:
    """ET0 by what the file gives, and a note of how."""
    daily, notes = table.daily, table.notes
    low, high = daily["tmin"].to_numpy(), daily["tmax"].to_numpy()
    day_of_year = pd.DatetimeIndex(daily.index).day_of_year.to_numpy()
    given = {key: values for key, values in beside.items() if values is not None}
    if not given:
        notes.append(f"ET0 estimated by Hargreaves (FAO-56 eq. 52) at {latitude_deg:g} degrees")
        return et0.hargreaves_mm(low, high, latitude_deg, day_of_year)
    elevation_m = 0.0 if table.elevation_m is None else table.elevation_m
    notes.append(
        f"ET0 estimated by Penman-Monteith (FAO-56 eq. 6) from {', '.join(given)} and temperature "
        f"at {latitude_deg:g} degrees"
        + (" (elevation not given, so as at the sea)" if table.elevation_m is None else "")
    )
    stands = {
        "humidity": "dew point at Tmin",
        "wind": "the mean of the world's stations",
        "radiation": "from the range of temperature",
    }
    for key, instead in stands.items():
        values = given.get(key)
        missing = daily.shape[0] if values is None else int(np.isnan(values).sum())
        if missing:
            notes.append(
                f"{key} not given on {missing} days: {instead}, as FAO-56 chapter 3 has it"
            )
    unknown = np.full(len(low), np.nan)
    return et0.penman_monteith_mm(
        low,
        high,
        latitude_deg,
        day_of_year,
        elevation_m=elevation_m,
        vapour_kpa=given.get("humidity", unknown),
        wind_2m_m_s=given.get("wind", unknown),
        solar_mj_m2=given.get("radiation", unknown),
    )
