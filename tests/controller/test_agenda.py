"""Which cycle is due when, at the plan's odd corners."""

import pytest

from evenclay.controller.agenda import PER_DAY, Agenda
from evenclay.controller.civil import day_of
from evenclay.controller.plan import Plan
from tests.core import plan, row, usual_rows, wall

CST_S = 21600


def times_of(made: Plan, year: int, month: int, day: int) -> list[int]:
    """UTC starts of a day's cycles."""
    number = day_of(year, month, day)
    agenda = Agenda(made)
    count = agenda.row_of(number).cycles
    return [agenda.start_wall_s(number * PER_DAY + k) for k in range(count)]


def test_the_usual_starts() -> None:
    made = plan()
    assert times_of(made, 2026, 1, 5) == []
    # Three cycles over twelve hours from 05:00, in summer time (UTC-5).
    assert times_of(made, 2026, 5, 5) == [wall(2026, 5, 5, hour) for hour in (10, 14, 18)]


def test_a_start_in_the_hour_that_is_skipped() -> None:
    """8 March 2026, 02:00 becomes 03:00: 02:15 runs at 03:00, which is 08:00 UTC."""
    made = plan(rows=[row(1, 1, starts_min=(119, 135, 180))])
    assert times_of(made, 2026, 3, 8) == [
        wall(2026, 3, 8, 7, 59),
        wall(2026, 3, 8, 8),
        wall(2026, 3, 8, 8),
    ]


def test_a_start_in_the_hour_that_comes_twice() -> None:
    """1 November 2026, 02:00 becomes 01:00: 01:30 runs once, in summer time, at 06:30 UTC."""
    made = plan(rows=[row(1, 1, starts_min=(90, 120))])
    assert times_of(made, 2026, 11, 1) == [wall(2026, 11, 1, 6, 30), wall(2026, 11, 1, 8)]


def test_a_cycle_past_midnight_belongs_to_the_day_it_starts_on() -> None:
    made = plan(rows=[row(6, 1, 2, start_min=1380, length_min=240), row(6, 10, 0)])
    agenda = Agenda(made)
    last = day_of(2026, 6, 9)
    # 23:00 on the 9th and 01:00 on the 10th, in summer time.
    assert times_of(made, 2026, 6, 9) == [wall(2026, 6, 10, 4), wall(2026, 6, 10, 6)]
    assert agenda.next_after(last * PER_DAY, last + 1) == last * PER_DAY + 1
    assert agenda.next_after(last * PER_DAY + 1, last + 1) == -1
    assert agenda.end_wall_s(last * PER_DAY + 1) == wall(2026, 6, 10, 8)
    assert agenda.last_started(wall(2026, 6, 10, 6)) == last * PER_DAY + 1
    assert agenda.last_started(wall(2026, 6, 10, 6) - 1) == last * PER_DAY


@pytest.mark.parametrize(("cycle", "hour"), [(0, 14), (1, 18), (2, 22)])
def test_a_cycle_ends_with_the_next_or_with_its_window(cycle: int, hour: int) -> None:
    made = plan()
    number = day_of(2026, 5, 5) * PER_DAY + cycle
    assert Agenda(made).end_wall_s(number) == wall(2026, 5, 5, hour)


def test_explicit_starts_end_at_the_next_or_after_six_hours() -> None:
    made = plan(rows=[row(1, 1, starts_min=(60, 240, 1200))])
    day = day_of(2026, 6, 1)  # five hours west of UTC
    ends = [Agenda(made).end_wall_s(day * PER_DAY + k) for k in range(3)]
    assert ends == [wall(2026, 6, 1, 9), wall(2026, 6, 1, 15), wall(2026, 6, 2, 6)]


def test_nothing_started_in_a_closed_season() -> None:
    made = plan()
    agenda = Agenda(made)
    now_s = wall(2026, 1, 20, 12)
    found = agenda.last_started(now_s)
    assert found < day_of(2026, 1, 19) * PER_DAY
    assert agenda.next_after(found, day_of(2026, 1, 20)) == -1
    # It looks two days ahead, no further.
    first = day_of(2026, 5, 1)
    assert agenda.next_after(found, first - 2) == first * PER_DAY
    assert agenda.next_after(found, first - 3) == -1


def test_the_last_row_holds_before_the_first() -> None:
    made = plan(rows=usual_rows())
    assert [
        made.rows.index(Agenda(made).row_of(day_of(2026, *at)))
        for at in ((1, 1), (4, 30), (5, 1), (6, 30), (7, 1), (9, 15), (9, 16), (10, 31), (11, 1))
    ] == [3, 3, 0, 0, 1, 1, 2, 2, 3]
