"""The ground of a house and the sky above it, hour by hour, as devices and scoring need them.

Time here and in the devices is whole seconds of UTC since 2000-01-01, as the hub counts it. An hour
of weather is an hour of local standard time, all year: hour 0 of a day begins at local midnight in
winter, whatever the clocks on the wall do in summer.
"""

from collections.abc import Sequence

import numpy as np
from mypy_extensions import mypyc_attr
from numpy.random import Generator

from evenclay.sim.calendar import HOUR_S
from evenclay.sim.house.house import Check, Report, Strip
from evenclay.sim.house.sensors import CapacitiveProbe
from evenclay.sim.types import Floats
from evenclay.sim.weather.hourly import Hourly

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


@mypyc_attr(allow_interpreted_subclasses=True)  # informed's is not compiled
class Ground:
    """What devices and owner ask of the ground under a house's strips; stepped when someone looks.

    strips: of the zones, in order. start_s: where its hours begin.
    """

    def __init__(self, strips: Sequence[Strip], start_s: int) -> None:
        self.strips = tuple(strips)
        self.start_s = start_s

    def water(self, zone: int, flow_ml_h: int, from_s: int, to_s: int, kept_ml_h: int = 0) -> None:
        """Water a strip at a steady flow; hours not yet stepped only. kept: what fills the hose."""
        raise NotImplementedError

    def soak(self, zone: int, ml_h_s: int, at_s: int) -> None:
        """Let water that stood in a hose [ml/h times seconds] out in an hour not yet stepped."""
        raise NotImplementedError

    def catch_up(self, to_s: int) -> None:
        """Step every whole hour that has passed."""
        raise NotImplementedError

    def vwc(self) -> list[float]:
        """Water content at the probe's depth under each watered strip, at the last whole hour.

        The very same list as long as the ground is the same.
        """
        raise NotImplementedError

    def sensor(
        self, zone: int, probe: CapacitiveProbe, earth_c: Floats, seed: int
    ) -> tuple[list[float], list[float]]:
        """What the sensor in a strip shows of each true content 0, 1, 2 ... ppt, and what is added.

        probe: how a capacitive one behaves. earth_c: temperature where it lies, in each hour. seed:
        of its noise and its piece. Returns content [ppt] for 0 to 1000, NaN where nothing is shown;
        and what is added in each hour and once more at the very end.
        """
        raise NotImplementedError

    def felt(self, check: Check, random: Generator) -> list[Report]:
        """What an owner's hands say of each watered strip, at the last whole hour.

        random: for what hands get wrong by themselves.
        """
        raise NotImplementedError
