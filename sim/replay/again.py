"""The valves of one life turned again on another ground, without the hub that turned them.

A hub that learns nothing of the ground does the same on all of them. So it need be lived with on
one alone: its valves turn at the same moments on every other.
"""

from collections.abc import Sequence

from evenclay.controller.plan import Plan
from evenclay.sim.calendar import HOUR_S
from evenclay.sim.house.house import Strip
from evenclay.sim.house.plumbing import Move, Plumbing
from evenclay.sim.house.site import Ground, Sky
from evenclay.sim.replay.life import Policy

# Far above the 3 l/h that a hub takes for no flow where it has learned none, clogged hoses too.
FLOWS_L_H = 30.0


def learns_nothing(policy: Policy, strips: Sequence[Strip]) -> bool:
    """Whether a way of watering has a hub that meets nothing of the ground, nor of these hoses.

    Nobody checks, no probe speaks, and no meter ends a run or could miss its flow.
    """
    plan = policy.plan
    if plan is None or policy.owner or any(zone.probe for zone in plan.zones):
        return False
    return not any(row.run_ml for row in plan.rows) and all(
        not spigot.meter or min(strip.flow_l_h, _most_l_h(spigot.flow_ml_min)) >= FLOWS_L_H
        for strip in strips
        for spigot in [plan.supplies[strip.supply]]
    )


def _most_l_h(flow_ml_min: int) -> float:
    """What a supply gives at most; 0 is not known."""
    return flow_ml_min * 0.06 or FLOWS_L_H


def turn_again(moves: Sequence[Move], plan: Plan, ground: Ground, sky: Sky) -> None:
    """Turn valves as they turned in another life under the same sky, and let the ground live."""
    plumbing = Plumbing(plan, ground, sky, ())
    for at_s, valve, open_s in moves:
        plumbing.advance(at_s)
        plumbing.move(valve, open_s)
    plumbing.advance(sky.start_s + HOUR_S * sky.hours)
    plumbing.catch_up()
