"""Which days a house lives through on its ground, and the climate it has settled in before."""

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from evenclay.controller.civil import day_of
from evenclay.sim.house.house import House
from evenclay.sim.house.site import Sky
from evenclay.sim.replay.span import CYCLE_DAYS, Span, sky_of
from evenclay.sim.weather.generator import months_and_days
from evenclay.sim.weather.hourly import Hourly, hourly
from evenclay.sim.weather.record import Weather

YEAR_DAYS = 365.25


@dataclass(frozen=True)
class Stay:
    """What a house lives through.

    span: the days lived, all of them judged. climate: the whole record, from the day of the year on
    which these begin: the house has settled in it before. asked_days: of those lived, the days that
    were asked for; the others are the same weather again.
    """

    span: Span
    climate: Weather
    asked_days: int

    @property
    def months(self) -> NDArray[np.int64]:
        """Month of each day lived, 1..12: that of its weather, however often that comes again."""
        months, _ = months_and_days(self.span.first_day, self.asked_days)
        return np.resize(months + 1, self.span.scored_days)


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
    begins = (asked.first_day - record.first_day).days
    rolled = [(begins + day) % record.days for day in range(record.days)]
    climate = record.picked(asked.first_day, rolled)
    shift_days = 0
    while day_of(lived.first_day.year, lived.first_day.month, lived.first_day.day) + shift_days < 2:
        shift_days += CYCLE_DAYS
    notes = [*asked.notes]
    if lived_days > asked.days:
        notes.insert(0, f"{asked.days} days of weather are lived again and again, {years:g} years")
    return Stay(Span(lived, 0, shift_days, tuple(notes)), climate, asked.days)


def weather_of(house: House, stay: Stay, seed: int) -> tuple[Sky, Hourly, Hourly]:
    """The sky over the days lived, their hours, and the hours of the climate before them."""
    sky, by_hour = sky_of(house, stay.span, seed)
    return sky, by_hour, hourly(stay.climate, seed)
