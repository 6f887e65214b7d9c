"""The hub's small model of the ground, fitted to the cross-section of the middle ground.

The hub carries two stores for each strip and two for the yard (`evenclay.controller.estimate`).
Their figures come from here: the middle ground lives through the record, without water and kept at
two reliefs by the truth of each day, and the model is brought as near as it comes to the wetness of
strips and yard there, by least squares. No ground on which a plan is searched or judged is seen.
"""

from collections.abc import Sequence
from dataclasses import astuple, dataclass
from typing import NamedTuple

import numpy as np
from numba import njit
from scipy.optimize import least_squares

from evenclay.sim.ground.retention import FULL_PF, c_in
from evenclay.sim.house.standing import Standing, by_day
from evenclay.sim.judge.by_day import live_by_day
from evenclay.sim.judge.keepers import Truth
from evenclay.sim.judge.strip import WETTEST_SHARE
from evenclay.sim.section.layout import LAYOUT, STRIP_M
from evenclay.sim.types import Floats
from evenclay.sim.weather.hourly import Hourly

SETTLES_DAYS = 60  # that a fit leaves out, while the model forgets how it began
THINNED = 5  # of the days of a fit, one counts: neighbours tell the same
EVALUATIONS = 60
RELIEFS_PF = (0.2, 0.6)  # that the middle ground is kept at, to see how its strips take water


@dataclass(frozen=True)
class Store:
    """A strip or a yard as the hub knows it, in millimetres and pF.

    demand: on reference evapotranspiration by temperature. top_mm: that its top can lack;
    top_share: of the demand that the top bears. freely_pf, end_pf: up to the one the ground below
    gives all that is asked, from the other on nothing. beside: share of the difference to the yard
    that passes in a day. hold_mm: water that a pF of the ground below holds.
    """

    demand: float
    top_mm: float
    top_share: float
    freely_pf: float
    end_pf: float
    beside: float
    hold_mm: float


# Where a fit begins, and the bounds that it keeps to.
BEGUN = Store(1.2, 20.0, 0.5, 3.1, 4.4, 0.01, 120.0)
LEAST = Store(0.1, 3.0, 0.0, 2.2, 3.7, 0.0, 20.0)
MOST = Store(3.0, 60.0, 1.0, 3.6, 5.5, 0.06, 200.0)


@njit(cache=True, error_model="numpy", nogil=True)
def carried(
    store: tuple[float, ...], wet_mm: Floats, demand_mm: Floats, beside_pf: Floats, start_pf: float
) -> Floats:
    """Daily pF of the ground below the top, (days,): the hub's model in floating point.

    wet_mm: rain that arrived and water given. demand_mm: reference evapotranspiration. beside_pf:
    of the yard on the same days, before they began.
    """
    demand, top_mm, top_share, freely_pf, end_pf, beside, hold_mm = store
    top, lack = 0.5 * top_mm, (start_pf - 2.0) * hold_mm
    freely, end = (freely_pf - 2.0) * hold_mm, (end_pf - 2.0) * hold_mm
    found = np.empty(len(wet_mm))
    for day in range(len(wet_mm)):
        top -= wet_mm[day]
        over = max(-top, 0.0)
        top = max(top, 0.0)
        asked = demand * demand_mm[day]
        top = min(top + asked * top_share * (top_mm - top) / top_mm, top_mm)
        left = min(max((end - lack) / (end - freely), 0.0), 1.0)
        passed = beside * ((beside_pf[day] - 2.0) * hold_mm - lack)
        lack = max(lack + asked * (1.0 - top_share) * left - over + passed, 0.0)
        found[day] = 2.0 + lack / hold_mm
    return found


class Seen(NamedTuple):
    """A life of the middle ground: water that wet a store [mm] and its wetness [pF], (days,)."""

    wet_mm: Floats
    pf: Floats


def fit_store(lives: Sequence[Seen], demand_mm: Floats, beside_pf: Floats | None) -> Store:
    """The store that comes nearest to what was seen; without a yard beside, it passes nothing."""
    free = np.ones(len(astuple(BEGUN)), bool)
    free[5] = beside_pf is not None
    yard_pf = np.full(len(demand_mm), FULL_PF) if beside_pf is None else beside_pf
    values = np.array(astuple(BEGUN))
    if beside_pf is None:
        values[5] = 0.0

    def off(chosen: Floats) -> Floats:
        values[free] = chosen
        store = tuple(values.tolist())
        apart = [
            carried(store, life.wet_mm, demand_mm, yard_pf, max(life.pf[0], FULL_PF))
            - np.maximum(life.pf, FULL_PF)
            for life in lives
        ]
        return np.concatenate([each[SETTLES_DAYS::THINNED] for each in apart])

    bounds = (np.array(astuple(LEAST))[free], np.array(astuple(MOST))[free])
    best = least_squares(off, values[free], bounds=bounds, x_scale=bounds[1], max_nfev=EVALUATIONS)
    values[free] = best.x
    return Store(*values.tolist())


@dataclass(frozen=True)
class Reduced:
    """The middle ground of a house as the hub knows it.

    yard, strips: stores. yard_pf, level_pf: long-run means, unwatered. wettest_pf: of each strip,
    that a tenth of its unwatered days are wetter than. error_pf: root of the mean square of the
    fit, of the yard and each strip.
    """

    yard: Store
    strips: tuple[Store, ...]
    yard_pf: float
    level_pf: Floats
    wettest_pf: Floats
    error_pf: tuple[float, ...]


def error_of(
    store: Store, lives: Sequence[Seen], demand_mm: Floats, beside_pf: Floats | None
) -> float:
    """How far a store is from what was seen: root of the mean square [pF]."""
    yard_pf = np.full(len(demand_mm), FULL_PF) if beside_pf is None else beside_pf
    squares = []
    for life in lives:
        pf = carried(
            astuple(store), life.wet_mm, demand_mm, yard_pf, max(float(life.pf[0]), FULL_PF)
        )
        apart = (pf - np.maximum(life.pf, FULL_PF))[SETTLES_DAYS:]
        squares.append(float((apart**2).mean()))
    return float(np.sqrt(np.mean(squares)))


def reduced_of(
    standing: Standing,
    by_hour: Hourly,
    demand_mm: Floats,
    most_mm: Floats,
    cycles_h: Sequence[int],
) -> Reduced:
    """Fit the hub's model to a house on its middle ground.

    by_hour: a record, whole days. demand_mm: of each day, by the hub's own thermometer. most_mm:
    what each strip may be given, (days, zones).
    """
    strip_weights = LAYOUT.mean(*STRIP_M)
    dry = live_by_day(standing, by_hour, None)
    rain_mm = by_day(by_hour.rain_mm)
    strip_pf = [dry.record.strip_pf @ strip_weights]
    given = [np.zeros_like(strip_pf[0])]
    level_pf = strip_pf[0].mean(axis=0)
    wettest_pf = np.quantile(strip_pf[0], WETTEST_SHARE, axis=0)
    thick_mm = 1000.0 * (STRIP_M[1] - STRIP_M[0])
    c_per_pf = standing.ground.c_per_pf
    hold_mm = np.array([thick_mm * c_in(strip.texture, c_per_pf) for strip in standing.strips])
    for relief_pf in RELIEFS_PF:
        target_pf = np.maximum(level_pf - relief_pf, wettest_pf)
        kept = live_by_day(standing, by_hour, Truth(target_pf, most_mm, hold_mm, cycles_h))
        strip_pf.append(kept.record.strip_pf @ strip_weights)
        given.append(kept.given_mm)
    yard_pf = (dry.yard_pf @ strip_weights).mean(axis=1)
    seen = [Seen(rain_mm, yard_pf)]
    yard = fit_store(seen, demand_mm, None)
    beside_pf = carried(astuple(yard), rain_mm, demand_mm, yard_pf * 0.0 + FULL_PF, yard_pf[0])
    beside_pf = np.concatenate([yard_pf[:1], beside_pf[:-1]])
    strips, errors = [], [error_of(yard, seen, demand_mm, None)]
    for zone, strip in enumerate(standing.strips):
        lives = [
            Seen(rain_mm * strip.exposure + water[:, zone], pf[:, zone])
            for water, pf in zip(given, strip_pf, strict=True)
        ]
        strips.append(fit_store(lives, demand_mm, beside_pf))
        errors.append(error_of(strips[-1], lives, demand_mm, beside_pf))
    return Reduced(yard, tuple(strips), float(yard_pf.mean()), level_pf, wettest_pf, tuple(errors))
