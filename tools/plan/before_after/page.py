"""A change in a property file as a page: the verdict, what changed, the measures, each ground."""

from pathlib import Path
from typing import Any

import matplotlib
import rich.table
from markupsafe import Markup
from matplotlib.lines import Line2D

from evenclay.sim.judge.verdict import UNREST, UNREST_PCT
from evenclay.sim.report.pictures.drawing import (
    INK,
    RULE,
    SOFT,
    STYLE,
    WET,
    Paper,
    add_legend,
    panels_of,
    svg_of,
)
from evenclay.sim.report.render import render
from evenclay.sim.report.tables import Row, Table
from evenclay.sim.types import Line
from evenclay.tools.plan.before_after.judged import SIDES, pairs_of, rows, verdict_of
from evenclay.tools.plan.compare_summary import FEW_GROUNDS
from evenclay.tools.plan.compare_tables import lived_of

ROW_IN, LEAST_IN = 0.16, 1.1
PAPER = Paper("both", 5.0)  # one picture for wide screens and phones


def page_of(found: Line) -> str:
    """What `judged.live` found, as HTML."""
    files = [Path(name).name for name in found["files"]]
    if files[0] == files[1]:
        files = found["files"]
    values = {
        "house": found["house"],
        "files": files,
        "changes": _changes(found),
        "grounds": found["grounds"],
        "few": found["grounds"] < FEW_GROUNDS,
        "same_zones": found["same_zones"],
        "notes": found["notes"],
        "weathers": [
            _part(found, weather, f"w{number}") for number, weather in enumerate(found["weathers"])
        ],
    }
    return render("before_after.html.j2", values, __package__)


def period_of(found: Line, weather: Line) -> str:
    """The weather, the years and the grounds."""
    count = found["grounds"]
    grounds = "one ground" if count == 1 else f"{count} plausible grounds"
    return f"{Path(weather['weather']).name}: {lived_of(weather)}, {grounds}"


def _changes(found: Line) -> Table:
    """What differs between the files."""
    rows = [Row(one["key"], (one["before"], one["after"])) for one in found["changes"]]
    return Table("What the two files say otherwise", ("What", "Before", "After"), rows, "words")


def _measures(found: Line, weather: Line) -> Table:
    """The measures before and after."""
    told = [Row(what, (before, after)) for what, before, after in rows(found, weather)]
    middle = "Middle of the grounds" if found["grounds"] > 1 else "On one ground"
    return Table(middle, ("Measure", "Before", "After"), told, wraps=True)


def table_of(found: Line, weather: Line) -> rich.table.Table:
    """The measures before and after, for a terminal."""
    table = rich.table.Table()
    table.add_column("middle of the grounds")
    for name in SIDES:
        table.add_column(name, justify="right", no_wrap=True)
    for row in rows(found, weather):
        table.add_row(*row)
    return table


def _part(found: Line, weather: Line, name: str) -> dict[str, Any]:
    """What the page says of one weather."""
    return {
        "period": period_of(found, weather),
        "verdict": verdict_of(found, weather),
        "limits": weather["after"]["sentences"],
        "marked": any(weather[side]["broken"] for side in SIDES),
        "cautious": weather["after"]["cautious"],
        "measures": _measures(found, weather),
        "picture": Markup(_drawn(weather, name)) if pairs_of(weather, UNREST) else "",
    }


def _drawn(weather: Line, name: str) -> str:
    """Unrest on each ground before and after, the calmest ground on top."""
    pairs = sorted(pairs_of(weather, UNREST))
    with matplotlib.rc_context(STYLE):
        height_in = max(ROW_IN * len(pairs), LEAST_IN)
        fig, (ax,) = panels_of(PAPER, 1, height_in, top_in=0.5, left_in=0.15, right_in=0.15)
        for row, (before, after) in enumerate(pairs):
            ax.plot((before, after), (row, row), color=SOFT, lw=1.0, zorder=2)
        places = range(len(pairs))
        ax.scatter([a for a, _ in pairs], places, s=26, facecolor="white", edgecolor=SOFT, zorder=3)
        ax.scatter([b for _, b in pairs], places, s=26, color=WET, zorder=4)
        ax.axvline(100.0, color=INK, lw=0.9, zorder=1)
        ax.axvline(UNREST_PCT, color=INK, lw=0.9, ls=(0, (4, 3)), zorder=1)
        ax.set_ylim(len(pairs) - 0.3, -0.7)
        ax.set_yticks([])
        ax.spines["left"].set_visible(False)
        ax.grid(axis="x", color=RULE)
        ax.set_xlabel("unrest, % of leaving the house alone", labelpad=2)
        key = [
            Line2D([], [], marker="o", ls="", mfc="white", mec=SOFT, label="before"),
            Line2D([], [], marker="o", ls="", color=WET, label="after"),
            Line2D([], [], color=INK, lw=0.9, label="100: left alone"),
            Line2D([], [], color=INK, lw=0.9, ls=(0, (4, 3)), label=f"{UNREST_PCT:.0f}: allowed"),
        ]
        add_legend(fig, key, 2)
        middles = " to ".join(f"{weather[side][UNREST]['p50']:.0f}" for side in SIDES)
        label = f"Unrest on each ground before and after; its middle goes from {middles}."
        return svg_of(fig, PAPER, name, label)
