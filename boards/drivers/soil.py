"""Soil moisture: capacitive probes, and granular matrix sensors.

Both give volumetric water content in ppt, by a table for this probe in this soil. Without one of
its own a capacitive probe is not to be believed; and it drifts with the soil's temperature.
Source: Adla et al. 2020 (Sensors 20:363), Nagahage et al. 2019 (Agriculture 9:141).
"""

from time import sleep_ms, sleep_us

from evenclay.boards.drivers.adc import FULL, at_rail, counts, interpolate
from evenclay.controller import TYPE_CHECKING, const

if TYPE_CHECKING:
    from machine import ADC, Pin

    Table = tuple[tuple[int, int], ...]

_TABLE_MC = const(20000)  # at which a capacitive probe's table is made
_WARM_MS = const(100)  # a probe's oscillator and its filter settle; common practice, no source

_PHASE_US = const(500)  # each way round; long against the ADC, short against electrolysis
_PHASES = const(8)
_SUM_TOLERANCE = const(3300)  # 5 % of full: the two ways round must add up to the supply


class CapacitiveProbe:
    """A capacitive probe on an ADC pin.

    table: (counts, vwc_ppt) pairs, counts ascending, from this probe in this soil at 20 degrees
    drift_ppm: how much more it shows for each degree that the soil is warmer
    power: an output that feeds the probe while it is read, or None if it is always fed
    """

    def __init__(
        self, adc: "ADC", table: "Table", drift_ppm: int = 0, power: "Pin | None" = None
    ) -> None:
        self._adc = adc
        self._table = table
        self._drift_ppm = drift_ppm
        self._power = power
        self._counts = 0  # the last

    def vwc_ppt(self, temp_mc: int) -> "int | None":
        """Volumetric water content in soil of `temp_mc`, ppt, at least 0; None with the input at a
        rail: open, short or not fed."""
        power = self._power
        if power is not None:
            power.value(1)
            sleep_ms(_WARM_MS)
        try:
            value = counts(self._adc)
        finally:
            if power is not None:
                power.value(0)
        self._counts = value
        if at_rail(value):
            return None
        warm_ppt = self._drift_ppm * ((temp_mc - _TABLE_MC) // 10) // 100000
        return max(interpolate(self._table, value) - warm_ppt, 0)

    def raw(self) -> str:
        """What the converter counted, before table and temperature."""
        return "%d counts" % self._counts


class GranularMatrix:
    """A granular matrix sensor between `far` and the ADC's node; `series_ohm` from there to `near`.

    `range_ohm` is the least and the most of the sensor's data sheet: outside, it is short or open.
    Both pins are outputs at 0 at rest. Current flows for equal times both ways, so none flows on
    balance: direct current would wear the electrodes and shift the reading.

    table: (suction_kpa, vwc_ppt) pairs for this soil, suction ascending
    """

    def __init__(
        self,
        adc: "ADC",
        near: "Pin",
        far: "Pin",
        series_ohm: int,
        range_ohm: "tuple[int, int]",
        table: "Table",
    ) -> None:
        self._adc = adc
        self._near = near
        self._far = far
        self._series_ohm = series_ohm
        self._least_ohm, self._most_ohm = range_ohm
        self._table = table
        self._ohm = 0  # the last

    def ohm(self) -> "int | None":
        """Resistance, ohm; None where the two ways round do not agree: open, or a broken wire.

        The node stands at supply x R / (R + series) one way and at supply x series / (R + series)
        the other way, so R = series x first / second, whatever the supply.
        """
        first = second = 0
        for _ in range(_PHASES):
            first += self._phase(self._near, self._far)
            second += self._phase(self._far, self._near)
        first //= _PHASES
        second //= _PHASES
        if not second or abs(first + second - FULL) > _SUM_TOLERANCE:
            return None
        self._ohm = self._series_ohm * first // second
        return self._ohm

    def raw(self) -> str:
        """The resistance last found."""
        return "%d ohm" % self._ohm

    def suction_kpa(self, temp_mc: int) -> "int | None":
        """Soil suction at soil temperature `temp_mc`, kPa; None if short, open or out of range."""
        ohm = self.ohm()
        if ohm is None or not self._least_ohm <= ohm <= self._most_ohm:
            return None
        pa = suction_pa(ohm, temp_mc)
        return None if pa is None else (pa + 500) // 1000

    def vwc_ppt(self, temp_mc: int) -> "int | None":
        """Volumetric water content by this soil's table, ppt; None where there is no suction."""
        kpa = self.suction_kpa(temp_mc)
        return None if kpa is None else interpolate(self._table, kpa)

    def _phase(self, high: "Pin", low: "Pin") -> int:
        """Counts at the node with current from `high` to `low`."""
        low.value(0)
        high.value(1)
        try:
            sleep_us(_PHASE_US)
            return self._adc.read_u16()
        finally:
            high.value(0)


def suction_pa(ohm: int, temp_mc: int) -> "int | None":
    """Soil suction of a granular matrix sensor, Pa; None past the equation's reach.

    kPa = (4.093 + 3.213 R) / (1 - 0.009733 R - 0.01205 T), R in kohm, T in degrees Celsius.
    Source: Shock, Barnum & Seddigh 1998, Irrigation Association proceedings, pp. 139-146.
    """
    below = 1000000 - 9733 * ohm // 1000 - 1205 * temp_mc // 100
    return None if below <= 0 else (4093000 + 3213 * ohm) * 1000 // below
