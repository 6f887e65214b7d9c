"""The pictures of water, of what held it back, and of the ways of watering side by side."""

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import FixedFormatter, FixedLocator, MaxNLocator
from numpy.typing import NDArray

from evenclay.sim.report.pictures.drawing import (
    DRY,
    DRY_TINT,
    INK,
    RAIN,
    RIMMED,
    SOFT,
    STYLE,
    WATER_TINT,
    Paper,
    add_boxes,
    add_legend,
    box,
    day_numbers,
    panels_of,
    rule_months,
    svg_of,
)
from evenclay.sim.report.year import middle_of
from evenclay.sim.types import Floats

POLICIES = {
    "none": "left alone",
    "calendar": "bare calendar",
    "hub_alone": "the hub,\nreckoning alone",
    "hub": "the hub",
}
# Of the week with the most, so much is the panel high.
ROOM = 1.05
GIVEN: dict[str, Any] = {
    "facecolor": WATER_TINT,
    "edgecolor": "#8a5f00",
    "hatch": "////",
    "linewidth": 0.4,
}


@dataclass(frozen=True)
class HeldRow:
    """One row of the held-back picture: hours a day [0..24] for zones that were held alike."""

    reason: str
    zones: str
    hours: Floats


def water(
    paper: Paper,
    days: NDArray[np.datetime64],
    rain: Floats,
    et0: Floats,
    applied: Floats,
    unit: str,
    label: str,
) -> str:
    """Rain, reference evapotranspiration and water applied, a week at a time.

    rain, et0, applied: a day each, in `unit` ("mm" or "inches").
    """
    with matplotlib.rc_context(STYLE):
        columns = 1 if paper.narrow else 3
        top_in, left_in = 0.19 + 0.19 * (3 // columns), 0.6 if paper.narrow else 0.75
        fig, (above, below) = panels_of(
            paper, 2, 1.55, top_in=top_in, left_in=left_in, right_in=0.1
        )
        x = day_numbers(days)
        # The days left over after the last whole week join it; a bar is then the week's rate.
        starts = np.arange(0, max(1, len(days) - 3), 7)
        for ax in (above, below):
            rule_months(ax, days, last=ax is below)
            ax.yaxis.set_major_locator(MaxNLocator(4))
            ax.grid(axis="y")
            ax.set_ylabel(f"{unit} a week")
        for ax, daily, look in ((above, rain, {"color": RAIN}), (below, applied, GIVEN)):
            _bars(ax, x, starts, _weekly(daily, starts), look)
        asked = _weekly(et0, starts)
        above.stairs(asked, np.append(x[starts], x[-1] + 1), baseline=None, color=INK, lw=1.4)
        above.set_ylim(top=max(above.get_ylim()[1], ROOM * asked.max()))
        add_legend(
            fig,
            [
                Patch(color=RAIN, label="rain"),
                Line2D(
                    [], [], color=INK, linewidth=1.4, label="reference evapotranspiration (ET0)"
                ),
                Patch(label="water applied, mean of the strips", **GIVEN),
            ],
            columns=columns,
        )
        return svg_of(fig, paper, "water", label)


def _bars(
    ax: Axes, x: Floats, starts: NDArray[np.int64], weekly: Floats, look: dict[str, Any]
) -> None:
    """A bar a week, as high as its amount."""
    ends = np.append(x[starts[1:]], x[-1] + 1)
    bars = zip(x[starts] + 0.6, ends - 0.6, weekly, strict=True)
    add_boxes(ax, [box(left, right, 0.0, high) for left, right, high in bars if high > 0.0], **look)
    ax.set_ylim(0.0, ROOM * weekly.max() or 1.0)


def _weekly(daily: Floats, starts: NDArray[np.int64]) -> Floats:
    length = np.diff(np.append(starts, len(daily)))
    return np.asarray(np.add.reduceat(daily, starts) / length * 7.0)


def held_back(
    paper: Paper, days: NDArray[np.datetime64], rows: Sequence[HeldRow], label: str
) -> str:
    """A row a reason and group of zones; a bar's height is the share of the day it held."""
    with matplotlib.rc_context(STYLE):
        count = max(1, len(rows))
        names = [textwrap.wrap(row.zones, 56 if paper.narrow else 34) for row in rows]
        lines = max((len(words) for words in names), default=1)
        if paper.narrow:  # what a row is called stands above it
            sizes = {"left_in": 0.1, "right_in": 0.1, "gap_in": 0.3 + 0.13 * lines}
            fig, panels = panels_of(paper, count, 0.26, top_in=sizes["gap_in"], **sizes)
        else:
            sizes = {"left_in": 2.4, "right_in": 0.8, "gap_in": 0.07}
            fig, panels = panels_of(paper, count, 0.19 + 0.12 * lines, top_in=0.1, **sizes)
        x = day_numbers(days)
        for index, ax in enumerate(panels):
            rule_months(ax, days, last=index == count - 1)
            ax.set_ylim(0, 24)
            ax.yaxis.set_major_locator(FixedLocator([]))
            ax.set_facecolor("#f7f7f7")
            if not rows:
                ax.text(0.5, 0.4, "nothing was held back", transform=ax.transAxes, ha="center")
                break
            row = rows[index]
            held = np.where(row.hours > 0.0)[0]
            boxes = [box(x[d], x[d] + 1, 0.0, min(24.0, row.hours[d])) for d in held]
            add_boxes(ax, boxes, facecolor="#3d5a73", linewidth=0.0)
            days_held = f"{len(held)} day" + ("s" if len(held) != 1 else "")
            _name_row(ax, paper, row.reason, names[index], days_held)
        return svg_of(fig, paper, "held", label)


def _name_row(ax: Axes, paper: Paper, reason: str, zones: Sequence[str], days: str) -> None:
    """Write why, for which zones and on how many days: left and right of the row, or above it."""
    at: dict[str, Any] = {"xycoords": "axes fraction", "textcoords": "offset points", "va": "top"}
    right, across, high = ("left", 0, 14.0 + 9.2 * len(zones)) if paper.narrow else ("right", -6, 0)
    ax.annotate(reason, (0.0, 1.0), (across, high), ha=right, **at)
    for line, words in enumerate(zones):
        below = (across, high - 11.5 - 8.6 * line)
        ax.annotate(words, (0.0, 1.0), below, ha=right, size=7.5, color=SOFT, **at)
    if paper.narrow:
        ax.annotate(days, (1.0, 1.0), (0, high), ha="right", **at)
    else:
        ax.text(1.01, 0.45, days, transform=ax.transAxes, va="center", size=7.5)


def policies(
    paper: Paper, unrests: Sequence[Any], amounts: Sequence[float], water: str, label: str
) -> str:
    """Unrest beside leaving it alone, and water used, a row a way of watering.

    unrests, amounts: of each of POLICIES, in order; an unrest is a number, None where it is not
    known, or quantiles over grounds. water: what the amounts are, with their unit.
    """
    with matplotlib.rc_context(STYLE):
        fig = Figure(figsize=(paper.width_in, 4.1 if paper.narrow else 2.3))
        if paper.narrow:
            left = fig.add_axes((0.27, 0.52, 0.71, 0.42))
            right = fig.add_axes((0.27, 0.01, 0.71, 0.42))
        else:
            left = fig.add_axes((0.125, 0.02, 0.42, 0.83))
            right = fig.add_axes((0.6, 0.02, 0.385, 0.83))
        for ax, named in ((left, True), (right, paper.narrow)):
            ax.set_ylim(len(POLICIES) - 0.45, -0.65)
            ax.spines[["bottom", "left"]].set_visible(False)
            ax.xaxis.set_major_locator(FixedLocator([]))
            ax.yaxis.set_major_locator(FixedLocator(list(range(len(POLICIES))) if named else []))
            ax.yaxis.set_major_formatter(FixedFormatter(list(POLICIES.values())))
            ax.tick_params(length=0)
        left.set_title("unrest (the line: left alone, 100)", loc="left", fontsize=9, color=INK)
        _unrests(left, unrests)
        right.set_title(water, loc="left", fontsize=9, color=INK)
        most = max(amounts) or 1.0
        right.set_xlim(0, most * 1.2)
        for y, amount in enumerate(amounts):
            if amount:
                right.barh(y, amount, 0.6, facecolor=WATER_TINT, edgecolor="#8a5f00", linewidth=0.6)
            right.text(amount + most * 0.02, y, f"{amount:,.0f}", va="center")
        return svg_of(fig, paper, "policies", label)


def _unrests(ax: Axes, values: Sequence[Any]) -> None:
    """A bar a row, hatched where it is above 100; a whisker where many grounds were asked."""
    bars = [middle_of(value) for value in values]
    ends = [value["p90"] if isinstance(value, dict) else value for value in values]
    most = max([100.0, *(one for one in ends if one is not None)])
    wide = any(isinstance(value, dict) for value in values)
    ax.set_xlim(0, most * (1.5 if wide else 1.15))
    ax.axvline(100.0, color=INK, linewidth=0.9)
    for y, (value, bar, end) in enumerate(zip(values, bars, ends, strict=True)):
        if bar is None:
            ax.text(most * 0.02, y, "not known", va="center", color=SOFT)
            continue
        harm = bar > 100.5
        ax.barh(
            y,
            bar,
            0.6,
            facecolor=DRY_TINT if harm else "#a9cbb8",
            edgecolor=DRY if harm else "#5f8f75",
            hatch="/////" if harm else "",
            linewidth=0.6,
        )
        if isinstance(value, dict):
            ax.plot([value["p10"], end], [y, y], "|-", linewidth=1.2, markersize=8, **RIMMED)
        words = f"{bar:.0f}"
        if isinstance(value, dict) and value["p10"] != end:
            words += f" ({value['p10']:.0f} to {end:.0f})"
        place = max(bar, end) + most * 0.03
        if place < 100.0 < place + len(words) * most * 0.035:
            place = 100.0 + most * 0.03  # the line would run through the number
        ax.text(place, y, words, va="center")
