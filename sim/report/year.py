"""A replay's files, read back: what the report's pictures, tables and sentences are made of."""

import csv
import io
import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from evenclay.sim.house.house import House
from evenclay.sim.types import Floats
from evenclay.sim.units import UNITS, Units, money

SHOWN_DAYS = 366  # pictures show no more than this: the last of a longer replay
READ = ("summary.json", "decisions.jsonl", "daily.csv")


@dataclass(frozen=True)
class Run:
    """One opening: its start in local time without offset, seconds open, why, and if cut short."""

    zone: int
    start: datetime
    seconds: float
    why: str
    cut_short: bool


def middle_of(value: Any) -> Any:
    """A figure, or of many grounds their median."""
    return value["p50"] if isinstance(value, dict) else value


class ReportError(ValueError):
    """Files that do not belong together: the message says which and why."""


@dataclass(frozen=True)
class Year:
    """The three files, read: arrays are days x zones, zones in the house's order."""

    house: House
    summary: dict[str, Any]
    zones: tuple[str, ...]
    days: NDArray[np.datetime64]
    columns: dict[str, Floats]
    plan: dict[str, Any]
    decisions: list[dict[str, Any]]

    @property
    def units(self) -> Units:
        """What the reader sees quantities in."""
        return UNITS[self.house.units]

    def cost(self, litres: float) -> str:
        """What water costs, "" where the property names no price."""
        price = self.house.water_price_m3
        return "" if price is None else money(litres / 1000 * price, self.house.currency)

    @property
    def years(self) -> float:
        """Years lived by the calendar: 1.0 from any day to the day before the same of the next
        year; 0.0 where it is less than a year, of which no sum for a year can be told."""
        first, end = self.days[0], self.days[-1] + 1
        whole = int((end.astype("datetime64[Y]") - first.astype("datetime64[Y]")).astype(np.int64))
        whole -= int(_years_after(first, whole) > end)
        if whole < 1:
            return 0.0
        rest = int((end - _years_after(first, whole)).astype(np.int64))
        return whole + rest / 365.25

    @property
    def share(self) -> float:
        """What a sum over all days lived is multiplied by, to be that of `during`."""
        return 1.0 / self.years if self.years else 1.0

    @property
    def during(self) -> str:
        """The time that sums are told for, in words."""
        count = len(self.days)
        days = "the one day" if count == 1 else f"the {count} days"
        return "a year" if self.years else f"in {days}"

    @property
    def shown(self) -> slice:
        """The days the pictures show: all, or the last year of a longer replay."""
        if len(self.days) <= SHOWN_DAYS:
            return slice(0, None)
        start = _years_after(self.days[-1] + 1, -1)
        return slice(int(np.searchsorted(self.days, start)), None)


def _years_after(day: np.datetime64, years: int) -> np.datetime64:
    """The same day so many years later or, below 0, before; of 29 February 1 March."""
    month = day.astype("datetime64[M]")
    found: np.datetime64 = (month + 12 * years).astype("datetime64[D]")
    found += day - month.astype("datetime64[D]")
    return found


def read(out_dir: Path, house: House) -> Year:
    """Read a replay's three files. Raises ReportError where they do not fit the house."""
    return year_of({name: (out_dir / name).read_text("utf-8") for name in READ}, house)


def year_of(texts: Mapping[str, str], house: House) -> Year:
    """A replay from the texts of its files, by name. Raises ReportError as `read`."""
    summary = json.loads(texts["summary.json"])
    plan, *decisions = [json.loads(line) for line in texts["decisions.jsonl"].splitlines()]
    zones = tuple(strip.name for strip in house.strips)
    rows = list(csv.DictReader(io.StringIO(texts["daily.csv"], newline="")))
    if not rows:
        raise ReportError("daily.csv has no days")
    named = {row["zone"] for row in rows}
    for name, found in (("daily.csv", named), ("summary.json", set(summary["zones"]))):
        if found != set(zones):
            raise ReportError(f"{name} has zones {sorted(found)}, the house {sorted(zones)}")
    days = sorted({row["date"] for row in rows})
    day_at, zone_at = (
        {day: d for d, day in enumerate(days)},
        {zone: z for z, zone in enumerate(zones)},
    )
    shape = (len(days), len(zones))
    columns = {name: np.full(shape, np.nan) for name in rows[0] if name not in ("date", "zone")}
    for row in rows:
        place = day_at[row["date"]], zone_at[row["zone"]]
        for name, column in columns.items():
            if row[name]:
                column[place] = float(row[name])
    return Year(
        house=house,
        summary=summary,
        zones=zones,
        days=np.array(days, dtype="datetime64[D]"),
        columns=columns,
        plan=plan["zones"],
        decisions=decisions,
    )


def runs_of(year: Year) -> list[Run]:
    """The openings in order; one whose end was never written down keeps its planned length."""
    found: list[Run] = []
    open_now: dict[str, dict[str, Any]] = {}

    def end(zone: str, seconds: float, cut_short: bool) -> None:
        opened = open_now.pop(zone)
        start = datetime.fromisoformat(opened["at"]).replace(tzinfo=None)
        found.append(Run(year.zones.index(zone), start, seconds, opened["why"], cut_short))

    for line in year.decisions:
        zone = line["zone"]
        if line["what"] == "opened":
            if zone in open_now:
                end(zone, open_now[zone]["seconds"], False)
            open_now[zone] = line
        elif line["what"] in ("closed", "cut_short", "end") and zone in open_now:
            end(zone, line["seconds"], line["what"] == "cut_short")
    for zone in list(open_now):
        end(zone, open_now[zone]["seconds"], False)
    return sorted(found, key=lambda run: run.start)
