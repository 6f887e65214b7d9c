"""What a replay found, in plain sentences; whichever way it went."""

from typing import Any

from evenclay.sim.judge.measures import YEARS_LEAST
from evenclay.sim.judge.verdict import CAUTION_EXCURSION_PCT, LIMITS, UNREST_PCT
from evenclay.sim.report.year import Year, middle_of

NBSP = "\N{NO-BREAK SPACE}"


def percent(value: float) -> str:
    """A share in words."""
    return f"{value:.0f}{NBSP}%"


def result_of(summary: dict[str, Any]) -> str | None:
    """The verdict in a word or two; None where nothing can be said."""
    found = summary["policies"]["hub"]["unrest_pct"] if summary["years"] else None
    unrest = middle_of(found)
    if unrest is None:
        return None
    if unrest > 100.5 or any(_over(summary, name) for name in LIMITS):
        return "Harm"
    if unrest > UNREST_PCT:
        return "Hardly calmer"
    if isinstance(found, dict) and found["p90"] > UNREST_PCT:
        return "Not sure to help"
    return "Calmer"


def first_sentence(summary: dict[str, Any]) -> str:
    """What the watering does to the ground that carries the house, in one sentence."""
    if not summary["years"]:
        return "Too short to judge: less than a whole year was lived."
    result = result_of(summary)
    if result is None:
        return "Nothing can be said of how the ground under this house moves; the notes say why."
    hub = summary["policies"]["hub"]
    found = hub["unrest_pct"]
    unrest = middle_of(found)
    if result == "Calmer" and not isinstance(found, dict):
        result += " on one guess at this ground"
    said = (
        f"{result}: watered by the hub, the ground that carries the house has an unrest of "
        f"{unrest:.0f}{_spread(summary)}, where leaving it alone is 100"
    )
    if result == "Harm" and unrest <= 100.5:
        said += ", but the watering breaks a limit"
    elif result != "Harm" and (tilt := middle_of(hub["tilt_pct"])) is not None and tilt > 100.5:
        said += f", but it tilts more: {tilt:.0f}"
    return said + "."


def headline(summary: dict[str, Any], leave: bool) -> str:
    """The first sentence; before it the verdict on many grounds where that was to leave the house.

    One replay does not outweigh what many grounds and years said.
    """
    said = first_sentence(summary)
    if not leave:
        return said
    if result_of(summary) is not None:
        said = f"In this replay alone it is {said[:1].lower()}{said[1:]}"
    return (
        "Leave the house as it is: judged on many grounds, this plan is not sure to help. " + said
    )


def _spread(summary: dict[str, Any]) -> str:
    """Between what eight of ten grounds lie."""
    found = summary["policies"]["hub"]["unrest_pct"]
    if not isinstance(found, dict):
        return ""
    return f" ({found['p10']:.0f} to {found['p90']:.0f} on eight of ten plausible grounds)"


def _over(summary: dict[str, Any], name: str) -> bool:
    found = middle_of(summary["policies"]["hub"][name])
    return found is not None and found > LIMITS[name]


def is_cautious(summary: dict[str, Any]) -> bool:
    """Whether differences in the ground go so far that an engineer has to be asked."""
    found = middle_of(summary["policies"]["hub"]["excursion_pct"])
    return found is not None and found > CAUTION_EXCURSION_PCT


def result_sentences(year: Year) -> list[str]:
    """What the replay found besides the first screen: movement and tilt, and the largest shift."""
    summary = year.summary
    hub = {name: middle_of(found) for name, found in summary["policies"]["hub"].items()}
    if not summary["years"] or hub["unrest_pct"] is None:
        return []
    return [_movement(hub), *_shift(hub, summary["years"])]


def _movement(hub: dict[str, Any]) -> str:
    if _one_sided(hub):
        return f"Its edge moves {percent(hub['movement_pct'])} as much within a year as left alone."
    if hub["tilt_pct"] is None:
        return (
            f"Its edges move {percent(hub['movement_pct'])} as much within a year as left alone. "
            f"{_alike(hub)}"
        )
    return (
        f"Its edges move {percent(hub['movement_pct'])} as much within a year as left alone, and "
        f"its sides move {percent(hub['tilt_pct'])} as much against each other."
    )


def _one_sided(hub: dict[str, Any]) -> bool:
    """Whether all zones lie on one side of the house, so that there is no other to tilt towards."""
    return hub["tilt_pct"] is None and hub["shift_between_pct"] is None


def _alike(hub: dict[str, Any]) -> str:
    """Why tilt has no percent though there are sides, and what the watering does to them."""
    said = (
        "Left alone the sides move alike, so there is no tilt to compare with; watered by the hub "
    )
    if percent(hub["tilt_added_pct"]) == percent(0.0):
        return f"{said}they move alike as well."
    added = percent(hub["tilt_added_pct"])
    return f"{said}they part by {added} of one year's movement left alone."


def dash_sentence(year: Year) -> str:
    """What a dash in the table of the ways stands for."""
    hub = {name: middle_of(found) for name, found in year.summary["policies"]["hub"].items()}
    if hub["unrest_pct"] is None:
        return "A dash stands where there is nothing to compare with."
    if _one_sided(hub):
        return "A dash stands for what takes two sides: all zones lie on one."
    return "" if hub["tilt_pct"] is not None else f"A dash stands under tilt. {_alike(hub)}"


def _shift(hub: dict[str, Any], years: int) -> list[str]:
    if hub["shift_pct"] is None:
        return []
    by_sides = hub["shift_between_pct"]
    inside = abs(hub["shift_inside_pct"])
    where = (
        "between two sides"
        if by_sides is not None and by_sides >= inside
        else "between an edge and the inside"
    )
    when = f", and comes in year {hub['shift_year']:.0f} of {years}" if years > 1 else ""
    return [
        f"The largest lasting shift, {where}, is {percent(hub['shift_pct'])} of one year's "
        f"unwatered movement{when}."
    ]


def limit_sentences(summary: dict[str, Any]) -> list[str]:
    """Every limit that is broken, and the caution before one."""
    if result_of(summary) is None:
        return []
    hub = {name: middle_of(found) for name, found in summary["policies"]["hub"].items()}
    said = []
    if is_cautious(summary):
        harm = _over(summary, "excursion_pct")
        said.append(
            f"Differences in the ground go {percent(hub['excursion_pct'])} of a year's movement "
            "beyond what they ever were without water"
            + ("; more than 100 is harm." if harm else ": begin slowly, and ask an engineer.")
        )
    if _over(summary, "days_soaked"):
        said.append(
            f"At {_wettest(summary)}, the wettest side, clay is soaked, and soft, on "
            f"{hub['days_soaked']:.0f} days a year more than without water; more than "
            f"{LIMITS['days_soaked']:.0f} is harm."
        )
    if _over(summary, "tilt_added_pct"):
        said.append(
            f"The sides move more against each other than left alone, by "
            f"{percent(hub['tilt_added_pct'])} of a year's movement; more than "
            f"{LIMITS['tilt_added_pct']:.0f} is harm."
        )
    return said


def _wettest(summary: dict[str, Any]) -> str:
    """The zone with the most soaked days; the first of several."""
    days: dict[str, Any] = {
        name: middle_of(zone["days_soaked"]) for name, zone in summary["zones"].items()
    }
    return max(days, key=lambda name: float(days[name] or 0.0))


def trust_sentence(summary: dict[str, Any]) -> str:
    """How far to trust it: for how long it was looked at, and on how many grounds."""
    years, grounds = summary["years"], summary["grounds"]
    lived = "less than a year" if not years else "one year" if years == 1 else f"{years} years"
    on = "one guess at the ground" if not grounds else f"{grounds} guesses at the ground"
    rest = (
        ""
        if years >= YEARS_LEAST
        else f" Houses answer over decades: compare lives {YEARS_LEAST} years, on many grounds."
    )
    return f"This is a look at {lived}, on {on}.{rest}"
