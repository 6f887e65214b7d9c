"""Working out a plan: how the hub is to think of the ground, how wet to keep it, and the table.

The years of a record are cut in two. By the first two thirds the hub's model is fitted on the
middle ground, and three reliefs are lived on sixteen plausible grounds. What their strips were
given makes the table. The plan is then judged on other grounds, in the years held out.
"""

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np

from evenclay.sim.ground.plausible import PlausibleGround, judged, middle, searched
from evenclay.sim.house.house import House
from evenclay.sim.house.standing import sides_of, stand
from evenclay.sim.judge import strip, verdict
from evenclay.sim.judge.compare import Life, lives_of
from evenclay.sim.judge.reduced import Reduced, Store, reduced_of
from evenclay.sim.judge.verdict import Verdict
from evenclay.sim.judge.years import seed_of
from evenclay.sim.replay.stay import weather_of
from evenclay.sim.types import Bools, Floats
from evenclay.sim.weather.daily import Weather
from evenclay.sim.weather.et0 import hargreaves_mm
from evenclay.sim.weather.generator import fit, generate
from evenclay.tools.plan.proposal import table
from evenclay.tools.plan.proposal.study import (
    Asked,
    Kept,
    ample,
    live_on_all,
)
from evenclay.tools.plan.proposal.written import with_verdict, written
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.demand import Means, means_of
from evenclay.tools.property.file.estimate import DRIEST_PF, FULL_PF, Ground, Yard
from evenclay.tools.property.property import Property, parse

RELIEFS_PF = (0.1, 0.2, 0.4)  # shown beside each other; one is written
SEARCHED_SHARE = 2.0 / 3.0  # of the years of a record
YEARS_LEAST = 6  # of a record, to hold any out; else invented years stand for those
SEARCHED_YEARS = 13  # lived on each ground in a search, short records again and again
JUDGED_YEARS = 26
CYCLES = 3  # a day, while it is searched how much is wanted
# Points of unrest: what is nearer is the same. Sixteen grounds tell the ninetieth of a hundred no
# better than that (drawn anew from themselves, it varies by as much), and the middle one better.
NEAR_90_POINTS, NEAR_50_POINTS = 5.0, 1.0
NO_WATER_PCT = 100.0  # unrest of leaving the ground alone
# A strip without a sensor of its own is taken to lose a fifth less than in the middle ground. On
# ground that loses less than was thought, water does harm; where it loses more, the house stays as
# still as unwatered. It was chosen by the grounds searched at two places (sim/TRIALS.md).
UNSEEN_SHARE = 0.8


@dataclass(frozen=True)
class Proposal:
    """What was found.

    levels_pf, trust: of the middle ground, and how far plausible grounds bear their differences
    out. by_relief: of each relief, what came of it on the grounds searched. verdict: of those, and
    of those held out.
    held_out: of the relief chosen on other grounds in years held out, with the table. prop, text:
    the property with the plan in it. held_out_years: their names.
    """

    house: House
    reduced: Reduced
    levels_pf: Floats
    trust: float
    by_relief: dict[float, list[Kept]]
    verdict: Verdict
    relief_pf: float
    ceiling_mm_d: Floats
    prop: Property
    text: str
    held_out: list[Kept]
    held_out_years: str


def propose(
    prop: Property,
    source: str,
    record: Weather,
    *,
    rows: int,
    grounds: int,
    seed: int,
    executor: Executor,
    tell: Callable[[str], None],
) -> Proposal | None:
    """Work out a plan on a record; None where no table fits. grounds: to judge on, 1 to 64.

    Raises: WeatherError for a record of under a year.
    """
    means = means_of(record, prop.site.latitude)
    house = compile_house(prop, means)
    seen, kept_back, names = cut(record, seed, grounds)
    life = lives_of(house, source, seen, 0, seed, SEARCHED_YEARS)[0]
    closed = table.frosty(record) | table.closed_by_owner(house.plan)
    tell("the hub's model of the ground, fitted to the middle ground")
    reduced = fitted(house, life, closed)
    tell("sixteen plausible grounds, each with three reliefs")
    best = search(prop, means, life, closed, reduced, rows, executor)
    if best.planned is None:
        return None
    text = written(prop.source.text, best.planned)
    planned = parse(text, prop.source.name)
    tell(f"the plan judged on {grounds} other grounds, in years held out")
    final = compile_house(planned, means)
    others = judged(sides_of(final), life.index, final.footing_m, grounds)
    relief, found = best.relief_pf, best.verdict
    last = [
        Asked(
            final,
            final.plan,
            lives_of(final, source, weather, 0, seed + 1, JUDGED_YEARS)[0],
            ((relief, best.targets_pf[relief]),),
        )
        for weather in kept_back
    ]
    held_out = [ground.kept[0] for ground in live_on_all(last, others, executor)]
    if found.word == "water":  # what holds on the grounds searched must hold on others too
        again = verdict.verdict({relief: [each.measures for each in held_out]})
        if again.word == "leave":
            found = replace(found, word="leave", relief_pf=None, limit=again.limit)
    text = with_verdict(text, found.word)
    return Proposal(
        final,
        reduced,
        best.levels_pf,
        best.trust,
        best.by_relief,
        found,
        relief,
        best.ceiling_mm_d,
        parse(text, prop.source.name),
        prop.source.as_file(text),
        held_out,
        names,
    )


@dataclass(frozen=True)
class Searched:
    """What the grounds searched say. targets_pf, by_relief: of each relief. planned: the property
    with the plan of the relief chosen; None where no table fits."""

    levels_pf: Floats
    trust: float
    targets_pf: dict[float, Floats]
    by_relief: dict[float, list[Kept]]
    verdict: Verdict
    relief_pf: float
    ceiling_mm_d: Floats
    planned: Property | None


def search(
    prop: Property,
    means: Means,
    life: Life,
    closed: Bools,
    reduced: Reduced,
    rows: int,
    executor: Executor,
) -> Searched:
    """Live on sixteen grounds with each relief, choose one, and make its table.

    closed: half-months without water. reduced: the hub's model. rows: of the table, at most.
    """
    house = compile_house(prop, means)
    grounds = searched(sides_of(house), life.index, house.footing_m)
    levels, trust = _levels(house, life, reduced, grounds, executor)
    targets_pf = {relief: _targets(reduced, levels, relief) for relief in RELIEFS_PF}
    roomy = compile_house(
        _with_ground(prop, reduced, levels, targets_pf[RELIEFS_PF[0]], RELIEFS_PF[0]), means
    )
    start_min, length_min = table.windows_min(house.plan)[0]
    plan = ample(roomy.plan, closed.tolist(), CYCLES, start_min, length_min)
    asked = Asked(roomy, plan, life, tuple(targets_pf.items()))
    lived = live_on_all([asked] * len(grounds), grounds, executor)
    by_relief = {
        relief: [ground.kept[place] for ground in lived] for place, relief in enumerate(RELIEFS_PF)
    }
    found = verdict.verdict({r: [each.measures for each in k] for r, k in by_relief.items()})
    relief = _chosen(by_relief, found)
    weather = life.stay.weather
    ceiling = table.ceilings_mm_d([each.given_mm for each in by_relief[relief]], weather)
    ceiling[closed] = 0.0
    needed = table.needed_mm_d(ceiling, closed, prop, house, means)
    draft = table.draft_of(needed, closed, roomy, rows)
    grounded = _with_ground(prop, reduced, levels, targets_pf[relief], relief)
    planned = table.property_of(grounded, roomy, draft, means)
    return Searched(levels, trust, targets_pf, by_relief, found, relief, ceiling, planned)


def cut(record: Weather, seed: int, grounds: int) -> tuple[Weather, list[Weather], str]:
    """The years to search by, those held out for each ground, and the names of these.

    Of a short record none can be held out. Then years are invented, others for each ground, so that
    the outcome does not hang on one draw of years.
    """
    years = int(record.days / 365.25)
    if years < YEARS_LEAST:
        habits = fit(record)
        made = [generate(habits, JUDGED_YEARS, seed_of(seed, part)) for part in range(grounds)]
        return record, made, f"{JUDGED_YEARS} years a ground, invented with the record's habits"
    days = int(int(years * SEARCHED_SHARE) * 365.25)
    first = record.first_day + timedelta(days=days)
    seen = record.span(record.first_day, first - timedelta(days=1))
    kept_back = record.span(first, record.last_day)
    return seen, [kept_back] * grounds, f"{first} to {record.last_day}"


def fitted(house: House, life: Life, closed: Bools) -> Reduced:
    """Fit the hub's model on the middle ground, by the years searched."""
    _, by_hour, climate = weather_of(house, life.stay, life.seed)
    standing = stand(house, middle(sides_of(house), life.index, house.footing_m), climate)
    weather = life.stay.weather
    days = np.datetime64(weather.first_day) + np.arange(weather.days)
    of_year = (days - days.astype("datetime64[Y]").astype("datetime64[D]")).astype(np.int64) + 1
    demand_mm = hargreaves_mm(weather.tmin_c, weather.tmax_c, house.latitude_deg, of_year)
    caps_mm = [
        zone.cap_s / 3600.0 * one.rate_mm_h
        for zone, one in zip(house.plan.zones, house.strips, strict=True)
    ]
    open_days = ~closed[table.half_months(weather)]
    most_mm = np.where(open_days[:, None], np.array(caps_mm), 0.0)
    start_min, length_min = table.windows_min(house.plan)[0]
    starts_min = [start_min + cycle * length_min // CYCLES for cycle in range(CYCLES)]
    cycles_h = [start // 60 % 24 for start in starts_min]
    return reduced_of(standing, by_hour, demand_mm, most_mm, cycles_h)


def _levels(
    house: House,
    life: Life,
    reduced: Reduced,
    grounds: Sequence[PlausibleGround],
    executor: Executor,
) -> tuple[Floats, float]:
    """Levels to work with: the middle ground's, as far as the grounds searched bear them out.

    The hub's stores know none wetter than full.
    """
    count = len(grounds)
    of_grounds = np.array(list(executor.map(_level_on, [house] * count, [life] * count, grounds)))
    trust = strip.level_trust(reduced.level_pf, of_grounds)
    settled = house.poured_month is None
    levels = strip.shrunk_levels_pf(reduced.level_pf, trust, settled)
    return np.clip(levels, FULL_PF, DRIEST_PF), trust


def _level_on(house: House, life: Life, ground: PlausibleGround) -> Floats:
    _, _, climate = weather_of(house, life.stay, life.seed)
    return stand(house, ground, climate).level_pf


def _targets(reduced: Reduced, levels: Floats, relief_pf: float) -> Floats:
    """Targets of a relief: never wetter than pF 2.5, nor than the wettest tenth of the days."""
    wettest = np.maximum(reduced.wettest_pf, strip.WETTEST_TARGET_PF)
    return np.minimum(np.maximum(levels - relief_pf, wettest), levels)


def _chosen(by_relief: dict[float, list[Kept]], found: Verdict) -> float:
    """The relief to write: of those that pass the one with the least unrest in the ninetieth of a
    hundred grounds, then in the middle, then with the least water.

    Where none passes, of those that break the fewest limits, and that do no harm if there are any.
    """
    passing = [relief for relief in by_relief if not found.limits[relief]]
    fewest = min(len(broken) for broken in found.limits.values())
    among = passing or [r for r, broken in found.limits.items() if len(broken) == fewest]
    # Nothing is known of ground that hardly moves unwatered: there it counts as harmed.
    unrest = {
        relief: np.nan_to_num(
            verdict.over_grounds([each.measures for each in by_relief[relief]], "unrest_pct")[:3],
            nan=verdict.HARM_PCT,
        )
        for relief in among
    }
    harmless = [relief for relief in among if unrest[relief][2] <= NO_WATER_PCT] or among
    least = min(unrest[relief][2] for relief in harmless) + NEAR_90_POINTS
    near = [relief for relief in harmless if unrest[relief][2] <= least]
    least = min(unrest[relief][1] for relief in near) + NEAR_50_POINTS
    calm = [relief for relief in near if unrest[relief][1] <= least]
    return min(calm, key=lambda r: float(np.median([k.litres_a_year for k in by_relief[r]])))


def _with_ground(
    prop: Property, reduced: Reduced, levels: Floats, target_pf: Floats, relief_pf: float
) -> Property:
    """A property that knows the ground and its targets."""
    zones = {}
    for place, (name, zone) in enumerate(prop.zones.items()):
        store = reduced.strips[place]
        seen = 1.0 if zone.probe else UNSEEN_SHARE
        terms = _terms(replace(store, demand=store.demand * seen)) | {
            "beside": round(store.beside, 5),
            "level_pf": round(float(levels[place]), 2),
            "target_pf": round(min(float(target_pf[place]), float(levels[place])), 2),
        }
        zones[name] = zone.model_copy(update={"ground": Ground.model_validate(terms)})
    level_pf = round(min(max(reduced.yard_pf, FULL_PF), DRIEST_PF), 2)
    yard = Yard.model_validate(_terms(reduced.yard) | {"level": level_pf})
    estimate = prop.estimate.model_copy(
        update={"relief": relief_pf, "yard": yard, "estimate": None}
    )
    return prop.model_copy(update={"zones": zones, "estimate": estimate})


def _terms(store: Store) -> dict[str, float]:
    return {
        "demand": round(store.demand, 3),
        "top": round(store.top_mm, 1),
        "top_share": round(store.top_share, 3),
        "freely": round(store.freely_pf, 2),
        "end": round(store.end_pf, 2),
        "hold": round(store.hold_mm, 1),
    }
