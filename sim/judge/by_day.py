"""A house that lives by days: at each midnight it is said what every strip gets, and it gets that.

The hub decides by the second, but how much it gives it decides by the day. So a search lives
through years by days, some ten times faster than with the whole hub, and the ground is stepped a
week at a time where nobody looks at it. What is given on a day falls at the hours of its cycles.
"""

from collections.abc import Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from evenclay.sim.calendar import HOURS
from evenclay.sim.house.standing import Standing
from evenclay.sim.judge.measures import Record
from evenclay.sim.section.layout import EDGE, INSIDE, STRIP, YARD
from evenclay.sim.section.section import Section
from evenclay.sim.types import Floats
from evenclay.sim.weather.hourly import Hourly

HOUR_S = 3600.0


class Keeper(Protocol):
    """Who waters.

    every_days: how often it looks at the ground. cycles_h: hours of the day at which water falls.
    """

    every_days: int
    cycles_h: Sequence[int]

    def look(self, day: int, ground: Section) -> None:
        """See the ground as a day begins."""

    def water_mm(self, day: int) -> Sequence[float]:
        """What each strip gets on a day, by the flow that the plan knows."""


class Lived:
    """What came of it.

    record: daily mean pF. yard_pf: of the yards, (days, zones, layers). given_mm: (days, zones),
    as it came out of the hoses. litres: of each day, (days, zones).
    """

    def __init__(self, pf: NDArray[np.float32], given_mm: Floats, area_m2: Floats) -> None:
        self.record = Record(
            *(pf[:, :, place].astype(np.float64) for place in (EDGE, INSIDE, STRIP))
        )
        self.yard_pf = pf[:, :, YARD].astype(np.float64)
        self.given_mm = given_mm
        self.litres = given_mm * area_m2


def live_by_day(standing: Standing, by_hour: Hourly, keeper: Keeper | None) -> Lived:
    """Live through hours of weather, whole days. It ends the life before on the same ground."""
    section = standing.settled.section
    section.put_back(standing.start)
    hours = section.hours(by_hour.rain_mm, by_hour.et0_mm)
    days = len(by_hour.rain_mm) // HOURS
    room = section.room(days)
    given_mm = np.zeros((days, len(standing.strips)))
    flow = np.array([zone.flow_factor for zone in standing.ground.zones])
    rate_mm_h = np.array([strip.rate_mm_h for strip in standing.strips])
    for first in range(0, days, keeper.every_days if keeper else days):
        last = days
        if keeper:
            last = min(first + keeper.every_days, days)
            keeper.look(first, section)
            for day in range(first, last):
                given_mm[day] = np.asarray(keeper.water_mm(day)) * flow
            _pour(hours.water_m, hours.water_s, given_mm, rate_mm_h, keeper.cycles_h, first, last)
        section.go_on(hours, HOURS * first, HOURS * last, room)
    area_m2 = np.array([strip.area_m2 for strip in standing.strips])
    return Lived(room.pf, given_mm, area_m2)


def _pour(
    water_m: Floats,
    water_s: Floats,
    given_mm: Floats,
    rate_mm_h: Floats,
    cycles_h: Sequence[int],
    first: int,
    last: int,
) -> None:
    """Let the water of some days fall in the hours of its cycles."""
    each_mm = given_mm[first:last] / max(len(cycles_h), 1)  # none: nothing is given
    for hour in cycles_h:
        water_m[HOURS * first + hour : HOURS * last : HOURS] += each_mm / 1000.0
    takes_s = np.clip(each_mm / rate_mm_h * HOUR_S, 10.0, HOUR_S)
    for hour in set(cycles_h):
        water_s[HOURS * first + hour : HOURS * last : HOURS] = takes_s
