"""Many years of a house under the hub, judged one by one and held in little memory.

What is lived through in one go is a life: a year of spin-up and the whole years after it, under one
seed. Within a life ground, hub and trims go on from year to year as they do in a replay; the
ground's hours are summed up to days after every year and let go.
"""

from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise

import numpy as np

from evenclay.controller import events
from evenclay.sim.calendar import HOUR_S
from evenclay.sim.ground import soil
from evenclay.sim.house.columns import Columns, Yards
from evenclay.sim.house.house import House
from evenclay.sim.judge import policies
from evenclay.sim.judge.band_measures import (
    litres_of,
    movement_index_pct,
    rounded,
    swing_pf,
    unevenness_pf,
)
from evenclay.sim.judge.days import Days, days_of, top_wet_days
from evenclay.sim.judge.score import Score, states
from evenclay.sim.judge.season import Season
from evenclay.sim.replay.life import begin
from evenclay.sim.replay.span import Span, anniversary, sky_of
from evenclay.sim.types import Line
from evenclay.sim.weather.hourly import Hourly
from evenclay.sim.weather.record import Weather

PART_BITS = 32  # of one seed, the lives after the first draw on from here


def whole_years(first_day: date, days: int) -> list[date]:
    """Where whole years begin in some days from first_day on, and where the last one ends."""
    begins = [first_day]
    while (following := anniversary(first_day, len(begins))) <= first_day + timedelta(days=days):
        begins.append(following)
    return begins


def scored_years(weather: Weather) -> list[date]:
    """Where a record's scored years begin, and where the last one ends; empty for less than a year.

    The first year is spin-up; of a record of less than two whole years it is scored as well.
    """
    begins = whole_years(weather.first_day, weather.days)
    if len(begins) > 2:
        return begins[1:]
    return begins if len(begins) == 2 else []


def seed_of(seed: int, part: int) -> int:
    """The seed of one seed's lives, counted from 0; the first life's is the seed itself."""
    return seed + (part << PART_BITS)


def years_of(house: House, span: Span, season: Season, seed: int) -> list[Line]:
    """Live through a span under the hub's policy: a row for each scored year and zone, in order.

    span: its scored days are whole years, and a spin-up goes before them. season: of those days.
    Rows hold the `year`, counted from 0, `zone`, and what `summary.json` has under the same names
    for a zone; `unevenness_pf`, `rain_mm` and `et0_mm` are the whole house's.
    """
    begins = whole_years(span.first_day, span.scored_days)
    judged, runs = _lived(house, span, begins, season, seed)
    scored = span.weather.span(span.first_day, span.weather.last_day)
    rows = []
    for year, (first, until) in enumerate(pairwise(begins)):
        of_year = slice((first - span.first_day).days, (until - span.first_day).days)
        days = judged.days.during(of_year)
        score = Score(days, judged.state[of_year], Season(season.days[of_year], season.note))
        whole: Line = {
            "unevenness_pf": rounded(unevenness_pf(days.pf, score.season.days), 3),
            "rain_mm": round(float(scored.rain_mm[of_year].sum()), 1),
            "et0_mm": round(float(scored.et0_mm[of_year].sum()), 1),
        }
        swings_pf, movements_pct = swing_pf(days.pf), movement_index_pct(days)
        for zone, strip in enumerate(house.strips):
            rows.append(
                {
                    "year": year,
                    "zone": strip.name,
                    "season_days": int(score.season.days[:, zone].sum()),
                    **score.counts(zone=zone),
                    **score.counts("year_", zone),
                    "runs": runs[year][zone],
                    "minutes": round(float(days.seconds[:, zone].sum()) / 60.0, 1),
                    "litres": round(float(days.litres[:, zone].sum()), 1),
                    "runoff_litres": litres_of(days.runoff_mm[:, zone], strip),
                    "bypass_litres": litres_of(days.bypass_mm[:, zone], strip),
                    "swing_pf": round(float(swings_pf[zone]), 3),
                    "movement_index_pct": rounded(movements_pct[zone], 1),
                    **whole,
                }
            )
    return rows


def _lived(
    house: House, span: Span, begins: list[date], season: Season, seed: int
) -> tuple[Score, list[list[int]]]:
    """The scored days, judged, and the runs of each year and zone."""
    sky, by_hour = sky_of(house, span, seed)
    policy = policies.policies(house)[-1]
    edges = [24 * (begin - span.weather.first_day).days for begin in begins]
    edges = [0, *edges] if edges[0] else edges
    yards = Yards(house.strips)
    ground = Columns(house.strips, yards.go_on(_part(by_hour, 0, edges[1])), sky.start_s)
    life = begin(policy, ground, sky, seed)
    parts: list[Days] = []
    tops = []
    runs = []
    for first, until in pairwise(edges):
        end_s = sky.start_s + HOUR_S * until
        if first:
            ground.go_on(yards.go_on(_part(by_hour, first, until)))
        life.run(end_s)
        life.devices.catch_up()
        parts.append(days_of(ground, by_hour.rain_mm[first:until]))
        tops.append(ground.results[:, len(house.strips) :, soil.TOP_PF].copy())
        opened = [item.event[1] for item in life.devices.heard if item.event[0] == events.OPENED]
        runs.append([opened.count(zone) for zone in range(len(house.strips))])
        life.devices.heard.clear()
    rain_mm = by_hour.rain_mm[: edges[-1]]
    days = replace(Days.joined(parts), top_wet=top_wet_days(np.concatenate(tops), rain_mm))
    state = states(days)
    scored = slice(span.spin_up_days, None)
    return Score(days.during(scored), state[scored], season), runs[1 - len(begins) :]


def _part(by_hour: Hourly, first: int, until: int) -> Hourly:
    return Hourly(*(getattr(by_hour, name)[first:until] for name in by_hour.__dataclass_fields__))
