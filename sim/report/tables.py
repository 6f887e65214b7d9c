"""The tables of the report, each as rows of text; sums over days are told for a year."""

from collections import Counter, defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple

import numpy as np

from evenclay.controller import words as codes
from evenclay.controller.plan import ANY_DATE, RowPart
from evenclay.sim.calendar import MONTHS
from evenclay.sim.house.house import EVERY_WEEKDAY, WATCHED, can_hold, run_s
from evenclay.sim.report.pictures.water import HeldRow
from evenclay.sim.report.year import Year, middle_of
from evenclay.sim.types import Floats
from evenclay.sim.units import Units

ALARMS_MOST = 40  # that the page names one by one
CHARACTER_PX, COLUMN_PX = 9.0, 18.0  # what a table takes in a wide font
# Room that a table has on a phone, on a tablet and on a desk.
NARROWEST_PX, MIDDLE_PX, WIDEST_PX = 350.0, 755.0, 1100.0


class Row(NamedTuple):
    """One row of a table. kind: "hub" for the way that counts, "inner" for a part of the row above,
    else ""."""

    head: str
    cells: tuple[str, ...]
    kind: str = ""


@dataclass(frozen=True)
class Table:
    """A table of the page. heads: of all columns, first that of the rows' heads. kind: "words"
    where cells hold sentences, else "". wraps: its heads are of several short words, so that it
    fits on a phone unstacked."""

    caption: str
    heads: tuple[str, ...]
    rows: Sequence[Row]
    kind: str = ""
    wraps: bool = False

    @property
    def size(self) -> str:
        """How much room it takes: it is stacked where a screen has less; "huge" on any screen."""
        if self.wraps:
            return "wraps"
        if self._px(len) <= NARROWEST_PX:
            return "small"
        if self._px(_wrapped) <= MIDDLE_PX:
            return "middle"
        return "broad" if self._px(_in_two) <= WIDEST_PX else "huge"

    @property
    def ranged(self) -> bool:
        """Whether a figure has its range over many grounds behind it."""
        return any(" to " in cell for row in self.rows for cell in row.cells if cell[:1].isdigit())

    def _px(self, wide: Callable[[str], int]) -> float:
        columns = zip(self.heads, *((row.head, *row.cells) for row in self.rows), strict=True)
        longest = [max(wide(text) for text in column) for column in columns]
        return CHARACTER_PX * sum(longest) + COLUMN_PX * len(longest)


def _wrapped(text: str) -> int:
    """Characters that a cell takes side by side: a figure is whole, words may be wrapped."""
    return len(text) if text[:1].isdigit() else max(map(len, text.split()), default=0)


def _in_two(text: str) -> int:
    """The same where the range of a figure stands below it."""
    return max(map(_wrapped, text.replace(" (", "\n0").split("\n")))


POLICIES = {
    "none": "Left alone",
    "calendar": "The bare calendar",
    "hub_alone": "The hub, by what it reckons alone",
    "hub": "The hub",
}
WHY = {
    "fault": "fault",
    "low_battery": "low battery",
    "frost": "frost",
    "quiet": "local watering rules",
    "lost_clock": "clock not set",
    "hold": "owner's hold",
    "closed_season": "closed season",
    "rain": "rain",
    "wet_soil": "wet soil",
    "no_time": "could not end in time",
    "cap": "day's cap reached",
    "enough": "lacked too little to be worth it",
    "rest": "rest not over",
    "gap": "settling gap",
    "open_limit": "another valve was open",
    "too_short": "too little left to be worth it",
    "longest": "longest run reached",
    "power": "power cut",
    "clock": "clock was moved",
    "owner": "closed by the owner",
    "plan": "new plan",
    "litres": "amount reached",
    "crash": "program stopped",
}
ALARMS = {
    "fault": "a fault stands",
    "low_battery": "The battery is low: no valve is opened unless it can surely be closed.",
    "lost_clock": "The clock is not set: valves stay shut until it is.",
    "no_flow": "No water came while the valve was open: blocked, shut off or stuck.",
    "burst": "Far more water than the zone is known to take: a burst or a hose come off.",
    "leak": "Water flowed with every valve shut: a stuck valve or a leak. Shut the spigot.",
    "driver": "A valve did not obey its driver.",
    "store": "The hub could not write its record, or found no good copy of it.",
    "broken": "A state that must not be, or one exception five times in a day: valves stay shut.",
    "trouble": "The program raised an exception: all valves shut, it rested and went on.",
    "probe": "The soil probe is not believed: the hub goes on without it.",
    "stale": "The thermometer has not answered for hours.",
    "stuck": "The thermometer says what no air is: the hub goes on without it.",
    "rain_stale": "The rain sensor has not answered for hours, or says what no sky gives.",
    "supply_no_flow": "No zone of this supply had flow: look at the spigot first.",
    "clock": "The clock was moved far: cycles passed over are not caught up.",
    "power": "Power failed while a valve was open.",
    "crash": "The program stopped and was started again, all valves shut first.",
    "bad_plan": "A new plan was refused: the old one stays.",
}


def site_series(year: Year) -> tuple[Floats, Floats, Floats]:
    """Rain and ET0 of the site and the mean depth applied over all strips, millimetres a day."""
    area_m2 = sum(strip.area_m2 for strip in year.house.strips)
    columns = year.columns
    return columns["rain_mm"][:, 0], columns["et0_mm"][:, 0], columns["litres"].sum(1) / area_m2


def months_table(year: Year) -> Table:
    """A row a month shown: rain, ET0, water applied."""
    months = year.days[year.shown].astype("datetime64[M]")
    rows = []
    for month in np.unique(months):
        inside = months == month
        sums = [
            year.units.number(float(series[year.shown][inside].sum()), "total")
            for series in site_series(year)
        ]
        when = month.astype(object)
        rows.append(Row(f"{MONTHS[when.month - 1]} {when.year}", tuple(sums)))
    caption = f"Monthly sums, {year.units.word('depth')}"
    return Table(caption, ("Month", "Rain", "ET0", "Water"), rows)


def seasons_table(year: Year) -> Table | None:
    """A row a season of the hub's plan: when it runs, and the most each zone is given; None where
    the plan has no seasons."""
    plan, units = year.house.plan, year.units
    rows = []
    for index, season in enumerate(plan.rows):
        begins = units.day(season.month, season.day)
        if not season.cycles:
            blank = [""] * (len(plan.zones) + 1)
            rows.append(Row(begins, ("", "closed", *blank)))
            continue
        minutes = [run_s(plan, index, zone) / 60 for zone in plan.zones]
        litres = season.cycles * sum(
            one * zone.flow_ml_min / 1000 for one, zone in zip(minutes, plan.zones, strict=True)
        )
        given = [f"{one:.3g} min" for one in minutes]
        water = units.number(litres, "volume")
        rows.append(Row(begins, (str(season.cycles), _hours_of(season, units), *given, water)))
    if not rows:
        return None
    most = ", at most" if plan.hub.estimate else ""
    if plan.hub.weekdays != EVERY_WEEKDAY or plan.hub.dates != ANY_DATE:
        most += ", on days that local rules allow"
    names = [strip.name for strip in year.house.strips]
    return Table(
        f"The season table: minutes a cycle for each zone{most}",
        ("From", "Cycles a day", "Hours", *names, f"{units.word('volume').capitalize()} a day"),
        rows,
    )


def _hours_of(season: RowPart, units: Units) -> str:
    """The window of a season, or its start times."""
    if season.starts_min:
        return ", ".join(units.time(start) for start in season.starts_min)
    return f"{units.time(season.start_min)}–{units.time(season.start_min + season.length_min)}"


def held_rows(year: Year) -> tuple[list[HeldRow], list[str]]:
    """Rows of the held-back picture, zones held alike together; and the reasons that never held,
    of those that something in this house could have noticed."""
    rows: list[HeldRow] = []
    never = []
    noticed = can_hold(year.house.plan)
    unnoticed = {codes.WHY[reason] for reason in WATCHED if reason not in noticed}
    for name, column in year.columns.items():
        if not name.endswith("_h"):
            continue
        reason = _reason(name[:-2])
        hours = np.nan_to_num(column[year.shown])
        alike: dict[bytes, list[int]] = defaultdict(list)
        for z in range(len(year.zones)):
            if hours[:, z].any():
                alike[hours[:, z].tobytes()].append(z)
        for group in alike.values():
            rows.append(HeldRow(reason, _named(year.zones, group), hours[:, group[0]]))
        if not alike and name[:-2] not in unnoticed:
            never.append(reason)
    return rows, never


def _named(zones: tuple[str, ...], group: list[int]) -> str:
    """The zones of a group, the shorter way round."""
    others = [zone for z, zone in enumerate(zones) if z not in group]
    if not others:
        return "all zones"
    if len(zones) > 3 and len(others) < len(group):
        return "all but " + ", ".join(others)
    return ", ".join(zones[z] for z in group)


def not_given_table(year: Year) -> Table | None:
    """Runs skipped and cut short by reason, most first; None where there is none."""
    counts = Counter((line["why"], line["what"]) for line in year.decisions)
    reasons = {why for why, what in counts if what in ("skipped", "cut_short")}
    pairs = {why: (counts[why, "skipped"], counts[why, "cut_short"]) for why in reasons}
    rows = [
        Row(_reason(why), tuple(_count(year.share * count) for count in pairs[why]))
        for why in sorted(sorted(reasons), key=lambda why: -sum(pairs[why]))
    ]
    caption = f"Runs left out, and runs that were cut short, {year.during}"
    return Table(caption, ("Reason", "Skipped", "Cut short"), rows) if rows else None


def _reason(why: str) -> str:
    return WHY.get(why, why.replace("_", " "))


def _count(number: float) -> str:
    """A number of events; a mean of few years may be a part of one."""
    return f"{number:,.0f}" if number >= 10 or number == round(number) else f"{number:.1f}"


# Columns of the table of ways: heading, key, and how a number of it is written.
FIGURES = (
    ("Unrest", "unrest_pct", ".0f"),
    ("Movement", "movement_pct", ".0f"),
    ("Tilt", "tilt_pct", ".0f"),
    ("Shift", "shift_pct", ".0f"),
    ("In year", "shift_year", ".0f"),
    ("Excursion", "excursion_pct", ".0f"),
    ("Soaked days", "days_soaked", ".0f"),
    ("Days on target", "days_on_target", ".0f"),
)


def figures(year: Year) -> list[tuple[str, str, str]]:
    """Columns of the table of ways; the year of a shift says something only where there are two."""
    return [one for one in FIGURES if one[1] != "shift_year" or year.summary["years"] > 1]


def ways_table(year: Year) -> Table:
    """A row for each way of watering."""
    priced = year.house.water_price_m3 is not None
    columns = figures(year)
    rows = []
    for key, words in POLICIES.items():
        found = year.summary["policies"][key]
        litres = year.share * middle_of(found["litres"])
        cells = [text_of(found[name], spec) for _, name, spec in columns]
        cells += [year.units.number(litres, "volume"), *[year.cost(litres)] * priced]
        rows.append(Row(words, tuple(cells), "hub" if key == "hub" else ""))
    heads = [heading for heading, _, _ in columns]
    water = f"{year.units.word('volume').capitalize()} {year.during}"
    heads += [water, *[f"Cost {year.during}"] * priced]
    caption = "Four ways of watering, in the same weather, with the same hoses, on the same ground"
    return Table(caption, ("Way of watering", *heads), rows)


def text_of(value: Any, spec: str) -> str:
    """A figure, with its tenth and ninetieth of a hundred grounds where there are many; else –."""
    if isinstance(value, dict):
        if value["p50"] is None:
            return "–"
        low, middle, high = (format(value[key], spec) for key in ("p10", "p50", "p90"))
        return middle if low == high else f"{middle} ({low} to {high})"
    return "–" if value is None else format(value, spec)


def zones_table(year: Year) -> Table:
    """What each zone was given by the hub, and what came of it; sums are those of a year."""
    units, volume = year.units, year.units.word("volume")
    areas = {strip.name: strip.area_m2 for strip in year.house.strips}
    of = year.summary["zones"]

    def row(words: str, key: str, spec: str = ",.0f", share: float = 1.0, kind: str = "") -> Row:
        cells = [text_of(_times(of[zone][key], share), spec) for zone in year.zones]
        return Row(words, tuple(cells), kind)

    def told(words: str, key: str, kind: str, per: Mapping[str, float] | None = None) -> Row:
        """An amount of water, of each zone, or over its area where `per` has that."""
        litres = {zone: year.share * (middle_of(of[zone][key]) or 0.0) for zone in year.zones}
        over = per or dict.fromkeys(year.zones, 1.0)
        amounts = [units.number(litres[zone] / over[zone], kind) for zone in year.zones]
        return Row(words, tuple(amounts))

    def skips(words: str, reasons: Sequence[str], kind: str) -> Row:
        sums = [sum(of[zone]["skipped"].get(why, 0) for why in reasons) for zone in year.zones]
        return Row(words, tuple(_count(year.share * one) for one in sums), kind)

    skipped = sorted({why for zone in year.zones for why in of[zone]["skipped"]})
    rows = [
        Row("Supply", tuple(_supply(year, zone) for zone in year.zones)),
        row("Movement, % of left alone", "movement_pct"),
        row("Level, pF", "level_pf", ".2f"),
        row("Target, pF", "target_pf", ".2f"),
        row("Days on target a year", "days_on_target"),
        row("drier", "days_dry", kind="inner"),
        row("wetter", "days_wet", kind="inner"),
        row("Soaked days a year, more than left alone", "days_soaked"),
        row("Runs", "runs", share=year.share),
        row("Minutes open", "minutes", share=year.share),
        told(f"Water, {volume}", "litres", "volume"),
        told(f"Water over the strip, {units.word('depth')}", "litres", "total", areas),
        told(f"Runoff of it, {volume}", "runoff_litres", "volume"),
        skips("Runs skipped", skipped, ""),
        *(skips(_reason(why), [why], "inner") for why in skipped),
    ]
    caption = f"Watered by the hub; runs, minutes and water are {_whose_sums(year)}"
    return Table(caption, ("", *year.zones), rows)


def _whose_sums(year: Year) -> str:
    return "those of a year" if year.years else f"those {year.during}"


def _times(value: Any, share: float) -> Any:
    """A figure, or quantiles of it, for another time."""
    if isinstance(value, dict):
        return {name: _times(one, share) for name, one in value.items()}
    return value if value is None or share == 1.0 else share * value


def _supply(year: Year, zone: str) -> str:
    supply = year.plan[zone]["supply"]
    return year.house.supplies[supply] if isinstance(supply, int) else str(supply)


def alarms_table(year: Year) -> Table | None:
    """Each alarm raised, in order: since when, where, in words, until when; None without any."""
    found: list[list[str]] = []
    standing: dict[tuple[str, str], list[str]] = {}
    for line in year.decisions:
        if line["what"] not in ("alarm", "cleared"):
            continue
        where = line["zone"] or line.get("supply") or "hub"
        key, at = (where, line["why"]), datetime.fromisoformat(line["at"])
        when = f"{year.units.date(at)}, {year.units.time(60 * at.hour + at.minute)}"
        if line["what"] == "alarm" and key not in standing:
            words = ALARMS.get(line["why"], line["why"].replace("_", " ") + ".")
            standing[key] = [when, where, words, "still standing at the end"]
            found.append(standing[key])
        elif line["what"] == "cleared" and key in standing:
            standing.pop(key)[3] = when
    if not found:
        return None
    rows = [Row(when, tuple(rest)) for when, *rest in found[:ALARMS_MOST]]
    more = len(found) - len(rows)
    caption = "Every alarm" + (f"; {more:,} more stand in decisions.jsonl" if more else "")
    return Table(caption, ("Since", "Where", "What", "Until"), rows, "words")
