"""A strip kept at a target by somebody who knows the truth each midnight: for trials of the ground.

It is no hub: no plan, no hose, no rules. It says what the ground does when it is watered.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from evenclay.sim.calendar import HOURS
from evenclay.sim.section import Days, Section
from evenclay.sim.types import Floats

MOST_MM = 8.0  # a day
MM_PER_PF = 63.0  # what 0.7 m of the middle ground holds
AT_HOURS = (2, 4)  # half of a day's water in each


def kept(
    section: Section, rain_mm: Floats, et0_mm: Floats, target_pf: ArrayLike | None
) -> tuple[Days, Floats]:
    """Live through whole days; a strip that is drier than its target gets what it lacks.

    target_pf: mean pF at 0.3-1.0 m of each strip; None: nobody waters. Returns the days, and what
    was given on each [mm], (days, zones).
    """
    hours = section.hours(rain_mm, et0_mm)
    days = len(rain_mm) // HOURS
    room, given_mm = section.room(days), np.zeros((days, len(section.zones)))
    if target_pf is None:
        section.go_on(hours, 0, days * HOURS, room)
        return room, given_mm
    for day in range(days):
        lack_pf = section.strip_pf() - np.asarray(target_pf)
        given_mm[day] = np.clip(MM_PER_PF * lack_pf, 0.0, MOST_MM)
        for hour in AT_HOURS:
            hours.water_m[HOURS * day + hour] = given_mm[day] / 1000.0 / len(AT_HOURS)
        section.go_on(hours, HOURS * day, HOURS * (day + 1), room)
    return room, given_mm


def repeated(hours: Sequence[float] | Floats, years: float) -> Floats:
    """Hours lived again and again until there are so many years, in whole days."""
    wanted = round(years * 365.25) * HOURS
    return np.resize(np.asarray(hours, dtype=np.float64), wanted)
