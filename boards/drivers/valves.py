"""Valves: latching ones, pulsed through an H-bridge, and held ones, behind a relay or a MOSFET.

Polarity is a matter of the pin map: a valve that opens when told to close has its two pins swapped.
What `shut_now` does may run inside a hard interrupt, so it allocates nothing and calls nothing that
does.
"""

from time import sleep_ms, ticks_diff, ticks_us

from evenclay.controller import TYPE_CHECKING, const

if TYPE_CHECKING:
    from machine import Pin

    from evenclay.boards.drivers.battery import Battery

# Common practice, no source: 20-100 ms moves the plunger, and more only heats the coil.
PULSE_MS = const(50)
PULSE_MAX_MS = const(200)
REST_MS = const(50)  # between two pulses, the supply recovers
CLOSE_PULSES = const(2)  # grit under the seat, or a weak first pulse: once more costs 13 uAh


class Coils:
    """What all latching valves share: one supply, which feeds one coil at a time."""

    def __init__(self) -> None:
        self.live: "Pin | None" = None  # the pin that is high now
        self.battery: "Battery | None" = None
        self.close_least_mv = 0

    def watch(self, battery: "Battery", close_least_mv: int) -> None:
        """Refuse to open when `battery` gives less than this under a coil's load, mV.

        Called once the valves are shut: at boot, closing comes before any reading.
        """
        self.battery = battery
        self.close_least_mv = close_least_mv

    def cut(self) -> None:
        """Switch off whatever coil is live. Allocates nothing."""
        pin = self.live
        if pin is not None:
            pin.value(0)
            self.live = None


class LatchingValve:
    """A valve that stays as it was pulsed: `opens` and `closes` are the two inputs of its H-bridge.

    Both pins are outputs at 0 when handed over.
    """

    def __init__(self, opens: "Pin", closes: "Pin", coils: Coils, pulse_ms: int = PULSE_MS) -> None:
        if not 1 <= pulse_ms <= PULSE_MAX_MS:
            raise ValueError("pulse_ms %d not in 1..%d" % (pulse_ms, PULSE_MAX_MS))
        self._opens = opens
        self._closes = closes
        self._coils = coils
        self._pulse_ms = pulse_ms
        self._pulse_us = pulse_ms * 1000

    def open(self) -> None:
        """Open, if the supply could close it again.

        It is shut now, so a closing pulse moves nothing, and shows what the supply gives under this
        very coil.

        Raises:
            OSError: another coil is live, or the supply is too weak; nothing was opened.
        """
        battery = self._coils.battery
        if battery is not None:
            battery.rest()
            loaded_mv = self._pulse(self._closes, battery)
            least_mv = self._coils.close_least_mv
            if loaded_mv < least_mv:
                raise OSError("%d mV under load, closing needs %d" % (loaded_mv, least_mv))
            sleep_ms(REST_MS)
        self._pulse(self._opens, None)

    def close(self) -> None:
        """Close. Raises OSError if another coil is live."""
        for _ in range(CLOSE_PULSES):
            self._pulse(self._closes, None)
            sleep_ms(REST_MS)

    def shut_now(self) -> bool:
        """Close from an interrupt. Returns False, with nothing done, while another coil is live."""
        coils = self._coils
        if coils.live is not None:
            return False
        pin = self._closes
        coils.live = pin
        pin.value(1)
        start_us = ticks_us()
        while ticks_diff(ticks_us(), start_us) < self._pulse_us:
            pass
        pin.value(0)
        coils.live = None
        return True

    def cut(self) -> None:
        """Switch off a coil that was left live. Allocates nothing."""
        self._coils.cut()

    def _pulse(self, pin: "Pin", battery: "Battery | None") -> int:
        """Give one pulse. Returns what `battery` gives near its end, mV; 0 if it is not asked."""
        coils = self._coils
        if coils.live is not None:
            raise OSError("another coil is live")
        loaded_mv = 0
        coils.live = pin
        try:
            pin.value(1)
            sleep_ms(self._pulse_ms)
            if battery is not None:
                loaded_mv = battery.load()
        finally:
            pin.value(0)
            coils.live = None
        return loaded_mv


class HeldValve:
    """A valve that is open only while its coil is fed, through a relay or a MOSFET.

    `pin` is an output, at its shut level when handed over; `on` is the level that feeds the coil.
    """

    held = True  # it shuts by itself when power goes

    def __init__(self, pin: "Pin", on: int = 1) -> None:
        self._pin = pin
        self._on = on

    def open(self) -> None:
        """Feed the coil."""
        self._pin.value(self._on)

    def close(self) -> None:
        """Let go of the coil."""
        self._pin.value(1 - self._on)

    def shut_now(self) -> bool:
        """Let go of the coil, from an interrupt. Returns True."""
        self._pin.value(1 - self._on)
        return True

    def cut(self) -> None:
        """Nothing is left live: `shut_now` never waits."""


class NoValve:
    """The master valve of a supply that has none: shut for ever."""

    def open(self) -> None:
        """Raise OSError: there is nothing to open."""
        raise OSError("no such valve")

    def close(self) -> None:
        """There is nothing to close."""

    def shut_now(self) -> bool:
        """There is nothing to close. Returns True."""
        return True

    def cut(self) -> None:
        """There is nothing to cut."""
