"""Columns of layered soil: infiltration, redistribution, evaporation, uptake, drainage.

Method: Richards' equation in its matric-flux form, one linearised, implicit, non-iterative step
at a time, in the manner of Ross 2003 (Agron. J. 95:1352-1361), its rates taken near the middle of
the step. A tridiagonal solve gives the changes of water; the fluxes that follow from them are then
applied, so water is conserved to rounding whatever the step. Hydraulic functions are tables over
saturation: no power in the loop.

What a column does at each end and in between:
- Top: up to POND_MM stand on the surface; the soil takes what the gradient from a saturated
  surface allows; the rest runs off, booked for rain and irrigation in proportion.
- Evaporation comes from the top 0.15 m, in full down to pF 4.0 and none at pF 6.0: for clay that
  is a readily evaporable 10 mm and a total of 21 mm (FAO-56 table 19: 8-12 and 22-29 mm).
- Roots reach 1.2 m and draw 40, 30, 20 and 10 % from its quarters (USDA-SCS, National Engineering
  Handbook, section 15); uptake falls linearly with suction from 800 to 16,000 cm (Feddes,
  Kowalik & Zaradny 1978, dry side; limits for grass from memory). No limit by wetness.
- Bottom: a constant suction of pF 3 at 3 m; wet soil drains to it, little ever rises.
- Beside a watered strip lies the yard: exchange through one long side of the strip, linear in
  matric flux potential. The yard is wide, so the column that stands for it is not charged.
- On the other side lies the ground under the slab, a row of cells that ends in the middle of the
  house. No rain, sun or roots reach them. They trade with the strip below the slab's edge beam hour
  by hour, and with each other and the ground below every third day.
- Clay that has dried at 0-0.3 m cracks: a share of what falls on it, up to CRACK_SHARE, passes
  the surface and leaves the column. It is booked as bypass, below the roots, and wets nothing: what
  the walls of cracks take up on the way is left out. Cracks open from pF 3.3 on by the water that
  the top has lost, are widest at pF 4.2, and close as it wets.
- Movement: the mean of pF through the column, weighted as AS 2870 weighs strain.
No hysteresis, no snow; swelling changes no depth.
Units in here: mm, hours; suction in cm of water (1 cm = 1 hPa nearly).
"""

from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from copy import copy
from functools import lru_cache
from itertools import pairwise
from typing import TypeVar

import numpy as np
from numba import njit
from numpy.typing import ArrayLike

from evenclay.sim.ground.textures import POND_MM, TEXTURES, Texture, pf
from evenclay.sim.types import Floats

Kept = TypeVar("Kept")

# Boundaries of the layers. Those at 0.15, 0.30 and 1.00 m are limits of the measures below.
EDGES_M = (0.0, 0.02, 0.06, 0.15, 0.30, 0.45, 0.70, 1.0, 1.5, 2.0, 3.0)
LAYERS = len(EDGES_M) - 1
BAND_M = (0.15, 1.0)
TOP_M = (0.0, 0.30)
PROBE_M = 0.50  # where a soil probe lies: near the middle of the band
ROOTS_M = 1.2
ROOT_SHARES = (0.4, 0.3, 0.2, 0.1)
EVAPORATION_M = 0.15

# Most that cracks take: an assumption; what is measured in cracked clays goes from nothing to half.
CRACK_SHARE = 0.2
CRACK_OPEN_PF, CRACK_WHOLE_PF = 3.3, 4.2  # an assumption
# The weights of strain by suction: 1.0 in the cracked zone, 2.0 - depth / 5 m below it. Source:
# AS 2870-2011, clause 2.3, from memory. Its cracked zone is half of the depth of suction change
# (from memory), here the whole column.
CRACKED_M = 1.5
SWOLLEN_PF = 2.0  # wetter clay hardly swells more: an assumption
STRIP_WIDTH_M = 0.6  # common practice, no source
YARD_BEYOND_M = 0.3  # from the strip's side to undisturbed yard: an assumption
# Cells under the slab, by their distance from its edge; the last ends where no water crosses, in
# the middle of a house of 8 m. An edge beam of usual depth (an assumption) parts the soil above.
CELL_EDGES_M = (0.0, 0.25, 0.5, 1.0, 2.0, 4.0)
CELLS = len(CELL_EDGES_M) - 1
BEAM_M = 0.45
BOTTOM_PF = 3.0
WET_SATURATION = 0.995  # for clay a suction of some 10 cm
DRIEST_PF = 6.5  # the tables end here, and so does any loss of water
UPTAKE_FULL_CM, UPTAKE_NONE_CM = 800.0, 16000.0
EVAPORATION_FULL_PF, EVAPORATION_NONE_PF = 4.0, 6.0
TRANSPIRED_SHARE = 0.7  # of potential evapotranspiration, the rest is the soil's: an assumption

# Sub-steps: in one, no layer's saturation may change by more than MOST_CHANGE, nor a flux move
# MOST_SHIFT_MM beyond what it would at its first rate, nor a layer take more than it holds but for
# a little.
MOST_CHANGE = 0.1
MOST_SHIFT_MM = 0.4
MOST_OVERSHOOT_MM = 0.05
# How far into a sub-step its rates are taken, along their slopes: at 1 it errs by its length, at a
# half by its square (Rosenbrock 1963, from memory), and a little more damps what would swing.
CENTRED = 0.55
LONGEST_H, SHORTEST_H = 1.0, 10.0 / 3600.0
SLAB_H = 72  # between steps of the ground under the slab, which changes slowly

# Columns of the forcing of an hour.
RAIN, PET, IRRIGATION, IRRIGATION_S = range(4)
FORCINGS = 4
# Columns of the result of an hour. Water lost comes first.
(
    RUNOFF_RAIN,
    RUNOFF_IRRIGATION,
    BYPASS_RAIN,
    BYPASS_IRRIGATION,
    EVAPORATION,
    TRANSPIRATION,
    DRAINAGE,
    LATERAL,
    UNDER_SLAB,
    INFILTRATION,
    BAND_PF,
    TOP_PF,
    MOVEMENT_PF,
    PROBE_VWC,
) = range(14)
RESULTS = 14
_LOSSES = INFILTRATION  # columns before it
# Columns of the state after the layers' water; then the layers' matric flux potential [mm2/h] as
# it was when the last sub-step began, and its slope over water times CENTRED [mm/h].
_POND_RAIN, _POND_IRRIGATION, _EXPECTED, _WORST_ERROR = range(LAYERS, LAYERS + 4)
_POTENTIAL = LAYERS + 4
_SLOPE = _POTENTIAL + LAYERS
_STATES = _SLOPE + LAYERS
# Columns of a column's own constants; its layers' factors follow.
(
    _TABLE,
    _KS,
    _OFFSET,
    _DRIEST,
    _PER_STEP,
    _TRANSPIRED,
    _YARD,
    _SLAB,  # first of the cells under its slab, -1 for none
    _TO_CELL,  # water of the strip as water of its first cell: the strip's width over the cell's
    _BOTTOM_PHI,
    _CRACK_SHARE,
    _CRACK_OPEN,  # saturations at which cracks open and are whole
    _CRACK_WHOLE,
    _GIVEN_MM,  # that a unit of irrigation stands for
) = range(14)
_FACTOR = 14  # saturation per mm of water, then its inverse
_RANGE_MM = _FACTOR + LAYERS
_BESIDE = _RANGE_MM + LAYERS  # exchange with yard and slab, then with the slab alone
_SLABWARD = _BESIDE + LAYERS
_CONSTANTS = _SLABWARD + LAYERS
# Columns of a table.
_PHI, _K, _PF, _UPTAKE, _EVAPORATED = range(5)
_STEPS = 1024
_BOUND_ROWS = np.arange(0, _STEPS + 1, 8)  # of a table, for bounds
_MULTIPLIERS_MM = tuple(np.linspace(0.0, 8.0, 41).tolist())  # a day and pF

_EDGES_MM = np.array(EDGES_M) * 1000.0
_THICK_MM = np.diff(_EDGES_MM)
_MIDDLES_MM = (_EDGES_MM[:-1] + _EDGES_MM[1:]) / 2.0
_REACH_MM = np.concatenate(
    ([_THICK_MM[0] / 2.0], np.diff(_MIDDLES_MM), [_THICK_MM[-1] / 2.0])
)  # from middle to middle; the ends to the surface and to the bottom
_PER_REACH = 1.0 / _REACH_MM
_CELLS_MM = np.diff(CELL_EDGES_M) * 1000.0
_BELOW_BEAM = EDGES_M.index(BEAM_M)  # the first layer that trades with the slab's cells


def cell_middles_m() -> list[float]:
    """How far from the slab's edge the middle of each cell under it lies [m]."""
    return [(a + b) / 2.0 for a, b in pairwise(CELL_EDGES_M)]


_CELL_REACH_MM = np.diff(cell_middles_m()) * 1000.0  # from cell to cell


def _overlap(low_m: float, high_m: float) -> Floats:
    """Share of the depths low to high [m] that lies in each layer; sums to 1."""
    edges = np.clip(np.array(EDGES_M), low_m, high_m)
    return np.asarray(np.diff(edges) / (high_m - low_m))


def _root_weights() -> Floats:
    quarter = ROOTS_M / len(ROOT_SHARES)
    layers = [
        share * _overlap(i * quarter, (i + 1) * quarter) for i, share in enumerate(ROOT_SHARES)
    ]
    return np.asarray(np.sum(layers, axis=0))


_ROOT_WEIGHT = _root_weights()
_EVAPORATION_WEIGHT = _overlap(0.0, EVAPORATION_M)
_BAND_WEIGHT = _overlap(*BAND_M)
_TOP_WEIGHT = _overlap(*TOP_M)
_PROBE_WEIGHT = np.array([np.interp(PROBE_M * 1e3, _MIDDLES_MM, row) for row in np.eye(LAYERS)])
_TOP_LAYERS = int(np.flatnonzero(_TOP_WEIGHT)[-1]) + 1
_WORK = 13  # rows of what a step is worked out in
_DRYING_LAYERS = int(np.flatnonzero(_ROOT_WEIGHT + _EVAPORATION_WEIGHT)[-1]) + 1


def strain_weights(edges_m: ArrayLike, cracked_m: float) -> Floats:
    """Weight of each layer's change of suction in a sum of strain: its factor times thickness [m].

    edges_m: boundaries of the layers from the top. The factor is 1.0 down to cracked_m and
    2.0 - depth / 5 below, where the ground to the side holds it and it can only go up.
    Source: AS 2870-2011, clause 2.3, from memory.
    """
    edges = np.asarray(edges_m, dtype=np.float64)
    below = np.maximum(edges, cracked_m)
    integral = np.minimum(edges, cracked_m) + 2.0 * below - below**2 / 10.0
    return np.diff(integral)


_STRAIN_WEIGHT = strain_weights(EDGES_M, CRACKED_M) / strain_weights(EDGES_M, CRACKED_M).sum()


def _driest(texture: Texture) -> float:
    return float(texture.saturation(10.0**DRIEST_PF))


def _conductivity(texture: Texture, suction_cm: Floats) -> Floats:
    """Conductivity over Ks for the tables: linear in saturation above WET_SATURATION.

    With n near 1 Mualem's curve falls ten times in the first millimetres of suction. That is an
    artefact of the formula (Vogel, van Genuchten & Cislerova 2001), and no step can follow it.
    """
    relative = texture.relative_conductivity(suction_cm)
    saturation = texture.saturation(suction_cm)
    range_ = texture.theta_s - texture.theta_r
    edge = texture.suction_cm(texture.theta_r + range_ * WET_SATURATION)
    low = texture.relative_conductivity(edge)
    part = (saturation - WET_SATURATION) / (1.0 - WET_SATURATION)
    return np.asarray(np.where(part > 0.0, low + (1.0 - low) * part, relative))


@lru_cache(64)
def _table(texture: Texture) -> Floats:
    """Rows over saturation from the driest to 1: matric flux potential over Ks [mm], K over Ks,
    pF, and what is left of potential uptake and evaporation [0..1]."""
    range_ = texture.theta_s - texture.theta_r
    saturation = np.linspace(_driest(texture), 1.0, _STEPS + 1)
    suction = texture.suction_cm(texture.theta_r + range_ * saturation)
    suction[0] = 10.0**DRIEST_PF
    grid = np.logspace(DRIEST_PF, -8.0, 40001)
    relative = _conductivity(texture, grid)
    # The integral of K over suction [cm], from the dry end, made mm.
    pieces = (relative[1:] + relative[:-1]) / 2.0 * (grid[:-1] - grid[1:])
    potential = np.concatenate(([0.0], np.cumsum(pieces))) * 10.0
    table = np.empty((_STEPS + 1, 5))
    wetness = -np.log(np.maximum(suction, grid[-1]))
    table[:, _PHI] = np.interp(wetness, -np.log(grid), potential)
    table[:, _K] = _conductivity(texture, suction)
    table[:, _PF] = pf(suction)
    uptake = (UPTAKE_NONE_CM - suction) / (UPTAKE_NONE_CM - UPTAKE_FULL_CM)
    table[:, _UPTAKE] = np.clip(uptake, 0.0, 1.0)
    evaporation = (EVAPORATION_NONE_PF - pf(suction)) / (EVAPORATION_NONE_PF - EVAPORATION_FULL_PF)
    table[:, _EVAPORATED] = np.clip(evaporation, 0.0, 1.0)
    return table


# The hour's step calls everything else once or twice: inlined, since passing arrays, which are
# counted by locked instructions, costs more than many a call does.
_njit = njit(cache=True, error_model="numpy", nogil=True)
_inlined = njit(cache=True, error_model="numpy", nogil=True, forceinline=True)


@_inlined
def _place(c: int, i: int, state: Floats, soil: Floats) -> float:
    """Where a layer's saturation stands in its table, in rows."""
    saturation = state[c, i] * soil[c, _FACTOR + i] - soil[c, _OFFSET]
    return (saturation - soil[c, _DRIEST]) * soil[c, _PER_STEP]


@_inlined
def _row(place: float) -> int:
    return min(max(int(place), 0), _STEPS - 1)


@_inlined
def _between(table: Floats, place: float, column: int) -> float:
    """A column of a table at a place."""
    k = _row(place)
    return table[k, column] + (place - k) * (table[k + 1, column] - table[k, column])


@_inlined
def _linearise(
    c: int, dries: bool, state: Floats, soil: Floats, table: Floats, work: Floats
) -> None:
    """Present rates [mm/h], and CENTRED times their slopes over the layers' water [1/h].

    Rows of work: 0 the flux through a layer's lower side, 1 and 2 its slopes over that layer and
    the next; if air asks for water, 5 and 6 the
    part of potential evaporation that the layer gives and its slope; 7 and 8 the same of
    transpiration.
    """
    ks = soil[c, _KS]
    for i in range(LAYERS):
        place = _place(c, i, state, soil)
        k = _row(place)
        part = place - k
        slope = CENTRED * soil[c, _FACTOR + i] * soil[c, _PER_STEP]
        step = table[k + 1, _PHI] - table[k, _PHI]
        state[c, _POTENTIAL + i] = ks * (table[k, _PHI] + part * step)
        state[c, _SLOPE + i] = ks * step * slope
        step = table[k + 1, _K] - table[k, _K]
        work[0, i] = ks * (table[k, _K] + part * step)
        work[1, i] = ks * step * slope
        if dries and i < _DRYING_LAYERS:
            step = table[k + 1, _EVAPORATED] - table[k, _EVAPORATED]
            work[5, i] = _EVAPORATION_WEIGHT[i] * (table[k, _EVAPORATED] + part * step)
            work[6, i] = _EVAPORATION_WEIGHT[i] * step * slope
            step = table[k + 1, _UPTAKE] - table[k, _UPTAKE]
            work[7, i] = _ROOT_WEIGHT[i] * (table[k, _UPTAKE] + part * step)
            work[8, i] = _ROOT_WEIGHT[i] * step * slope
    for i in range(LAYERS - 1):
        lost = state[c, _POTENTIAL + i] - state[c, _POTENTIAL + i + 1]
        work[0, i] += lost * _PER_REACH[i + 1]
        work[1, i] += state[c, _SLOPE + i] * _PER_REACH[i + 1]
        work[2, i] = -state[c, _SLOPE + i + 1] * _PER_REACH[i + 1]
    lost = state[c, _POTENTIAL + LAYERS - 1] - ks * soil[c, _BOTTOM_PHI]
    work[0, LAYERS - 1] += lost * _PER_REACH[LAYERS]
    work[1, LAYERS - 1] += state[c, _SLOPE + LAYERS - 1] * _PER_REACH[LAYERS]
    work[2, LAYERS - 1] = 0.0


@_inlined
def _neighbours(c: int, state: Floats, soil: Floats, work: Floats) -> None:
    """What lies beside a strip's layers.

    Rows of work: 9 matric flux potential times its exchange [mm/h], 10 the slab's alone [mm2/h].
    The yard's is an hour old at most, and the slab's on its tangent of the day: both change little.
    """
    yard, cell = int(soil[c, _YARD]), int(soil[c, _SLAB])
    for i in range(LAYERS):
        work[9, i] = 0.0
        if yard >= 0:
            from_yard = soil[c, _BESIDE + i] - soil[c, _SLABWARD + i]
            work[9, i] = from_yard * state[yard, _POTENTIAL + i]
        if cell >= 0 and i >= _BELOW_BEAM:
            work[10, i] = state[cell, _POTENTIAL + i]
            work[9, i] += soil[c, _SLABWARD + i] * work[10, i]


@_inlined
def _solve(
    c: int,
    dt: float,
    top: float,
    top_slope: float,
    evaporate: float,
    transpire: float,
    state: Floats,
    soil: Floats,
    work: Floats,
) -> None:
    """Row 11 of work: each layer's change of water [mm] over dt [h] (Thomas' algorithm).

    top, top_slope: flux into the first layer [mm/h] and its slope. evaporate, transpire: the
    potential rates [mm/h].
    """
    dries = evaporate + transpire > 0.0
    above, above_slope, above_next = top, 0.0, top_slope
    shift, carry = 0.0, 0.0
    for i in range(LAYERS):
        loss = soil[c, _BESIDE + i] * state[c, _POTENTIAL + i] - work[9, i]
        loss_slope = soil[c, _BESIDE + i] * state[c, _SLOPE + i]
        if dries and i < _DRYING_LAYERS:
            loss += work[5, i] * evaporate + work[7, i] * transpire
            loss_slope += work[6, i] * evaporate + work[8, i] * transpire
        lower = -dt * above_slope
        right = dt * (above - work[0, i] - loss)
        middle = 1.0 + dt * (work[1, i] - above_next + loss_slope) - lower * shift
        shift = dt * work[2, i] / middle
        carry = (right - lower * carry) / middle
        work[12, i] = shift
        work[11, i] = carry
        above, above_slope, above_next = work[0, i], work[1, i], work[2, i]
    for i in range(LAYERS - 2, -1, -1):
        work[11, i] -= work[12, i] * work[11, i + 1]


@_inlined
def _strain(c: int, dt: float, state: Floats, soil: Floats, refine: float, work: Floats) -> float:
    """How far a step is beyond what is allowed: at most 1 is good."""
    most_change, most_shift, most_over = 0.0, 0.0, 0.0
    for i in range(LAYERS):
        change = work[11, i] * soil[c, _FACTOR + i]
        saturation = state[c, i] * soil[c, _FACTOR + i] - soil[c, _OFFSET] + change
        shift = work[1, i] * work[11, i]
        if i < LAYERS - 1:
            shift += work[2, i] * work[11, i + 1]
        most_change = max(most_change, abs(change))
        most_shift = max(most_shift, abs(shift))
        most_over = max(most_over, (saturation - 1.0) * soil[c, _RANGE_MM + i])
    strain = max(most_change / MOST_CHANGE, dt * most_shift / MOST_SHIFT_MM)
    return max(strain, most_over / MOST_OVERSHOOT_MM) * refine


@_inlined
def _most_mm(c: int, i: int, soil: Floats) -> float:
    """Water of a saturated layer."""
    return (1.0 + soil[c, _OFFSET]) * soil[c, _RANGE_MM + i]


@_inlined
def _least_mm(c: int, i: int, soil: Floats) -> float:
    """Water of a layer as dry as it gets."""
    return (soil[c, _DRIEST] + soil[c, _OFFSET]) * soil[c, _RANGE_MM + i]


@_inlined
def _apply(
    c: int,
    dt: float,
    into: float,
    evaporate: float,
    transpire: float,
    state: Floats,
    soil: Floats,
    work: Floats,
    result: Floats,
) -> float:
    """Move the water that the solution says, within the layers' limits; what went in [mm]."""
    dries = evaporate + transpire > 0.0
    beside = soil[c, _YARD] >= 0.0 or soil[c, _SLAB] >= 0.0
    cell = int(soil[c, _SLAB])
    flux, to_air, to_roots, to_yard, to_slab = into, 0.0, 0.0, 0.0, 0.0
    outside = False  # whether a layer is beyond its limits, as few steps bring about
    for i in range(LAYERS):
        change = work[11, i]
        following = work[11, i + 1] if i < LAYERS - 1 else 0.0
        out = dt * (work[0, i] + work[1, i] * change + work[2, i] * following)
        lost = 0.0
        if dries and i < _DRYING_LAYERS:
            # The tangents may pass what is asked, or nothing, where the step is long.
            asked = dt * evaporate * _EVAPORATION_WEIGHT[i]
            evaporated = dt * evaporate * (work[5, i] + work[6, i] * change)
            evaporated = min(max(evaporated, 0.0), asked)
            asked = dt * transpire * _ROOT_WEIGHT[i]
            transpired = dt * transpire * (work[7, i] + work[8, i] * change)
            transpired = min(max(transpired, 0.0), asked)
            lost = evaporated + transpired
            to_air += evaporated
            to_roots += transpired
        if beside:
            potential = state[c, _POTENTIAL + i] + state[c, _SLOPE + i] * change
            sideways = dt * (soil[c, _BESIDE + i] * potential - work[9, i])
            if cell >= 0 and i >= _BELOW_BEAM:
                wanted = dt * soil[c, _SLABWARD + i] * (potential - work[10, i])
                taken = _into_cell(c, cell, i, wanted, state, soil)
                sideways -= wanted
                lost += taken
                to_slab += taken
            lost += sideways
            to_yard += sideways
        water = state[c, i] + (flux - out - lost)
        outside = outside or water > _most_mm(c, i, soil) or water < _least_mm(c, i, soil)
        state[c, i] = water
        flux = out
    result[c, EVAPORATION] += to_air
    result[c, TRANSPIRATION] += to_roots
    result[c, LATERAL] += to_yard
    result[c, UNDER_SLAB] += to_slab
    # A layer too full sends the rest up, at last to the surface; one too dry takes from below.
    excess, lack = 0.0, 0.0
    if outside:
        for i in range(LAYERS - 1, -1, -1):
            state[c, i] += excess
            excess = max(0.0, state[c, i] - _most_mm(c, i, soil))
            state[c, i] -= excess
        for i in range(LAYERS):
            state[c, i] -= lack
            lack = max(0.0, _least_mm(c, i, soil) - state[c, i])
            state[c, i] += lack
    result[c, DRAINAGE] += flux - lack
    return into - excess


@_inlined
def _into_cell(c: int, cell: int, i: int, wanted: float, state: Floats, soil: Floats) -> float:
    """Give a layer of the slab's first cell water of the strip [mm of the strip], or take it from
    there where it is below 0; as much as the cell has room or water for."""
    room = _most_mm(cell, i, soil) - state[cell, i]
    spare = state[cell, i] - _least_mm(cell, i, soil)
    moved = min(max(wanted * soil[c, _TO_CELL], -spare), room)
    state[cell, i] += moved
    state[cell, _EXPECTED] += moved
    state[cell, _POTENTIAL + i] += moved * state[cell, _SLOPE + i] / CENTRED
    return moved / soil[c, _TO_CELL]


@_inlined
def _bypass_share(c: int, state: Floats, soil: Floats) -> float:
    """What part of the water that falls goes down cracks, by the top's loss of water."""
    share = soil[c, _CRACK_SHARE]
    if share <= 0.0:
        return 0.0
    saturation = -soil[c, _OFFSET]
    for i in range(_TOP_LAYERS):
        saturation += _TOP_WEIGHT[i] * state[c, i] * soil[c, _FACTOR + i]
    opened = (soil[c, _CRACK_OPEN] - saturation) / (soil[c, _CRACK_OPEN] - soil[c, _CRACK_WHOLE])
    return share * min(max(opened, 0.0), 1.0)


@_inlined
def _surface(c: int, change: float, rain_share: float, state: Floats) -> None:
    """Add to the water that stands on the surface, or take from it in proportion.

    rain_share: what part of an addition is rain.
    """
    if change < 0.0:
        standing = state[c, _POND_RAIN] + state[c, _POND_IRRIGATION]
        rain_share = state[c, _POND_RAIN] / standing if standing > 0.0 else 1.0
    state[c, _POND_RAIN] += rain_share * change
    state[c, _POND_IRRIGATION] += change - rain_share * change


@_inlined
def _run_off(c: int, state: Floats, result: Floats) -> None:
    """What stands above the store runs off, rain and irrigation in proportion."""
    standing = state[c, _POND_RAIN] + state[c, _POND_IRRIGATION]
    if standing > POND_MM:
        rain = state[c, _POND_RAIN] * (1.0 - POND_MM / standing)
        irrigation = state[c, _POND_IRRIGATION] * (1.0 - POND_MM / standing)
        state[c, _POND_RAIN] -= rain
        state[c, _POND_IRRIGATION] -= irrigation
        result[c, RUNOFF_RAIN] += rain
        result[c, RUNOFF_IRRIGATION] += irrigation


@_inlined
def _advance(
    c: int,
    hours: float,
    rain: float,
    irrigation: float,
    pet: float,
    longest: float,
    refine: float,
    state: Floats,
    soil: Floats,
    tables: Floats,
    work: Floats,
    result: Floats,
) -> None:
    """A column over some hours in which rain and irrigation [mm] fall evenly; pet in mm/h."""
    table = tables[int(soil[c, _TABLE])]
    ks = soil[c, _KS]
    saturated = ks * table[_STEPS, _PHI]
    transpire = pet * soil[c, _TRANSPIRED]
    given = rain + irrigation
    rain_share = rain / given if given > 0.0 else 1.0
    shortest = SHORTEST_H / refine
    left, dt = hours, min(hours, longest)
    while left > 0.0:
        _linearise(c, pet > 0.0, state, soil, table, work)
        capacity = ks + (saturated - state[c, _POTENTIAL]) * _PER_REACH[0]
        capacity_slope = -state[c, _SLOPE] * _PER_REACH[0]
        standing = state[c, _POND_RAIN] + state[c, _POND_IRRIGATION]
        bypass = _bypass_share(c, state, soil) if given > 0.0 else 0.0
        fallen = given - bypass * given
        while True:
            supply = standing + fallen * dt / hours
            # Standing water evaporates first. Rounding must not leave a trace of less than none.
            lost = max(0.0, min(supply, (pet - transpire) * dt))
            supply -= lost
            evaporate = max(0.0, pet - transpire - lost / dt)
            flooded = supply > ks * dt
            if flooded:
                _solve(c, dt, capacity, capacity_slope, evaporate, transpire, state, soil, work)
                into = max(0.0, dt * (capacity + capacity_slope * work[11, 0]))
                flooded = into <= supply
            if not flooded:
                into = supply
                _solve(c, dt, into / dt, 0.0, evaporate, transpire, state, soil, work)
            strain = _strain(c, dt, state, soil, refine, work)
            if strain <= 1.0 or dt <= shortest:
                break
            dt = max(shortest, dt * max(0.2, 0.8 / strain))
        past = (given - fallen) * dt / hours
        result[c, BYPASS_RAIN] += rain_share * past
        result[c, BYPASS_IRRIGATION] += past - rain_share * past
        _surface(c, fallen * dt / hours, rain_share, state)
        into = _apply(c, dt, into, evaporate, transpire, state, soil, work, result)
        _surface(c, -lost - into, rain_share, state)
        _run_off(c, state, result)
        result[c, EVAPORATION] += lost
        result[c, INFILTRATION] += into
        left = left - dt if left - dt > 1e-9 else 0.0
        dt = min(left, 2.0 * dt, longest)


@_inlined
def _measure(c: int, state: Floats, soil: Floats, table: Floats, result: Floats) -> None:
    """Depth-means of pF over the band and the top, the weighted one of the whole column, and the
    water content at a probe."""
    band, top, movement, probe = 0.0, 0.0, 0.0, 0.0
    for i in range(LAYERS):
        layer_pf = _between(table, _place(c, i, state, soil), _PF)
        band += _BAND_WEIGHT[i] * layer_pf
        top += _TOP_WEIGHT[i] * layer_pf
        movement += _STRAIN_WEIGHT[i] * max(layer_pf, SWOLLEN_PF)
        probe += _PROBE_WEIGHT[i] * state[c, i] / _THICK_MM[i]
    result[c, PROBE_VWC] = probe
    result[c, BAND_PF] = band
    result[c, TOP_PF] = top
    result[c, MOVEMENT_PF] = movement


@_inlined
def _stored(c: int, state: Floats) -> float:
    """Water in the column and standing on it [mm]."""
    total = state[c, _POND_RAIN] + state[c, _POND_IRRIGATION]
    for i in range(LAYERS):
        total += state[c, i]
    return total


@_inlined
def _balance(c: int, given: float, state: Floats, result: Floats) -> None:
    """Keep the largest difference between what is stored and what the fluxes say [mm]."""
    gone = 0.0
    for i in range(_LOSSES):
        gone += result[c, i]
    state[c, _EXPECTED] += given - gone
    error = abs(_stored(c, state) - state[c, _EXPECTED])
    if not error <= state[c, _WORST_ERROR]:  # so that NaN shows too
        state[c, _WORST_ERROR] = error


@_inlined
def _spread(
    first: int, hours: float, state: Floats, soil: Floats, table: Floats, work: Floats
) -> None:
    """Let water move between the cells of a slab, layer by layer: one linearised implicit step.

    What crosses a face is held to what one cell has and the other has room for.
    """
    ks = soil[first, _KS]
    for i in range(LAYERS):
        for j in range(CELLS):
            place = _place(first + j, i, state, soil)
            k = _row(place)
            step = ks * (table[k + 1, _PHI] - table[k, _PHI])
            work[0, j] = ks * table[k, _PHI] + (place - k) * step
            work[1, j] = step * soil[first, _FACTOR + i] * soil[first, _PER_STEP]
        shift, carry, left = 0.0, 0.0, 0.0
        for j in range(CELLS):
            right = hours * _THICK_MM[i] / _CELL_REACH_MM[j] if j < CELLS - 1 else 0.0
            known = right * (work[0, j + 1] - work[0, j]) if j < CELLS - 1 else 0.0
            lower = 0.0
            if j > 0:
                known += left * (work[0, j - 1] - work[0, j])
                lower = -left * work[1, j - 1]
            middle = _CELLS_MM[j] + (left + right) * work[1, j] - lower * shift
            shift = -right * work[1, j + 1] / middle if j < CELLS - 1 else 0.0
            carry = (known - lower * carry) / middle
            work[2, j], work[3, j] = shift, carry
            left = right
        for j in range(CELLS - 2, -1, -1):
            work[3, j] -= work[2, j] * work[3, j + 1]
        most, least = _most_mm(first, i, soil), _least_mm(first, i, soil)
        for j in range(CELLS - 1):
            a, b = first + j, first + j + 1
            high = work[0, j] + work[1, j] * work[3, j]
            low = work[0, j + 1] + work[1, j + 1] * work[3, j + 1]
            moved = hours * _THICK_MM[i] / _CELL_REACH_MM[j] * (high - low)
            most_moved = min(
                (state[a, i] - least) * _CELLS_MM[j], (most - state[b, i]) * _CELLS_MM[j + 1]
            )
            least_moved = -min(
                (most - state[a, i]) * _CELLS_MM[j], (state[b, i] - least) * _CELLS_MM[j + 1]
            )
            moved = min(max(moved, least_moved), most_moved)
            state[a, i] -= moved / _CELLS_MM[j]
            state[b, i] += moved / _CELLS_MM[j + 1]
            state[a, _EXPECTED] -= moved / _CELLS_MM[j]
            state[b, _EXPECTED] += moved / _CELLS_MM[j + 1]


@_njit
def _under_slab(
    c: int,
    hours: float,
    refine: float,
    state: Floats,
    soil: Floats,
    tables: Floats,
    work: Floats,
    result: Floats,
) -> None:
    """The cells under a strip's slab over some hours: down and up in each, then across."""
    first = int(soil[c, _SLAB])
    table = tables[int(soil[c, _TABLE])]
    work[9, :] = 0.0
    for cell in range(first, first + CELLS):
        result[cell, :] = 0.0
        _advance(cell, hours, 0.0, 0.0, 0.0, hours, refine, state, soil, tables, work, result)
        _balance(cell, 0.0, state, result)
    _spread(first, hours, state, soil, table, work)
    _linearise(first, False, state, soil, table, work)


@_njit
def _look_under(c: int, state: Floats, soil: Floats, tables: Floats, under_pf: Floats) -> None:
    """MOVEMENT_PF of each cell under a strip's slab."""
    first, table = int(soil[c, _SLAB]), tables[int(soil[c, _TABLE])]
    for j in range(CELLS):
        movement = 0.0
        for i in range(LAYERS):
            layer_pf = _between(table, _place(first + j, i, state, soil), _PF)
            movement += _STRAIN_WEIGHT[i] * max(layer_pf, SWOLLEN_PF)
        under_pf[c, j] = movement


@_inlined
def _step_hour(
    c: int,
    forcing: Floats,
    refine: float,
    state: Floats,
    soil: Floats,
    tables: Floats,
    work: Floats,
    result: Floats,
) -> None:
    table = tables[int(soil[c, _TABLE])]
    result[c, :] = 0.0
    _neighbours(c, state, soil, work)
    rain, pet = forcing[c, RAIN], forcing[c, PET]
    irrigation = soil[c, _GIVEN_MM] * forcing[c, IRRIGATION]
    longest = LONGEST_H / refine
    wet = 0.0
    if irrigation > 0.0:
        wet = min(1.0, max(SHORTEST_H, forcing[c, IRRIGATION_S] / 3600.0))
    for hours, given in ((wet, irrigation), (1.0 - wet, 0.0)):
        if hours > 0.0:
            rained = rain * hours
            _advance(
                c, hours, rained, given, pet, longest, refine, state, soil, tables, work, result
            )
    _balance(c, rain + irrigation, state, result)
    _measure(c, state, soil, table, result)


@_njit
def _run(
    hour: int,
    forcing: Floats,
    refine: float,
    state: Floats,
    soil: Floats,
    tables: Floats,
    results: Floats,
    under_pf: Floats,
    potential: Floats,
    known: int,
) -> None:
    """Step hours of forcing, the first of them the hour-th since the start."""
    work = np.zeros((_WORK, LAYERS))
    cells = np.zeros((len(soil), RESULTS))  # results of the cells under slabs
    every = max(1, int(SLAB_H / refine))
    for h in range(forcing.shape[0]):
        for c in range(known):
            for i in range(LAYERS):
                state[c, _POTENTIAL + i] = potential[h, c, i]
        if (hour + h) % every == 0:
            for c in range(known, forcing.shape[1]):
                if soil[c, _SLAB] >= 0.0:
                    if hour + h > 0:
                        _under_slab(c, every, refine, state, soil, tables, work, cells)
                    day = (hour + h) // 24
                    for ahead in range(day, min(day + max(1, every // 24), under_pf.shape[0])):
                        _look_under(c, state, soil, tables, under_pf[ahead])
        for c in range(known, forcing.shape[1]):
            _step_hour(c, forcing[h], refine, state, soil, tables, work, results[h])
        for c in range(known, potential.shape[1]):
            for i in range(LAYERS):
                potential[h, c, i] = state[c, _POTENTIAL + i]


class Columns:
    """Soil columns side by side, the yard's among them, stepped together an hour at a time.

    textures: for each column a texture, or the name of one of TEXTURES. ks_mm_h: saturated
    conductivity for each, None for the texture's own. yard: for each watered strip the index of the
    unwatered column that stands for the ground beside it, None for no exchange; that column must
    come before the strip and have the same soil. width_m: of each strip. slab_m: from the middle of
    each to the edge of a slab, None for no slab. transpired_share: of potential evapotranspiration,
    0..1, for each. given_mm: what a unit of irrigation stands for, for each. start_pf: uniform
    suction at the start, 0..DRIEST_PF. crack_share: what cracks at their widest take of the water
    that falls, 0..1; in textures that crack only. refine: above 1 for steps that much finer, to see
    what they matter.
    Raises: ValueError where these do not fit together.
    """

    def __init__(
        self,
        textures: Sequence[str | Texture],
        *,
        ks_mm_h: Sequence[float | None] | None = None,
        yard: Sequence[int | None] | None = None,
        width_m: Sequence[float] | None = None,
        slab_m: Sequence[float | None] | None = None,
        transpired_share: Sequence[float] | None = None,
        given_mm: Sequence[float] | None = None,
        start_pf: float = 2.5,
        crack_share: float = CRACK_SHARE,
        refine: float = 1.0,
    ) -> None:
        count = len(textures)
        given_ks = ks_mm_h or [None] * count
        yards = yard or [None] * count
        widths = width_m or [STRIP_WIDTH_M] * count
        slabs = slab_m or [None] * count
        shares = transpired_share or [TRANSPIRED_SHARE] * count
        units_mm = given_mm or [1.0] * count
        if any(len(each) != count for each in (given_ks, yards, widths, slabs, shares, units_mm)):
            raise ValueError("one value for each column")
        if not 0.0 <= crack_share <= 1.0:
            raise ValueError("what cracks take is a share, 0 to 1")
        self.textures = tuple(TEXTURES[t] if isinstance(t, str) else t for t in textures)
        distinct = list(dict.fromkeys(self.textures))
        self._tables = np.stack([_table(texture) for texture in distinct])
        rows = count + CELLS * sum([slab is not None for slab in slabs])
        self._soil = np.zeros((rows, _CONSTANTS))
        self._state = np.zeros((rows, _STATES))
        self._hours = 0
        self._refine = refine
        cell = count  # the next free row
        for c, texture in enumerate(self.textures):
            ks, slab, beside = given_ks[c], slabs[c], yards[c]
            row = self._constants(texture, texture.ks_mm_h if ks is None else ks)
            row[_TABLE] = distinct.index(texture)
            bottom = float(texture.saturation(10.0**BOTTOM_PF) - row[_DRIEST]) * row[_PER_STEP]
            row[_BOTTOM_PHI] = _between(self._tables[distinct.index(texture)], bottom, _PHI)
            self._soil[c] = row
            if slab is not None:
                self._soil[cell : cell + CELLS] = row
                self._lay_slab(c, cell, 1000.0 * widths[c], 1000.0 * slab)
                cell += CELLS
            if beside is not None:
                self._lay_yard(c, beside, 1000.0 * widths[c])
            self._soil[c, _TRANSPIRED] = shares[c]
            self._soil[c, _GIVEN_MM] = units_mm[c]
            self._soil[c, _CRACK_SHARE] = crack_share if texture.cracks else 0.0
        self.set_pf(start_pf)

    def _lay_slab(self, c: int, cell: int, width_mm: float, distance_mm: float) -> None:
        """Join a strip to the cells under a slab, whose edge is so far from the strip's middle."""
        row = self._soil[c]
        row[_SLAB], row[_TO_CELL] = cell, width_mm / _CELLS_MM[0]
        exchange = _THICK_MM / (width_mm * (distance_mm + _CELLS_MM[0] / 2.0))
        exchange[:_BELOW_BEAM] = 0.0
        row[_SLABWARD : _SLABWARD + LAYERS] = exchange
        row[_BESIDE : _BESIDE + LAYERS] += exchange

    def _lay_yard(self, c: int, beside: int, width_mm: float) -> None:
        """Join a strip to the yard, for which another column stands."""
        row = self._soil[c]
        same = 0 <= beside < c and self.textures[beside] == self.textures[c]
        if not same or self._soil[beside, _KS] != row[_KS]:
            raise ValueError("a yard comes before its strip and has the same soil")
        row[_YARD] = beside
        reach_mm = width_mm / 2.0 + 1000.0 * YARD_BEYOND_M
        row[_BESIDE : _BESIDE + LAYERS] += _THICK_MM / (width_mm * reach_mm)

    def _constants(self, texture: Texture, ks_mm_h: float) -> Floats:
        if not ks_mm_h > 0.0:
            raise ValueError("saturated conductivity must be above 0")
        row = np.zeros(_CONSTANTS)
        range_ = texture.theta_s - texture.theta_r
        driest = _driest(texture)
        row[_YARD] = row[_SLAB] = -1.0
        row[_KS] = ks_mm_h
        row[_OFFSET] = texture.theta_r / range_
        row[_DRIEST] = driest
        row[_PER_STEP] = _STEPS / (1.0 - driest)
        row[_CRACK_OPEN] = texture.saturation(10.0**CRACK_OPEN_PF)
        row[_CRACK_WHOLE] = texture.saturation(10.0**CRACK_WHOLE_PF)
        row[_FACTOR:_RANGE_MM] = 1.0 / (_THICK_MM * range_)
        row[_RANGE_MM:_BESIDE] = _THICK_MM * range_
        return row

    def set_pf(self, start_pf: float) -> None:
        """Bring every column to one suction, nothing standing on it; the balance starts anew."""
        if not 0.0 <= start_pf <= DRIEST_PF:
            raise ValueError(f"pF {start_pf}: allowed are 0 to {DRIEST_PF}")
        water = {texture: texture.water_content(10.0**start_pf) for texture in self.textures}
        of_cells = [t for c, t in enumerate(self.textures) for _ in range(self._cells_of(c))]
        for row, texture in enumerate([*self.textures, *of_cells]):
            self._state[row, :LAYERS] = water[texture] * _THICK_MM
        self._state[:, LAYERS:] = 0.0
        self._state[:, _EXPECTED] = self._state[:, :LAYERS].sum(axis=1)
        work = np.empty((_WORK, LAYERS))
        for c in range(len(self.textures)):
            if self._cells_of(c):
                cell, table = int(self._soil[c, _SLAB]), self._tables[int(self._soil[c, _TABLE])]
                _linearise(cell, False, self._state, self._soil, table, work)
        self._hours = 0

    def picked(self, columns: Sequence[int]) -> "Columns":
        """A copy of some columns, in this order; one may be picked often, to go several ways.

        A strip's yard must be picked before it; where it is picked often, the first one counts.
        """
        chosen = np.asarray(columns)
        slabs = self._soil[chosen, _SLAB].astype(np.int64)
        has_slab = np.flatnonzero(slabs >= 0)
        cells = slabs[has_slab, None] + np.arange(CELLS)
        rows = np.concatenate((chosen, cells.ravel()))
        made = copy(self)
        made.textures = tuple([self.textures[c] for c in columns])
        made._state, made._soil = self._state[rows], self._soil[rows]
        made._soil[has_slab, _SLAB] = len(chosen) + CELLS * np.arange(len(has_slab))
        yards = self._soil[chosen, _YARD]
        for yard in set(yards[yards >= 0.0].tolist()):
            made._soil[np.flatnonzero(yards == yard), _YARD] = np.argmax(chosen == yard)
        return made

    def run(self, forcing: Floats, under_pf: Floats | None = None) -> Floats:
        """Step through hours of weather and water.

        forcing: (hours, columns, FORCINGS), by RAIN [mm, times exposure], PET [mm, times the strip
        coefficient], IRRIGATION [mm, or given_mm of them], IRRIGATION_S [s, the time it takes from
        the hour's beginning, 1..3600]. under_pf: see `step`.
        Returns (hours, columns, RESULTS), by RUNOFF_RAIN, RUNOFF_IRRIGATION, BYPASS_RAIN,
        BYPASS_IRRIGATION, EVAPORATION, TRANSPIRATION, DRAINAGE, LATERAL (to the yard), UNDER_SLAB,
        INFILTRATION [mm]; at the hour's end BAND_PF, TOP_PF, MOVEMENT_PF, and PROBE_VWC [m3/m3].
        Raises: ValueError for a wrong shape, a negative or a missing value.
        """
        if forcing.shape[1:] != (len(self.textures), FORCINGS):
            raise ValueError("forcing: hours x columns x FORCINGS")
        if not np.all(forcing >= 0.0) or not np.all(np.isfinite(forcing)):
            raise ValueError("forcing: finite and not negative")
        results = np.empty((len(forcing), len(self.textures), RESULTS))
        if under_pf is None:
            under_pf = np.zeros((0, len(self.textures), CELLS))
        no_potential = np.zeros((len(forcing), 0, LAYERS))
        self.step(np.ascontiguousarray(forcing, dtype=np.float64), results, under_pf, no_potential)
        return results

    def step(
        self,
        forcing: Floats,
        results: Floats,
        under_pf: Floats,
        potential: Floats,
        known: int = 0,
    ) -> None:
        """As `run`, into arrays of float64 that are there, and nothing is checked.

        under_pf: (days since the start, columns, CELLS), gets MOVEMENT_PF of the cells under slabs;
        days past its end are left out. potential: (hours, some columns or none, LAYERS), gets the
        matric flux potential at each hour's end [mm2/h]; of the first `known` columns it is given,
        and they are not stepped: so yards that are lived through once serve many times.
        """
        _run(
            self._hours,
            forcing,
            self._refine,
            self._state,
            self._soil,
            self._tables,
            results,
            under_pf,
            potential,
            known,
        )
        self._hours += len(forcing)

    def measures(self) -> Floats:
        """What `run` gives for an hour's end, now: (columns, RESULTS), with no water moved."""
        found = np.zeros((len(self.textures), RESULTS))
        for c in range(len(found)):
            table = self._tables[int(self._soil[c, _TABLE])]
            _measure(c, self._state, self._soil, table, found)
        return found

    def least_loss_mm(
        self, c: int, yard_mm: Floats, transpired_mm: Floats, band_pf: float
    ) -> Floats:
        """What a strip loses more than its yard on a day, at least, for its band to be so wet.

        c: a column that has a yard. yard_mm: water in the yard's layers, (days, LAYERS). transpired
        mm: potential of each day. band_pf: the depth-mean is at most that. Of all ways to wet the
        band's layers, none of them drier than in the yard, the one that transpires least and loses
        least to the yard counts, and a little less than that. A layer has one moisture a day.
        Method: Lagrange's dual. Any multiplier gives a bound that holds; the best is returned.
        """
        layers: list[int] = np.flatnonzero(_BAND_WEIGHT).tolist()
        lost = [self._more_lost_mm(c, i, yard_mm[:, i], transpired_mm) for i in layers]
        wetter_pf = self._tables[int(self._soil[c, _TABLE])][_BOUND_ROWS[1:], _PF]
        best = np.zeros(len(yard_mm))
        for multiplier in _MULTIPLIERS_MM:
            bound = np.full(len(yard_mm), -multiplier * band_pf)
            for i, more in zip(layers, lost, strict=True):
                bound += (more + multiplier * _BAND_WEIGHT[i] * wetter_pf).min(axis=1)
            best = np.maximum(best, bound)
        return best

    def _more_lost_mm(self, c: int, i: int, yard_mm: Floats, transpired_mm: Floats) -> Floats:
        """What a layer loses more than the yard's, at least, between two rows of its table each.

        (days, steps); infinite where it would be drier than the yard's. Between two rows a loss is
        at least the drier one's, as pF is at least the wetter one's.
        """
        row, table = self._soil[c], self._tables[int(self._soil[c, _TABLE])]
        saturation = yard_mm * row[_FACTOR + i] - row[_OFFSET]
        place = (saturation - row[_DRIEST]) * row[_PER_STEP]

        def more(column: int) -> Floats:
            of_yard = np.interp(place, np.arange(_STEPS + 1), table[:, column])
            return np.asarray(table[_BOUND_ROWS[:-1], column] - of_yard[:, None])

        uptake_mm = transpired_mm[:, None] * _ROOT_WEIGHT[i] * more(_UPTAKE)
        exchange = 24.0 * row[_KS] * (row[_BESIDE + i] - row[_SLABWARD + i])
        lost_mm = np.maximum(uptake_mm + exchange * more(_PHI), 0.0)
        return np.where(_BOUND_ROWS[1:] >= place[:, None], lost_mm, np.inf)

    def _cells_of(self, column: int) -> int:
        return CELLS if self._soil[column, _SLAB] >= 0.0 else 0

    @property
    def water_mm(self) -> Floats:
        """Water in each layer [mm], (columns, layers); a view of the state."""
        return self._state[: len(self.textures), :LAYERS]

    @property
    def water_content(self) -> Floats:
        """Volumetric water content [m3/m3], (columns, layers)."""
        return np.asarray(self.water_mm / _THICK_MM)

    @property
    def ponded_mm(self) -> Floats:
        """Water standing on each column [mm]."""
        standing = self._state[:, _POND_RAIN] + self._state[:, _POND_IRRIGATION]
        return np.asarray(standing[: len(self.textures)])

    def stored_mm(self) -> Floats:
        """Water in and on each column [mm]."""
        return np.asarray(self.water_mm.sum(axis=1) + self.ponded_mm)

    def under_slab_mm(self) -> Floats:
        """Water in the cells under each column's slab [mm over the column]; 0 without a slab."""
        found = np.zeros(len(self.textures))
        for c in range(len(found)):
            if self._cells_of(c):
                first = int(self._soil[c, _SLAB])
                cells = self._state[first : first + CELLS, :LAYERS].sum(axis=1)
                found[c] = cells @ (_CELLS_MM / _CELLS_MM[0]) / self._soil[c, _TO_CELL]
        return found

    @property
    def mass_balance_error_mm(self) -> float:
        """Largest difference so far between stored water and the sum of all fluxes [mm]."""
        return float(np.max(self._state[:, _WORST_ERROR]))


def run_batches(
    batches: Iterable[tuple[Columns, Floats]], keep: Callable[[Floats], Kept], threads: int = 2
) -> list[Kept]:
    """Run many sets of columns at once, each as `Columns.run` does, and keep what is wanted.

    keep: what to make of a batch's results, which are large; it may run on any thread. The order is
    that of the batches, and no result depends on the number of threads.
    """
    with ThreadPoolExecutor(threads) as pool:
        return list(pool.map(lambda batch: keep(batch[0].run(batch[1])), batches))


def suction_pf(columns: Columns) -> Floats:
    """pF of every layer, (columns, layers)."""
    content = columns.water_content
    rows = [t.suction_cm(content[c]) for c, t in enumerate(columns.textures)]
    return pf(np.stack(rows))
