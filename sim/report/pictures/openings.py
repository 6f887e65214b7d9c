"""The picture of the openings: each run of each zone, at its day and hour."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import FixedLocator, FuncFormatter
from numpy.typing import NDArray

from evenclay.sim.report.pictures.drawing import (
    HEIGHT_IN,
    INK,
    SOFT,
    STYLE,
    ZONE_COLOURS,
    Paper,
    add_boxes,
    add_legend,
    box,
    day_number,
    day_numbers,
    name_panel,
    panels_of,
    rule_months,
    svg_of,
)
from evenclay.sim.report.year import Run
from evenclay.sim.types import Bools
from evenclay.sim.units import METRIC, Units


def openings(
    paper: Paper,
    days: NDArray[np.datetime64],
    zones: Sequence[str],
    runs: Iterable[Run],
    closed: Bools,
    label: str,
    units: Units,
) -> str:
    """Every opening at its day and hour: one panel a zone, so that a zone is known by its place.

    closed: days x zones, True where the closed season held most of the day.
    """
    with matplotlib.rc_context(STYLE):
        height_in = min(1.2, HEIGHT_IN / len(zones))
        left_in, right_in, columns = (0.5, 0.33, 1) if paper.narrow else (0.75, 0.6, 4)
        top_in = 0.36 + 0.19 * -(-len(_opening_keys()) // columns)
        fig, panels = panels_of(
            paper, len(zones), height_in, top_in=top_in, left_in=left_in, right_in=right_in
        )
        by_zone: list[list[Run]] = [[] for _ in zones]
        for run in runs:
            by_zone[run.zone].append(run)
        first_h, last_h = _hours_used([run for own in by_zone for run in own])
        # A column over midnight is called by the day it ends on: one more for the last evening.
        shown = np.arange(days[0], days[-1] + (2 if last_h > 24 else 1))
        edges = np.repeat(day_numbers(days), 2)
        edges[1::2] += 1.0
        for z, ax in enumerate(panels):
            rule_months(ax, shown, last=z == len(zones) - 1)
            ax.set_ylim(last_h, first_h)
            _hours(ax, first_h, last_h, "mid-\nnight" if paper.narrow else "midnight", units)
            ax.fill_between(
                edges,
                first_h,
                last_h,
                where=list(np.repeat(closed[:, z], 2)),
                facecolor="#f4f4f4",
                edgecolor="#dddddd",
                hatch="\\\\",
                linewidth=0.0,
                zorder=0,
            )
            _draw_runs(ax, by_zone[z], last_h, ZONE_COLOURS[z % 8])
            name_panel(ax, zones[z] + ("" if by_zone[z] else " (never opened)"))
        add_legend(fig, _opening_keys(), columns=columns)
        return svg_of(fig, paper, "openings", label)


def _opening_keys() -> list[Any]:
    mark: dict[str, Any] = {"linestyle": "none", "color": INK, "markersize": 4}
    return [
        Patch(color=SOFT, label="valve open (bar = its time and length)"),
        Line2D([], [], marker="x", label="cut short", **mark),
        Line2D([], [], marker="o", markerfacecolor="none", label="asked for by hand", **mark),
        Patch(facecolor="#f4f4f4", edgecolor="#dddddd", hatch="\\\\", lw=0, label="closed season"),
    ]


def _hours(ax: Axes, first_h: int, last_h: int, midnight: str, units: Units) -> None:
    """Rule the panel by hours; midnight inside it is darker, and named."""
    step_h = 4 if last_h - first_h > 12 else 3 if last_h - first_h > 6 else 2
    ax.yaxis.set_major_locator(FixedLocator(list(range(first_h, last_h + 1, step_h))))
    ax.yaxis.set_major_formatter(
        FuncFormatter(
            lambda hour, _: (
                "24:00" if hour == last_h == 24 and units == METRIC else units.time(60 * int(hour))
            )
        )
    )
    ax.grid(axis="y")
    if first_h < 24 < last_h:
        ax.axhline(24, color=SOFT, linewidth=0.6, zorder=1)
        ax.text(1.005, 24, midnight, transform=ax.get_yaxis_transform(), va="center", size=7)


def _draw_runs(ax: Axes, runs: list[Run], last_h: int, colour: str) -> None:
    """Add the runs; what goes on past a column's end stands in the next."""
    boxes = []
    marks: dict[str, list[tuple[float, float]]] = {"x": [], "o": []}
    for run in runs:
        day = day_number(run.start.date())
        start_h = _hour(run.start)
        if last_h > 24:  # the evening belongs to the next day's column
            late = start_h > last_h - 24
            day, start_h = (day + 1, start_h) if late else (day, start_h + 24)
        end_h = start_h + run.seconds / 3600
        if run.cut_short:
            marks["x"].append((day + 0.5, min(end_h, last_h)))
        if run.why in ("manual", "test"):
            marks["o"].append((day + 0.5, start_h))
        while end_h > last_h:
            boxes.append(box(day + 0.08, day + 0.92, start_h, last_h))
            day, start_h, end_h = day + 1, last_h - 24.0, end_h - 24.0
        boxes.append(box(day + 0.08, day + 0.92, start_h, end_h))
    # The edge keeps a run of a few minutes visible.
    add_boxes(ax, boxes, facecolor=colour, edgecolor=colour, linewidth=0.7)
    for marker, points in marks.items():
        if points:
            x, y = zip(*points, strict=True)
            ax.plot(x, y, marker, color=INK, markersize=3.2, mew=0.7, markerfacecolor="none")


def _hour(at: datetime) -> float:
    return at.hour + at.minute / 60 + at.second / 3600


def _hours_used(runs: list[Run]) -> tuple[int, int]:
    """First and last whole hour of a column that holds every run: 0..24, or into the next day.

    The longest stretch of hours in which nothing ever ran is left out; six hours of a day stay.
    """
    used = np.zeros(24, dtype=np.bool_)
    for run in runs:
        start_h = _hour(run.start)
        last = min(int(start_h) + 24, int(np.ceil(start_h + run.seconds / 3600)))
        used[[hour % 24 for hour in range(int(start_h), max(last, int(start_h) + 1))]] = True
    if used.all() or not used.any():
        return 0, 24
    best, length = 0, 0
    for start in range(24):
        free = next(n for n in range(25) if used[(start + n) % 24])
        if free > length:
            best, length = start, free
    first_h = (best + length) % 24
    last_h = first_h + 24 - length
    if last_h <= 24:  # a column is one day: widen it inside the day
        first_h = min(first_h, 18)
        last_h = max(last_h, first_h + 6)
    return first_h, last_h
