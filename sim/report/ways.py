"""What each way of watering comes to on one ground, and over many.

A life begins on ground that has settled unwatered. The same days are lived through by every way;
measures set each beside the same ground unwatered.
"""

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from evenclay.controller import events
from evenclay.controller.words import WHY
from evenclay.sim.ground.plausible import PlausibleGround
from evenclay.sim.house.house import House
from evenclay.sim.house.plumbing import Move
from evenclay.sim.house.site import Sky
from evenclay.sim.house.standing import SectionGround, Standing, by_day, stand
from evenclay.sim.judge import strip
from evenclay.sim.judge.measures import (
    Measures,
    Place,
    Record,
    Start,
    first_watered,
    measure,
    weighted_suction,
    years_of,
)
from evenclay.sim.judge.policies import policies
from evenclay.sim.judge.verdict import quantiles
from evenclay.sim.judge.weigh import place_on, record_of, start_of, yard_of
from evenclay.sim.replay.again import learns_nothing, turn_again
from evenclay.sim.replay.lived import Lived, live
from evenclay.sim.section.layout import strain_weights
from evenclay.sim.types import Floats, Line
from evenclay.sim.weather.hourly import Hourly

NONE, HUB = "none", "hub"
# Figures of a zone or a way that are of one ground alone, whatever many grounds say.
OF_ONE_GROUND = ("skipped", "hose_l_h", "hose_evenness")

Told = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Case:
    """What is lived through, the same on every ground.

    start_s: where its hours begin. months: of each day, 1..12. climate: the hours that the ground
    has settled in before. moves: of ways of watering by name, how their valves turned on another
    ground; those that learn nothing of the ground turn them so again.
    """

    house: House
    start_s: int
    by_hour: Hourly
    months: NDArray[np.int64]
    climate: Hourly
    seed: int
    moves: Mapping[str, Sequence[Move]] = field(default_factory=dict)


@dataclass(frozen=True)
class Way:
    """A way of watering, lived through on one ground.

    litres, seconds: given to each zone, (days, zones). water: the days' depths over each strip.
    """

    record: Record
    litres: Floats
    seconds: Floats
    water: "NDArray[np.void]"
    lived: Lived[SectionGround]


@dataclass(frozen=True)
class OnGround:
    """Every way of watering on one ground, by name; `none` is the first and `hub` the last.

    start: what the edges and the inside have got used to; None: their own unwatered means.
    """

    standing: Standing
    place: Place
    ways: dict[str, Way]
    start: Start | None
    mass_balance_error_mm: float

    @property
    def unwatered(self) -> Record:
        """The same ground, unwatered."""
        return self.ways[NONE].record

    @property
    def hub(self) -> Way:
        """What the hub did as the property has it."""
        return self.ways[HUB]


def live_on(
    case: Case,
    ground: PlausibleGround,
    told: Told | None = None,
) -> OnGround:
    """Live through every way of watering on a ground.

    told: called with a way's name, its number and how many there are, before each.
    """
    standing = stand(case.house, ground, case.climate)
    place = place_on(case.house, ground)
    chosen = policies(case.house)
    ways: dict[str, Way] = {}
    sky = Sky(case.by_hour, case.start_s)
    errors_mm = []
    start = None
    for number, policy in enumerate(chosen):
        if told:
            told(policy.name, number, len(chosen))
        on = SectionGround(standing, case.by_hour, case.start_s)
        moves = case.moves.get(policy.name)
        if moves and policy.plan and learns_nothing(policy, on.strips):
            turn_again(moves, policy.plan, on, sky)
            lived = Lived(on, None)
        else:
            lived = live(on, policy, sky, seed=case.seed)
        seconds = by_day(on.seconds)
        ways[policy.name] = Way(record_of(on), on.litres(), seconds, on.days.water, lived)
        errors_mm.append(on.mass_balance_error_mm)
        if policy.name == NONE:
            start = start_of(case.house, yard_of(on), case.months, place)
    return OnGround(standing, place, ways, start, max(errors_mm))


@dataclass(frozen=True)
class Figures:
    """What ways and zones came to on one ground, as `summary.json` names it, not yet rounded.

    None stands where a figure has no meaning. years: whole ones, that measures are means of; 0:
    there is none. first_day: from which on they are taken.
    """

    zones: dict[str, Line]
    policies: dict[str, Line]
    years: int
    first_day: int
    mass_balance_error_mm: float


def moves_of(case: Case, on: OnGround) -> dict[str, Sequence[Move]]:
    """How the valves turned under each way of watering that learnt nothing of a ground, by name.

    Not under `hub`, of which more is told than its water.
    """
    return {
        policy.name: devices.moves
        for policy in policies(case.house)
        if policy.name != HUB and learns_nothing(policy, on.standing.strips)
        if (devices := on.ways[policy.name].lived.devices)
    }


def figures_on(case: Case, target_pf: Floats, ground: PlausibleGround) -> Figures:
    """Live on a ground and say what came of it; a task for a process of its own."""
    return figures_of(case, target_pf, live_on(case, ground))


def figures_of(case: Case, target_pf: Floats, on: OnGround) -> Figures:
    """Judge every way of watering that was lived through on one ground."""
    days = len(on.unwatered.edge_pf)
    first_day = min(
        [first_watered(way.litres) for way in on.ways.values() if way.litres.any()], default=0
    )
    if _whole_years(days - first_day) == 0:
        first_day = 0
    years = _whole_years(days - first_day)
    measured = {
        name: measure(
            way.record,
            on.unwatered,
            target_pf,
            on.place,
            first_day,
            start=on.start,
            years_least=1,
        )
        if years
        else None
        for name, way in on.ways.items()
    }
    return Figures(
        _zones(case.house, on, measured[HUB], target_pf, first_day),
        {name: _way(way, measured[name]) for name, way in on.ways.items()},
        years,
        first_day,
        on.mass_balance_error_mm,
    )


def _whole_years(days: int) -> int:
    try:
        return len(years_of(days))
    except ValueError:
        return 0


MEASURED = (
    "days_on_target",
    "movement_pct",
    "tilt_pct",
    "tilt_added_pct",
    "unrest_pct",
    "unrest_worst_year_pct",
    "unrest_record_pct",
    "shift_pct",
    "shift_year",
    "shift_between_pct",
    "shift_between_year",
    "shift_inside_pct",
    "shift_inside_year",
    "excursion_pct",
    "days_soaked",
)


def _way(way: Way, found: Measures | None) -> Line:
    given = {
        "litres": float(way.litres.sum()),
        "minutes": float(way.seconds.sum()) / 60.0,
    }
    if found is None:
        return given | dict.fromkeys(MEASURED)
    values = {name: getattr(found, name) for name in MEASURED}
    return given | {
        name: value if name.endswith("_year") else _known(value) for name, value in values.items()
    }


def _known(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


def _zones(
    house: House, on: OnGround, found: Measures | None, target_pf: Floats, first_day: int
) -> dict[str, Line]:
    """What the hub's way came to, zone by zone."""
    way, zones = on.hub, {}
    drier, wetter = _off_target(on, found, target_pf, first_day)
    for zone, one in enumerate(house.strips):
        heard = way.lived.events_of(zone)
        skipped = Counter(WHY[event[2]] for event in heard if event[0] == events.SKIPPED)

        def litres(depth: str, zone: int = zone, area_m2: float = one.area_m2) -> float:
            return max(float(way.water[depth][:, zone].sum()) * area_m2, 0.0)

        zones[one.name] = {
            "runs": sum(event[0] == events.OPENED for event in heard),
            "minutes": float(way.seconds[:, zone].sum()) / 60.0,
            "litres": float(way.litres[:, zone].sum()),
            "skipped": dict(sorted(skipped.items())),
            "runoff_litres": litres("water_runoff_mm"),
            "runoff_rain_litres": litres("rain_runoff_mm"),
            "level_pf": float(on.standing.level_pf[zone]),
            "target_pf": float(target_pf[zone]),
            "days_on_target": found and float(found.zone_days_on_target[zone]),
            "days_dry": found and float(drier[zone]),
            "days_wet": found and float(wetter[zone]),
            "days_soaked": found and float(found.zone_days_soaked[zone]),
            "movement_pct": found and _known(found.zone_movement_pct[zone]),
            "hose_l_h": one.flow_l_h,
            "hose_evenness": one.evenness,
        }
    return zones


def _off_target(
    on: OnGround, found: Measures | None, target_pf: Floats, first_day: int
) -> tuple[Floats, Floats]:
    """Days a year that are drier and wetter than the target, (zones,) each."""
    if found is None:
        return np.zeros(len(target_pf)), np.zeros(len(target_pf))
    judged = slice(first_day, first_day + _days_of(found.years))
    strip_pf = on.hub.record.strip_pf[judged]
    drier, wetter = strip.off_target(strip_pf, target_pf, on.place.edges_m)
    return drier.sum(axis=0) / found.years, wetter.sum(axis=0) / found.years


def _days_of(years: int) -> int:
    return int(years * 365.25)


def summed(found: Sequence[Line], middle: Line) -> Line:
    """Figures over grounds: {p10, p50, p90} in the place of each number, keys as they are.

    middle: the same of the middle ground, for what is of one ground alone.
    """
    whole: Line = {}
    for name, value in middle.items():
        each = [one[name] for one in found]
        if name in OF_ONE_GROUND:
            whole[name] = value
        elif isinstance(value, dict):
            whole[name] = summed(each, value)
        else:
            over = quantiles([np.nan if one is None else one for one in each])
            values = (over.p10, over.p50, over.p90)
            names = ("p10", "p50", "p90")
            whole[name] = dict(zip(names, (_known(one) for one in values), strict=True))
    return whole


def rounded(name: str, value: Any) -> Any:
    """Figures as they are written down: pF to three places, evenness too, all else to one."""
    if isinstance(value, dict):
        inner = {"p10", "p50", "p90"}
        return {key: rounded(name if key in inner else key, one) for key, one in value.items()}
    if isinstance(value, float):
        places = 3 if name.endswith("_pf") or name == "hose_evenness" else 1
        return round(value, places) + 0.0  # no minus before a zero
    return value


def places_pf(record: Record, place: Place) -> tuple[Floats, Floats, Floats]:
    """Daily pF of strip, edge and inside, (days, zones) each, as measures look at them.

    strip: mean at 0.3-1.0 m. edge, inside: weighted as strain is, from the footing down.
    """
    whole = float(strain_weights(place.edges_m, place.cracked_m, place.footing_m).sum())
    return (
        strip.mean_pf(record.strip_pf, place.edges_m),
        weighted_suction(record.edge_pf, place) / whole,
        weighted_suction(record.inside_pf, place) / whole,
    )
