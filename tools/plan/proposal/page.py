"""What `evenclay propose` shows: in words an owner reads, a table of reliefs, and a picture."""

import io
import textwrap
from collections.abc import Iterator
from typing import Any

import matplotlib
import numpy as np
from matplotlib.figure import Figure
from rich.console import Console
from rich.table import Table

from evenclay.sim.calendar import HOUR_S, MONTHS
from evenclay.sim.judge import verdict
from evenclay.sim.judge.verdict import Quantiles
from evenclay.sim.report.pictures.drawing import BAND, INK, STYLE, ZONE_COLOURS
from evenclay.sim.types import Floats
from evenclay.sim.units import UNITS, money
from evenclay.tools import tables
from evenclay.tools.plan.proposal.propose import Proposal
from evenclay.tools.plan.proposal.study import Kept
from evenclay.tools.plan.proposal.table import HALF_MONTHS, days_allowed, rows_by_half

WIDTH_IN, PANEL_IN, LINE_IN = 8.6, 1.45, 0.17
HEADING_CHARACTERS = 108  # of a line across the picture
LITRES_PER_M3 = 1000.0
# What a limit is about, in an owner's words.
LIMITS = {
    "unrest_pct": "on one ground in ten or more unrest stays above "
    f"{verdict.UNREST_PCT:.0f}, where leaving the house alone is 100",
    "tilt_added_pct": "it tilts the house more than leaving it alone, by more than "
    f"{verdict.LIMITS['tilt_added_pct']:.0f} % of a year's movement",
    "excursion_pct": "it lifts one part of the house beyond what it has known, by more than "
    f"{verdict.LIMITS['excursion_pct']:.0f} % of a year's movement",
    "days_soaked": "it soaks a strip for more than "
    f"{verdict.LIMITS['days_soaked']:.0f} days a year beyond those of leaving it alone",
}
TERMS = (
    "Unrest: how much the ground that carries the house moves within a year, and its sides against "
    "each other. Tilt: the sides alone. Of both, 100 is leaving the house alone.",
    "Excursion: how far differences in the ground go beyond what they ever were without water, in "
    "percent of a year's movement left alone. Soaked days: a year, beyond those left alone.",
    "Relief: how much wetter than left alone each strip is kept. pF: how hard roots must pull for "
    "water, as a logarithm; more is drier.",
)


def over(kept: list[Kept], name: str) -> Quantiles:
    """Quantiles of a measure over grounds."""
    return verdict.over_grounds([each.measures for each in kept], name)


def litres_a_year(kept: list[Kept]) -> float:
    """The middle of the grounds."""
    return float(np.median([each.litres_a_year for each in kept]))


def words(found: Proposal) -> Iterator[str]:
    """The outcome in sentences, the verdict first."""
    house, units = found.house, UNITS[found.house.units]
    unrest = over(found.held_out, "unrest_pct")
    litres = litres_a_year(found.held_out)
    water = units.shown(litres, "metered")
    least, middle, most = (_whole(value) for value in unrest[:3])
    price = house.water_price_m3
    costs = f", about {money(litres / LITRES_PER_M3 * price, house.currency)}" if price else ""
    if found.verdict.word == "leave":
        yield "Verdict: leave the house as it is. No relief that was tried is sure to help."
        for reason in found.verdict.limit:
            yield f"What limits it: {LIMITS[reason]}."
        for change in found.verdict.would_change:
            yield f"What might change it: {change}."
    else:
        yield f"Verdict: water, with a relief of {found.relief_pf:g} pF."
    yield (
        f"With the plan as it is written unrest is {middle}, between {least} and {most} for all we "
        "do not know of the clay, where leaving the house alone is 100. It takes "
        f"{water} a year{costs}."
    )
    if verdict.cautious([each.measures for each in found.held_out]):
        yield (
            "Begin slowly, and ask an engineer first: on half of the grounds the edge lifts by more"
            " than half of its yearly movement beyond what it has known."
        )
    yield (
        f"These figures are of the plan with its seasons. Judged on {_grounds(found)} that no "
        f"search has seen, in {found.held_out_years}."
    )


def _grounds(found: Proposal) -> str:
    """On how many grounds the plan was judged."""
    count = len(found.held_out)
    return "one ground" if count == 1 else f"{count} grounds"


def show(found: Proposal, console: Console) -> None:
    """Print the outcome, the reliefs side by side, and the levels."""
    for line in words(found):
        console.print(line)
    units = UNITS[found.house.units]
    searched = len(next(iter(found.by_relief.values())))
    console.print(
        f"The table compares reliefs before any seasons were made: on the other {searched} "
        "grounds, and in the years, that were searched. "
        "So its figures are not those above, not even of the relief that was written."
    )
    table = Table(title="Reliefs, on the grounds searched", title_justify="left")
    for name in ("relief", "unrest 10, 50, 90", "tilt", "excursion", "soaked days", "water a year"):
        table.add_column(name, justify="left" if name == "relief" else "right")
    for relief, kept in found.by_relief.items():
        unrest = over(kept, "unrest_pct")
        table.add_row(
            f"{relief:g} pF" + (", written" if relief == found.relief_pf else ""),
            ", ".join([_whole(value) for value in (unrest.p10, unrest.p50, unrest.p90)]),
            *[
                _whole(over(kept, name).p50)
                for name in ("tilt_pct", "excursion_pct", "days_soaked")
            ],
            units.shown(litres_a_year(kept), "metered"),
        )
    tables.show(table, console)
    console.print(
        "Unrest 10, 50, 90: the tenth, the middle and the ninetieth of a hundred grounds; all else "
        "is of the middle."
    )
    for line in TERMS:
        console.print(line)
    levels = ", ".join(
        f"{one.name} pF {level:.2f}"
        for one, level in zip(found.house.strips, found.levels_pf, strict=True)
    )
    console.print(
        f"How dry each strip is on average when left alone, its level: {levels}. The plan counts "
        f"on {100 * found.trust:.0f} % of the differences between the strips: so far the plausible "
        "grounds show the same ones."
    )
    console.print(_next(found))


def _next(found: Proposal) -> str:
    """What an owner types next, with the file that was written."""
    replay = "`evenclay replay` shows a year of it"
    if found.verdict.word == "leave":
        return (
            "Next: leave the house, or tell the file more of its ground and type "
            f"`evenclay propose` again. Of the plan that --out writes all the same, {replay}."
        )
    return f"Next, of the plan that --out writes: {replay}, and `evenclay calendar` its dates."


def _whole(value: float) -> str:
    """A percentage or a number of days; some have no meaning, as tilt where there is one side."""
    return "unknown" if np.isnan(value) else f"{value:.0f}"


def drawn(found: Proposal) -> bytes:
    """What each zone was given in nine years of ten, and the table, as PNG."""
    house = found.house
    units = UNITS[house.units]
    to_shown = units.of(1.0, "depth")
    given, need = to_shown * given_mm_d(found), to_shown * found.ceiling_mm_d
    edges = np.arange(HALF_MONTHS + 1)
    title = f"The most that each zone is given: {house.name}"
    lines = textwrap.wrap(" ".join(heading(found)), HEADING_CHARACTERS)
    with matplotlib.rc_context(STYLE):
        count = len(house.strips)
        tall_in = PANEL_IN * count + 1.2 + LINE_IN * len(lines)
        figure = Figure(figsize=(WIDTH_IN, tall_in), layout="constrained")
        panels: Any = np.atleast_1d(figure.subplots(count, 1, sharex=True))
        most = 1.15 * max(float(need.max()), float(given.max()), 0.1)
        for zone, one in enumerate(house.strips):
            ax = panels[zone]
            ax.stairs(need[:, zone], edges, fill=True, color=BAND)
            ax.stairs(given[:, zone], edges, baseline=None, color=ZONE_COLOURS[zone], linewidth=2.0)
            ax.set_ylim(0, most)
            ax.set_ylabel(f"{units.word('depth')} a day")
            ax.set_title(one.name, loc="left", fontsize=10, color=INK)
            ax.set_xticks(np.arange(0, HALF_MONTHS, 2), minor=True)
            ax.grid(axis="x", which="minor")
        last = panels[-1]
        last.set_xticks(np.arange(0, HALF_MONTHS, 2) + 1, MONTHS)
        last.set_xlim(0, HALF_MONTHS)
        last.tick_params(axis="x", length=0)
        handles = [
            matplotlib.patches.Patch(color=BAND, label="needed in nine years of ten"),
            matplotlib.lines.Line2D(
                [], [], color=INK, linewidth=2.0, label="the most that the table gives"
            ),
        ]
        figure.legend(handles=handles, loc="outside lower center", ncols=2)
        figure.suptitle("\n".join([title, *lines]), x=0.01, ha="left", fontsize=10, color=INK)
        picture = io.BytesIO()
        figure.savefig(picture, dpi=130, metadata={"Software": None})
        return picture.getvalue()


def heading(found: Proposal) -> Iterator[str]:
    """What the picture says of the plan: the verdict, what to expect, and the years."""
    unrest = over(found.held_out, "unrest_pct")
    least, middle, most = (_whole(value) for value in unrest[:3])
    yield next(words(found))
    yield f"Unrest {middle} ({least} to {most}), where leaving it alone is 100."
    yield f"Judged on {_grounds(found)}, in {found.held_out_years}."


def given_mm_d(found: Proposal) -> Floats:
    """The most that the table gives, (24, zones), mm a day."""
    plan, house = found.house.plan, found.house
    rates = np.array([strip.rate_mm_h for strip in house.strips])
    shares = np.array([zone.share_pct for zone in plan.zones]) / 100.0
    given = np.zeros((HALF_MONTHS, len(rates)))
    for half, row in enumerate(rows_by_half(plan)):
        hours = row.cycles * row.run_s / HOUR_S * days_allowed(plan)
        given[half] = hours * shares * rates
    caps_h = np.array([zone.cap_s for zone in plan.zones]) / HOUR_S
    return np.asarray(np.minimum(given, caps_h * rates))


def as_json(found: Proposal) -> dict[str, Any]:
    """What `proposal.json` says."""

    def three(kept: list[Kept], name: str) -> dict[str, float | None]:
        one = over(kept, name)._asdict()
        shares = {share: one[share] for share in ("p10", "p50", "p90")}
        return {share: None if np.isnan(x) else round(x, 1) for share, x in shares.items()}

    names = ("unrest_pct", "tilt_pct", "shift_between_pct", "excursion_pct", "days_soaked")
    held = {name: three(found.held_out, name) for name in names}
    return {
        "schema": 1,
        "verdict": found.verdict.word,
        "limit": list(found.verdict.limit),
        "would_change": list(found.verdict.would_change),
        "relief_pf": found.relief_pf,
        "unrest_pct": held["unrest_pct"],
        "tilt_pct": held["tilt_pct"],
        "shift_pct": held["shift_between_pct"],
        "excursion_pct": held["excursion_pct"],
        "days_soaked": held["days_soaked"],
        "litres_a_year": round(litres_a_year(found.held_out)),
        "grounds": len(found.held_out),
        "held_out_years": found.held_out_years,
        "levels_pf": {
            one.name: round(float(level), 3)
            for one, level in zip(found.house.strips, found.levels_pf, strict=True)
        },
        "levels_trust": round(found.trust, 3),
        "model_error_pf": [round(error, 3) for error in found.reduced.error_pf],
        "reliefs": [
            {
                "relief_pf": relief,
                **{name: three(kept, name) for name in names},
                "litres_a_year": round(litres_a_year(kept)),
                "limits": list(found.verdict.limits[relief]),
            }
            for relief, kept in found.by_relief.items()
        ],
        "rows": [
            {
                "from": "{:02}-{:02}".format(*season.begins),
                "cycles": season.count,
                "minutes": season.minutes or 0,
            }
            for season in found.prop.seasons
        ],
    }
