"""A house on many plausible grounds, kept by the hub's own estimate: what comes of each relief.

Each ground is a task for a process of its own. In it the house lives first without water and then
once for each relief, by days (`evenclay.sim.judge.by_day`).
"""

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np

from evenclay.controller.plan import HubPart, Plan, RowPart, ZonePart
from evenclay.sim.ground.plausible import PlausibleGround
from evenclay.sim.house.house import House
from evenclay.sim.house.standing import stand
from evenclay.sim.judge.by_day import live_by_day
from evenclay.sim.judge.compare import Life
from evenclay.sim.judge.keepers import Reckoning, met_of
from evenclay.sim.judge.measures import YEAR_DAYS, Measures, first_watered, measure_sums, sums_of
from evenclay.sim.judge.weigh import place_on
from evenclay.sim.replay.stay import weather_of
from evenclay.sim.types import Floats
from evenclay.tools.plan.proposal.table import rows_by_half


@dataclass(frozen=True)
class Kept:
    """What a relief made of one ground. given_mm: by the plan's flow, (days, zones)."""

    relief_pf: float
    measures: Measures
    given_mm: Floats
    litres_a_year: float


@dataclass(frozen=True)
class OnGround:
    """A ground: its levels [pF], and what came of each relief."""

    level_pf: Floats
    kept: tuple[Kept, ...]


def with_targets(plan: Plan, target_pf: Sequence[float]) -> Plan:
    """A plan with other targets."""
    zones = [
        ZonePart(vars(zone) | {"target_um": round((pf - 2.0) * zone.hold_um)})
        for zone, pf in zip(plan.zones, target_pf, strict=True)
    ]
    return Plan(plan.hub, plan.supplies, zones, plan.rows, plan.bans)


def ample(plan: Plan, closed: Sequence[bool], cycles: int, start_min: int, length_min: int) -> Plan:
    """A plan that may give each zone its cap in every half-month that is not closed."""
    longest_s = max(zone.cap_s for zone in plan.zones)
    held = rows_by_half(plan)
    rows = [
        RowPart(
            {
                "month": half // 2 + 1,
                "day": 16 if half % 2 else 1,
                "cycles": 0 if closed[half] else cycles,
                "run_s": 0 if closed[half] else longest_s // cycles,
                "run_ml": 0,
                "start_min": start_min,
                "length_min": length_min,
                "starts_min": (),
                "demand_um": held[half].demand_um,
                "rain_um": held[half].rain_um,
            }
        )
        for half in range(24)
    ]
    zones = [
        ZonePart(vars(zone) | {"share_pct": 100, "longest_s": longest_s}) for zone in plan.zones
    ]
    return Plan(HubPart(vars(plan.hub)), plan.supplies, zones, rows, [])


@dataclass(frozen=True)
class Asked:
    """What is to be lived: a house, its plan, and the targets of each relief."""

    house: House
    plan: Plan
    life: Life
    targets_pf: tuple[tuple[float, Floats], ...]


def live_on(asked: Asked, ground: PlausibleGround) -> OnGround:
    """Live through a life on one ground."""
    house, life = asked.house, asked.life
    sky, by_hour, climate = weather_of(house, life.stay, life.seed)
    standing = stand(house, ground, climate)
    place = place_on(house, ground)
    met = met_of(life.stay.weather, sky, house.plan.hub.std_s)
    dry = live_by_day(standing, by_hour, None)
    kept = []
    for relief_pf, target_pf in asked.targets_pf:
        keeper = Reckoning(
            house,
            with_targets(asked.plan, target_pf.tolist()),
            house.owner,
            met,
            ground.zones,
            ground.c_per_pf,
            life.seed,
        )
        lived = live_by_day(standing, by_hour, keeper)
        days = len(lived.given_mm)
        first = min(first_watered(lived.given_mm), days - int((life.years - 1) * YEAR_DAYS))
        measures = measure_sums(
            sums_of(lived.record, target_pf, place),
            sums_of(dry.record, target_pf, place),
            place,
            first,
            years_least=life.years - 1,
        )
        flow = np.array([zone.flow_factor for zone in ground.zones])
        kept.append(
            Kept(
                relief_pf,
                measures,
                lived.given_mm / flow,
                float(lived.litres.sum()) / days * YEAR_DAYS,
            )
        )
    return OnGround(standing.level_pf, tuple(kept))


def live_on_all(
    asked: Sequence[Asked], grounds: Sequence[PlausibleGround], executor: Executor
) -> list[OnGround]:
    """Live on each ground what is asked of it, side by side."""
    return list(executor.map(live_on, asked, grounds))
