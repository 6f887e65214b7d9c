"""Season rows and cycles against a naive model that lists them with `datetime` and `zoneinfo`."""

import calendar
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenclay.controller.agenda import PER_DAY, Agenda
from evenclay.controller.civil import LocalTime, day_of
from evenclay.controller.events import CLOSED, OPENED, SKIPPED
from evenclay.controller.plan import NO_RAIN_SENSOR, Plan, PlanError, RowPart
from evenclay.tools.property.plan_ranges import check_plan
from evenclay.tools.property.timezone import rule
from tests.core import Bench, plan, row, usual_rows

EPOCH = datetime(2000, 1, 1)
ZONES = (
    "America/Chicago",
    "America/St_Johns",
    "America/Nuuk",
    "America/Santiago",
    "Europe/Dublin",
    "Africa/Tunis",
    "Asia/Kathmandu",
    "Australia/Lord_Howe",
    "Pacific/Auckland",
)
# Days around which cycles get lost or doubled: new year, leap day, 2034-01-09, both changes.
EDGES = [
    date(2026, 1, 1),
    date(2027, 4, 4),
    date(2028, 2, 29),
    date(2028, 3, 12),
    date(2029, 3, 25),
    date(2030, 9, 8),
    date(2031, 10, 5),
    date(2031, 10, 26),
    date(2031, 11, 2),
    date(2034, 1, 9),
    date(2098, 12, 31),
]


def naive_row(rows: list[RowPart], day: date) -> RowPart:
    """Walk back day by day until one begins a row; 29 February as any other day."""
    begins = {(one.month, one.day): one for one in rows}
    month, of_month = day.month, day.day
    while (month, of_month) not in begins:
        of_month -= 1
        if of_month == 0:
            month = month - 1 or 12
            of_month = calendar.monthrange(2000, month)[1]
    return begins[month, of_month]


def naive_start(zone: ZoneInfo, day: date, minute: int) -> int:
    """UTC second of a local start: the first of two; if skipped, the next minute that exists."""
    local = datetime(day.year, day.month, day.day) + timedelta(minutes=minute)
    while True:
        at = local.replace(tzinfo=zone, fold=0).astimezone(UTC)
        if at.astimezone(zone).replace(tzinfo=None) == local:
            return int((at.replace(tzinfo=None) - EPOCH).total_seconds())
        local += timedelta(minutes=1)


def naive_cycles(made: Plan, zone: ZoneInfo, first: date, days: int) -> list[int]:
    """Starts of every cycle of the days, UTC seconds."""
    starts = []
    for place in range(days):
        day = first + timedelta(days=place)
        one = naive_row(made.rows, day)
        minutes = one.starts_min or [
            one.start_min + k * one.length_min // one.cycles for k in range(one.cycles)
        ]
        starts += [naive_start(zone, day, minute) for minute in minutes]
    return starts


def in_zone(name: str, rows: list[RowPart], zones: int = 1) -> Plan:
    hub = {"frost": 0, "rain_kind": NO_RAIN_SENSOR} | rule(name)
    return plan(zones, rows, None, (), None, **hub)


@st.composite
def rows_of(draw: st.DrawFn, least_cycles: int = 0) -> list[RowPart]:
    """Rows of a valid plan: windows or explicit starts, some over midnight."""
    dates = draw(
        st.sets(
            st.integers(0, 365).map(lambda n: date(2000, 1, 1) + timedelta(days=n)),
            min_size=1,
            max_size=6,
        )
    )
    rows = []
    for at in sorted(dates):
        if draw(st.booleans()):
            starts = tuple(sorted(draw(st.sets(st.integers(0, 1439), min_size=1, max_size=5))))
            rows.append(row(at.month, at.day, starts_min=starts))
        else:
            cycles = draw(st.integers(least_cycles, 6))
            start_min = draw(st.integers(0, 1439))
            length_min = draw(st.integers(6, 1440))
            rows.append(row(at.month, at.day, cycles, start_min=start_min, length_min=length_min))
    return rows


def valid(rows: list[RowPart]) -> bool:
    try:
        check_plan(plan(1, rows))
    except PlanError:
        return False
    return True


def test_every_day_of_2000_to_2099_has_the_usual_calendar_s_row() -> None:
    made = plan(rows=usual_rows())
    agenda = Agenda(made)
    day = date(2000, 1, 1)
    number = 0
    while day.year < 2100:
        assert agenda.row_of(number) is naive_row(made.rows, day)
        day += timedelta(days=1)
        number += 1
    assert number == 36525


@given(rows=rows_of().filter(valid), first=st.dates(date(2000, 1, 3), date(2099, 1, 1)))
def test_every_day_has_exactly_one_row(rows: list[RowPart], first: date) -> None:
    made = plan(1, rows)
    agenda = Agenda(made)
    for place in range(0, 366):
        day = first + timedelta(days=place)
        number = day_of(day.year, day.month, day.day)
        assert agenda.row_of(number) is naive_row(rows, day)


@given(
    rows=rows_of().filter(valid),
    name=st.sampled_from(ZONES),
    edge=st.sampled_from(EDGES),
    before=st.integers(0, 5),
)
def test_no_cycle_twice_or_lost(rows: list[RowPart], name: str, edge: date, before: int) -> None:
    """The agenda's walk over eight days, and its answers a second before and at each start."""
    made = in_zone(name, rows)
    agenda = Agenda(made)
    first = edge - timedelta(days=before)
    day = day_of(first.year, first.month, first.day)
    expected = naive_cycles(made, ZoneInfo(name), first, 8)
    walked = []
    cycle_no = agenda.next_after(day * PER_DAY - 1, day + 7)
    while 0 <= cycle_no < (day + 8) * PER_DAY:
        start_s = agenda.start_wall_s(cycle_no)
        walked.append(start_s)
        assert agenda.last_started(start_s) >= cycle_no
        assert agenda.last_started(start_s - 1) < cycle_no
        assert agenda.end_wall_s(cycle_no) >= start_s
        cycle_no = agenda.next_after(cycle_no, day + 7)
    assert walked == expected
    assert walked == sorted(walked)


@settings(max_examples=40)
@given(
    rows=rows_of(1).filter(valid),
    name=st.sampled_from(ZONES),
    edge=st.sampled_from(EDGES),
)
def test_the_hub_serves_each_cycle_once(rows: list[RowPart], name: str, edge: date) -> None:
    """Every zone gets one run, or one reason, for every cycle of the days around an edge."""
    made = in_zone(name, rows, 2)
    first = edge - timedelta(days=2)
    zone = ZoneInfo(name)
    begin_s = naive_start(zone, first, 0)
    last_s = naive_start(zone, first + timedelta(days=5), 0)
    expected = [
        at_s
        for at_s in naive_cycles(made, zone, first - timedelta(days=1), 7)
        if begin_s < at_s <= last_s
    ]
    bench = Bench(made, begin_s)
    bench.boot()
    begun: list[int] = []
    mark_no = -1
    while bench.now_s <= last_s - begin_s:
        wake_s = bench.runner.turn()
        record = bench.runner.hub.record
        if record.mark_no != mark_no and mark_no != -1:
            begun.append(record.mark_wall_s)
        mark_no = record.mark_no
        bench.now_s = max(wake_s, bench.now_s + 1)
    # Cycles that daylight saving puts in one moment are begun in one turn; the last is seen.
    assert begun == sorted(set(expected))
    for index in range(2):
        ended = [e for e in bench.told(OPENED) + bench.told(SKIPPED) if e[1] == index]
        waiting = bench.runner.hub.record.waiting >> index & 1
        assert len(ended) + waiting == len(expected)


def test_the_usual_calendar_s_year_by_the_agenda() -> None:
    """629 cycles and 7,830 minutes a zone, and 181 days with none, in a year of 365 days.

    Common practice, no source: arithmetic, not a recommendation.
    """
    made = plan(rows=usual_rows())
    first = day_of(2027, 1, 1)
    agenda = Agenda(made)
    rows = [agenda.row_of(first + day) for day in range(365)]
    assert sum(one.cycles for one in rows) == 629
    assert sum(one.cycles * one.run_s for one in rows) == 7830 * 60
    assert [one.cycles for one in rows].count(0) == 181


@pytest.mark.parametrize("zones", [1, 3, 8])
def test_the_usual_calendar_s_year_by_the_hub(zones: int) -> None:
    """The same arithmetic, from valves that opened and closed; nothing is held back."""
    made = in_zone("America/Chicago", usual_rows(), zones)
    bench = Bench(made, naive_start(ZoneInfo("America/Chicago"), date(2027, 1, 1), 0))
    bench.boot()
    bench.run_until(365 * 86400 - 1)
    time = LocalTime(made.hub)
    for index in range(zones):
        closed = [event for event in bench.told(CLOSED) if event[1] == index]
        assert len(closed) == 629
        assert sum(event[3] for event in closed) == 7830 * 60
        assert len({time.local_s(event[7]) // 86400 for event in closed}) == 365 - 181
    assert bench.told(SKIPPED) == []
    assert len(bench.told(OPENED)) == 629 * zones
