"""What a plan is worth by what its hub is told, on sixty-four grounds and in years held out.

The demo's house stands in four places: its own, Tunis, Seattle and Fulda. For each kind of
knowledge a plan is worked out as `evenclay propose` does it, on sixteen grounds and the first two
thirds of the record, with whatever relief its search chooses. Then it lives on sixty-four other
grounds in the years held out, by days: with the middle ground's levels, and with each ground's own,
which nobody knows. Beside them stand tables without a hub, and informed: told the truth each day,
with the better of two reliefs that keeps every limit.

Houses and records are those of `tests.comparing`. Fulda's record needs spotpy 1.6.7, which is not
among the locked packages; it carries the file only. `python -m tests.judging PLACE [GROUNDS]`
prints the table of one place, which takes a core for a quarter of an hour. PLACE is demo, tunis,
seattle or fulda.
"""

import sys
from collections.abc import Sequence
from concurrent.futures import Executor, ProcessPoolExecutor
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from evenclay.controller.plan import HubPart, Plan
from evenclay.sim.ground.plausible import PlausibleGround, Side, judged
from evenclay.sim.house.house import House, Probe
from evenclay.sim.house.standing import Standing, sides_of, stand
from evenclay.sim.judge import strip, verdict
from evenclay.sim.judge.by_day import Keeper, Lived, live_by_day
from evenclay.sim.judge.compare import Life, lives_of
from evenclay.sim.judge.keepers import Met, Reckoning, Truth, met_of
from evenclay.sim.judge.measures import YEAR_DAYS, Measures, first_watered, measure_sums, sums_of
from evenclay.sim.judge.weigh import place_on
from evenclay.sim.replay.stay import weather_of
from evenclay.sim.section.layout import LAYOUT
from evenclay.sim.types import Bools, Floats
from evenclay.tools.plan.proposal import propose, table
from evenclay.tools.plan.proposal.study import with_targets
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.demand import Means, means_of
from evenclay.tools.property.property import Property, parse
from tests.comparing import property_text, record_of

YEARS = 14  # lived on each ground; one less is judged: the harm is in the first years
ROWS = 8
PROCESSES = 2
RELIEFS_PF = (0.2, 0.4)  # of informed
# One sensor, or one a zone, is of suction; a probe a zone is capacitive and not calibrated.
TOLD = ("nothing", "a blade", "samples", "one sensor", "a sensor a zone", "a probe a zone")
NOTHING, BLADE, SAMPLES, ONE_SENSOR, SENSOR_EACH, PROBE_EACH = TOLD


def told(prop: Property, what: str) -> Property:
    """The property with nothing but this to tell its hub; a third of the checks is missed."""
    first = next(iter(prop.zones))
    zones = {}
    for name, zone in prop.zones.items():
        suction = what == SENSOR_EACH or (what == ONE_SENSOR and name == first)
        probe: Probe = "suction" if suction else what == PROBE_EACH
        sensor = first if what == ONE_SENSOR and name != first else None
        zones[name] = zone.model_copy(update={"probe": probe, "sensor": sensor})
    check = "blade" if what == BLADE else "sample"
    checks = what in (BLADE, SAMPLES)
    owner = {"checks": checks, "check": check, "misses": 33.0, "misjudges": 0.0}
    return prop.model_copy(update={"zones": zones, "owner": prop.owner.model_copy(update=owner)})


@dataclass(frozen=True)
class Way:
    """A plan to be judged, and its house. relief_pf: None for a table without a hub."""

    name: str
    house: House
    plan: Plan
    relief_pf: float | None
    true_levels: bool = False


@dataclass(frozen=True)
class Trial:
    """What all grounds share. closed: half-months without water."""

    ways: tuple[Way, ...]
    life: Life
    closed: Bools


class Outcome(NamedTuple):
    """Of one way on one ground."""

    measures: Measures
    litres_a_year: float


def bare(plan: Plan) -> Plan:
    """A plan that gives its rows, whatever the ground lacks."""
    return Plan(
        HubPart(vars(plan.hub) | {"estimate": 0}), plan.supplies, plan.zones, plan.rows, plan.bans
    )


def true_targets(standing: Standing, dry: Lived, relief_pf: float) -> Floats:
    """Targets by a ground's own levels and its own wettest days."""
    unwatered_pf = strip.mean_pf(dry.record.strip_pf, LAYOUT.edges_m)
    return strip.targets_pf(standing.level_pf, relief_pf, unwatered_pf)


def judge(trial: Trial, ground: PlausibleGround) -> dict[str, Outcome]:
    """Live on one ground by every way."""
    house, life = trial.ways[0].house, trial.life
    sky, by_hour, climate = weather_of(house, life.stay, life.seed)
    standing = stand(house, ground, climate)
    dry = live_by_day(standing, by_hour, None)
    met = met_of(life.stay.weather, sky, house.plan.hub.std_s)
    lived = {"none": dry}
    for relief_pf in RELIEFS_PF:
        keeper = _informed(trial, house, ground, standing, dry, relief_pf)
        lived[f"informed {relief_pf}"] = live_by_day(standing, by_hour, keeper)
    for way in trial.ways:
        lived[way.name] = live_by_day(
            standing, by_hour, _keeper(way, ground, standing, dry, met, life)
        )
    place = place_on(house, ground)
    days = len(dry.given_mm)
    # Each way is judged from its own first watered day on, and the same days of the dry ground.
    least = days - int((life.years - 1) * YEAR_DAYS)
    dry_sums = sums_of(dry.record, standing.level_pf, place)
    found = {}
    for name, each in lived.items():
        first = min(first_watered(each.given_mm), least)
        sums = sums_of(each.record, standing.level_pf, place)
        measures = measure_sums(sums, dry_sums, place, first, years_least=life.years - 1)
        found[name] = Outcome(measures, float(each.litres.sum()) / days * YEAR_DAYS)
    return found


def _informed(
    trial: Trial,
    house: House,
    ground: PlausibleGround,
    standing: Standing,
    dry: Lived,
    relief_pf: float,
) -> Truth:
    halves = table.half_months(trial.life.stay.weather)
    caps_mm = [
        zone.cap_s / 3600.0 * one.rate_mm_h
        for zone, one in zip(house.plan.zones, house.strips, strict=True)
    ]
    most_mm = np.where(~trial.closed[halves][:, None], np.array(caps_mm), 0.0)
    hold_mm = np.full(len(caps_mm), 700.0 * ground.c_per_pf)  # of the 0.7 m from 0.3 to 1.0 m
    target_pf = true_targets(standing, dry, relief_pf)
    return Truth(target_pf, most_mm, hold_mm, (20, 0, 4))


def _keeper(
    way: Way,
    ground: PlausibleGround,
    standing: Standing,
    dry: Lived,
    met: Met,
    life: Life,
) -> Keeper:
    plan = way.plan
    if way.true_levels and way.relief_pf is not None:
        plan = with_targets(plan, true_targets(standing, dry, way.relief_pf).tolist())
    owner = way.house.owner
    return Reckoning(way.house, plan, owner, met, ground.zones, ground.c_per_pf, life.seed)


def ways_of(
    prop: Property, means: Means, life: Life, closed: Bools, executor: Executor
) -> list[Way]:
    """The ways to judge; a line tells of each as it is ready."""
    own = compile_house(told(prop, NOTHING), means)
    reduced = propose.fitted(own, life, closed)
    ways = []
    for what in TOLD:
        found = propose.search(told(prop, what), means, life, closed, reduced, ROWS, executor)
        assert found.planned is not None
        house, relief = compile_house(found.planned, means), found.relief_pf
        print(f"a plan for {what}: relief {relief}", file=sys.stderr, flush=True)
        ways += [Way(what, house, house.plan, relief)]
        ways += [Way(f"{what}, true levels", house, house.plan, relief, True)]
        if what == NOTHING:
            ways += [Way("its table bare", house, bare(house.plan), None)]
    return [*ways, Way("the property's own table bare", own, bare(own.plan), None)]


def informed(found: dict[str, Outcome]) -> Outcome:
    """The better relief that keeps every limit, or no water."""
    by_relief = {relief: found[f"informed {relief}"].measures for relief in RELIEFS_PF}
    best = verdict.best_relief(by_relief)
    return found["none"] if best is None else found[f"informed {best}"]


def line(name: str, found: list[Outcome], none: list[Measures], told_all: list[Measures]) -> str:
    """A row of the table."""
    own = [each.measures for each in found]
    figures = [
        "{:.0f}, {:.0f}, {:.0f}".format(*verdict.over_grounds(own, "unrest_pct")[:3]),
        *(
            f"{verdict.over_grounds(own, each).p50:.0f}"
            for each in ("tilt_added_pct", "excursion_pct", "days_soaked")
        ),
        f"{np.median([each.litres_a_year for each in found]):,.0f}",
    ]
    skill = verdict.skill_over(none, own, told_all)
    text = f"{skill.over.p50:.2f}, {skill.over.p10:.2f}" if skill.over.grounds else "-"
    return f"| {name} | {' | '.join(figures)} | {text if skill.counts else f'({text})'} |"


class Asked(NamedTuple):
    """A place to judge in. life: to search by; held_out: to judge by, and the names of its years.
    closed: half-months without water. around: what plausible grounds are drawn for."""

    prop: Property
    means: Means
    life: Life
    held_out: Life
    names: str
    closed: Bools
    around: tuple[Sequence[Side], float, float | None]


def asked_in(place: str) -> Asked:
    """The demo's house in a place."""
    prop, record = parse(property_text(place), f"{place}.toml"), record_of(place)
    means = means_of(record, prop.site.latitude)
    house = compile_house(prop, means)
    seen, (kept_back, *_), names = propose.cut(record, 1, 1)
    life = lives_of(house, place, seen, 0, 1, propose.SEARCHED_YEARS)[0]
    other = lives_of(house, place, kept_back, 0, 2, YEARS)[0]
    closed = table.frosty(record) | table.closed_by_owner(house.plan)
    around = (sides_of(house), life.index, house.footing_m)
    return Asked(prop, means, life, replace(other, index=life.index), names, closed, around)


def main(place: str, count: int) -> None:
    """Print the table of one place."""
    asked = asked_in(place)
    with ProcessPoolExecutor(PROCESSES) as executor:
        ways = ways_of(asked.prop, asked.means, asked.life, asked.closed, executor)
        grounds = judged(*asked.around, count)
        trial = Trial(tuple(ways), asked.held_out, asked.closed)
        by_ground = list(executor.map(judge, [trial] * count, grounds))
    none = [each["none"].measures for each in by_ground]
    best = [informed(each) for each in by_ground]
    told_all = [each.measures for each in best]
    above = sum(each.unrest_pct > verdict.UNREST_PCT for each in told_all)
    print(f"{place}: {count} grounds, held out {asked.names}; informed is above 85 on {above}\n")
    print("| told | unrest 10, 50, 90 | tilt added | excursion | soaked | litres | skill 50, 10 |")
    print("|---|---|---|---|---|---|---|")
    for way in ways:
        print(line(way.name, [each[way.name] for each in by_ground], none, told_all))
    print(line("informed", best, none, told_all))


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else 64)
