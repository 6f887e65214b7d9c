"""The dual crop coefficient against FAO-56 chapter 7.

Source: Allen, Pereira, Raes & Smith 1998, FAO Irrigation and Drainage Paper 56, eq. 69-79 and
table 19. Figures "computed" are from its equations by hand.
"""

import importlib.metadata
from dataclasses import replace

import numpy as np
import pytest

from evenclay.sim.section import BARE, Ground, Section, Zone
from evenclay.sim.weather import hourly
from evenclay.sim.weather import record as weather
from evenclay.tools.dev.models import dual_kc
from evenclay.tools.dev.models.dual_kc import Surface

# Mid values of table 19; the printed range of TEW (Ze 0.10 m) is from memory.
TABLE_19 = [
    ("loam", 0.25, 0.12, 16.0, 22.0),
    ("silt loam", 0.29, 0.15, 18.0, 25.0),
    ("silty clay", 0.36, 0.23, 22.0, 28.0),
    ("clay", 0.36, 0.22, 22.0, 29.0),
]


@pytest.mark.parametrize(("soil", "capacity", "wilting", "low", "high"), TABLE_19)
def test_tew_of_table_19(
    soil: str, capacity: float, wilting: float, low: float, high: float
) -> None:
    assert low <= dual_kc.tew_mm(capacity, wilting) <= high, soil


def test_tew_of_clay_by_depth() -> None:
    assert dual_kc.tew_mm(0.36, 0.22) == pytest.approx(25.0)
    assert dual_kc.tew_mm(0.36, 0.22, 0.15) == pytest.approx(37.5)


def test_kr_is_one_to_rew_and_then_a_straight_line_to_tew() -> None:
    kr = dual_kc.evaporation_kr([0.0, 5.0, 9.0, 14.5, 20.0, 25.0], 20.0, 9.0)
    assert kr.tolist() == pytest.approx([1.0, 1.0, 1.0, 0.5, 0.0, 0.0])


def test_kc_max_at_the_standard_climate_is_1_20() -> None:
    # Eq. 72 at RHmin 45 % and 2 m/s, whatever the height; Kcb + 0.05 where that is more.
    assert dual_kc.kc_max(0.15, 2.0, 45.0, [0.1, 1.0, 3.0]).tolist() == pytest.approx([1.2] * 3)
    assert float(dual_kc.kc_max(1.18, 2.0, 45.0, 1.0)) == pytest.approx(1.23)


def test_climate_adjustment_computed_from_eq_70() -> None:
    # 0.04 x (4 - 2) - 0.004 x (25 - 45) = 0.16, times (0.3/3)^0.3 = 0.50119
    assert float(dual_kc.drying_power(4.0, 25.0, 0.3)) == pytest.approx(0.080190, abs=1e-6)
    assert float(dual_kc.kcb_adjusted(0.9, 4.0, 25.0, 0.3)) == pytest.approx(0.980190, abs=1e-6)
    assert float(dual_kc.kcb_adjusted(0.15, 4.0, 25.0, 0.3)) == 0.15


def test_cover_and_few_computed_from_eq_75_and_76() -> None:
    # ((0.30 - 0.15) / (1.20 - 0.15))^(1 + 0.5 x 0.3) = 0.142857^1.15 = 0.106700
    assert dual_kc.covered_share(0.30, 1.2, 0.3) == pytest.approx(0.10670, abs=1e-5)
    assert dual_kc.covered_share(0.10, 1.2, 0.3) == 0.0
    assert dual_kc.wet_bare_share(0.75, 1.0) == pytest.approx(0.25)
    assert dual_kc.wet_bare_share(0.25, 0.4) == pytest.approx(0.4)
    assert float(dual_kc.soil_ke(1.0, 0.30, 1.2, 0.4)) == pytest.approx(0.48)
    assert float(dual_kc.soil_ke(0.5, 0.30, 1.2, 0.4)) == pytest.approx(0.45)


def test_bare_loam_dries_after_a_heavy_rain() -> None:
    # Chapter 7 dries a bare loam for ten days after heavy rain with Kcb 0.15, ET0 4.5 mm/d,
    # TEW 20, REW 9 mm, RHmin 45 %, 2 m/s (this set-up is from memory). What follows is computed:
    # Ke = 1.05 until 9 mm are gone; then what is left shrinks by 4.725 / 11 each day.
    loam = Surface(kcb=0.15, height_m=0.0, tew_mm=20.0, rew_mm=9.0)
    days = dual_kc.run(loam, np.full(10, 4.5), np.zeros(10))
    assert days.ke[:2].tolist() == pytest.approx([1.05, 1.05])
    assert days.depletion_mm[:3].tolist() == pytest.approx([4.725, 9.45, 13.9818], abs=1e-4)
    left = 20.0 - days.depletion_mm
    assert (left[2:] / left[1:-1]).tolist() == pytest.approx([1.0 - 4.725 / 11.0] * 8)
    assert days.kc.tolist() == pytest.approx((0.15 + days.ke).tolist())
    assert days.evaporation_mm.sum() == pytest.approx(days.depletion_mm[-1])
    assert days.evaporation_mm.sum() < 20.0


@pytest.mark.parametrize("wetted", [1.0, 0.4])
@pytest.mark.parametrize("kcb", [0.0, 0.5, 0.9])
def test_water_is_conserved(kcb: float, wetted: float) -> None:
    random = np.random.default_rng(3)
    et0 = random.uniform(0.0, 9.0, 400)
    water = np.where(random.random(400) < 0.2, random.gamma(0.8, 9.0, 400), 0.0)
    strip = Surface(kcb, 0.2, dual_kc.tew_mm(0.36, 0.22), 10.0, wetted=wetted)
    days = dual_kc.run(strip, et0, water, depletion_mm=7.0)
    most = float(dual_kc.kc_max(kcb, 2.0, 45.0, 0.2))
    few = dual_kc.wet_bare_share(dual_kc.covered_share(kcb, most, 0.2), wetted)
    change = days.evaporation_mm.sum() / few + days.percolation_mm.sum() - water.sum() / wetted
    assert days.depletion_mm[-1] == pytest.approx(7.0 + change, abs=1e-9)
    assert np.all((days.depletion_mm >= 0.0) & (days.depletion_mm <= strip.tew_mm + 1e-9))
    assert np.all(days.kc <= most + 1e-9)


def test_a_strip_kept_damp_loses_more_and_mulch_halves_the_soils_share() -> None:
    bare = Surface(0.0, 0.0, 25.0, 10.0)
    mulched = Surface(0.0, 0.0, 25.0, 10.0, evaporated=dual_kc.MULCHED_SHARE)
    et0 = np.full(60, 6.0)
    damp, dry = np.full(60, 3.0), np.zeros(60)
    assert dual_kc.run(bare, et0, dry).kc.mean() < 0.1
    # What goes on, evaporates: 3 of 6 mm a day is the coefficient of 0.5 in the long run.
    assert dual_kc.run(bare, et0, damp).kc[-10:].mean() == pytest.approx(0.5, abs=0.02)
    first = slice(0, 1)
    half = dual_kc.run(mulched, et0, damp).ke[first] / dual_kc.run(bare, et0, damp).ke[first]
    assert half.tolist() == pytest.approx([0.5])


def test_turf_uses_about_its_basal_coefficient_once_it_covers_the_ground() -> None:
    turf = Surface(kcb=0.9, height_m=0.1, tew_mm=25.0, rew_mm=10.0)
    days = dual_kc.run(turf, np.full(30, 5.0), np.zeros(30))
    assert days.kc[0] == pytest.approx(1.2, abs=0.01)
    assert days.kc[-1] == pytest.approx(0.9, abs=0.03)
    with pytest.raises(ValueError, match="readily evaporable"):
        Surface(0.0, 0.0, 10.0, 10.0)


@pytest.mark.parametrize(
    ("package", "path", "latitude"),
    [
        ("aquacrop", "aquacrop/data/tunis_climate.txt", 36.8),
        ("vega_datasets", "vega_datasets/_data/seattle-weather.csv", 47.6),
    ],
)
def test_a_bare_strip_evaporates_as_the_dual_coefficient_has_it(
    package: str, path: str, latitude: float
) -> None:
    # Both get the rain that did not run off the strip, and Kc max x ET0 as what the air asks.
    file = importlib.metadata.distribution(package).locate_file(path)
    record = weather.read(str(file), latitude_deg=latitude)
    hours = hourly.hourly(record, 1)
    yard = Zone(yard_coefficient=0.0, yard_exposure=0.0, yard_reach_m=0.0)
    zone = replace(yard, coefficient=1.2, cover=BARE, slab_m=None)
    days = Section(Ground(), [zone], start_pf=2.5).live(hours.rain_mm, hours.et0_mm).water[:, 0]
    lost_mm, in_mm = days["evaporated_mm"], record.rain_mm - days["rain_runoff_mm"]
    bare = Surface(0.0, 0.0, dual_kc.tew_mm(0.36, 0.22), 10.0)
    dual_mm = dual_kc.run(bare, record.et0_mm, in_mm).evaporation_mm
    assert lost_mm.sum() == pytest.approx(dual_mm.sum(), rel=0.05)
    months = np.arange(record.days) // 30
    by_month = np.corrcoef(np.bincount(months, lost_mm), np.bincount(months, dual_mm))[0, 1]
    assert by_month > 0.95
