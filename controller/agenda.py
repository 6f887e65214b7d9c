"""Which cycle is due when: pure questions to the plan's season table.

A cycle has a number, `day * PER_DAY + k`: the local day it belongs to and its place in that day.
Numbers ascend with time, whatever the clock or daylight saving does to the instants at which cycles
start.
"""

from controller._const import TYPE_CHECKING, const
from controller.civil import date_of
from controller.limits import DAY_S

if TYPE_CHECKING:
    from controller.civil import LocalTime
    from controller.plan import Plan, RowPart

PER_DAY = const(32)  # more than CYCLES_MAX; a power of two keeps numbers readable in binary dumps
_AHEAD_DAYS = const(2)  # how far next_after looks; the hub asks again at each local midnight


def row_of(plan: "Plan", day: int) -> "RowPart":
    """The season row that holds on a day number; before the year's first row, its last."""
    _, month, of_month = date_of(day)
    found = plan.rows[-1]
    for row in plan.rows:
        if 32 * row.month + row.day <= 32 * month + of_month:
            found = row
    return found


def start_wall_s(plan: "Plan", time: "LocalTime", cycle_no: int) -> int:
    """UTC instant at which a cycle that exists in the plan starts."""
    day, cycle = divmod(cycle_no, PER_DAY)
    return time.wall_s(day * DAY_S + 60 * row_of(plan, day).start_min_of(cycle))


def next_after(plan: "Plan", cycle_no: int, today: int) -> int:
    """Number of the first cycle after `cycle_no` up to two days past `today`, or -1."""
    day, cycle = divmod(cycle_no + 1, PER_DAY)
    while day <= today + _AHEAD_DAYS:
        if cycle < row_of(plan, day).cycles:
            return day * PER_DAY + cycle
        day += 1
        cycle = 0
    return -1


def end_wall_s(plan: "Plan", time: "LocalTime", cycle_no: int) -> int:
    """UTC instant by which a cycle's runs must end: its window's end or the next cycle's start."""
    day, cycle = divmod(cycle_no, PER_DAY)
    end_s = time.wall_s(day * DAY_S + 60 * row_of(plan, day).end_min_of(cycle))
    following = next_after(plan, cycle_no, day)
    if following >= 0:
        end_s = min(end_s, start_wall_s(plan, time, following))
    return end_s


def last_started(plan: "Plan", time: "LocalTime", wall_s: int) -> int:
    """Number of the last cycle that had started at a UTC instant, or of the moment itself."""
    today = time.local_s(wall_s) // DAY_S
    following = (today - 1) * PER_DAY - 1
    while True:
        found = following
        following = next_after(plan, found, today)
        if following < 0 or start_wall_s(plan, time, following) > wall_s:
            return found
