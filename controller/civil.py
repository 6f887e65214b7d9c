"""Calendar and local time, in whole days and seconds since 2000-01-01.

Days count from 2000-01-01 = 0. Weekdays count from Monday = 0. `wall_s` is UTC, `local_s` is what
a clock on the wall shows; both are seconds since 2000-01-01 00:00 on their own scale.
Source: days-from-civil is the usual proleptic Gregorian arithmetic with years starting in March;
the rule is the `std offset dst offset,Mm.w.d/time,Mm.w.d/time` form of POSIX.1-2017, chapter 8.3.
"""

from controller._const import TYPE_CHECKING
from controller.limits import DAY_S

if TYPE_CHECKING:
    from controller.plan import HubPart

_EPOCH = 730425  # 2000-01-01 counted from 0000-03-01


def day_of(year: int, month: int, day: int) -> int:
    """Days from 2000-01-01 to this date; no check that the date exists."""
    if month <= 2:
        year -= 1
        month += 12
    of_year = (153 * (month - 3) + 2) // 5 + day - 1
    return 365 * year + year // 4 - year // 100 + year // 400 + of_year - _EPOCH


def date_of(day: int) -> "tuple[int, int, int]":
    """Year, month and day of the month of a day number."""
    count = day + _EPOCH
    era, of_era = divmod(count, 146097)
    of_era_years = (of_era - of_era // 1460 + of_era // 36524 - of_era // 146096) // 365
    of_year = of_era - (365 * of_era_years + of_era_years // 4 - of_era_years // 100)
    shifted = (5 * of_year + 2) // 153
    month = shifted + 3 if shifted < 10 else shifted - 9
    year = era * 400 + of_era_years + (1 if month <= 2 else 0)
    return year, month, of_year - (153 * shifted + 2) // 5 + 1


def weekday_of(day: int) -> int:
    """Weekday of a day number, Monday = 0."""
    return (day + 5) % 7


def month_days(year: int, month: int) -> int:
    """Days in a month."""
    if month == 2:
        return 29 if year % 4 == 0 and (year % 100 != 0 or year % 400 == 0) else 28
    return 30 if month in (4, 6, 9, 11) else 31


class LocalTime:
    """Local time under one POSIX rule. Remembers the transitions of the year last asked for."""

    def __init__(self, hub: "HubPart") -> None:
        self._hub = hub
        self._year = -1
        self._on_s = 0
        self._off_s = 0
        self._offset_s = 0  # holds between these two UTC instants
        self._from_s = 0
        self._until_s = 0

    def _transitions(self, year: int) -> None:
        """Set the UTC seconds at which the rule's summer offset begins and ends in `year`."""
        if year == self._year:
            return
        hub = self._hub
        on_day = _nth_weekday(year, hub.on_month, hub.on_week, hub.on_weekday)
        off_day = _nth_weekday(year, hub.off_month, hub.off_week, hub.off_weekday)
        self._on_s = on_day * DAY_S + hub.on_s - hub.std_s
        self._off_s = off_day * DAY_S + hub.off_s - hub.dst_s
        self._year = year

    def offset_s(self, wall_s: int) -> int:
        """Seconds to add to UTC at `wall_s`."""
        if not self._from_s <= wall_s < self._until_s:
            self._find_offset(wall_s)
        return self._offset_s

    def _find_offset(self, wall_s: int) -> None:
        """Set the offset at `wall_s`, and for how long around it this one holds."""
        hub = self._hub
        self._from_s = wall_s
        self._until_s = wall_s + DAY_S
        self._offset_s = hub.std_s
        if not hub.dst:
            return
        year = date_of((wall_s + hub.std_s) // DAY_S)[0]
        self._transitions(year)
        if self._on_s < self._off_s:
            summer = self._on_s <= wall_s < self._off_s
        else:
            summer = not self._off_s <= wall_s < self._on_s
        if summer:
            self._offset_s = hub.dst_s
        year_end_s = day_of(year + 1, 1, 1) * DAY_S - hub.std_s
        for change_s in (self._on_s, self._off_s, year_end_s):
            if wall_s < change_s:
                self._until_s = min(self._until_s, change_s)

    def steady_s(self, wall_s: int) -> int:
        """Seconds for which the offset at `wall_s` surely holds; a day at most."""
        self.offset_s(wall_s)
        return self._until_s - wall_s

    def local_s(self, wall_s: int) -> int:
        """Local seconds of a UTC instant."""
        return wall_s + self.offset_s(wall_s)

    def wall_s(self, local_s: int) -> int:
        """UTC instant of a local time: the first of two, or the first valid one after a gap."""
        hub = self._hub
        high = max(hub.std_s, hub.dst_s)
        low = min(hub.std_s, hub.dst_s)
        for offset in (high, low):
            if self.offset_s(local_s - offset) == offset:
                return local_s - offset
        # Neither offset fits: the clock jumps over this time, where the larger offset begins.
        self._find_offset(local_s - high)
        return self._on_s if hub.dst_s > hub.std_s else self._off_s


def _nth_weekday(year: int, month: int, week: int, weekday: int) -> int:
    """Day number of the `week`-th (5 = last) `weekday` (Sunday = 0, as POSIX counts) of a month."""
    first = day_of(year, month, 1)
    day = first + (weekday - 1 - weekday_of(first)) % 7 + 7 * (week - 1)
    last = first + month_days(year, month) - 1
    return day if day <= last else day - 7
