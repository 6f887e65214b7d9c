"""What a comparison found, as plain data: quantiles over the grounds, limits, skill, verdicts."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from evenclay.controller.plan import NO_RAIN_SENSOR
from evenclay.sim.house.standing import RELIEF_PF_USUAL
from evenclay.sim.judge import informed, verdict
from evenclay.sim.judge.compare import NONE, Judged
from evenclay.sim.judge.measures import Measures
from evenclay.sim.judge.verdict import Quantiles
from evenclay.sim.types import Line
from evenclay.tools.plan.compare import Found

SCHEMA = 3
MEASURES = (
    "unrest_pct",
    "unrest_worst_year_pct",
    "unrest_record_pct",
    "movement_pct",
    "tilt_pct",
    "tilt_added_pct",
    "shift_pct",
    "shift_year",
    "shift_between_pct",
    "shift_inside_pct",
    "excursion_pct",
    "days_soaked",
    "days_on_target",
)
PER_M3 = 1000.0  # litres


def parts_of(found: Sequence[Found]) -> list[list[Found]]:
    """What is told together: the lives of one record, or those invented from it."""
    parts: dict[tuple[str, bool], list[Found]] = {}
    for one in found:
        parts.setdefault((one.job.life.source, one.job.life.invented), []).append(one)
    return list(parts.values())


def summary(found: Sequence[Found], seed: int, version: str) -> Line:
    """Every way of watering under each weather."""
    house = found[0].job.house
    return {
        "schema": SCHEMA,
        "version": version,
        "seed": seed,
        "house": house.name,
        "grounds": len(found[0].grounds),
        "zones": [strip.name for strip in house.strips],
        "currency": house.currency if house.water_price_m3 is not None else None,
        "notes": _notes(found),
        "weathers": [_weather(part) for part in parts_of(found)],
    }


def _notes(found: Sequence[Found]) -> list[str]:
    house = found[0].job.house
    notes = [
        "Unrest is the yearly movement and tilt of what carries the house, in percent of leaving "
        "it alone: 100."
    ]
    if len(found[0].grounds) > 1:
        few = len(found[0].grounds) < FEW_GROUNDS
        notes[0] += " Figures are the tenth, middle and ninetieth of a hundred grounds" + (
            ", reckoned between the few that were lived on." if few else "."
        )
    if informed.NAME in found[0].grounds[0]:
        notes += [
            f"Days on target: of the middle ground's levels less {RELIEF_PF_USUAL:g} pF, the "
            "zones' mean; of informed, of its own targets.",
            "Informed is the same hub, told the truth each day, with the best relief that keeps "
            "every limit of the ground; where none does, it gives no water.",
            "The reference calendar is common practice, no source.",
        ]
    if house.plan.hub.rain_kind == NO_RAIN_SENSOR:
        notes.append("The property has no rain sensor, so its hub has none here.")
    if any(one.job.life.invented for one in found):
        notes.append(
            "Invented years come from a generator, which understates droughts of several years: "
            "their worst years are too mild."
        )
    told = set()
    for one in found:
        weather = one.job.life.stay.weather
        lines = (*weather.cautions, *one.job.life.stay.notes)
        for line in lines if not one.job.life.invented else ():
            if (one.job.life.source, line) not in told:
                told.add((one.job.life.source, line))
                notes.append(f"{one.job.life.source}: {line}")
    return notes


def _weather(part: Sequence[Found]) -> Line:
    """All ways under one weather."""
    life, house = part[0].job.life, part[0].job.house
    names = list(part[0].grounds[0])
    by_way = {name: [ground[name] for one in part for ground in one.grounds] for name in names}
    ways = {name: _way(name, by_way, house.water_price_m3) for name in names}
    first = life.stay.weather.first_day
    return {
        "weather": life.source,
        "invented": life.invented,
        "first_day": None if life.invented else str(first),
        "record_days": sum(one.job.life.stay.asked_days for one in part),
        "years": sum(one.grounds[0][NONE].measures.years for one in part),
        "moisture_index": round(life.index, 1),
        "target_pf": dict(
            zip(
                [strip.name for strip in house.strips],
                [round(pf, 3) for pf in part[0].target_pf.tolist()],
                strict=True,
            )
        ),
        "verdict": _verdict(ways),
        "ways": ways,
    }


def _way(name: str, by_way: dict[str, list[Judged]], price_m3: float | None) -> Line:
    judged = by_way[name]
    measures = [one.measures for one in judged]
    values = {key: [float(getattr(one, key)) for one in measures] for key in MEASURES}
    litres = [float(one.litres.mean()) for one in judged]
    found: Line = {key: _quantiles(verdict.quantiles(of)) for key, of in values.items()}
    found["litres_a_year"] = _quantiles(verdict.quantiles(litres))
    if price_m3 is not None:
        money = [price_m3 * each / PER_M3 for each in litres]
        found["money_a_year"] = _quantiles(verdict.quantiles(money), 2)
    if name != NONE:
        found |= _limits(measures, name == informed.NAME)
    if name != NONE and informed.NAME in by_way:
        skill = verdict.skill_over(
            *[[one.measures for one in by_way[each]] for each in (NONE, name, informed.NAME)]
        )
        over = _quantiles(skill.over, 2)
        found["skill"] = over | {"grounds": skill.over.grounds, "counts": skill.counts}
    if name == informed.NAME:
        found["relief_pf"] = [one.relief_pf for one in judged]
    found["by_ground"] = {
        "unrest_pct": [_known(round(value, 1)) for value in values["unrest_pct"]],
        "litres_a_year": [round(value, 1) for value in litres],
    }
    return found


def _limits(measures: Sequence[Measures], yardstick: bool) -> Line:
    """What a way breaks, by name, and in words; no verdict on what nobody can have."""
    judged = verdict.verdict({RELIEF_PF_USUAL: measures})
    broken = verdict.broken(measures) if yardstick else judged.limits[RELIEF_PF_USUAL]
    return {
        "verdict": None if yardstick else judged.word,
        "broken": list(broken),
        "cautious": verdict.cautious(measures),
        "sentences": [_sentence(name, measures) for name in broken],
    }


FEW_GROUNDS = 10  # fewer have no ninetieth of a hundred that a reader could point to
WORDS = {
    verdict.UNREST: "unrest of {0} %",
    "tilt_added_pct": "tilt more by {0} % of the unwatered movement",
    "excursion_pct": "an excursion of {0} %",
    "days_soaked": "{0} soaked days a year",
}


def _sentence(name: str, measures: Sequence[Measures]) -> str:
    over = verdict.over_grounds(measures, name)
    value, most = (
        (over.p90, verdict.UNREST_PCT)
        if name == verdict.UNREST
        else (over.p50, verdict.LIMITS[name])
    )
    told = "unknown" if np.isnan(value) else f"{value:.0f}"
    where = _where(len(measures)) if name == verdict.UNREST else ""
    return f"{WORDS[name].format(told)}{where} (allowed: {most:.0f})"


def _where(grounds: int) -> str:
    """Among so many grounds, where the figure is taken that must keep the limit of unrest."""
    if grounds == 1:
        return ""
    few = grounds < FEW_GROUNDS
    return (
        " near the worst of these few grounds" if few else " at the ninetieth of a hundred grounds"
    )


def _verdict(ways: dict[str, Line]) -> Line:
    """Which way of watering to take, of those that an owner can have; or to leave the house."""
    owned = {name: way for name, way in ways.items() if name not in (NONE, informed.NAME)}

    def calm(name: str, share: str) -> float:
        value = owned[name]["unrest_pct"][share]
        return float("inf") if value is None else float(value)

    passing = [name for name, way in owned.items() if way["verdict"] == "water"]
    if passing:
        best = min(passing, key=lambda name: calm(name, "p50"))
        return {"word": "water", "way": best}
    nearest = min(owned, key=lambda name: (len(owned[name]["broken"]), calm(name, "p90")))
    return {"word": "leave", "way": nearest}


def _quantiles(over: Quantiles, places: int = 1) -> Line:
    values = (over.p10, over.p50, over.p90)
    found = (_known(round(value, places)) for value in values)
    return dict(zip(("p10", "p50", "p90"), found, strict=True))


def _known(value: float) -> float | None:
    return None if np.isnan(value) else value + 0.0  # no minus zero


def rows_of(found: Sequence[Found]) -> list[dict[str, Any]]:
    """A row for each weather, way of watering, ground and year.

    change_pf_m: movement and tilt together of what carries the house [pF m].
    """
    rows = []
    for life, one in enumerate(found):
        for ground, ways in enumerate(one.grounds):
            for name, judged in ways.items():
                years = zip(
                    judged.measures.yearly.tolist(),
                    ways[NONE].measures.yearly.tolist(),
                    judged.litres.tolist(),
                    strict=True,
                )
                rows += [
                    {
                        "weather": one.job.life.source,
                        "invented": int(one.job.life.invented),
                        "life": life + 1,
                        "way": name,
                        "ground": ground + 1,
                        "year": year + 1,
                        "change_pf_m": round(change, 4),
                        "unwatered_pf_m": round(unwatered, 4),
                        "litres": round(litres, 1),
                    }
                    for year, (change, unwatered, litres) in enumerate(years)
                ]
    return rows
