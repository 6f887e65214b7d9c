"""A dry contact that says only wet or dry: a rain disc, a float, a leaf."""

from time import sleep_ms

from evenclay.controller import TYPE_CHECKING, const

if TYPE_CHECKING:
    from machine import Pin

_SAMPLES = const(5)
_APART_MS = const(5)


class Contact:
    """A contact to ground with a pull-up on `pin`; `wet` is the pin's level when it is wet."""

    def __init__(self, pin: "Pin", wet: int = 0) -> None:
        self._pin = pin
        self._wet_level = wet
        self._last: "bool | None" = None

    def wet(self) -> "bool | None":
        """Whether it is wet: the last answer that five samples in a row agreed on, None before."""
        level = self._pin.value()
        for _ in range(_SAMPLES - 1):
            sleep_ms(_APART_MS)
            if self._pin.value() != level:
                return self._last
        self._last = level == self._wet_level
        return self._last
