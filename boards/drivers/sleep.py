"""Uptime, and sleep in chunks: awake, light or deep.

Differences of `ticks_ms` hold for 6.2 days, so uptime is added up at every look. A watchdog goes on
through a sleep, so no chunk is as long as its timeout.
"""

from time import sleep_ms, ticks_diff, ticks_ms

from evenclay.controller import TYPE_CHECKING, const

if TYPE_CHECKING:
    from typing import Protocol

    class Machine(Protocol):
        """What sleeping needs of the module `machine`."""

        def lightsleep(self, __time_ms: int) -> None: ...

        def deepsleep(self, __time_ms: int) -> None: ...


AWAKE_MS = const(1000)  # a chunk awake: a typed line waits no longer
LIGHT_MS = const(5000)  # a chunk asleep: an RP2's watchdog reaches 8388 ms


class Uptime:
    """Seconds since boot, light sleep included."""

    def __init__(self) -> None:
        self._last_ms = ticks_ms()
        self._part_ms = 0
        self._up_s = 0

    def s(self) -> int:
        """Seconds since boot. To be asked at least every six days."""
        now_ms = ticks_ms()
        more_s, self._part_ms = divmod(self._part_ms + ticks_diff(now_ms, self._last_ms), 1000)
        self._last_ms = now_ms
        self._up_s += more_s
        return self._up_s

    def ms_until(self, up_s: int) -> int:
        """Milliseconds until the uptime is `up_s`; 0 if it is."""
        return max(0, (up_s - self.s()) * 1000 - self._part_ms)


class Sleeper:
    """How a board waits.

    light: sleep lightly where that is safe. Timers and pin interrupts stand still then, so a board
    with a valve open, a rain gauge or a flow meter stays awake.
    """

    def __init__(self, machine: "Machine", light: bool) -> None:
        self._machine = machine
        self._light = light
        # An RP2's deepsleep is a light sleep and a reset: it refuses more than 71 minutes, and the
        # watchdog bites in any that is longer than 8 s. It has no name for a boot after deep sleep.
        # Source: ports/rp2/modmachine.c of MicroPython.
        self.can_deep = hasattr(machine, "DEEPSLEEP_RESET")

    def chunk(self, wait_ms: int, valve_open: bool) -> None:
        """Wait for at most `wait_ms`, and no longer than one chunk.

        The odd part comes first: chunks end at whole seconds of the uptime where the wait does.
        """
        if wait_ms <= 0:
            return
        if self._light and not valve_open:
            self._machine.lightsleep((wait_ms - 1) % LIGHT_MS + 1)
        else:
            sleep_ms((wait_ms - 1) % AWAKE_MS + 1)

    def deep(self, wait_s: int, valve_open: bool, wake_armed: bool) -> None:
        """Sleep deeply: memory is lost, and the board boots after `wait_s`.

        Raises:
            OSError: a valve is open, and no hardware wake stands behind the sleep; or the port has
                no deep sleep that a watchdog lets last.
        """
        if not self.can_deep:
            raise OSError("this port has no deep sleep for a hub")
        if valve_open and not wake_armed:
            raise OSError("deep sleep with a valve open needs a hardware wake")
        self._machine.deepsleep(wait_s * 1000)
