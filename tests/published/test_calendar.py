"""The calendar against the standard library, and local time against the zones' own law.

Sources: `datetime` (proleptic Gregorian) for days; POSIX.1-2017, chapter 8.3, for the rule; the
IANA time zone database, as packaged in the pinned `tzdata`, for the law of each zone.
"""

import calendar
import importlib.resources
import struct
from datetime import UTC, date, datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo

import pytest

from evenclay.controller.civil import FIRST_WEEKDAY, LocalTime, date_of, day_of
from evenclay.controller.plan import HubPart
from evenclay.tools.property.timezone import rule
from tests.core import HUB

EPOCH = datetime(2000, 1, 1, tzinfo=UTC)
LAST = datetime(2100, 1, 1, tzinfo=UTC)
# Each stands for a kind: `change` is whether a summer rule is in force.
ZONES = {
    "America/Chicago": True,
    "America/St_Johns": True,  # a half-hour offset
    "America/Nuuk": True,  # the rule's time of day is negative
    "America/Santiago": True,  # south; changes at 24:00 of a Saturday
    "America/Asuncion": False,
    "America/Havana": True,  # changes at midnight
    "Europe/Dublin": True,  # negative summer time: the winter is the exception
    "Europe/London": True,
    "Europe/Lisbon": True,
    "Africa/Cairo": True,  # ends at 24:00 of a Thursday
    "Africa/Tunis": False,
    "Asia/Jerusalem": True,  # the rule's time of day is past 24 h
    "Asia/Beirut": True,
    "Asia/Kolkata": False,
    "Asia/Kathmandu": False,  # a quarter of an hour
    "Australia/Adelaide": True,  # south, a half-hour offset
    "Australia/Lord_Howe": True,  # moves by half an hour
    "Pacific/Auckland": True,
    "Pacific/Chatham": True,  # three quarters, changes at 02:45
    "Antarctica/Troll": True,  # moves by two hours
    "Pacific/Kiritimati": False,  # the farthest east
    "Pacific/Pago_Pago": False,
    "Etc/UTC": False,
}


def seconds(at: datetime) -> int:
    return int((at - EPOCH).total_seconds())


@cache
def tables(name: str) -> tuple[ZoneInfo, int]:
    """A zone of the pinned database, and its last listed transition, UTC seconds since 2000."""
    path = importlib.resources.files("tzdata").joinpath("zoneinfo", *name.split("/"))
    with path.open("rb") as file:
        zone = ZoneInfo.from_file(file, key=name)
    data = path.read_bytes()
    # RFC 8536: a first block with 32-bit times, then one with 64-bit times, each after a header.
    head = struct.Struct(">4s1s15x6I")
    _, _, utc, std, leaps, times, types, letters = head.unpack_from(data)
    second = 44 + times * 5 + types * 6 + letters + leaps * 8 + std + utc
    magic, _, _, _, _, times, _, _ = head.unpack_from(data, second)
    assert magic == b"TZif"
    listed = struct.unpack_from(f">{times}q", data, second + 44)
    return zone, (max(listed) if listed else 0) - int(EPOCH.timestamp())


def offset_s(zone: ZoneInfo, wall_s: int) -> int:
    offset = (EPOCH + timedelta(seconds=wall_s)).astimezone(zone).utcoffset()
    assert offset is not None
    return int(offset.total_seconds())


@cache
def transitions(name: str) -> list[tuple[int, int, int]]:
    """(UTC second, offset before, offset after) of each, from the last rule change to 2099."""
    zone, last_listed_s = tables(name)
    found = []
    at_s = max(last_listed_s, 3 * 86400)
    end_s = seconds(LAST)
    while at_s < end_s:
        step_s = min(20 * 86400, end_s - at_s)
        if offset_s(zone, at_s) != offset_s(zone, at_s + step_s):
            low_s, high_s = at_s, at_s + step_s
            while high_s - low_s > 1:
                middle_s = (low_s + high_s) // 2
                if offset_s(zone, middle_s) == offset_s(zone, low_s):
                    low_s = middle_s
                else:
                    high_s = middle_s
            found.append((high_s, offset_s(zone, low_s), offset_s(zone, high_s)))
        at_s += step_s
    return found


def local_time(name: str) -> LocalTime:
    return LocalTime(HubPart(HUB | rule(name)))


def reference_wall_s(zone: ZoneInfo, local_s: int) -> int:
    """UTC second of a local time that exists; the first of two (PEP 495: fold=0)."""
    naive = EPOCH.replace(tzinfo=None) + timedelta(seconds=local_s)
    return seconds(naive.replace(tzinfo=zone, fold=0).astimezone(UTC))


def test_every_day_from_1970_to_2100() -> None:
    at = date(1970, 1, 1)
    day = (at - date(2000, 1, 1)).days
    while at < date(2101, 1, 1):
        assert day_of(at.year, at.month, at.day) == day
        assert date_of(day) == (at.year, at.month, at.day)
        assert (day + FIRST_WEEKDAY) % 7 == at.weekday()
        at += timedelta(days=1)
        day += 1
    assert day == 101 * 365 + 25


@pytest.mark.parametrize("year", [1600, 1900, 1970, 1999, 2000, 2024, 2026, 2034, 2099, 2100, 2400])
def test_lengths_of_months(year: int) -> None:
    for month in range(1, 13):
        days = day_of(year, month + 1, 1) - day_of(year, month, 1)
        assert days == calendar.monthrange(year, month)[1]


def test_the_second_that_leaves_the_31_bit_small_int() -> None:
    """2^30 seconds after 2000-01-01 is in 2034: a board's small integers end there."""
    assert EPOCH + timedelta(seconds=2**30) == datetime(2034, 1, 9, 13, 37, 4, tzinfo=UTC)
    time = local_time("America/Chicago")
    for wall_s in range(2**30 - 3, 2**30 + 3):
        assert time.local_s(wall_s) == wall_s - 21600
        assert time.wall_s(wall_s - 21600) == wall_s


def test_the_list_has_what_it_claims() -> None:
    moves = {name: [after - before for _, before, after in transitions(name)] for name in ZONES}
    assert {name for name in ZONES if moves[name]} == {name for name in ZONES if ZONES[name]}
    assert sum(ZONES.values()) >= 12
    assert {abs(moved) for moved in moves["Australia/Lord_Howe"]} == {1800}
    assert rule("Europe/Dublin")["dst_s"] < rule("Europe/Dublin")["std_s"]
    assert rule("America/Nuuk")["on_s"] < 0
    assert rule("Asia/Jerusalem")["on_s"] > 86400


@pytest.mark.parametrize("name", ZONES)
def test_every_transition_to_2099(name: str) -> None:
    zone, last_listed_s = tables(name)
    time = local_time(name)
    found = transitions(name)
    if ZONES[name]:  # twice a year, from the first whole year of the rule on
        first_year = (EPOCH + timedelta(seconds=max(last_listed_s, 0))).year + 1
        assert len(found) >= 2 * (2100 - first_year)
    for at_s, before_s, after_s in found:
        for wall_s, expected_s in ((at_s - 1, before_s), (at_s, after_s), (at_s + 1, after_s)):
            assert time.local_s(wall_s) == wall_s + expected_s
        moved_s = after_s - before_s
        if moved_s > 0:  # local times in the gap: the first valid instant after it
            for local_s in range(at_s + before_s, at_s + after_s, 299):
                assert time.wall_s(local_s) == at_s
            assert time.wall_s(at_s + after_s - 1) == at_s
            edges = (at_s + before_s - 1, at_s + after_s, at_s + after_s + 1)
        else:  # the repeated time: its first occurrence
            for local_s in range(at_s + after_s, at_s + before_s, 299):
                assert time.wall_s(local_s) == local_s - before_s
            edges = (at_s + after_s - 1, at_s + before_s - 1, at_s + before_s)
        for local_s in edges:
            assert time.wall_s(local_s) == reference_wall_s(zone, local_s)


@pytest.mark.parametrize("name", ZONES)
def test_the_hours_between_transitions(name: str) -> None:
    zone, last_listed_s = tables(name)
    time = local_time(name)
    for wall_s in range(max(last_listed_s, 3 * 86400), seconds(LAST), 97 * 3601):
        assert time.local_s(wall_s) - wall_s == offset_s(zone, wall_s)
