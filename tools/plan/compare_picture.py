"""The picture of a comparison: days in band and water of every year, a row a policy."""

import io
from collections.abc import Sequence

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import FixedFormatter, FixedLocator, FuncFormatter, MaxNLocator

from evenclay.sim.report.drawing import BAND, INK, RULE, SOFT, STYLE, WATER, WET
from evenclay.sim.types import Bools, Floats, Line
from evenclay.sim.units import Units
from evenclay.tools.plan.compare import Job, Side
from evenclay.tools.plan.compare_summary import KEPT_SHARE, litres_of, shares_of
from evenclay.tools.plan.compare_tables import name_of

WIDTH_IN, ROW_IN = 9.4, 0.42
OWN, INVENTED = "#4d4d4d", "#8c8c8c"
SPREAD = 0.26  # of a row, up and down, that its years take


def drawn(jobs: Sequence[Job], sides: Sequence[Side], found: Line, shown: Units) -> bytes:
    """A dot a year, a bar from quartile to quartile, the oracle's water beside each, as PNG."""
    with matplotlib.rc_context(STYLE):
        height_in = 1.05 + ROW_IN * len(sides)
        fig = Figure(figsize=(WIDTH_IN, height_in))
        foot, tall = 0.42 / height_in, ROW_IN * len(sides) / height_in
        left = fig.add_axes((0.185, foot, 0.39, tall))
        right = fig.add_axes((0.61, foot, 0.35, tall))
        invented = np.concatenate(
            [np.full(len(job.life.years), job.life.invented) for job in jobs]
        ).astype(bool)
        for ax in (left, right):
            ax.set_ylim(len(sides) - 0.5, -0.5)
            ax.spines["left"].set_visible(False)
            ax.grid(axis="x")
            ax.tick_params(axis="y", length=0)
            ax.yaxis.set_major_locator(FixedLocator(list(range(len(sides)))))
        names = [name_of(side.name).replace("; ", ";\n") for side in sides]
        left.yaxis.set_major_formatter(FixedFormatter(names))
        right.yaxis.set_major_formatter(FixedFormatter([""] * len(sides)))
        left.axvspan(100.0 * KEPT_SHARE, 100.0, color=BAND, zorder=0)
        left.set_xlim(-1.0, 101.0)
        left.set_title("season days in band, % of each year", loc="left", fontsize=9, pad=4)
        right.set_title(f"water, {shown.word('volume')} a year", loc="left", fontsize=9, pad=4)
        right.xaxis.set_major_locator(MaxNLocator(5))
        right.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:,.0f}"))
        most = 0.0
        for row, side in enumerate(sides):
            shares = np.array(shares_of(jobs, side.outcomes).years)
            _row(left, row, 100.0 * shares, invented)
            litres = shown.of(1.0, "volume") * np.array(litres_of(jobs, side.outcomes))
            _row(right, row, litres, invented)
            most = max(most, float(litres.max()))
            if side.least:
                least = [one.outcome.litres.sum() for one in side.least]
                mean = shown.of(float(sum(least)) / len(litres), "volume")
                right.plot(mean, row, "D", ms=5.5, mfc=WATER, mec=INK, mew=0.7, zorder=5)
        right.set_xlim(-0.01 * most, 1.05 * most or 1.0)
        _key(fig, found, height_in, any(side.least for side in sides))
        picture = io.BytesIO()
        fig.savefig(picture, dpi=150, metadata={"Software": None})
        return picture.getvalue()


def _row(ax: Axes, row: int, values: Floats, invented: Bools) -> None:
    """The years of one policy: records' above the line, invented ones below it."""
    known = ~np.isnan(values)
    if not known.any():
        return
    low, median, high = np.percentile(values[known], (25, 50, 75))
    ax.barh(row, high - low, 0.62, left=low, facecolor="#e9e9e9", edgecolor="none", zorder=2)
    ax.plot((median, median), (row - 0.31, row + 0.31), color=INK, lw=1.8, zorder=4)
    for kind, marker, colour, up in ((False, "o", OWN, -1.0), (True, "^", WET, 1.0)):
        some = values[known & (invented == kind)]
        at = row + up * SPREAD * (0.25 + 0.75 * (np.arange(len(some)) * 0.618 % 1.0))
        ax.plot(some, at, marker, ms=2.8, mfc="none", mec=colour, mew=0.7, ls="", zorder=3)


def _key(fig: Figure, found: Line, height_in: float, asked: bool) -> None:
    handles: list[Line2D | Patch] = []
    for kind, marker, colour in (("recorded", "o", OWN), ("invented", "^", WET)):
        if kind in found:
            words = f"{kind} year ({found[kind]['years']})"
            handles.append(
                Line2D([], [], marker=marker, ms=4, mfc="none", mec=colour, ls="", label=words)
            )
    handles.append(Line2D([], [], color=INK, lw=1.8, label="median"))
    handles.append(Patch(facecolor="#e9e9e9", edgecolor=RULE, label="quartiles"))
    handles.append(Patch(facecolor=BAND, edgecolor=RULE, label=f"{100 * KEPT_SHARE:.0f} % or more"))
    if asked:
        words = "the oracle's mean for as many good days"
        handles.append(Line2D([], [], marker="D", ms=5, mfc=WATER, mec=INK, ls="", label=words))
    fig.legend(
        handles=handles,
        loc="upper left",
        bbox_to_anchor=(0.0, 1.0),
        ncols=len(handles),
        columnspacing=1.4,
        handlelength=1.4,
        fontsize=8.5,
    )
    if "invented" in found:
        words = "Invented years understate droughts of several years."
        fig.text(0.985, 0.02 / height_in, words, ha="right", va="bottom", color=SOFT, fontsize=8)
