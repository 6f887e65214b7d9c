"""Pulses counted by an interrupt, and what they mean: rain by a tipping bucket, water by a meter.

The interrupt only counts. On ports with hard interrupts it runs inside one and must not allocate.
"""

from time import ticks_diff, ticks_ms

from evenclay.controller import TYPE_CHECKING, const

if TYPE_CHECKING:
    from machine import Pin

_COUNT_MASK = const(0x3FFFFFFF)  # past this an integer would allocate


class Counter:
    """Counts falling edges of `pin`, at most one in `debounce_ms`.

    A contact to ground, with a pull-up on the pin. `hard`: the port has hard pin interrupts.
    """

    def __init__(self, pin: "Pin", debounce_ms: int, hard: bool) -> None:
        self.count = 0
        self._debounce_ms = debounce_ms
        self._last_ms = ticks_ms()
        count = self._count  # bound here, once: binding allocates
        if hard:
            pin.irq(count, pin.IRQ_FALLING, hard=True)
        else:
            pin.irq(count, pin.IRQ_FALLING)

    def _count(self, _pin: "Pin") -> None:
        now_ms = ticks_ms()
        # After 6.2 quiet days the difference wraps below zero: that is a pulse too.
        if 0 <= ticks_diff(now_ms, self._last_ms) < self._debounce_ms:
            return
        self._last_ms = now_ms
        self.count = (self.count + 1) & _COUNT_MASK


class RainGauge:
    """A tipping bucket: `tip_um` of rain a tip, um."""

    def __init__(self, counter: Counter, tip_um: int) -> None:
        self._counter = counter
        self._tip_um = tip_um

    def um(self) -> int:
        """Rain since boot, um."""
        return self._counter.count * self._tip_um

    def raw(self) -> str:
        """What was counted."""
        return "%d tips" % self._counter.count


class FlowMeter:
    """A pulse meter: `pulses_per_l` pulses a litre."""

    def __init__(self, counter: Counter, pulses_per_l: int) -> None:
        self._counter = counter
        self._pulses_per_l = pulses_per_l

    def ml(self) -> int:
        """Water since boot, ml."""
        litres, rest = divmod(self._counter.count, self._pulses_per_l)
        return litres * 1000 + rest * 1000 // self._pulses_per_l

    def raw(self) -> str:
        """What was counted."""
        return "%d pulses" % self._counter.count
