"""The pictures of the year report, each one SVG text that can stand inside a page.

Nothing here knows a file: every picture is drawn from the `Year` that sim/report/report.py reads.
Zone colours are those of Okabe and Ito (2008), and no meaning rests on a colour alone.
"""

import io
import re
import textwrap
import warnings
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from html import escape
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, PathPatch
from matplotlib.path import Path as Outline
from matplotlib.ticker import FixedFormatter, FixedLocator, FuncFormatter, MaxNLocator
from numpy.typing import NDArray

from evenclay.sim.calendar import MONTHS
from evenclay.sim.ground.band import BAND_PF
from evenclay.sim.ground.textures import pf_of_kpa
from evenclay.sim.types import Floats
from evenclay.sim.units import Units, converted

SUCTIONS = {"kPa": (1, 10, 33, 200, 1500), "psi": (0.2, 1, 5, 30, 200)}  # marks of the scale
POLICIES = {
    "none": "no watering",
    "calendar": "bare calendar",
    "calendar_checked": "calendar,\nchecked weekly",
    "hub": "the hub",
}

WIDTH_IN = 9.4
HEIGHT_IN = 6.6  # all panels of a picture: with its words it fits a printed page
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


@dataclass(frozen=True)
class Run:
    """One opening: its start in local time without offset, seconds open, why, and if cut short."""

    zone: int
    start: datetime
    seconds: float
    why: str
    cut_short: bool


@dataclass(frozen=True)
class Strips:
    """One row of the held-back picture: hours a day [0..24] for zones that were held alike."""

    reason: str
    zones: str
    hours: Floats


def moisture(
    days: NDArray[np.datetime64],
    zones: Sequence[str],
    pf: Floats,
    unwatered: Floats,
    state: NDArray[np.str_],
    season: NDArray[np.bool_],
    units: Units,
    label: str,
) -> str:
    """One panel a zone: its pF (wet on top), the band, the unwatered control, spells outside.

    pf, unwatered, state, season: days x zones; pF not a number where it was not computed.
    """
    with matplotlib.rc_context(STYLE):
        height_in = min(1.3, HEIGHT_IN / len(zones))
        fig, panels = _panels(len(zones), height_in, top_in=0.75, left_in=1.0, right_in=0.75)
        limits = _pf_limits(pf, unwatered)
        edges = np.repeat(_numbers(days), 2)
        edges[1::2] += 1.0
        for z, ax in enumerate(panels):
            _months(ax, days, last=z == len(zones) - 1)
            ax.set_ylim(limits[1], limits[0])  # reversed: wet is up
            ax.axhspan(*BAND_PF, color=BAND, zorder=0)
            for spell in SPELLS:
                spell.draw(
                    ax, edges, np.repeat(pf[:, z], 2), np.repeat(state[:, z] == spell.state, 2)
                )
            middle = _numbers(days) + 0.5
            ax.plot(middle, unwatered[:, z], color=SOFT, linewidth=1.0, dashes=(4, 2))
            ax.plot(middle, pf[:, z], color=ZONE_COLOURS[z % 8], linewidth=1.5)
            _rule(ax, edges, np.repeat(season[:, z], 2))
            _pf_scales(ax, limits, units.unit("suction"))
            _name(ax, zones[z])
            if np.isnan(pf[:, z]).all():
                ax.text(0.5, 0.5, "not computed", transform=ax.transAxes, ha="center", color=SOFT)
        handles: list[Any] = [
            Line2D([], [], color=INK, linewidth=1.5, label="zone, watered"),
            Line2D([], [], color=SOFT, linewidth=1.0, dashes=(4, 2), label="same soil, unwatered"),
            Patch(color=BAND, label="band, pF 2.5 to 3.3"),
            *(spell.key() for spell in SPELLS),
            Line2D([], [], color=INK, linewidth=2.5, label="season"),
        ]
        _legend(fig, handles, columns=4)
        return _svg(fig, "moisture", label)


@dataclass(frozen=True)
class Spell:
    """How days of one state outside the band look: a hatch, a colour, and from where to where."""

    state: str
    words: str
    hatch: str
    colour: str
    tint: str
    edge_pf: float

    def draw(self, ax: Axes, x: Floats, pf: Floats, where: NDArray[np.bool_]) -> None:
        """Fill from the curve to the band's edge on the days of the state."""
        ax.fill_between(
            x,
            pf,
            np.full_like(pf, self.edge_pf),
            where=list(where),
            facecolor=self.tint,
            edgecolor=self.colour,
            hatch=self.hatch,
            linewidth=0.0,
        )

    def key(self) -> Patch:
        """The legend's sample."""
        return Patch(
            facecolor=self.tint,
            edgecolor=self.colour,
            hatch=self.hatch,
            linewidth=0.0,
            label=self.words,
        )


SPELLS = (
    Spell("dry", "too dry", "/////", DRY, DRY_TINT, BAND_PF[1]),
    Spell("wet", "too wet, by watering", "xxxx", WET, WET_TINT, BAND_PF[0]),
    Spell("rain_wet", "wetter, by rain alone", "", RAIN, RAIN_TINT, BAND_PF[0]),
    Spell("rewetting", "being re-wet", "|||||", "#7a4a86", "#efe6f1", BAND_PF[1]),
)


def water(
    days: NDArray[np.datetime64], rain: Floats, et0: Floats, applied: Floats, unit: str, label: str
) -> str:
    """Rain, reference evapotranspiration and water applied, a week at a time.

    rain, et0, applied: a day each, in `unit` ("mm" or "inches").
    """
    with matplotlib.rc_context(STYLE):
        fig, (above, below) = _panels(2, 1.55, top_in=0.38, left_in=0.75, right_in=0.2)
        x = _numbers(days)
        # The days left over after the last whole week join it; a bar is then the week's rate.
        starts = np.arange(0, max(1, len(days) - 3), 7)
        for ax in (above, below):
            _months(ax, days, last=ax is below)
            ax.yaxis.set_major_locator(MaxNLocator(4))
            ax.grid(axis="y")
            ax.set_ylabel(f"{unit} a week")
        length = np.diff(np.append(starts, len(days)))
        style: dict[str, Any] = {"align": "edge", "width": length - 1.2}
        above.bar(x[starts] + 0.6, _weekly(rain, starts), color=RAIN, **style)
        above.stairs(
            _weekly(et0, starts), np.append(x[starts], x[-1] + 1), baseline=None, color=INK, lw=1.4
        )
        style.update(facecolor=WATER_TINT, edgecolor="#8a5f00", hatch="////", linewidth=0.4)
        weekly = _weekly(applied, starts)
        below.bar(x[starts] + 0.6, np.where(weekly > 0.0, weekly, np.nan), **style)
        below.set_ylim(bottom=0.0)
        _legend(
            fig,
            [
                Patch(color=RAIN, label="rain"),
                Line2D(
                    [], [], color=INK, linewidth=1.4, label="reference evapotranspiration (ET0)"
                ),
                Patch(
                    facecolor=WATER_TINT,
                    edgecolor="#8a5f00",
                    hatch="////",
                    linewidth=0.4,
                    label="water applied, mean of the strips",
                ),
            ],
            columns=3,
        )
        return _svg(fig, "water", label)


def _weekly(daily: Floats, starts: NDArray[np.int64]) -> Floats:
    length = np.diff(np.append(starts, len(daily)))
    return np.asarray(np.add.reduceat(daily, starts) / length * 7.0)


def openings(
    days: NDArray[np.datetime64],
    zones: Sequence[str],
    runs: Iterable[Run],
    closed: NDArray[np.bool_],
    label: str,
) -> str:
    """Every opening at its day and hour: one panel a zone, so that a zone is known by its place.

    closed: days x zones, True where the closed season held most of the day.
    """
    with matplotlib.rc_context(STYLE):
        height_in = min(1.3, HEIGHT_IN / len(zones))
        fig, panels = _panels(len(zones), height_in, top_in=0.55, left_in=0.75, right_in=0.6)
        by_zone: list[list[Run]] = [[] for _ in zones]
        for run in runs:
            by_zone[run.zone].append(run)
        first_h, last_h = _hours_used([run for own in by_zone for run in own])
        # A column over midnight is called by the day it ends on: one more for the last evening.
        columns = np.arange(days[0], days[-1] + (2 if last_h > 24 else 1))
        edges = np.repeat(_numbers(days), 2)
        edges[1::2] += 1.0
        for z, ax in enumerate(panels):
            _months(ax, columns, last=z == len(zones) - 1)
            ax.set_ylim(last_h, first_h)
            _hours(ax, first_h, last_h)
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
            _name(ax, zones[z] + ("" if by_zone[z] else " (never opened)"))
        _legend(fig, _opening_keys(), columns=4)
        return _svg(fig, "openings", label)


def _opening_keys() -> list[Any]:
    mark: dict[str, Any] = {"linestyle": "none", "color": INK, "markersize": 4}
    return [
        Patch(color=SOFT, label="valve open (bar = its time and length)"),
        Line2D([], [], marker="x", label="cut short", **mark),
        Line2D([], [], marker="o", markerfacecolor="none", label="asked for by hand", **mark),
        Patch(facecolor="#f1f1f1", edgecolor="#bbbbbb", hatch="\\\\", lw=0, label="closed season"),
    ]


def _hours(ax: Axes, first_h: int, last_h: int) -> None:
    """Rule the panel by hours; midnight inside it is darker."""
    step_h = 4 if last_h - first_h > 12 else 3 if last_h - first_h > 6 else 2
    ax.yaxis.set_major_locator(FixedLocator(list(range(first_h, last_h + 1, step_h))))
    ax.yaxis.set_major_formatter(
        FuncFormatter(lambda hour, _: "24:00" if hour == last_h == 24 else f"{hour % 24:02.0f}:00")
    )
    ax.grid(axis="y")
    if first_h < 24 < last_h:
        ax.axhline(24, color=SOFT, linewidth=0.6, zorder=1)
        ax.text(1.005, 24, "midnight", transform=ax.get_yaxis_transform(), va="center", size=7)


def _draw_runs(ax: Axes, runs: list[Run], last_h: int, colour: str) -> None:
    """Add the runs as one outline; what goes on past a column's end stands in the next."""
    boxes = []
    marks: dict[str, list[tuple[float, float]]] = {"x": [], "o": []}
    for run in runs:
        day = _number(run.start.date())
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
            boxes.append(_box(day + 0.08, day + 0.92, start_h, last_h))
            day, start_h, end_h = day + 1, last_h - 24.0, end_h - 24.0
        boxes.append(_box(day + 0.08, day + 0.92, start_h, end_h))
    if boxes:
        outline = Outline.make_compound_path_from_polys(np.array(boxes))
        # The edge keeps a run of a few minutes visible.
        ax.add_patch(PathPatch(outline, facecolor=colour, edgecolor=colour, linewidth=0.7))
    for marker, points in marks.items():
        if points:
            x, y = zip(*points, strict=True)
            ax.plot(x, y, marker, color=INK, markersize=3.2, mew=0.7, markerfacecolor="none")


def _hour(at: datetime) -> float:
    return at.hour + at.minute / 60 + at.second / 3600


def _box(left: float, right: float, low: float, high: float) -> list[tuple[float, float]]:
    return [(left, low), (right, low), (right, high), (left, high)]


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


def held_back(days: NDArray[np.datetime64], rows: Sequence[Strips], label: str) -> str:
    """A row a reason and group of zones; a bar's height is the share of the day it held."""
    with matplotlib.rc_context(STYLE):
        count = max(1, len(rows))
        names = [textwrap.wrap(row.zones, 34) for row in rows]
        height_in = 0.19 + 0.12 * max((len(lines) for lines in names), default=1)
        fig, panels = _panels(count, height_in, top_in=0.1, left_in=2.4, right_in=0.8, gap_in=0.07)
        x = _numbers(days)
        for index, ax in enumerate(panels):
            _months(ax, days, last=index == count - 1)
            ax.set_ylim(0, 24)
            ax.yaxis.set_major_locator(FixedLocator([]))
            ax.set_facecolor("#f7f7f7")
            if not rows:
                ax.text(0.5, 0.4, "nothing was held back", transform=ax.transAxes, ha="center")
                break
            row = rows[index]
            held = np.where(row.hours > 0.0)[0]
            boxes = [_box(x[d], x[d] + 1, 0.0, min(24.0, row.hours[d])) for d in held]
            outline = Outline.make_compound_path_from_polys(np.array(boxes))
            ax.add_patch(PathPatch(outline, facecolor="#3d5a73", linewidth=0.0))
            _beside(ax, -6, 0, row.reason, ha="right")
            for line, words in enumerate(names[index]):
                _beside(ax, -6, -11.5 - 8.6 * line, words, ha="right", size=7.5, color=SOFT)
            days_held = f"{len(held)} day" + ("s" if len(held) != 1 else "")
            ax.text(1.01, 0.45, days_held, transform=ax.transAxes, va="center", size=7.5)
        return _svg(fig, "held", label)


def _beside(ax: Axes, right_pt: float, up_pt: float, words: str, **style: Any) -> None:
    """Write beside the panel's top left corner, so many points from it."""
    at: dict[str, Any] = {"xycoords": "axes fraction", "textcoords": "offset points"}
    ax.annotate(words, (0.0, 1.0), (right_pt, up_pt), va="top", **at, **style)


def policies(found: dict[str, dict[str, float]], counted: int, units: Units, label: str) -> str:
    """Water used, and days in, drier and wetter than the band, a row a policy.

    counted: days a policy is judged on, all zones together.
    """
    with matplotlib.rc_context(STYLE):
        fig = Figure(figsize=(WIDTH_IN, 2.6))
        left = fig.add_axes((0.125, 0.02, 0.3, 0.75))
        right = fig.add_axes((0.47, 0.02, 0.515, 0.75))
        rows = list(POLICIES)
        for ax in (left, right):
            ax.set_ylim(len(rows) - 0.45, -0.65)
            ax.spines[["bottom", "left"]].set_visible(False)
            ax.xaxis.set_major_locator(FixedLocator([]))
            ax.yaxis.set_major_locator(FixedLocator([]))
        left.yaxis.set_major_locator(FixedLocator(list(range(len(rows)))))
        left.yaxis.set_major_formatter(FixedFormatter([POLICIES[name] for name in rows]))
        left.tick_params(length=0)
        left.set_title(f"water used, {units.word('volume')}", loc="left", fontsize=9, color=INK)
        amounts = [units.of(found[name]["litres"], "volume") for name in rows]
        most = max(amounts) or 1.0
        left.set_xlim(0, most * 1.35)
        for y, (name, amount) in enumerate(zip(rows, amounts, strict=True)):
            if amount:
                left.barh(y, amount, 0.6, facecolor=WATER_TINT, edgecolor="#8a5f00", linewidth=0.6)
            left.text(amount + most * 0.02, y, f"{amount:,.0f}", va="center")
            _days_bar(right, y, found[name], counted)
        right.set_title("days in season, all zones together", loc="left", fontsize=9, color=INK)
        right.set_xlim(0, max(counted, 1))
        _legend(fig, [patch for _, patch in _day_kinds()], columns=4, left=0.47)
        return _svg(fig, "policies", label)


def _day_kinds() -> list[tuple[str, Patch]]:
    kinds = (
        ("days_dry", "too dry", "/////", DRY, DRY_TINT),
        ("days_in_band", "in band", "", "#5f8f75", "#a9cbb8"),
        ("days_wet", "too wet", "xxxx", WET, WET_TINT),
        ("", "rest", "", "#bbbbbb", "#f4f4f4"),
    )
    return [
        (key, Patch(facecolor=face, edgecolor=edge, hatch=hatch, linewidth=0.6, label=words))
        for key, words, hatch, edge, face in kinds
    ]


def _days_bar(ax: Axes, y: int, found: dict[str, float], counted: int) -> None:
    start = 0.0
    for key, patch in _day_kinds():
        length = float(found[key]) if key else max(0.0, counted - start)
        if not length:
            continue
        ax.barh(
            y,
            length,
            0.6,
            left=start,
            facecolor=patch.get_facecolor(),
            edgecolor=patch.get_edgecolor(),
            hatch=patch.get_hatch(),
            linewidth=0.6,
        )
        if length > 0.055 * counted:
            box = (
                {"facecolor": "white", "edgecolor": "none", "pad": 1.2}
                if patch.get_hatch()
                else None
            )
            ax.text(start + length / 2, y, f"{length:,.0f}", ha="center", va="center", bbox=box)
        else:
            ax.text(
                start + length / 2, y - 0.42, f"{length:,.0f}", ha="center", va="center", size=7
            )
        start += length


def _panels(
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
    fig = Figure(figsize=(WIDTH_IN, whole_in))
    width = (WIDTH_IN - left_in - right_in) / WIDTH_IN
    axes = []
    for index in range(count):
        low_in = whole_in - top_in - (index + 1) * height_in - index * gap_in
        box = (left_in / WIDTH_IN, low_in / whole_in, width, height_in / whole_in)
        axes.append(fig.add_axes(box))
    return fig, axes


def _months(ax: Axes, days: NDArray[np.datetime64], *, last: bool) -> None:
    """Rule the panel at each month's start; the last panel carries the names."""
    first, end = _number(days[0].astype(object)), _number(days[-1].astype(object)) + 1
    ax.set_xlim(first, end)
    months = np.arange(days[0].astype("datetime64[M]"), days[-1].astype("datetime64[M]") + 1)
    starts = _numbers(months.astype("datetime64[D]"))
    ends = _numbers((months + 1).astype("datetime64[D]"))
    ax.xaxis.set_major_locator(FixedLocator([start for start in starts if start >= first]))
    ax.xaxis.set_major_formatter(FixedFormatter([""] * len(starts)))
    ax.grid(axis="x")
    ax.tick_params(axis="x", length=3 if last else 0)
    if not last:
        return
    places: list[float] = []
    names: list[str] = []
    for month, start, stop in zip(months.astype(object), starts, ends, strict=True):
        low, high = max(start, first), min(stop, end)
        if high - low >= 12:  # days: less has no room for a name
            places.append((low + high) / 2)
            year = f"\n{month.year}" if not names or month.month == 1 else "\n "
            names.append(MONTHS[month.month - 1] + year)
    ax.xaxis.set_minor_locator(FixedLocator(places))
    ax.xaxis.set_minor_formatter(FixedFormatter(names))
    ax.tick_params(axis="x", which="minor", length=0)


def _pf_limits(pf: Floats, unwatered: Floats) -> tuple[float, float]:
    """Lowest and highest pF of all panels: the band and room for what lies outside."""
    known = np.concatenate([pf.ravel(), unwatered.ravel(), [2.2, 3.6]])
    known = known[np.isfinite(known)]
    return float(known.min()) - 0.1, float(known.max()) + 0.25  # room for the season's rule


def _pf_scales(ax: Axes, limits: tuple[float, float], unit: str) -> None:
    """PF on the left with the ends in words, suction on the right."""
    ticks = [tick for tick in (0.0, 1.0, 2.0, 2.5, 3.3, 4.2, 5.0) if limits[0] < tick < limits[1]]
    ax.yaxis.set_major_locator(FixedLocator(ticks))
    ax.yaxis.set_major_formatter(FuncFormatter(lambda pf, _: f"{pf:.1f}"))
    ax.text(-0.055, 1.0, "wetter ↑", transform=ax.transAxes, ha="right", va="top", color=SOFT)
    ax.text(-0.055, 0.0, "drier ↓", transform=ax.transAxes, ha="right", va="bottom", color=SOFT)
    ax.text(-0.055, 0.5, "pF", transform=ax.transAxes, ha="right", va="center", color=SOFT)
    at = {value: pf_of_kpa(converted(value, unit, "kPa")) for value in SUCTIONS[unit]}
    at = {value: pf for value, pf in at.items() if limits[0] < pf < limits[1]}
    other = ax.twinx()
    other.set_ylim(ax.get_ylim())
    other.spines["right"].set_visible(True)
    other.yaxis.set_major_locator(FixedLocator(list(at.values())))
    other.yaxis.set_major_formatter(FixedFormatter([f"{value:,}" for value in at]))
    other.text(1.075, 0.5, unit, transform=ax.transAxes, rotation=90, va="center", color=SOFT)


def _rule(ax: Axes, edges: Floats, where: NDArray[np.bool_]) -> None:
    """Draw the season as a thick rule along the panel's foot."""
    y = np.where(where, 0.025, np.nan)
    ax.plot(edges, y, transform=ax.get_xaxis_transform(), color=INK, lw=2.5, solid_capstyle="butt")


def _name(ax: Axes, name: str) -> None:
    ax.set_title(name, loc="left", fontsize=9, fontweight="bold", pad=3)


def _legend(fig: Figure, handles: list[Any], columns: int, left: float = 0.0) -> None:
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


def _number(day: date) -> float:
    """Days since 1970, as numpy counts them."""
    return float(np.datetime64(day, "D").astype(np.int64))


def _numbers(days: NDArray[np.datetime64]) -> Floats:
    return days.astype("datetime64[D]").astype(np.float64)


def _svg(fig: Figure, prefix: str, label: str) -> str:
    """The figure as an svg element for a page: no prolog, no addresses, ids of its own."""
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
    return text.replace("<svg ", f'<svg role="img" aria-label="{escape(label)}" ', 1)
