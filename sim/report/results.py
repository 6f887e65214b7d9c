"""Replay a house under four ways of watering and write the results: three files and their page."""

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from functools import partial
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np

from evenclay.controller import events
from evenclay.controller.civil import LocalTime
from evenclay.sim import files
from evenclay.sim.ground.plausible import PlausibleGround, judged, middle
from evenclay.sim.house.house import House
from evenclay.sim.house.standing import RELIEF_PF_USUAL, sides_of
from evenclay.sim.judge.measures import YEARS_LEAST
from evenclay.sim.judge.weigh import targets_pf
from evenclay.sim.replay.lived import Lived
from evenclay.sim.replay.stay import Stay, stay_of, weather_of
from evenclay.sim.report import held, outputs
from evenclay.sim.report.page import page_of
from evenclay.sim.report.pictures.moisture import cut_of
from evenclay.sim.report.ways import (
    Case,
    Figures,
    OnGround,
    Told,
    figures_of,
    figures_on,
    live_on,
    moves_of,
    rounded,
    summed,
)
from evenclay.sim.report.year import year_of
from evenclay.sim.section import index_of
from evenclay.sim.types import Floats, Line
from evenclay.sim.weather.daily import Weather

# Does a task for each ground, in order: `map`, or that of a pool of processes.
Spread = Callable[
    [Callable[[PlausibleGround], Figures], Sequence[PlausibleGround]], Iterable[Figures]
]


def replay_house(
    house: House,
    weather: Weather,
    out_dir: Path,
    *,
    seed: int = 1,
    first: date | None = None,
    last: date | None = None,
    grounds: int | None = None,
    inputs: Mapping[str, str | None] | None = None,
    progress: Told | None = None,
    spread: Spread = map,
) -> dict[str, object]:
    """Replay a house under four ways of watering and write the results; the summary is returned.

    weather: the whole record, in which the ground has settled; the days from first to last are
    lived through, all without. out_dir: a folder, made if need be. grounds: None: the middle ground
    alone; else measures are over so many plausible ones, 1..64. inputs: hashes of the files that
    house and weather came from, for the summary. progress: called with a way's name, its number
    and how many there are, before each. spread: how grounds are lived on, one after another or
    side by side.
    Raises: WeatherError for days that the record does not cover; ValueError for other grounds.
    """
    stay = stay_of(weather, first, last)
    sky, by_hour, climate = weather_of(house, stay, seed)
    case = Case(house, sky.start_s, by_hour, stay.months, climate, seed)
    index = index_of(weather, house.latitude_deg)
    around = (sides_of(house), index, house.footing_m)
    many = judged(*around, grounds) if grounds is not None else []
    on = live_on(case, middle(*around), progress)
    if house.target_pf is None:
        target_pf = targets_pf(house, on.standing, on.unwatered.strip_pf)
    else:
        target_pf = np.array(house.target_pf)
    own = figures_of(case, target_pf, on)
    case = replace(case, moves=moves_of(case, on))
    found = list(spread(partial(figures_on, case, target_pf), many)) if many else []
    summary = {
        "schema": outputs.SCHEMA,
        "version": version("evenclay"),
        "seed": seed,
        "sha256": dict(inputs or {}),
        "weather": _weather_summary(stay.weather, index),
        "grounds": grounds,
        "years": own.years,
        "relief_pf": RELIEF_PF_USUAL if house.relief_pf is None else house.relief_pf,
        "hub": hub_summary(on.hub.lived),
        "zones": _told(found, own, "zones"),
        "policies": _told(found, own, "policies"),
        "mass_balance_error_mm": float(
            f"{max(one.mass_balance_error_mm for one in (own, *found)):.1e}"
        ),
        "notes": [*stay.notes, *_notes(house, on, own, found)],
    }
    doubts = tuple(f"weather: {caution}" for caution in weather.cautions)
    house = replace(house, cautions=(*doubts, *house.cautions))
    _write(house, stay, on, target_pf, summary, out_dir)
    return summary


def _told(found: Sequence[Figures], own: Figures, part: str) -> Line:
    """Zones or ways of watering as they are written down: of many grounds, or of the middle one."""
    of_middle: Line = getattr(own, part)
    if not found:
        return dict(rounded("", of_middle))
    return dict(rounded("", summed([getattr(one, part) for one in found], of_middle)))


def hub_summary(lived: Lived[Any]) -> Line:
    """The hub's own figures."""
    devices = lived.devices
    return {
        "wakes": lived.wakes,
        "saves": lived.saves,
        "polls": lived.polls,
        "most_open_at_once": devices.most_open_at_once if devices else 0,
        "boots": sum(h.event[0] == events.BOOT for h in lived.heard),
        "checks": lived.checks(),
    }


def _weather_summary(lived: Weather, index: float) -> Line:
    return {
        "rain_mm": round(float(lived.rain_mm.sum()), 1),
        "et0_mm": round(float(lived.et0_mm.sum()), 1),
        "tmi": round(index, 1),
        "first_day": lived.first_day.isoformat(),
        "last_day": lived.last_day.isoformat(),
        "cautions": list(lived.cautions),
    }


def _notes(house: House, on: OnGround, own: Figures, found: Sequence[Figures]) -> list[str]:
    """What a reader must know of how the figures came about, a sentence each."""
    notes = [_ground_note(len(found)), _years_note(own.years)]
    if own.years and own.first_day:
        notes.append(f"measures begin with the first water, on day {own.first_day + 1}")
    if not on.place.pairs:
        notes.append("all zones lie on one side of the house, so nothing is said of tilt")
    if house.poured_month is not None:
        notes.append(
            "the house is young: one level serves all sides, and shift counts from the open ground "
            "of the month it was poured in; the ground itself begins as under a settled house"
            if on.start is not None or not own.years
            else "the house is young, but no day lived is of the month it was poured in: shift "
            "counts from the unwatered means"
        )
    if all(strip.slab_m is None for strip in house.strips):
        notes.append(
            "a house on a basement stands too deep for this: only its strips are looked at, and "
            "nothing is said of the ground that carries it"
        )
    elif own.years and (still := _still(found or [own])):
        notes.append(
            f"in {still} of {len(found) or 1} grounds the clay hardly moves unwatered, so there is "
            "little for water to calm: percents have no meaning there and leave it out"
        )
    return notes


def _ground_note(count: int) -> str:
    if not count:
        return (
            "nobody knows this clay: the figures are of the middle one of the grounds that are "
            "plausible, and --grounds 16 shows how much hangs on it"
        )
    return (
        f"the figures of zones and ways of watering are over {count} plausible grounds; the hub's "
        "own, decisions.jsonl, daily.csv and the pictures are of the middle ground"
    )


def _years_note(years: int) -> str:
    if not years:
        return "less than a whole year was lived, so there are no measures of movement"
    if years < YEARS_LEAST:
        many = "one year" if years == 1 else f"{years} years"
        return (
            f"{many} judged is a first look, beside the same days unwatered: ground goes on "
            f"changing for longer, and compare lives {YEARS_LEAST} years"
        )
    return f"{years} years judged"


def _still(found: Sequence[Figures]) -> int:
    return sum(one.policies["none"]["unrest_pct"] is None for one in found)


def _write(
    house: House, stay: Stay, on: OnGround, target_pf: Floats, summary: Line, out_dir: Path
) -> None:
    lived = on.hub.lived
    assert lived.devices is not None  # the hub is the last way
    calendar = outputs.Calendar(LocalTime(house.plan.hub), stay.shift_days)
    lines = outputs.decisions(house, calendar, lived.devices)
    held_h = held.hours(house.plan, lived.heard, lived.ground.start_s, stay.weather.days)
    rows = outputs.daily_rows(house, stay.weather, on, target_pf, held_h)
    texts = {
        "decisions.jsonl": "".join(outputs.json_line(line) + "\n" for line in lines),
        "daily.csv": "".join(row + "\n" for row in rows),
        "summary.json": json.dumps(summary, ensure_ascii=False, indent=2) + "\n",
    }
    texts["report.html"] = page_of(year_of(texts, house), cut_of(house, on))
    files.write({out_dir / name: text for name, text in texts.items()})
