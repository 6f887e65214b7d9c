"""Which days of a record a replay lives through, and which of them are scored."""

from dataclasses import dataclass
from datetime import date, timedelta

from evenclay.controller.civil import day_of
from evenclay.controller.limits import DAY_S
from evenclay.sim.calendar import YEAR_DAYS
from evenclay.sim.house.columns import START_PF
from evenclay.sim.house.house import House
from evenclay.sim.house.site import Sky
from evenclay.sim.weather.formats.cells import WeatherError
from evenclay.sim.weather.hourly import Hourly, hourly
from evenclay.sim.weather.record import Weather

CYCLE_DAYS = 10227  # 28 years: weekdays and leap days come again in the same order


@dataclass(frozen=True)
class Span:
    """The weather a replay lives through: spin-up first, then the days that are scored.

    shift_days: how far the hub's calendar is ahead of the weather's own (0 or whole cycles of
    weekdays and leap years), since the hub's time begins in 2000.
    """

    weather: Weather
    spin_up_days: int
    shift_days: int
    notes: tuple[str, ...]

    @property
    def first_day(self) -> date:
        """The first scored day."""
        return self.weather.first_day + timedelta(days=self.spin_up_days)

    @property
    def scored_days(self) -> int:
        """How many days are scored."""
        return self.weather.days - self.spin_up_days


def span_of(weather: Weather, first: date | None = None, last: date | None = None) -> Span:
    """Choose spin-up and scored days.

    Without `first`, a record of more than a year gives its first year to the spin-up. The spin-up
    is the year before the first scored day; where the record does not hold it and a whole year is
    scored, that year's own weather stands in for it; for less than a year there is none.
    Raises: WeatherError for days that the record does not cover.
    """
    longer = weather.days > YEAR_DAYS + 1
    scored_first = first or (anniversary(weather.first_day, 1) if longer else weather.first_day)
    scored_last = last or weather.last_day
    if first is None and scored_last < scored_first:
        raise WeatherError(
            f"the last day, {scored_last}, is before {scored_first}, where the days that count "
            "begin: a record's first year is spin-up unless a first day is given"
        )
    scored = weather.span(scored_first, scored_last)
    before = (scored_first - weather.first_day).days
    if before >= YEAR_DAYS:
        spin_first = max(anniversary(scored_first, -1), weather.first_day)
        whole = weather.span(spin_first, scored.last_day)
        spin_up_days = (scored_first - spin_first).days
        note = f"spin-up, not scored: {spin_first} to {scored_first - timedelta(days=1)}"
    elif scored.days >= YEAR_DAYS:
        spin_up_days = min(scored.days, (anniversary(scored_first, 1) - scored_first).days)
        whole = _doubled(scored, spin_up_days)
        note = "spin-up, not scored: the first year's own weather, run once before it"
    else:
        whole, spin_up_days = scored, 0
        note = f"less than a year: no spin-up; the ground starts at pF {START_PF} everywhere"
    shift_days = 0
    while day_of(*_ymd(whole.first_day)) + shift_days < 2:
        shift_days += CYCLE_DAYS
    return Span(whole, spin_up_days, shift_days, (note, *weather.notes))


def _doubled(weather: Weather, days: int) -> Weather:
    """The first days of a record once more before it."""
    twice = [*range(days), *range(weather.days)]
    return weather.picked(weather.first_day - timedelta(days=days), twice)


def anniversary(day: date, years: int) -> date:
    """The same date some years later; 29 February becomes 1 March."""
    try:
        return day.replace(year=day.year + years)
    except ValueError:
        return date(day.year + years, 3, 1)


def _ymd(day: date) -> tuple[int, int, int]:
    return day.year, day.month, day.day


def sky_of(house: House, span: Span, seed: int) -> tuple[Sky, Hourly]:
    """The hourly weather of a span, on the hub's time."""
    by_hour = hourly(span.weather, seed)
    day = day_of(*_ymd(span.weather.first_day)) + span.shift_days
    return Sky(by_hour, day * DAY_S - house.plan.hub.std_s), by_hour
