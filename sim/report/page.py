"""The year report: one self-contained page built from a replay's other three files and a cut.

Every number on the page comes from `summary.json`, `decisions.jsonl` or `daily.csv`; the house adds
names, areas, units and prices, and the cut the ground by depth. The same files and cut give the
same page, byte for byte.
"""

from pathlib import Path
from typing import Any

import numpy as np
from markupsafe import Markup

from evenclay.sim import files
from evenclay.sim.ground.textures import kpa_of_pf
from evenclay.sim.house.house import House
from evenclay.sim.report.lead import lead
from evenclay.sim.report.pictures import water
from evenclay.sim.report.pictures.drawing import NARROW, WIDE, Paper
from evenclay.sim.report.pictures.moisture import Cut, section, sides
from evenclay.sim.report.pictures.openings import openings
from evenclay.sim.report.pictures.water import HeldRow
from evenclay.sim.report.render import render
from evenclay.sim.report.sentences import dash_sentence, result_sentences
from evenclay.sim.report.tables import (
    alarms_table,
    held_rows,
    months_table,
    not_given_table,
    seasons_table,
    site_series,
    ways_table,
    zones_table,
)
from evenclay.sim.report.year import Year, middle_of, read, runs_of
from evenclay.sim.section.layout import STRIP_M


def write_report(out_dir: Path, house: House, cut: Cut) -> Path:
    """Build `report.html` from summary.json, decisions.jsonl and daily.csv in the same folder.

    cut: the ground by depth, over the days of daily.csv. Returns the page's path.
    Raises:
        ReportError: the files name a zone the house does not have, or lack one it has.
        OSError: a file cannot be read or written.
    """
    path = out_dir / "report.html"
    files.write({path: page_of(read(out_dir, house), cut)})
    return path


def page_of(year: Year, cut: Cut) -> str:
    """The report as HTML."""
    return render("report.html.j2", _page(year, cut))


def _page(year: Year, cut: Cut) -> dict[str, Any]:
    """Everything the template shows."""
    first, last = year.days[0].astype(object), year.days[-1].astype(object)
    shown_first = year.days[year.shown][0].astype(object)
    rows, never = held_rows(year)
    return {
        "house": year.house,
        "units": year.units,
        "period": f"{year.units.date(first)} to {year.units.date(last)}",
        "shown": f"{year.units.date(shown_first)} to {year.units.date(last)}"
        if shown_first != first
        else "",
        "lead": lead(year, cut.zone),
        "seasons": seasons_table(year),
        "sentences": result_sentences(year),
        "dash": dash_sentence(year),
        "grounds": year.summary["grounds"],
        "moved": year.zones[cut.zone],
        "weather": year.summary["weather"],
        "hub": year.summary["hub"],
        "notes": year.summary.get("notes", []),
        "balance": year.summary["mass_balance_error_mm"],
        "pictures": [_pictures(paper, year, rows, cut) for paper in (WIDE, NARROW)],
        "ways": ways_table(year),
        "months": months_table(year),
        "never_held": never,
        "not_given": not_given_table(year),
        "zones": zones_table(year),
        "alarms": alarms_table(year),
        "strip_depth": "{} to {}".format(
            year.units.number(STRIP_M[0], "near"), year.units.shown(STRIP_M[1], "near")
        ),
        "suctions": [(pf, year.units.shown(kpa_of_pf(pf), "suction")) for pf in (2.5, 3.5, 4.2)],
    }


def _pictures(paper: Paper, year: Year, rows: list[HeldRow], cut: Cut) -> dict[str, Markup]:
    """Every picture on one paper; the markup is our own drawing."""
    days = year.days[year.shown]
    held = "; ".join(f"{row.reason}, {row.zones}: {np.sum(row.hours > 0)} days" for row in rows)
    drawn = {
        "ways": _ways(paper, year),
        "sides": _sides(paper, year),
        "water": _water(paper, year),
        "openings": _openings(paper, year),
        "section": section(
            paper,
            days,
            cut,
            year.shown,
            year.units,
            f"Suction by depth through the year at {year.zones[cut.zone]}, watered and left alone: "
            "under the hose, under the edge of the house and inside. " + _ranges(year, cut.zone),
        ),
        "held": water.held_back(
            paper, days, rows, f"Hours of each day on which watering was held back: {held}."
        ),
    }
    return {name: Markup(svg) for name, svg in drawn.items()}


def _ways(paper: Paper, year: Year) -> str:
    found = [year.summary["policies"][name] for name in water.POLICIES]
    litres = [year.share * middle_of(one["litres"]) for one in found]
    return water.policies(
        paper,
        [one["unrest_pct"] for one in found],
        [year.units.of(one, "volume") for one in litres],
        f"water {year.during}, {year.units.word('volume')}",
        "Water and unrest for each way of watering; the table of the ways has the numbers.",
    )


def _sides(paper: Paper, year: Year) -> str:
    columns = year.columns
    return sides(
        paper,
        year.days,
        year.zones,
        (columns["edge_pf"], columns["edge_unwatered_pf"]),
        (columns["inside_pf"], columns["inside_unwatered_pf"]),
        "How far each side's edge has departed from its own mean left alone, watered and left "
        "alone. " + " ".join(f"{zone}: {_ranges(year, z)}" for z, zone in enumerate(year.zones)),
    )


def _water(paper: Paper, year: Year) -> str:
    units = year.units
    rain, et0, given = (series[year.shown] * units.of(1.0, "depth") for series in site_series(year))
    return water.water(
        paper,
        year.days[year.shown],
        rain,
        et0,
        given,
        units.word("depth"),
        "Weekly rain, reference evapotranspiration and water applied; the table of monthly sums "
        "has the numbers.",
    )


def _openings(paper: Paper, year: Year) -> str:
    days, zones = year.days[year.shown], year.zones
    runs = [run for run in runs_of(year) if np.datetime64(run.start.date(), "D") >= days[0]]
    unknown = np.full((len(year.days), len(zones)), np.nan)
    counts = [f"{zone}: {sum(run.zone == z for run in runs)}" for z, zone in enumerate(zones)]
    return openings(
        paper,
        days,
        zones,
        runs,
        year.columns.get("closed_season_h", unknown)[year.shown] > 12.0,
        f"Every opening at its day and hour, a panel a zone: {', '.join(counts)}.",
        year.units,
    )


def _ranges(year: Year, zone: int) -> str:
    """How far an edge's mean goes, for those who do not see the picture."""
    told = []
    for name, words in (("edge_pf", "watered"), ("edge_unwatered_pf", "left alone")):
        pf = year.columns[name][:, zone]
        told.append(f"{words} its edge goes from pF {np.min(pf):.2f} to {np.max(pf):.2f}")
    return "; ".join(told) + "."
