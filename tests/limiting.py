"""What limits a hub by what it is told: its plan on grounds of which one unknown is known.

Plans are worked out and judged as in `tests.judging`. Then the same plans live on the same grounds
again, each time with one kind of what differs from ground to ground made the middle ground's, which
is what the plan reckons with. What skill rises by, that kind of unknown had cost. Informed lives on
the same changed grounds, so that each row has its own best.

`python -m tests.limiting PLACE [GROUNDS]` prints the table of one place.
"""

import sys
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace

from evenclay.sim.ground.plausible import PlausibleGround, PlausibleZone, judged, middle
from evenclay.sim.house.standing import sides_of
from evenclay.sim.judge import verdict
from evenclay.sim.judge.compare import lives_of
from evenclay.tools.plan.proposal import propose, table
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.demand import means_of
from evenclay.tools.property.property import parse
from tests.comparing import property_text, record_of
from tests.judging import PROCESSES, TOLD, YEARS, Outcome, Trial, informed, judge, ways_of

Change = Callable[[PlausibleGround, PlausibleGround], PlausibleGround]  # of a ground, by the middle

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


def _sensors(ground: PlausibleGround, usual: PlausibleGround) -> PlausibleGround:
    """No sensor has a lasting error."""
    names = ("suction_error_pf", "content_error_m3_m3")
    pairs = zip(ground.zones, usual.zones, strict=True)
    return _zones(
        ground, (replace(own, **{name: getattr(mid, name) for name in names}) for own, mid in pairs)
    )


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
    "lasting errors of sensors": _sensors,
    "the soil": _soil,
    "the suction far down": _levels,
    "all demand and flows": lambda ground, usual: _flow(_demand(ground, usual), usual),
}


def line(name: str, by_ground: list[dict[str, Outcome]]) -> str:
    """A row of the table: for each way its skill, and the ninetieth of unrest."""
    none = [each["none"].measures for each in by_ground]
    best = [informed(each).measures for each in by_ground]
    cells = []
    for what in TOLD:
        own = [each[what].measures for each in by_ground]
        over = verdict.skill_over(none, own, best).over
        p90 = verdict.over_grounds(own, "unrest_pct").p90
        cells.append(
            f"{over.p50:.2f}, {over.p10:.2f}; {p90:.0f}" if over.grounds else f"-; {p90:.0f}"
        )
    worth = sum(each.unrest_pct <= verdict.UNREST_PCT for each in best)
    return f"| {name} | {worth} | {' | '.join(cells)} |"


def main(place: str, count: int) -> None:
    """Print the table of one place."""
    prop, record = parse(property_text(place), f"{place}.toml"), record_of(place)
    means = means_of(record, prop.site.latitude)
    house = compile_house(prop, means)
    seen, (kept_back, *_), names = propose.cut(record, 1, 1)
    life = lives_of(house, place, seen, 0, 1, propose.SEARCHED_YEARS)[0]
    other = lives_of(house, place, kept_back, 0, 2, YEARS)[0]
    closed = table.frosty(record) | table.closed_by_owner(house.plan)
    around = (sides_of(house), life.index, house.footing_m)
    with ProcessPoolExecutor(PROCESSES) as executor:
        ways = ways_of(prop, means, life, closed, executor)
        ways = [way for way in ways if way.name in TOLD]
        trial = Trial(tuple(ways), replace(other, index=life.index), closed)
        print(f"{place}: {count} grounds, held out {names}\n")
        print(f"| known | grounds | {' | '.join(TOLD)} |")
        print(f"|{'---|' * (len(TOLD) + 2)}", flush=True)
        for name, change in KNOWN.items():
            grounds = [change(ground, middle(*around)) for ground in judged(*around, count)]
            print(line(name, list(executor.map(judge, [trial] * count, grounds))), flush=True)


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else 32)
