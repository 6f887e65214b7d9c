"""The plausible grounds of a house: a Sobol set over all that is not known of it.

Each row of the table in `uncertain` is a dimension of the sequence, once for the house or once for
each zone, so that few grounds cover every range evenly. One sequence serves all: searches see its
first sixteen points, judgements see sixty-four others. A property's own words (coefficient,
exposure, cover, footing) say which rows count for its zones.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from evenclay.sim.ground.uncertain import HOUSE_ROWS, ZONE_ROWS
from evenclay.sim.types import Floats

Cover = Literal["bare", "grass", "shrubs"]

SEED = 18
SEARCHED = slice(0, 16)
JUDGED = slice(64, 128)  # a block of the sequence as even as one from its beginning
ZONES_MAX = 8
EAVES_BELOW = 0.9  # rain exposure; with less a zone lies under eaves
USUAL_PF, USUAL_PF_PER_INDEX = 3.4, -0.02
USUAL_PF_LEAST, USUAL_PF_MOST = 2.8, 4.2
YARD_COEFFICIENT = 0.8  # of grass: common practice, no source


@dataclass(frozen=True)
class Side:
    """What a property says of a zone: coefficient on reference evapotranspiration, share of rain
    that reaches it, what grows there; whether the hose's flow was measured."""

    coefficient: float
    exposure: float
    cover: Cover
    flow_measured: bool = False


@dataclass(frozen=True)
class PlausibleZone:
    """One zone of a plausible ground; names as in the cross-section, where it has them.

    flow_factor: on the hose's flow, house and zone together, or the zone's alone where it was
    measured: a test errs too, and hoses clog. suction_error_pf,
    content_error_m3_m3: what a sensor there adds to the truth.
    """

    coefficient: float
    exposure: float
    roots_m: float
    yard_coefficient: float
    yard_roots_m: float
    yard_reach_m: float
    flow_factor: float
    suction_error_pf: float
    content_error_m3_m3: float


@dataclass(frozen=True)
class PlausibleGround:
    """One plausible ground: of the house, with names as in the cross-section, and of its zones.

    deep_pf: held far down.
    """

    alpha_cm2_s: float
    c_per_pf: float
    matrix_mm_d: float
    surface_mm_h: float
    crack_share: float
    fissured_m: float
    footing_m: float
    uptake_end_pf: float
    air_later_mm_d05: float
    deep_pf: float
    zones: tuple[PlausibleZone, ...]


def seasonal_depth_m(index: float) -> float:
    """Depth of seasonal change by Thornthwaite's moisture index.

    Source: AS 2870-2011, table 2.5; the indices that bound its zones from memory. Drier than -40
    it says more than 4 m, which is taken for 4.
    """
    for least, depth_m in ((10.0, 1.5), (-5.0, 1.8), (-15.0, 2.3), (-25.0, 3.0)):
        if index > least:
            return depth_m
    return 4.0


def usual_suction_pf(index: float) -> float:
    """pF that deep ground under a slab usually comes to, by moisture index.

    3.4 at an index of 0 (246 kPa; source: abstract of "Variation of soil suction with depth in
    Dallas and Fort Worth, Texas", Transp. Res. Rec.), 3.0 at +20 and 3.8 at -20 (from memory, as
    the curves after Russam & Coleman 1961 run). Single soils scatter by 0.5 pF and more about it.
    No wetter than 2.8 nor drier than 4.2, where those curves end (from memory).
    """
    return float(np.clip(USUAL_PF + USUAL_PF_PER_INDEX * index, USUAL_PF_LEAST, USUAL_PF_MOST))


def searched(
    sides: Sequence[Side], index: float, footing_m: float | None = None
) -> list[PlausibleGround]:
    """The sixteen grounds that searches see.

    sides: one for each zone, at most 8, else ValueError. index: Thornthwaite's, of the climate.
    footing_m: as the owner says, else None. The house's part does not hang on the zones, nor a
    zone's on those after it.
    """
    return [_ground(point, sides, index, footing_m) for point in _points()[SEARCHED]]


def judged(
    sides: Sequence[Side], index: float, footing_m: float | None = None, count: int = 64
) -> list[PlausibleGround]:
    """The grounds that judgements see, none of them searched; the first `count` of sixty-four.

    Powers of two cover the ranges most evenly. Raises ValueError outside 1..64.
    """
    most = JUDGED.stop - JUDGED.start
    if not 1 <= count <= most:
        raise ValueError(f"{count} grounds; allowed: 1 to {most}")
    return [_ground(point, sides, index, footing_m) for point in _points()[JUDGED][:count]]


def middle(sides: Sequence[Side], index: float, footing_m: float | None = None) -> PlausibleGround:
    """The middle ground, by which the hub's own model and levels go."""
    house = {row.name: row.of_middle for row in HOUSE_ROWS}
    zone = {row.name: row.of_middle for row in ZONE_ROWS}
    return _put_together(house, [zone] * _counted(sides), sides, index, footing_m)


def _points() -> Floats:
    """All points of the sequence that are used, (128, dimensions); the same in every call."""
    from scipy.stats import qmc  # slow to import: only where grounds are drawn

    dimensions = len(HOUSE_ROWS) + ZONES_MAX * len(ZONE_ROWS)
    sobol = qmc.Sobol(dimensions, scramble=True, seed=SEED)
    return np.asarray(sobol.random_base2(round(math.log2(JUDGED.stop))))


def _counted(sides: Sequence[Side]) -> int:
    if not 1 <= len(sides) <= ZONES_MAX:
        raise ValueError(f"{len(sides)} zones; allowed: 1 to {ZONES_MAX}")
    return len(sides)


def _ground(
    point: Floats, sides: Sequence[Side], index: float, footing_m: float | None
) -> PlausibleGround:
    shares = iter(point.tolist())
    house = {row.name: row.at(next(shares)) for row in HOUSE_ROWS}
    zones = [{row.name: row.at(next(shares)) for row in ZONE_ROWS} for _ in range(_counted(sides))]
    return _put_together(house, zones, sides, index, footing_m)


def _put_together(
    house: dict[str, float],
    zones: Sequence[dict[str, float]],
    sides: Sequence[Side],
    index: float,
    footing_m: float | None,
) -> PlausibleGround:
    return PlausibleGround(
        alpha_cm2_s=house["alpha_cm2_s"],
        c_per_pf=house["c_per_pf"],
        matrix_mm_d=house["matrix_mm_d"],
        surface_mm_h=house["surface_mm_h"],
        crack_share=house["crack_share"],
        fissured_m=house["fissured_of_season"] * seasonal_depth_m(index),
        footing_m=house["footing_m"] if footing_m is None else footing_m,
        uptake_end_pf=house["uptake_end_pf"],
        air_later_mm_d05=house["air_later_mm_d05"],
        deep_pf=usual_suction_pf(index) + house["deep_offset_pf"],
        zones=tuple(_zone(house, *each) for each in zip(zones, sides, strict=True)),
    )


def _zone(house: dict[str, float], zone: dict[str, float], side: Side) -> PlausibleZone:
    under_eaves = side.exposure < EAVES_BELOW
    roots_m = {
        "bare": 0.0,
        "grass": zone["grass_roots_m"],
        "shrubs": zone["shrub_roots_m"],
    }
    return PlausibleZone(
        coefficient=side.coefficient * house["demand_factor"] * zone["coefficient_factor"],
        exposure=side.exposure
        * zone["eaves_exposure_factor" if under_eaves else "open_exposure_factor"],
        roots_m=roots_m[side.cover],
        yard_coefficient=YARD_COEFFICIENT * house["demand_factor"],
        yard_roots_m=house["yard_roots_m"],
        yard_reach_m=zone["yard_reach_m"],
        flow_factor=zone["zone_flow_factor"]
        * (1.0 if side.flow_measured else house["house_flow_factor"]),
        suction_error_pf=zone["suction_error_pf"],
        content_error_m3_m3=zone["content_error_m3_m3"],
    )
