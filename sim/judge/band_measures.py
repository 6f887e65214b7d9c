"""The measures of what a policy did to the ground: each is computed here and nowhere else.

Arrays are days x zones.
"""

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from evenclay.sim.calendar import YEAR_DAYS
from evenclay.sim.ground import soil
from evenclay.sim.house.house import Strip
from evenclay.sim.judge.days import Days
from evenclay.sim.types import Bools, Floats

CHANGE_LEAST_PF = 0.02  # less is no seasonal change, and no base for percents


def unevenness_pf(pf: Floats, season: Bools) -> float | None:
    """95th percentile of wettest minus driest zone, over days that are of any zone's season.

    None without such days.
    """
    counting = np.any(season, axis=1)
    if not np.any(counting):
        return None
    return float(np.percentile((pf.max(axis=1) - pf.min(axis=1))[counting], 95))


def swing_pf(pf: Floats) -> Floats:
    """Each zone's 95th less 5th percentile, a year at a time, mean of the years.

    A part of a year at the end counts only where there is no whole one.
    """
    years = max(len(pf) // YEAR_DAYS, 1)
    parts = [pf[i * YEAR_DAYS : (i + 1) * YEAR_DAYS] for i in range(years)]
    high, low = np.mean([np.percentile(part, (95, 5), axis=0) for part in parts], axis=0)
    return np.asarray(high - low)


def seasonal_change_pf(pf: Floats) -> Floats:
    """Most less least of each column over a year, mean of the whole years; at least one."""
    years = len(pf) // YEAR_DAYS
    parts = np.split(pf[: years * YEAR_DAYS], years)
    return np.asarray(np.mean([np.ptp(part, axis=0) for part in parts], axis=0))


def movement_index_pct(days: Days) -> list[float | None]:
    """Each zone's seasonal change of weighted suction, percent of the same ground unwatered.

    An index to compare ways of watering by, no movement in millimetres and no class of a site. None
    for less than a year, and where the unwatered ground hardly changes.
    """
    if len(days.pf) < YEAR_DAYS:
        return [None] * days.pf.shape[1]
    changes = zip(
        seasonal_change_pf(days.movement_pf),
        seasonal_change_pf(days.movement_pf_unwatered),
        strict=True,
    )
    return [_percent(float(watered), float(unwatered)) for watered, unwatered in changes]


@dataclass(frozen=True)
class Under:
    """The ground under a slab, `m` metres in from its edge: its seasonal change of weighted suction
    beside the watered strip and beside the same unwatered, percent of the unwatered strip's."""

    m: float
    change_pct: float
    unwatered_change_pct: float


def under_slab(days: Days) -> list[list[Under] | None]:
    """How far in the change of each zone's strip is felt; on the scale of `movement_index_pct`.

    None for less than a year, without a slab, and where the unwatered strip hardly changes.
    """
    zones = days.pf.shape[1]
    if len(days.pf) < YEAR_DAYS:
        return [None] * zones
    strips_pf = seasonal_change_pf(days.movement_pf_unwatered)
    watered = seasonal_change_pf(days.under_pf)
    unwatered = seasonal_change_pf(days.under_pf_unwatered)
    found: list[list[Under] | None] = []
    for zone in range(zones):
        if strips_pf[zone] < CHANGE_LEAST_PF or not np.all(np.isfinite(watered[zone])):
            found.append(None)
            continue
        pairs = 100.0 * np.stack((watered[zone], unwatered[zone]), axis=1) / strips_pf[zone]
        middles_m = soil.cell_middles_m()
        found.append([Under(m, *pair) for m, pair in zip(middles_m, pairs.tolist(), strict=True)])
    return found


def movement_difference_pct(days: Days) -> float | None:
    """How far two zones move apart over a year, the worst pair, percent of the unwatered worst.

    Uneven ground moves unevenly. None for less than a year, one zone, or zones alike.
    """
    pairs = list(combinations(range(days.pf.shape[1]), 2))
    if len(days.pf) < YEAR_DAYS or not pairs:
        return None

    def worst_pf(pf: Floats) -> float:
        apart = np.stack([pf[:, a] - pf[:, b] for a, b in pairs], axis=1)
        return float(seasonal_change_pf(apart).max())

    return _percent(worst_pf(days.movement_pf), worst_pf(days.movement_pf_unwatered))


def _percent(part: float, whole: float) -> float | None:
    return None if whole < CHANGE_LEAST_PF else 100.0 * part / whole


def rounded(value: float | None, places: int) -> float | None:
    """A measure as it is written down; None, where there is none, stays None."""
    return None if value is None else round(value, places)


def litres_of(days_mm: Floats, strip: Strip) -> float:
    """Litres of a strip's daily depths; never less than none, which rounding could make of it."""
    return max(round(float(days_mm.sum()) * strip.area_m2, 1), 0.0)
