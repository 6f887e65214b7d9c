"""The deadline behind the hub: a hardware timer that shuts a valve the hub has forgotten.

It knows no clock, plan or record. It counts its own seconds and works while the main loop is stuck,
as far as the port lets timers interrupt Python.
"""

from evenclay.controller import TYPE_CHECKING, const

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Protocol

    from machine import Timer

    class Valve(Protocol):
        """What the deadline needs of a valve."""

        def shut_now(self) -> bool:
            """Close it, inside an interrupt. False: not now, ask again."""

        def cut(self) -> None:
            """Switch off a coil that was left live."""


_ONCE_MORE = const(-1)  # shut a second ago, and again now: a closing pulse is given twice


class Deadline:
    """Shuts `valves[n]` in the second after its time is over.

    hard: the port has hard timer interrupts; without them the timer runs between two bytecodes,
    which a loop in Python cannot stop, and a call that never returns can: then the watchdog resets
    """

    def __init__(self, timer: "Timer", valves: "Sequence[Valve]", hard: bool) -> None:
        self._timer = timer
        self._valves = valves
        self._hard = hard
        self._left_s = [0] * len(valves)  # 0: not armed
        self._late = False
        self.fired = 0  # closing pulses it had to give
        self._ticks = self._tick  # bound here, once: binding allocates
        self._runs = False

    def arm(self, valve: int, deadline_s: int) -> None:
        """Shut `valve` in `deadline_s` unless disarmed before; never earlier."""
        self._left_s[valve] = deadline_s + 1  # the first tick may come at once
        if not self._runs:
            timer = self._timer
            if self._hard:
                timer.init(mode=timer.PERIODIC, period=1000, callback=self._ticks, hard=True)
            else:  # on ports without hard timers, older firmware does not know the name `hard`
                timer.init(mode=timer.PERIODIC, period=1000, callback=self._ticks)
            self._runs = True

    def disarm(self, valve: int) -> None:
        """The valve was shut in time."""
        self._left_s[valve] = 0
        if self._runs and not any(self._left_s):
            self._timer.deinit()
            self._runs = False

    def armed(self) -> bool:
        """Whether any valve is being watched."""
        return any(self._left_s)

    def _tick(self, _timer: "Timer") -> None:
        """One second, inside an interrupt: allocates nothing."""
        left_s = self._left_s
        valve = 0
        while valve < len(left_s):
            if left_s[valve] > 1:
                left_s[valve] -= 1
            elif left_s[valve] and self._shut(valve):
                left_s[valve] = _ONCE_MORE if left_s[valve] == 1 else 0
            valve += 1

    def _shut(self, valve: int) -> bool:
        """Shut a valve; if a coil is live for a second tick, whoever pulsed it is stuck: cut it."""
        shut = self._valves[valve]
        if self._late:
            shut.cut()
        self._late = not shut.shut_now()
        if self._late:
            return False
        self.fired += 1
        return True
