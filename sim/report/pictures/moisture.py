"""The pictures of the ground: how dry it is by depth through the year, and its sides beside each
other."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import FixedFormatter, FixedLocator, FuncFormatter
from numpy.typing import NDArray

from evenclay.sim.house.house import House
from evenclay.sim.judge.measures import Record, weighted_suction
from evenclay.sim.report.pictures.drawing import (
    RIMMED,
    SOFT,
    STYLE,
    ZONE_COLOURS,
    Paper,
    add_legend,
    day_numbers,
    name_panel,
    panels_of,
    rule_months,
    rule_time,
    svg_of,
)
from evenclay.sim.report.ways import OnGround
from evenclay.sim.types import Floats
from evenclay.sim.units import Units

DEEPEST_M = 3.6  # that is drawn; below it hardly anything changes in a year
PULL = "pF: how hard roots must pull for water"
STEPS = "steps are small where this ground lies, and large beyond"
SHADES = 8  # between the wettest and the driest that edge and inside are
FINEST_PF = 0.02
PLACES = (
    ("strip", "Under the hose (strip)"),
    ("edge", "Under the edge of the house"),
    ("inside", "Inside, under the house"),
)
FOOTING: dict[str, Any] = RIMMED | {"lw": 1.0, "ls": (0, (4, 3))}
DASHES: tuple[Any, ...] = ("-", (0, (6, 2)), (0, (2, 1.5)), (0, (7, 2, 1.5, 2)))


@dataclass(frozen=True)
class Cut:
    """The ground of the one side that moves most, by depth and day.

    zone: its place among the zones. watered, unwatered: of that zone alone, so (days, 1, layers).
    """

    zone: int
    edges_m: tuple[float, ...]
    footing_m: float
    watered: Record
    unwatered: Record


def cut_of(house: House, on: OnGround) -> Cut:
    """Choose the side whose edge moves most under the hub, and cut through its ground."""
    change = np.ptp(weighted_suction(on.hub.record.edge_pf, on.place), axis=0)
    zone = int(change.argmax())
    assert zone < len(house.strips)
    records = [
        Record(*(pf[:, zone : zone + 1] for pf in record))
        for record in (on.hub.record, on.unwatered)
    ]
    return Cut(zone, on.place.edges_m, on.place.footing_m, records[0], records[1])


def section(
    paper: Paper,
    days: NDArray[np.datetime64],
    cut: Cut,
    shown: slice,
    units: Units,
    label: str,
) -> str:
    """Six panels: strip, edge and inside by depth and time, watered beside unwatered, or above it.

    days: those shown. shown: where they lie in the cut.
    """
    with matplotlib.rc_context(STYLE):
        fig, panels = _six_panels(paper)
        borders = _borders(cut, shown)
        for (place, words), pair in zip(PLACES, panels, strict=True):
            for column, record in enumerate((cut.watered, cut.unwatered)):
                ax = pair[column]
                _shade(ax, days, getattr(record, f"{place}_pf")[shown, 0], cut, borders)
                _depths(ax, units, first=paper.narrow or column == 0)
                below = column == 1 if paper.narrow else place == PLACES[-1][0]
                rule_months(ax, days, last=below)
                if place != "strip":
                    ax.axhline(cut.footing_m, **FOOTING)
                name_panel(ax, words + (", watered" if column == 0 else ", left alone"))
        _scale(fig, borders, paper)
        handle = Line2D([], [], label="footing", **FOOTING)
        add_legend(fig, [handle], columns=1, left=0.0 if paper.narrow else 0.82)
        return svg_of(fig, paper, "section", label)


def _six_panels(paper: Paper) -> tuple[Figure, list[list[Axes]]]:
    """A figure with a pair of panels a place: side by side, or on narrow paper below each other."""
    rows = 6 if paper.narrow else 3
    # In inches; on narrow paper each pair has its months below it.
    height_in, top_in, bottom_in = (0.95, 1.42, 0.42) if paper.narrow else (1.25, 1.12, 0.42)
    gaps_in = [0.3, 0.66, 0.3, 0.66, 0.3] if paper.narrow else [0.36, 0.36]
    whole_in = top_in + rows * height_in + sum(gaps_in) + bottom_in
    fig = Figure(figsize=(paper.width_in, whole_in))
    lefts, width = ([0.12], 0.86) if paper.narrow else ([0.075, 0.545], 0.435)
    axes = []
    for row in range(rows):
        low_in = whole_in - top_in - (row + 1) * height_in - sum(gaps_in[:row])
        for left in lefts:
            axes.append(fig.add_axes((left, low_in / whole_in, width, height_in / whole_in)))
    return fig, [axes[at : at + 2] for at in range(0, 6, 2)]


def _borders(cut: Cut, shown: slice) -> list[float]:
    """PF at which one shade ends: finely where edge and inside lie, by halves beyond."""
    deep = np.array(cut.edges_m[:-1]) < DEEPEST_M
    found = np.concatenate(
        [pf[shown, 0][:, deep].ravel() for one in (cut.watered, cut.unwatered) for pf in one[:2]]
    )
    low, high = float(found.min()), float(found.max())
    fits = [step for step in (FINEST_PF, 0.05, 0.1, 0.2) if (high - low) / step <= SHADES]
    step = fits[0] if fits else 0.5
    fine = np.arange(np.floor(low / step), np.ceil(high / step) + 1) * step
    coarse = [pf for pf in (2.0, 2.5, 3.0, 3.5, 4.0, 4.5) if not fine[0] <= pf <= fine[-1]]
    return sorted({round(float(pf), 2) for pf in (*fine, *coarse)})


def _colours(borders: list[float]) -> matplotlib.colors.ListedColormap:
    """A shade for each step and for what lies beyond, from dark and wet to light and dry."""
    shades = matplotlib.colormaps["YlGnBu_r"](np.linspace(0.0, 1.0, len(borders) + 1))
    return matplotlib.colors.ListedColormap(shades.tolist())


def _shade(
    ax: Axes, days: NDArray[np.datetime64], pf: Floats, cut: Cut, borders: list[float]
) -> None:
    """Fill a panel by pF, darker is wetter, a week at a time."""
    starts = np.arange(0, max(1, len(days) - 3), 7)
    length = np.diff(np.append(starts, len(days)))
    weekly = np.add.reduceat(pf, starts, axis=0) / length[:, None]
    x = np.concatenate([day_numbers(days[:1]), day_numbers(days[starts]) + length / 2.0])
    x = np.append(x, day_numbers(days[-1:]) + 1.0)
    middles = (np.array(cut.edges_m[1:]) + np.array(cut.edges_m[:-1])) / 2.0
    y = np.concatenate([[0.0], middles])
    values = np.concatenate([weekly[:1], weekly, weekly[-1:]])
    values = np.concatenate([values[:, :1], values], axis=1).T
    colours = _colours(borders)
    norm = matplotlib.colors.BoundaryNorm(borders, colours.N, extend="both")
    ax.set_facecolor(colours(colours.N // 2))  # of the page nothing shows between two shades
    ax.contourf(x, y, values, levels=borders, cmap=colours, norm=norm, extend="both")
    ax.set_ylim(DEEPEST_M, 0.0)


def _depths(ax: Axes, units: Units, first: bool) -> None:
    """Depth on the left, in the property's unit."""
    step_m = 1.0 / units.of(1.0, "distance") * (1.0 if units.name == "metric" else 4.0)
    ax.yaxis.set_major_locator(FixedLocator(np.arange(0.0, DEEPEST_M, step_m).tolist()))
    spec = ".0f"
    ax.yaxis.set_major_formatter(
        FuncFormatter(lambda depth_m, _: units.number(depth_m, "distance", spec) if first else "")
    )
    if first:
        ax.set_ylabel(f"depth, {units.unit('distance')}")


def _scale(fig: Figure, borders: list[float], paper: Paper) -> None:
    """The key of shades with its ends in words, and below it what it counts, by which steps."""
    whole_in = fig.get_figheight()
    left, width, top_in = (0.02, 0.96, 0.62) if paper.narrow else (0.16, 0.54, 0.3)
    ax = fig.add_axes((left, 1.0 - top_in / whole_in, width, 0.16 / whole_in))
    colours = _colours(borders)
    steps = range(colours.N)
    spans = [(step, 1) for step in steps]
    shades = [colours(step) for step in steps]
    ax.broken_barh(spans, (0, 1), facecolors=shades, edgecolors=SOFT, linewidths=0.4)
    ax.set_xlim(0, colours.N)
    ax.set_ylim(0, 1)
    ax.yaxis.set_major_locator(FixedLocator([]))
    named = range(0, len(borders), 1 if len(borders) <= (8 if paper.narrow else 10) else 2)
    ax.xaxis.set_major_locator(FixedLocator([place + 1 for place in named]))
    ax.xaxis.set_major_formatter(FixedFormatter([f"{borders[place]:g}" for place in named]))
    at: dict[str, Any] = {"transform": ax.transAxes}
    if paper.narrow:
        ax.text(0.0, 1.3, "pF: wetter", va="bottom", **at)
        ax.text(1.0, 1.3, "drier", ha="right", va="bottom", **at)
        ax.text(0.0, -1.5, f"{PULL};\n{STEPS}", va="top", color=SOFT, **at)
    else:
        ax.text(-0.02, 0.5, "pF: wetter", ha="right", va="center", **at)
        ax.text(1.02, 0.5, "drier", ha="left", va="center", **at)
        ax.text(0.5, -1.5, f"{PULL}; {STEPS}", ha="center", va="top", color=SOFT, **at)


def sides(
    paper: Paper,
    days: NDArray[np.datetime64],
    zones: Sequence[str],
    edges: tuple[Floats, Floats],
    insides: tuple[Floats, Floats],
    label: str,
) -> str:
    """How far each side's edge has departed from its own unwatered mean: watered, and left alone.

    edges, insides: pF, watered and unwatered, (days, zones) each.
    """
    columns = 3 if paper.narrow else 5
    top_in = 0.35 + 0.19 * -(-(len(zones) + 1) // columns)
    left_in = 0.55 if paper.narrow else 1.0
    with matplotlib.rc_context(STYLE):
        fig, panels = panels_of(
            paper, 2, 1.7, top_in=top_in, left_in=left_in, right_in=0.1, gap_in=0.4
        )
        base, inside_base = edges[1].mean(axis=0), insides[1].mean()
        drawn = [pf - base for pf in edges]
        within = [pf.mean(axis=1) - inside_base for pf in insides]
        most = max(0.05, *(float(np.abs(values).max()) for values in (*drawn, *within)))
        places = 1 if most > 0.2 else 2
        middle = day_numbers(days) + 0.5
        for number, ax in enumerate(panels):
            rule_time(ax, days, last=number == 1)
            ax.set_ylim(1.1 * most, -1.1 * most)  # reversed: wetter is up
            ax.axhline(0.0, color=SOFT, linewidth=0.7)
            for z in range(len(zones)):
                ax.plot(middle, drawn[number][:, z], **_line(z))
            ax.plot(middle, within[number], color=SOFT, linewidth=2.4, alpha=0.75)
            ax.yaxis.set_major_formatter(
                FuncFormatter(lambda pf, _: f"{pf:+.{places}f}" if pf else "0")
            )
            # No step of 2.5, which the digits shown would round, one way and the other.
            ax.locator_params(axis="y", nbins=6, steps=[1, 2, 5, 10])
            _name_directions(ax, paper)
            unit = ", pF" if paper.narrow else ""
            name_panel(ax, ("Watered by the hub" if number == 0 else "Left alone") + unit)
        handles = [Line2D([], [], label=zone, **_line(z)) for z, zone in enumerate(zones)]
        handles.append(Line2D([], [], color=SOFT, linewidth=2.4, alpha=0.75, label="inside"))
        add_legend(fig, handles, columns=columns)
        return svg_of(fig, paper, "sides", label)


def _name_directions(ax: Axes, paper: Paper) -> None:
    """Say which way is wetter: beside the panel, or in its corners where there is no room."""
    at: dict[str, Any] = {"transform": ax.transAxes, "color": SOFT}
    for up, words in ((1.0, "wetter ↑"), (0.0, "drier ↓")):
        if paper.narrow:
            ax.text(0.99, up, words, ha="right", va="bottom", **at)
        else:
            ax.text(-0.055, up, words, ha="right", va="top" if up else "bottom", **at)
    if not paper.narrow:
        ax.text(-0.075, 0.5, "pF", ha="right", va="center", **at)


def _line(zone: int) -> dict[str, Any]:
    """Colour and dashes of a zone: no two are alike in grey either."""
    return {
        "color": ZONE_COLOURS[zone % 8],
        "linestyle": DASHES[zone % 4],
        "linewidth": 1.4 if zone < 4 else 2.1,
    }
