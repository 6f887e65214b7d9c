"""One light that shows how a hub is: how often it blinks, and how long.

The main loop asks it when to be back, so it needs no timer.
"""

from time import ticks_diff, ticks_ms

from evenclay.boards.talk import state
from evenclay.controller import const

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from machine import Pin

    from evenclay.controller.runner import Runner

_UNIT_MS = const(50)
# On, off, on, off, in units of 50 ms, of each state of `evenclay.boards.talk`:
_PATTERNS = (
    b"\x01\x77\x01\x77"  # well: one blink in six seconds
    b"\x01\x05\x01\x71"  # holding back: two blinks in six seconds
    b"\x04\x04\x04\x04"  # needs you: on and off, more than twice a second
    b"\x14\x05\x01\x14"  # no clock: a long and a short one
)
_PLACES = const(4)
_TAKEN_MS = const(1500)  # a press was taken: steady light


class Light:
    """A light on an output; `on` is the level at which it shines."""

    def __init__(self, pin: "Pin", on: int = 1) -> None:
        self._pin = pin
        self._on = on
        self._state = -1
        self._place = 0
        self._from_ms = ticks_ms()
        self._for_ms = 0  # it stays as it is for so long from then on

    def show(self, runner: "Runner", up_s: int) -> int:
        """Go on with the pattern of how the hub is. Returns when to be called again, in ms."""
        now = state(runner, up_s)
        left_ms = self._for_ms - ticks_diff(ticks_ms(), self._from_ms)
        if left_ms > 0 and (now == self._state or self._state < 0):
            return left_ms
        place = (self._place + 1) % _PLACES if now == self._state else 0
        self._turn(now, 1 - place % 2, _PATTERNS[_PLACES * now + place] * _UNIT_MS)
        self._place = place
        return self._for_ms

    def taken(self) -> None:
        """Shine for a moment: a press of the button was taken."""
        self._turn(-1, 1, _TAKEN_MS)

    def off(self) -> None:
        """Go dark: the board sleeps deeply."""
        self._turn(-1, 0, 0)

    def _turn(self, state: int, shines: int, for_ms: int) -> None:
        self._state = state
        self._pin.value(self._on if shines else 1 - self._on)
        self._from_ms = ticks_ms()
        self._for_ms = for_ms
