"""What the calendar does: midnights, cycles that begin and cycles that passed, clocks that step.

Uptime is the hub's only steady clock; the wall clock is uptime plus a skew that is watched. Every
change to the record that depends on the date is made here.
"""

from . import civil, const, events, journal
from .agenda import PER_DAY
from .limits import DAY_S, STALE_S, WALL_MAX

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from typing import Callable

    from .agenda import Agenda
    from .civil import Clock
    from .estimates import Estimates
    from .journal import Record
    from .lockouts import Lockouts
    from .plan import Plan, RowPart

_NONE = const(-1)
_MISSED_MAX = const(60)  # missed days that an estimate is carried on by
_ALL_HEARD = const(0)  # the record's `gaps`
_REFILL_LEAST_S = const(79200)  # 22 h: the shortest real day has 23; less means the clock moved
_BACK_MAX_S = const(90000)  # 25 h: a wrong day and a summer-time hour; more is a new start
_PASSED_MAX = const(32)  # passed cycles reported one by one; more are reported as a count


class Days:
    """Local days and cycles. `tell` reports what was skipped and what is wrong.

    order: the zones in the order in which the marked cycle's runs are given
    held: what last kept each zone's waiting run from starting; OK: nothing that may last
    """

    _resync_why = 0  # POWER or CLOCK: why the date must be looked at anew; OK: it need not
    _went_back = False
    _refill_up_s: int  # when the day's minutes were last set to 0
    _midnight_s = 0
    _next_no: int
    _next_s: int
    _end_s: int  # of the marked cycle, UTC
    _end_up_s: int  # and by uptime: whichever comes first
    row: "RowPart"  # of the marked cycle, while its runs wait

    def __init__(
        self,
        plan: "Plan",
        record: "Record",
        agenda: "Agenda",
        clock: "Clock",
        lockouts: "Lockouts",
        estimates: "Estimates",
        tell: "Callable[..., None]",
    ) -> None:
        self._plan = plan
        self._record = record
        self._lockouts = lockouts
        self._agenda = agenda
        self._clock = clock
        self._estimates = estimates
        self._tell = tell
        self.time = agenda.time
        self.order: "list[int]" = []
        self.held = [events.OK] * len(plan.zones)

    # The clock.

    def see_clock(self, said: int) -> bool:
        """Take in that the clock was lost, found or stepped. Returns True if that is news."""
        lost = said == civil.LOST
        news = self._lockouts.set(_NONE, events.LOST_CLOCK, lost)
        if lost:
            return news
        self._resync_why = events.CLOCK if news or said == civil.STEPPED else events.POWER
        return True

    def steady_s(self, up_s: int) -> int:
        """Seconds until local rules, or local time itself, may next say something else.

        Only while the clock is trusted.
        """
        wall_s = up_s + self._clock.skew_s
        local_s = self.time.local_s(wall_s)
        quiet_left_s = self._lockouts.quiet_until_s(local_s) - local_s
        return min(quiet_left_s, self.time.until_s - wall_s)

    # What has come due.

    def due_up_s(self) -> int:
        """Uptime of the next midnight, cycle or end of a hold; only while the clock is trusted."""
        due_s = self._midnight_s if self._midnight_s < self._next_s else self._next_s
        if self._lockouts.locked[events.HOLD] and self._record.hold_s < due_s:
            due_s = self._record.hold_s
        return due_s - self._clock.skew_s

    def may_tell(self, zone: int, up_s: int) -> int:
        """Return OK, or why what an owner found in a zone's ground does not count now."""
        if not self._plan.hub.estimate:
            return events.NO_ESTIMATE
        if not self._clock.trusted:
            return events.LOST_CLOCK
        if up_s < self._lockouts.after_rain_up_s:
            return events.AFTER_RAIN
        record = self._record
        if record.opening >> zone & 1 or (
            record.mark_no // PER_DAY == record.day  # last night's cycles were yesterday's
            and record.valve_wall_s[zone] >= self._agenda.start_wall_s(record.day * PER_DAY)
        ):
            return events.AFTER_CYCLE
        return events.OK

    def latest_up_s(self, run_s: int) -> int:
        """Uptime of the last moment at which a run of the marked cycle may start."""
        return min(self._end_up_s, self._end_s - self._clock.skew_s) - run_s

    def catch_up(self, up_s: int) -> bool:
        """Do what the date asks for. Returns True if the record is to be saved for it."""
        if not self._clock.trusted:
            return False
        wall_s = up_s + self._clock.skew_s
        changed = False
        if self._resync_why:
            self._resync(up_s, wall_s)
            self._resync_why = events.OK
            changed = True
        elif wall_s >= self._midnight_s:
            refill = up_s - self._refill_up_s >= _REFILL_LEAST_S
            self._begin_day(self.time.local_s(wall_s) // DAY_S, refill, up_s, 1, _ALL_HEARD)
            self._find_next(wall_s)
            changed = True
        record = self._record
        if record.hold_s or self._lockouts.locked[events.HOLD]:
            holds = record.hold_s > wall_s
            if not holds:  # it ends now, or ended while power was away
                self._estimates.opened(wall_s)
                record.hold_s = 0
                changed = True
            if self._lockouts.set(_NONE, events.HOLD, holds):
                changed = True
        while wall_s >= self._next_s:
            self._begin_cycle(self._next_no, wall_s)
        return changed

    def _resync(self, up_s: int, wall_s: int) -> None:
        """The clock is new, or not where it was: see what passed, and repeat nothing."""
        why = self._resync_why
        record = self._record
        local_s = self.time.local_s(wall_s)
        day = local_s // DAY_S
        booted = not self._midnight_s
        gone = day - record.day if record.day else 0
        unheard = journal.NO_TEMPERATURE
        if booted:
            unheard |= journal.NO_RAIN
            if record.wall_s and 0 <= wall_s - record.wall_s < STALE_S:
                unheard = _ALL_HEARD
        if why != events.POWER:
            gone = min(gone, 1)  # a step drains one day at most
        record.gaps |= unheard
        gone = min(max(gone, 0), _MISSED_MAX)
        self._begin_day(day, why == events.POWER and gone > 0, up_s, gone, unheard)
        if booted:  # the day began at its midnight, not now
            self._refill_up_s = up_s - local_s % DAY_S
        back_s = record.mark_wall_s - wall_s
        if record.mark_no and back_s > _BACK_MAX_S:
            self._went_back = True
            self._tell(events.ALARM, _NONE, events.CLOCK, back_s)
            self.drop_waiting(events.CLOCK)
            record.mark_no = 0
        if not record.mark_no:  # of a new plan, what passed was none of its cycles
            self._mark(self._agenda.last_started(wall_s), wall_s)
        if record.waiting:  # runs stay so while their cycle lasts
            if booted:
                self._take_up()
            self._end_s = self._agenda.end_wall_s(record.mark_no)
            if wall_s >= self._end_s:
                self.drop_waiting(why)
        self._skip_passed(wall_s, why)

    def _take_up(self) -> None:
        """The marked cycle's runs are to be given: until when, by which row, in which order."""
        record = self._record
        mark_no = record.mark_no
        self._end_s = self._agenda.end_wall_s(mark_no)
        self._end_up_s = self._end_s - self._clock.skew_s
        self.row = self._agenda.row_of(mark_no // PER_DAY)
        self.order = list(range(len(self.held)))
        if record.first:
            self.order.sort(key=self._place)

    def _place(self, zone: int) -> "tuple[bool, int, int]":
        """What zones are put in order by: those dropped last time go first, and of these the one
        whose water is longest ago.
        """
        if self._record.first >> zone & 1:
            return False, self._record.valve_wall_s[zone], zone
        return True, 0, zone

    def _skip_passed(self, wall_s: int, why: int) -> None:
        """Report the cycles whose time passed: each up to a bound, then a count."""
        reported = 0
        self._find_next(wall_s)
        while wall_s >= self._next_s:
            passed_no = self._next_no
            if why == events.POWER and wall_s < self._agenda.end_wall_s(passed_no):
                return  # begun late: it has not been missed yet
            if reported < _PASSED_MAX:
                for zone in range(len(self.held)):
                    self._tell(events.SKIPPED, zone, why)
                self._mark(passed_no, self._next_s)
            else:
                last_no = self._agenda.last_started(wall_s)
                is_cycle = last_no % PER_DAY < PER_DAY - 1  # or none began since yesterday
                if why == events.POWER and is_cycle and wall_s < self._agenda.end_wall_s(last_no):
                    last_no -= 1  # that one is begun late
                days = last_no // PER_DAY - passed_no // PER_DAY
                self._tell(events.SKIPPED, _NONE, why, days)
                self._mark(last_no, wall_s)
            reported += 1
            self._find_next(wall_s)

    def _begin_day(self, day: int, refill: bool, up_s: int, gone: int, unheard: int) -> None:
        """A local day begins, or is found to be another than it was.

        Args:
            day: which
            refill: its minutes begin anew
            up_s: now
            gone: how many days have passed for rain and demand
            unheard: the new day's `gaps`
        """
        record = self._record
        lockouts = self._lockouts
        row = self._agenda.row_of(day)
        opens = row.cycles and not self._agenda.row_of(record.day).cycles
        if gone:
            lockouts.end_day(refill and not self._resync_why)
            self._estimates.new_day(day, gone, refill)
            lockouts.begin_day(unheard)
        if refill:
            self._refill_up_s = up_s
        if opens:
            self._estimates.opened(up_s + self._clock.skew_s)
        record.day = day
        lockouts.set(_NONE, events.CLOSED_SEASON, row.cycles == 0)
        self._midnight_s = self.time.wall_s((day + 1) * DAY_S)

    # Cycles.

    def _find_next(self, wall_s: int) -> None:
        """Find the cycle after the mark; it may have passed already."""
        agenda = self._agenda
        today = self.time.local_s(wall_s) // DAY_S
        after_no = self._record.mark_no
        if not self._resync_why:  # else as far back as the mark: what passed is to be told
            after_no = max(after_no, (today - 1) * PER_DAY - 1)
        self._next_no = next_no = agenda.next_after(after_no, today)
        self._next_s = WALL_MAX if next_no == _NONE else agenda.start_wall_s(next_no)

    def _mark(self, cycle_no: int, wall_s: int) -> None:
        self._record.mark_no = cycle_no
        self._record.mark_wall_s = wall_s

    def _begin_cycle(self, cycle_no: int, wall_s: int) -> None:
        """Every zone is to have one run; those dropped last time go first."""
        self.drop_waiting(events.OK)
        if self._went_back:
            self._went_back = False
            self._tell(events.CLEARED, _NONE, events.CLOCK)
        self._mark(cycle_no, self._next_s)
        self._take_up()
        self._record.first = 0
        for zone, part in enumerate(self._plan.zones):
            if part.share_pct:
                self._record.waiting |= 1 << zone
        self._find_next(wall_s)

    def drop_waiting(self, why: int, only: int = -1) -> None:
        """Drop every waiting run, or that of one zone; `why` OK: each for what held it."""
        for zone in range(len(self.held)):
            if self._record.waiting >> zone & 1 and only in (_NONE, zone):
                self.drop(zone, why or self.held[zone] or events.NO_TIME)

    def drop(self, zone: int, why: int) -> None:
        """Drop a waiting run; its zone goes first in the next cycle, unless it has enough."""
        self._record.waiting &= ~(1 << zone)
        if why != events.ENOUGH:
            self._record.first |= 1 << zone
        self.held[zone] = events.OK
        self._tell(events.SKIPPED, zone, why)
