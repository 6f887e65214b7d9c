"""Wall clocks: a DS3231 over I2C, or the chip's own, both with `the clock was lost`.

Dates are read field by field, so the port's epoch (1970 or 2000) never enters. `wall_s` is UTC
seconds since 2000-01-01.
"""

from evenclay.controller import TYPE_CHECKING, const
from evenclay.controller.civil import FIRST_WEEKDAY, date_of, day_of
from evenclay.controller.limits import WALL_MAX

if TYPE_CHECKING:
    from typing import Protocol

    from machine import I2C, RTC

    class Source(Protocol):
        """A clock chip."""

        def get(self) -> "int | None":
            """UTC seconds since 2000-01-01, or None if the clock was lost. May raise OSError."""

        def set(self, wall_s: int) -> None:
            """Set it, and forget that it was lost. May raise OSError."""


ADDRESS = const(0x68)
_REG_ALARM = const(0x07)
_REG_CONTROL = const(0x0E)
_REG_STATUS = const(0x0F)
_STOPPED = const(0x80)  # status: the oscillator has stopped since this was last cleared
_ALARM_FIRED = const(0x01)  # status
_ALARM_ON = const(0x05)  # control: the pin is an interrupt line, and alarm 1 pulls it low
_ALARM_OFF = const(0x04)
_TRIES = const(3)

# A chip that lost power counts from a year long past (2000 and 2021 are common); no hub was ever
# set before this one.
_SET_LEAST_YEAR = const(2025)

SYNC_S = const(600)  # between looks at the chip: a crystal drifts 0.06 s in that time at 100 ppm
KEEP_S = const(86400)  # a chip that does not answer is done without for so long


class Clock:
    """Wall time: looked up at the chip now and then, and counted on by uptime between."""

    def __init__(self, source: "Source") -> None:
        self._source = source
        self._base_s: "int | None" = None
        self._base_up_s = 0
        self._sync_up_s = 0

    def wall_s(self, up_s: int) -> "int | None":
        """UTC seconds since 2000-01-01, or None: lost. Raises OSError if the chip is mute."""
        if up_s >= self._sync_up_s:
            self._sync(up_s)
        base_s = self._base_s
        return None if base_s is None else base_s + up_s - self._base_up_s

    def set(self, wall_s: int, up_s: int) -> None:
        """Set the chip. Raises ValueError out of its range, OSError if it does not answer."""
        if not day_of(_SET_LEAST_YEAR, 1, 1) * 86400 <= wall_s < WALL_MAX:
            raise ValueError("not a time to set a clock to")
        self._source.set(wall_s)
        self._sync(up_s)

    def _sync(self, up_s: int) -> None:
        try:
            self._base_s = self._source.get()
        except OSError:
            if self._base_s is None or up_s - self._base_up_s > KEEP_S:
                self._base_s = None
                raise
            return
        self._base_up_s = up_s
        self._sync_up_s = up_s + SYNC_S


class Ds3231:
    """The chip, on an I2C bus; its flag of a stopped oscillator says that the time was lost."""

    def __init__(self, i2c: "I2C") -> None:
        self._i2c = i2c

    def get(self) -> "int | None":
        """UTC seconds since 2000-01-01; None if it stopped, or was never set by us."""
        if self._read(_REG_STATUS, 1)[0] & _STOPPED:
            return None
        raw = self._read(0, 7)
        if raw[2] & 0x40:  # twelve-hour mode: not our setting
            return None
        return _wall_s(
            2000 + _number(raw[6]),
            _number(raw[5] & 0x1F),
            _number(raw[4]),
            _number(raw[2]),
            _number(raw[1]),
            _number(raw[0]),
        )

    def set(self, wall_s: int) -> None:
        """Set date and time, then clear the flag."""
        day, second = divmod(wall_s, 86400)
        year, month, of_month = date_of(day)
        fields = (
            second % 60,
            second // 60 % 60,
            second // 3600,
            (day + FIRST_WEEKDAY) % 7 + 1,
            of_month,
            month,
            year - 2000,
        )
        self._write(0, bytes([_bcd(value) for value in fields]))
        status = self._read(_REG_STATUS, 1)[0]
        self._write(_REG_STATUS, bytes([status & ~_STOPPED & 0xFF]))

    def arm(self, wall_s: int) -> None:
        """Pull the chip's interrupt line low at `wall_s`, within a month: a hardware wake."""
        day, second = divmod(wall_s, 86400)
        fields = (second % 60, second // 60 % 60, second // 3600, date_of(day)[2])
        self._write(_REG_ALARM, bytes([_bcd(value) for value in fields]))
        self._clear_alarm()
        self._write(_REG_CONTROL, bytes([_ALARM_ON]))
        if self._read(_REG_CONTROL, 1)[0] & _ALARM_ON != _ALARM_ON:
            raise OSError("clock: alarm not taken")

    def disarm(self) -> None:
        """Let go of the interrupt line."""
        self._write(_REG_CONTROL, bytes([_ALARM_OFF]))
        self._clear_alarm()

    def _clear_alarm(self) -> None:
        status = self._read(_REG_STATUS, 1)[0]
        self._write(_REG_STATUS, bytes([status & ~_ALARM_FIRED & 0xFF]))

    def _read(self, register: int, size: int) -> bytes:
        for left in range(_TRIES - 1, -1, -1):
            try:
                return self._i2c.readfrom_mem(ADDRESS, register, size)
            except OSError:
                if not left:
                    raise
        return b""

    def _write(self, register: int, data: bytes) -> None:
        for left in range(_TRIES - 1, -1, -1):
            try:
                self._i2c.writeto_mem(ADDRESS, register, data)
                return
            except OSError:
                if not left:
                    raise


class ChipClock:
    """The microcontroller's own clock: it loses the time with its power, and drifts more."""

    def __init__(self, rtc: "RTC") -> None:
        self._rtc = rtc

    def get(self) -> "int | None":
        """UTC seconds since 2000-01-01; None if it has not been set since power came."""
        year, month, day, _, hour, minute, second, _ = self._rtc.datetime()
        if year < _SET_LEAST_YEAR:
            return None
        return _wall_s(year, month, day, hour, minute, second)

    def set(self, wall_s: int) -> None:
        """Set date and time."""
        day, second = divmod(wall_s, 86400)
        year, month, of_month = date_of(day)
        self._rtc.datetime(
            (
                year,
                month,
                of_month,
                (day + FIRST_WEEKDAY) % 7,
                second // 3600,
                second // 60 % 60,
                second % 60,
                0,
            )
        )


def _wall_s(year: int, month: int, day: int, hour: int, minute: int, second: int) -> int:
    """Seconds since 2000-01-01 of a date and time. Raises OSError where there is no such moment."""
    if not (
        2000 <= year <= 2099
        and 1 <= month <= 12
        and date_of(day_of(year, month, day)) == (year, month, day)
        and 0 <= hour <= 23
        and 0 <= minute <= 59
        and 0 <= second <= 59
    ):
        raise OSError("clock: not a time")
    return day_of(year, month, day) * 86400 + hour * 3600 + minute * 60 + second


def _number(bcd: int) -> int:
    """Value of two decimal digits. Raises OSError if one is not a digit."""
    tens, ones = bcd >> 4, bcd & 0x0F
    if tens > 9 or ones > 9:
        raise OSError("clock: not a number")
    return tens * 10 + ones


def _bcd(value: int) -> int:
    return value // 10 << 4 | value % 10
