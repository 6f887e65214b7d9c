"""The overlap guard: the only code that emits OPEN, and that says why it will not.

It knows every valve's state as far as commands and their outcomes tell. A valve counts as open from
the moment its OPEN is emitted until its CLOSE is known to have been carried out.
"""

from controller._const import TYPE_CHECKING, const
from controller.events import (
    BUSY,
    CAP,
    FAULT,
    GAP,
    LONGEST,
    OK,
    OPEN_LIMIT,
)
from controller.journal import BURST_FAULT
from controller.limits import CLOSE_RETRY_S
from controller.ports import CLOSE, OPEN

if TYPE_CHECKING:
    from controller.journal import Record
    from controller.plan import Plan
    from controller.ports import Command

_SHUT = const(-1)


class Broken(Exception):
    """An invariant does not hold: every valve must be closed, and the fault kept."""


class Guard:
    """Every valve of the hub, and the rules that none may break."""

    def __init__(self, plan: "Plan", record: "Record", up_s: int) -> None:
        self._plan = plan
        self._record = record
        zones = len(plan.zones)
        self.valves = zones + len(plan.supplies)
        self.opened_up_s = [_SHUT] * self.valves
        self.end_up_s = [0] * zones
        # Whatever a valve was before boot, it is to be closed, and until then counts as open.
        self.to_shut = [True] * self.valves
        self._retry_up_s = [up_s] * self.valves
        self._failed = [False] * self.valves
        self._gap_up_s = [up_s] * len(plan.supplies)  # when each supply may open again
        self.retry_zone_up_s = [up_s] * zones  # when a zone with a passing fault may be tried
        self.ready = False  # every valve was told to close since boot

    # What is known.

    def master_of(self, supply: int) -> int:
        """Valve number of a supply's master."""
        return len(self._plan.zones) + supply

    def is_open(self, zone: int) -> bool:
        """Whether a zone's valve was told to open and not yet closed."""
        return self.opened_up_s[zone] != _SHUT

    def open_zone(self, supply: int) -> int:
        """The zone that is open on a supply, or -1."""
        for zone, part in enumerate(self._plan.zones):
            if part.supply == supply and self.opened_up_s[zone] != _SHUT:
                return zone
        return -1

    def all_shut(self) -> bool:
        """Whether every valve is known to be shut."""
        return not any(self.to_shut) and self.count() == 0

    def count(self) -> int:
        """How many zones are open."""
        return sum([self.opened_up_s[zone] != _SHUT for zone in range(len(self._plan.zones))])

    def gap_end_up_s(self, zone: int) -> int:
        """When the settling gap of a zone's supply is over."""
        return self._gap_up_s[self._plan.zones[zone].supply]

    def judge(self, zone: int, run_s: int, up_s: int) -> int:
        """Return OK, or why `zone` must not be opened for `run_s` now."""
        part = self._plan.zones[zone]
        record = self._record
        faults = record.zone_faults[zone]
        if not self.ready or record.faults or faults & BURST_FAULT:
            return FAULT
        if faults and up_s < self.retry_zone_up_s[zone]:
            return FAULT
        if run_s > part.longest_s:
            return LONGEST
        if run_s + record.used_s[zone] > part.cap_s:
            return CAP
        for valve in range(self.valves):
            if self.to_shut[valve] and self._supply_of(valve) == part.supply:
                return FAULT if self._failed[valve] else BUSY
        if self.count() >= self._plan.hub.open_max or self.open_zone(part.supply) >= 0:
            return OPEN_LIMIT
        if up_s < self._gap_up_s[part.supply]:
            return GAP
        return OK

    # What is done.

    def open(self, zone: int, run_s: int, up_s: int) -> "list[Command]":
        """Return the commands that open `zone`. Raises Broken if it must not be opened."""
        if self.judge(zone, run_s, up_s) != OK:
            raise Broken("open")
        part = self._plan.zones[zone]
        self.opened_up_s[zone] = up_s
        self.end_up_s[zone] = up_s + run_s
        commands: "list[Command]" = [(OPEN, zone, part.longest_s)]
        if self._plan.supplies[part.supply].master:
            master = self.master_of(part.supply)
            self.opened_up_s[master] = up_s
            commands.insert(0, (OPEN, master, part.longest_s))
        return commands

    def shut(self, zone: int, up_s: int) -> None:
        """Have a zone's valve, and its supply's master, closed by the next commands."""
        for valve in (zone, self.master_of(self._plan.zones[zone].supply)):
            self.to_shut[valve] = True
            self._retry_up_s[valve] = up_s

    def shut_all(self, up_s: int) -> None:
        """Have every valve closed."""
        for valve in range(self.valves):
            self.to_shut[valve] = True
            self._retry_up_s[valve] = up_s

    def closing(self, up_s: int) -> "list[Command]":
        """Return the CLOSE commands due now."""
        return [
            (CLOSE, valve)
            for valve in range(self.valves)
            if self.to_shut[valve] and up_s >= self._retry_up_s[valve]
        ]

    def closed(self, valve: int, up_s: int) -> bool:
        """A CLOSE was carried out. Returns True if an earlier try had failed."""
        recovered = self._failed[valve]
        self.to_shut[valve] = False
        self._failed[valve] = False
        self.opened_up_s[valve] = _SHUT
        supply = self._supply_of(valve)
        self._gap_up_s[supply] = up_s + self._plan.supplies[supply].gap_s
        self._see_ready()
        return recovered

    def close_failed(self, valve: int, up_s: int) -> bool:
        """A CLOSE was not carried out: try again soon. Returns True the first time."""
        first = not self._failed[valve]
        self._failed[valve] = True
        self._retry_up_s[valve] = up_s + CLOSE_RETRY_S
        self._see_ready()
        return first

    def _see_ready(self) -> None:
        """Ready once every valve was tried; those that would not close keep their supply shut."""
        if not self.ready:
            self.ready = all(
                self._failed[valve] or not self.to_shut[valve] for valve in range(self.valves)
            )

    def due_up_s(self, none_up_s: int) -> int:
        """When the guard next has something to do: a run's end or another try; else `none_up_s`."""
        due = none_up_s
        for zone, end in enumerate(self.end_up_s):
            if self.opened_up_s[zone] != _SHUT and not self.to_shut[zone]:
                due = min(due, end)
        for valve in range(self.valves):
            if self.to_shut[valve]:
                due = min(due, self._retry_up_s[valve])
        return due

    def verify(self, up_s: int) -> None:
        """Raise Broken unless every rule holds. Never compiled out."""
        open_on = [0] * len(self._plan.supplies)
        for zone, part in enumerate(self._plan.zones):
            if self.opened_up_s[zone] == _SHUT:
                continue
            open_on[part.supply] += 1
            if self.to_shut[zone]:
                continue
            if up_s >= self.end_up_s[zone]:
                raise Broken("past its end")
            planned_s = self.end_up_s[zone] - self.opened_up_s[zone]
            if planned_s > part.longest_s:
                raise Broken("too long")
        if max(open_on) > 1 or sum(open_on) > self._plan.hub.open_max:
            raise Broken("overlap")

    def _supply_of(self, valve: int) -> int:
        zones = len(self._plan.zones)
        return valve - zones if valve >= zones else self._plan.zones[valve].supply
