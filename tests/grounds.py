"""Ground that tests put under a house at once: the middle one, everywhere at one suction.

It has not settled in any climate, which would take seconds; what is tested here is the house.
"""

import numpy as np

from evenclay.sim.ground.plausible import middle
from evenclay.sim.house.house import House
from evenclay.sim.house.standing import SectionGround, Standing, clay_of, sides_of, zone_of
from evenclay.sim.section import Section, Settled
from evenclay.sim.weather.hourly import Hourly

INDEX = -15.0  # Thornthwaite's, semi-arid


def even_standing(house: House, pf: float = 2.9) -> Standing:
    """A house on the middle ground at one suction, far down too."""
    ground = middle(sides_of(house), INDEX, house.footing_m)
    zones = [zone_of(*pair) for pair in zip(house.strips, ground.zones, strict=True)]
    section = Section(clay_of(ground), zones, start_pf=pf, bottom_pf=pf)
    everywhere = np.full(len(zones), pf)
    return Standing(ground, house.strips, Settled(section, everywhere), section.snapshot())


def even_ground(house: House, by_hour: Hourly, start_s: int, pf: float = 2.9) -> SectionGround:
    """The same, with the hours that it is to live through."""
    return SectionGround(even_standing(house, pf), by_hour, start_s)
