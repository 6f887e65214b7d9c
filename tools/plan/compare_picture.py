"""The picture of a comparison: unrest and water of every way of watering, over the grounds."""

import io
from pathlib import Path

import matplotlib
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import FixedFormatter, FixedLocator, FuncFormatter, MaxNLocator

from evenclay.sim.judge.informed import NAME as INFORMED
from evenclay.sim.judge.verdict import UNREST_PCT
from evenclay.sim.report.pictures.drawing import INK, RULE, SOFT, STYLE
from evenclay.sim.types import Line
from evenclay.sim.units import Units
from evenclay.tools.plan.compare_tables import name_of, verdict_of, years_of

WIDTH_IN, ROW_IN, HEAD_IN, FOOT_IN, GAP_IN = 9.4, 0.34, 0.66, 0.42, 0.15
TITLE_IN, KEY_IN = 0.36, 0.34
KEPT, BROKEN = "#8fb3cf", "#ffffff"  # the latter is hatched: no meaning rests on a colour
FARTHEST_PCT = 250.0  # what is farther out is cut, and says so
BROKEN_WORDS = {
    "unrest_pct": "unrest",
    "tilt_added_pct": "tilt",
    "excursion_pct": "excursion",
    "days_soaked": "soaked",
}


def drawn(found: Line, shown: Units) -> bytes:
    """A panel for each weather, as PNG."""
    with matplotlib.rc_context(STYLE):
        weathers = found["weathers"]
        heights_in = [HEAD_IN + ROW_IN * len(each["ways"]) + FOOT_IN for each in weathers]
        whole_in = sum(heights_in) + GAP_IN * (len(weathers) - 1) + TITLE_IN + KEY_IN
        fig = Figure(figsize=(WIDTH_IN, whole_in))
        top_in = whole_in - TITLE_IN - KEY_IN
        title = f"Ways of watering side by side: {found['house']}"
        fig.text(0.01, 1.0 - 0.1 / whole_in, title, va="top", fontsize=11, fontweight="bold")
        for weather, height_in in zip(weathers, heights_in, strict=True):
            _panel(fig, found, weather, shown, top_in, whole_in)
            top_in -= height_in + GAP_IN
        _key(fig, 1.0 - TITLE_IN / whole_in)
        picture = io.BytesIO()
        fig.savefig(picture, dpi=150, metadata={"Software": None})
        return picture.getvalue()


def _panel(
    fig: Figure, found: Line, weather: Line, shown: Units, top_in: float, whole_in: float
) -> None:
    ways = weather["ways"]
    tall_in = ROW_IN * len(ways)
    low = (top_in - HEAD_IN - tall_in) / whole_in
    left = fig.add_axes((0.17, low, 0.5, tall_in / whole_in))
    right = fig.add_axes((0.72, low, 0.25, tall_in / whole_in))
    file = Path(weather["weather"]).name  # a whole path would run out of the picture
    years = years_of(found, weather | {"weather": file})
    fig.text(0.01, top_in / whole_in, verdict_of(weather), va="top")
    fig.text(0.01, (top_in - 0.19) / whole_in, years, va="top", color=SOFT, fontsize=8.5)
    for ax in (left, right):
        ax.set_ylim(len(ways) - 0.5, -0.5)
        ax.spines["left"].set_visible(False)
        ax.grid(axis="x")
        ax.tick_params(axis="y", length=0)
        ax.yaxis.set_major_locator(FixedLocator(list(range(len(ways)))))
    left.yaxis.set_major_formatter(FixedFormatter([name_of(name) for name in ways]))
    right.yaxis.set_major_formatter(FixedFormatter([""] * len(ways)))
    right.xaxis.set_major_locator(MaxNLocator(4))
    right.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:,.0f}"))
    highs = [way["unrest_pct"]["p90"] or 0.0 for way in ways.values()]
    most = min(max([120.0, *highs]) * 1.02, FARTHEST_PCT)
    left.set_xlim(0.0, most)
    for value, dash in ((100.0, "-"), (UNREST_PCT, (0, (4, 3)))):
        left.axvline(value, color=INK, lw=0.9, ls=dash, zorder=1)
    left.set_xlabel("unrest, % of leaving the house alone", fontsize=8.5, labelpad=2)
    right.set_xlabel(f"water, {shown.word('volume')} a year", fontsize=8.5, labelpad=2)
    for row, (name, way) in enumerate(ways.items()):
        broken = way.get("broken", ())
        _bar(left, row, way["unrest_pct"], 1.0, bool(broken), name == INFORMED)
        _bar(right, row, way["litres_a_year"], shown.of(1.0, "volume"), False, name == INFORMED)
        words = ", ".join(BROKEN_WORDS[limit] for limit in broken)
        _tell_broken(left, row, way["unrest_pct"], words, most)
    right.set_xlim(left=0.0)


def _bar(ax: Axes, row: int, over: Line, times: float, broken: bool, informed: bool) -> None:
    """From the tenth to the ninetieth, a tick at the middle."""
    if over["p50"] is None:
        ax.text(0.0, row, " no figure", va="center", fontsize=7.5, color=SOFT)
        return
    low, middle, high = (times * over[name] for name in ("p10", "p50", "p90"))
    colour = BROKEN if broken else "#ffffff" if informed else KEPT
    style = {"hatch": "////"} if broken else {"ls": (0, (3, 2))} if informed else {}
    ax.barh(row, high - low, 0.5, left=low, facecolor=colour, edgecolor=SOFT, lw=0.8, **style)
    ax.plot((middle, middle), (row - 0.32, row + 0.32), color=INK, lw=2.0, zorder=4)


def _tell_broken(ax: Axes, row: int, over: Line, words: str, most: float) -> None:
    """Name the limits that are broken, beside the bar where there is room."""
    if over["p50"] is None or not words:
        return
    if over["p90"] > most:
        words = f"{words}; on to {over['p90']:.0f}"
    right = over["p90"] > 0.6 * most
    place, side = (over["p10"], "right") if right else (over["p90"], "left")
    text = ax.text(place, row, f" {words} ", ha=side, va="center", fontsize=7, color=INK, zorder=5)
    text.set_bbox({"facecolor": "#ffffff", "edgecolor": "none", "pad": 0.6})


def _key(fig: Figure, top: float) -> None:
    handles: list[Line2D | Patch] = [
        Patch(facecolor=KEPT, edgecolor=SOFT, label="tenth to ninetieth ground"),
        Line2D([], [], color=INK, lw=2.0, label="the middle one"),
        Patch(facecolor=BROKEN, edgecolor=SOFT, hatch="////", label="a limit is broken, by name"),
        Line2D([], [], color=INK, lw=0.9, label="100: left alone"),
        Line2D([], [], color=INK, lw=0.9, ls=(0, (4, 3)), label=f"{UNREST_PCT:.0f}: allowed"),
    ]
    fig.legend(
        handles=handles,
        loc="upper left",
        bbox_to_anchor=(0.0, top),
        ncols=len(handles),
        columnspacing=1.2,
        handlelength=1.6,
        fontsize=8,
        edgecolor=RULE,
    )
