"""What a replay found, in plain sentences; whichever way it went."""

from typing import Any

from evenclay.sim.judge.measures import YEARS_LEAST
from evenclay.sim.judge.verdict import CAUTION_EXCURSION_PCT, LIMITS, UNREST_PCT
from evenclay.sim.report.year import Year

NBSP = "\N{NO-BREAK SPACE}"


def middle_of(value: Any) -> Any:
    """A figure, or of many grounds their median."""
    return value["p50"] if isinstance(value, dict) else value


def percent(value: float) -> str:
    """A share in words."""
    return f"{value:.0f}{NBSP}%"


def first_sentence(summary: dict[str, Any]) -> str:
    """What the watering does to the ground that carries the house, in one sentence."""
    if not summary["years"]:
        return (
            "Less than a whole year was lived, so nothing can be said yet of how the ground moves."
        )
    unrest = middle_of(summary["policies"]["hub"]["unrest_pct"])
    if unrest is None:
        return "Nothing can be said of how the ground under this house moves; the notes say why."
    if unrest > 100.5:
        said = "more restless, so the watering does harm"
    elif unrest > UNREST_PCT:
        said = "hardly calmer than without water"
    else:
        said = "calmer"
        if any(_over(summary, name) for name in LIMITS):
            said += ", but the watering breaks a limit and does harm"
    return (
        f"Watered by the hub, the ground that carries the house has an unrest of {unrest:.0f}"
        f"{_spread(summary)}, where leaving it alone is 100: it is {said}."
    )


def _spread(summary: dict[str, Any]) -> str:
    """Between what eight of ten grounds lie."""
    found = summary["policies"]["hub"]["unrest_pct"]
    if not isinstance(found, dict):
        return ""
    return f" ({found['p10']:.0f} to {found['p90']:.0f} in eight of ten plausible grounds)"


def _over(summary: dict[str, Any], name: str) -> bool:
    found = middle_of(summary["policies"]["hub"][name])
    return found is not None and found > LIMITS[name]


def result_sentences(year: Year) -> list[str]:
    """What the replay found: unrest, movement and tilt, shift, limits, water, how far to trust."""
    summary = year.summary
    sentences = [first_sentence(summary)]
    hub = {name: middle_of(found) for name, found in summary["policies"]["hub"].items()}
    if summary["years"] and hub["unrest_pct"] is not None:
        sentences += [_movement(hub), *_shift(hub, summary["years"]), *_limits(summary, hub)]
    return [*sentences, _water(year), _trust(summary)]


def _movement(hub: dict[str, Any]) -> str:
    if hub["tilt_pct"] is None:
        return f"Its edges move {percent(hub['movement_pct'])} as much within a year as left alone."
    return (
        f"Its edges move {percent(hub['movement_pct'])} as much within a year as left alone, and "
        f"its sides move {percent(hub['tilt_pct'])} as much against each other."
    )


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


def _limits(summary: dict[str, Any], hub: dict[str, Any]) -> list[str]:
    """Every limit that is broken, and the caution before one."""
    said = []
    excursion, soaked = hub["excursion_pct"], hub["days_soaked"]
    if _over(summary, "excursion_pct"):
        said.append(
            f"Differences in the ground go {percent(excursion)} of a year's movement beyond what "
            "they ever were without water; more than 100 is harm."
        )
    elif excursion is not None and excursion > CAUTION_EXCURSION_PCT:
        said.append(
            f"Differences in the ground go {percent(excursion)} of a year's movement beyond what "
            "they ever were without water: begin slowly, and ask an engineer."
        )
    if _over(summary, "days_soaked"):
        said.append(
            f"On the wettest side clay is soaked, and soft, on {soaked:.0f} days a year more than "
            f"without water; more than {LIMITS['days_soaked']:.0f} is harm."
        )
    if _over(summary, "tilt_added_pct"):
        said.append(
            f"The sides move more against each other than left alone, by "
            f"{percent(hub['tilt_added_pct'])} of a year's movement; more than "
            f"{LIMITS['tilt_added_pct']:.0f} is harm."
        )
    return said


def _water(year: Year) -> str:
    policies, units = year.summary["policies"], year.units
    volume = units.word("volume")
    used, bare = [middle_of(policies[name]["litres"]) for name in ("hub", "calendar")]
    cost = year.cost(used)
    money = f" ({cost})" if cost else ""
    return (
        f"In the days lived the hub used {units.number(used, 'volume')} {volume}{money}; the bare "
        f"calendar used {units.number(bare, 'volume')}."
    )


def _trust(summary: dict[str, Any]) -> str:
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
