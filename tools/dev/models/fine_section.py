"""The cross-section solved finely in two dimensions, the check beside sim/section: no part of it.

The same clay, roots, surface and ends, but cells of 5 cm down and 10 cm across where it matters,
explicit steps of a quarter of an hour, and fluxes by the mean conductance of two cells. One zone.
Slow: some ten seconds for three years.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numba import njit

from evenclay.sim.ground.retention import FULL_PF
from evenclay.sim.section import PLACES, Ground, Layout, Settled, Zone, strain_weights
from evenclay.sim.section.clay import M2_D_PER_CM2_S, clay_of
from evenclay.sim.section.kernel import CRACKING_M
from evenclay.sim.section.layout import EDGE, SOFT_PF, STRIP_M, YARD
from evenclay.sim.section.section import CRACKS_OPEN_PF, CRACKS_WHOLE_PF
from evenclay.sim.section.shape import AIR_END_PF, AIR_FULL_PF, AIR_M
from evenclay.sim.types import Floats

PARTS = 4  # of an hour
POND_M = 0.003
CRACKED_M = 1.5  # of the weights of strain


@dataclass(frozen=True)
class Grid:
    """Edges of the cells: across, 0 at the slab's edge, the yard below 0; and down [m]."""

    across_m: Floats
    down_m: Floats

    def mean(self, values: Floats, from_m: float, to_m: float, layers_m: Floats) -> Floats:
        """Means over part of the width and given layers, (..., across, down) -> (..., layers)."""
        across = np.diff(np.clip(self.across_m, from_m, to_m))
        wide = np.einsum("...xz,x->...z", values, across / across.sum())
        down = np.array(
            [
                np.diff(np.clip(self.down_m, low, high)) / (high - low)
                for low, high in pairwise(layers_m)
            ]
        )
        return np.asarray(np.einsum("...z,lz->...l", wide, down))


def grid_of(yard_m: float, strip_m: float, slab_m: float, deep_m: float, fine: float) -> Grid:
    """Cells small near strip, edge and surface; fine: divides their sizes."""

    def cells(from_m: float, to_m: float, size_m: float) -> list[float]:
        count = max(1, round((to_m - from_m) / size_m * fine))
        return list(np.linspace(from_m, to_m, count + 1)[:-1])

    out = -strip_m
    across = cells(out - yard_m, out - 1.0, 0.3) + cells(out - 1.0, out, 0.1)
    across += cells(out, 0.0, 0.1) + cells(0.0, 1.5, 0.1) + cells(1.5, slab_m, 0.25) + [slab_m]
    down = cells(0.0, 1.0, 0.05) + cells(1.0, 2.5, 0.1) + cells(2.5, deep_m, 0.25) + [deep_m]
    return Grid(np.array(across), np.array(down))


@njit(cache=True, error_model="numpy")
def _look_up(
    water: Floats, table: Floats, low: float, per: float, k: Floats, pf: Floats, conducts: Floats
) -> None:
    for x in range(water.shape[0]):
        for z in range(water.shape[1]):
            place = (water[x, z] - low) * per
            n = min(max(int(place), 0), len(table) - 2)
            part = place - n
            k[x, z] = table[n, 1] + part * (table[n + 1, 1] - table[n, 1])
            pf[x, z] = table[n, 2] + part * (table[n + 1, 2] - table[n, 2])
            conducts[x, z] = table[n, 3] + part * (table[n + 1, 3] - table[n, 3])


@njit(cache=True, error_model="numpy")
def _left(pf: float, full: float, end: float) -> float:
    return min(max((end - pf) / (end - full), 0.0), 1.0)


@njit(cache=True, error_model="numpy")
def _run(  # noqa: PLR0915 - one loop, so that nothing is passed about
    wide: Floats,  # of each column of cells, and how thick each layer is
    thick: Floats,
    water: Floats,
    pond: Floats,
    sky: Floats,  # (across, 4): 1 where open, then coefficient, transpired share, exposure
    strip: Floats,  # 1 where water is given
    roots: Floats,  # (2, across, down)
    demands: Floats,  # (2,): coefficient times transpired share
    blocked: Floats,  # part of each layer's face at the slab's edge that the footing closes
    at_edge: int,
    table: Floats,
    low: float,
    high: float,
    full: float,
    opens: float,
    whole: float,
    bottom_pf: float,
    settings: Floats,
    top: Floats,
    dry: Floats,
    fissured: Floats,
    rain_m: Floats,
    et0_m: Floats,
    water_m: Floats,
    water_s: Floats,
    daily: Floats,
    sums: Floats,
) -> None:
    nx, nz = water.shape
    per = (len(table) - 1) / (high - low)
    pf, k, conducts = np.empty((nx, nz)), np.empty((nx, nz)), np.empty((nx, nz))
    change = np.empty((nx, nz))
    surface, share, up_full, up_end, compensation, air_full, air_end = settings[:7]
    air_first, air_later, air_cracks = settings[7:]
    dried, idle = np.zeros(nx), np.zeros(nx)
    dt = 1.0 / 24.0 / PARTS
    for h in range(len(rain_m)):
        for part in range(PARTS):
            # Water given falls in the first of the hour's parts.
            steps = max(1.0, np.ceil(water_s[h] / 3600.0 * PARTS - 1e-9))
            given = water_m[h] / steps if part < steps else 0.0
            for x in range(nx):
                if sky[x, 0] == 0.0:
                    continue
                fallen = rain_m[h] / PARTS * sky[x, 3] + given * strip[x]
                sums[0] += fallen * wide[x]
                if fallen > 0.0:
                    mean, lacks = 0.0, 0.0
                    for z in range(nz):
                        mean += top[z] * water[x, z]
                        lacks += max(opens - water[x, z], 0.0) * thick[z] * fissured[z]
                    opened = min(max((opens - mean) / (opens - whole), 0.0), 1.0)
                    taken = min(fallen * share * opened, lacks)
                    if taken > 0.0:
                        for z in range(nz):
                            lack = max(opens - water[x, z], 0.0)
                            water[x, z] += taken * lack * fissured[z] / lacks
                        fallen -= taken
                standing = pond[x] + fallen
                place = (water[x, 0] - low) * per
                n = min(max(int(place), 0), len(table) - 2)
                phi = table[n, 0] + (place - n) * (table[n + 1, 0] - table[n, 0])
                rate = surface + 2.0 * max(table[-1, 0] - phi, 0.0) / thick[0]
                into = min(standing, rate * dt)
                water[x, 0] += into / thick[0]
                for z in range(nz - 1):
                    if fissured[z] > 0.0:
                        over = max((water[x, z] - full) * thick[z], 0.0)
                        moved = min(surface * fissured[z + 1] * dt, over)
                        water[x, z] -= moved / thick[z]
                        water[x, z + 1] += moved / thick[z + 1]
                over = 0.0
                for z in range(nz - 1, -1, -1):
                    water[x, z] += over / thick[z]
                    over = max(water[x, z] - high, 0.0) * thick[z]
                    water[x, z] -= over / thick[z]
                into -= over
                dried[x] = max(dried[x] - max(into, 0.0), 0.0)
                off = max(standing - into - POND_M, 0.0)
                sums[1] += off * wide[x]
                pond[x] = standing - into - off
            _look_up(water, table, low, per, k, pf, conducts)
            change[:, :] = 0.0
            for x in range(nx):
                for z in range(nz):
                    if z + 1 < nz:
                        apart = (thick[z] + thick[z + 1]) / 2.0
                        mean = (conducts[x, z] + conducts[x, z + 1]) / 2.0
                        flux = mean * (pf[x, z + 1] - pf[x, z]) / apart + k[x, z]
                        change[x, z] -= flux / thick[z]
                        change[x, z + 1] += flux / thick[z + 1]
                    else:
                        flux = conducts[x, z] * (bottom_pf - pf[x, z]) / (thick[z] / 2.0)
                        flux += k[x, z]
                        change[x, z] -= flux / thick[z]
                        sums[2] += flux * dt * wide[x]
                    if x + 1 < nx:
                        apart = (wide[x] + wide[x + 1]) / 2.0
                        mean = (conducts[x, z] + conducts[x + 1, z]) / 2.0
                        flux = mean * (pf[x + 1, z] - pf[x, z]) / apart
                        if x == at_edge:
                            flux *= 1.0 - blocked[z]
                        change[x, z] -= flux / wide[x]
                        change[x + 1, z] += flux / wide[x + 1]
            for source in range(2):
                met, all_ = 0.0, 0.0
                for x in range(nx):
                    for z in range(nz):
                        root = roots[source, x, z] * wide[x]
                        all_ += root
                        met += root * _left(pf[x, z], up_full, up_end)
                if all_ > 0.0:
                    times = demands[source] * et0_m[h] * 24.0 / max(met / all_, compensation)
                    for x in range(nx):
                        for z in range(nz):
                            drawn = times * roots[source, x, z] * _left(pf[x, z], up_full, up_end)
                            change[x, z] -= drawn / thick[z]
                            sums[3] += drawn * dt * wide[x]
            for x in range(nx):
                air = sky[x, 0] * sky[x, 1] * (1.0 - sky[x, 2]) * et0_m[h] / PARTS
                lost = min(air, pond[x])
                pond[x] -= lost
                sums[4] += lost * wide[x]
                mean = 0.0
                for z in range(nz):
                    mean += top[z] * water[x, z]
                opened = min(max((opens - mean) / (opens - whole), 0.0), 1.0)
                later = max(dried[x] - air_first, 0.0)
                since = min(idle[x] + dt, 1.0)
                most = max(air_first - dried[x], 0.0) + opened * air_cracks * since
                most += np.sqrt(later**2 + air_later**2 * since) - later
                idle[x] = since * (1.0 - min((air - lost) / most, 1.0))
                air = min(air - lost, most)
                for z in range(nz):
                    gone = air * dry[z] * _left(pf[x, z], air_full, air_end)
                    change[x, z] -= gone / dt / thick[z]
                    dried[x] += gone
                    sums[4] += gone * wide[x]
            for x in range(nx):
                for z in range(nz):
                    water[x, z] += dt * change[x, z]
                    daily[h // 24, x, z] += pf[x, z] / 24.0 / PARTS
                over = 0.0
                for z in range(nz - 1, -1, -1):
                    water[x, z] += over / thick[z]
                    over = max(water[x, z] - high, 0.0) * thick[z]
                    water[x, z] -= over / thick[z]
                if over > 0.0:
                    pond[x if sky[x, 0] > 0.0 else at_edge] += (
                        over if sky[x, 0] > 0.0 else over * wide[x] / wide[at_edge]
                    )


@dataclass(frozen=True)
class Fine:
    """Daily mean pF of each cell, (days, across, down); and what did not add up [mm of a metre]."""

    grid: Grid
    pf: Floats
    balance_mm: float


def run(
    ground: Ground,
    zone: Zone,
    start_pf: Floats,
    bottom_pf: float,
    rain_mm: Floats,
    et0_mm: Floats,
    water_mm: Floats,
    water_s: Floats,
    fine: float = 1.0,
) -> Fine:
    """Live through whole days; start_pf: (columns, layers) of the ground's layout, spread out.

    The strip must join the slab: slab_m half of its width.
    """
    layout = ground.layout
    clay = clay_of(zone.texture, ground)
    of = np.array(layout.widths_m)
    places = np.array(layout.places)
    yard_m, slab_m = _yard_m(layout), of[places >= EDGE].sum()
    grid = grid_of(yard_m, zone.width_m, slab_m, layout.edges_m[-1], fine)
    middle_x = (grid.across_m[1:] + grid.across_m[:-1]) / 2.0
    columns = np.cumsum([0.0, *layout.columns_m(zone.width_m)]) - yard_m - zone.width_m
    column = np.clip(np.searchsorted(columns, middle_x) - 1, 0, len(places) - 1)
    middle_z = (grid.down_m[1:] + grid.down_m[:-1]) / 2.0
    layer = np.searchsorted(layout.edges_m, middle_z) - 1
    water = clay.content(start_pf[column][:, layer])
    at_yard, at_strip = middle_x < -zone.width_m, (middle_x > -zone.width_m) & (middle_x < 0.0)
    sky = np.zeros((len(middle_x), 4))
    sky[at_yard] = 1.0, zone.yard_coefficient, zone.yard_cover.transpired_share, zone.yard_exposure
    sky[at_strip] = 1.0, zone.coefficient, zone.cover.transpired_share, zone.exposure

    def share(to_m: float) -> Floats:
        return np.asarray(np.diff(np.clip(grid.down_m, 0.0, to_m)) / np.diff(grid.down_m))

    thick = np.diff(grid.down_m)
    pond, sums = np.zeros(len(middle_x)), np.zeros(5)
    wide = np.diff(grid.across_m)

    def held() -> float:
        return float(wide @ (water @ thick + pond))

    before = held()
    daily = np.zeros((len(rain_mm) // 24, *water.shape))
    k, pf = clay.table[:, 1], clay.table[:, 2]
    by_matrix = k * 10.0**pf / 100.0 * np.log(10.0)  # flux by a gradient of one pF a metre [m2/d]
    in_all = ground.alpha_cm2_s * M2_D_PER_CM2_S * ground.c_per_pf
    conducts = np.where(pf >= FULL_PF, np.maximum(by_matrix, in_all), by_matrix)
    table = np.column_stack([clay.table, conducts])
    _run(
        wide,
        thick,
        water,
        pond,
        sky,
        at_strip.astype(np.float64),
        _roots(ground, zone, grid, middle_x, thick),
        np.array(
            [
                zone.yard_coefficient * zone.yard_cover.transpired_share,
                zone.coefficient * zone.cover.transpired_share,
            ]
        ),
        share(ground.footing_m) if zone.slab_m is not None else np.ones(len(thick)),
        int(np.flatnonzero(at_strip)[-1]),
        table,
        clay.low,
        clay.saturated,
        clay.full,
        float(clay.content(np.array(CRACKS_OPEN_PF))),
        float(clay.content(np.array(CRACKS_WHOLE_PF))),
        bottom_pf,
        np.array(
            [
                ground.surface_mm_h * 0.024,
                ground.crack_share,
                ground.uptake_full_pf,
                ground.uptake_end_pf,
                ground.compensation,
                AIR_FULL_PF,
                AIR_END_PF,
                ground.air_first_mm / 1000.0,
                ground.air_later_mm_d05 / 1000.0,
                ground.air_cracks_mm_d / 1000.0,
            ]
        ),
        share(CRACKING_M) * thick / CRACKING_M,
        share(AIR_M) * thick / AIR_M,
        share(ground.fissured_m),
        rain_mm / 1000.0,
        et0_mm / 1000.0,
        water_mm / 1000.0,
        water_s,
        daily,
        sums,
    )
    fallen, off, drained, drawn, lost = sums
    balance = before + fallen - off - drained - drawn - lost - held()
    return Fine(grid, daily, 1000.0 * balance)


def _roots(ground: Ground, zone: Zone, grid: Grid, middle_x: Floats, thick: Floats) -> Floats:
    """Uptake of each cell over its cover's demand, (2, across, down)."""
    wide = np.diff(grid.across_m)
    open_ = 1.0 - np.diff(np.clip(grid.down_m, 0.0, ground.footing_m)) / thick
    found = np.zeros((2, len(middle_x), len(thick)))
    for source, cover, from_m, home_m in (
        (0, zone.yard_cover, -zone.width_m, -wide.sum()),
        (1, zone.cover, 0.0, -zone.width_m),
    ):
        if cover.roots_m <= 0.0:
            continue
        beyond = (middle_x - from_m) / zone.yard_reach_m if zone.yard_reach_m > 0.0 else 9.0
        density = np.where(middle_x < from_m, middle_x > home_m, np.clip(1.0 - beyond, 0.0, 1.0))
        deep_cm = 100.0 * np.minimum(grid.down_m, cover.roots_m)
        cells = density[:, None] * -np.diff(cover.beta**deep_cm)
        cells[middle_x > 0.0] *= open_
        home = (middle_x < from_m) & (middle_x > home_m)
        found[source] = cells / (wide @ cells.sum(axis=1)) * wide[home].sum()
    return found


@dataclass(frozen=True)
class Compared:
    """A coarse section beside a fine one, by place.

    rmse_pf: of the daily mean pF at 0.3-1.0 m. layer_pf: the same of single layers, the worst.
    movement_pf_m: yearly range of weighted suction, mean of the years, coarse and fine.
    """

    rmse_pf: dict[str, float]
    layer_pf: dict[str, float]
    movement_pf_m: dict[str, tuple[float, float]]
    balance_mm: float


def compare(
    ground: Ground,
    zone: Zone,
    settled: Settled,
    deep_pf: float,
    rain_mm: Floats,
    et0_mm: Floats,
    water_mm: Floats,
) -> Compared:
    """Live through some years in both; settled: with this zone alone, over
    deep_pf. Water takes a quarter hour.

    What is wetter than pF 2.0 counts as 2.0, as in all measures: the logarithm of next to no
    suction says nothing.
    """
    layout = ground.layout
    seconds = np.full(len(water_mm), 900.0)
    start = settled.section.pf()[0]
    fine = run(ground, zone, start, deep_pf, rain_mm, et0_mm, water_mm, seconds)
    coarse = settled.section.live(rain_mm, et0_mm, water_mm[:, None], seconds[:, None]).pf[:, 0]
    sides = _sides(layout, zone) - _yard_m(layout) - zone.width_m
    weights = strain_weights(layout.edges_m, CRACKED_M, ground.footing_m)
    found = Compared({}, {}, {}, fine.balance_mm)
    for place, name in enumerate(PLACES):
        finely = fine.grid.mean(
            np.maximum(fine.pf, SOFT_PF), sides[place], sides[place + 1], np.array(layout.edges_m)
        )
        off = np.maximum(coarse[:, place], SOFT_PF) - finely
        found.rmse_pf[name] = float(np.sqrt(((off @ layout.mean(*STRIP_M)) ** 2).mean()))
        found.layer_pf[name] = float(np.sqrt((off**2).mean(axis=0)).max())
        found.movement_pf_m[name] = (
            _movement(np.maximum(coarse[:, place], SOFT_PF) @ weights),
            _movement(finely @ weights),
        )
    return found


def _yard_m(layout: Layout) -> float:
    return float(sum(w for w, p in zip(layout.widths_m, layout.places, strict=True) if p == YARD))


def _sides(layout: Layout, zone: Zone) -> Floats:
    """Where places begin and end, from the yard's far side on [m]."""
    widths = layout.columns_m(zone.width_m)
    wide = [widths[np.array(layout.places) == place].sum() for place in range(len(PLACES))]
    return np.cumsum([0.0, *wide])


def _movement(suction: Floats) -> float:
    years = suction[: len(suction) // 365 * 365].reshape(-1, 365)
    return float(np.ptp(years, axis=1).mean())
