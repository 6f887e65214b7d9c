"""One button: a short press stops, a long one holds the water back for a day.

The two are told apart by an interrupt that only notes when it went down and up.
"""

from time import ticks_diff, ticks_ms

from evenclay.controller import const
from evenclay.controller.limits import DAY_S
from evenclay.controller.ports import ASK_HOLD, ASK_STOP

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from machine import Pin

    from evenclay.controller.ports import Asked

_SHORT = const(1)
_LONG = const(2)
_BOUNCE_MS = const(30)  # a contact bounces for less; common practice, no source
_LONG_MS = const(3000)


class Button:
    """A button to ground on a pin with a pull-up. `hard`: the port has hard pin interrupts."""

    def __init__(self, pin: "Pin", hard: bool) -> None:
        self._pin = pin
        self._down_ms = ticks_ms()
        self._down = False
        self._long = False  # this press was taken as a long one already
        self._pressed = 0  # _SHORT or _LONG, once it is over
        edge = self._edge  # bound here, once: binding allocates
        both = pin.IRQ_FALLING | pin.IRQ_RISING
        if hard:
            pin.irq(edge, both, hard=True)
        else:
            pin.irq(edge, both)

    def asked(self, wall_s: int) -> "Asked | None":
        """Return what was asked for by a press since the last call; `wall_s` 0: no clock.

        A long press counts as soon as it is long enough, and without a clock it stops instead.
        """
        pressed = self._pressed
        self._pressed = 0
        if self._down:
            if self._pin.value():
                self._edge(self._pin)  # an edge went missing
            elif not self._long and ticks_diff(ticks_ms(), self._down_ms) >= _LONG_MS:
                self._long = True
                pressed = _LONG
        if pressed == _LONG and wall_s:
            return ASK_HOLD, -1, wall_s + DAY_S
        return (ASK_STOP, -1, 0) if pressed else None

    def _edge(self, pin: "Pin") -> None:
        """It went down or up, inside an interrupt: allocates nothing."""
        now_ms = ticks_ms()
        if not pin.value():
            if not self._down:
                self._down = True
                self._long = False
                self._down_ms = now_ms
        elif self._down:
            self._down = False
            took_ms = ticks_diff(now_ms, self._down_ms)
            if took_ms >= _BOUNCE_MS and not self._long:
                self._pressed = _LONG if took_ms >= _LONG_MS else _SHORT
