"""Replay a house under four policies and write the results: three files and the page of them."""

import json
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import asdict, replace
from datetime import date
from importlib.metadata import version
from pathlib import Path

from evenclay.controller import events
from evenclay.controller.civil import LocalTime
from evenclay.controller.words import WHY
from evenclay.sim import files
from evenclay.sim.ground.soil import BAND_M, TOP_M
from evenclay.sim.house.columns import Columns, dry_of
from evenclay.sim.house.house import House
from evenclay.sim.judge import held
from evenclay.sim.judge.band_measures import (
    Under,
    litres_of,
    movement_difference_pct,
    movement_index_pct,
    rounded,
    swing_pf,
    under_slab,
    unevenness_pf,
)
from evenclay.sim.judge.policies import policies
from evenclay.sim.judge.score import Score, judge
from evenclay.sim.judge.season import climate
from evenclay.sim.replay.life import Lived, live
from evenclay.sim.replay.span import Span, sky_of, span_of
from evenclay.sim.report import outputs
from evenclay.sim.report.page import page_of
from evenclay.sim.report.year import year_of
from evenclay.sim.types import Line
from evenclay.sim.units import UNITS
from evenclay.sim.weather.record import Weather


def replay_house(
    house: House,
    weather: Weather,
    out_dir: Path,
    *,
    seed: int = 1,
    first: date | None = None,
    last: date | None = None,
    inputs: Mapping[str, str | None] | None = None,
    progress: Callable[[str, int, int], None] | None = None,
) -> dict[str, object]:
    """Replay a house under four policies and write the results; the summary is returned.

    weather: the whole record; see `span_of` for which days are scored. out_dir: a folder that
    exists. inputs: hashes of the files that house and weather came from, for the summary.
    progress: called with a policy's name, its number and how many there are, before each.
    Raises: WeatherError for days that the record does not cover.
    """
    span = span_of(weather, first, last)
    sky, by_hour = sky_of(house, span, seed)
    dry = dry_of(house.strips, by_hour)
    chosen = policies(house)
    measured: dict[str, Line] = {}
    errors_mm = []
    season = climate(house, weather, span, seed)
    for number, policy in enumerate(chosen):
        if progress:
            progress(policy.name, number, len(chosen))
        lived = live(
            Columns(house.strips, dry, sky.start_s),
            policy,
            sky,
            seed=seed,
            scored_days=span.scored_days,
        )
        judged = judge(lived, by_hour.rain_mm, span.spin_up_days, season)
        measured[policy.name] = _policy_summary(judged)
        errors_mm.append(lived.ground.mass_balance_error_mm)
    summary = {
        "schema": outputs.SCHEMA,
        "version": version("evenclay"),
        "seed": seed,
        "sha256": dict(inputs or {}),
        "weather": _weather_summary(span),
        "hub": hub_summary(lived),
        "zones": _zones_summary(house, lived, judged),
        "policies": measured,
        "mass_balance_error_mm": float(f"{max(errors_mm):.1e}"),
        "notes": [*span.notes, judged.season.note, *_blade_note(lived.checks(), house)],
    }
    doubts = tuple(f"weather: {caution}" for caution in weather.cautions)
    house = replace(house, cautions=(*doubts, *house.cautions))
    _write(house, span, lived, judged, summary, out_dir)
    return summary


def hub_summary(lived: Lived[Columns]) -> Line:
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


def _blade_note(checks: Line, house: House) -> list[str]:
    """What feeling the top alone costs, where anybody checked."""
    if not checks["made"]:
        return []
    units = UNITS[house.units]
    top, deep = units.shown(TOP_M[1], "near"), units.shown(BAND_M[1], "near")
    return [
        f"the owner's blade feels the top {top}, the band lies at "
        f"{units.number(BAND_M[0], 'near')} to {deep}: of "
        f"{checks['made']} readings {checks['off']} were taken while the band was too dry or too "
        f"wet, and {checks['unfelt']} of those did not say so"
    ]


def _weather_summary(span: Span) -> Line:
    scored = span.weather.span(span.first_day, span.weather.last_day)
    return {
        "rain_mm": round(float(scored.rain_mm.sum()), 1),
        "et0_mm": round(float(scored.et0_mm.sum()), 1),
        "first_day": scored.first_day.isoformat(),
        "last_day": scored.last_day.isoformat(),
        "cautions": list(scored.cautions),
    }


def _policy_summary(judged: Score) -> Line:
    unevenness = unevenness_pf(judged.days.pf, judged.season.days)
    return {
        "litres": round(float(judged.days.litres.sum()), 1),
        **judged.counts(),
        "unevenness_pf": rounded(unevenness, 3),
        "movement_difference_pct": rounded(movement_difference_pct(judged.days), 1),
        "minutes": round(float(judged.days.seconds.sum()) / 60.0, 1),
        **judged.counts("year_"),
    }


def _zones_summary(house: House, lived: Lived[Columns], judged: Score) -> Line:
    """What the hub's policy came to, zone by zone."""
    days = judged.days
    swings_pf = swing_pf(days.pf)
    movements_pct, unders = movement_index_pct(days), under_slab(days)
    zones: Line = {}
    for zone, strip in enumerate(house.strips):
        heard = lived.scored_events(zone)
        skipped = Counter(WHY[event[2]] for event in heard if event[0] == events.SKIPPED)
        zones[strip.name] = {
            "runs": sum(event[0] == events.OPENED for event in heard),
            "minutes": round(float(days.seconds[:, zone].sum()) / 60.0, 1),
            "litres": round(float(days.litres[:, zone].sum()), 1),
            "skipped": dict(sorted(skipped.items())),
            **judged.counts(zone=zone),
            "runoff_litres": litres_of(days.runoff_mm[:, zone], strip),
            "bypass_litres": litres_of(days.bypass_mm[:, zone], strip),
            "swing_pf": round(float(swings_pf[zone]), 3),
            "movement_index_pct": rounded(movements_pct[zone], 1),
            "under_slab": _under_slab(unders[zone]),
            "runoff_rain_litres": litres_of(days.runoff_rain_mm[:, zone], strip),
            "bypass_rain_litres": litres_of(days.bypass_rain_mm[:, zone], strip),
            **judged.counts("year_", zone),
            "hose_l_h": round(strip.flow_l_h, 1),
            "hose_evenness": round(strip.evenness, 3),
            "season_days": int(judged.season.days[:, zone].sum()),
        }
    return zones


def _under_slab(unders: list[Under] | None) -> list[Line] | None:
    if unders is None:
        return None
    return [{name: round(value, 1) for name, value in asdict(under).items()} for under in unders]


def _write(
    house: House, span: Span, lived: Lived[Columns], judged: Score, summary: Line, out_dir: Path
) -> None:
    calendar = outputs.Calendar(LocalTime(house.plan.hub), span.shift_days)
    start_s = lived.scored_s
    assert lived.devices is not None  # the hub is the last policy
    lines = outputs.decisions(house, calendar, lived.devices, start_s)
    days = len(judged.state)
    scored = span.weather.span(span.first_day, span.weather.last_day)
    rows = outputs.daily_rows(
        house,
        span.first_day,
        scored.rain_mm,
        scored.et0_mm,
        judged.days,
        judged.state,
        judged.season.days,
        held.hours(house.plan, lived.heard, start_s, days),
    )
    texts = {
        "decisions.jsonl": "".join(outputs.json_line(line) + "\n" for line in lines),
        "daily.csv": "".join(row + "\n" for row in rows),
        "summary.json": json.dumps(summary, ensure_ascii=False, indent=2) + "\n",
    }
    texts["report.html"] = page_of(year_of(texts, house))
    files.write({out_dir / name: text for name, text in texts.items()})
