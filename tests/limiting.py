"""What limits a hub by what it is told: the best plan on grounds of which one unknown is known.

The house of the demo stands on judged grounds in years held out, as in `tests.judging`. Each time
one kind of what differs from ground to ground is made the middle ground's, which is what the plan
reckons with. A plan that is cautious for want of that knowledge would not profit from it. So each
kind of knowledge is tried with three reliefs, and with the whole of the fitted demand as well as
the share of it that a proposal reckons with where nobody looks. The table has the best of these six
in hindsight: what such a hub could reach, not what its proposal would. No table limits a run: each
zone may have its cap.

What skill rises by where something is known, that unknown had cost. Informed lives on the same
changed grounds, so that each row has its own best.

`python -m tests.limiting PLACE [GROUNDS]` prints the table of one place.
"""

import sys
from collections.abc import Callable, Iterable
from concurrent.futures import Executor, ProcessPoolExecutor
from dataclasses import replace
from typing import TypeAlias

from evenclay.controller.plan import Plan, ZonePart
from evenclay.sim.ground.plausible import PlausibleGround, PlausibleZone, judged, middle
from evenclay.sim.judge import verdict
from evenclay.sim.judge.compare import Life
from evenclay.sim.judge.measures import Measures
from evenclay.sim.judge.reduced import Reduced
from evenclay.sim.types import Bools
from evenclay.tools.plan.proposal import propose, table
from evenclay.tools.plan.proposal.study import ample, with_targets
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.demand import Means
from evenclay.tools.property.property import Property
from tests.judging import (
    NOTHING,
    ONE_SENSOR,
    PROCESSES,
    ROWS,
    SAMPLES,
    Trial,
    Way,
    asked_in,
    informed,
    judge,
    told,
)

Change = Callable[[PlausibleGround, PlausibleGround], PlausibleGround]  # of a ground, by the middle
Search: TypeAlias = tuple[Means, Life, Bools, Reduced, int, Executor]

SOIL = (
    "alpha_cm2_s",
    "c_per_pf",
    "matrix_mm_d",
    "surface_mm_h",
    "crack_share",
    "fissured_m",
    "uptake_end_pf",
    "air_later_mm_d05",
)


def _zones(ground: PlausibleGround, zones: Iterable[PlausibleZone]) -> PlausibleGround:
    return replace(ground, zones=tuple(zones))


def _as_is(ground: PlausibleGround, _: PlausibleGround) -> PlausibleGround:
    return ground


def _sides(ground: PlausibleGround, usual: PlausibleGround) -> PlausibleGround:
    """Each side's demand, rain and roots as the property says, the house's demand its own."""
    found = []
    for own, mid in zip(ground.zones, usual.zones, strict=True):
        coefficient = mid.coefficient * own.yard_coefficient / mid.yard_coefficient
        found.append(
            replace(own, coefficient=coefficient, exposure=mid.exposure, roots_m=mid.roots_m)
        )
    return _zones(ground, found)


def _demand(ground: PlausibleGround, usual: PlausibleGround) -> PlausibleGround:
    """All demand, rain and roots as the property says, of the strips and of the yard."""
    return _zones(
        ground,
        (
            replace(
                mid,
                flow_factor=own.flow_factor,
                suction_error_pf=own.suction_error_pf,
                content_error_m3_m3=own.content_error_m3_m3,
            )
            for own, mid in zip(ground.zones, usual.zones, strict=True)
        ),
    )


def _flow(ground: PlausibleGround, usual: PlausibleGround) -> PlausibleGround:
    """Each hose's flow as the property says."""
    pairs = zip(ground.zones, usual.zones, strict=True)
    return _zones(ground, (replace(own, flow_factor=mid.flow_factor) for own, mid in pairs))


def _soil(ground: PlausibleGround, usual: PlausibleGround) -> PlausibleGround:
    return replace(ground, **{name: getattr(usual, name) for name in SOIL})


def _levels(ground: PlausibleGround, usual: PlausibleGround) -> PlausibleGround:
    """What is held far down is what is usual in the climate."""
    return replace(ground, deep_pf=usual.deep_pf)


KNOWN: dict[str, Change] = {
    "nothing more": _as_is,
    "how sides differ in demand": _sides,
    "all demand": _demand,
    "flows": _flow,
    "the soil": _soil,
    "the suction far down": _levels,
    "all of that": lambda ground, usual: _flow(
        _demand(_soil(_levels(ground, usual), usual), usual), usual
    ),
}


def ways_of(told_: Property, search: Search) -> list[Way]:
    """Six plans for a kind of knowledge: three reliefs, each with two shares of the demand."""
    found = propose.search(told_, *search)
    means, _, closed, *_ = search
    assert found.planned is not None
    house = compile_house(found.planned, means)
    start_min, length_min = table.windows_min(house.plan)[0]
    roomy = ample(house.plan, closed.tolist(), propose.CYCLES, start_min, length_min)
    ways = []
    for relief_pf, target_pf in found.targets_pf.items():
        plan = with_targets(roomy, target_pf.tolist())
        ways.append(Way(f"{relief_pf:g}, cautious", house, plan, relief_pf))
        ways.append(Way(f"{relief_pf:g}, whole", house, _whole(plan), relief_pf))
    return ways


def _whole(plan: Plan) -> Plan:
    """The same with the whole of the fitted demand in strips that nobody's probe is in."""
    zones = []
    for zone in plan.zones:
        share = 1.0 if zone.probe else propose.UNSEEN_SHARE
        zones.append(ZonePart(vars(zone) | {"demand_ppt": round(zone.demand_ppt / share)}))
    return Plan(plan.hub, plan.supplies, zones, plan.rows, plan.bans)


def best_of(found: dict[str, list[Measures]]) -> str:
    """The way with the least unrest in the middle of the grounds; of those that harm no more than
    one ground in ten, if there are any."""
    unrest = {name: verdict.over_grounds(own, "unrest_pct") for name, own in found.items()}
    harmless = [name for name, over in unrest.items() if over.p90 <= propose.NO_WATER_PCT]
    if harmless:
        return min(harmless, key=lambda name: unrest[name].p50)
    return min(unrest, key=lambda name: unrest[name].p90)


def cell(found: dict[str, list[Measures]], none: list[Measures], best: list[Measures]) -> str:
    """Skill of the best way, the ninetieth of its unrest, and which it is."""
    name = best_of(found)
    over = verdict.skill_over(none, found[name], best).over
    p90 = verdict.over_grounds(found[name], "unrest_pct").p90
    skill = f"{over.p50:.2f}, {over.p10:.2f}" if over.grounds else "-"
    return f"{skill}; {p90:.0f} ({name})"


def main(place: str, count: int) -> None:
    """Print the table of one place."""
    asked = asked_in(place)
    means, life, closed = asked.means, asked.life, asked.closed
    with ProcessPoolExecutor(PROCESSES) as executor:
        own = compile_house(told(asked.prop, NOTHING), means)
        reduced = propose.fitted(own, life, closed)
        search: Search = (means, life, closed, reduced, ROWS, executor)
        trials = {
            what: Trial(tuple(ways_of(told(asked.prop, what), search)), asked.held_out, closed)
            for what in (NOTHING, SAMPLES, ONE_SENSOR)
        }
        print(f"{place}: {count} grounds, held out {asked.names}\n")
        print(f"| known | grounds | {' | '.join(trials)} |")
        print(f"|{'---|' * (len(trials) + 2)}", flush=True)
        for name, change in KNOWN.items():
            grounds = [change(each, middle(*asked.around)) for each in judged(*asked.around, count)]
            cells = []
            for trial in trials.values():
                by_ground = list(executor.map(judge, [trial] * count, grounds))
                none = [each["none"].measures for each in by_ground]
                best = [informed(each).measures for each in by_ground]
                found = {
                    way.name: [each[way.name].measures for each in by_ground] for way in trial.ways
                }
                cells.append(cell(found, none, best))
            worth = sum(each.unrest_pct <= verdict.UNREST_PCT for each in best)
            print(f"| {name} | {worth} | {' | '.join(cells)} |", flush=True)


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else 32)
