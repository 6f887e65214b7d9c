"""What `evenclay check` finds, as a page that an owner reads: cautions first, then the tables."""

import re
from collections.abc import Iterator, Sequence
from itertools import groupby
from operator import attrgetter

from markupsafe import Markup, escape

from evenclay.sim.report.render import render
from evenclay.sim.report.sentences import NBSP
from evenclay.sim.report.tables import Row, Table
from evenclay.sim.units import UNITS, Units, money
from evenclay.tools.property.check import EVENNESS, Check, Line, starts_of

TYPED = re.compile(r"`([^`]+)`|(--\w+ [A-Z]+)")


def page_of(found: Check) -> str:
    """Return a check as HTML."""
    units = UNITS[found.units]
    litres = sum([month.litres for month in found.months])
    costs = [month.cost for month in found.months if month.cost is not None]
    values = {
        "name": found.name,
        "water": units.number(litres, "volume"),
        "volume": units.word("volume"),
        "cost": money(sum(costs), found.currency) if costs else "",
        "found": _found(found),
        "demand_from": _typed(found.demand_from),
        "estimate": _typed(found.estimate),
        "evenness": EVENNESS,
        "held_by": found.held_by,
        "cautions": found.cautions,
        "seasons": list(_seasons(found, units)),
        "closed": [_day(season, units) for season in _closed(found)],
        "hoses": _hoses(found, units),
        "hours": _hours(found, units),
        "months": _months(found, units),
    }
    return render("check.html.j2", values, __package__)


def _typed(text: str) -> Markup:
    """A text in which what an owner types stands as such, and is not broken over two lines."""
    return Markup(TYPED.sub(r"<code>\1\2</code>", str(escape(text))))  # escaped just before


def _found(found: Check) -> str:
    """How many cautions there are, in words."""
    count = len(found.cautions)
    return "no cautions" if not count else "one caution" if count == 1 else f"{count} cautions"


def _seasons(found: Check, units: Units) -> Iterator[Table]:
    """A table a season of water, a row a zone."""
    volume, depth = units.word("volume").capitalize(), units.word("depth")
    heads = (
        "Zone",
        "Min a cycle",
        "Min a day",
        f"{volume} a day",
        f"Water, {depth} a day",
        f"Demand, {depth} a day",
    )
    for season, lines in _by_season(found):
        if not lines[0].starts:
            continue
        starts = starts_of(lines[0], units)
        cycles = "one cycle" if len(starts) == 1 else f"{len(starts)} cycles"
        rows = [
            Row(
                _whole(line.zone),
                (
                    f"{line.minutes_a_cycle:.4g}",
                    f"{line.minutes_a_day:.4g}",
                    units.number(line.litres_a_day, "volume"),
                    units.number(line.mm_a_day, "depth"),
                    units.number(line.demand_mm_a_day, "depth"),
                ),
            )
            for line in lines
        ]
        caption = f"From {_day(season, units)}: {cycles} a day, at {_listed(starts)}"
        yield Table(caption, heads, rows, wraps=True)


def _by_season(found: Check) -> Iterator[tuple[str, list[Line]]]:
    for season, lines in groupby(found.lines, attrgetter("season")):
        yield season, list(lines)


def _closed(found: Check) -> list[str]:
    return [season for season, lines in _by_season(found) if not lines[0].starts]


def _hoses(found: Check, units: Units) -> Table:
    rows = [
        Row(
            _whole(hose.zone),
            (
                hose.supply,
                units.shown(hose.length_m, "length").replace(" ", NBSP),
                units.shown(hose.flow_l_h, "hose flow").replace(" ", NBSP),
                f"{100 * hose.evenness:.0f} %",
            ),
        )
        for hose in found.hoses
    ]
    heads = ("Zone", "Spigot", "Length", "Flow", "Evenness")
    return Table("What each hose gives on its spigot", heads, rows, wraps=True)


def _hours(found: Check, units: Units) -> Table:
    supplies: Sequence[str] = list(next(iter(found.hours_a_day.values()), {}))
    rows = [
        Row(
            _day(season, units),
            (*[f"{hours[name]:.2f}" for name in supplies], f"{found.cycle_minutes[season]:.4g}"),
        )
        for season, hours in found.hours_a_day.items()
    ]
    heads = ("From", *supplies, "Min for one cycle of all zones")
    return Table("Hours a day that each spigot runs", heads, rows, wraps=True)


def _months(found: Check, units: Units) -> Table:
    costs = [month.cost for month in found.months if month.cost is not None]

    def row(name: str, litres: float, cost: float | None, kind: str = "") -> Row:
        costing = [] if cost is None else [f"{cost:.2f}"]
        return Row(name, (units.number(litres, "metered"), *costing), kind)

    rows = [row(month.month, month.litres, month.cost) for month in found.months]
    litres = sum([month.litres for month in found.months])
    year = row("Year", litres, sum(costs) if costs else None, "hub")
    heads = ("Month", units.unit("metered"), *[f"Cost, {found.currency}"] * bool(costs))
    return Table("Water a month at most", heads, [*rows, year])


def _day(season: str, units: Units) -> str:
    """The first day of a season, "03-15", in words."""
    month, day = season.split("-")
    return units.day(int(month), int(day)).replace(" ", NBSP)


def _whole(zone: str) -> str:
    """A zone's name, of which a number at its end is not broken off."""
    return re.sub(r" (?=\d+$)", NBSP, zone)


def _listed(texts: Sequence[str]) -> str:
    """Texts as a sentence lists them."""
    *first, last = texts
    return f"{', '.join(first)} and {last}" if first else last
