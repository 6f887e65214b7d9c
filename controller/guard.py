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

_NONE = const(-1)


class Broken(Exception):
    """An invariant does not hold: every valve must be closed, and the fault kept."""


class Guard:
    """Every valve of the hub, and the rules that none may break."""

    def __init__(self, plan: "Plan", record: "Record", up_s: int) -> None:
        self._plan = plan
        self._record = record
        zones = len(plan.zones)
        self.valves = zones + len(plan.supplies)
        self.supply_of = [part.supply for part in plan.zones] + list(range(len(plan.supplies)))
        self._zones_of = [0] * len(plan.supplies)  # bits
        for zone, part in enumerate(plan.zones):
            self._zones_of[part.supply] |= 1 << zone
        # Both lists are short (most often empty), and asked several times a step.
        self.open_zones: "list[int]" = []  # told to open, and not known to be shut again
        # Valves to close. Whatever a valve was before boot, it is closed, and until then is in use.
        self.to_shut = [valve for valve in range(self.valves) if self._exists(valve)]
        self.opened_up_s = [0] * zones  # of the open zones
        self.end_up_s = [0] * zones
        self._retry_up_s = [up_s] * self.valves
        self._failed = [False] * self.valves
        self._gap_up_s = [up_s] * len(plan.supplies)  # when each supply may open again
        self._settled_up_s = up_s  # when all of them may
        self.retry_zone_up_s = [up_s] * zones  # when a zone with a passing fault may be tried
        self.ready = False  # every valve was told to close since boot

    # What is known.

    def master_of(self, supply: int) -> int:
        """Valve number of a supply's master."""
        return len(self._plan.zones) + supply

    def open_zone(self, supply: int) -> int:
        """The zone that is open on a supply, or -1."""
        for zone in self.open_zones:
            if self.supply_of[zone] == supply:
                return zone
        return _NONE

    def busy_zones(self) -> int:
        """Bits of the zones whose supply has a zone open."""
        bits = 0
        for zone in self.open_zones:
            bits |= self._zones_of[self.supply_of[zone]]
        return bits

    def settling_zones(self, up_s: int) -> int:
        """Bits of the zones whose supply settles after a valve was shut."""
        if up_s >= self._settled_up_s:
            return 0
        bits = 0
        for supply, gap_up_s in enumerate(self._gap_up_s):
            if up_s < gap_up_s:
                bits |= self._zones_of[supply]
        return bits

    def all_shut(self) -> bool:
        """Whether every valve is known to be shut."""
        return not self.to_shut and not self.open_zones

    def count(self) -> int:
        """How many zones are open."""
        return len(self.open_zones)

    def gap_end_up_s(self, zone: int) -> int:
        """When the settling gap of a zone's supply is over."""
        return self._gap_up_s[self.supply_of[zone]]

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
        for valve in self.to_shut:
            if self.supply_of[valve] == part.supply:
                return FAULT if self._failed[valve] else BUSY
        if len(self.open_zones) >= self._plan.hub.open_max or self.open_zone(part.supply) >= 0:
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
        self.open_zones.append(zone)
        self.opened_up_s[zone] = up_s
        self.end_up_s[zone] = up_s + run_s
        commands: "list[Command]" = [(OPEN, zone, part.longest_s)]
        if self._plan.supplies[part.supply].master:
            commands.insert(0, (OPEN, self.master_of(part.supply), part.longest_s))
        return commands

    def shut(self, zone: int, up_s: int) -> None:
        """Have a zone's valve, and its supply's master, closed by the next commands."""
        self._shut_valve(zone, up_s)
        master = self.master_of(self.supply_of[zone])
        if self._exists(master):
            self._shut_valve(master, up_s)

    def shut_all(self, up_s: int) -> None:
        """Have every valve closed."""
        for valve in range(self.valves):
            if self._exists(valve):
                self._shut_valve(valve, up_s)

    def _shut_valve(self, valve: int, up_s: int) -> None:
        if valve not in self.to_shut:
            self.to_shut.append(valve)
        self._retry_up_s[valve] = up_s

    def closing(self, up_s: int) -> "list[Command]":
        """Return the CLOSE commands due now."""
        return [(CLOSE, valve) for valve in self.to_shut if up_s >= self._retry_up_s[valve]]

    def closed(self, valve: int, up_s: int) -> bool:
        """A CLOSE was carried out. Returns True if an earlier try had failed."""
        recovered = self._failed[valve]
        self._failed[valve] = False
        self.to_shut.remove(valve)
        if valve in self.open_zones:
            self.open_zones.remove(valve)
        supply = self.supply_of[valve]
        gap_end_up_s = up_s + self._plan.supplies[supply].gap_s
        self._gap_up_s[supply] = gap_end_up_s
        self._settled_up_s = max(self._settled_up_s, gap_end_up_s)
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
            self.ready = all(self._failed[valve] for valve in self.to_shut)

    def due_up_s(self, none_up_s: int) -> int:
        """When the guard next has something to do: a run's end, another try, or `none_up_s`."""
        due = none_up_s
        for zone in self.open_zones:
            if self.end_up_s[zone] < due and zone not in self.to_shut:
                due = self.end_up_s[zone]
        for valve in self.to_shut:
            if self._retry_up_s[valve] < due:
                due = self._retry_up_s[valve]
        return due

    def verify(self, up_s: int) -> None:
        """Raise Broken unless every rule holds. Never compiled out."""
        supplies = 0  # bits of those with an open zone
        for zone in self.open_zones:
            bit = 1 << self.supply_of[zone]
            if supplies & bit:
                raise Broken("overlap")
            supplies |= bit
            if zone in self.to_shut:
                continue
            end_up_s = self.end_up_s[zone]
            if up_s >= end_up_s:
                raise Broken("past its end")
            if end_up_s - self.opened_up_s[zone] > self._plan.zones[zone].longest_s:
                raise Broken("too long")
        if len(self.open_zones) > self._plan.hub.open_max:
            raise Broken("too many")

    def _exists(self, valve: int) -> bool:
        """Whether there is such a valve: not every supply has a master."""
        zones = len(self._plan.zones)
        return valve < zones or bool(self._plan.supplies[valve - zones].master)
