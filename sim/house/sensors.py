"""Soil and rain sensors as real ones behave: what they make of the truth, with their faults.

Formulas are published; how large noise, offsets and losses are is common practice without source
unless said, and differs from one piece to the next. All take numbers or arrays and plain draws of
a normal law, so that whoever simulates keeps the seed.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numba import njit
from numpy.typing import ArrayLike

from evenclay.sim.ground.retention import plan_line
from evenclay.sim.ground.textures import Texture, pf_of_kpa
from evenclay.sim.types import Floats

AIR = 1.0
WHOLE_PPT = np.arange(1001.0)
LEAST_PERMITTIVITY, MOST_PERMITTIVITY = 1.0, 81.0  # air and water


def vwc_from_permittivity(permittivity: ArrayLike) -> Floats:
    """Volumetric water content [m3/m3] of mineral soil by its permittivity.

    Air (1) gives -0.024 and water (81) 0.989: outside of soil it is no measure.
    Source: Topp, Davis & Annan 1980, Water Resour. Res. 16(3):574-582.
    """
    e = np.asarray(permittivity, dtype=np.float64)
    return np.asarray(-5.3e-2 + 2.92e-2 * e - 5.5e-4 * e**2 + 4.3e-6 * e**3)


def permittivity_from_vwc(vwc: ArrayLike) -> Floats:
    """The permittivity [1..81] that vwc_from_permittivity turns into vwc; the nearer end outside.

    Solved, not Topp's separate fit, so that a round trip is exact.
    """
    grid = np.linspace(LEAST_PERMITTIVITY, MOST_PERMITTIVITY, 8001)
    wanted = np.asarray(vwc, dtype=np.float64)
    return np.asarray(np.interp(wanted, vwc_from_permittivity(grid), grid))


@dataclass(frozen=True)
class CapacitiveProbe:
    """A capacitive probe read through Topp's formula.

    noise_ppt: standard deviation of a reading. offset_ppt: what it reads too much.
    per_degree_ppt: drift with temperature from calibrated_c. taken_off_ppt: what its reader takes
    off for a degree, by a thermometer beside it that shows thermometer_c too much; 0 without one.
    How pieces differ, one standard deviation: pieces_drift in drift, as a share of it; pieces_c in
    what the thermometer shows.
    gap_pf: suction from which clay draws back from the probe; at gap_whole_pf air takes gap_share
    of what the probe senses.
    """

    noise_ppt: float = 3.0
    offset_ppt: float = 0.0
    per_degree_ppt: float = 0.8
    taken_off_ppt: float = 0.8
    thermometer_c: float = 0.0
    calibrated_c: float = 20.0
    pieces_drift: float = 0.25
    pieces_c: float = 0.5
    gap_pf: float = 3.5
    gap_whole_pf: float = 4.5
    gap_share: float = 0.6

    def reads_ppt(
        self, vwc_ppt: ArrayLike, suction_pf: ArrayLike, temp_c: ArrayLike, draw: ArrayLike
    ) -> Floats:
        """What it shows [ppt, by whole units, not below 0] for the soil's true water content.

        draw: a standard normal number. Soil and air mix by the square root of permittivity
        (Birchak et al. 1974).
        """
        shown = self._mixed_ppt(vwc_ppt, suction_pf) + self.adds_ppt(temp_c, draw)
        return np.asarray(np.maximum(np.rint(shown), 0.0))

    def adds_ppt(self, temp_c: ArrayLike, draw: ArrayLike) -> Floats:
        """What offset, temperature and noise add to a reading."""
        degrees = np.asarray(temp_c, dtype=np.float64) - self.calibrated_c
        drift = self.per_degree_ppt * degrees
        taken_off = self.taken_off_ppt * (degrees + self.thermometer_c)
        noise = self.noise_ppt * np.asarray(draw)
        return np.asarray(self.offset_ppt + drift - taken_off + noise)

    def piece(self, draws: Sequence[float]) -> "CapacitiveProbe":
        """One piece of many: other drift and thermometer; draws: two standard normal."""
        return replace(
            self,
            per_degree_ppt=self.per_degree_ppt * (1.0 + self.pieces_drift * draws[0]),
            thermometer_c=self.thermometer_c + self.pieces_c * draws[1],
        )

    def curve_ppt(self, suction_pf: Floats) -> Floats:
        """What it shows without those at 0, 1, 2 ... 1000 ppt of water, at the pF of each."""
        return self._mixed_ppt(WHOLE_PPT, suction_pf)

    def _mixed_ppt(self, vwc_ppt: ArrayLike, suction_pf: ArrayLike) -> Floats:
        true = np.asarray(vwc_ppt, dtype=np.float64) / 1000.0
        suction = np.asarray(suction_pf, dtype=np.float64)
        opened = np.clip((suction - self.gap_pf) / (self.gap_whole_pf - self.gap_pf), 0.0, 1.0)
        air = self.gap_share * opened
        soil = np.sqrt(permittivity_from_vwc(true))
        mixed = ((1.0 - air) * soil + air * np.sqrt(AIR)) ** 2
        return np.asarray(1000.0 * vwc_from_permittivity(mixed))


@dataclass(frozen=True)
class SuctionSensor:
    """A sensor of suction, read through a table of suction and water content of the soil.

    least_kpa: it shows no less. most_kpa: from there on it shows nothing: it is dry, and a board's
    driver takes it for open. error_pf: what it shows too much. noise_ppt: standard deviation of a
    reading, in the table's content; 2 are some 0.02 pF of clay.
    """

    least_kpa: float
    most_kpa: float
    error_pf: float = 0.0
    noise_ppt: float = 2.0

    def shows_pf(self, suction_pf: ArrayLike) -> Floats:
        """What it shows of a true suction; NaN where it shows nothing."""
        shown = np.asarray(suction_pf, dtype=np.float64) + self.error_pf
        shown = np.maximum(shown, pf_of_kpa(self.least_kpa))
        return np.where(shown > pf_of_kpa(self.most_kpa), np.nan, shown)

    def curve_ppt(self, suction_pf: Floats, texture: Texture) -> Floats:
        """What the plan's line makes of a true suction [ppt]; NaN where nothing is shown."""
        return plan_line(texture).ppt(self.shows_pf(suction_pf))


# Granular matrix: usual from 10 to 200 kPa (common practice, no source). The drivers of boards take
# 30 kohm for open, which is 171 kPa at 10 C and 239 kPa at 30 C (Shock et al. 1998).
GRANULAR_MATRIX = SuctionSensor(10.0, 200.0)
# Its water boils near 80 kPa: New Mexico State University.
TENSIOMETER = SuctionSensor(0.1, 80.0)


@dataclass(frozen=True)
class TippingBucket:
    """A tipping-bucket rain gauge.

    tip_um: what one tip stands for. tip_s: how long a tip takes, in which rain is lost: heavy rain
    is read short. caught: share that wind lets into the funnel. wetting_um: what a dry funnel
    keeps. dry_h: hours without rain after which the funnel is dry and the half-filled bucket empty.
    """

    tip_um: int = 200
    tip_s: float = 0.4
    caught: float = 0.95
    wetting_um: float = 100.0
    dry_h: int = 12

    def counts_um(self, rain_um: Floats) -> Floats:
        """Rain counted up to the end of each hour [um, whole tips], for rain of each hour [um]."""
        bucket, kept = 0.0, self.wetting_um
        counted = np.zeros(len(rain_um))
        wet = np.flatnonzero(rain_um)
        before = 0
        for hour, fallen in zip(wet.tolist(), rain_um[wet].tolist(), strict=True):
            if hour - before > self.dry_h:
                bucket, kept = 0.0, self.wetting_um
            before = hour
            caught = fallen * self.caught
            soaked = min(caught, kept)
            kept -= soaked
            rate_um_s = (caught - soaked) / 3600.0
            bucket += (caught - soaked) / (1.0 + rate_um_s * self.tip_s / self.tip_um)
            tips = bucket // self.tip_um
            bucket -= tips * self.tip_um
            counted[hour] = tips * self.tip_um
        return np.cumsum(counted)


def ground_temperature_c(air_c: Floats, lag_h: float = 200.0) -> Floats:
    """Hourly temperature where a probe lies, as a running mean of the air's [deg C].

    lag_h: its time constant; eight days stand for some 0.5 m (an assumption). The ground's own
    yearly lag and what watering does to it are left out.
    """
    return _running_mean(air_c, 1.0 - np.exp(-1.0 / lag_h), float(np.mean(air_c[: int(lag_h)])))


@njit(cache=True)
def _running_mean(values: Floats, weight: float, mean: float) -> Floats:
    found = np.empty(len(values))
    for i, value in enumerate(values):
        mean += weight * (value - mean)
        found[i] = mean
    return found
