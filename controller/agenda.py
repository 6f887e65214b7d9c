"""Which cycle is due when: pure questions to the plan's season table.

A cycle has a number, `day * PER_DAY + k`: the local day it belongs to and its place in that day.
Numbers ascend with time, whatever the clock or daylight saving does to the instants at which cycles
start.
"""

from . import civil, const
from .limits import DAY_S

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from .plan import Plan, RowPart

PER_DAY = const(32)  # more than any plan has; a power of two is readable in binary dumps
_AHEAD_DAYS = const(2)  # how far next_after looks; the hub asks again at each local midnight


class Agenda:
    """A plan's seasons and cycles, in the plan's local time `time`.

    The row that was last asked for is remembered with the days on which it surely holds.
    """

    _from_day = 0
    _until_day = 0
    _row: "RowPart"

    def __init__(self, plan: "Plan") -> None:
        self.time = civil.LocalTime(plan.hub)
        self._rows = plan.rows

    def row_of(self, day: int) -> "RowPart":
        """The season row that holds on a day number; before the year's first row, its last."""
        if not self._from_day <= day < self._until_day:
            year = civil.date_of(day)[0]
            found = self._rows[-1]
            from_day = civil.day_of(year, 1, 1)
            until_day = civil.day_of(year, 13, 1)
            for row in self._rows:
                first_day = civil.day_of(year, row.month, row.day)
                if first_day <= day:
                    found = row
                    from_day = first_day
                else:
                    until_day = min(until_day, first_day)
            self._row = found
            self._from_day = from_day
            self._until_day = until_day
        return self._row

    def start_wall_s(self, cycle_no: int) -> int:
        """UTC instant at which a cycle that exists in the plan starts."""
        day, cycle = divmod(cycle_no, PER_DAY)
        return self.time.wall_s(day * DAY_S + 60 * self.row_of(day).start_min_of(cycle))

    def next_after(self, cycle_no: int, today: int) -> int:
        """Number of the first cycle after `cycle_no` up to two days past `today`, or -1."""
        day, cycle = divmod(cycle_no + 1, PER_DAY)
        while day <= today + _AHEAD_DAYS:
            if cycle < self.row_of(day).cycles:
                return day * PER_DAY + cycle
            day += 1
            cycle = 0
        return -1

    def end_wall_s(self, cycle_no: int) -> int:
        """UTC instant by which a cycle's runs must end: its window's end or the next's start."""
        day, cycle = divmod(cycle_no, PER_DAY)
        end_s = self.time.wall_s(day * DAY_S + 60 * self.row_of(day).end_min_of(cycle))
        following = self.next_after(cycle_no, day)
        if following >= 0:
            end_s = min(end_s, self.start_wall_s(following))
        return end_s

    def last_started(self, wall_s: int) -> int:
        """Number of the last cycle that had started at a UTC instant, or of the moment itself."""
        today = self.time.local_s(wall_s) // DAY_S
        following = (today - 1) * PER_DAY - 1
        while True:
            found = following
            following = self.next_after(found, today)
            if following < 0 or self.start_wall_s(following) > wall_s:
                return found
