"""Battery voltage, through a divider on an ADC pin, at rest and under a coil's load.

A coil is pulsed seldom and the battery looked at often, so between pulses the voltage under load is
taken to be the voltage at rest less the sag of the last pulse. Of a battery that has been charged
since, the sag is not known before the next pulse. Else a hub that has seen one weak pulse would
hold back for ever, since it pulses no coil while it holds back. The check before each opening is
measured, not reckoned.
"""

from evenclay.boards.drivers.adc import millivolts
from evenclay.controller import TYPE_CHECKING, const

if TYPE_CHECKING:
    from machine import ADC

_CHARGED_PCT = const(105)  # of the voltage at rest before the last pulse (a guess)


class Battery:
    """A battery behind a divider: `top_ohm` to the battery, `bottom_ohm` to ground.

    full_mv: what the ADC reads as its highest count (unused where it measures volts by itself)
    """

    def __init__(self, adc: "ADC", top_ohm: int, bottom_ohm: int, full_mv: int = 3300) -> None:
        self._adc = adc
        self._top_ohm = top_ohm
        self._bottom_ohm = bottom_ohm
        self._full_mv = full_mv
        self._rest_mv = 0
        self._sag_mv = 0
        self._pin_mv = 0  # the last

    def mv(self) -> int:
        """Voltage as it would be under a coil's load, mV."""
        rest_mv = self._read_mv()
        if rest_mv * 100 > self._rest_mv * _CHARGED_PCT:
            self._sag_mv = 0
        return max(0, rest_mv - self._sag_mv)

    def rest(self) -> None:
        """Measure before a pulse."""
        self._rest_mv = self._read_mv()

    def load(self) -> int:
        """Measure during a pulse. Returns the voltage under load, mV."""
        loaded_mv = self._read_mv()
        self._sag_mv = max(0, self._rest_mv - loaded_mv)
        return loaded_mv

    def raw(self) -> str:
        """What stands at the pin, behind the divider."""
        return "%d mV at its pin" % self._pin_mv

    def _read_mv(self) -> int:
        self._pin_mv = pin_mv = millivolts(self._adc, self._full_mv)
        return pin_mv * (self._top_ohm + self._bottom_ohm) // self._bottom_ohm
