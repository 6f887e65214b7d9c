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

from evenclay.sim.section.arrays import (
    HOURS,
    STRIP,
    YARD,
    Ints,
    Records,
    Rooms,
    Shape,
    State,
    Work,
)
from evenclay.sim.types import Floats

POND_M = 0.003  # surface storage: common practice, no source
CENTRED = 0.55  # how far into a step its rates are taken: 0.5 errs least, more damps what swings
CRACKING_M = 0.3  # whose loss of water opens cracks
SHORTEST = 1.0 / 360.0  # of an hour, that water takes at least

_CALLED: dict[str, Any] = {"cache": True, "error_model": "numpy", "nogil": True}
# What Python never calls needs no way in from there, which takes longer to compile than the rest.
# And it makes no array, so it need not count who holds which: for each array of a named tuple that
# would be a call, wherever a branch follows its last use.
_INNER = _CALLED | {"no_cpython_wrapper": True, "no_cfunc_wrapper": True, "_nrt": False}
_called = njit(**_CALLED)
_njit = njit(**_INNER)
_inlined = njit(**_INNER, forceinline=True)

NO_SIGN = 2**31 - 1  # a mask for what is never negative
MARKS, OF_LAYER, OF_LANE, OF_CELL, OF_ZONE = 3, 5, 17, 31, 3  # how many numbers rooms hold of each


@register_jitable
def parts_of(rooms: Rooms) -> tuple[Shape, State, Work]:
    """What a section's rooms hold, each part by its name; for Python and for what is compiled."""
    marks, layers, lanes = rooms.marks, rooms.layers, rooms.lanes
    cells, zones = rooms.cells, rooms.zones
    layer_count, lane_count = cells.shape[1:]
    zone_count = zones.shape[1]
    across = cells.reshape(len(cells), lane_count // zone_count, layer_count * zone_count)
    one_row = cells.reshape(len(cells), layer_count * lane_count)
    shape = Shape(
        zones=zone_count,
        rooted=rooms.rooted,
        steps=rooms.tables.shape[1] - 1,
        tables=rooms.tables.reshape(rooms.tables.size),
        house=rooms.house,
        zone=rooms.zone,
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
        side=across[0],
        wide=across[1],
        roots=cells[2:4],
    )
    state = State(
        water=cells[4],
        pf_sum=cells[5],
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
        phi=cells[6],
        phi_slope=cells[7],
        k=cells[8],
        k_slope=cells[9],
        pf=cells[10],
        pf_slope=cells[11],
        left=cells[12],
        asked=cells[13],
        lost=cells[14],
        lost_slope=cells[15],
        out=cells[16],
        out_slope=cells[17],
        out_next=cells[18],
        shift=cells[19],
        carry=cells[20],
        change=cells[21],
        drawn=cells[22],
        evaporated=cells[23],
        turned_phi=across[24],
        turned_slope=across[25],
        turned_shift=across[26],
        turned_change=across[27],
        last_shift=one_row[28],
        last_carry=one_row[29],
        last_change=one_row[30],
        into=lanes[10],
        into_slope=lanes[11],
        air=lanes[12],
        yard=lanes[13],
        strip=lanes[14],
        wettest=lanes[15],
        held=lanes[16],
    )
    return shape, state, work


@_inlined
def _find(table: int, steps: int, place: float) -> tuple[int, float]:
    """Where in all tables the row before a place in one of them begins; how far on the place is.

    A row is potential, conductivity and pF; the next one follows. Without the mask each index would
    be looked at for whether it counts from the end.
    """
    k = min(max(int(place), 0), steps - 1)
    return table + 3 * k & NO_SIGN, place - k


@_njit
def _look_up(shape: Shape, state: State, work: Work) -> None:
    """Potential, conductivity and pF of every cell, with their slopes."""
    layers, lanes = state.water.shape
    tables = shape.tables
    for i in range(layers):
        for j in range(lanes):
            per = shape.per_step[j]
            place = (state.water[i, j] - shape.low[j]) * per
            at, part = _find(shape.table[j], shape.steps, place)
            phi, conducts, pf = tables[at], tables[at + 1], tables[at + 2]
            step = tables[at + 3] - phi
            work.phi[i, j] = phi + part * step
            work.phi_slope[i, j] = step * per
            step = tables[at + 4] - conducts
            work.k[i, j] = conducts + part * step
            work.k_slope[i, j] = step * per
            step = tables[at + 5] - pf
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
    steps: int,
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
    for c in range(len(columns)):
        if columns[c] > 0.0:
            for z in range(zones):
                j = c * zones + z
                mean = 0.0
                for i in range(len(weights)):
                    if weights[i] > 0.0:
                        place = (water[i, j] - low[j]) * per_step[j]
                        at, part = _find(table[j], steps, place)
                        a, b = tables[at + 2], tables[at + 5]
                        mean += weights[i] * (a + part * (b - a))
                found[z] += columns[c] * mean
    return found


@_inlined
def _left(pf: float, full: float, end: float) -> float:
    """What is left of a loss at a pF: all up to `full`, none from `end` on."""
    return float(min(max((end - pf) / (end - full), 0.0), 1.0))


@_inlined
def _made_up(demand: float, met: float, whole: float, compensation: float) -> float:
    """How often a unit of demand is asked of roots, some of which lack water."""
    if demand > 0.0 and whole > 0.0:
        return float(demand / max(met / whole, compensation))
    return 0.0


@_njit
def _ask(shape: Shape, state: State, work: Work, days: float) -> None:
    """What roots ask of each cell at most [m/d].

    Where some roots stand in dry ground, wetter ones make up for it, down to a share of stress.
    Source: Jarvis 1989, J. Hydrol. 107:57-72.
    """
    lanes = state.water.shape[1]
    one = shape.house[0]
    for i in range(shape.rooted):
        for j in range(lanes):
            work.left[i, j] = _left(work.pf[i, j], one.uptake_full_pf, one.uptake_end_pf)
    for z in range(shape.zones):
        side, demand = shape.zone[z], state.demand[z] / days
        yard_met, yard_whole, strip_met, strip_whole = 0.0, 0.0, 0.0, 0.0
        for i in range(shape.rooted):
            for j in range(z, lanes, shape.zones):
                left, width = work.left[i, j], shape.width[j]
                root = shape.roots[0, i, j] * width
                yard_whole += root
                yard_met += root * left
                root = shape.roots[1, i, j] * width
                strip_whole += root
                strip_met += root * left
        yard = side.yard_coefficient * side.yard_transpired * demand
        yard = _made_up(yard, yard_met, yard_whole, one.compensation)
        strip = side.strip_coefficient * side.strip_transpired * demand
        strip = _made_up(strip, strip_met, strip_whole, one.compensation)
        for j in range(z, lanes, shape.zones):
            work.yard[j], work.strip[j] = yard, strip
    for i in range(shape.rooted):
        for j in range(lanes):
            asked = work.yard[j] * shape.roots[0, i, j] + work.strip[j] * shape.roots[1, i, j]
            work.asked[i, j] = asked


@_inlined
def _opened(shape: Shape, state: State, j: int, more: float) -> float:
    """How far cracks are open, 0..1: as the top has lost water, of which it gains some more [m]."""
    one = shape.zone[j % shape.zones]
    mean = more / CRACKING_M
    for i in range(len(shape.thick)):
        if shape.top[i] > 0.0:
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
    for z in range(shape.zones):
        side = shape.zone[z]
        yard = side.yard_coefficient * (1.0 - side.yard_transpired) * state.demand[z]
        strip = side.strip_coefficient * (1.0 - side.strip_transpired) * state.demand[z]
        for j in range(z, lanes, shape.zones):
            if shape.above[j] == 0:
                work.air[j] = 0.0
                continue
            asked = yard if shape.above[j] == YARD else strip
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
            since = min(state.idle[j] + days, 1.0)  # at night nothing is asked
            opened = _opened(shape, state, j, 0.0)
            most = _air_may_take(shape, opened, state.dried[j], since)
            state.idle[j] = since * (1.0 - min(asked / most, 1.0))
            work.air[j] = min(asked, most) / days
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
    """One step down every column (Thomas' algorithm).

    What a layer needs of its neighbour's shift, carry and change is kept in rows of its own: a loop
    that wrote one row of an array and read another would not be compiled to treat lanes together.
    """
    layers, lanes = state.water.shape
    _flow_down(shape, work)
    shift, carry, change = work.last_shift, work.last_carry, work.last_change
    for j in range(lanes):
        slope = work.out_slope[0, j] + work.lost_slope[0, j] - work.into_slope[j]
        per = days / (shape.thick[0] + days * slope)
        shift[j] = per * work.out_next[0, j]
        carry[j] = per * (work.into[j] - work.out[0, j] - work.lost[0, j])
        work.shift[0, j], work.carry[0, j] = shift[j], carry[j]
    for i in range(1, layers):
        thick = shape.thick[i]
        for j in range(lanes):
            lower = -days * work.out_slope[i - 1, j]
            slope = work.out_slope[i, j] - work.out_next[i - 1, j] + work.lost_slope[i, j]
            middle = thick - lower * shift[j] + days * slope
            right = days * (work.out[i - 1, j] - work.out[i, j] - work.lost[i, j])
            shift[j] = days * work.out_next[i, j] / middle
            carry[j] = (right - lower * carry[j]) / middle
            work.shift[i, j], work.carry[i, j] = shift[j], carry[j]
    for j in range(lanes):
        change[j] = carry[j]
        work.change[layers - 1, j] = carry[j]
        state.water[layers - 1, j] += carry[j]
    for n in range(layers - 1):
        i = layers - 2 - n
        for j in range(lanes):
            change[j] = work.carry[i, j] - work.shift[i, j] * change[j]
            work.change[i, j] = change[j]
            state.water[i, j] += change[j]
    for z in range(shape.zones):
        for j in range(z, lanes, shape.zones):
            slope = work.out_slope[layers - 1, j]
            drained = days * (work.out[layers - 1, j] + slope * work.change[layers - 1, j])
            state.expected[z] -= drained * shape.width[j]
        for j in range(z, lanes, shape.zones):
            entered = days * (work.into[j] + work.into_slope[j] * work.change[0, j])
            state.expected[z] += entered * shape.width[j]


@_inlined
def _flow_down(shape: Shape, work: Work) -> None:
    """What flows out of every cell downwards and through the surface [m/d], with slopes."""
    layers, lanes = work.phi.shape
    for i in range(layers - 1):
        gap = 1.0 / shape.gap[i]
        for j in range(lanes):
            work.out[i, j] = (work.phi[i, j] - work.phi[i + 1, j]) * gap + work.k[i, j]
        for j in range(lanes):
            work.out_slope[i, j] = CENTRED * (work.phi_slope[i, j] * gap + work.k_slope[i, j])
        for j in range(lanes):
            work.out_next[i, j] = -CENTRED * work.phi_slope[i + 1, j] * gap
    i = layers - 1
    for z in range(shape.zones):
        one = shape.zone[z]
        gap, falls = one.bottom_held / shape.gap[i], one.bottom_falls
        held = 2.0 / shape.thick[0] * one.surface_held
        for j in range(z, lanes, shape.zones):
            work.out[i, j] = (work.phi[i, j] - one.bottom_phi) * gap + falls * work.k[i, j]
            slope = work.phi_slope[i, j] * gap + falls * work.k_slope[i, j]
            work.out_slope[i, j] = CENTRED * slope
            work.out_next[i, j] = 0.0
            from_sky = held * (shape.above[j] > 0)
            phi = one.yard_phi if shape.above[j] == YARD else one.strip_phi
            work.into[j] = (phi - work.phi[0, j]) * from_sky
            work.into_slope[j] = -CENTRED * work.phi_slope[0, j] * from_sky


@_njit
def _settle_losses(shape: Shape, state: State, work: Work, days: float, day: Records) -> None:
    """Book what roots and air took, held within nothing and what was asked."""
    lanes = state.water.shape[1]
    one = shape.house[0]
    per_uptake = 1.0 / (one.uptake_end_pf - one.uptake_full_pf)
    per_air = 1.0 / (one.air_end_pf - one.air_full_pf)
    for i in range(shape.rooted):
        thick, dry = shape.thick[i], shape.dry[i]
        for j in range(lanes):
            asked, dried = work.asked[i, j], work.air[j] * dry
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
            mended = days * (linear - drawn - evaporated) / thick
            work.change[i, j] = change + mended
            state.water[i, j] += mended
            state.dried[j] += days * evaporated
            work.drawn[i, j], work.evaporated[i, j] = drawn, evaporated
    for z in range(shape.zones):
        expected = state.expected[z]
        for i in range(shape.rooted):
            for j in range(z, lanes, shape.zones):
                drawn, evaporated = work.drawn[i, j], work.evaporated[i, j]
                expected -= days * (drawn + evaporated) * shape.width[j]
                if shape.above[j] == STRIP:
                    day[z].evaporated_mm += 1000.0 * days * evaporated * shape.share[j]
                    day[z].transpired_mm += 1000.0 * days * drawn * shape.share[j]
        state.expected[z] = expected


@_njit
def _across(shape: Shape, state: State, work: Work, days: float) -> None:
    """One step across every layer, from the yard inwards (Thomas' algorithm).

    Each cell waits for its neighbour alone. So all is turned first, to (columns, layers * zones):
    what is treated alike then lies side by side.
    """
    layers, zones = state.water.shape[0], shape.zones
    phi, slope, changes = work.turned_phi, work.turned_slope, work.turned_change
    columns, cells = phi.shape
    for c in range(columns):
        for i in range(layers):
            for z in range(zones):
                j, n = c * zones + z, i * zones + z
                phi[c, n] = work.phi[i, j] + work.phi_slope[i, j] * work.change[i, j]
                slope[c, n] = work.phi_slope[i, j]
    shift, carry, change = work.last_shift, work.last_carry, work.last_change
    for n in range(cells):
        right = days * shape.side[0, n]
        middle = shape.wide[0, n] + CENTRED * right * slope[0, n]
        shift[n] = -CENTRED * right * slope[1, n] / middle
        carry[n] = right * (phi[1, n] - phi[0, n]) / middle
        work.turned_shift[0, n], changes[0, n] = shift[n], carry[n]
    for c in range(1, columns):
        beyond = min(c + 1, columns - 1)  # beyond the last column nothing passes
        for n in range(cells):
            left = days * shape.side[c - 1, n]
            right = days * shape.side[c, n]  # of the last column 0
            own = CENTRED * slope[c, n]
            lower = -CENTRED * left * slope[c - 1, n]
            middle = shape.wide[c, n] + (left + right) * own - lower * shift[n]
            known = left * (phi[c - 1, n] - phi[c, n])
            known += right * (phi[beyond, n] - phi[c, n])
            shift[n] = -CENTRED * right * slope[beyond, n] / middle
            carry[n] = (known - lower * carry[n]) / middle
            work.turned_shift[c, n], changes[c, n] = shift[n], carry[n]
    for n in range(cells):
        change[n] = carry[n]
    for m in range(1, columns):
        c = columns - 1 - m
        for n in range(cells):
            change[n] = changes[c, n] - work.turned_shift[c, n] * change[n]
            changes[c, n] = change[n]
    for c in range(columns):
        for i in range(layers):
            for z in range(zones):
                state.water[i, c * zones + z] += changes[c, i * zones + z]


@_njit
def _within(shape: Shape, state: State, work: Work) -> None:
    """Send what a saturated layer cannot hold up, at last to the surface; see what moves on.

    Under a slab it comes up in its zone's strip.
    """
    layers, lanes = state.water.shape
    for j in range(lanes):
        work.wettest[j] = state.water[0, j]
    for i in range(1, layers):
        for j in range(lanes):
            work.wettest[j] = max(work.wettest[j], state.water[i, j])
    for j in range(lanes):
        most, full = shape.saturated[j], shape.full[j] + 1e-6
        if work.wettest[j] <= min(most, full):
            continue
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
    wanted = fallen * share * _opened(shape, state, j, more / 2.0)
    if wanted <= 0.0:
        return 0.0
    dry = 0.0
    for i in range(len(shape.thick)):
        if shape.fissured[i] <= 0.0:
            break
        lack = one.cracks_open - state.water[i, j]
        if lack > 0.0:
            dry += lack * shape.thick[i] * shape.fissured[i]
    taken = min(wanted, dry)
    if taken <= 0.0:
        return 0.0
    for i in range(len(shape.thick)):
        if shape.fissured[i] <= 0.0:
            break
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
    z = j % shape.zones
    surface_m_d = shape.house[0].surface_m_d
    fallen = rain + water
    standing = state.pond_rain[j] + state.pond_water[j]
    # What the fissured top conducts, and what the gradient from a saturated surface adds.
    place = (state.water[0, j] - shape.low[j]) * shape.per_step[j]
    at, part = _find(shape.table[j], shape.steps, place)
    a, b = shape.tables[at], shape.tables[at + 3]
    drawn = shape.tables[shape.table[j] + 3 * shape.steps] - (a + part * (b - a))
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
    for z in range(shape.zones):
        side = shape.zone[z]
        for j in range(z, state.water.shape[1], shape.zones):
            rain, water = rain_m * side.yard_exposure, 0.0
            if shape.above[j] == STRIP:
                rain, water = rain_m * side.strip_exposure, water_m[z]
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
def _balance(shape: Shape, state: State, work: Work) -> None:
    """Keep the largest difference between what is held and what the books say [m2]."""
    layers, lanes = state.water.shape
    for j in range(lanes):
        work.held[j] = state.pond_rain[j] + state.pond_water[j]
    for i in range(layers):
        thick = shape.thick[i]
        for j in range(lanes):
            work.held[j] += state.water[i, j] * thick
    for z in range(shape.zones):
        held = 0.0
        for j in range(z, lanes, shape.zones):
            held += work.held[j] * shape.width[j]
        error = abs(held - state.expected[z])
        if not error <= state.worst[z]:  # so that NaN shows too
            state.worst[z] = error


@_njit
def _write_day(
    shape: Shape, state: State, work: Work, place: Floats, times: float, pf: NDArray[np.float32]
) -> None:
    """The mean of pF since midnight by place, and the sums anew."""
    layers = state.water.shape[0]
    mean = work.last_change
    for z in range(shape.zones):
        for p in range(place.shape[1]):
            for i in range(layers):
                mean[i] = 0.0
            for c in range(place.shape[0]):
                if place[c, p] > 0.0:
                    for i in range(layers):
                        mean[i] += place[c, p] * state.pf_sum[i, c * shape.zones + z]
            for i in range(layers):
                pf[z, p, i] = mean[i] / times


@_called
def live(
    rooms: Rooms,
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

    of_day: the first of all hours is that of a day. rain_m,
    et0_m: (hours,). water_m, water_s: given on each strip and the time it takes, from the hour's
    beginning on, (hours, zones).
    every_h: hours between steps of all but the surface. parts: of an hour, that the surface is
    stepped in. place: (columns, places), shares of each place. pf: (days of all hours, zones,
    places, layers), gets means of days that are over; or no days. day: (days, zones) of DAY, is
    added to; at least one row.
    """
    shape, state, work = parts_of(rooms)
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
            _within(shape, state, work)
            state.demand[:] = 0.0
        if (of_day + h + 1) % HOURS == 0:
            _balance(shape, state, work)
            if n < len(pf):
                _write_day(shape, state, work, place, HOURS / every_h, pf[n])
            state.pf_sum[:, :] = 0.0
    return bool(state.moving.any())
