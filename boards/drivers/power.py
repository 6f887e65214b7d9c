"""A pin that says whether the supply is there: it falls while a capacitor still feeds the board."""

from time import sleep_ms

from evenclay.controller import TYPE_CHECKING, const

if TYPE_CHECKING:
    from machine import Pin

_LOOKS = const(3)  # that have to agree, 1 ms apart


class PowerGood:
    """A comparator's or a divider's output on an input pin; `good` is its level with the supply."""

    look_ms = 20  # between two looks while a valve is open

    def __init__(self, pin: "Pin", good: int = 1) -> None:
        self._pin = pin
        self._good = good

    def fails(self) -> bool:
        """Whether the supply is gone."""
        for _ in range(_LOOKS):
            if self._pin.value() == self._good:
                return False
            sleep_ms(1)
        return True
