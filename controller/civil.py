"""Calendar, local time and what the clocks say, in whole days and seconds since 2000-01-01.

Days count from 2000-01-01 = 0. Weekdays count from Monday = 0. `wall_s` is UTC, `local_s` is what
a clock on the wall shows; both are seconds since 2000-01-01 00:00 on their own scale. `up_s` is
uptime, which alone is steady; the wall clock is uptime plus a skew.
Source: the usual proleptic Gregorian arithmetic, in years that start in March and so end with the
leap day; the rule is the `std offset dst offset,Mm.w.d/time,Mm.w.d/time` form of POSIX.1-2017,
chapter 8.3.
"""

from . import const
from .limits import DAY_S, WALL_MAX

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from .plan import HubPart

FIRST_WEEKDAY = const(5)  # day 0 was a Saturday: a day's weekday is (day + FIRST_WEEKDAY) % 7
_EPOCH = const(730425)  # 2000-01-01 counted from 0000-03-01
# The calendar looks a day back from any local time, and counts no day below 0.
_WALL_LEAST_S = const(259200)

# What `take` finds.
_AS_EXPECTED = const(0)
LOST = const(1)  # the clock is not trusted, or no longer
_FOUND = const(2)
_STEP_TOLERANCE_S = const(60)  # a clock that moves less against uptime has drifted, not stepped
STEPPED = const(3)


def day_of(year: int, month: int, day: int) -> int:
    """Days from 2000-01-01 to this date; no check that the date exists. Month 13 is January."""
    if month <= 2:
        year -= 1
        month += 12
    of_year = (153 * month - 457) // 5 + day - 1
    return 365 * year + year // 4 - year // 100 + year // 400 + of_year - _EPOCH


def date_of(day: int) -> "tuple[int, int, int]":
    """Year, month and day of the month of a day number."""
    # A century has 146097 quarters of a day and a year 1461; what is left over is in quarters too.
    century, rest = divmod(4 * (day + _EPOCH) + 3, 146097)
    year, rest = divmod(rest | 3, 1461)
    month, rest = divmod(5 * (rest // 4) + 461, 153)
    year += 100 * century
    if month > 12:
        year += 1
        month -= 12
    return year, month, rest // 5 + 1


class LocalTime:
    """Local time under one POSIX rule.

    What was last asked for is remembered with the stretch around it: its offset surely holds until
    the UTC instant `until_s`.
    """

    def __init__(self, hub: "HubPart") -> None:
        self._hub = hub
        self._offset_s = 0  # holds between these two UTC instants
        self._from_s = 0
        self.until_s = 0

    def local_s(self, wall_s: int) -> int:
        """Local seconds of a UTC instant."""
        if not self._from_s <= wall_s < self.until_s:
            self._find_offset(wall_s)
        return wall_s + self._offset_s

    def _find_offset(self, wall_s: int) -> None:
        """Set the offset at `wall_s`, and the stretch of its year for which it holds."""
        hub = self._hub
        offset_s = std_s = hub.std_s
        year = date_of((wall_s + std_s) // DAY_S)[0]
        from_s = day_of(year, 1, 1) * DAY_S - std_s
        until_s = day_of(year, 13, 1) * DAY_S - std_s
        if hub.dst:
            on_day = _nth_weekday(year, hub.on_month, hub.on_week, hub.on_weekday)
            off_day = _nth_weekday(year, hub.off_month, hub.off_week, hub.off_weekday)
            on_s = on_day * DAY_S + hub.on_s - std_s
            off_s = off_day * DAY_S + hub.off_s - hub.dst_s
            for change_s in (on_s, off_s):
                if wall_s < change_s:
                    until_s = min(until_s, change_s)
                else:
                    from_s = max(from_s, change_s)
            # Summer time lies between the two, or, in the south, outside.
            if ((wall_s < on_s) != (wall_s < off_s)) == (on_s < off_s):
                offset_s = hub.dst_s
        self._offset_s = offset_s
        self._from_s = from_s
        self.until_s = until_s

    def wall_s(self, local_s: int) -> int:
        """UTC instant of a local time: the first of two, or the first valid one after a gap."""
        hub = self._hub
        early_s = local_s - max(hub.std_s, hub.dst_s)
        late_s = local_s - min(hub.std_s, hub.dst_s)
        for wall_s in (early_s, late_s):
            if self.local_s(wall_s) == local_s:
                return wall_s
        # The clock jumps over this time, between the two.
        self.local_s(early_s)
        return self.until_s


def _nth_weekday(year: int, month: int, week: int, weekday: int) -> int:
    """Day number of the `week`-th (5 = last) `weekday` (Sunday = 0, as POSIX counts) of a month."""
    first = day_of(year, month, 1)
    day = first + (weekday - 1 - first - FIRST_WEEKDAY) % 7 + 7 * (week - 1)
    return day if day < day_of(year, month + 1, 1) else day - 7


class Clock:
    """Uptime, and the wall clock measured against it.

    up_s: the uptime of the step under way
    trusted: whether the wall clock is known
    skew_s: wall less uptime
    """

    up_s = 0
    trusted = False
    skew_s = 0

    def __init__(self, time: LocalTime) -> None:
        self.time = time

    def take(self, up_s: int, wall_s: "int | None") -> int:
        """Note both clocks. Returns LOST, STEPPED, 0 if nothing is new, or else: it was found."""
        self.up_s = up_s
        if wall_s is None or not _WALL_LEAST_S <= wall_s < WALL_MAX:
            self.trusted = False
            return LOST
        moved_s = wall_s - up_s - self.skew_s
        if self.trusted and not moved_s:
            return _AS_EXPECTED
        self.skew_s += moved_s
        if not self.trusted:
            self.trusted = True
            return _FOUND
        return _AS_EXPECTED if -_STEP_TOLERANCE_S <= moved_s <= _STEP_TOLERANCE_S else STEPPED

    def wall_s(self, up_s: int) -> int:
        """UTC seconds, or 0 while the clock is not trusted."""
        return up_s + self.skew_s if self.trusted else 0
