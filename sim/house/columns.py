"""A house's strips as single columns of soil, watered, beside the same unwatered.

`propose` searches by these, and a sweep counts by them; everything else looks at the cross-section.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator

from evenclay.controller.ports import DRY, FIRM, WET
from evenclay.sim.calendar import HOUR_S
from evenclay.sim.ground import soil
from evenclay.sim.house.house import Check, Report, Strip
from evenclay.sim.house.site import PER_LITRE, Ground
from evenclay.sim.types import Floats
from evenclay.sim.weather.hourly import Hourly

START_PF = 2.9  # the middle of the band

# What a blade finds in the top 0.3 m of a column. Nobody has published it: these are assumptions
# of ours, fitted so that a trimmed strip ends in the band (tests/published/test_trimming.py). A
# strip that is watered from above is wettest at the top: the band keeps within pF 2.5-3.3 while the
# mean of 0-0.3 m stays near pF 2.1 before the day's first cycle. So this owner must tell 11 from
# 16 kPa, which no hand can: on the cross-section he checks as `hands` says.
BLADE_DRY_PF = 2.2  # hard to push in: the mean of its length above about 16 kPa
BLADE_WET_PF = 2.05  # goes in by itself and comes out sloppy: below about 11 kPa


def forcing(strips: Sequence[Strip], hourly: Hourly) -> Floats:
    """What rain and sun do to every column: (hours, 2 x strips, soil.FORCINGS), not yet watered.

    Columns: the strips unwatered, in order, then the strips watered.
    """
    count = len(strips)
    exposure = np.array([strip.exposure for strip in strips])
    coefficient = np.array([strip.coefficient for strip in strips])
    array = np.zeros((len(hourly.rain_mm), 2 * count, soil.FORCINGS))
    for half in (slice(0, count), slice(count, 2 * count)):
        array[:, half, soil.RAIN] = hourly.rain_mm[:, None] * exposure
        array[:, half, soil.PET] = hourly.et0_mm[:, None] * coefficient
    return array


def columns_of(
    strips: Sequence[Strip], start_pf: float, watered: bool = True, refine: float = 1.0
) -> soil.Columns:
    """Columns of the strips unwatered, in order, then of the strips watered, if so told.

    Irrigation in ml/h times seconds over the strip, as the devices count water.
    """
    times, count = 2 if watered else 1, len(strips)
    yard: list[int | None] = [None] * count
    return soil.Columns(
        [strip.texture for strip in strips] * times,
        yard=[*yard, *range(count)][: times * count],
        width_m=[strip.width_m for strip in strips] * times,
        slab_m=[strip.slab_m for strip in strips] * times,
        given_mm=[1.0 / (PER_LITRE * strip.area_m2) for strip in strips] * times,
        start_pf=start_pf,
        refine=refine,
    )


@dataclass(frozen=True)
class Dry:
    """Hours on which nobody waters: what every way of watering begins with.

    forcing: (hours, 2 x strips, soil.FORCINGS), as of `forcing`. Of the strips unwatered: results:
    (hours, strips, soil.RESULTS); under_pf: (days since the start, strips, soil.CELLS), MOVEMENT_PF
    of the cells under the slab; potential: (hours, strips, soil.LAYERS), what strips beside them
    exchange with; refine: of all columns' steps, see `soil.Columns`; mass_balance_error_mm: the
    largest.
    """

    forcing: Floats
    results: Floats
    under_pf: Floats
    potential: Floats
    start_pf: float
    refine: float
    mass_balance_error_mm: float

    def band_pf(self) -> Floats:
        """Daily mean pF of the band in every strip's unwatered column, days x strips."""
        hours = self.results[:, :, soil.BAND_PF]
        return np.asarray(hours.reshape(-1, 24, hours.shape[1]).mean(axis=1))


class Yards:
    """Every strip's column unwatered."""

    def __init__(
        self, strips: Sequence[Strip], start_pf: float = START_PF, refine: float = 1.0
    ) -> None:
        self._strips = strips
        self._start_pf, self._refine = start_pf, refine
        self._columns = columns_of(strips, start_pf, watered=False, refine=refine)
        self._under_pf = np.zeros((0, len(strips), soil.CELLS))

    def go_on(self, hourly: Hourly) -> Dry:
        """Live through some hours."""
        array, count = forcing(self._strips, hourly), len(self._strips)
        results = np.empty((len(array), count, soil.RESULTS))
        potential = np.empty((len(array), count, soil.LAYERS))
        self._under_pf = longer(self._under_pf, len(array) // 24)
        yards = np.ascontiguousarray(array[:, :count])
        self._columns.step(yards, results, self._under_pf, potential)
        error_mm = self._columns.mass_balance_error_mm
        start_pf, refine = self._start_pf, self._refine
        return Dry(array, results, self._under_pf, potential, start_pf, refine, error_mm)


def dry_of(
    strips: Sequence[Strip], hourly: Hourly, start_pf: float = START_PF, refine: float = 1.0
) -> Dry:
    """Some hours unwatered, from a uniform suction on."""
    return Yards(strips, start_pf, refine).go_on(hourly)


def longer(under_pf: Floats, days: int) -> Floats:
    """Room for more days of the cells under a slab; until they are stepped, they stay the same."""
    more_pf = np.full((days, *under_pf.shape[1:]), np.nan)
    if len(under_pf):
        more_pf[:] = under_pf[-1]
    return np.concatenate([under_pf, more_pf])


class Columns(Ground):
    """Every strip's column, watered, beside the same unwatered; stepped when someone looks."""

    def __init__(self, strips: Sequence[Strip], dry: Dry, start_s: int) -> None:
        """dry: of the same strips; its forcing is copied."""
        super().__init__(strips, start_s)
        self.columns = columns_of(strips, dry.start_pf, refine=dry.refine)
        # Daily MOVEMENT_PF of the cells under the slab beside each column, since the start.
        self.under_pf = np.zeros((0, 2 * len(strips), soil.CELLS))
        self._lay_out(dry)

    def _lay_out(self, dry: Dry) -> None:
        count = len(self.strips)
        self._dry = dry
        self.forcing = dry.forcing.copy()
        self.passed = np.zeros((len(self.forcing), count))  # by each valve, ml/h times seconds
        self.results = np.zeros((len(self.forcing), 2 * count, soil.RESULTS))
        self.results[:, :count] = dry.results
        self.under_pf = longer(self.under_pf, len(self.forcing) // 24)
        self.under_pf[:, :count] = dry.under_pf
        self._hours = 0  # stepped so far
        self._now = self.columns.measures()
        # Flat views: Python reads and writes single numbers through them faster than by arrays.
        self._flat_forcing = self.forcing.data.cast("B").cast("d")
        self._flat_passed = self.passed.data.cast("B").cast("d")

    @property
    def mass_balance_error_mm(self) -> float:
        """The largest of all columns, watered or not."""
        return max(self.columns.mass_balance_error_mm, self._dry.mass_balance_error_mm)

    def go_on(self, dry: Dry) -> None:
        """Let go of the hours so far, all of them stepped, and go on with the next ones."""
        assert self._hours == len(self.forcing)
        self.start_s += HOUR_S * self._hours
        self._lay_out(dry)

    def water(self, zone: int, flow_ml_h: int, from_s: int, to_s: int, kept_ml_h: int = 0) -> None:
        """Water a strip at a steady flow; hours not yet stepped only. kept: what fills the hose."""
        forcing, passed, count = self._flat_forcing, self._flat_passed, len(self.strips)
        while from_s < to_s:
            hour, of_hour_s = divmod(from_s - self.start_s, HOUR_S)
            time_s = to_s - from_s
            if of_hour_s + time_s > HOUR_S:
                time_s = HOUR_S - of_hour_s
            place = count * hour + zone
            at = soil.FORCINGS * (place + count * hour + count)
            # Whole numbers, exact in a float: the sum is the same however the time is cut.
            passed[place] += flow_ml_h * time_s
            forcing[at + soil.IRRIGATION] += (flow_ml_h - kept_ml_h) * time_s
            forcing[at + soil.IRRIGATION_S] += time_s
            from_s += time_s

    def soak(self, zone: int, ml_h_s: int, at_s: int) -> None:
        """Let water that stood in a hose [ml/h times seconds] out in an hour not yet stepped."""
        count = len(self.strips)
        place = 2 * count * ((at_s - self.start_s) // HOUR_S) + count + zone
        self._flat_forcing[soil.FORCINGS * place + soil.IRRIGATION] += ml_h_s

    def catch_up(self, to_s: int) -> None:
        """Step every whole hour that has passed."""
        first = self._hours
        last = (to_s - self.start_s) // HOUR_S
        if last <= first:
            return
        self.columns.step(
            self.forcing[first:last],
            self.results[first:last],
            self.under_pf,
            self._dry.potential[first:last],
            len(self.strips),
        )
        self._hours = last
        self._now = self.results[last - 1]

    def vwc(self) -> list[float]:
        """Water content at the probe's depth under each watered strip, at the last whole hour."""
        return list(self._now[len(self.strips) :, soil.PROBE_VWC].tolist())

    def band_pf(self) -> list[float]:
        """The depth-mean pF of the band under each watered strip, at the last whole hour."""
        return list(self._now[len(self.strips) :, soil.BAND_PF].tolist())

    def top_pf(self) -> list[float]:
        """The depth-mean pF of 0-0.3 m under each watered strip, at the last whole hour."""
        return list(self._now[len(self.strips) :, soil.TOP_PF].tolist())

    def felt(self, check: Check, random: Generator) -> list[Report]:
        """What a blade says of each strip, whatever the owner checks with."""
        return [Report(blade(pf)) for pf in self.top_pf()]


def blade(top_pf: float) -> int:
    """What the owner feels, by the mean pF of 0-0.3 m: the effort adds up along the blade."""
    if top_pf > BLADE_DRY_PF:
        return DRY
    return WET if top_pf < BLADE_WET_PF else FIRM
