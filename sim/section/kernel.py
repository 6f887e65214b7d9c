"""The arithmetic of a section, compiled: water through the surface, between layers and columns.

An hour of weather meets the surface first: what falls, and stands, goes into the top layer as fast
as the fissured top conducts and the gradient into it draws; on dry clay cracks swallow a share and
wet the layers that they reach. What a fissured layer holds beyond pF 2 falls to the next. What
stands above the store runs off. Every few hours all else follows in one linearised implicit step
down each column, with roots and evaporation, then one across each layer.

All in one file: numba keeps what it compiled by the file of the outermost function alone, and would
go on with an old callee of another file.
"""

from typing import Any

import numpy as np
from numba import njit
from numba.extending import register_jitable
from numpy.typing import NDArray

from evenclay.sim.section.arrays import HOURS, STRIP, YARD, Ints, Records, Shape, State, Work
from evenclay.sim.types import Floats

POND_M = 0.003  # surface storage: common practice, no source
CENTRED = 0.55  # how far into a step its rates are taken: 0.5 errs least, more damps what swings
CRACKING_M = 0.3  # whose loss of water opens cracks
SHORTEST = 1.0 / 360.0  # of an hour, that water takes at least

_CALLED: dict[str, Any] = {"cache": True, "error_model": "numpy", "nogil": True}
# What Python never calls needs no way in from there, which takes longer to compile than the rest.
_INNER = _CALLED | {"no_cpython_wrapper": True, "no_cfunc_wrapper": True}
_called = njit(**_CALLED)
_njit = njit(**_INNER)
_inlined = njit(**_INNER, forceinline=True)

MARKS, OF_LAYER, OF_LANE, OF_CELL, OF_ZONE = 3, 5, 13, 20, 3  # how many numbers rooms hold of each


@register_jitable
def parts_of(
    rooted: int,
    tables: Floats,
    house: Records,
    zone: Records,
    marks: Ints,
    layers: Floats,
    lanes: Floats,
    cells: Floats,
    zones: Floats,
) -> tuple[Shape, State, Work]:
    """What a section's rooms hold, each part by its name; for Python and for what is compiled."""
    shape = Shape(
        zones=zones.shape[1],
        rooted=rooted,
        tables=tables,
        house=house,
        zone=zone,
        table=marks[0],
        above=marks[1],
        thick=layers[0],
        gap=layers[1],
        dry=layers[2],
        top=layers[3],
        fissured=layers[4],
        low=lanes[0],
        per_step=lanes[1],
        saturated=lanes[2],
        full=lanes[3],
        share=lanes[4],
        width=lanes[5],
        side=cells[0],
        roots=cells[1:3],
    )
    state = State(
        water=cells[3],
        pf_sum=cells[4],
        pond_rain=lanes[6],
        pond_water=lanes[7],
        dried=lanes[8],
        idle=lanes[9],
        moving=marks[2],
        demand=zones[0],
        expected=zones[1],
        worst=zones[2],
    )
    work = Work(
        phi=cells[5],
        phi_slope=cells[6],
        k=cells[7],
        k_slope=cells[8],
        pf=cells[9],
        pf_slope=cells[10],
        asked=cells[11],
        lost=cells[12],
        lost_slope=cells[13],
        out=cells[14],
        out_slope=cells[15],
        out_next=cells[16],
        shift=cells[17],
        carry=cells[18],
        change=cells[19],
        into=lanes[10],
        into_slope=lanes[11],
        air=lanes[12],
    )
    return shape, state, work


@_njit
def _look_up(shape: Shape, state: State, work: Work) -> None:
    """Potential, conductivity and pF of every cell, with their slopes."""
    layers, lanes = state.water.shape
    last = shape.tables.shape[1] - 2
    for i in range(layers):
        for j in range(lanes):
            t, per = shape.table[j], shape.per_step[j]
            place = (state.water[i, j] - shape.low[j]) * per
            k = min(max(int(place), 0), last)
            part = place - k
            phi, conducts, pf = shape.tables[t, k]
            step = shape.tables[t, k + 1, 0] - phi
            work.phi[i, j] = phi + part * step
            work.phi_slope[i, j] = step * per
            step = shape.tables[t, k + 1, 1] - conducts
            work.k[i, j] = conducts + part * step
            work.k_slope[i, j] = step * per
            step = shape.tables[t, k + 1, 2] - pf
            pf += part * step
            work.pf[i, j] = pf
            work.pf_slope[i, j] = step * per
            state.pf_sum[i, j] += pf


@_called
def mean_content(zones: int, water: Floats, columns: Floats, weights: Floats) -> Floats:
    """A weighted sum of water content over columns and layers of every zone, (zones,)."""
    found = np.zeros(zones)
    for c in range(len(columns)):
        if columns[c] > 0.0:
            for i in range(len(weights)):
                if weights[i] > 0.0:
                    for z in range(zones):
                        found[z] += columns[c] * weights[i] * water[i, c * zones + z]
    return found


@_called
def mean_pf(
    zones: int,
    tables: Floats,
    table: Ints,
    low: Floats,
    per_step: Floats,
    water: Floats,
    columns: Floats,
    weights: Floats,
) -> Floats:
    """A weighted sum of pF over columns and layers of every zone, (zones,)."""
    found = np.zeros(zones)
    last = tables.shape[1] - 2
    for c in range(len(columns)):
        if columns[c] > 0.0:
            for z in range(zones):
                j = c * zones + z
                t = table[j]
                mean = 0.0
                for i in range(len(weights)):
                    if weights[i] > 0.0:
                        place = (water[i, j] - low[j]) * per_step[j]
                        k = min(max(int(place), 0), last)
                        a, b = tables[t, k, 2], tables[t, k + 1, 2]
                        mean += weights[i] * (a + (place - k) * (b - a))
                found[z] += columns[c] * mean
    return found


@_inlined
def _left(pf: float, full: float, end: float) -> float:
    """What is left of a loss at a pF: all up to `full`, none from `end` on."""
    return float(min(max((end - pf) / (end - full), 0.0), 1.0))


@_njit
def _ask(shape: Shape, state: State, work: Work, days: float) -> None:
    """What roots ask of each cell at most [m/d].

    Where some roots stand in dry ground, wetter ones make up for it, down to a share of stress.
    Source: Jarvis 1989, J. Hydrol. 107:57-72.
    """
    lanes = state.water.shape[1]
    zones = shape.zones
    one = shape.house[0]
    for i in range(shape.rooted):
        for j in range(lanes):
            work.asked[i, j] = 0.0
    for source in range(2):
        for z in range(zones):
            if source == 0:
                demand = shape.zone[z].yard_coefficient * shape.zone[z].yard_transpired
            else:
                demand = shape.zone[z].strip_coefficient * shape.zone[z].strip_transpired
            demand *= state.demand[z] / days
            if demand <= 0.0:
                continue
            met, whole = 0.0, 0.0
            for i in range(shape.rooted):
                for j in range(z, lanes, zones):
                    root = shape.roots[source, i, j] * shape.width[j]
                    if root > 0.0:
                        whole += root
                        met += root * _left(work.pf[i, j], one.uptake_full_pf, one.uptake_end_pf)
            if whole > 0.0:
                times = demand / max(met / whole, one.compensation)
                for i in range(shape.rooted):
                    for j in range(z, lanes, zones):
                        work.asked[i, j] += times * shape.roots[source, i, j]


@_inlined
def _opened(shape: Shape, state: State, j: int, more: float) -> float:
    """How far cracks are open, 0..1: as the top has lost water, of which it gains some more [m]."""
    one = shape.zone[j % shape.zones]
    mean = more / CRACKING_M
    for i in range(len(shape.thick)):
        mean += shape.top[i] * state.water[i, j]
    opened = (one.cracks_open - mean) / (one.cracks_open - one.cracks_whole)
    return float(one.cracks * min(max(opened, 0.0), 1.0))


@_inlined
def _air_may_take(shape: Shape, opened: float, dried: float, days: float) -> float:
    """The most that air takes from the ground in some time [m].

    Source: Ritchie 1972, Water Resour. Res. 8:1204-1213: freely at first, then by the root of
    time; here told by what was taken before. And out of cracks.
    """
    one = shape.house[0]
    later = max(dried - one.air_first_m, 0.0)
    freely = max(one.air_first_m - dried, 0.0)
    more = np.sqrt(later**2 + one.air_later_m2_d * days) - later
    return float(freely + more + opened * one.air_cracks_m_d * days)


@_njit
def _lose(shape: Shape, state: State, work: Work, days: float, day: Records) -> None:
    """What roots and air take of each cell [m/d], with slopes; what air asks of each lane."""
    lanes = state.water.shape[1]
    one = shape.house[0]
    for j in range(lanes):
        z = j % shape.zones
        asked = 0.0
        if shape.above[j] == YARD:
            asked = (
                shape.zone[z].yard_coefficient
                * (1.0 - shape.zone[z].yard_transpired)
                * state.demand[z]
            )
        elif shape.above[j] == STRIP:
            asked = (
                shape.zone[z].strip_coefficient
                * (1.0 - shape.zone[z].strip_transpired)
                * state.demand[z]
            )
        standing = state.pond_rain[j] + state.pond_water[j]
        lost = min(asked, standing)
        if lost > 0.0:  # what stands goes first
            left = 1.0 - lost / standing
            state.pond_rain[j] *= left
            state.pond_water[j] *= left
            state.expected[z] -= lost * shape.width[j]
            if shape.above[j] == STRIP:
                day[z].evaporated_mm += 1000.0 * lost * shape.share[j]
        asked -= lost
        if shape.above[j] > 0:
            since = min(state.idle[j] + days, 1.0)  # at night nothing is asked
            opened = _opened(shape, state, j, 0.0)
            most = _air_may_take(shape, opened, state.dried[j], since)
            state.idle[j] = since * (1.0 - min(asked / most, 1.0))
            asked = min(asked, most)
        work.air[j] = asked / days
    per_uptake = 1.0 / (one.uptake_end_pf - one.uptake_full_pf)
    per_air = 1.0 / (one.air_end_pf - one.air_full_pf)
    for i in range(shape.rooted):
        for j in range(lanes):
            asked, pf = work.asked[i, j], work.pf[i, j]
            left = (one.uptake_end_pf - pf) * per_uptake
            lost = asked * min(max(left, 0.0), 1.0)
            slope = -asked * work.pf_slope[i, j] * per_uptake if 0.0 < left < 1.0 else 0.0
            asked = work.air[j] * shape.dry[i]
            left = (one.air_end_pf - pf) * per_air
            lost += asked * min(max(left, 0.0), 1.0)
            slope -= asked * work.pf_slope[i, j] * per_air if 0.0 < left < 1.0 else 0.0
            work.lost[i, j] = lost
            work.lost_slope[i, j] = CENTRED * slope


@_njit
def _down(shape: Shape, state: State, work: Work, days: float) -> None:
    """One step down every column (Thomas' algorithm)."""
    layers, lanes = state.water.shape
    for i in range(layers):
        thick = shape.thick[i]
        if i < layers - 1:
            gap = 1.0 / shape.gap[i]
            for j in range(lanes):
                flux = (work.phi[i, j] - work.phi[i + 1, j]) * gap + work.k[i, j]
                work.out[i, j] = flux
                work.out_slope[i, j] = CENTRED * (work.phi_slope[i, j] * gap + work.k_slope[i, j])
                work.out_next[i, j] = -CENTRED * work.phi_slope[i + 1, j] * gap
        else:
            for j in range(lanes):
                one = shape.zone[j % shape.zones]
                gap = one.bottom_held / shape.gap[i]
                falls = one.bottom_falls
                flux = (work.phi[i, j] - one.bottom_phi) * gap + falls * work.k[i, j]
                work.out[i, j] = flux
                slope = work.phi_slope[i, j] * gap + falls * work.k_slope[i, j]
                work.out_slope[i, j] = CENTRED * slope
                work.out_next[i, j] = 0.0
        if i == 0:
            for j in range(lanes):
                one = shape.zone[j % shape.zones]
                gap = 2.0 / thick * one.surface_held * (shape.above[j] > 0)
                phi = one.yard_phi if shape.above[j] == YARD else one.strip_phi
                work.into[j] = (phi - work.phi[i, j]) * gap
                work.into_slope[j] = -CENTRED * work.phi_slope[i, j] * gap
                slope = work.out_slope[i, j] + work.lost_slope[i, j] - work.into_slope[j]
                per = days / (thick + days * slope)
                work.shift[i, j] = per * work.out_next[i, j]
                work.carry[i, j] = per * (work.into[j] - work.out[i, j] - work.lost[i, j])
        else:
            for j in range(lanes):
                lower = -days * work.out_slope[i - 1, j]
                middle = (
                    thick
                    - lower * work.shift[i - 1, j]
                    + days
                    * (work.out_slope[i, j] - work.out_next[i - 1, j] + work.lost_slope[i, j])
                )
                right = days * (work.out[i - 1, j] - work.out[i, j] - work.lost[i, j])
                work.shift[i, j] = days * work.out_next[i, j] / middle
                work.carry[i, j] = (right - lower * work.carry[i - 1, j]) / middle
    for j in range(lanes):
        change = work.carry[layers - 1, j]
        work.change[layers - 1, j] = change
        state.water[layers - 1, j] += change
        drained = days * (work.out[layers - 1, j] + work.out_slope[layers - 1, j] * change)
        state.expected[j % shape.zones] -= drained * shape.width[j]
    for n in range(layers - 1):
        i = layers - 2 - n
        for j in range(lanes):
            work.change[i, j] = work.carry[i, j] - work.shift[i, j] * work.change[i + 1, j]
            state.water[i, j] += work.change[i, j]
    for j in range(lanes):
        entered = days * (work.into[j] + work.into_slope[j] * work.change[0, j])
        state.expected[j % shape.zones] += entered * shape.width[j]


@_njit
def _settle_losses(shape: Shape, state: State, work: Work, days: float, day: Records) -> None:
    """Book what roots and air took, held within nothing and what was asked."""
    lanes = state.water.shape[1]
    one = shape.house[0]
    per_uptake = 1.0 / (one.uptake_end_pf - one.uptake_full_pf)
    per_air = 1.0 / (one.air_end_pf - one.air_full_pf)
    for i in range(shape.rooted):
        for j in range(lanes):
            z = j % shape.zones
            asked, dried = work.asked[i, j], work.air[j] * shape.dry[i]
            if asked + dried <= 0.0:
                continue
            change, pf = work.change[i, j], work.pf[i, j]
            linear = work.lost[i, j] + work.lost_slope[i, j] * change
            after = pf + CENTRED * change * work.pf_slope[i, j]
            left = (one.uptake_end_pf - pf) * per_uptake
            if 0.0 < left < 1.0:
                left = (one.uptake_end_pf - after) * per_uptake
            drawn = asked * min(max(left, 0.0), 1.0)
            left = (one.air_end_pf - pf) * per_air
            if 0.0 < left < 1.0:
                left = (one.air_end_pf - after) * per_air
            evaporated = dried * min(max(left, 0.0), 1.0)
            mended = days * (linear - drawn - evaporated) / shape.thick[i]
            work.change[i, j] += mended
            state.water[i, j] += mended
            state.dried[j] += days * evaporated
            state.expected[z] -= days * (drawn + evaporated) * shape.width[j]
            if shape.above[j] == STRIP:
                day[z].evaporated_mm += 1000.0 * days * evaporated * shape.share[j]
                day[z].transpired_mm += 1000.0 * days * drawn * shape.share[j]


@_njit
def _across(shape: Shape, state: State, work: Work, days: float) -> None:
    """One step across every layer, from the yard inwards (Thomas' algorithm).

    Column by column, all layers of one before the next: each waits for its neighbour alone.
    """
    layers, lanes = state.water.shape
    zones = shape.zones
    for i in range(layers):
        for j in range(lanes):
            work.phi[i, j] += work.phi_slope[i, j] * work.change[i, j]
        for j in range(zones):
            right = days * shape.side[i, j]
            middle = shape.width[j] + CENTRED * right * work.phi_slope[i, j]
            work.shift[i, j] = -CENTRED * right * work.phi_slope[i, j + zones] / middle
            work.carry[i, j] = right * (work.phi[i, j + zones] - work.phi[i, j]) / middle
    for first in range(zones, lanes, zones):
        next_one = zones if first + zones < lanes else 0  # beyond the last column nothing passes
        for i in range(layers):
            for j in range(first, first + zones):
                before, beyond = j - zones, j + next_one
                left = days * shape.side[i, before]
                right = days * shape.side[i, j]  # of the last column 0
                slope = CENTRED * work.phi_slope[i, j]
                lower = -CENTRED * left * work.phi_slope[i, before]
                middle = shape.width[j] + (left + right) * slope - lower * work.shift[i, before]
                known = left * (work.phi[i, before] - work.phi[i, j])
                known += right * (work.phi[i, beyond] - work.phi[i, j])
                work.shift[i, j] = -CENTRED * right * work.phi_slope[i, beyond] / middle
                work.carry[i, j] = (known - lower * work.carry[i, before]) / middle
    for n in range(lanes // zones):
        first = lanes - zones - n * zones
        for i in range(layers):
            for j in range(first, first + zones):
                change = work.carry[i, j]
                if n > 0:
                    change -= work.shift[i, j] * work.change[i, j + zones]
                work.change[i, j] = change
                state.water[i, j] += change


@_njit
def _within(shape: Shape, state: State) -> None:
    """Send what a saturated layer cannot hold up, at last to the surface; see what moves on.

    Under a slab it comes up in its zone's strip.
    """
    layers, lanes = state.water.shape
    for j in range(lanes):
        most = shape.saturated[j]
        full = shape.full[j] + 1e-6
        excess = 0.0
        for i in range(layers - 1, -1, -1):
            water = state.water[i, j]
            if excess > 0.0 or water > most:
                water += excess / shape.thick[i]
                excess = max(0.0, water - most) * shape.thick[i]
                state.water[i, j] = min(water, most)
            if water > full and shape.fissured[i] > 0.0 and shape.above[j] > 0:
                state.moving[j] = 1
        if excess > 0.0:
            to = j
            if shape.above[j] == 0:
                for other in range(j % shape.zones, lanes, shape.zones):
                    if shape.above[other] == STRIP:
                        to = other
            state.pond_rain[to] += excess * shape.width[j] / shape.width[to]
            state.moving[to] = 1


@_inlined
def _swallow(shape: Shape, share: float, state: State, j: int, fallen: float, more: float) -> float:
    """Let cracks take their share of what falls [m] and wet the layers they reach; what they took.

    Each layer takes by what it has lost. more: what the top gains meanwhile; half of it counts.
    """
    one = shape.zone[j % shape.zones]
    layers = len(shape.thick)
    dry = 0.0
    for i in range(layers):
        lack = one.cracks_open - state.water[i, j]
        if lack > 0.0:
            dry += lack * shape.thick[i] * shape.fissured[i]
    taken = min(fallen * share * _opened(shape, state, j, more / 2.0), dry)
    if taken <= 0.0:
        return 0.0
    for i in range(layers):
        lack = one.cracks_open - state.water[i, j]
        if lack > 0.0:
            state.water[i, j] += taken * lack * shape.fissured[i] / dry
    return float(taken)


@_inlined
def _through(shape: Shape, surface_m_d: float, state: State, j: int, days: float) -> float:
    """Let fissured layers pass down what they hold beyond pF 2; what finds no room comes up [m].

    Downwards from the top, so that water passes in one step through all that is full already: a
    fissure holds next to nothing, and the outcome does not hang on the step.
    """
    most, fissured = shape.saturated[j], 0
    for i in range(len(shape.thick) - 1):
        if shape.fissured[i] <= 0.0:
            break
        fissured = i + 1
        over = (state.water[i, j] - shape.full[j]) * shape.thick[i]
        moved = min(surface_m_d * shape.fissured[i + 1] * days, max(over, 0.0))
        state.water[i, j] -= moved / shape.thick[i]
        state.water[i + 1, j] += moved / shape.thick[i + 1]
    excess = 0.0
    for n in range(fissured + 1):
        i = fissured - n
        held = state.water[i, j] + excess / shape.thick[i]
        excess = max(held - most, 0.0) * shape.thick[i]
        state.water[i, j] = min(held, most)
    return float(excess)


@_njit
def _surface(
    shape: Shape,
    state: State,
    j: int,
    days: float,
    rain: float,
    water: float,
    day: Records,
) -> None:
    """What rain and water [m] that fall evenly in some time do to a lane."""
    t, z = shape.table[j], j % shape.zones
    surface_m_d = shape.house[0].surface_m_d
    fallen = rain + water
    standing = state.pond_rain[j] + state.pond_water[j]
    # What the fissured top conducts, and what the gradient from a saturated surface adds.
    last = shape.tables.shape[1] - 1
    place = (state.water[0, j] - shape.low[j]) * shape.per_step[j]
    k = min(max(int(place), 0), last - 1)
    a, b = shape.tables[t, k, 0], shape.tables[t, k + 1, 0]
    drawn = shape.tables[t, last, 0] - (a + (place - k) * (b - a))
    per_m = 2.0 / shape.thick[0]
    rate = surface_m_d + per_m * max(drawn, 0.0)
    # What goes in draws less and less: half of that counts.
    fades = per_m * max(b - a, 0.0) * shape.per_step[j] / shape.thick[0]
    most = rate * days / (1.0 + fades * days / 2.0)
    taken = 0.0
    if fallen > 0.0:
        more = min(standing + fallen, most)
        taken = _swallow(shape, shape.house[0].crack_share, state, j, fallen, more)
    left = 1.0 - taken / fallen if fallen > 0.0 else 0.0
    state.pond_rain[j] += rain * left
    state.pond_water[j] += water * left
    standing += fallen - taken
    into = min(standing, most)
    state.water[0, j] += into / shape.thick[0]
    into -= _through(shape, surface_m_d, state, j, days)
    state.dried[j] = max(state.dried[j] - max(into, 0.0), 0.0)
    off = max(standing - into - POND_M, 0.0)
    share = min(state.pond_rain[j] / standing, 1.0) if standing > 0.0 else 1.0
    left = standing - into - off
    state.pond_rain[j] = left * share
    state.pond_water[j] = left * (1.0 - share)
    over = state.water[0, j] > shape.full[j] + 1e-6
    state.moving[j] = left > 0.0 or (over and shape.fissured[0] > 0.0)
    state.expected[z] += (fallen - off) * shape.width[j]
    if shape.above[j] == STRIP:
        one, mm = day[z], 1000.0 * shape.share[j]
        one.rain_mm += mm * rain
        one.water_mm += mm * water
        one.cracks_mm += mm * taken
        one.rain_runoff_mm += mm * off * share
        one.water_runoff_mm += mm * off * (1.0 - share)


@_njit
def _sky(
    shape: Shape,
    state: State,
    rain_m: float,
    water_m: Floats,
    water_s: Floats,
    parts: int,
    day: Records,
) -> None:
    """An hour of rain and water on every lane under the sky, in parts."""
    for j in range(state.water.shape[1]):
        z = j % shape.zones
        rain, water = rain_m * shape.zone[z].yard_exposure, 0.0
        if shape.above[j] == STRIP:
            rain, water = rain_m * shape.zone[z].strip_exposure, water_m[z]
        if shape.above[j] == 0 or (rain + water <= 0.0 and not state.moving[j]):
            continue
        wet = min(1.0, max(SHORTEST, water_s[z] / 3600.0)) if water > 0.0 else 0.0
        for part in range(2 * parts):
            first = part < parts
            hours = (wet if first else 1.0 - wet) / parts
            given = water / parts if first else 0.0
            if hours > 0.0:
                _surface(shape, state, j, hours / HOURS, rain * hours, given, day)


@_njit
def _balance(shape: Shape, state: State) -> None:
    """Keep the largest difference between what is held and what the books say [m2]."""
    layers, lanes = state.water.shape
    for z in range(shape.zones):
        held = 0.0
        for j in range(z, lanes, shape.zones):
            column = state.pond_rain[j] + state.pond_water[j]
            for i in range(layers):
                column += state.water[i, j] * shape.thick[i]
            held += column * shape.width[j]
        error = abs(held - state.expected[z])
        if not error <= state.worst[z]:  # so that NaN shows too
            state.worst[z] = error


@_njit
def _write_day(
    shape: Shape, state: State, place: Floats, times: float, pf: NDArray[np.float32]
) -> None:
    """The mean of pF since midnight by place, and the sums anew."""
    layers = state.water.shape[0]
    for z in range(shape.zones):
        for p in range(place.shape[1]):
            for i in range(layers):
                mean = 0.0
                for c in range(place.shape[0]):
                    mean += place[c, p] * state.pf_sum[i, c * shape.zones + z]
                pf[z, p, i] = mean / times


@_called
def live(
    rooted: int,
    tables: Floats,
    house: Records,
    zone: Records,
    marks: Ints,
    layers: Floats,
    lanes: Floats,
    cells: Floats,
    zones: Floats,
    from_h: int,
    to_h: int,
    of_day: int,
    rain_m: Floats,
    et0_m: Floats,
    water_m: Floats,
    water_s: Floats,
    every_h: int,
    parts: int,
    place: Floats,
    pf: NDArray[np.float32],
    day: Records,
) -> bool:
    """Live through some of the hours; whether water is still on the move at the surface.

    rooted to zones: the section's Rooms. of_day: the first of all hours is that of a day. rain_m,
    et0_m: (hours,). water_m, water_s: given on each strip and the time it takes, from the hour's
    beginning on, (hours, zones).
    every_h: hours between steps of all but the surface. parts: of an hour, that the surface is
    stepped in. place: (columns, places), shares of each place. pf: (days of all hours, zones,
    places, layers), gets means of days that are over; or no days. day: (days, zones) of DAY, is
    added to; at least one row.
    """
    shape, state, work = parts_of(rooted, tables, house, zone, marks, layers, lanes, cells, zones)
    days = every_h / HOURS
    for h in range(from_h, to_h):
        n = (of_day + h) // HOURS
        today = day[min(n, len(day) - 1)]
        busy = rain_m[h] > 0.0
        for z in range(shape.zones):
            state.demand[z] += et0_m[h]
            busy = busy or water_m[h, z] > 0.0
        for j in range(len(state.moving)):
            busy = busy or state.moving[j] > 0
        if busy:
            _sky(shape, state, rain_m[h], water_m[h], water_s[h], parts, today)
        if (of_day + h + 1) % every_h == 0:
            _look_up(shape, state, work)
            _ask(shape, state, work, days)
            _lose(shape, state, work, days, today)
            _down(shape, state, work, days)
            _settle_losses(shape, state, work, days, today)
            _across(shape, state, work, days)
            _within(shape, state)
            state.demand[:] = 0.0
        if (of_day + h + 1) % HOURS == 0:
            _balance(shape, state)
            if n < len(pf):
                _write_day(shape, state, place, HOURS / every_h, pf[n])
            state.pf_sum[:, :] = 0.0
    return bool(state.moving.any())
