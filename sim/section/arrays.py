"""What the compiled part of a section works on: records and arrays, each with its name.

Lanes: a column of a zone is lane `column * zones + zone` of every array, so that neighbouring
memory holds what is treated alike. Metres and days; water contents in m3/m3.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from evenclay.sim.types import Floats

Ints = NDArray[np.int64]
Records = NDArray[np.void]

HOURS = 24
YARD, STRIP = 1, 2  # what a lane with sky above it is


def _numbers(*names: str) -> np.dtype[np.void]:
    return np.dtype([(name, np.float64) for name in names])


# Of a day and a zone, depths over its strip [mm].
DAY = _numbers(
    "rain_mm",
    "water_mm",
    "rain_runoff_mm",
    "water_runoff_mm",
    "cracks_mm",
    "evaporated_mm",
    "transpired_mm",
)
# Of the house. Losses are whole up to the first pF and none from the second on. Air takes
# `air_first_m` freely after wetting, then by the root of time, and `air_cracks_m_d` out of cracks.
HOUSE = _numbers(
    "surface_m_d",
    "crack_share",
    "uptake_full_pf",
    "uptake_end_pf",
    "compensation",
    "air_full_pf",
    "air_end_pf",
    "air_first_m",
    "air_later_m2_d",
    "air_cracks_m_d",
)
# Of a zone. cracks_open, cracks_whole: water contents. bottom_held: 1 where a suction is held below
# the last layer, else 0; bottom_falls: 1 where water falls out of it by its own weight;
# surface_held: 1 where suctions are held at the surfaces of yard and strip, else 0.
ZONE = _numbers(
    "strip_coefficient",
    "strip_exposure",
    "strip_transpired",
    "yard_coefficient",
    "yard_exposure",
    "yard_transpired",
    "cracks",
    "cracks_open",
    "cracks_whole",
    "bottom_phi",
    "bottom_held",
    "bottom_falls",
    "surface_held",
    "yard_phi",
    "strip_phi",
)


class Rooms(NamedTuple):
    """The memory of a section, by what its numbers are of: what `kernel.live` is handed.

    Few arrays, since each takes time at every call; `kernel.parts_of` says what is
    where. rooted: layers that any roots or evaporation reach. tables: of every texture. house,
    zone: of HOUSE and ZONE. marks: whole numbers of lanes. layers, lanes, cells, zones: all other
    numbers, (how many of each, ...).
    """

    rooted: int
    tables: Floats
    house: Records
    zone: Records
    marks: Ints
    layers: Floats
    lanes: Floats
    cells: Floats
    zones: Floats


class Shape(NamedTuple):
    """What does not change: sizes, distances, tables.

    thick, gap, dry, top, fissured: by layer. gap: between the middles of a layer and the next; the
    last to the bottom. dry: where the ground evaporates. top: weights of the mean of 0-0.3 m.
    fissured: what part of a layer fissures reach.
    table, low, per_step, saturated, full, above, share, width: by lane. table: where its own one
    begins in all tables, whose steps are of water content from low on, per_step of them to 1 m3/m3.
    above: whether a lane has sky above it, YARD or STRIP, else 0. share: of its place's width.
    side: openness over distance between a cell and the next column's; wide: width; both (columns,
    layers * zones). roots: where yard (0) and strip (1) draw, (2, layers, lanes), in units of their
    demand; rooted: layers that any roots or evaporation reach.
    """

    zones: int
    rooted: int
    steps: int
    tables: Floats
    house: Records
    zone: Records
    table: Ints
    above: Ints
    thick: Floats
    gap: Floats
    dry: Floats
    top: Floats
    fissured: Floats
    low: Floats
    per_step: Floats
    saturated: Floats
    full: Floats
    share: Floats
    width: Floats
    side: Floats
    wide: Floats
    roots: Floats


class State(NamedTuple):
    """What changes.

    water: content (layers, lanes). pond_rain, pond_water: standing on each lane [m]. dried: what
    air has taken from the ground since it was wetted [m]; idle: days for which it might have taken
    more since. demand: of each zone since the last step [m]. pf_sum: of the steps since midnight
    (layers, lanes). moving: lanes where water is on the move. expected, worst: water that each zone
    should hold, and the worst error of that [m2].
    """

    water: Floats
    pf_sum: Floats
    pond_rain: Floats
    pond_water: Floats
    dried: Floats
    idle: Floats
    moving: Ints
    demand: Floats
    expected: Floats
    worst: Floats


class Work(NamedTuple):
    """Room for one step; slopes are over water content.

    into, into_slope: flux into the surface; air: what it asks; yard, strip: what roots are asked;
    wettest, held: sums over a column; all by lane. turned_...: (columns, layers * zones), as a step
    across treats them. last_...: of the row treated last, in whichever of both ways. All else
    (layers, lanes).
    """

    phi: Floats
    phi_slope: Floats
    k: Floats
    k_slope: Floats
    pf: Floats
    pf_slope: Floats
    left: Floats
    asked: Floats
    lost: Floats
    lost_slope: Floats
    out: Floats
    out_slope: Floats
    out_next: Floats
    shift: Floats
    carry: Floats
    change: Floats
    drawn: Floats
    evaporated: Floats
    turned_phi: Floats
    turned_slope: Floats
    turned_shift: Floats
    turned_change: Floats
    last_shift: Floats
    last_carry: Floats
    last_change: Floats
    into: Floats
    into_slope: Floats
    air: Floats
    yard: Floats
    strip: Floats
    wettest: Floats
    held: Floats
