"""Faults that the record keeps, alarms that stand, and whatever the hub tells of itself.

A fault holds water back until it passes or the owner clears it. An alarm is an event that is told
once when it begins and once when it ends.
"""

from . import const, events, ports
from .limits import ZONES_MAX

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from .civil import Clock
    from .events import Log
    from .guard import Guard
    from .journal import Record
    from .plan import Plan
    from .ports import Command

_NONE = const(-1)
# A fault's bit is `1 << why - _FIRST_FAULT`, as events name it. These are bits of the record's
# `faults`, which are latched until the owner clears them.
_FIRST_FAULT = const(27)  # NO_FLOW
_LAST_FAULT = const(32)  # BROKEN
LEAK_FAULT = const(4)  # water flowed with every valve shut
_STORE_FAULT = const(16)  # a record was kept, and cannot be read
_BROKEN_FAULT = const(32)  # an invariant did not hold, or the same was raised again and again
# And these of its `zone_faults`.
NO_FLOW_FAULT = const(1)  # tried again once a day
BURST_FAULT = const(2)  # latched
_DRIVER_FAULT = const(8)  # tried again once a day
_FAULT_RETRY_S = const(82800)  # once a day: a cycle at yesterday's hour must find it due


class Faults:
    """What is wrong.

    alarms: those that stand, each as (zone, why)
    reports: what has been told and not been shown yet, as commands; what is taken stays in the log
    log: the last events
    """

    def __init__(
        self, plan: "Plan", record: "Record", clock: "Clock", guard: "Guard", log: "Log"
    ) -> None:
        self._plan = plan
        self._record = record
        self._clock = clock
        self._guard = guard
        self.log = log
        self.reports: "list[Command]" = []
        self.alarms = self._standing()

    # What is told.

    def tell(self, what: int, zone: int, why: int, value: int = 0, ml: int = 0) -> None:
        """Log an event, and report it with the next commands."""
        if what == events.ALARM:
            self.alarms.append((zone, why))
        elif what == events.CLEARED and (zone, why) in self.alarms:
            self.alarms.remove((zone, why))
        clock = self._clock
        up_s = clock.up_s
        wall_s = up_s + clock.skew_s if clock.trusted else _NONE
        event = (what, zone, why, value, ml, self._record.boots, up_s, wall_s)
        self.reports.append((ports.REPORT, event))
        self.log.add(event)

    def alarm(self, on: bool, zone: int, why: int, value: int) -> None:
        """Raise an alarm, or clear it: each once."""
        if on != ((zone, why) in self.alarms):
            self.tell(events.ALARM if on else events.CLEARED, zone, why, value)

    def warn(self, up_s: int, why: int, value: int, latched: bool) -> "list[Command]":
        """Raise an alarm of the runner's, and latch its fault. Returns the reports of that."""
        self._clock.up_s = up_s
        if latched:
            self.latch(_NONE, why, value)
        self.alarm(True, _NONE, why, value)
        reports = self.reports
        self.reports = []
        return reports

    # What begins again at boot.

    def resume(self, up_s: int, wall_s: int) -> None:
        """Find out when each zone with a fault may be tried again; `wall_s` may be 0: not known."""
        last_up_s = [0] * len(self._plan.supplies)  # of each supply's zones
        for zone, ended_s in enumerate(self._record.valve_wall_s):
            if self._record.zone_faults[zone]:  # it was tried when its valve last turned
                away_s = wall_s - ended_s if wall_s and ended_s else 0
                retry_up_s = up_s + _FAULT_RETRY_S - min(max(0, away_s), _FAULT_RETRY_S)
                self._guard.retry_zone_up_s[zone] = retry_up_s
                supply = self._guard.supply_of[zone]
                last_up_s[supply] = max(last_up_s[supply], retry_up_s)
        for supply, retry_up_s in enumerate(last_up_s):
            if self._supply_no_flow(supply):  # its zones wait for the one that was tried last
                self._retry_supply(supply, retry_up_s)

    # What goes wrong, and what goes well again.

    def driver(self, on: bool, valve: int) -> None:
        """Raise or clear the alarm of a zone's valve, or of a supply's master."""
        zones = len(self._plan.zones)
        self.alarm(on, valve if valve < zones else ZONES_MAX + valve - zones, events.DRIVER, 0)

    def not_opened(self, zone: int, up_s: int) -> None:
        """A zone's driver could not open its valve: it is tried again once a day."""
        self._record.zone_faults[zone] |= _DRIVER_FAULT
        self._record.dirty = True
        self._guard.retry_zone_up_s[zone] = up_s + _FAULT_RETRY_S

    def opened(self, zone: int) -> None:
        """A zone's driver has opened its valve."""
        if self._record.zone_faults[zone] & _DRIVER_FAULT:
            self._record.zone_faults[zone] &= ~_DRIVER_FAULT
            self.driver(False, zone)

    def store(self, failed: bool, slot: int) -> None:
        """A write failed, or went well again; a record that was lost stays an alarm."""
        if failed or not self._record.faults & _STORE_FAULT:
            self.alarm(failed, _NONE, events.STORE, slot)

    def latch(self, zone: int, why: int, value: int) -> None:
        """Keep a fault of a zone, or of the hub (-1), and raise its alarm."""
        record = self._record
        bit = 1 << why - _FIRST_FAULT
        if zone == _NONE:
            record.faults |= bit
        else:
            record.zone_faults[zone] |= bit
        record.dirty = True
        self.alarm(True, zone, why, value)

    def no_flow(self, zone: int, dry: bool, flow_ml_min: int, up_s: int) -> None:
        """A zone without flow is tried once a day; so is a supply none of whose zones flows."""
        self._record.dirty = True
        supply = self._plan.zones[zone].supply
        retry_up_s = up_s
        faults = self._record.zone_faults
        faults[zone] &= ~NO_FLOW_FAULT
        if dry:
            faults[zone] |= NO_FLOW_FAULT
            retry_up_s += _FAULT_RETRY_S
        self._guard.retry_zone_up_s[zone] = retry_up_s
        self.alarm(dry, zone, events.NO_FLOW, flow_ml_min)
        if not dry or self._supply_no_flow(supply):
            self.alarm(dry, ZONES_MAX + supply, events.SUPPLY_NO_FLOW, 0)
            self._retry_supply(supply, retry_up_s)

    def clear(self, zone: int) -> bool:
        """Clear the faults of a zone, or of everything (-1). Returns True if there was one."""
        record = self._record
        zone_faults = record.zone_faults
        zones: "list[int] | range" = [zone]
        found = 0
        if zone == _NONE:
            zones = range(len(zone_faults))
            found = record.faults
            record.faults = 0
            self.alarm(False, _NONE, events.TROUBLE, 0)
        for one in zones:
            found |= zone_faults[one]
            zone_faults[one] = 0
        if not found:
            return False
        record.dirty = True
        standing = self._standing()
        for alarm in list(self.alarms):
            zone, why = alarm
            of_fault = _FIRST_FAULT <= why <= _LAST_FAULT or why == events.SUPPLY_NO_FLOW
            if of_fault and alarm not in standing:
                self.tell(events.CLEARED, zone, why)
        return True

    def _standing(self) -> "list[tuple[int, int]]":
        """Return the alarms that the record's faults stand for."""
        record = self._record
        alarms = []
        for zone, faults in enumerate([record.faults] + record.zone_faults, -1):
            for why in range(_FIRST_FAULT, _LAST_FAULT + 1):
                if faults >> why - _FIRST_FAULT & 1:
                    alarms.append((zone, why))
        for supply in range(len(self._plan.supplies)):
            if self._supply_no_flow(supply):
                alarms.append((ZONES_MAX + supply, events.SUPPLY_NO_FLOW))
        return alarms

    def _supply_no_flow(self, supply: int) -> bool:
        """Whether a supply has zones, and none of them flows."""
        zones = self._guard.zones_of[supply]
        for zone, faults in enumerate(self._record.zone_faults):
            if zones >> zone & 1 and not faults & NO_FLOW_FAULT:
                return False
        return zones != 0

    def _retry_supply(self, supply: int, up_s: int) -> None:
        for zone, part in enumerate(self._plan.zones):
            if part.supply == supply:
                self._guard.retry_zone_up_s[zone] = up_s
