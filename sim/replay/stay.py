"""Which days a house lives through on its ground, and the climate it has settled in before."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from evenclay.controller.civil import day_of
from evenclay.controller.limits import DAY_S
from evenclay.sim.house.house import House
from evenclay.sim.house.site import Sky
from evenclay.sim.weather.daily import Weather
from evenclay.sim.weather.generator import months_and_days
from evenclay.sim.weather.hourly import Hourly, hourly

YEAR_DAYS = 365.25
CYCLE_DAYS = 10227  # 28 years: weekdays and leap days come again in the same order


@dataclass(frozen=True)
class Stay:
    """What a house lives through.

    weather: of the days lived, all of them judged. climate: a whole record, from the day of the
    year on which these begin: the house has settled in it before. asked_days: of those lived, the
    days that were asked for; the others are the same weather again. shift_days: how far the hub's
    calendar is ahead of the weather's own (0 or whole cycles of weekdays and leap years), since the
    hub's time begins in 2000.
    """

    weather: Weather
    climate: Weather
    asked_days: int
    shift_days: int
    notes: tuple[str, ...]

    @property
    def months(self) -> NDArray[np.int64]:
        """Month of each day lived, 1..12: that of its weather, however often that comes again."""
        months, _ = months_and_days(self.weather.first_day, self.asked_days)
        return np.resize(months + 1, self.weather.days)


def stay_of(
    record: Weather, first: date | None = None, last: date | None = None, years: float = 0.0
) -> Stay:
    """Choose the days to live through: those from first to last, all of the record without.

    years: they are lived again and again until there are so many years; 0: once.
    Raises: WeatherError for days that the record does not cover.
    """
    asked = record.span(first or record.first_day, last or record.last_day)
    lived_days = max(asked.days, round(years * YEAR_DAYS))
    lived = asked.picked(asked.first_day, [day % asked.days for day in range(lived_days)])
    notes = [*asked.notes]
    if lived_days > asked.days:
        often = "some of them twice" if lived_days <= 2 * asked.days else "again and again"
        notes.insert(0, f"{asked.days} days of weather are lived, {often}, for {years:g} years")
    begins = (asked.first_day - record.first_day).days
    return _stay(lived, record, begins, asked.days, notes)


def stay_in(lived: Weather, record: Weather) -> Stay:
    """Choose days of other weather, all of them, after a house has settled in a record's climate.

    record: a year at least, so that it has the day of the year on which these begin.
    """
    _, day = months_and_days(record.first_day, record.days)
    _, first = months_and_days(lived.first_day, 1)
    begins = int(np.flatnonzero(day == min(int(first[0]), 365))[0])
    return _stay(lived, record, begins, lived.days, lived.notes)


def _stay(
    lived: Weather, record: Weather, begins: int, asked_days: int, notes: Sequence[str]
) -> Stay:
    """begins: the day of the record, from 0, with which its climate begins."""
    rolled = [(begins + day) % record.days for day in range(record.days)]
    climate = record.picked(lived.first_day, rolled)
    shift_days = 0
    while _day_of(lived.first_day) + shift_days < 2:
        shift_days += CYCLE_DAYS
    return Stay(lived, climate, asked_days, shift_days, tuple(notes))


def _day_of(day: date) -> int:
    return day_of(day.year, day.month, day.day)


def sky_of(house: House, stay: Stay, seed: int) -> tuple[Sky, Hourly]:
    """The sky over the days lived, on the hub's time, and their hours."""
    by_hour = hourly(stay.weather, seed)
    day = _day_of(stay.weather.first_day) + stay.shift_days
    return Sky(by_hour, day * DAY_S - house.plan.hub.std_s), by_hour


def weather_of(house: House, stay: Stay, seed: int) -> tuple[Sky, Hourly, Hourly]:
    """The sky over the days lived, their hours, and the hours of the climate before them."""
    sky, by_hour = sky_of(house, stay, seed)
    return sky, by_hour, hourly(stay.climate, seed)
