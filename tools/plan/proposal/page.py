"""What `evenclay propose` shows: how the plan does, why it is as it is, and a picture."""

import io
from collections.abc import Iterator
from typing import Any

import matplotlib
import numpy as np
from matplotlib.figure import Figure
from rich.console import Console
from rich.table import Table

from evenclay.sim.calendar import MONTHS
from evenclay.sim.ground.soil import PROBE_M, TOP_M
from evenclay.sim.judge.proposal import HALF_MONTHS
from evenclay.sim.report.drawing import BAND, INK, RAIN, SOFT, STYLE, ZONE_COLOURS
from evenclay.tools import tables
from evenclay.tools.plan.proposal.draft import days_allowed
from evenclay.tools.plan.proposal.propose import Proposal, why

WIDTH_IN, PANEL_IN = 8.6, 1.45
ENOUGH_PCT = 95.0
NAMES = {"hub": "the hub", "calendar": "the bare table"}


def show(found: Proposal, console: Console) -> None:
    """Print why each row is what it is, and how the plan keeps the clay."""
    for line in why(found):
        console.print(f"- {line}")
    table = Table(title="Percent of season days in band", title_justify="left")
    strips = found.tables.house.strips
    units = found.tables.units
    a_year = f"{units.word('total')} a year"
    for name in ("", "years", *(strip.name for strip in strips), "worst year", a_year):
        table.add_column(name, justify="left" if name in ("", "years") else "right")
    for policy, parts in found.kept.items():
        for years, kept in parts.items():
            table.add_row(
                NAMES[policy],
                years,
                *(f"{percent:.1f}" for percent in kept.zones),
                f"{kept.worst_year:.1f}",
                units.number(float(kept.mm_a_year.mean()), "total"),
            )
    tables.show(table, console)
    console.print("Rain-wet and declared re-wetting days apart; worst year: of any zone.")
    for note in found.notes:
        console.print(note)
    for line in _short(found):
        console.print(line)


def _short(found: Proposal) -> Iterator[str]:
    """Which zones are kept less well than they should be, and for want of what."""
    parts = found.kept["hub"]
    last = parts.get("held out", parts["searched"])
    zones = zip(found.tables.house.plan.zones, last.zones, last.dry, last.wet, strict=True)
    short = [of_zone for of_zone in zones if of_zone[1] < ENOUGH_PCT]
    if not short:
        return
    told = [
        f"{zone.name} {kept:.1f} % (too dry {dry:.0f} %, too wet {wet:.0f} %)"
        for zone, kept, dry, wet in short
    ]
    yield (
        f"This plan does not hold the band on {ENOUGH_PCT:.0f} % of season days: "
        f"{', '.join(told)}. Not for want of water: supply, cap, hours and hoses give what is "
        "needed. Rain and need differ from year to year by more than a table with a rain bank "
        "follows."
    )
    blind = [zone.name for zone, *_ in short if not zone.probe]
    if blind:
        top, down = [found.tables.units.shown(m, "near") for m in (TOP_M[1], PROBE_M)]
        yield (
            f"A weekly blade feels only the top {top}. What may do: a soil probe {down} down, in "
            f"{', '.join(blind)}."
        )
    if len(blind) < len(short):
        yield "A soil probe that reads 1 % by volume off the truth costs days: calibrate it."


def drawn(found: Proposal) -> bytes:
    """Need and table of each zone, and rain, through the year, as PNG."""
    strips = found.tables.house.strips
    edges = np.arange(HALF_MONTHS + 1)
    units = found.tables.units
    to_shown = units.of(1.0, "depth")
    given = to_shown * _given(found)
    with matplotlib.rc_context(STYLE):
        height = PANEL_IN * (len(strips) + 1) + 0.9
        figure = Figure(figsize=(WIDTH_IN, height), layout="constrained")
        panels: Any = figure.subplots(len(strips) + 1, 1, sharex=True)
        most = 1.1 * max(to_shown * float(found.need.high_mm_d.max()), float(given.max()))
        for zone, strip in enumerate(strips):
            ax, colour = panels[zone], ZONE_COLOURS[zone]
            need = found.need
            low, high = to_shown * need.low_mm_d[:, zone], to_shown * need.high_mm_d[:, zone]
            ax.stairs(high, edges, baseline=low, fill=True, color=BAND)
            ax.stairs(
                to_shown * need.mm_d[:, zone],
                edges,
                baseline=None,
                color=SOFT,
                linestyle=":",
                linewidth=1.3,
            )
            ax.stairs(given[:, zone], edges, baseline=None, color=colour, linewidth=2.0)
            ax.set_ylim(0, most)
            ax.set_ylabel(f"{units.word('depth')} a day")
            title = strip.name
            if found.tables.probed[zone]:
                title += ": its soil probe holds back what is too much"
            ax.set_title(title, loc="left", fontsize=10, color=INK)
        last = panels[-1]
        last.stairs(to_shown * found.need.rain_mm_d, edges, fill=True, color=RAIN)
        last.set_ylabel(f"{units.word('depth')} a day")
        last.set_title("rain, mean of the years searched", loc="left", fontsize=10, color=INK)
        last.set_ylim(0, None)
        last.set_xticks(np.arange(0, HALF_MONTHS, 2) + 1, MONTHS)
        last.set_xlim(0, HALF_MONTHS)
        last.tick_params(axis="x", length=0)
        for ax in panels:
            ax.set_xticks(np.arange(0, HALF_MONTHS, 2), minor=True)
            ax.grid(axis="x", which="minor")
        asked = f"need in {100 * found.need.share:.0f} %"
        handles = [
            matplotlib.patches.Patch(color=BAND, label="need in 10 to 90 % of the years"),
            matplotlib.lines.Line2D([], [], color=SOFT, linestyle=":", label=asked),
            matplotlib.lines.Line2D(
                [],
                [],
                color=INK,
                linewidth=2.0,
                label="the table, at trim 100 %, in the zone's colour",
            ),
        ]
        figure.legend(handles=handles, loc="outside upper left", ncols=3)
        picture = io.BytesIO()
        figure.savefig(picture, dpi=130, metadata={"Software": None})
        return picture.getvalue()


def _given(found: Proposal) -> Any:
    """What the table gives at trim 100 %, nothing held back: (24, zones), mm a day."""
    assert found.prop is not None
    tables, draft = found.tables, found.draft
    rates = np.array([strip.rate_mm_h for strip in tables.house.strips])
    shares = np.array([round(share) for share in draft.share_pct]) / 100.0
    given = np.zeros((HALF_MONTHS, len(rates)))
    for row, season in enumerate(found.prop.seasons):
        run_mm = rates * shares * (season.minutes or 0.0) / 60.0 + tables.filled_mm
        given[draft.half_months(row)] = run_mm * season.count * days_allowed(tables.house.plan)
    return given
