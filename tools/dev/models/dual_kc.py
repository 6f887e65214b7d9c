"""Evapotranspiration of a strip by FAO-56's dual crop coefficient: plants and bare soil apart.

A model beside sim/section, to check what bare ground there evaporates and to see what a
strip's coefficient on ET0 should be. Source: Allen et al. 1998, FAO-56, chapter 7.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from evenclay.sim.types import Floats

KC_MIN = 0.15  # least coefficient of a dry bare soil with hardly a plant; FAO-56, eq. 76
# Organic mulch that covers the ground whole halves what the soil loses to the air.
# Source: FAO-56, chapter 10, from memory.
MULCHED_SHARE = 0.5


def drying_power(wind_2m_m_s: ArrayLike, rh_min_pct: ArrayLike, height_m: ArrayLike) -> Floats:
    """What wind and dry air add to a coefficient, 0 at 2 m/s and 45 %.

    wind_2m_m_s is held to 1..6, rh_min_pct to 20..80, as the fit was. Source: FAO-56, eq. 70.
    """
    wind = np.clip(np.asarray(wind_2m_m_s, dtype=np.float64), 1.0, 6.0)
    humidity = np.clip(np.asarray(rh_min_pct, dtype=np.float64), 20.0, 80.0)
    height = np.asarray(height_m, dtype=np.float64)
    return np.asarray((0.04 * (wind - 2.0) - 0.004 * (humidity - 45.0)) * (height / 3.0) ** 0.3)


def kcb_adjusted(
    kcb: ArrayLike, wind_2m_m_s: ArrayLike, rh_min_pct: ArrayLike, height_m: ArrayLike
) -> Floats:
    """Basal coefficient for a climate other than 2 m/s and 45 %. Source: FAO-56, eq. 70.

    Values of 0.45 and below stay as they are.
    """
    basal = np.asarray(kcb, dtype=np.float64)
    change = drying_power(wind_2m_m_s, rh_min_pct, height_m)
    return np.asarray(np.where(basal > 0.45, basal + change, basal))


def kc_max(
    kcb: ArrayLike, wind_2m_m_s: ArrayLike, rh_min_pct: ArrayLike, height_m: ArrayLike
) -> Floats:
    """Largest coefficient of a wet surface, 1.05 to 1.3 as a rule. Source: FAO-56, eq. 72."""
    wet = 1.2 + drying_power(wind_2m_m_s, rh_min_pct, height_m)
    return np.asarray(np.maximum(wet, np.asarray(kcb, dtype=np.float64) + 0.05))


def tew_mm(field_capacity: float, wilting_point: float, depth_m: float = 0.10) -> float:
    """Total evaporable water [mm] of the top layer [0.10-0.15 m]. Source: FAO-56, eq. 73."""
    return 1000.0 * (field_capacity - 0.5 * wilting_point) * depth_m


def evaporation_kr(depletion_mm: ArrayLike, tew: float, rew: float) -> Floats:
    """Reduction of evaporation [0..1] at a depletion of the top layer. Source: FAO-56, eq. 74."""
    depletion = np.asarray(depletion_mm, dtype=np.float64)
    return np.asarray(np.clip((tew - depletion) / (tew - rew), 0.0, 1.0))


def covered_share(kcb: float, kc_most: float, height_m: float) -> float:
    """Share of the ground that plants cover [0..0.99]. Source: FAO-56, eq. 76."""
    bare = max(kcb - KC_MIN, 0.0) / (kc_most - KC_MIN)
    return float(min(bare ** (1.0 + 0.5 * height_m), 0.99))


def wet_bare_share(covered: float, wetted: float) -> float:
    """Share of the ground both wet and bare [0.01..1], few. Source: FAO-56, eq. 75."""
    return min(max(1.0 - covered, 0.01), wetted)


def soil_ke(kr: ArrayLike, kcb: float, kc_most: float, few: float) -> Floats:
    """Coefficient of soil evaporation. Source: FAO-56, eq. 71."""
    room = np.asarray(kr, dtype=np.float64) * (kc_most - kcb)
    return np.asarray(np.minimum(room, few * kc_most))


@dataclass(frozen=True)
class Surface:
    """What lies and grows on a strip.

    kcb: basal coefficient (0 for a bare strip; turf 0.85 to 0.95, shrubs less). height_m: of the
    plants. tew_mm, rew_mm: total and readily evaporable water of the top layer (clay 22-29 and
    8-12, FAO-56 table 19). wetted: share of the ground that water wets, 0..1 (rain and a soaker
    strip: 1). evaporated: what a mulch leaves of the soil's evaporation, 0..1.
    """

    kcb: float
    height_m: float
    tew_mm: float
    rew_mm: float
    wetted: float = 1.0
    evaporated: float = 1.0

    def __post_init__(self) -> None:
        if not 0.0 <= self.rew_mm < self.tew_mm:
            raise ValueError("readily evaporable water lies between 0 and the total")


@dataclass(frozen=True)
class Days:
    """Daily results: coefficients, evaporation from the soil [mm], depletion at the end [mm]."""

    kc: Floats
    ke: Floats
    kr: Floats
    evaporation_mm: Floats
    depletion_mm: Floats
    percolation_mm: Floats


def run(
    surface: Surface,
    et0_mm: Floats,
    water_mm: Floats,
    *,
    wind_2m_m_s: float = 2.0,
    rh_min_pct: float = 45.0,
    depletion_mm: float = 0.0,
    ks: Floats | None = None,
) -> Days:
    """Run the strip's top layer day by day; the plants' roots reach past it.

    et0_mm: reference evapotranspiration. water_mm: rain and irrigation less runoff, early in the
    day. depletion_mm: at the start, 0..TEW. ks: stress of the plants, 1 where there is none.
    Source: FAO-56, eq. 69, 71, 77-79; no transpiration from the top layer, which eq. 77 allows.
    """
    most = float(kc_max(surface.kcb, wind_2m_m_s, rh_min_pct, surface.height_m))
    kcb = float(kcb_adjusted(surface.kcb, wind_2m_m_s, rh_min_pct, surface.height_m))
    few = wet_bare_share(covered_share(kcb, most, surface.height_m), surface.wetted)
    count = len(et0_mm)
    ke, kr, evaporation, ends, percolation = (np.zeros(count) for _ in range(5))
    depletion = depletion_mm
    for day in range(count):
        wet = water_mm[day] / surface.wetted
        percolation[day] = max(wet - depletion, 0.0)
        depletion = max(depletion - wet, 0.0)
        kr[day] = float(evaporation_kr(depletion, surface.tew_mm, surface.rew_mm))
        asked = float(soil_ke(kr[day], kcb, most, few)) * surface.evaporated
        # A day cannot take more than the layer still holds.
        evaporation[day] = min(asked * et0_mm[day], (surface.tew_mm - depletion) * few)
        ke[day] = evaporation[day] / et0_mm[day] if et0_mm[day] > 0.0 else asked
        depletion += evaporation[day] / few
        ends[day] = depletion
    stress = np.ones(count) if ks is None else ks
    return Days(stress * kcb + ke, ke, kr, evaporation, ends, percolation)
