"""The tables of the report, each as rows of text."""

from collections import Counter, defaultdict
from datetime import datetime
from typing import Any

import numpy as np

from evenclay.sim.calendar import MONTHS
from evenclay.sim.report.pictures import HeldRow
from evenclay.sim.report.sentences import middle_of
from evenclay.sim.report.year import Year
from evenclay.sim.types import Floats

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


def day_in_words(day: Any) -> str:
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def site_series(year: Year) -> tuple[Floats, Floats, Floats]:
    """Rain and ET0 of the site and the mean depth applied over all strips, millimetres a day."""
    area_m2 = sum(strip.area_m2 for strip in year.house.strips)
    columns = year.columns
    return columns["rain_mm"][:, 0], columns["et0_mm"][:, 0], columns["litres"].sum(1) / area_m2


def months(year: Year) -> list[dict[str, str]]:
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
        name = f"{MONTHS[when.month - 1]} {when.year}"
        rows.append({"month": name, "rain": sums[0], "et0": sums[1], "water": sums[2]})
    return rows


def held_rows(year: Year) -> tuple[list[HeldRow], list[str]]:
    """Rows of the held-back picture, zones held alike together; and the reasons that never held."""
    rows: list[HeldRow] = []
    never = []
    for name, column in year.columns.items():
        if not name.endswith("_h"):
            continue
        reason = WHY.get(name[:-2], name[:-2].replace("_", " "))
        hours = np.nan_to_num(column[year.shown])
        alike: dict[bytes, list[int]] = defaultdict(list)
        for z in range(len(year.zones)):
            if hours[:, z].any():
                alike[hours[:, z].tobytes()].append(z)
        for group in alike.values():
            rows.append(HeldRow(reason, _named(year.zones, group), hours[:, group[0]]))
        if not alike:
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


def not_given(year: Year) -> list[dict[str, Any]]:
    """Runs skipped and cut short by reason, most first."""
    counts = Counter((line["why"], line["what"]) for line in year.decisions)
    reasons = {why for why, what in counts if what in ("skipped", "cut_short")}
    rows = [
        {
            "reason": WHY.get(why, why.replace("_", " ")),
            "skipped": counts[why, "skipped"],
            "cut_short": counts[why, "cut_short"],
        }
        for why in sorted(reasons)
    ]
    return sorted(rows, key=lambda row: -row["skipped"] - row["cut_short"])


# Columns of the table of ways: heading, key, and how a number of it is written.
FIGURES = (
    ("Unrest", "unrest_pct", ".0f"),
    ("Movement, %", "movement_pct", ".0f"),
    ("Tilt, %", "tilt_pct", ".0f"),
    ("Shift, %", "shift_pct", ".0f"),
    ("In year", "shift_year", ".0f"),
    ("Excursion, %", "excursion_pct", ".0f"),
    ("Soaked days", "days_soaked", ".0f"),
    ("Days on target", "days_on_target", ".0f"),
)


def figures(year: Year) -> list[tuple[str, str, str]]:
    """Columns of the table of ways; the year of a shift says something only where there are two."""
    return [one for one in FIGURES if one[1] != "shift_year" or year.summary["years"] > 1]


def policy_rows(year: Year) -> list[dict[str, Any]]:
    """A row for each way of watering."""
    rows = []
    for key, words in POLICIES.items():
        found = year.summary["policies"][key]
        rows.append(
            {
                "key": key,
                "name": words,
                "water": year.units.number(middle_of(found["litres"]), "volume"),
                "cost": year.cost(middle_of(found["litres"])),
                "figures": [text_of(found[name], spec) for _, name, spec in figures(year)],
            }
        )
    return rows


def text_of(value: Any, spec: str) -> str:
    """A figure, with its tenth and ninetieth of a hundred grounds where there are many; else –."""
    if isinstance(value, dict):
        if value["p50"] is None:
            return "–"
        low, middle, high = (format(value[key], spec) for key in ("p10", "p50", "p90"))
        return middle if low == high else f"{middle} ({low} to {high})"
    return "–" if value is None else format(value, spec)


def measures(year: Year) -> list[tuple[str, list[str], bool]]:
    """Rows of the zone table: what, a text a zone, and whether it is part of the row above."""
    units, volume = year.units, year.units.word("volume")
    areas = {strip.name: strip.area_m2 for strip in year.house.strips}
    of = year.summary["zones"]

    def row(words: str, key: str, spec: str = ",.0f", inner: bool = False) -> Any:
        return words, [text_of(of[zone][key], spec) for zone in year.zones], inner

    def litres(words: str, key: str) -> Any:
        texts = [units.number(middle_of(of[zone][key]), "volume") for zone in year.zones]
        return words, texts, False

    depths = [(middle_of(of[zone]["litres"]) or 0.0) / areas[zone] for zone in year.zones]
    skipped = sorted({why for zone in year.zones for why in of[zone]["skipped"]})
    totals = [str(sum(of[zone]["skipped"].values())) for zone in year.zones]
    return [
        ("Supply", [_supply(year, zone) for zone in year.zones], False),
        row("Movement, % of left alone", "movement_pct"),
        row("Level, pF", "level_pf", ".2f"),
        row("Target, pF", "target_pf", ".2f"),
        row("Days on target a year", "days_on_target"),
        row("drier", "days_dry", inner=True),
        row("wetter", "days_wet", inner=True),
        row("Soaked days a year, more than left alone", "days_soaked"),
        row("Runs", "runs"),
        row("Minutes open", "minutes"),
        litres(f"Water, {volume}", "litres"),
        (
            f"Water over the strip, {units.word('depth')}",
            [units.number(depth, "total") for depth in depths],
            False,
        ),
        litres(f"Runoff of it, {volume}", "runoff_litres"),
        ("Runs skipped", totals, False),
        *(
            (
                WHY.get(why, why.replace("_", " ")),
                [str(of[zone]["skipped"].get(why, 0)) for zone in year.zones],
                True,
            )
            for why in skipped
        ),
    ]


def _supply(year: Year, zone: str) -> str:
    supply = year.plan[zone]["supply"]
    return year.house.supplies[supply] if isinstance(supply, int) else str(supply)


def alarms(year: Year) -> list[dict[str, str]]:
    """Each alarm raised, in order: where, in words, since when and until when."""
    found: list[dict[str, str]] = []
    standing: dict[tuple[str, str], dict[str, str]] = {}
    for line in year.decisions:
        if line["what"] not in ("alarm", "cleared"):
            continue
        where = line["zone"] or line.get("supply") or "hub"
        key, at = (where, line["why"]), datetime.fromisoformat(line["at"])
        when = f"{day_in_words(at)}, {at:%H:%M}"
        if line["what"] == "alarm" and key not in standing:
            words = ALARMS.get(line["why"], line["why"].replace("_", " ") + ".")
            standing[key] = {"zone": where, "words": words, "from": when, "to": ""}
            found.append(standing[key])
        elif line["what"] == "cleared" and key in standing:
            standing.pop(key)["to"] = when
    return found
