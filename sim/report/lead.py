"""The first screen of the page: the verdict, three numbers, the worst side, and what to do next."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from evenclay.sim.judge.measures import YEARS_LEAST
from evenclay.sim.judge.verdict import UNREST, WOULD_CHANGE
from evenclay.sim.report.sentences import (
    headline,
    is_cautious,
    limit_sentences,
    percent,
    result_of,
    trust_sentence,
)
from evenclay.sim.report.year import Year, middle_of


@dataclass(frozen=True)
class Number:
    """One of the three numbers: what it is, its value, its unit, and what to hold it against."""

    name: str
    value: str
    unit: str
    beside: str


@dataclass(frozen=True)
class Step:
    """What the owner does next: a command, "" where it takes none, and the sentence around it.

    before, after: the sentence's two parts, on both sides of the command. at: the id of the part of
    the page that it points to, "" where it points to none.
    """

    before: str
    command: str = ""
    after: str = ""
    at: str = ""


def lead(year: Year, worst: int) -> dict[str, Any]:
    """All that the first screen says. worst: the zone whose edge moves most when watered."""
    return {
        "verdict": headline(year.summary, year.house.leaves),
        "limits": limit_sentences(year.summary),
        "trust": trust_sentence(year.summary),
        "numbers": [_unrest(year), *_water_and_money(year)],
        "worst": _worst(year, worst),
        "steps": list(_steps(year)),
        "tilts": len({strip.side or strip.name for strip in year.house.strips}) > 1,
    }


def _unrest(year: Year) -> Number:
    found = year.summary["policies"]["hub"]["unrest_pct"] if year.summary["years"] else None
    middle = middle_of(found)
    if middle is None:
        return Number("Unrest a year", "–", "", "nothing can be said of it here")
    beside = "left alone is 100"
    if isinstance(found, dict):
        beside += f"; {found['p10']:.0f} to {found['p90']:.0f} on eight of ten grounds"
    return Number("Unrest a year", f"{middle:.0f}", "", beside)


def _water_and_money(year: Year) -> Iterator[Number]:
    policies, units = year.summary["policies"], year.units
    hub, bare = [year.share * middle_of(policies[name]["litres"]) for name in ("hub", "calendar")]
    yield Number(
        f"Water {year.during}",
        units.number(hub, "volume"),
        units.word("volume"),
        f"the bare calendar takes {units.number(bare, 'volume')}",
    )
    name = f"Cost of water {year.during}"
    if year.cost(hub):
        yield Number(name, year.cost(hub), "", f"the bare calendar costs {year.cost(bare)}")
    else:
        yield Number(name, "–", "", "the property file names no price")


def _worst(year: Year, worst: int) -> str:
    """The side whose edge moves most, and what the watering does to it."""
    name = year.zones[worst]
    moves = middle_of(year.summary["zones"][name]["movement_pct"])
    if not year.summary["years"] or moves is None:
        return "The worst side is not known: nothing can be said here of how the edges move."
    found = f"{percent(moves)} as much within a year as left alone"
    if len(year.zones) == 1:
        return f"The only side is {name}: its edge moves {found}."
    moved = [middle_of(year.summary["zones"][each]["movement_pct"]) for each in year.zones]
    if all(each is not None and percent(each) == percent(moves) for each in moved):
        return f"No side is worse than another: each edge still moves {found}."
    return f"The worst side is {name}: its edge still moves most, {found}."


def _steps(year: Year) -> Iterator[Step]:
    """What to do next, the most urgent first."""
    summary = year.summary
    if year.house.leaves:
        yield Step(f"Leave the house as it is. What might make it surer: {WOULD_CHANGE[UNREST]}.")
        yield Step("", "evenclay propose", "judges anew once the file says more.")
        return
    count = len(year.house.cautions)
    if count:
        points = "one point" if count == 1 else f"{count} points"
        yield Step(f"Settle what this house has to heed first: {points}.", at="heed")
    if not summary["years"]:
        words = "or take a longer record."
        yield Step("Replay a whole year or more: leave out", "--from and --to", words)
        return
    result = result_of(summary)
    if result is None:
        return
    if is_cautious(summary):
        yield Step("Begin slowly, and ask an engineer first.")
    if result == "Calmer":
        yield from _of_a_calm_plan(year)
        return
    if result == "Harm":
        yield Step("Do not water by this plan.")
    if result == "Not sure to help":
        yield Step(f"What might make it surer: {WOULD_CHANGE[UNREST]}.")
    words = "looks for a plan that calms this ground; it may say to leave the house alone."
    yield Step("", "evenclay propose", words)


def _of_a_calm_plan(year: Year) -> Iterator[Step]:
    summary = year.summary
    if summary["grounds"] is None or summary["years"] < YEARS_LEAST:
        if year.house.relief_pf is None:
            words = "fits a plan to this ground and judges it on many grounds and years."
            yield Step("Before you lay a hose, let", "evenclay propose", f"judge: it {words}")
        else:
            words = f"judge the plan on many grounds over {YEARS_LEAST} years."
            yield Step("Before you lay a hose, let", "evenclay compare", words)
    yield Step("Measure every hose with a bucket and a watch, and write that into the file.")
    words = "puts opening, closing and the weekly checks into your calendar."
    yield Step("", "evenclay calendar", words)
