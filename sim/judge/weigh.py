"""A life on the cross-section, as the measures take it."""

import numpy as np

from evenclay.sim.ground.plausible import PlausibleGround
from evenclay.sim.house.house import House
from evenclay.sim.house.standing import SectionGround, Standing
from evenclay.sim.judge.measures import Place, Record
from evenclay.sim.section.layout import EDGE, INSIDE, LAYOUT, STRIP


def place_of(house: House, standing: Standing) -> Place:
    """What the measures must know of a house that stands on a ground."""
    return place_on(house, standing.ground)


def place_on(house: House, ground: PlausibleGround) -> Place:
    """What the measures must know of a house on a ground."""
    sides = tuple(strip.side or strip.name for strip in house.strips)
    return Place(LAYOUT.edges_m, ground.footing_m, ground.fissured_m, sides)


def record_of(ground: SectionGround) -> Record:
    """The days that a ground has lived through."""
    edge, inside, strip = (ground.days.pf[:, :, place] for place in (EDGE, INSIDE, STRIP))
    return Record(*(pf.astype(np.float64) for pf in (edge, inside, strip)))
