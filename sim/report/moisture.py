"""The picture of the clay's moisture: each zone's pF over the year, and its days off the band."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import FixedFormatter, FixedLocator, FuncFormatter
from numpy.typing import NDArray

from evenclay.sim.ground.band import BAND_PF
from evenclay.sim.ground.textures import pf_of_kpa
from evenclay.sim.report.drawing import (
    BAND,
    DRY,
    DRY_TINT,
    HEIGHT_IN,
    INK,
    RAIN,
    RAIN_TINT,
    SOFT,
    STYLE,
    WET,
    WET_TINT,
    ZONE_COLOURS,
    add_legend,
    day_numbers,
    name_panel,
    panels_of,
    rule_months,
    svg_of,
)
from evenclay.sim.types import Bools, Floats
from evenclay.sim.units import Units, converted

SUCTIONS = {"kPa": (1, 10, 33, 200, 1500), "psi": (0.2, 1, 5, 30, 200)}  # marks of the scale


def moisture(
    days: NDArray[np.datetime64],
    zones: Sequence[str],
    pf: Floats,
    unwatered: Floats,
    state: NDArray[np.str_],
    season: Bools,
    units: Units,
    label: str,
) -> str:
    """One panel a zone: its pF (wet on top), the band, the unwatered control, spells outside.

    pf, unwatered, state, season: days x zones; pF not a number where it was not computed.
    """
    with matplotlib.rc_context(STYLE):
        height_in = min(1.3, HEIGHT_IN / len(zones))
        fig, panels = panels_of(len(zones), height_in, top_in=0.75, left_in=1.0, right_in=0.75)
        limits = _pf_limits(pf, unwatered)
        edges = np.repeat(day_numbers(days), 2)
        edges[1::2] += 1.0
        for z, ax in enumerate(panels):
            rule_months(ax, days, last=z == len(zones) - 1)
            ax.set_ylim(limits[1], limits[0])  # reversed: wet is up
            ax.axhspan(*BAND_PF, color=BAND, zorder=0)
            for spell in SPELLS:
                spell.draw(
                    ax, edges, np.repeat(pf[:, z], 2), np.repeat(state[:, z] == spell.state, 2)
                )
            middle = day_numbers(days) + 0.5
            ax.plot(middle, unwatered[:, z], color=SOFT, linewidth=1.0, dashes=(4, 2))
            ax.plot(middle, pf[:, z], color=ZONE_COLOURS[z % 8], linewidth=1.5)
            _rule_season(ax, edges, np.repeat(season[:, z], 2))
            _pf_scales(ax, limits, units.unit("suction"))
            name_panel(ax, zones[z])
            if np.isnan(pf[:, z]).all():
                ax.text(0.5, 0.5, "not computed", transform=ax.transAxes, ha="center", color=SOFT)
        handles: list[Any] = [
            Line2D([], [], color=INK, linewidth=1.5, label="zone, watered"),
            Line2D([], [], color=SOFT, linewidth=1.0, dashes=(4, 2), label="same soil, unwatered"),
            Patch(color=BAND, label="band, pF 2.5 to 3.3"),
            *(spell.key() for spell in SPELLS),
            Line2D([], [], color=INK, linewidth=2.5, label="season"),
        ]
        add_legend(fig, handles, columns=4)
        return svg_of(fig, "moisture", label)


@dataclass(frozen=True)
class Spell:
    """How days of one state outside the band look: a hatch, a colour, and from where to where."""

    state: str
    words: str
    hatch: str
    colour: str
    tint: str
    edge_pf: float

    def draw(self, ax: Axes, x: Floats, pf: Floats, where: Bools) -> None:
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


def _rule_season(ax: Axes, edges: Floats, where: Bools) -> None:
    """Draw the season as a thick rule along the panel's foot."""
    y = np.where(where, 0.025, np.nan)
    ax.plot(edges, y, transform=ax.get_xaxis_transform(), color=INK, lw=2.5, solid_capstyle="butt")
