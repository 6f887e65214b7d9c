"""Richards' equation solved finely, the check beside the columns of sim/ground/soil.py.

The same soil, sinks and ends as there, but cells of 2 mm at the surface that grow downwards, fluxes
by suction and the mean conductivity of two cells, and scipy's implicit solver of variable order and
step (LSODA) held to a tolerance. No yard beside it, no cracks. Slow: seconds for a season.
"""

from dataclasses import dataclass

import numpy as np
from numba import njit
from scipy.integrate import solve_ivp

from evenclay.sim.ground import soil
from evenclay.sim.ground.textures import POND_MM, Texture, pf
from evenclay.sim.types import Floats

SURFACE_CELL_MM = 2.0
DEPTH_MM = 3000.0
POND_H = 10.0 / 3600.0  # how fast standing water goes in or off where it may
STIFF_MM = 1.0e5  # pressure head of a saturated cell by its excess of water content
TOLERANCE_MM = 1e-5


@dataclass(frozen=True)
class Fine:
    """What a fine column came to at each hour's end: pF of the band, and sums of fluxes [mm]."""

    band_pf: Floats
    runoff_mm: float
    drainage_mm: float
    balance_mm: float


def edges_mm(cells: int) -> Floats:
    """Boundaries of the cells, each thicker than the one above by the same factor."""
    low, high = 1.0 + 1e-9, 2.0
    for _ in range(100):
        factor = (low + high) / 2.0
        deep = SURFACE_CELL_MM * (factor**cells - 1.0) / (factor - 1.0)
        low, high = (factor, high) if deep < DEPTH_MM else (low, factor)
    edges = SURFACE_CELL_MM * (factor ** np.arange(cells + 1) - 1.0) / (factor - 1.0)
    return np.asarray(edges * DEPTH_MM / edges[-1])


def _weights(edges: Floats, low_mm: float, high_mm: float) -> Floats:
    return np.asarray(np.diff(np.clip(edges, low_mm, high_mm)) / (high_mm - low_mm))


@njit(cache=True, error_model="numpy")
def _conductivity(s: float, m: float, n: float, ks: float) -> float:
    edge = soil.WET_SATURATION
    inner = min(s, edge)
    closed = (1.0 - inner ** (1.0 / m)) ** m
    relative = np.sqrt(inner) * (1.0 - closed) ** 2
    if s > edge:
        relative += (1.0 - relative) * (min(s, 1.0) - edge) / (1.0 - edge)
    return ks * relative


@njit(cache=True, error_model="numpy")
def _suction_mm(s: float, m: float, n: float, alpha_per_cm: float) -> float:
    """Suction of an effective saturation; a pressure, below 0, where it is above 1."""
    if s >= 1.0:
        return -STIFF_MM * (s - 1.0)
    return 10.0 * (s ** (-1.0 / m) - 1.0) ** (1.0 / n) / alpha_per_cm


@njit(cache=True, error_model="numpy")
def _rates(
    water: Floats,
    supply: float,
    evaporate: float,
    transpire: float,
    curve: Floats,
    thick: Floats,
    dry: Floats,
    roots: Floats,
) -> Floats:
    """Rates [mm/h] of what stands on the ground, of each cell's water, then of runoff, drainage and
    loss to the air. Only neighbours depend on each other, but for what air takes from a pond."""
    cells = len(thick)
    theta_r, theta_s, alpha, n, ks = curve
    m = 1.0 - 1.0 / n
    rates = np.zeros(cells + 4)
    above_k, above_suction, flux = 0.0, 0.0, 0.0
    pond = max(water[0], 0.0)
    lost_pond = min(evaporate, supply + pond / POND_H)
    for i in range(cells):
        s = max((water[i + 1] / thick[i] - theta_r) / (theta_s - theta_r), 1e-9)
        k, suction = _conductivity(s, m, n, ks), _suction_mm(s, m, n, alpha)
        if i == 0:
            takes = (ks + k) / 2.0 * (suction / (thick[0] / 2.0) + 1.0)
            flux = min(takes, supply - lost_pond + pond / POND_H)
            off = max(pond - POND_MM, 0.0) / POND_H
            rates[0] = supply - lost_pond - flux - off
            rates[cells + 1] = off
            rates[cells + 3] = lost_pond
        else:
            reach = (thick[i - 1] + thick[i]) / 2.0
            flux = (above_k + k) / 2.0 * ((suction - above_suction) / reach + 1.0)
            rates[i] -= flux
        rates[i + 1] += flux
        pf = np.log10(max(suction / 10.0, 1e-3))
        open_air = (soil.EVAPORATION_NONE_PF - pf) / (
            soil.EVAPORATION_NONE_PF - soil.EVAPORATION_FULL_PF
        )
        drawn = (soil.UPTAKE_NONE_CM - suction / 10.0) / (soil.UPTAKE_NONE_CM - soil.UPTAKE_FULL_CM)
        loss = (evaporate - lost_pond) * dry[i] * min(max(open_air, 0.0), 1.0)
        loss += transpire * roots[i] * min(max(drawn, 0.0), 1.0)
        rates[i + 1] -= loss
        rates[cells + 3] += loss
        above_k, above_suction = k, suction
    bottom = 10.0 * 10.0**soil.BOTTOM_PF
    s = (1.0 + (alpha * bottom / 10.0) ** n) ** -m
    k = (above_k + _conductivity(s, m, n, ks)) / 2.0
    flux = k * ((bottom - above_suction) / (thick[cells - 1] / 2.0) + 1.0)
    rates[cells] -= flux
    rates[cells + 2] = flux
    return rates


def run(
    texture: Texture, ks_mm_h: float, forcing: Floats, start_pf: float, cells: int = 120
) -> Fine:
    """Many hours of one column; forcing as `soil.Columns.run` takes it, (hours, FORCINGS).

    Raises: RuntimeError where the solver gives up.
    """
    edges = edges_mm(cells)
    thick = np.diff(edges)
    curve = np.array([texture.theta_r, texture.theta_s, texture.alpha_per_cm, texture.n, ks_mm_h])
    dry = _weights(edges, 0.0, 1000.0 * soil.EVAPORATION_M)
    quarter = 1000.0 * soil.ROOTS_M / len(soil.ROOT_SHARES)
    roots = np.sum(
        [
            share * _weights(edges, quarter * i, quarter * (i + 1))
            for i, share in enumerate(soil.ROOT_SHARES)
        ],
        axis=0,
    )
    band = _weights(edges, 1000.0 * soil.BAND_M[0], 1000.0 * soil.BAND_M[1])
    at_start = texture.water_content(10.0**start_pf) * thick
    state = np.concatenate(([0.0], at_start, np.zeros(3)))
    stored = state.sum()
    band_pf = np.empty(len(forcing))

    def over(hours: float, supply: float, pet: float) -> None:
        nonlocal state
        share = soil.TRANSPIRED_SHARE
        found = solve_ivp(
            lambda _, water: _rates(
                water, supply, pet * (1.0 - share), pet * share, curve, thick, dry, roots
            ),
            (0.0, hours),
            state,
            method="LSODA",
            t_eval=[hours],
            rtol=1e-6,
            atol=TOLERANCE_MM,
            lband=1,
            uband=1,
        )
        if not found.success:
            raise RuntimeError(found.message)
        state = found.y[:, -1]

    for hour, (rain, pet, irrigation, irrigation_s) in enumerate(forcing.tolist()):
        wet = irrigation_s / 3600.0 if irrigation > 0.0 else 0.0
        if wet > 0.0:
            over(wet, rain + irrigation / wet, pet)
        if wet < 1.0:
            over(1.0 - wet, rain, pet)
        content = state[1 : cells + 1] / thick
        band_pf[hour] = float(band @ pf(texture.suction_cm(content)))
    given = float(forcing[:, [soil.RAIN, soil.IRRIGATION]].sum())
    off, drained, lost = state[cells + 1 :].tolist()
    balance = stored + given - off - drained - lost - float(state[: cells + 1].sum())
    return Fine(band_pf, off, drained, balance)
