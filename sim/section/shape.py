"""How a ground and its zones become the arrays that the kernel works on."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from evenclay.sim.section import arrays, kernel
from evenclay.sim.section.clay import Clay
from evenclay.sim.section.ground import Cover, Ground, Zone
from evenclay.sim.section.layout import EDGE, PLACES, STRIP, YARD, Layout
from evenclay.sim.types import Floats

AIR_M = 0.3  # how deep bare ground evaporates where it is cracked
AIR_FULL_PF, AIR_END_PF = 4.0, 5.0  # whole and no evaporation, whatever time says: an assumption


def places_of(layout: Layout) -> Floats:
    """What share of each place a column has, (columns, places)."""
    widths = np.zeros((layout.columns, len(PLACES)))
    widths[np.arange(layout.columns), layout.places] = layout.widths_m
    return np.asarray(widths / np.maximum(widths.sum(axis=0), 1e-9))


def rooms_of(
    ground: Ground, zones: Sequence[Zone], clays: Sequence[Clay], clay_of: Sequence[int]
) -> arrays.Rooms:
    """The memory of a section, with its shape and its house in it; all else is zero."""
    layout, count = ground.layout, len(zones)
    columns, layers = layout.columns, layout.layers
    widths = np.stack([layout.columns_m(zone.width_m) for zone in zones], axis=-1)
    side = np.zeros((layers, columns, count))
    beam = 1.0 - layout.share(0.0, ground.footing_m)
    for z, zone in enumerate(zones):
        for c in range(columns - 1):
            apart = (widths[c, z] + widths[c + 1, z]) / 2.0
            open_ = np.ones(layers)
            if layout.places[c + 1] == EDGE and layout.places[c] == STRIP:
                open_ = beam if zone.slab_m is not None else np.zeros(layers)
                if zone.slab_m is not None:
                    beyond = (zone.width_m - widths[c, z]) / 2.0  # of the strip's middle
                    # A strip that is wider than that ends at the slab's edge.
                    apart = max(apart, zone.slab_m - beyond + widths[c + 1, z] / 2.0)
            side[:, c, z] = open_ / apart
    above = np.array(
        [{YARD: arrays.YARD, STRIP: arrays.STRIP}.get(place, 0) for place in layout.places]
    )
    gap = np.append(np.diff(layout.middles_m), layout.thick_m[-1] / 2.0)
    roots = np.stack([_roots(ground, zone, widths[:, z]) for z, zone in enumerate(zones)], axis=-1)
    air = layout.share(0.0, AIR_M) * layout.thick_m
    reached = (roots.sum(axis=(0, 2, 3)) > 0.0) | (air > 0.0)
    lanes = columns * count
    rooms = arrays.Rooms(
        rooted=int(np.flatnonzero(reached)[-1]) + 1,
        tables=np.stack([clay.table for clay in clays]),
        house=_house_of(ground),
        zone=np.zeros(count, arrays.ZONE),
        marks=np.zeros((kernel.MARKS, lanes), np.int64),
        layers=np.zeros((kernel.OF_LAYER, layers)),
        lanes=np.zeros((kernel.OF_LANE, lanes)),
        cells=np.zeros((kernel.OF_CELL, layers, lanes)),
        zones=np.zeros((kernel.OF_ZONE, count)),
    )
    shape = kernel.parts_of(rooms)[0]
    shape.table[:] = np.tile(np.array(clay_of) * clays[0].table.size, columns)
    shape.above[:] = np.repeat(above, count)
    shape.thick[:], shape.gap[:] = layout.thick_m, gap
    shape.dry[:] = air / air.sum()
    shape.top[:] = layout.mean(0.0, kernel.CRACKING_M)
    shape.fissured[:] = layout.share(0.0, ground.fissured_m)
    for j, clay in enumerate([clays[t] for t in clay_of] * columns):
        shape.low[j], shape.saturated[j], shape.full[j] = clay.low, clay.saturated, clay.full
        shape.per_step[j] = (len(clay.table) - 1) / (clay.saturated - clay.low)
    shape.share[:] = np.repeat(places_of(layout).max(axis=1), count)
    shape.width[:] = widths.reshape(-1)
    shape.side[:] = side.transpose(1, 0, 2).reshape(columns, -1)
    shape.wide[:] = np.repeat(widths[:, None], layers, axis=1).reshape(columns, -1)
    shape.roots[:] = roots.reshape(2, layers, -1)
    return rooms


def _house_of(ground: Ground) -> "NDArray[np.void]":
    house = np.zeros(1, arrays.HOUSE)
    house["surface_m_d"] = ground.surface_mm_h * 0.024
    house["crack_share"] = ground.crack_share
    house["uptake_full_pf"], house["uptake_end_pf"] = ground.uptake_full_pf, ground.uptake_end_pf
    house["compensation"] = ground.compensation
    house["air_full_pf"], house["air_end_pf"] = AIR_FULL_PF, AIR_END_PF
    house["air_first_m"] = ground.air_first_mm / 1000.0
    house["air_later_m2_d"] = (ground.air_later_mm_d05 / 1000.0) ** 2
    house["air_cracks_m_d"] = ground.air_cracks_mm_d / 1000.0
    return house


def _roots(ground: Ground, zone: Zone, widths: Floats) -> Floats:
    """Where yard (0) and strip (1) draw, (2, layers, columns): uptake of each cell over demand.

    Roots that reach beyond the ground they grow on thin out evenly to nothing. Under the footing
    only what is open to the strip is reached.
    """
    layout = ground.layout
    places = np.array(layout.places)
    found = np.zeros((2, layout.layers, layout.columns))
    beam = 1.0 - layout.share(0.0, ground.footing_m)
    edge = places == EDGE
    for source, cover, home in ((0, zone.yard_cover, YARD), (1, zone.cover, STRIP)):
        if cover.roots_m <= 0.0:
            continue
        density = np.where(places == home, 1.0, 0.0)
        reach = zone.yard_reach_m
        from_m = 0.0
        for c in np.flatnonzero(edge | ((places == STRIP) & (home == YARD))).tolist():
            to_m = from_m + widths[c]
            # The mean over the column of 1 - x / reach where that is above 0.
            a, b = min(from_m, reach), min(to_m, reach)
            if reach > 0.0:
                density[c] = ((b - b**2 / reach / 2.0) - (a - a**2 / reach / 2.0)) / widths[c]
            from_m = to_m
        if zone.slab_m is None:
            density[edge] = 0.0
        depth = _root_shares(cover, layout)
        cells = depth[:, None] * density
        cells[:, edge] *= beam[:, None]
        total = (cells * widths).sum()
        home_m = widths[places == home].sum()
        found[source] = cells / total * home_m
    return found


def _root_shares(cover: Cover, layout: Layout) -> Floats:
    edges_cm = 100.0 * np.minimum(layout.edges_m, cover.roots_m)
    return np.asarray(-np.diff(cover.beta**edges_cm))
