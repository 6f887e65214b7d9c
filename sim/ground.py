"""The ground of a house and the sky above it, hour by hour, as devices and scoring need them.

Time here and in the devices is whole seconds of UTC since 2000-01-01, as the hub counts it. An hour
of weather is an hour of local standard time, all year: hour 0 of a day begins at local midnight in
winter, whatever the clocks on the wall do in summer.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from sim import soil
from sim.hourly import Hourly
from sim.house import Strip

Floats = NDArray[np.float64]

HOUR_S = 3600
START_PF = 2.9  # the middle of the band
PER_LITRE = 1000 * HOUR_S  # flow in ml/h times seconds, as water is counted, in a litre


class Sky:
    """Hourly rain and temperature in the integers that devices measure in."""

    def __init__(self, hourly: Hourly, start_s: int) -> None:
        """hourly: from `start_s` on, a local standard midnight."""
        self.start_s = start_s
        self.hours = len(hourly.rain_mm)
        self.rain_um = hourly.rain_mm * 1000.0  # of each hour
        self.temp_c = hourly.temp_c
        temp_mc: list[int] = np.rint(hourly.temp_c * 1000.0).astype(np.int64).tolist()
        self.temp_mc = [*temp_mc, temp_mc[-1]]  # of each hour, and once more at the very end
        fallen = np.concatenate(([0.0], np.cumsum(hourly.rain_mm)))
        self._fallen_um: list[int] = np.rint(fallen * 1000.0).astype(np.int64).tolist()

    def fallen_um(self, at_s: int) -> int:
        """Rain since the start, um; it falls evenly within its hour."""
        hour, of_hour_s = divmod(at_s - self.start_s, HOUR_S)
        if hour >= self.hours:
            return self._fallen_um[self.hours]
        before_um = self._fallen_um[hour]
        return before_um + (self._fallen_um[hour + 1] - before_um) * of_hour_s // HOUR_S


def forcing(strips: Sequence[Strip], hourly: Hourly) -> Floats:
    """What sky and sun do to every column: (hours, 2 x strips, soil.FORCINGS), not yet watered.

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


def columns_of(strips: Sequence[Strip], start_pf: float, watered: bool = True) -> soil.Columns:
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
    )


def unwatered_pf(strips: Sequence[Strip], dry_forcing: Floats, start_pf: float) -> Floats:
    """Daily mean pF of the band in every strip's unwatered column, days x strips."""
    count = len(strips)
    columns = columns_of(strips, start_pf, watered=False)
    results = columns.run(np.ascontiguousarray(dry_forcing[:, :count]))
    return np.asarray(results[:, :, soil.BAND_PF].reshape(-1, 24, count).mean(axis=1))


class Ground:
    """Every strip's column and the same column unwatered, stepped when someone looks."""

    def __init__(
        self, strips: Sequence[Strip], dry_forcing: Floats, start_s: int, start_pf: float = START_PF
    ) -> None:
        """dry_forcing: from `forcing`; it is copied."""
        self.strips = tuple(strips)
        self.start_s = start_s
        self.columns = columns_of(strips, start_pf)
        # Daily MOVEMENT_PF of the cells under the slab beside each column, since the start.
        self.under_pf = np.zeros((0, 2 * len(strips), soil.CELLS))
        self._lay_out(dry_forcing)

    def _lay_out(self, dry_forcing: Floats) -> None:
        count = len(self.strips)
        self.forcing = dry_forcing.copy()
        self.passed = np.zeros((len(dry_forcing), count))  # through each valve, ml/h times seconds
        self.results = np.zeros((len(dry_forcing), 2 * count, soil.RESULTS))
        more_pf = np.full((len(dry_forcing) // 24, 2 * count, soil.CELLS), np.nan)
        if len(self.under_pf):
            more_pf[:] = self.under_pf[-1]  # until the cells are stepped the next time
        self.under_pf = np.concatenate([self.under_pf, more_pf])
        self._hours = 0  # stepped so far
        self._now = self.columns.measures()
        # Flat views: Python reads and writes single numbers through them faster than by arrays.
        self._flat_forcing = self.forcing.data.cast("B").cast("d")
        self._flat_passed = self.passed.data.cast("B").cast("d")

    def go_on(self, dry_forcing: Floats) -> None:
        """Let go of the hours so far, all of them stepped, and go on with the next ones."""
        assert self._hours == len(self.forcing)
        self.start_s += HOUR_S * self._hours
        self._lay_out(dry_forcing)

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
        hour = (at_s - self.start_s) // HOUR_S
        self.forcing[hour, len(self.strips) + zone, soil.IRRIGATION] += ml_h_s

    def catch_up(self, to_s: int) -> None:
        """Step every whole hour that has passed."""
        first = self._hours
        last = (to_s - self.start_s) // HOUR_S
        if last <= first:
            return
        self.columns.step(self.forcing[first:last], self.results[first:last], self.under_pf)
        self._hours = last
        self._now = self.results[last - 1]

    def vwc_ppt(self, zone: int) -> float:
        """Water content at the probe's depth under a watered strip, ppt, at the last whole hour."""
        return 1000.0 * self._now.item(len(self.strips) + zone, soil.PROBE_VWC)

    def band_pf(self) -> list[float]:
        """The depth-mean pF of the band under each watered strip, at the last whole hour."""
        return list(self._now[len(self.strips) :, soil.BAND_PF].tolist())

    def top_pf(self) -> list[float]:
        """The depth-mean pF of 0-0.3 m under each watered strip, at the last whole hour."""
        return list(self._now[len(self.strips) :, soil.TOP_PF].tolist())
