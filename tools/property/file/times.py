"""Times of the day and days of the year of a property file, as people write them."""

import re
from calendar import month_name, monthrange
from typing import Any

from pydantic import BeforeValidator

from evenclay.tools.property.file.rules import Rule

_CLOCK = re.compile(r"([01]?\d|2[0-4]):([0-5]\d)")
_HALF_DAY = re.compile(r"(1[0-2]|0?[1-9])(?::([0-5]\d))?\s*([ap])\.?\s*m\.?")
_NAMED_MINUTES = {"midnight": 0, "noon": 720}
_YEAR_MONTH = re.compile(r"((?:18|19|20)\d\d)-(0[1-9]|1[0-2])")
_MONTH_DAY = re.compile(r"(\d\d)-(\d\d)")
_DAY = r"(\d{1,2})(?:st|nd|rd|th)?"
_NAMED_DAY = re.compile(rf"([a-z]{{3,9}})\.?\s+{_DAY}|{_DAY}\s+(?:of\s+)?([a-z]{{3,9}})\.?")
_SLASHED = re.compile(r"\d{1,2}[/.]\d{1,2}\.?")  # nobody can tell which of the two is the month
_MONTHS = [name.lower() for name in month_name[1:]]


def _minute(clock: str) -> int:
    """Minutes from midnight, 0 to 1440, of "HH:MM" or of a time such as "9:30 pm"."""
    clock = clock.strip().lower()
    if clock in _NAMED_MINUTES:
        return _NAMED_MINUTES[clock]
    match = _CLOCK.fullmatch(clock)
    if match is not None:
        minute = int(match[1]) * 60 + int(match[2])
        if minute <= 1440:
            return minute
    match = _HALF_DAY.fullmatch(clock)
    if match is not None:
        return int(match[1]) % 12 * 60 + int(match[2] or 0) + 720 * (match[3] == "p")
    raise ValueError("")


def time_of_day() -> BeforeValidator:
    """Rule for "HH:MM", or "6:30 am"; gives minutes from midnight, 0 to 1439."""

    def read(value: Any) -> int:
        if not isinstance(value, str) or _minute(value) == 1440:
            raise ValueError("")
        return _minute(value)

    return BeforeValidator(
        Rule('a time of the day "HH:MM", "00:00" to "23:59", or as "6:30 am"', read)
    )


def hours() -> BeforeValidator:
    """Rule for "HH:MM-HH:MM", or "9 pm-6 am"; gives first and last minute of the day.

    May cross midnight.
    """

    def read(value: Any) -> tuple[int, int]:
        if not isinstance(value, str):
            raise ValueError("")
        first, last = [_minute(part) for part in _two_sides(value)]
        if first == 1440 or first == last:
            raise ValueError("")
        return first, last

    return BeforeValidator(Rule('hours "HH:MM-HH:MM", such as "20:00-06:00" or "8 pm-6 am"', read))


def _two_sides(value: str) -> list[str]:
    """Return what stands on the two sides of a "to" or of a hyphen."""
    parts = re.split(r"\s+to\s+|\s*[-\u2013]\s*", value.strip())
    if len(parts) != 2:
        raise ValueError("")
    return parts


def _month_and_day(value: str) -> tuple[int, int]:
    """Month and day of "MM-DD", or of "June 1" or "1 June"."""
    match = _MONTH_DAY.fullmatch(value)
    if match is not None:
        month, day = int(match[1]), int(match[2])
    else:
        match = _NAMED_DAY.fullmatch(value.strip().lower())
        if match is None:
            raise ValueError("month or day first?" if _SLASHED.fullmatch(value.strip()) else "")
        name = match[1] or match[4]
        months = [m for m, full in enumerate(_MONTHS, 1) if full.startswith(name)]
        if not months:
            raise ValueError("")
        month, day = months[0], int(match[2] or match[3])
    if not 1 <= month <= 12 or not 1 <= day <= monthrange(2000, month)[1]:
        raise ValueError("no such day")
    return month, day


def month_day() -> BeforeValidator:
    """Rule for "MM-DD", or "June 1"; gives month and day."""

    def read(value: Any) -> tuple[int, int]:
        if not isinstance(value, str):
            raise ValueError("")
        return _month_and_day(value)

    return BeforeValidator(Rule('a day of the year "MM-DD", such as "05-01", or "May 1"', read))


def year_month() -> BeforeValidator:
    """Rule for "YYYY-MM"; gives year and month."""

    def read(value: Any) -> tuple[int, int]:
        match = _YEAR_MONTH.fullmatch(value.strip()) if isinstance(value, str) else None
        if match is None:
            raise ValueError("")
        return int(match[1]), int(match[2])

    return BeforeValidator(Rule('a year and month "YYYY-MM", such as "2021-05"', read))


def dates() -> BeforeValidator:
    """Rule for "MM-DD to MM-DD", or "June 1 to August 31", both included; two months and days."""

    def read(value: Any) -> tuple[tuple[int, int], tuple[int, int]]:
        if not isinstance(value, str):
            raise ValueError("")
        parts = re.split(r"\s+(?:to|-|\u2013)\s+", value.strip())
        if len(parts) != 2:
            raise ValueError("")
        return _month_and_day(parts[0]), _month_and_day(parts[1])

    allowed = 'dates "MM-DD to MM-DD", or "June 1 to August 31", both included'
    return BeforeValidator(Rule(allowed, read))
