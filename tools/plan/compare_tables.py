"""A comparison as tables for people."""

from collections.abc import Callable, Sequence

from rich.table import Table

from evenclay.sim.types import Line
from evenclay.sim.units import Units
from evenclay.tools.plan.compare import SCALED

NAMES = {
    "none": "no watering",
    "reference": "reference calendar",
    "calendar": "own calendar",
    "calendar_checked": "own, checked weekly",
    SCALED: "own, scaled to hub's",
    "hub_rain": "hub: rain",
    "hub_checked": "hub: rain, checks",
    "hub_probes": "hub: probes, checks",
    "hub_auto": "hub: probes, own trim",
    "oracle": "oracle, all it can",
}


def name_of(policy: str) -> str:
    """A policy as a reader knows it. Another file's hub senses and trims as that file says."""
    first, _, rest = policy.partition(" ")
    if not rest:
        return NAMES[first]
    return f"{'hub as it stands' if first.startswith('hub') else NAMES[first]}; {rest}"


def tables_of(found: Line, shown: Units) -> list[Table]:
    """How the band was kept, and the oracle beside it, for each kind of years."""
    tables = []
    for kind in ("recorded", "invented"):
        if kind in found:
            title = f"{found[kind]['years']} {kind} years"
            policies = found[kind]["policies"]
            tables.append(_band_table(title, policies, shown))
            asked = {name: line for name, line in policies.items() if "oracle" in line}
            if asked:
                tables.append(_least_table(title, asked, shown))
    return tables


def _table(title: str, headings: Sequence[str], whole: Sequence[str]) -> Table:
    """A table to be filled; whole: headings of columns that are never broken."""
    table = Table(title=title, title_justify="left")
    table.add_column("policy")
    for heading in headings:
        longest = max(len(word) for word in heading.split())
        table.add_column(heading, justify="right", no_wrap=heading in whole, min_width=longest)
    return table


def _band_table(title: str, policies: dict[str, Line], shown: Units) -> Table:
    water = f"{shown.word('volume')} a year"
    headings = ("in band, %", "worst year", "worst zone", "dry", "wet", water, "uneven, pF")
    table = _table(f"{title}: season days in band", headings, ("in band, %", water))
    for name, line in policies.items():
        kept, used = line["in_band_pct"], line["litres"]
        zones = [value for value in line["zones_in_band_pct"].values() if value is not None]
        table.add_row(
            name_of(name),
            _middle(kept, lambda pct: f"{pct:.0f}"),
            _text(kept and kept["least"], 0),
            _text(min(zones, default=None), 0),
            _text(line["dry_pct"], 0),
            _text(line["wet_pct"], 0),
            _middle(used, lambda litres: shown.number(litres, "volume")),
            _text(line["unevenness_pf"], 2),
        )
    return table


def _middle(spread: Line | None, text: Callable[[float], str]) -> str:
    """The median, and the quartiles behind it."""
    if spread is None:
        return "-"
    return f"{text(spread['median'])} {_quartiles(spread, text)}"


def _quartiles(spread: Line | None, text: Callable[[float], str]) -> str:
    return f"({text(spread['quarter'])}-{text(spread['three_quarters'])})" if spread else ""


def _least_table(title: str, policies: dict[str, Line], shown: Units) -> Table:
    water = (f"{shown.word('total')} a year", "oracle", "times", "bound (gap)")
    headings = (*water, "keeps band", "within")
    whole = ("oracle", "times", "bound (gap)")
    table = _table(f"{title}: the oracle, for as many good days", headings, whole)
    for name, line in policies.items():
        found = line["oracle"]
        quartiles = _quartiles(found["times_of_years"], lambda times: f"{times:.2f}")
        table.add_row(
            name_of(name),
            shown.number(found["used_mm"], "total"),
            shown.number(found["least_mm"], "total") + "*" * (found["own_schedules"] > 0),
            f"{_text(found['times'], 2)} {quartiles}",
            f"{shown.number(found['possible_mm'], 'total')} ({_text(found['gap_pct'], 0)} %)",
            "yes" if found["keeps_band"] else "no",
            _within(found),
        )
    if any(line["oracle"]["own_schedules"] for line in policies.values()):
        table.caption = "*: in a life at least nothing better was found than the policy's own runs"
        table.caption_justify = "left"
    return table


def _within(found: Line) -> str:
    """Whether a hub is within what it may use; a dash where it has not kept the band, and nothing
    for ways that are held to no such bar."""
    if "most_times" not in found:
        return ""
    if found["meets"] is None:
        return "-"
    return ("yes" if found["meets"] else "no") + ("" if found["equally_even"] else ", less even")


def _text(value: float | None, places: int) -> str:
    return "-" if value is None else f"{round(value, places) + 0.0:,.{places}f}"  # no minus zero
