"""Reasons to hold water back, other than faults. Asked before a run and while it runs."""

from controller import agenda
from controller._const import TYPE_CHECKING, const
from controller.civil import date_of, weekday_of
from controller.events import (
    ALARM,
    CLEARED,
    CLOSED_SEASON,
    FROST,
    HOLD,
    LOCKED,
    LOST_CLOCK,
    LOW_BATTERY,
    OK,
    PROBE,
    QUIET,
    RAIN,
    RELEASED,
    STALE,
    WET_SOIL,
)
from controller.limits import AFTER_RAIN_S, BATTERY_MARGIN_MV, DAY_S, STALE_S
from controller.plan import ANY_DATE, BAN_HOURS, CONTACT, GAUGE, ODD_DATES
from controller.probe import Probe

if TYPE_CHECKING:
    from typing import Callable

    from controller.journal import Record
    from controller.plan import BanPart, HubPart, Plan, RowPart
    from controller.ports import Seen

_RAIN_MAX_UM = const(500000)  # in one poll: more is a broken counter, and still only fills the bank
_NEVER = const(-1)


class Lockouts:
    """What the sensors, the calendar and the owner say. `tell` reports each edge once."""

    def __init__(
        self, plan: "Plan", record: "Record", up_s: int, tell: "Callable[..., None]"
    ) -> None:
        self._plan = plan
        self._record = record
        self._tell = tell
        self._stale_s = max(STALE_S, 3 * plan.hub.poll_s)
        self.probes = [Probe(zone, self._stale_s) if zone.probe else None for zone in plan.zones]
        self._probed = _probed(self.probes)
        self.frost = False
        self.low_battery = False
        self.spent_battery = False  # below the reserve: an open valve must be shut now
        self.lost_clock = False
        self.hold = False
        self.closed_season = False
        self.rain = [False] * len(plan.zones)
        self.has_quiet = has_quiet(plan)
        self._quiet = False  # what local rules say between these two local times
        self._quiet_from_s = 0
        self._quiet_until_s = 0
        self._polled = False
        self._used_s = list(record.used_s)  # each zone's minutes when its probe was last read
        self._warm_up_s = _NEVER
        self._temp_up_s = up_s
        self._temp_known = False  # whether the frost before is known: not at boot, not when stale
        self._temp_stale = False
        self._battery_up_s = _NEVER
        self._rain_um = 0  # the gauge's count at the last poll
        self._fallen_um = 0  # rain since boot
        self._wet_up_s = _NEVER  # when a gauge or contact last saw rain that counts
        self.dry_up_s = _NEVER  # when a contact's drying time ends
        self._contact = False
        self._take_demand(agenda.row_of(plan, record.day))

    # What is asked of it.

    def why(self, zone: int, local_s: "int | None", anyway: bool) -> int:
        """Return the first reason that holds `zone` back, before a run or while it runs, or OK.

        `anyway`: the owner asked to override what may be overridden.
        """
        if self.frost:
            return FROST
        if local_s is None:
            if not anyway:
                return LOST_CLOCK
            if self.has_quiet:
                return QUIET
        elif self.has_quiet and self.quiet(local_s):
            return QUIET
        if anyway:
            return OK
        if self.hold:
            return HOLD
        return RAIN if self.rain[zone] else OK

    def why_not_start(self, zone: int, local_s: "int | None", anyway: bool) -> int:
        """Return the first reason not to start a run in `zone`, or OK."""
        if self.low_battery:
            return LOW_BATTERY
        why = self.why(zone, local_s, anyway)
        if why == OK and not anyway and self.wet_soil(zone):
            return WET_SOIL
        return why

    def quiet(self, local_s: int) -> bool:
        """Whether local rules forbid watering; kept until they may next say something else."""
        if not self._quiet_from_s <= local_s < self._quiet_until_s:
            self._quiet_from_s = local_s
            self._quiet_until_s = local_s + quiet_edge_s(self._plan, local_s)
            self._quiet = is_quiet(self._plan, local_s)
        return self._quiet

    def quiet_left_s(self, local_s: int) -> int:
        """Seconds until local rules may next say something else; a day at most."""
        self.quiet(local_s)
        return self._quiet_until_s - local_s

    def alarms(self) -> "list[tuple[int, int]]":
        """Return the alarms that the sensors stand for."""
        alarms = [(_NEVER, STALE)] if self._temp_stale else []
        for zone, probe in enumerate(self.probes):
            if probe is not None and not probe.trusted:
                alarms.append((zone, PROBE))
        return alarms

    def wet_soil(self, zone: int) -> bool:
        """Whether a trusted probe holds `zone` back."""
        probe = self.probes[zone]
        return probe is not None and probe.wet

    def after_rain(self, up_s: int) -> bool:
        """Whether it rained, more than counts as nothing, within the last day."""
        return self._wet_up_s != _NEVER and up_s - self._wet_up_s < AFTER_RAIN_S

    # What it is told.

    def poll(self, seen: "Seen", up_s: int, opening: int) -> bool:
        """Take every reading; probes only of zones whose bit in `opening` is 0.

        Returns True if any lockout changed.
        """
        changed = False
        hub = self._plan.hub
        record = self._record
        if not self._polled:
            self._polled = True
            self._begin(seen, up_s)
        if hub.rain_kind == GAUGE:
            if seen.rain_um is not None and seen.rain_um != self._rain_um:
                changed = self._take_rain(seen.rain_um, up_s)
        elif hub.rain_kind == CONTACT:
            changed = self._take_contact(seen.rain_wet, up_s)
        if hub.frost:
            changed = self._take_temperature(hub, seen.temp_mc, up_s) or changed
        if hub.battery:
            changed = self._take_battery(hub, seen.battery_mv, up_s) or changed
        for zone, probe in self._probed:
            if not opening >> zone & 1:
                used_s = record.used_s[zone]
                watered = used_s > self._used_s[zone]
                self._used_s[zone] = used_s
                full = record.bank_um[zone] >= hub.rain_cap_um
                if probe.read(seen.soil_vwc_ppt[zone], up_s, self._fallen_um, watered, full):
                    self._tell_probe(zone, probe)
                    changed = True
        return changed

    def _tell_probe(self, zone: int, probe: Probe) -> None:
        """Report what changed in what a probe says, and whether it is believed."""
        if probe.wet != probe.told_wet:
            probe.told_wet = probe.wet
            self._edge(probe.wet, zone, WET_SOIL, probe.ppt)
        if probe.trusted != probe.told_trusted:
            probe.told_trusted = probe.trusted
            self._tell(CLEARED if probe.trusted else ALARM, zone, PROBE, probe.ppt)

    def new_day(self, row: "RowPart", drain_days: int) -> None:
        """Begin a local day under `row`: drain the banks, and take the row's demand."""
        hub = self._plan.hub
        record = self._record
        for zone, demand_um in enumerate(self._demand_um):
            drained_um = drain_days * max(demand_um, hub.drain_floor_um)
            record.bank_um[zone] = max(0, record.bank_um[zone] - drained_um)
        self._take_demand(row)
        self._weigh_rain()
        self.set_closed_season(row.cycles == 0)

    def set_closed_season(self, closed: bool) -> None:
        """Note whether today's row has no cycles."""
        if closed != self.closed_season:
            self.closed_season = closed
            self._edge(closed, _NEVER, CLOSED_SEASON, 0)

    def set_hold(self, hold: bool) -> None:
        """Note whether the owner's pause lasts."""
        if hold != self.hold:
            self.hold = hold
            self._edge(hold, _NEVER, HOLD, 0)

    def set_lost_clock(self, lost: bool) -> None:
        """Note whether the clock is trusted."""
        if lost != self.lost_clock:
            self.lost_clock = lost
            self._edge(lost, _NEVER, LOST_CLOCK, 0)

    def follow(self, before: "Lockouts") -> None:
        """Take over what the sensors said to the plan before, and what stands because of it.

        What the new plan has no sensor for is released: nothing else ever would release it.
        """
        self.frost = before.frost
        self.low_battery = before.low_battery
        self.spent_battery = before.spent_battery
        self.lost_clock = before.lost_clock
        self.hold = before.hold
        self.closed_season = before.closed_season
        if before._plan.hub.frost:
            self._warm_up_s = before._warm_up_s
            self._temp_up_s = before._temp_up_s
            self._temp_known = before._temp_known
            self._temp_stale = before._temp_stale
        if before._plan.hub.rain_kind == GAUGE:
            self._polled = True
            self._rain_um = before._rain_um
        self._battery_up_s = before._battery_up_s
        self._fallen_um = before._fallen_um
        self._wet_up_s = before._wet_up_s
        self._contact = before._contact
        self.dry_up_s = before.dry_up_s
        for zone, part in enumerate(self._plan.zones):
            for old, was in enumerate(before._plan.zones):
                if was.tag == part.tag:
                    self.rain[zone] = before.rain[old]
                    self._used_s[zone] = before._used_s[old]
                    self._keep_probe(zone, before.probes[old])
        self._probed = _probed(self.probes)
        hub = self._plan.hub
        if hub.rain_kind == CONTACT:  # one for all zones, those without a past too
            self.rain = before.rain[:1] * len(self.rain)
        if not hub.frost:
            self._hear_temperature()
            self._set_frost(False, 0)
        if not hub.battery:
            self.spent_battery = False
            self._set_low_battery(False, 0)

    def _keep_probe(self, zone: int, probe: "Probe | None") -> None:
        """A zone keeps its probe over a new plan, believed or not."""
        if probe is None:
            return
        if self.probes[zone] is not None:
            probe.belong(self._plan.zones[zone])
            self.probes[zone] = probe
            return
        if probe.wet:
            self._edge(False, zone, WET_SOIL, probe.ppt)
        if not probe.trusted:
            self._tell(CLEARED, zone, PROBE, probe.ppt)

    # How each sensor is read.

    def _begin(self, seen: "Seen", up_s: int) -> None:
        """The first look. A hub that starts anew on a running board finds counts that ran on."""
        self._temp_up_s = up_s
        if up_s > self._plan.hub.poll_s:
            self._rain_um = seen.rain_um or 0

    def _take_demand(self, row: "RowPart") -> None:
        """Note what each zone needs on a day under `row`."""
        self._demand_um = [row.demand_um * part.demand_pct // 100 for part in self._plan.zones]

    def _take_rain(self, rain_um: int, up_s: int) -> bool:
        """Add to the banks what counts of the rain since the last poll."""
        record = self._record
        hub = self._plan.hub
        more_um = rain_um - self._rain_um
        if more_um < 0:  # the counter began again
            more_um = rain_um
        more_um = min(max(more_um, 0), _RAIN_MAX_UM)
        self._rain_um = rain_um
        self._fallen_um += more_um
        counted_um = max(0, record.rain_today_um - hub.rain_skip_um)
        record.rain_today_um = min(record.rain_today_um + more_um, 0x7FFFFFFF)
        more_um = max(0, record.rain_today_um - hub.rain_skip_um) - counted_um
        if not more_um:
            return False
        self._wet_up_s = up_s
        for zone, part in enumerate(self._plan.zones):
            filled_um = record.bank_um[zone] + more_um * part.exposure_pct // 100
            record.bank_um[zone] = min(filled_um, hub.rain_cap_um)
        return self._weigh_rain()

    def _weigh_rain(self) -> bool:
        """See which zones' banks hold more than a day's demand."""
        changed = False
        for zone, bank_um in enumerate(self._record.bank_um):
            locked = bank_um > max(self._demand_um[zone], self._plan.hub.lock_floor_um)
            if locked != self.rain[zone] and self._plan.hub.rain_kind != CONTACT:
                self.rain[zone] = locked
                self._edge(locked, zone, RAIN, bank_um)
                changed = True
        return changed

    def _take_contact(self, wet: "bool | None", up_s: int) -> bool:
        """Lock while the contact is wet, and for its drying time after."""
        if wet is None:
            wet = False
        if wet:
            self._wet_up_s = up_s
        if self._contact and not wet:
            self.dry_up_s = up_s + self._plan.hub.dry_after_s
        self._contact = wet
        return self._weigh_contact(up_s)

    def _weigh_contact(self, up_s: int) -> bool:
        """See whether the contact locks, or its drying time does."""
        locked = self._contact or up_s < self.dry_up_s
        if locked == self.rain[0]:
            return False
        self.rain = [locked] * len(self.rain)
        self._edge(locked, _NEVER, RAIN, 0)
        return True

    def _take_temperature(self, hub: "HubPart", temp_mc: "int | None", up_s: int) -> bool:
        """Lock at or below one temperature; release after some hours at or above a higher one."""
        if temp_mc is None:
            return self._miss_temperature(up_s)
        self._temp_up_s = up_s
        changed = self._hear_temperature()
        # Where nobody knows whether a frost came before, what would not end one counts as one.
        frost = temp_mc <= hub.frost_on_mc or (not self._temp_known and temp_mc < hub.frost_off_mc)
        self._temp_known = True
        if frost:
            self._warm_up_s = _NEVER
            return self._set_frost(True, temp_mc) or changed
        if temp_mc < hub.frost_off_mc:
            self._warm_up_s = _NEVER
        elif self._warm_up_s == _NEVER:
            self._warm_up_s = up_s
        if self._warm_up_s != _NEVER and up_s - self._warm_up_s >= hub.frost_hold_s:
            return self._set_frost(False, temp_mc) or changed
        return changed

    def _miss_temperature(self, up_s: int) -> bool:
        """A thermometer that is silent for hours is an alarm, and holds nothing back."""
        if self._temp_stale or up_s - self._temp_up_s < self._stale_s:
            return False
        self._temp_stale = True
        self._temp_known = False
        self._tell(ALARM, _NEVER, STALE, 0)
        self._set_frost(False, 0)
        return True

    def _hear_temperature(self) -> bool:
        """The thermometer is not silent, or not missed, any more. Returns True if it was."""
        if not self._temp_stale:
            return False
        self._temp_stale = False
        self._tell(CLEARED, _NEVER, STALE, 0)
        return True

    def _set_frost(self, frost: bool, temp_mc: int) -> bool:
        if frost == self.frost:
            return False
        self.frost = frost
        self._edge(frost, _NEVER, FROST, temp_mc)
        return True

    def _take_battery(self, hub: "HubPart", battery_mv: "int | None", up_s: int) -> bool:
        """Low, or not known: open nothing. Spent: shut what is open."""
        if battery_mv is None:
            if self._battery_up_s != _NEVER and up_s - self._battery_up_s < self._stale_s:
                return False
            return self._set_low_battery(True, 0)  # nothing says that a valve could be shut again
        self._battery_up_s = up_s
        spent = battery_mv < hub.battery_reserve_mv
        changed = spent != self.spent_battery
        self.spent_battery = spent
        low = battery_mv < hub.battery_open_mv
        if self.low_battery and battery_mv < hub.battery_open_mv + BATTERY_MARGIN_MV:
            low = True
        return self._set_low_battery(low, battery_mv) or changed

    def _set_low_battery(self, low: bool, battery_mv: int) -> bool:
        if low == self.low_battery:
            return False
        self.low_battery = low
        self._edge(low, _NEVER, LOW_BATTERY, battery_mv)
        return True

    def _edge(self, locked: bool, zone: int, why: int, value: int) -> None:
        self._tell(LOCKED if locked else RELEASED, zone, why, value)


def _probed(probes: "list[Probe | None]") -> "list[tuple[int, Probe]]":
    """Return the zones that have a probe, with it."""
    return [(zone, probe) for zone, probe in enumerate(probes) if probe is not None]


def has_quiet(plan: "Plan") -> bool:
    """Whether the plan has any rule on hours, weekdays or dates."""
    return bool(plan.bans) or plan.hub.weekdays != 127 or plan.hub.dates != ANY_DATE


def is_quiet(plan: "Plan", local_s: int) -> bool:
    """Whether local rules forbid watering at this local time."""
    day, of_day_s = divmod(local_s, DAY_S)
    hub = plan.hub
    if hub.weekdays != 127 and not hub.weekdays >> weekday_of(day) & 1:
        return True
    if hub.dates == ANY_DATE and not plan.bans:
        return False
    _, month, of_month = date_of(day)
    if hub.dates != ANY_DATE and (of_month % 2 == 1) != (hub.dates == ODD_DATES):
        return True
    for ban in plan.bans:
        at = of_day_s // 60 if ban.kind == BAN_HOURS else month * 32 + of_month
        if _within(ban, at):
            return True
    return False


def quiet_within(plan: "Plan", local_s: int, run_s: int) -> bool:
    """Whether a run would meet a time at which local rules forbid watering."""
    if not has_quiet(plan):
        return False
    last_s = local_s + run_s - 1
    if is_quiet(plan, local_s) or is_quiet(plan, last_s):
        return True
    for ban in plan.bans:
        if ban.kind == BAN_HOURS:
            # Neither end is banned: only a ban that begins between them is left.
            begins_s = local_s + (60 * ban.first - local_s % DAY_S) % DAY_S
            if begins_s <= last_s and is_quiet(plan, begins_s):
                return True
    return False


def quiet_edge_s(plan: "Plan", local_s: int) -> int:
    """Return the seconds until local rules may next change what is_quiet says; a day at most."""
    of_day_s = local_s % DAY_S
    soonest_s = DAY_S - of_day_s
    for ban in plan.bans:
        if ban.kind == BAN_HOURS:
            for edge_min in (ban.first, ban.last):
                soonest_s = min(soonest_s, (60 * edge_min - of_day_s - 1) % DAY_S + 1)
    return soonest_s


def _within(ban: "BanPart", at: int) -> bool:
    """Whether `at` is in a ban that may wrap: hours end before `last`, dates with it."""
    if ban.kind == BAN_HOURS:
        if ban.first <= ban.last:
            return ban.first <= at < ban.last
        return at >= ban.first or at < ban.last
    if ban.first <= ban.last:
        return ban.first <= at <= ban.last
    return at >= ban.first or at <= ban.last
