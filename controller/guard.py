"""The overlap guard: the only code that emits OPEN, and that says why it will not.

It knows every valve's state as far as commands and their outcomes tell. A valve counts as open from
the moment its OPEN is emitted until its CLOSE is known to have been carried out.
"""

from . import const, events, faults, ports

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from .journal import Record
    from .plan import Plan
    from .ports import Command

_NONE = const(-1)
_CLOSE_RETRY_S = const(10)  # between tries to close a valve whose driver failed


class Broken(Exception):
    """An invariant does not hold: every valve must be closed, and the fault kept."""


class Guard:
    """Every valve of the hub, and the rules that none may break."""

    ready = False  # every valve was told to close since boot

    def __init__(self, plan: "Plan", record: "Record") -> None:
        self._plan = plan
        self._record = record
        zones = len(plan.zones)
        supplies = len(plan.supplies)
        self._zones = zones
        supply_of: "list[int]" = []
        self.supply_of = supply_of  # of each valve
        self.zones_of = [0] * supplies  # bits
        for zone, part in enumerate(plan.zones):
            supply_of.append(part.supply)
            self.zones_of[part.supply] |= 1 << zone
        supply_of += range(supplies)
        # All three lists are short (most often empty), and asked several times a step.
        self.open_zones: "list[int]" = []  # told to open, and not known to be shut again
        self.valves = list(range(zones))  # not every supply has a master
        for supply, spigot in enumerate(plan.supplies):
            if spigot.master:
                self.valves.append(zones + supply)
        # Valves to close. Whatever a valve was before boot, it is closed, and until then is in use.
        self.to_shut = list(self.valves)
        self.opened_up_s = [0] * zones  # of the open zones
        self.end_up_s = [0] * zones
        self._retry_up_s = [0] * (zones + supplies)
        self._failed: "list[int]" = []  # valves that would not close
        self.gap_up_s = [0] * supplies  # when each supply may open again
        self.retry_zone_up_s = [0] * zones  # when a zone with a passing fault may be tried

    # What is known.

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
            bits |= self.zones_of[self.supply_of[zone]]
        return bits

    def judge(self, zone: int, run_s: int, up_s: int) -> int:
        """Return OK, or why `zone` must not be opened for `run_s` now."""
        record = self._record
        if not self.ready or record.faults:
            return events.FAULT
        found = record.zone_faults[zone]
        if found and (found & faults.BURST_FAULT or up_s < self.retry_zone_up_s[zone]):
            return events.FAULT
        part = self._plan.zones[zone]
        if run_s > part.longest_s:
            return events.LONGEST
        if run_s + record.used_s[zone] > part.cap_s:
            return events.CAP
        supply = part.supply
        for valve in self.to_shut:
            if self.supply_of[valve] == supply:
                return events.FAULT if valve in self._failed else events.BUSY
        if self.open_zones and (
            len(self.open_zones) >= self._plan.hub.open_max or self.open_zone(supply) >= 0
        ):
            return events.OPEN_LIMIT
        return events.GAP if up_s < self.gap_up_s[supply] else events.OK

    # What is done.

    def open(self, zone: int, run_s: int, up_s: int) -> "list[Command]":
        """Return the commands that begin a run. Raises Broken if it must not begin."""
        if self.judge(zone, run_s, up_s):
            raise Broken("open")
        longest_s = self._plan.zones[zone].longest_s
        self.open_zones.append(zone)
        self.opened_up_s[zone] = up_s
        self.end_up_s[zone] = up_s + run_s
        commands: "list[Command]" = [(ports.OPEN, zone, longest_s)]
        master = self._zones + self.supply_of[zone]
        if master in self.valves:
            commands.insert(0, (ports.OPEN, master, longest_s))
        return commands

    def request_close(self, zone: int, up_s: int) -> None:
        """Have a zone's valve, and its supply's master, closed by the next commands; -1: all."""
        valves = self.valves
        for valve in valves if zone == _NONE else (zone, self._zones + self.supply_of[zone]):
            if valve in valves:
                if valve not in self.to_shut:
                    self.to_shut.append(valve)
                self._retry_up_s[valve] = up_s

    def closing(self, up_s: int) -> "list[Command]":
        """Return the CLOSE commands due now."""
        commands: "list[Command]" = []
        for valve in self.to_shut:
            if up_s >= self._retry_up_s[valve]:
                commands.append((ports.CLOSE, valve))
        return commands

    def closed(self, valve: int, done: bool, up_s: int) -> bool:
        """A CLOSE was carried out, or failed: then it is tried again soon.

        Returns True if that is news: the first that failed, or the first that worked again.
        """
        failing = self._failed
        failed = valve in failing
        if done:
            self.to_shut.remove(valve)
            if valve in self.open_zones:
                self.open_zones.remove(valve)
            supply = self.supply_of[valve]
            self.gap_up_s[supply] = up_s + self._plan.supplies[supply].gap_s
            if failed:
                failing.remove(valve)
        else:
            self._retry_up_s[valve] = up_s + _CLOSE_RETRY_S
            if not failed:
                failing.append(valve)
        # Ready once every valve was tried; those that would not close keep their supply shut.
        if len(self.to_shut) == len(failing):
            self.ready = True
        return failed == done

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
            if zone not in self.to_shut:
                end_up_s = self.end_up_s[zone]
                if up_s >= end_up_s:
                    raise Broken("past its end")
                if end_up_s - self.opened_up_s[zone] > self._plan.zones[zone].longest_s:
                    raise Broken("too long")
        if len(self.open_zones) > self._plan.hub.open_max:
            raise Broken("too many")
