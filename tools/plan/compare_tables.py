"""A comparison as tables and sentences for people."""

from collections.abc import Sequence

from rich.table import Table

from evenclay.sim.judge.informed import NAME as INFORMED
from evenclay.sim.judge.measures import YEAR_DAYS
from evenclay.sim.types import Line
from evenclay.sim.units import Units

NAMES = {
    "none": "left alone",
    "reference": "reference calendar",
    "calendar": "own calendar",
    "hub": "hub as it stands",
    "hub_alone": "hub alone",
    "hub_checked": "hub: samples",
    "hub_sensor": "hub: one probe",
    "hub_sensors": "hub: a probe each",
    INFORMED: "informed",
}


def name_of(way: str) -> str:
    """A way of watering as a reader knows it; another file's has that file's name behind it."""
    first, _, rest = way.partition(" ")
    return f"{NAMES[first]}; {rest}" if rest else NAMES[first]


def title_of(found: Line, weather: Line) -> str:
    """The house, the years and the grounds."""
    return f"{found['house']}: {years_of(found, weather)}"


def years_of(found: Line, weather: Line) -> str:
    """The record, how many years were lived, and on how many grounds."""
    count = found["grounds"]
    grounds = f"{count} grounds" if count > 1 else "one ground"
    return f"{weather['weather']}, {lived_of(weather)}, {grounds}"


def lived_of(weather: Line) -> str:
    """How many years were judged, and how many the weather has where it was lived repeatedly."""
    own, judged = round(weather["record_days"] / YEAR_DAYS, 1), weather["years"]
    kind = "invented year" if weather["invented"] else "year"
    kept = min(own, judged)
    text = f"{kept:g} {kind}{'s' * (kept != 1)}"
    if own >= judged:
        return text
    often = "some lived twice" if judged <= 2 * own else "lived again and again"
    return f"{text}, {often}: {judged} years"


def verdict_of(weather: Line) -> str:
    """The verdict in a sentence."""
    chosen = weather["verdict"]
    name, way = name_of(chosen["way"]), weather["ways"][chosen["way"]]
    if chosen["word"] == "water":
        unrest = way["unrest_pct"]
        return f'Water by "{name}": unrest {_text(unrest["p50"])}, and every limit is kept.'
    return f'Leave it alone. "{name}" comes nearest, with {way["sentences"][0]}.'


def tables_of(found: Line, weather: Line, shown: Units) -> list[Table]:
    """Every way of watering under one weather: how calm, at what cost; then what makes it so."""
    priced = found["currency"] is not None
    water = f"{shown.unit('volume')} a year"
    heads = ["unrest", "worst year", "skill", water, *[f"{found['currency']} a year"] * priced]
    calm = _table(title_of(found, weather), [*heads, "days on target"])
    parts = _table(
        "What it is made of", ["movement", "tilt", "shift (year)", "excursion", "soaked"]
    )
    for name, way in weather["ways"].items():
        middle = {
            key: way[key]["p50"] for key in way if isinstance(way[key], dict) and "p50" in way[key]
        }
        broken = way.get("broken", ())

        def text(key: str, middle: Line = middle, broken: list[str] = broken) -> str:
            limit = "tilt_added_pct" if key == "tilt_pct" else key
            return _text(middle[key]) + "!" * (limit in broken)

        unrest = way["unrest_pct"]
        calm.add_row(
            name_of(name),
            f"{text('unrest_pct')} ({_text(unrest['p10'])}-{_text(unrest['p90'])})",
            text("unrest_worst_year_pct"),
            _skill(way.get("skill")),
            shown.number(middle["litres_a_year"], "volume"),
            *([text("money_a_year")] if priced else []),
            text("days_on_target"),
        )
        parts.add_row(
            name_of(name),
            text("movement_pct"),
            text("tilt_pct"),
            f"{text('shift_pct')} ({text('shift_year')})",
            text("excursion_pct"),
            text("days_soaked"),
        )
    return [calm, parts]


def _table(title: str, heads: Sequence[str]) -> Table:
    table = Table(title=title, title_justify="left")
    table.add_column("way")
    for head in heads:
        table.add_column(head, justify="right", no_wrap=head in ("unrest", "shift (year)"))
    return table


def _skill(skill: Line | None) -> str:
    """Its median; in brackets where it does not count, since a limit is broken."""
    if skill is None or skill["p50"] is None:
        return "-"
    text = f"{skill['p50']:.2f}"
    return text if skill["counts"] else f"({text})"


def sentences_of(weather: Line) -> list[str]:
    """The verdict, then the limits that each way breaks, by name."""
    lines = [verdict_of(weather)]
    for name, way in weather["ways"].items():
        if way.get("broken"):
            lines.append(f'"{name_of(name)}" breaks limits: {"; ".join(way["sentences"])}.')
    return lines


KEY = (
    "Unrest, movement, tilt, shift and excursion are percents of leaving the house alone; in "
    "brackets the tenth and the ninetieth of a hundred grounds, else the middle. !: a limit is "
    "broken. Skill is the part of informed's gain; in brackets it does not count, since a limit is "
    "broken."
)


def _text(value: float | None) -> str:
    return "-" if value is None else f"{round(value) + 0:,}"
