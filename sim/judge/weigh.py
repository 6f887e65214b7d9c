"""A life on the cross-section, as the measures take it."""

import numpy as np
from numpy.typing import NDArray

from evenclay.sim.ground.plausible import PlausibleGround
from evenclay.sim.house.house import House
from evenclay.sim.house.standing import RELIEF_PF_USUAL, SectionGround, Standing
from evenclay.sim.judge import strip
from evenclay.sim.judge.measures import Place, Record, Start, poured_on
from evenclay.sim.section.layout import EDGE, INSIDE, LAYOUT, STRIP, YARD
from evenclay.sim.types import Floats


def place_on(house: House, ground: PlausibleGround) -> Place:
    """What the measures must know of a house on a ground."""
    sides = tuple(strip.side or strip.name for strip in house.strips)
    return Place(LAYOUT.edges_m, ground.footing_m, ground.fissured_m, sides)


def record_of(ground: SectionGround) -> Record:
    """The days that a ground has lived through."""
    edge, inside, strip = (ground.days.pf[:, :, place] for place in (EDGE, INSIDE, STRIP))
    return Record(*(pf.astype(np.float64) for pf in (edge, inside, strip)))


def yard_of(ground: SectionGround) -> Floats:
    """Daily pF of the open yard that a ground has lived through, (days, layers)."""
    return np.asarray(ground.days.pf[:, :, YARD].mean(axis=1, dtype=np.float64))


def start_of(
    house: House, yard_pf: Floats, months: NDArray[np.int64], place: Place
) -> Start | None:
    """What a young house began with: the yard in the month in which it was poured.

    yard_pf: daily, of ground that has lived without water. months: of these days, 1..12. None for a
    settled house, and where no day is of that month: then its own unwatered means count.
    """
    if house.poured_month is None or house.poured_month not in months:
        return None
    return poured_on(yard_pf, months, house.poured_month, place)


def targets_pf(
    house: House, standing: Standing, strip_pf: Floats, relief_pf: float = RELIEF_PF_USUAL
) -> Floats:
    """Target of each zone by its level in a ground, (zones,); one level for all of a young house.

    strip_pf: daily, of the strips of the same ground without water, (days, zones, layers).
    relief_pf: as `strip.targets_pf`.
    """
    level_pf = standing.level_pf
    if house.poured_month is not None:
        level_pf = strip.shrunk_levels_pf(level_pf, 1.0, settled=False)
    unwatered_pf = strip.mean_pf(strip_pf, LAYOUT.edges_m)
    return strip.targets_pf(level_pf, relief_pf, unwatered_pf)
