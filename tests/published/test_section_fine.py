"""The coarse section beside a fine two-dimensional solution of the same physics, three years.

Weather: Tunis 1979-1981, from the package aquacrop, a carrier of the file only; its latitude, 36.8
degrees north, is assumed. The strip is bare, which bends suction most, and is watered or not.
"""

import numpy as np
import pytest

from evenclay.sim.ground.plausible import usual_suction_pf
from evenclay.sim.section import BARE, Ground, Zone, settled
from evenclay.sim.weather import hourly
from evenclay.sim.weather import record as weather
from evenclay.tools.dev.models.fine_section import compare
from tests.published.test_real_weather import package_file

DEEP_PF = usual_suction_pf(-30.0)  # by the index of Tunis
STRIP = Zone(coefficient=0.5, cover=BARE, slab_m=0.3)
GROUNDS = {
    "tight": Ground(alpha_cm2_s=0.0003, matrix_mm_d=0.05, surface_mm_h=0.5),
    "middle": Ground(),
    "free": Ground(alpha_cm2_s=0.003, matrix_mm_d=5.0, surface_mm_h=50.0),
}


@pytest.mark.parametrize(
    ("name", "years"),
    [
        ("middle", 1),
        *[pytest.param(name, 3, marks=pytest.mark.slow) for name in GROUNDS],
    ],
)
def test_coarse_and_fine_agree(name: str, years: int) -> None:
    hours_long = years * 365 * 24
    path = package_file("aquacrop", "aquacrop/data/tunis_climate.txt")
    hours = hourly.hourly(weather.read(path, latitude_deg=36.8), 1)
    day = np.arange(hours_long) // 24 % 365
    summer = (1.0 - np.cos(2.0 * np.pi * day / 365.0)) / 2.0
    given_mm = np.where(np.arange(hours_long) % 24 == 4, 2.5 * summer, 0.0)
    rain_mm, et0_mm = hours.rain_mm[:hours_long], hours.et0_mm[:hours_long]
    edges = []
    for water_mm in (np.zeros(hours_long), given_mm):
        start = settled(
            GROUNDS[name], [STRIP], hours.rain_mm, hours.et0_mm, deep_pf=DEEP_PF, keep=False
        )
        found = compare(GROUNDS[name], STRIP, start, DEEP_PF, rain_mm, et0_mm, water_mm)
        assert abs(found.balance_mm) <= 1e-6
        for place in ("strip", "edge", "inner", "inside"):
            assert found.rmse_pf[place] <= 0.1, place
        for place in ("edge", "inner", "inside"):
            assert found.layer_pf[place] <= 0.1, place
        edges.append(found.movement_pf_m["edge"])
    coarse, fine = (100.0 * edges[1][which] / edges[0][which] for which in (0, 1))
    assert coarse == pytest.approx(fine, abs=5.0)  # percent of the unwatered edge's movement
