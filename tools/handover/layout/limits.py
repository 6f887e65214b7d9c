"""How much hose a spigot can feed, by the project's own hydraulics (`sim/house/hoses.py`)."""

from dataclasses import dataclass, replace
from functools import cache
from math import ceil, isinf

from evenclay.sim.house import hoses
from evenclay.sim.units import UNITS
from evenclay.tools.property.advice import FLOW_LEAST, PRESSURE_OFF, SUPPLY_MOST
from evenclay.tools.property.file.place import Zone
from evenclay.tools.property.file.wording import called
from evenclay.tools.property.piping import hose_of, spigot_of
from evenclay.tools.property.property import Property

LEAD_MM = 15.9  # bore of the plain pipe that feeds a hose
OPEN_L_MIN = 200.0  # of a spigot that nobody measured: the property file's most


@dataclass(frozen=True)
class Limit:
    """What one spigot can feed of one kind of hose. arm_m: the longest hose from where it is fed to
    its end that waters evenly."""

    arm_m: float
    hose: hoses.Hose
    spigot: hoses.Spigot

    def flow_m(self, feed_m: float) -> float:
        """All the hose that the spigot gives enough for through so much feed."""
        return _most_m(self.hose, self.spigot, ceil(feed_m))

    def whole_m(self, feed_m: float) -> float:
        """The longest hose on one valve: two arms from a tee, or what the flow is enough for."""
        return min(2 * self.arm_m, self.flow_m(feed_m))


def limit_of(prop: Property, zone: Zone, supply: str, feed_m: float) -> Limit | str:
    """What a supply can feed of a zone's kind of hose, or why it can feed none, in words.

    feed_m: the feed that a hose may need at most.
    """
    gives, units = prop.supplies[supply], UNITS[prop.site.units]
    rated_kpa = zone.hose.pressure
    if gives.pressure is not None and abs(gives.pressure - rated_kpa) > PRESSURE_OFF * rated_kpa:
        return (
            f"{called(supply)} gives {units.shown(gives.pressure, 'pressure')}, and the hose is "
            f"made for {units.shown(rated_kpa, 'pressure')}"
        )
    hose = replace(hose_of(zone), length_m=10.0, rise_m=0.0)
    spigot = spigot_of(prop, zone.model_copy(update={"supply": supply}))
    if isinf(spigot.open_l_min):
        spigot = replace(spigot, open_l_min=OPEN_L_MIN)
    limit = Limit(_longest_m(hose, spigot), hose, replace(spigot, restrictor_mm=None))
    if limit.whole_m(feed_m) < 1:
        return f"{called(supply)} gives too little for such a hose so far away"
    return limit


def _least_kpa(hose: hoses.Hose, spigot: hoses.Spigot) -> float:
    """The least pressure at a hose's inlet: less, and its minutes would mean something else."""
    return float(spigot.still_kpa * FLOW_LEAST ** (1 / hose.exponent))


@cache
def _longest_m(hose: hoses.Hose, spigot: hoses.Spigot) -> float:
    """The longest run that is even at any pressure that feed and spigot may leave.

    Evenness rises or falls with pressure throughout, so the two ends of that range are enough.
    """
    ends_kpa = (spigot.still_kpa, _least_kpa(hose, spigot))
    return min([hoses.longest_run_m(hose, end_kpa) for end_kpa in ends_kpa])


@cache
def _most_m(hose: hoses.Hose, spigot: hoses.Spigot, feed_m: int) -> float:
    """All the hose for which the pressure behind a feed still is enough."""
    fed = replace(spigot, lead_m=float(feed_m), lead_mm=LEAD_MM)
    most_l_h = hoses.most_flow_l_h(fed, _least_kpa(hose, spigot))
    return min(most_l_h, SUPPLY_MOST * 60 * spigot.open_l_min) / hose.flow_l_h_m
