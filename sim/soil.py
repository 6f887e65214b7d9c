"""Columns of layered soil: infiltration, redistribution, evaporation, uptake, drainage.

Method: Richards' equation in its matric-flux form, one linearised, implicit, non-iterative step
at a time, in the manner of Ross 2003 (Agron. J. 95:1352-1361). A tridiagonal solve gives the
changes of water; the fluxes that follow from them are then applied, so water is conserved to
rounding whatever the step. Hydraulic functions are tables over saturation: no power in the loop.

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
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Kept = TypeVar("Kept")

CM_PER_KPA = 10.19716

# Boundaries of the layers. Those at 0.15, 0.30 and 1.00 m are limits of the measures below.
EDGES_M = (0.0, 0.02, 0.06, 0.15, 0.30, 0.45, 0.70, 1.0, 1.5, 2.0, 3.0)
LAYERS = len(EDGES_M) - 1
BAND_M = (0.15, 1.0)
TOP_M = (0.0, 0.30)
ROOTS_M = 1.2
ROOT_SHARES = (0.4, 0.3, 0.2, 0.1)
EVAPORATION_M = 0.15

POND_MM = 3.0  # surface storage: common practice, no source
# Most that cracks take: an assumption; what is measured in cracked clays goes from nothing to half.
CRACK_SHARE = 0.2
CRACK_OPEN_PF, CRACK_WHOLE_PF = 3.3, 4.2  # an assumption
CRACKING = ("clay", "silty clay")  # by name only: how much they shrink is not in the texture
# The weights of strain by suction: 1.0 in the cracked zone, 2.0 - depth / 5 m below it. Source:
# AS 2870-2011, clause 2.3, from memory. Its cracked zone is half of the depth of suction change
# (from memory), here the whole column.
CRACKED_M = 1.5
SWOLLEN_PF = 2.0  # wetter clay hardly swells more: an assumption
STRIP_WIDTH_MM = 600.0  # common practice, no source
YARD_DISTANCE_MM = 600.0  # from mid-strip to undisturbed yard: an assumption
BOTTOM_PF = 3.0
WET_SATURATION = 0.995  # for clay a suction of some 10 cm
DRIEST_PF = 6.5  # the tables end here, and so does any loss of water
UPTAKE_FULL_CM, UPTAKE_NONE_CM = 800.0, 16000.0
EVAPORATION_FULL_PF, EVAPORATION_NONE_PF = 4.0, 6.0
TRANSPIRED_SHARE = 0.7  # of potential evapotranspiration, the rest is the soil's: an assumption

# Sub-steps: in one, no layer's saturation may change by more than MOST_CHANGE, nor a flux by so
# much that it moves more than MOST_SHIFT_MM, nor a layer take more than it holds but for a little.
MOST_CHANGE = 0.1
MOST_SHIFT_MM = 0.4
MOST_OVERSHOOT_MM = 0.05
LONGEST_H, SHORTEST_H = 1.0, 10.0 / 3600.0

# Columns of the forcing of an hour.
RAIN, PET, IRRIGATION, IRRIGATION_S = range(4)
FORCINGS = 4
# Columns of the result of an hour.
(
    RUNOFF_RAIN,
    RUNOFF_IRRIGATION,
    BYPASS_RAIN,
    BYPASS_IRRIGATION,
    EVAPORATION,
    TRANSPIRATION,
    DRAINAGE,
    LATERAL,
    INFILTRATION,
    BAND_PF,
    TOP_PF,
    MOVEMENT_PF,
) = range(12)
RESULTS = 12
# Columns of the state after the layers' water.
_POND_RAIN, _POND_IRRIGATION, _EXPECTED, _WORST_ERROR = range(LAYERS, LAYERS + 4)
# Columns of a column's own constants; its layers' factors follow.
(
    _TABLE,
    _KS,
    _OFFSET,
    _DRIEST,
    _PER_STEP,
    _TRANSPIRED,
    _YARD,
    _BOTTOM_PHI,
    _CRACK_SHARE,
    _CRACK_OPEN,  # saturations at which cracks open and are whole
    _CRACK_WHOLE,
) = range(11)
_FACTOR = 11  # saturation per mm of water, then its inverse
_RANGE_MM = _FACTOR + LAYERS
# Columns of a table.
_PHI, _K, _PF, _UPTAKE, _EVAPORATED = range(5)
_STEPS = 2048

_EDGES_MM = np.array(EDGES_M) * 1000.0
_THICK_MM = np.diff(_EDGES_MM)
_MIDDLES_MM = (_EDGES_MM[:-1] + _EDGES_MM[1:]) / 2.0
_REACH_MM = np.concatenate(
    ([_THICK_MM[0] / 2.0], np.diff(_MIDDLES_MM), [_THICK_MM[-1] / 2.0])
)  # from middle to middle; the ends to the surface and to the bottom
_PER_REACH = 1.0 / _REACH_MM
_LATERAL_FACTOR = _THICK_MM / (YARD_DISTANCE_MM * STRIP_WIDTH_MM)


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
_TOP_LAYERS = int(np.flatnonzero(_TOP_WEIGHT)[-1]) + 1


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


@dataclass(frozen=True)
class Texture:
    """van Genuchten-Mualem parameters: water contents [m3/m3], alpha [1/cm], n, Ks [mm/h]."""

    theta_r: float
    theta_s: float
    alpha_per_cm: float
    n: float
    ks_mm_h: float

    @property
    def m(self) -> float:
        """The exponent m = 1 - 1/n."""
        return 1.0 - 1.0 / self.n

    def saturation(self, suction_cm: ArrayLike) -> Floats:
        """Effective saturation [0..1] at a suction [cm, >= 0]. Source: van Genuchten 1980."""
        suction = np.asarray(suction_cm, dtype=np.float64)
        return np.asarray((1.0 + (self.alpha_per_cm * suction) ** self.n) ** -self.m)

    def water_content(self, suction_cm: ArrayLike) -> Floats:
        """Volumetric water content [m3/m3] at a suction [cm, >= 0]."""
        range_ = self.theta_s - self.theta_r
        return np.asarray(self.theta_r + range_ * self.saturation(suction_cm))

    def suction_cm(self, water_content: ArrayLike) -> Floats:
        """Suction [cm] at a volumetric water content [m3/m3]; 0 at saturation."""
        content = np.asarray(water_content, dtype=np.float64)
        relative = (content - self.theta_r) / (self.theta_s - self.theta_r)
        relative = np.clip(relative, 1e-12, 1.0)
        return np.asarray((relative ** (-1.0 / self.m) - 1.0) ** (1.0 / self.n) / self.alpha_per_cm)

    def relative_conductivity(self, suction_cm: ArrayLike) -> Floats:
        """Conductivity over Ks [0..1] at a suction [cm]. Source: Mualem 1976, l = 0.5."""
        relative = self.saturation(suction_cm)
        part = (self.alpha_per_cm * np.asarray(suction_cm, dtype=np.float64)) ** self.n
        # 1 - S^(1/m) as a quotient: the difference of near-equal numbers would lose digits.
        closed = (part / (1.0 + part)) ** self.m
        return np.asarray(np.sqrt(relative) * (1.0 - closed) ** 2)


def _texture(
    theta_r: float, theta_s: float, alpha_per_cm: float, n: float, ks_cm_d: float
) -> Texture:
    return Texture(theta_r, theta_s, alpha_per_cm, n, ks_cm_d * 10.0 / 24.0)


# Source: Carsel & Parrish 1988, Water Resour. Res. 24(5):755-769.
TEXTURES = {
    "sand": _texture(0.045, 0.43, 0.145, 2.68, 712.8),
    "loamy sand": _texture(0.057, 0.41, 0.124, 2.28, 350.2),
    "sandy loam": _texture(0.065, 0.41, 0.075, 1.89, 106.1),
    "loam": _texture(0.078, 0.43, 0.036, 1.56, 24.96),
    "silt": _texture(0.034, 0.46, 0.016, 1.37, 6.0),
    "silt loam": _texture(0.067, 0.45, 0.020, 1.41, 10.8),
    "sandy clay loam": _texture(0.100, 0.39, 0.059, 1.48, 31.44),
    "clay loam": _texture(0.095, 0.41, 0.019, 1.31, 6.24),
    "silty clay loam": _texture(0.089, 0.43, 0.010, 1.23, 1.68),
    "sandy clay": _texture(0.100, 0.38, 0.027, 1.23, 2.88),
    "silty clay": _texture(0.070, 0.36, 0.005, 1.09, 0.48),
    "clay": _texture(0.068, 0.38, 0.008, 1.09, 4.80),
}


def pf(suction_cm: ArrayLike) -> Floats:
    """log10 of suction [cm]; 0 for anything wetter than 1 cm."""
    return np.asarray(np.log10(np.maximum(np.asarray(suction_cm, dtype=np.float64), 1.0)))


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


_njit = njit(cache=True, error_model="numpy", nogil=True)


@_njit
def _place(c: int, i: int, state: Floats, soil: Floats) -> float:
    """Where a layer's saturation stands in its table, in rows."""
    saturation = state[c, i] * soil[c, _FACTOR + i] - soil[c, _OFFSET]
    return (saturation - soil[c, _DRIEST]) * soil[c, _PER_STEP]  # type: ignore[no-any-return]


@_njit
def _row(place: float) -> int:
    return min(max(int(place), 0), _STEPS - 1)


@_njit
def _linearise(c: int, state: Floats, soil: Floats, table: Floats, work: Floats) -> None:
    """Rates of the present state [mm/h] and their slopes over the layers' water [1/h].

    Rows of work: 0 the flux through a layer's lower side, 1 and 2 its slopes over that layer and
    the next; 3 and 4 matric flux potential [mm2/h] and its slope; 5 and 6 the part of potential
    evaporation that the layer gives and its slope; 7 and 8 the same of transpiration.
    """
    ks = soil[c, _KS]
    for i in range(LAYERS):
        place = _place(c, i, state, soil)
        k = _row(place)
        part = place - k
        slope = soil[c, _FACTOR + i] * soil[c, _PER_STEP]
        step = table[k + 1, _PHI] - table[k, _PHI]
        work[3, i] = ks * (table[k, _PHI] + part * step)
        work[4, i] = ks * step * slope
        step = table[k + 1, _K] - table[k, _K]
        work[0, i] = ks * (table[k, _K] + part * step)
        work[1, i] = ks * step * slope
        step = table[k + 1, _EVAPORATED] - table[k, _EVAPORATED]
        work[5, i] = _EVAPORATION_WEIGHT[i] * (table[k, _EVAPORATED] + part * step)
        work[6, i] = _EVAPORATION_WEIGHT[i] * step * slope
        step = table[k + 1, _UPTAKE] - table[k, _UPTAKE]
        work[7, i] = _ROOT_WEIGHT[i] * (table[k, _UPTAKE] + part * step)
        work[8, i] = _ROOT_WEIGHT[i] * step * slope
    for i in range(LAYERS - 1):
        work[0, i] += (work[3, i] - work[3, i + 1]) * _PER_REACH[i + 1]
        work[1, i] += work[4, i] * _PER_REACH[i + 1]
        work[2, i] = -work[4, i + 1] * _PER_REACH[i + 1]
    work[0, LAYERS - 1] += (work[3, LAYERS - 1] - ks * soil[c, _BOTTOM_PHI]) * _PER_REACH[LAYERS]
    work[1, LAYERS - 1] += work[4, LAYERS - 1] * _PER_REACH[LAYERS]
    work[2, LAYERS - 1] = 0.0


@_njit
def _yard(c: int, state: Floats, soil: Floats, table: Floats, work: Floats) -> None:
    """Row 9 of work: the yard's matric flux potential [mm2/h], layer by layer."""
    yard = int(soil[c, _YARD])
    for i in range(LAYERS):
        place = _place(yard, i, state, soil)
        k = _row(place)
        step = table[k + 1, _PHI] - table[k, _PHI]
        work[9, i] = soil[c, _KS] * (table[k, _PHI] + (place - k) * step)


@_njit
def _solve(
    dt: float,
    top: float,
    top_slope: float,
    evaporate: float,
    transpire: float,
    beside: float,
    work: Floats,
) -> None:
    """Row 10 of work: each layer's change of water [mm] over dt [h] (Thomas' algorithm).

    top, top_slope: flux into the first layer [mm/h] and its slope. evaporate, transpire: the
    potential rates [mm/h]. beside: 1 where there is a yard, else 0.
    """
    above, above_slope, above_next = top, 0.0, top_slope
    shift, carry = 0.0, 0.0
    for i in range(LAYERS):
        lateral = beside * _LATERAL_FACTOR[i]
        loss = work[5, i] * evaporate + work[7, i] * transpire + lateral * (work[3, i] - work[9, i])
        loss_slope = work[6, i] * evaporate + work[8, i] * transpire + lateral * work[4, i]
        lower = -dt * above_slope
        right = dt * (above - work[0, i] - loss)
        middle = 1.0 + dt * (work[1, i] - above_next + loss_slope) - lower * shift
        shift = dt * work[2, i] / middle
        carry = (right - lower * carry) / middle
        work[11, i] = shift
        work[10, i] = carry
        above, above_slope, above_next = work[0, i], work[1, i], work[2, i]
    for i in range(LAYERS - 2, -1, -1):
        work[10, i] -= work[11, i] * work[10, i + 1]


@_njit
def _strain(c: int, dt: float, state: Floats, soil: Floats, refine: float, work: Floats) -> float:
    """How far a step is beyond what is allowed: at most 1 is good."""
    most_change, most_shift, most_over = 0.0, 0.0, 0.0
    for i in range(LAYERS):
        change = work[10, i] * soil[c, _FACTOR + i]
        saturation = state[c, i] * soil[c, _FACTOR + i] - soil[c, _OFFSET] + change
        shift = work[1, i] * work[10, i]
        if i < LAYERS - 1:
            shift += work[2, i] * work[10, i + 1]
        most_change = max(most_change, abs(change))
        most_shift = max(most_shift, abs(shift))
        most_over = max(most_over, (saturation - 1.0) * soil[c, _RANGE_MM + i])
    strain = max(most_change / MOST_CHANGE, dt * most_shift / MOST_SHIFT_MM)
    return max(strain, most_over / MOST_OVERSHOOT_MM) * refine


@_njit
def _apply(
    c: int,
    dt: float,
    into: float,
    evaporate: float,
    transpire: float,
    beside: float,
    state: Floats,
    soil: Floats,
    work: Floats,
    result: Floats,
) -> float:
    """Move the water that the solution says, within the layers' limits; what went in [mm]."""
    flux = into
    for i in range(LAYERS):
        change = work[10, i]
        following = work[10, i + 1] if i < LAYERS - 1 else 0.0
        out = dt * (work[0, i] + work[1, i] * change + work[2, i] * following)
        # The tangents may pass what is asked, or nothing, where the step is long.
        asked = dt * evaporate * _EVAPORATION_WEIGHT[i]
        evaporated = dt * evaporate * (work[5, i] + work[6, i] * change)
        evaporated = min(max(evaporated, 0.0), asked)
        asked = dt * transpire * _ROOT_WEIGHT[i]
        transpired = dt * transpire * (work[7, i] + work[8, i] * change)
        transpired = min(max(transpired, 0.0), asked)
        sideways = (
            dt * beside * _LATERAL_FACTOR[i] * (work[3, i] + work[4, i] * change - work[9, i])
        )
        state[c, i] += flux - out - evaporated - transpired - sideways
        result[c, EVAPORATION] += evaporated
        result[c, TRANSPIRATION] += transpired
        result[c, LATERAL] += sideways
        flux = out
    # A layer too full sends the rest up, at last to the surface; one too dry takes from below.
    excess = 0.0
    for i in range(LAYERS - 1, -1, -1):
        state[c, i] += excess
        most = (1.0 + soil[c, _OFFSET]) * soil[c, _RANGE_MM + i]
        excess = max(0.0, state[c, i] - most)
        state[c, i] -= excess
    lack = 0.0
    for i in range(LAYERS):
        state[c, i] -= lack
        least = (soil[c, _DRIEST] + soil[c, _OFFSET]) * soil[c, _RANGE_MM + i]
        lack = max(0.0, least - state[c, i])
        state[c, i] += lack
    result[c, DRAINAGE] += flux - lack
    return into - excess


@_njit
def _bypass_share(c: int, state: Floats, soil: Floats) -> float:
    """What part of the water that falls goes down cracks, by the top's loss of water."""
    share = soil[c, _CRACK_SHARE]
    if share <= 0.0:
        return 0.0
    saturation = -soil[c, _OFFSET]
    for i in range(_TOP_LAYERS):
        saturation += _TOP_WEIGHT[i] * state[c, i] * soil[c, _FACTOR + i]
    opened = (soil[c, _CRACK_OPEN] - saturation) / (soil[c, _CRACK_OPEN] - soil[c, _CRACK_WHOLE])
    return share * min(max(opened, 0.0), 1.0)  # type: ignore[no-any-return]


@_njit
def _surface(c: int, change: float, rain_share: float, state: Floats) -> None:
    """Add to the water that stands on the surface, or take from it in proportion.

    rain_share: what part of an addition is rain.
    """
    if change < 0.0:
        standing = state[c, _POND_RAIN] + state[c, _POND_IRRIGATION]
        rain_share = state[c, _POND_RAIN] / standing if standing > 0.0 else 1.0
    state[c, _POND_RAIN] += rain_share * change
    state[c, _POND_IRRIGATION] += change - rain_share * change


@_njit
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


@_njit
def _advance(
    c: int,
    hours: float,
    rain: float,
    irrigation: float,
    pet: float,
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
    beside = 1.0 if soil[c, _YARD] >= 0.0 else 0.0
    transpire = pet * soil[c, _TRANSPIRED]
    given = rain + irrigation
    rain_share = rain / given if given > 0.0 else 1.0
    longest, shortest = LONGEST_H / refine, SHORTEST_H / refine
    left, dt = hours, min(hours, longest)
    while left > 0.0:
        _linearise(c, state, soil, table, work)
        capacity = ks + (saturated - work[3, 0]) * _PER_REACH[0]
        capacity_slope = -work[4, 0] * _PER_REACH[0]
        standing = state[c, _POND_RAIN] + state[c, _POND_IRRIGATION]
        bypass = _bypass_share(c, state, soil) if given > 0.0 else 0.0
        fallen = given - bypass * given
        while True:
            supply = standing + fallen * dt / hours
            lost = min(supply, (pet - transpire) * dt)  # standing water evaporates first
            supply -= lost
            evaporate = pet - transpire - lost / dt
            flooded = supply > ks * dt
            if flooded:
                _solve(dt, capacity, capacity_slope, evaporate, transpire, beside, work)
                into = max(0.0, dt * (capacity + capacity_slope * work[10, 0]))
                flooded = into <= supply
            if not flooded:
                into = supply
                _solve(dt, into / dt, 0.0, evaporate, transpire, beside, work)
            strain = _strain(c, dt, state, soil, refine, work)
            if strain <= 1.0 or dt <= shortest:
                break
            dt = max(shortest, dt * max(0.2, 0.8 / strain))
        _surface(c, fallen * dt / hours, rain_share, state)
        past = (given - fallen) * dt / hours
        result[c, BYPASS_RAIN] += rain_share * past
        result[c, BYPASS_IRRIGATION] += past - rain_share * past
        into = _apply(c, dt, into, evaporate, transpire, beside, state, soil, work, result)
        _surface(c, -lost - into, rain_share, state)
        _run_off(c, state, result)
        result[c, EVAPORATION] += lost
        result[c, INFILTRATION] += into
        left = left - dt if left - dt > 1e-9 else 0.0
        dt = min(left, 2.0 * dt, longest)


@_njit
def _measure(c: int, state: Floats, soil: Floats, tables: Floats, result: Floats) -> None:
    """Depth-means of pF over the band and the top, and the weighted one of the whole column."""
    table = tables[int(soil[c, _TABLE])]
    band, top, movement = 0.0, 0.0, 0.0
    for i in range(LAYERS):
        place = _place(c, i, state, soil)
        k = _row(place)
        layer_pf = table[k, _PF] + (place - k) * (table[k + 1, _PF] - table[k, _PF])
        band += _BAND_WEIGHT[i] * layer_pf
        top += _TOP_WEIGHT[i] * layer_pf
        movement += _STRAIN_WEIGHT[i] * max(layer_pf, SWOLLEN_PF)
    result[c, BAND_PF] = band
    result[c, TOP_PF] = top
    result[c, MOVEMENT_PF] = movement


@_njit
def _stored(c: int, state: Floats) -> float:
    """Water in the column and standing on it [mm]."""
    total = state[c, _POND_RAIN] + state[c, _POND_IRRIGATION]
    for i in range(LAYERS):
        total += state[c, i]
    return total  # type: ignore[no-any-return]


@_njit
def _balance(c: int, given: float, state: Floats, result: Floats) -> None:
    """Keep the largest difference between what is stored and what the fluxes say [mm]."""
    gone = 0.0
    for i in range(INFILTRATION):
        gone += result[c, i]
    state[c, _EXPECTED] += given - gone
    error = abs(_stored(c, state) - state[c, _EXPECTED])
    if not error <= state[c, _WORST_ERROR]:  # so that NaN shows too
        state[c, _WORST_ERROR] = error


@_njit
def _step_hour(
    forcing: Floats,
    refine: float,
    state: Floats,
    soil: Floats,
    tables: Floats,
    work: Floats,
    result: Floats,
) -> None:
    for c in range(state.shape[0]):
        result[c, :] = 0.0
        if soil[c, _YARD] >= 0.0:
            _yard(c, state, soil, tables[int(soil[c, _TABLE])], work)
        rain, pet, irrigation = forcing[c, RAIN], forcing[c, PET], forcing[c, IRRIGATION]
        wet = 0.0
        if irrigation > 0.0:
            wet = min(1.0, max(SHORTEST_H, forcing[c, IRRIGATION_S] / 3600.0))
            _advance(c, wet, rain * wet, irrigation, pet, refine, state, soil, tables, work, result)
        if wet < 1.0:
            rest = 1.0 - wet
            _advance(c, rest, rain * rest, 0.0, pet, refine, state, soil, tables, work, result)
        _balance(c, rain + irrigation, state, result)
        _measure(c, state, soil, tables, result)


@_njit
def _run(
    forcing: Floats,
    refine: float,
    state: Floats,
    soil: Floats,
    tables: Floats,
    work: Floats,
    results: Floats,
) -> None:
    for hour in range(forcing.shape[0]):
        _step_hour(forcing[hour], refine, state, soil, tables, work, results[hour])


class Columns:
    """Soil columns side by side, the yard's among them, stepped together an hour at a time.

    textures: a name of TEXTURES for each column. ks_mm_h: saturated conductivity for each, None
    for the texture's own. yard: for each watered strip the index of the unwatered column that
    stands for the ground beside it, None for no exchange; that column must come before the strip
    and have the same soil. transpired_share: of potential evapotranspiration, 0..1, for each.
    start_pf: uniform suction at the start, 0..DRIEST_PF. crack_share: what cracks at their widest
    take of the water that falls, 0..1; in the textures of CRACKING only.
    """

    def __init__(
        self,
        textures: Sequence[str],
        *,
        ks_mm_h: Sequence[float | None] | None = None,
        yard: Sequence[int | None] | None = None,
        transpired_share: Sequence[float] | None = None,
        start_pf: float = 2.5,
        crack_share: float = CRACK_SHARE,
    ) -> None:
        count = len(textures)
        names = sorted(set(textures))
        given_ks = ks_mm_h or [None] * count
        yards = yard or [None] * count
        shares = transpired_share or [TRANSPIRED_SHARE] * count
        if not len(given_ks) == len(yards) == len(shares) == count:
            raise ValueError("one value for each column")
        if not 0.0 <= crack_share <= 1.0:
            raise ValueError("what cracks take is a share, 0 to 1")
        self.textures = tuple(TEXTURES[name] for name in textures)
        self._tables = np.stack([_table(TEXTURES[name]) for name in names])
        self._soil = np.zeros((count, _RANGE_MM + LAYERS))
        self._state = np.zeros((count, LAYERS + 4))
        self._work = np.zeros((12, LAYERS))
        self._result = np.zeros((count, RESULTS))
        self.refine = 1.0  # above 1: sub-steps that much finer, to see what they matter
        for c, texture in enumerate(self.textures):
            ks = given_ks[c]
            self._soil[c, _TABLE] = names.index(textures[c])
            self._soil[c, _TRANSPIRED] = shares[c]
            self._soil[c, _CRACK_SHARE] = crack_share if textures[c] in CRACKING else 0.0
            self._fill(c, texture, texture.ks_mm_h if ks is None else ks)
            beside = yards[c]
            self._soil[c, _YARD] = -1.0 if beside is None else beside
            if beside is not None and not (
                0 <= beside < c
                and textures[beside] == textures[c]
                and self._soil[beside, _KS] == self._soil[c, _KS]
            ):
                raise ValueError("a yard comes before its strip and has the same soil")
        self.set_pf(start_pf)

    def _fill(self, c: int, texture: Texture, ks_mm_h: float) -> None:
        if not ks_mm_h > 0.0:
            raise ValueError("saturated conductivity must be above 0")
        row = self._soil[c]
        range_ = texture.theta_s - texture.theta_r
        driest = _driest(texture)
        row[_KS] = ks_mm_h
        row[_OFFSET] = texture.theta_r / range_
        row[_DRIEST] = driest
        row[_PER_STEP] = _STEPS / (1.0 - driest)
        row[_CRACK_OPEN] = texture.saturation(10.0**CRACK_OPEN_PF)
        row[_CRACK_WHOLE] = texture.saturation(10.0**CRACK_WHOLE_PF)
        row[_FACTOR:_RANGE_MM] = 1.0 / (_THICK_MM * range_)
        row[_RANGE_MM:] = _THICK_MM * range_
        bottom = float(texture.saturation(10.0**BOTTOM_PF) - driest) * row[_PER_STEP]
        potential = self._tables[int(row[_TABLE]), :, _PHI]
        row[_BOTTOM_PHI] = np.interp(bottom, np.arange(_STEPS + 1), potential)

    def set_pf(self, start_pf: float) -> None:
        """Bring every column to one suction, nothing standing on it; the balance starts anew."""
        if not 0.0 <= start_pf <= DRIEST_PF:
            raise ValueError(f"pF {start_pf}: allowed are 0 to {DRIEST_PF}")
        for c, texture in enumerate(self.textures):
            self._state[c, :LAYERS] = texture.water_content(10.0**start_pf) * _THICK_MM
        self._state[:, LAYERS:] = 0.0
        self._state[:, _EXPECTED] = self.stored_mm()

    def picked(self, columns: Sequence[int]) -> "Columns":
        """A copy of some columns, in this order; one may be picked often, to go several ways.

        A strip's yard must be picked before it; where it is picked twice, the last one counts.
        """
        made = copy(self)
        made.textures = tuple(self.textures[c] for c in columns)
        made._state = self._state[columns]
        made._soil = self._soil[columns]
        made._result = np.zeros((len(columns), RESULTS))
        places: dict[int, int] = {}
        for place, c in enumerate(columns):
            yard = int(self._soil[c, _YARD])
            if yard >= 0:
                made._soil[place, _YARD] = places[yard]
            places[c] = place
        return made

    def step_hour(self, forcing: Floats) -> Floats:
        """One hour of every column.

        forcing: float64 (columns, FORCINGS), by RAIN [mm, times exposure], PET [mm, times the
        strip coefficient], IRRIGATION [mm], IRRIGATION_S [s, the time it takes from the hour's
        beginning, 1..3600]; finite and not negative, which is not checked here.
        Returns (columns, RESULTS), by RUNOFF_RAIN, RUNOFF_IRRIGATION, BYPASS_RAIN,
        BYPASS_IRRIGATION, EVAPORATION, TRANSPIRATION, DRAINAGE, LATERAL (to the yard), INFILTRATION
        [mm], BAND_PF, TOP_PF and MOVEMENT_PF at the hour's end.
        The same array every time: the next call overwrites it.
        """
        _step_hour(
            forcing,
            self.refine,
            self._state,
            self._soil,
            self._tables,
            self._work,
            self._result,
        )
        return self._result

    def run(self, forcing: Floats) -> Floats:
        """Many hours at once: (hours, columns, FORCINGS) in, (hours, columns, RESULTS) out.

        Raises: ValueError for a wrong shape, a negative or a missing value.
        """
        if forcing.shape[1:] != (len(self.textures), FORCINGS):
            raise ValueError("forcing: hours x columns x FORCINGS")
        if not np.all(forcing >= 0.0) or not np.all(np.isfinite(forcing)):
            raise ValueError("forcing: finite and not negative")
        results = np.empty((len(forcing), len(self.textures), RESULTS))
        _run(
            np.ascontiguousarray(forcing, dtype=np.float64),
            self.refine,
            self._state,
            self._soil,
            self._tables,
            self._work,
            results,
        )
        return results

    @property
    def water_mm(self) -> Floats:
        """Water in each layer [mm], (columns, layers); a view of the state."""
        return self._state[:, :LAYERS]

    @property
    def water_content(self) -> Floats:
        """Volumetric water content [m3/m3], (columns, layers)."""
        return np.asarray(self.water_mm / _THICK_MM)

    @property
    def ponded_mm(self) -> Floats:
        """Water standing on each column [mm]."""
        return np.asarray(self._state[:, _POND_RAIN] + self._state[:, _POND_IRRIGATION])

    def stored_mm(self) -> Floats:
        """Water in and on each column [mm]."""
        return np.asarray(self.water_mm.sum(axis=1) + self.ponded_mm)

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


def band_pf(columns: Columns) -> Floats:
    """Depth-mean of pF over 0.15-1.0 m, of each column."""
    return np.asarray(suction_pf(columns) @ _BAND_WEIGHT)


def driest_top_pf(columns: Columns) -> Floats:
    """PF of the driest layer of 0-0.3 m, of each column."""
    return np.asarray(suction_pf(columns)[:, _TOP_WEIGHT > 0.0].max(axis=1))


def top_pf(columns: Columns) -> Floats:
    """Depth-mean of pF over 0-0.3 m, of each column."""
    return np.asarray(suction_pf(columns) @ _TOP_WEIGHT)


def water_content_at(columns: Columns, depth_m: float) -> Floats:
    """Volumetric water content [m3/m3] at a depth [m], between the layers' middles linear."""
    content = columns.water_content
    return np.array([np.interp(depth_m * 1000.0, _MIDDLES_MM, row) for row in content])


def least_uptake_gain(layers_pf: Floats, band_pf: float) -> Floats:
    """How much more of potential transpiration, at least, once the band is as wet as band_pf.

    layers_pf: of the ground as it is, (days, LAYERS); no layer gets drier, others than the band's
    stay as they are. Returns a share [0..1] for each day: the least over all ways to wet the band
    whose depth-mean is then at most band_pf, and a little less. Method: Lagrange's dual; each
    multiplier gives a bound that holds, and the best of MULTIPLIERS is returned.
    """
    best = np.zeros(len(layers_pf))
    parts = np.linspace(0.0, 1.0, _STEPS_TO_DRY + 1)
    for multiplier in MULTIPLIERS:
        bound = np.full(len(layers_pf), -multiplier * band_pf)
        for i in np.flatnonzero(_BAND_WEIGHT):
            dry = layers_pf[:, i, None]
            at = dry * parts
            # Between two points uptake is at least the drier one's, and pF at least the wetter's.
            gain = _ROOT_WEIGHT[i] * (_uptake(at[:, 1:]) - _uptake(dry))
            wet = multiplier * _BAND_WEIGHT[i]
            between = (gain + wet * at[:, :-1]).min(axis=1)
            bound += np.minimum(between, wet * layers_pf[:, i])
        best = np.maximum(best, bound)
    return best


MULTIPLIERS = tuple(np.linspace(0.0, 2.0, 41).tolist())  # share of potential a pF
_STEPS_TO_DRY = 100


def _uptake(layer_pf: Floats) -> Floats:
    """What is left of potential uptake at a pF [0..1]."""
    suction_cm = 10.0**layer_pf
    uptake = (UPTAKE_NONE_CM - suction_cm) / (UPTAKE_NONE_CM - UPTAKE_FULL_CM)
    return np.clip(uptake, 0.0, 1.0)
