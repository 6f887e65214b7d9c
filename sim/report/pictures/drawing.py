"""How every picture of the report is drawn: its papers, its colours, its panels, and its SVG.

Each picture is drawn twice, on wide paper and on a narrow one for phones; the page shows one of the
two. Zone colours are those of Okabe and Ito (2008), and no meaning rests on a colour alone.
"""

import io
import re
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from html import escape
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path as Outline
from matplotlib.patheffects import withStroke
from matplotlib.ticker import FixedFormatter, FixedLocator
from numpy.typing import NDArray

from evenclay.sim.calendar import MONTHS
from evenclay.sim.types import Floats


@dataclass(frozen=True)
class Paper:
    """What a picture is drawn on: its name, which stands in the ids of its SVG, and its width."""

    name: str
    width_in: float

    @property
    def narrow(self) -> bool:
        """Whether what stands side by side on wide paper has to stand below each other."""
        return self.width_in < 6.0


Corners = list[tuple[float, float]]
WIDE, NARROW = Paper("wide", 9.4), Paper("narrow", 4.3)
HEIGHT_IN = 6.6  # all panels of a picture: with its words it fits a printed page
MONTHS_NAMED_DAYS = 550  # of a longer time, only years have room for a name
YEARS_NAMED = 14
INK, SOFT, RULE, BAND = "#222222", "#5c5c5c", "#c9c9c9", "#e3ece6"
DRY, WET, RAIN, WATER = "#D55E00", "#0072B2", "#56B4E9", "#E69F00"
DRY_TINT, WET_TINT, RAIN_TINT, WATER_TINT = "#fae3d6", "#d6e6f2", "#e4f3fc", "#f8e3b5"
ZONE_COLOURS = (
    "#0072B2",
    "#D55E00",
    "#009E73",
    "#CC79A7",
    "#E69F00",
    "#56B4E9",
    "#000000",
    "#8c8c8c",
)
STYLE: dict[Any, Any] = {
    "svg.fonttype": "none",  # real text: it can be read aloud, searched and scaled
    "svg.hashsalt": "evenclay",
    "text.parse_math": False,  # a zone may be called $8
    "font.size": 9,
    "axes.edgecolor": SOFT,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.6,
    "axes.titley": 1.0,  # at once, without a search for what could be in the way
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "grid.color": RULE,
    "grid.linewidth": 0.5,
    "hatch.linewidth": 0.7,
    "legend.frameon": False,
    "text.color": INK,
    "xtick.color": SOFT,
    "ytick.color": SOFT,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
}


# What the page colours by itself, so that a picture follows it from light to dark.
VARIABLES = {
    "#222222": "ink",
    "#5c5c5c": "soft",
    "#c9c9c9": "grid",
    "#ffffff": "paper",
    "#f7f7f7": "tint",
    "#000000": "black",
    "#0072b2": "blue",
    "#3d5a73": "held",
    "#f4f4f4": "shut",
    "#dddddd": "shut-line",
}
# A line on shades of any darkness: dark with a light rim, on a dark page as well.
RIMMED: dict[str, Any] = {
    "color": "#1c1c1c",
    "path_effects": [withStroke(linewidth=2.4, foreground="#fdfdfd")],
}


def box(left: float, right: float, low: float, high: float) -> Corners:
    return [(left, low), (right, low), (right, high), (left, high)]


def panels_of(
    paper: Paper,
    count: int,
    height_in: float,
    *,
    top_in: float,
    left_in: float,
    right_in: float,
    gap_in: float = 0.27,
) -> tuple[Figure, list[Axes]]:
    """A figure with panels below each other, all measures in inches."""
    bottom_in = 0.42
    whole_in = top_in + count * height_in + (count - 1) * gap_in + bottom_in
    fig = Figure(figsize=(paper.width_in, whole_in))
    width = (paper.width_in - left_in - right_in) / paper.width_in
    axes = []
    for index in range(count):
        low_in = whole_in - top_in - (index + 1) * height_in - index * gap_in
        box = (left_in / paper.width_in, low_in / whole_in, width, height_in / whole_in)
        axes.append(fig.add_axes(box))
    return fig, axes


def rule_months(ax: Axes, days: NDArray[np.datetime64], *, last: bool) -> None:
    """Rule the panel at each month's start; the last panel carries the names."""
    first, end = day_number(days[0].astype(object)), day_number(days[-1].astype(object)) + 1
    ax.set_xlim(first, end)
    months = np.arange(days[0].astype("datetime64[M]"), days[-1].astype("datetime64[M]") + 1)
    starts = day_numbers(months.astype("datetime64[D]"))
    ends = day_numbers((months + 1).astype("datetime64[D]"))
    _rule(ax, [start for start in starts if start >= first], marked=last)
    if not last:
        return
    named = False
    below: dict[str, Any] = {"xycoords": ax.get_xaxis_transform(), "textcoords": "offset points"}
    for month, start, stop in zip(months.astype(object), starts, ends, strict=True):
        low, high = max(start, first), min(stop, end)
        if high - low >= 12:  # days: less has no room for a name
            # All names have two lines, so that all of them begin at the same height.
            year = " " if named and month.month > 1 else str(month.year)
            named = True
            name = f"{MONTHS[month.month - 1]}\n{year}"
            ax.annotate(name, ((low + high) / 2, 0.0), (0, -3.5), ha="center", va="top", **below)
    if not named:  # a few days only: name the first of them
        day = days[0].astype(object)
        name = f"{MONTHS[day.month - 1]} {day.day}\n{day.year}"
        ax.annotate(name, (first, 0.0), (0, -3.5), ha="left", va="top", **below)


def rule_time(ax: Axes, days: NDArray[np.datetime64], *, last: bool) -> None:
    """Rule the panel by months, or, where there are many, by years; the last carries the names."""
    if len(days) <= MONTHS_NAMED_DAYS:
        rule_months(ax, days, last=last)
        return
    ax.set_xlim(day_numbers(days[:1])[0], day_numbers(days[-1:])[0] + 1)
    years = np.arange(days[0].astype("datetime64[Y]") + 1, days[-1].astype("datetime64[Y]") + 1)
    years = years[:: -(-len(years) // YEARS_NAMED)]
    places = day_numbers(years.astype("datetime64[D]")).tolist()
    _rule(ax, places, marked=last)
    ax.xaxis.set_major_formatter(FixedFormatter([str(year) for year in years]))


def _rule(ax: Axes, places: list[float], *, marked: bool) -> None:
    """Rule the panel from top to bottom; marked: each place has a tick below the panel as well.

    The rules are drawn as one thing: a tick for each in each panel took most of a picture's time.
    """
    ax.xaxis.set_major_locator(FixedLocator(places if marked else []))
    ax.xaxis.set_major_formatter(FixedFormatter([""] * len(places)))
    ax.tick_params(axis="x", length=3)
    rules = LineCollection(
        [[(place, 0.0), (place, 1.0)] for place in places],
        colors=RULE,
        linewidths=0.5,
        transform=ax.get_xaxis_transform(),
        zorder=0.5,
    )
    ax.add_collection(rules, autolim=False)


def add_boxes(ax: Axes, boxes: Sequence[Corners], **style: Any) -> None:
    """Add boxes as one outline, which is far faster than one by one; limits stay as they are."""
    if boxes:
        outline = Outline.make_compound_path_from_polys(np.array(boxes))
        ax.add_artist(PathPatch(outline, **style))


def name_panel(ax: Axes, name: str) -> None:
    ax.set_title(name, loc="left", fontsize=9, fontweight="bold", pad=3)


def add_legend(fig: Figure, handles: list[Any], columns: int, left: float = 0.0) -> None:
    fig.legend(
        handles=handles,
        loc="upper left",
        bbox_to_anchor=(left, 1.0),
        ncols=columns,
        borderaxespad=0.1,
        borderpad=0.2,
        columnspacing=1.6,
        handlelength=2.0,
    )


def day_number(day: date) -> float:
    """Days since 1970, as numpy counts them."""
    return float(np.datetime64(day, "D").astype(np.int64))


def day_numbers(days: NDArray[np.datetime64]) -> Floats:
    return days.astype("datetime64[D]").astype(np.float64)


def svg_of(fig: Figure, paper: Paper, name: str, label: str) -> str:
    """The figure as an svg element for a page: no prolog, no addresses, ids of its own."""
    prefix = f"{name}-{paper.name}"
    out = io.StringIO()
    with warnings.catch_warnings():
        # The page's own font draws the text, so a name in another script is not lost.
        warnings.filterwarnings("ignore", message="Glyph .* missing")
        fig.savefig(
            out,
            format="svg",
            metadata={"Date": None, "Creator": None, "Type": None, "Format": None},
        )
    text = out.getvalue()
    text = text[text.index("<svg ") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(r' xmlns(:\w+)?="[^"]*"', "", text).replace("xlink:href", "href")
    text = re.sub(r'\bid="', f'id="{prefix}-', text)
    text = re.sub(r'(url\(|href=")#', rf"\1#{prefix}-", text)
    text = re.sub(r' d="[^"]*"', lambda found: re.sub(r"(\.\d\d)\d+", r"\1", found[0]), text)
    text = re.sub(r" font-family: [^;\"]*;?", "", text)  # the page's own
    text = re.sub(r"\n\s*", "\n", text)
    text = re.sub(r' fill="(#[0-9a-f]{6})"', r' style="fill: \1"', text)  # under a hatch
    text = re.sub(r": (#[0-9a-f]{6})\b", _by_page, text)
    mark = f'<svg class="{paper.name}" role="img" aria-label="{escape(label)}" '
    return text.replace("<svg ", mark, 1)


def _by_page(found: re.Match[str]) -> str:
    """A colour of a style, by the page's own name where it has one."""
    name = VARIABLES.get(found[1])
    return f": var(--{name})" if name else found[0]
