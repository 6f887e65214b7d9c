"""What a policy left behind, summed up to days: the ground's hours are many, and judged by the day.

A day is the local standard day. Arrays are days x zones.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from evenclay.sim.calendar import HOURS
from evenclay.sim.ground import soil
from evenclay.sim.house.columns import Columns
from evenclay.sim.house.site import PER_LITRE
from evenclay.sim.types import Bools, Floats

TOP_WET_PF = 2.0
TOP_WET_H = 48
RAIN_LEAST_MM_H = 0.1  # less in an hour is no rain


@dataclass(frozen=True)
class Days:
    """What one policy left behind, day by day and zone by zone.

    pf, pf_unwatered: daily mean of the band's pF. pf_end: its pF in the day's last hour. seconds,
    litres: water given. runoff_mm, runoff_rain_mm: irrigation and rain that ran off; bypass_mm,
    bypass_rain_mm: that went down cracks. movement_pf, movement_pf_unwatered: daily mean of pF
    through the column, weighted by the strain it causes; under_pf, under_pf_unwatered: the same of
    the cells under the slab, days x zones x cells, NaN without a slab. top_wet: whether 0-0.3 m
    stayed wetter than pF 2.0 for more than 48 h after rain had ended.
    """

    pf: Floats
    pf_unwatered: Floats
    pf_end: Floats
    seconds: Floats
    litres: Floats
    runoff_mm: Floats
    runoff_rain_mm: Floats
    bypass_mm: Floats
    bypass_rain_mm: Floats
    movement_pf: Floats
    movement_pf_unwatered: Floats
    under_pf: Floats
    under_pf_unwatered: Floats
    top_wet: Bools

    def during(self, days: slice) -> "Days":
        """Some of the days."""
        return Days(*(getattr(self, name)[days] for name in self.__dataclass_fields__))

    @classmethod
    def joined(cls, parts: "Sequence[Days]") -> "Days":
        """Parts one after another."""
        names = cls.__dataclass_fields__
        return cls(*(np.concatenate([getattr(part, name) for part in parts]) for name in names))


def days_of(ground: Columns, rain_mm: Floats) -> Days:
    """Sum a stepped ground's hours up to days. rain_mm: of each hour on open ground."""
    zones = len(ground.strips)
    summed = _by_day(ground.results).sum(axis=1)
    watered, unwatered = summed[:, zones:], summed[:, :zones]
    ends = ground.results[HOURS - 1 :: HOURS, zones:]
    under_pf = ground.under_pf[-len(summed) :].copy()
    return Days(
        pf=watered[:, :, soil.BAND_PF] / HOURS,
        pf_unwatered=unwatered[:, :, soil.BAND_PF] / HOURS,
        pf_end=ends[:, :, soil.BAND_PF].copy(),  # a view would keep every hour in memory
        seconds=_by_day(ground.forcing[:, zones:, soil.IRRIGATION_S]).sum(axis=1),
        litres=_by_day(ground.passed).sum(axis=1) / PER_LITRE,
        runoff_mm=watered[:, :, soil.RUNOFF_IRRIGATION],
        runoff_rain_mm=watered[:, :, soil.RUNOFF_RAIN],
        bypass_mm=watered[:, :, soil.BYPASS_IRRIGATION],
        bypass_rain_mm=watered[:, :, soil.BYPASS_RAIN],
        movement_pf=watered[:, :, soil.MOVEMENT_PF] / HOURS,
        movement_pf_unwatered=unwatered[:, :, soil.MOVEMENT_PF] / HOURS,
        under_pf=under_pf[:, zones:],
        under_pf_unwatered=under_pf[:, :zones],
        top_wet=top_wet_days(ground.results[:, zones:, soil.TOP_PF], rain_mm),
    )


def _by_day(hours: NDArray[Any]) -> NDArray[Any]:
    """Hours x more as days x 24 x more."""
    return hours.reshape(-1, HOURS, *hours.shape[1:])


def top_wet_days(top_pf: Floats, rain_mm: Floats) -> Bools:
    """Days with at least one hour for which `top_wet` is true, days x zones."""
    return np.asarray(np.any(_by_day(top_wet(top_pf, rain_mm)), axis=1))


def top_wet(top_pf: Floats, rain_mm: Floats) -> Bools:
    """Hours in which the top has been wetter than pF 2.0 for over 48 h since rain ended.

    top_pf: hours x zones. rain_mm: of each hour.
    """
    hour = np.arange(len(rain_mm))
    rained = np.maximum.accumulate(np.where(rain_mm >= RAIN_LEAST_MM_H, hour, -1))
    firm = np.where(top_pf >= TOP_WET_PF, hour[:, None], -1)
    last_firm = np.maximum.accumulate(firm, axis=0)
    long_ago = (rained >= 0) & (hour - rained > TOP_WET_H)
    return np.asarray(long_ago[:, None] & (last_firm <= rained[:, None]))
