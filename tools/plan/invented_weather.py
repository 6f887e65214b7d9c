"""`evenclay invent`: invented weather as a file, and its statistics beside the record's."""

import csv
import datetime
import io
from calendar import month_abbr
from collections.abc import Sequence
from typing import Any

from rich.table import Table

from evenclay.sim.units import Units
from evenclay.sim.weather.daily import Weather
from evenclay.sim.weather.statistics import MEASURES, Compared

# measure: its heading, and the kind of quantity whose unit follows it
HEADINGS = {
    "rain_mm": ("rain", "depth"),
    "wet_days": ("wet days", ""),
    "tmax_c": ("Tmax", "temperature"),
    "tmax_sd_c": ("its deviation", ""),
    "tmin_c": ("Tmin", "temperature"),
    "tmin_sd_c": ("its deviation", ""),
}


def csv_of(weather: Weather) -> str:
    """Return a record as a plain daily table, as the reader takes it."""
    columns = (weather.rain_mm, weather.tmin_c, weather.tmax_c, weather.et0_mm)
    text = io.StringIO()
    for note in weather.notes:
        text.write(f"# {note}\n")
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow(("date", "rain_mm", "tmin_c", "tmax_c", "et0_mm"))
    for day, values in enumerate(zip(*columns, strict=True)):
        date = weather.first_day + datetime.timedelta(days=day)
        rows.writerow((date, *(f"{value:.2f}" for value in values)))
    return text.getvalue()


def as_json(compared: Sequence[Compared]) -> list[dict[str, Any]]:
    """Return the comparison as plain data; a standard error that is not known is None."""
    return [
        {
            "month": row.month,
            "measure": row.measure,
            "record": row.record,
            "generated": row.generated,
            "standard_error": row.standard_error or None,
        }
        for row in compared
    ]


def table_of(compared: Sequence[Compared], units: Units) -> Table:
    """Return months by measures: a row of the record, and below it one of the invented years."""
    table = Table(title="The record beside the invented years", title_justify="left")
    for name in ("month", "years"):
        table.add_column(name, no_wrap=True)
    for measure in MEASURES:
        heading, kind = HEADINGS[measure]
        unit = f", {units.unit(kind)}" if kind else ""
        table.add_column(heading + unit, justify="right")
    found = {(row.month, row.measure): row for row in compared}
    for month, name in enumerate(month_abbr[1:], 1):
        rows = [found.get((month, measure)) for measure in MEASURES]
        cells = [("", "") if row is None else _cells(row, units) for row in rows]
        table.add_section()
        table.add_row(name, "record", *(record for record, _ in cells))
        table.add_row("", "invented", *(invented for _, invented in cells))
    return table


def _cells(row: Compared, units: Units) -> tuple[str, str]:
    """One measure of the record, and of the invented years."""
    return _cell(row.measure, row.record, units), _cell(row.measure, row.generated, units)


def _cell(measure: str, value: float, units: Units) -> str:
    if measure == "rain_mm":
        return units.number(value, "depth")
    if measure == "wet_days":
        return f"{value:.1f}"
    if measure.endswith("_sd_c"):  # a difference of two temperatures
        return f"{units.of(value, 'temperature') - units.of(0, 'temperature'):.1f}"
    return units.number(value, "temperature", ".1f")
