"""The year report: one self-contained page built from a replay's other three files.

Every number on the page comes from `summary.json`, `decisions.jsonl` or `daily.csv`; the house adds
names, areas, units and prices. The same files give the same page, byte for byte.
"""

import csv
import io
import json
import math
from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from numpy.typing import NDArray

from evenclay.sim import files
from evenclay.sim.calendar import MONTHS
from evenclay.sim.ground.band import BAND_PF
from evenclay.sim.ground.soil import BAND_M, TOP_M
from evenclay.sim.ground.textures import kpa_of_pf
from evenclay.sim.house.house import House
from evenclay.sim.report import pictures
from evenclay.sim.report.pictures import Run, Strips
from evenclay.sim.types import Floats
from evenclay.sim.units import UNITS, Units

SHOWN_DAYS = 366  # pictures show no more than this: the last of a longer replay
READ = ("summary.json", "decisions.jsonl", "daily.csv")
DAY_COUNTS = ("days_in_band", "days_dry", "days_wet", "days_rewetting", "days_rain_wet")

POLICIES = {
    "none": "No watering",
    "calendar": "The bare calendar",
    "calendar_checked": "The calendar, checked by hand each week",
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
    "store": "The hub could not write its record.",
    "broken": "The hub found itself in a state that must not be: every valve was closed.",
    "probe": "The soil probe is not believed: the zone goes by the table.",
    "stale": "A sensor has not answered for hours.",
    "contact_stale": "The rain contact has not answered for hours: it counts as it was.",
    "dry_at_full": "Still dry with the trim at its most: the plan gives too little here.",
    "supply_no_flow": "No zone of this supply had flow: look at the spigot first.",
    "clock": "The clock was moved far: cycles passed over are not caught up.",
    "power": "Power failed while a valve was open.",
    "crash": "The program stopped and was started again, all valves shut first.",
    "bad_plan": "A new plan was refused: the old one stays.",
}


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
    state: NDArray[np.str_]
    season: NDArray[np.bool_]
    plan: dict[str, Any]
    decisions: list[dict[str, Any]]

    @property
    def units(self) -> Units:
        """What the reader sees quantities in."""
        return UNITS[self.house.units]

    @property
    def shown(self) -> slice:
        """The days the pictures show: all, or the last year of a longer replay."""
        if len(self.days) <= SHOWN_DAYS:
            return slice(0, None)
        end = self.days[-1] + 1
        month = end.astype("datetime64[M]")
        start = (month - 12).astype("datetime64[D]") + (end - month.astype("datetime64[D]"))
        return slice(int(np.searchsorted(self.days, start)), None)

    @property
    def counted(self) -> int:
        """Days a policy is judged on, over all zones."""
        return sum(self.summary["zones"][zone][key] for zone in self.zones for key in DAY_COUNTS)


def write_report(out_dir: Path, house: House) -> Path:
    """Build `report.html` from summary.json, decisions.jsonl and daily.csv in the same folder.

    Returns the page's path.
    Raises:
        ReportError: the files name a zone the house does not have, or lack one it has.
        OSError: a file cannot be read or written.
    """
    path = out_dir / "report.html"
    files.write({path: page_of(read(out_dir, house))})
    return path


def page_of(year: Year) -> str:
    """The report as HTML."""
    environment = Environment(
        loader=PackageLoader("evenclay.sim.report", "."),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("report.html.j2").render(_page(year))


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
    words = {"date", "zone", "state", "season"}
    columns = {name: np.full(shape, np.nan) for name in rows[0] if name not in words}
    state, season = np.full(shape, "", dtype="U9"), np.zeros(shape, dtype=np.bool_)
    for row in rows:
        place = day_at[row["date"]], zone_at[row["zone"]]
        for name, column in columns.items():
            if row[name]:
                column[place] = float(row[name])
        state[place], season[place] = row["state"], row["season"] == "1"
    return Year(
        house=house,
        summary=summary,
        zones=zones,
        days=np.array(days, dtype="datetime64[D]"),
        columns=columns,
        state=state,
        season=season,
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


def result_sentences(year: Year) -> list[str]:
    """What the replay found, in a sentence or two, whichever way it went."""
    policies, volume = year.summary["policies"], year.units.word("volume")
    hub, calendar, none = policies["hub"], policies["calendar"], policies["none"]
    used, bare = [year.units.number(way["litres"], "volume") for way in (hub, calendar)]
    if not year.counted:
        return [
            f"The hub used {used} {volume}; the bare calendar used {bare}. The unwatered soil "
            "never dried out of its band here, so no day counts as season."
        ]
    said = (
        f"The hub used {used} {volume} and kept the clay in band on "
        f"{hub['days_in_band']:,} of {year.counted:,} season days, all zones taken together; the "
        f"bare calendar used {bare} {volume} and kept it there on "
        f"{calendar['days_in_band']:,}; unwatered it would have been there on "
        f"{none['days_in_band']:,}."
    )
    return [
        said,
        _verdict(hub, calendar, "the bare calendar"),
        _verdict(hub, policies["calendar_checked"], "the calendar checked by hand each week"),
        f"Too dry were {hub['days_dry']:,} days with the hub and {calendar['days_dry']:,} with the "
        f"bare calendar; too wet, {hub['days_wet']:,} and {calendar['days_wet']:,}.",
        *_too_little(calendar),
    ]


def _too_little(calendar: dict[str, Any]) -> list[str]:
    """Where the table itself gives too little, say what holding back can and cannot do."""
    if calendar["days_dry"] <= calendar["days_wet"]:
        return []
    return [
        "The table alone leaves the clay too dry more often than too wet: there, holding back "
        "can only cost days in band, and only a trim or a probe can add any."
    ]


def _verdict(hub: dict[str, Any], other: dict[str, Any], name: str) -> str:
    """Hub against another way of watering: water and days, with the worse named as such."""
    days = hub["days_in_band"] - other["days_in_band"]
    many = f"{abs(days):,} {'day' if abs(days) == 1 else 'days'}"
    kept = (
        f"{many} more in band" if days > 0 else f"{many} fewer in band" if days else "as many days"
    )
    if not other["litres"]:
        return f"Against {name}: {kept}."
    part = hub["litres"] / other["litres"] - 1.0
    percent = f"{abs(part) * 100:.0f}\N{NO-BREAK SPACE}%"
    same = percent.startswith("0\N{NO-BREAK SPACE}")
    water = f"{percent} less water" if part < 0 else f"{percent} more water"
    if same:
        water = "the same water"
    saved = not same and part < 0
    if days < 0 and not saved:
        return f"Here the hub did worse than {name}: {water}, {kept}."
    if days < 0:
        return f"Against {name} that is {water}, but the hub did worse on moisture: {kept}."
    if part > 0 and not same:
        return f"Against {name} that is {kept}, at the price of {water}."
    return f"Against {name} that is {water} and {kept}."


def _page(year: Year) -> dict[str, Any]:
    """Everything the template shows."""
    first, last = year.days[0].astype(object), year.days[-1].astype(object)
    shown_first = year.days[year.shown][0].astype(object)
    rows, never = _strips(year)
    return {
        "house": year.house,
        "units": year.units,
        "period": f"{_day(first)} to {_day(last)}",
        "shown": f"{_day(shown_first)} to {_day(last)}" if shown_first != first else "",
        "sentences": result_sentences(year),
        "policies": _policies(year),
        "counted": year.counted,
        "weather": year.summary["weather"],
        "hub": year.summary["hub"],
        "notes": year.summary.get("notes", []),
        "balance": year.summary["mass_balance_error_mm"],
        "pictures": _pictures(year, rows),
        "months": _months(year),
        "never_held": never,
        "not_given": _not_given(year),
        "zones": year.zones,
        "measures": _measures(year),
        "alarms": _alarms(year),
        "top_depth": year.units.shown(TOP_M[1], "near"),
        "band_depth": "{} to {}".format(
            year.units.number(BAND_M[0], "near"), year.units.shown(BAND_M[1], "near")
        ),
        "band": [year.units.shown(kpa_of_pf(pf), "suction") for pf in BAND_PF],
    }


def _day(day: Any) -> str:
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def _pictures(year: Year, rows: list[Strips]) -> dict[str, Markup]:
    shown, columns, units = year.shown, year.columns, year.units
    days, zones = year.days[shown], year.zones
    runs = [run for run in runs_of(year) if np.datetime64(run.start.date(), "D") >= days[0]]
    state, season = year.state[shown], year.season[shown]
    rain, et0, applied = (series[shown] * units.of(1.0, "depth") for series in _site(year))
    unknown = np.full((len(days), len(zones)), np.nan)
    drawn = {
        "moisture": pictures.moisture(
            days,
            zones,
            columns["pf"][shown],
            columns["pf_unwatered"][shown],
            state,
            season,
            units,
            "Soil suction of each zone over the year against the band. " + _spells(year),
        ),
        "water": pictures.water(
            days,
            rain,
            et0,
            applied,
            units.word("depth"),
            "Weekly rain, reference evapotranspiration and water applied; "
            "the monthly sums stand in the table beside it.",
        ),
        "openings": pictures.openings(
            days,
            zones,
            runs,
            columns.get("closed_season_h", unknown)[shown] > 12.0,
            "Every opening at its day and hour, a panel a zone: "
            + ", ".join(
                f"{zone} {sum(run.zone == z for run in runs)}" for z, zone in enumerate(zones)
            )
            + ".",
        ),
        "held": pictures.held_back(
            days,
            rows,
            "Hours of each day on which watering was held back: "
            + "; ".join(f"{row.reason}, {row.zones}: {np.sum(row.hours > 0)} days" for row in rows)
            + ".",
        ),
        "policies": pictures.policies(
            year.summary["policies"],
            year.counted,
            units,
            "Water and days in band for each way of watering; the table on top has the numbers.",
        ),
    }
    return {name: Markup(svg) for name, svg in drawn.items()}  # our own drawing


def _spells(year: Year) -> str:
    """Days outside the band a zone, for those who do not see the picture."""
    state = year.state[year.shown]
    told = []
    for z, zone in enumerate(year.zones):
        counts = ", ".join(
            f"{np.sum(state[:, z] == spell.state)} {spell.words}" for spell in pictures.SPELLS
        )
        told.append(f"{zone}: days {counts}.")
    return " ".join(told)


def _site(year: Year) -> tuple[Floats, Floats, Floats]:
    """Rain and ET0 of the site and the mean depth applied over all strips, millimetres a day."""
    area_m2 = sum(strip.area_m2 for strip in year.house.strips)
    columns = year.columns
    return columns["rain_mm"][:, 0], columns["et0_mm"][:, 0], columns["litres"].sum(1) / area_m2


def _months(year: Year) -> list[dict[str, str]]:
    """A row a month shown: rain, ET0, water applied."""
    months = year.days[year.shown].astype("datetime64[M]")
    rows = []
    for month in np.unique(months):
        inside = months == month
        sums = [
            year.units.number(float(series[year.shown][inside].sum()), "total")
            for series in _site(year)
        ]
        when = month.astype(object)
        name = f"{MONTHS[when.month - 1]} {when.year}"
        rows.append({"month": name, "rain": sums[0], "et0": sums[1], "water": sums[2]})
    return rows


def _strips(year: Year) -> tuple[list[Strips], list[str]]:
    """Rows of the held-back picture, zones held alike together; and the reasons that never held."""
    rows: list[Strips] = []
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
            rows.append(Strips(reason, _named(year.zones, group), hours[:, group[0]]))
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


def _not_given(year: Year) -> list[dict[str, Any]]:
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


def _policies(year: Year) -> list[dict[str, str]]:
    house = year.house
    rows = []
    for key, words in POLICIES.items():
        found = year.summary["policies"][key]
        cost = ""
        if house.water_price_m3 is not None:
            cost = f"{house.currency} {found['litres'] / 1000 * house.water_price_m3:,.0f}".strip()
        rows.append(
            {
                "key": key,
                "name": words,
                "water": year.units.number(found["litres"], "volume"),
                "cost": cost,
                "in_band": _count(found["days_in_band"]),
                "dry": _count(found["days_dry"]),
                "wet": _count(found["days_wet"]),
                "unevenness": _places(found["unevenness_pf"], 2),
            }
        )
    return rows


def _count(value: float) -> str:
    return f"{value:,.0f}"


def _places(value: float | None, places: int) -> str:
    return "–" if value is None or not math.isfinite(value) else f"{value:,.{places}f}"


def _measures(year: Year) -> list[tuple[str, list[str], bool]]:
    """Rows of the zone table: what, a text a zone, and whether it is part of the row above."""
    units, volume = year.units, year.units.word("volume")
    areas = {strip.name: strip.area_m2 for strip in year.house.strips}
    of = year.summary["zones"]

    def row(words: str, key: str, places: int = 0, inner: bool = False) -> Any:
        return words, [_places(of[zone][key], places) for zone in year.zones], inner

    def litres(words: str, key: str) -> Any:
        return words, [units.number(of[zone][key], "volume") for zone in year.zones], False

    depths = [(of[zone]["litres"] or 0.0) / areas[zone] for zone in year.zones]
    skipped = sorted({why for zone in year.zones for why in of[zone]["skipped"]})
    totals = [str(sum(of[zone]["skipped"].values())) for zone in year.zones]
    return [
        ("Supply", [_supply(year, zone) for zone in year.zones], False),
        row("Runs", "runs"),
        row("Minutes open", "minutes"),
        litres(f"Water, {volume}", "litres"),
        (
            f"Water over the strip, {units.word('depth')}",
            [units.number(depth, "total") for depth in depths],
            False,
        ),
        ("Runs skipped", totals, False),
        *(
            (
                WHY.get(why, why.replace("_", " ")),
                [str(of[zone]["skipped"].get(why, 0)) for zone in year.zones],
                True,
            )
            for why in skipped
        ),
        row("Season days in band", "days_in_band"),
        row("too dry", "days_dry", inner=True),
        row("too wet, by watering", "days_wet", inner=True),
        row("wetter, by rain alone", "days_rain_wet", inner=True),
        row("being re-wet", "days_rewetting", inner=True),
        *_all_days(year),
        litres(f"Runoff, {volume}", "runoff_litres"),
        litres(f"Bypass through cracks, {volume}", "bypass_litres"),
        row("Swing, pF", "swing_pf", 2),
        row("Movement index, % of unwatered", "movement_index_pct"),
        *_under_slab(year),
    ]


def _under_slab(year: Year) -> list[tuple[str, list[str], bool]]:
    """How much the ground under the slab changes, by distance from its edge: watered, unwatered."""
    of = [year.summary["zones"][zone]["under_slab"] for zone in year.zones]
    known = [cells for cells in of if cells]
    rows = []
    for number, cell in enumerate(known[0] if known else []):
        texts = [
            f"{c[number]['change_pct']:.0f} ({c[number]['unwatered_change_pct']:.0f})" if c else "–"
            for c in of
        ]
        where = year.units.shown(cell["m"], "distance")
        rows.append((f"under the slab {where} in (unwatered)", texts, True))
    return rows


def _all_days(year: Year) -> list[tuple[str, list[str], bool]]:
    """Days of every state, in season or not, from daily.csv."""
    states = {"in_band": "All days in band", **{s.state: s.words for s in pictures.SPELLS}}
    if not (year.state != "").any():
        return []
    return [
        (words, [_count(np.sum(year.state[:, z] == state)) for z in range(len(year.zones))], n > 0)
        for n, (state, words) in enumerate(states.items())
    ]


def _supply(year: Year, zone: str) -> str:
    supply = year.plan[zone]["supply"]
    return year.house.supplies[supply] if isinstance(supply, int) else str(supply)


def _alarms(year: Year) -> list[dict[str, str]]:
    """Each alarm raised, in order: where, in words, since when and until when."""
    found: list[dict[str, str]] = []
    standing: dict[tuple[str, str], dict[str, str]] = {}
    for line in year.decisions:
        if line["what"] not in ("alarm", "cleared"):
            continue
        where = line["zone"] or line.get("supply") or "hub"
        key, at = (where, line["why"]), datetime.fromisoformat(line["at"])
        when = f"{_day(at)}, {at:%H:%M}"
        if line["what"] == "alarm" and key not in standing:
            words = ALARMS.get(line["why"], line["why"].replace("_", " ") + ".")
            standing[key] = {"zone": where, "words": words, "from": when, "to": ""}
            found.append(standing[key])
        elif line["what"] == "cleared" and key in standing:
            standing.pop(key)["to"] = when
    return found
