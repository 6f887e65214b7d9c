"""Reasons to hold water back, other than faults. Asked before a run and while it runs."""

from . import civil, const, events, limits
from .events import (
    FROST,
    LOW_BATTERY,
    QUIET,
    RAIN,
    RAIN_STALE,
    STALE,
)
from .journal import NO_RAIN, NO_TEMPERATURE, NONE_YET_DK, RAIN_TOLD
from .plan import BAN_HOURS, CONTACT, GAUGE
from .probe import Probe

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from typing import Callable

    from .civil import Clock
    from .journal import Record
    from .plan import Plan
    from .ports import Seen

# Bits of the record's `weather`.
_CONTACT_WET = const(1)
_FROST_STANDS = const(2)
_SAME_DAYS_BIT = const(2)  # from here on: how many days of a frost said nothing new

_RAIN_MAX_UM = const(300000)  # in two days: more is a broken counter
_POURS_MOST_S = const(345600)  # four days with rain before every poll: a gauge drips
_RAIN_KEEP_UM = const(3000)  # so much rain a power cut may forget at most
_AIR_LEAST_MC = const(-60000)  # no air near a house is colder
_AIR_MOST_MC = const(60000)  # or warmer
_RANGE_LEAST_DK = const(3)  # a day's range; less has only a thermometer that is stuck
_SAME_DAYS_MOST = const(7)  # on end with nothing new from the thermometer end a frost
_ALL = const(-1)  # every zone: every bit, and the zone of an event
_LONG_AGO_S = const(-864000)  # the uptime of what has not happened since boot
_NOT_WARM = const(-1)  # `_warm_up_s`: it is too cold to end a frost
_UNKNOWN = const(-2)  # nobody knows whether a frost came before: at boot, and after a silence
_AFTER_RAIN_S = const(86400)  # a blade is read a day after rain
_BATTERY_MARGIN_MV = const(200)  # a resting battery recovers about so much


class Lockouts:
    """What the sensors, the calendar and the owner say. `tell` reports each edge once.

    `locked[why]` has the bits of the zones that a reason holds back, and so have the alarms PROBE
    and STALE. What concerns the whole hub has every bit.
    """

    polled_up_s = -1  # when the sensors were last read
    poll_up_s = 0  # when they are to be read next
    after_rain_up_s = 0  # a day after it last rained more than counts as nothing
    spent_battery = False  # below the reserve, or power fails: an open valve is shut now
    dry_up_s: int  # when a contact's drying time ends; a gauge's last poll that brought no rain
    _contact: bool  # it was wet when it last said anything; as a number it is _CONTACT_WET
    _rain_um = 0  # the gauge's count at the last poll
    _before_um = 0  # what a gauge counted yesterday, believed or not
    _same_days: int  # of a frost, on end: its thermometer was silent, or stuck
    _warm_up_s = -2  # since when it has been warm enough to end a frost
    _battery_up_s = -864000
    _quiet_from_s = 0  # what local rules say was looked up for between these two
    _quiet_until_s = 0

    def __init__(
        self,
        plan: "Plan",
        record: "Record",
        clock: "Clock",
        counting: bool,
        tell: "Callable[..., None]",
    ) -> None:
        """`counting`: a hub ran on this board before, since it booted; its counters ran on."""
        hub = plan.hub
        self._plan = plan
        self._record = record
        self._clock = clock
        self._counting = counting
        self._tell = tell
        self.power_fails = False
        self._fallen_um = 0  # rain since boot
        self._stale_s = max(limits.STALE_S, 3 * hub.poll_s)
        self._counted_um = record.rain_today_um  # by a gauge today, believed or not
        self.has_quiet = bool(plan.bans or hub.weekdays != 127 or hub.dates)
        self.locked = [0] * (RAIN_STALE + 1)
        self.probes: "list[Probe | None]" = []
        self._probed = []
        for zone, part in enumerate(plan.zones):
            probe = Probe(part, self._stale_s) if part.probe else None
            self.probes.append(probe)
            if probe:
                self._probed.append((zone, probe))

    # What is asked of it.

    def why(self, zone: int, up_s: int, anyway: bool, run_s: int) -> int:
        """Return the first reason that holds `zone` back, or OK.

        Args:
            zone: which
            up_s: now
            anyway: the owner asked to override what may be overridden
            run_s: how long a run that is to start would last; 0: while one runs
        """
        locked = self.locked
        at_s = end_s = 0
        if run_s and locked[LOW_BATTERY]:
            return LOW_BATTERY
        if locked[FROST]:
            return FROST
        if not self._clock.trusted:
            if not anyway:
                return events.LOST_CLOCK
            if self.has_quiet:
                return QUIET
        elif self.has_quiet:
            clock = self._clock
            local_s = clock.time.local_s(up_s + clock.skew_s)
            at_s = self.quiet_until_s(local_s)
            end_s = local_s + run_s
            if self._quiet:
                return QUIET
        if not anyway:
            if locked[events.HOLD]:
                return events.HOLD
            if locked[RAIN] >> zone & 1:
                return RAIN
            if run_s and locked[events.WET_SOIL] >> zone & 1:
                return events.WET_SOIL
        while at_s < end_s:  # the rules may say something else before a run is over
            banned, left_s = quiet(self._plan, at_s)
            if banned:
                return QUIET
            at_s += left_s
        return events.OK

    def quiet_until_s(self, local_s: int) -> int:
        """Local time at which local rules may next say something else; a day ahead at most."""
        if not self._quiet_from_s <= local_s < self._quiet_until_s:
            self._quiet, left_s = quiet(self._plan, local_s)
            self._quiet_from_s = local_s
            self._quiet_until_s = local_s + left_s
        return self._quiet_until_s

    # What a restart must not forget.

    def keep(self, up_s: int) -> None:
        """Put into the record whether it freezes, and how dry a rain contact is."""
        record = self._record
        frost = self.locked[FROST] & _FROST_STANDS
        record.weather = self._same_days << _SAME_DAYS_BIT | frost | self._contact
        record.dry_s = self.dry_up_s - up_s if up_s < self.dry_up_s else 0

    def resume(self, up_s: int, away_s: int) -> None:
        """Go on from what the record says.

        A contact that was wet dries from now on: nobody knows how long ago it stopped raining. Nor
        whether a thermometer has been mended: it is believed until midnight at least.

        Args:
            up_s: now
            away_s: how long ago the record was made; 0: not known
        """
        record = self._record
        weather = record.weather
        self._contact = weather & _CONTACT_WET != 0
        self.dry_up_s = up_s + max(0, record.dry_s - away_s)
        self._same_days = min(weather >> _SAME_DAYS_BIT, _SAME_DAYS_MOST - 1)
        stood = weather & _FROST_STANDS != 0
        self.set(_ALL, FROST, stood and self._plan.hub.frost != 0)

    # What it is told.

    def set(self, zone: int, why: int, stands: bool, value: int = 0) -> bool:
        """Note whether a reason stands for a zone, or for all. Returns True, and tells, if news."""
        before = self.locked[why]
        bits = 1 << zone if zone >= 0 else _ALL
        after = before | bits if stands else before & ~bits
        if after == before:
            return False
        self.locked[why] = after
        if why == RAIN or (why == FROST and stands):
            self._record.dirty = (
                True  # rain, frost and power cuts come together; a frost's end can wait
            )
        what = events.LOCKED if why < events.PROBE else events.ALARM
        self._tell(what if stands else what + 1, zone, why, value)  # or RELEASED, or CLEARED
        return True

    def rained(self, rain_um: int, up_s: int) -> int:
        """Take the rain of today by the owner's own gauge. Returns OK, or why it does not count."""
        if not self._plan.hub.estimate:
            return events.NO_ESTIMATE
        if not 0 <= rain_um < _RAIN_MAX_UM:
            return events.UNKNOWN
        record = self._record
        self._counted_um = record.rain_today_um = rain_um
        record.gaps |= RAIN_TOLD
        record.dirty = True
        if rain_um > self._plan.hub.rain_skip_um:
            self.after_rain_up_s = up_s + _AFTER_RAIN_S
        return events.OK

    def end_day(self, counted: bool) -> None:
        """A local day ends: see whether its temperatures are to be believed.

        After a week that said nothing new a frost ends, and what is said once more begins none.
        Then nobody knows of a frost before. The rows bound the season, as without a thermometer.

        counted: the hub has lived through its midnight, and it was a day by uptime as well
        """
        record = self._record
        warm_dk = record.warm_dk
        same = warm_dk - record.cold_dk < _RANGE_LEAST_DK
        if same and counted and self.locked[FROST]:
            self._same_days += 1
            if self._same_days == _SAME_DAYS_MOST:
                self._warm_up_s = _UNKNOWN
                self.set(_ALL, FROST, False)
        if self._plan.hub.frost and not record.gaps & NO_TEMPERATURE:
            if same:
                record.gaps |= NO_TEMPERATURE
            self.set(_ALL, events.STUCK, same, warm_dk)

    def begin_day(self, gaps: int) -> None:
        """A local day begins, of which so much was not heard."""
        record = self._record
        self._before_um = self._counted_um
        self._counted_um = record.rain_today_um = 0
        record.cold_dk = NONE_YET_DK
        record.warm_dk = -NONE_YET_DK
        record.gaps = gaps

    def read_by(self, up_s: int) -> None:
        """Have the sensors read at `up_s` at the latest."""
        if up_s < self.poll_up_s:
            self.poll_up_s = up_s

    def poll(self, seen: "Seen", up_s: int) -> bool:
        """Take every reading, but of probes beside an open hose; set when to take the next.

        Returns True if any lockout changed, or whether a probe is trusted.
        """
        changed = False
        hub = self._plan.hub
        record = self._record
        opening = record.opening
        if self.polled_up_s < 0:  # for the first time
            self._temp_up_s = self._rain_up_s = up_s
            if self._counting:
                self._rain_um = seen.rain_um or 0
        self.polled_up_s = up_s
        if hub.rain_kind == GAUGE:
            changed = self._take_rain(seen.rain_um, up_s)
        elif hub.rain_kind == CONTACT:
            changed = self._take_contact(seen.rain_wet, up_s)
        if hub.frost:
            changed = self._take_temperature(seen.temp_mc, up_s) or changed
        fails = seen.power_fails
        if fails != self.power_fails:
            self.power_fails = self.spent_battery = fails
            changed = self.set(_ALL, LOW_BATTERY, fails) or changed
        if hub.battery and not fails:
            changed = self._take_battery(seen.battery_mv, up_s) or changed
        ppt = seen.soil_vwc_ppt
        fallen_um = self._fallen_um
        lately_um = self._before_um + record.rain_today_um
        used_s = record.used_s
        for zone, probe in self._probed:
            if opening and opening >> zone & 1:
                continue
            if probe.read(ppt[zone], up_s, fallen_um, used_s[zone], lately_um):
                self.set(zone, events.WET_SOIL, probe.wet, probe.ppt)
                self.set(zone, events.PROBE, not probe.trusted, probe.ppt)
                changed = True
        self.poll_up_s = up_s + (hub.watch_s if opening else hub.poll_s)
        if up_s < self.dry_up_s:
            self.read_by(self.dry_up_s)
        return changed

    # How each sensor is read.

    def _take_rain(self, rain_um: "int | None", up_s: int) -> bool:
        """Add up the day's rain. Returns True if a gauge is silent, or beyond belief, as news.

        One that says nothing for hours, or more than any sky gives in two days, or that it never
        stops raining, is an alarm, and the day counts as one of which the rain is not known.
        """
        record = self._record
        if rain_um is None:
            if up_s - self._rain_up_s < self._stale_s:
                return False
            record.gaps |= NO_RAIN
            return self.set(_ALL, RAIN_STALE, True)
        self._rain_up_s = up_s
        more_um = rain_um - self._rain_um
        if not more_um:
            self.dry_up_s = up_s
            if not self.locked[RAIN_STALE]:
                return False  # as at most polls
        if more_um < 0:  # the counter began again
            more_um = max(rain_um, 0)
        self._rain_um = rain_um
        self._fallen_um += more_um
        before_um = self._counted_um
        today_um = self._counted_um = min(before_um + more_um, _RAIN_MAX_UM)
        keep = today_um // _RAIN_KEEP_UM != before_um // _RAIN_KEEP_UM
        if keep:
            record.dirty = True
        absurd = today_um + self._before_um >= _RAIN_MAX_UM or up_s - self.dry_up_s >= _POURS_MOST_S
        record.rain_today_um = 0 if absurd else today_um
        if absurd:
            record.gaps |= NO_RAIN
        elif today_um > self._plan.hub.rain_skip_um:
            self.after_rain_up_s = up_s + _AFTER_RAIN_S
        return self.set(_ALL, RAIN_STALE, absurd, today_um) or keep

    def _take_contact(self, wet: "bool | None", up_s: int) -> bool:
        """Lock while a contact is wet, and for its drying time after.

        One that says nothing is as wet as it was; after hours of that it is an alarm.
        """
        contact = was = self._contact
        if wet is None:
            silent = up_s - self._rain_up_s >= self._stale_s
            changed = silent and self.set(_ALL, RAIN_STALE, True)
        else:
            self._rain_up_s = up_s
            self._contact = contact = bool(wet)
            changed = self.set(_ALL, RAIN_STALE, False)
        if contact:
            self.after_rain_up_s = up_s + _AFTER_RAIN_S
        elif was:
            self.dry_up_s = up_s + self._plan.hub.dry_after_s
        if contact != was:
            self._record.dirty = changed = True
        return self.set(_ALL, RAIN, contact or up_s < self.dry_up_s) or changed

    def _take_temperature(self, temp_mc: "int | None", up_s: int) -> bool:
        """Lock at or below one temperature; release after some hours at or above a higher one.

        A thermometer that says nothing, or what no air is, begins no frost and ends none; after
        hours of that it is an alarm, and after a week a frost ends; see `end_day`.
        """
        hub = self._plan.hub
        if temp_mc is None or not _AIR_LEAST_MC <= temp_mc <= _AIR_MOST_MC:
            stale = up_s - self._temp_up_s >= self._stale_s
            if stale or self.locked[FROST]:
                self._warm_up_s = _UNKNOWN
            if stale:
                self._record.gaps |= NO_TEMPERATURE
            return stale and self.set(_ALL, STALE, True)
        self._temp_up_s = up_s
        record = self._record
        temp_dk = temp_mc // 100
        if temp_dk < record.cold_dk:
            record.cold_dk = temp_dk
        if temp_dk > record.warm_dk:
            record.warm_dk = temp_dk
        if self._same_days:
            if self.locked[STALE] or record.warm_dk - record.cold_dk >= _RANGE_LEAST_DK:
                self._same_days = 0
            elif self._same_days == _SAME_DAYS_MOST:
                return False
        frost = self.locked[FROST] != 0
        warm_up_s = self._warm_up_s
        if temp_mc < hub.frost_off_mc:
            # Where nobody knows of a frost before, what would not end one counts as one.
            frost = frost or warm_up_s == _UNKNOWN or temp_mc <= hub.frost_on_mc
            self._warm_up_s = _NOT_WARM
        elif not (frost or warm_up_s < 0 or self.locked[STALE]):
            return False  # as at most polls
        else:
            if warm_up_s < 0:
                self._warm_up_s = warm_up_s = up_s
            frost = frost and up_s - warm_up_s < hub.frost_hold_s
        changed = self.set(_ALL, STALE, False)
        return self.set(_ALL, FROST, frost, temp_mc) or changed

    def _take_battery(self, battery_mv: "int | None", up_s: int) -> bool:
        """Low, or not known: open nothing. Spent: shut what is open."""
        if battery_mv is None:
            # Nothing says that a valve could be shut again.
            return up_s - self._battery_up_s >= self._stale_s and self.set(_ALL, LOW_BATTERY, True)
        hub = self._plan.hub
        self._battery_up_s = up_s
        spent = battery_mv < hub.battery_reserve_mv
        changed = spent != self.spent_battery
        self.spent_battery = spent
        least_mv = hub.battery_open_mv
        if self.locked[LOW_BATTERY]:
            least_mv += _BATTERY_MARGIN_MV
        return self.set(_ALL, LOW_BATTERY, battery_mv < least_mv, battery_mv) or changed


def quiet(plan: "Plan", local_s: int) -> "tuple[bool, int]":
    """Whether local rules forbid watering at this local time, and for how many seconds they surely
    go on to say so; a day at most.
    """
    hub = plan.hub
    day, of_day_s = divmod(local_s, limits.DAY_S)
    _, month, of_month = civil.date_of(day)
    banned = not hub.weekdays >> (day + civil.FIRST_WEEKDAY) % 7 & 1
    if hub.dates and (of_month - hub.dates) % 2:  # ODD_DATES is odd, EVEN_DATES even; 0: any
        banned = True
    left_s = limits.DAY_S - of_day_s
    for ban in plan.bans:
        at = 32 * month + of_month
        inside = at <= ban.last
        if ban.kind == BAN_HOURS:
            at = of_day_s // 60
            inside = at < ban.last
            for edge_min in (ban.first, ban.last):
                left_s = min(left_s, (60 * edge_min - of_day_s - 1) % limits.DAY_S + 1)
        if (at >= ban.first and inside) if ban.first <= ban.last else (at >= ban.first or inside):
            banned = True
    return banned, left_s
