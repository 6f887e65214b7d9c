"""Half the step of a section changes what becomes of a house by next to nothing.

Some seeds of rain's hours, eight years of Tunis (the package aquacrop, a carrier of the file
only), four unlike sides, watered by a calendar: yearly movement of the edges and the worst
difference between two of them, together in percent of the same unwatered.
"""

import numpy as np
import pytest
from numpy.typing import NDArray

from evenclay.sim.ground.plausible import usual_suction_pf
from evenclay.sim.section import (
    BARE,
    SHRUBS,
    Days,
    Ground,
    Section,
    Zone,
    settled,
    weighted_suction,
)
from evenclay.sim.section.layout import EDGE
from evenclay.sim.weather import hourly
from evenclay.sim.weather import record as weather
from tests.published.test_real_weather import package_file

Floats = NDArray[np.float64]

DEEP_PF = usual_suction_pf(-30.0)  # by the index of Tunis
SIDES = (
    Zone(coefficient=1.1, yard_coefficient=0.9),
    Zone(coefficient=0.7, exposure=0.5, cover=SHRUBS),
    Zone(coefficient=0.5, cover=BARE),
    Zone(coefficient=0.8, exposure=0.8, cover=SHRUBS),
)
YEARS = 8
HOURS = YEARS * 365 * 24


def moved(ground: Ground, days: Days) -> float:
    """Yearly movement, mean of the sides, and yearly tilt of the worst pair [pF m]."""
    edges = weighted_suction(days.pf[:, :, EDGE], ground.layout.edges_m, ground.footing_m, 1.5)
    years = edges.reshape(YEARS, 365, len(SIDES))
    apart = years[:, :, :, None] - years[:, :, None, :]
    return float(np.ptp(years, axis=1).mean() + np.ptp(apart, axis=1).mean(axis=0).max())


@pytest.mark.parametrize("seeds", [3, pytest.param(8, marks=pytest.mark.slow)])
def test_half_the_step_moves_the_unrest_of_no_seed_by_more_than_a_point(seeds: int) -> None:
    path = package_file("aquacrop", "aquacrop/data/tunis_climate.txt")
    record = weather.read(path, latitude_deg=36.8)
    ground = Ground()
    summer = (1.0 - np.cos(2.0 * np.pi * (np.arange(HOURS) // 24) / 365.0)) / 2.0
    calendar = np.zeros((HOURS, len(SIDES)))
    need_mm = np.array([5.0, 3.5, 2.5, 4.0])
    for hour in (2, 4):
        calendar[hour::24] = summer[hour::24, None] * need_mm / 2.0
    first = hourly.hourly(record, 1)
    begun = settled(ground, SIDES, first.rain_mm, first.et0_mm, deep_pf=DEEP_PF, keep=False)
    start = begun.section.snapshot()
    off = []
    for seed in range(1, 1 + seeds):
        hours = hourly.hourly(record, seed)
        rain_mm, et0_mm = hours.rain_mm[:HOURS], hours.et0_mm[:HOURS]
        unrest = []
        for every_h, parts in ((6, 1), (3, 2)):
            sums = []
            for water in (None, calendar):
                section = Section(ground, SIDES, bottom_pf=DEEP_PF, every_h=every_h, parts=parts)
                section.put_back(start)
                sums.append(moved(ground, section.live(rain_mm, et0_mm, water)))
                assert section.mass_balance_error_mm <= 1e-6
            unrest.append(100.0 * sums[1] / sums[0])
        assert 20.0 < unrest[0] < 120.0
        off.append(unrest[1] - unrest[0])
    assert len(off) == seeds and max(map(abs, off)) <= 1.0, off
