"""Sensors against their published formulas, and the faults that real ones show.

Sources: Topp, Davis & Annan 1980 (Water Resour. Res. 16:574-582); Shock, Barnum & Seddigh 1998
(Proc. Irrigation Association, 139-146). Figures beside them are computed from the formulas.
"""

from dataclasses import replace

import numpy as np
import pytest

from evenclay.sim.ground import textures
from evenclay.sim.house import sensors
from evenclay.sim.house.sensors import CapacitiveProbe, TippingBucket
from evenclay.tools.dev.models.granular_matrix import (
    MATRIX_SHORT_KOHM,
    GranularMatrix,
    matrix_kohm,
    matrix_kpa,
)

TOPP = {3: 0.02977, 5: 0.07979, 10: 0.18830, 20: 0.34540, 30: 0.44410, 40: 0.51020}


def permittivity_by_topps_fit(vwc: float) -> float:
    """Topp's own inverse, a separate fit (figures from memory); within 0.013 m3/m3 of the other."""
    return 3.03 + 9.3 * vwc + 146.0 * vwc**2 - 76.7 * vwc**3


@pytest.mark.parametrize("permittivity", TOPP)
def test_topp(permittivity: int) -> None:
    vwc = float(sensors.vwc_from_permittivity(permittivity))
    assert vwc == pytest.approx(TOPP[permittivity], abs=1e-5)
    assert float(sensors.permittivity_from_vwc(vwc)) == pytest.approx(permittivity, abs=1e-3)


def test_topp_outside_of_soil() -> None:
    assert float(sensors.vwc_from_permittivity(1.0)) == pytest.approx(-0.0244, abs=1e-4)
    assert float(sensors.vwc_from_permittivity(81.0)) == pytest.approx(0.989, abs=1e-3)
    assert sensors.permittivity_from_vwc([-1.0, 2.0]).tolist() == [1.0, 81.0]


@pytest.mark.parametrize(
    ("vwc", "back"), [(0.1, 0.0880), (0.2, 0.1906), (0.3, 0.3040), (0.4, 0.4024)]
)
def test_topps_own_inverse_is_a_separate_fit(vwc: float, back: float) -> None:
    found = float(sensors.vwc_from_permittivity(permittivity_by_topps_fit(vwc)))
    assert found == pytest.approx(back, abs=2e-4)
    assert found == pytest.approx(vwc, abs=0.013)


# kohm, deg C, kPa
SHOCK = [
    (0.55, 24.0, 8.31),
    (1.0, 24.0, 10.42),
    (5.0, 10.0, 24.26),
    (5.0, 24.0, 30.44),
    (5.0, 30.0, 34.18),
    (10.0, 24.0, 59.05),
    (15.0, 24.0, 92.58),
    (20.0, 24.0, 132.43),
]


@pytest.mark.parametrize(("kohm", "temp", "kpa"), SHOCK)
def test_shock(kohm: float, temp: float, kpa: float) -> None:
    assert float(matrix_kpa(kohm, temp)) == pytest.approx(kpa, abs=6e-3)
    assert float(matrix_kohm(kpa, temp)) == pytest.approx(kohm, abs=2e-3)


def test_shock_refuses_what_is_no_suction() -> None:
    faulty = matrix_kpa([0.01, 39.0, 41.0, 500.0], 24.0)
    assert np.isnan(faulty[[0, 2, 3]]).all()
    assert np.isfinite(faulty[1])
    assert np.isnan(matrix_kpa(30.0, 60.0))  # the line below is gone
    assert float(matrix_kohm(1.0, 24.0)) == MATRIX_SHORT_KOHM


def test_granular_matrix_without_a_thermometer_is_off_by_a_fifth() -> None:
    kpa = np.array([30.0, 60.0, 100.0])
    blind = GranularMatrix(noise_share=0.0)
    cold, hot = (blind.reads_kpa(kpa, t, 0.0) / kpa for t in (10.0, 30.0))
    assert np.all((cold > 1.15) & (cold < 1.45))
    assert np.all((hot > 0.75) & (hot < 0.95))
    seeing = GranularMatrix(noise_share=0.0, assumed_c=None)
    assert seeing.reads_kpa(kpa, 10.0, 0.0).tolist() == pytest.approx(kpa.tolist())
    rough = GranularMatrix(assumed_c=None)
    noisy = rough.reads_kpa(np.full(4000, 60.0), 20.0, np.random.default_rng(1).normal(size=4000))
    assert 0.02 < noisy.std() / 60.0 < 0.06
    assert noisy.mean() == pytest.approx(60.0, rel=0.01)
    # Clay in its dry summer is beyond it.
    assert np.isnan(seeing.reads_kpa(800.0, 20.0, 0.0))


def clay_ppt(pf: float) -> float:
    return 1000.0 * float(textures.TEXTURES["clay"].water_content(10.0**pf))


def test_capacitive_probe_in_moist_soil_is_noise_offset_and_temperature() -> None:
    probe = CapacitiveProbe(4.0, offset_ppt=15.0, per_degree_ppt=1.0, taken_off_ppt=0.0)
    draws = np.random.default_rng(2).normal(size=5000)
    shown = probe.reads_ppt(300.0, 2.8, 20.0, draws)
    assert shown.mean() == pytest.approx(315.0, abs=0.3)
    assert shown.std() == pytest.approx(4.0, rel=0.05)
    assert probe.reads_ppt(300.0, 2.8, 32.0, 0.0) == pytest.approx(327.0, abs=1.0)
    taken_off = replace(probe, taken_off_ppt=0.9, thermometer_c=0.5)
    error_ppt = float(taken_off.adds_ppt(32.0, 0.0)) - 15.0
    assert error_ppt == pytest.approx(12.0 * (1.0 - 0.9) - 0.9 * 0.5)
    exact = CapacitiveProbe(noise_ppt=0.0)
    ppt = np.arange(60.0, 480.0, 20.0)
    np.testing.assert_allclose(exact.reads_ppt(ppt, 2.0, 20.0, 0.0), ppt, atol=1.0)


def test_a_shrinkage_gap_reads_far_too_dry() -> None:
    probe = CapacitiveProbe(noise_ppt=0.0)
    suctions = [3.0, 3.5, 4.0, 4.5, 5.0]
    error = [float(probe.reads_ppt(clay_ppt(pf), pf, 20.0, 0.0)) - clay_ppt(pf) for pf in suctions]
    assert error[:2] == pytest.approx([0.0, 0.0], abs=1.0)
    assert error[3] < error[2] < -30.0
    # Wilting clay holds some 270 ppt, and the probe shows less than sand would.
    assert float(probe.reads_ppt(clay_ppt(4.5), 4.5, 20.0, 0.0)) < 110.0
    assert float(probe.reads_ppt(0.0, 7.0, -20.0, 0.0)) == 0.0


def test_tipping_bucket_counts_whole_tips() -> None:
    gauge = TippingBucket(caught=1.0, wetting_um=0.0, tip_s=0.0)
    counted = gauge.counts_um(np.array([150.0, 100.0, 0.0, 500.0]))
    assert counted.tolist() == [0.0, 200.0, 200.0, 600.0]


def test_tipping_bucket_loses_drizzle_wind_and_the_heaviest_rain() -> None:
    gauge = TippingBucket()
    # Drizzle of 0.2 mm every other day only wets it.
    drizzle = np.zeros(480)
    drizzle[::48] = 200.0
    assert gauge.counts_um(drizzle)[-1] == 0.0
    # In a long gentle rain the wind's share is lost, and what wets the funnel.
    gentle = gauge.counts_um(np.full(20, 1000.0))[-1]
    assert gentle == pytest.approx(0.95 * 20_000 - 100, abs=200)
    # 150 mm/h: a tip each 5 s, of which 0.4 s are lost.
    heavy = TippingBucket(caught=1.0, wetting_um=0.0).counts_um(np.array([150_000.0]))[-1]
    assert heavy / 150_000 == pytest.approx(1 / (1 + 150_000 / 3600 * 0.4 / 200), abs=2e-3)


def test_tipping_bucket_never_counts_more_than_fell() -> None:
    random = np.random.default_rng(4)
    rain = np.where(random.random(5000) < 0.1, random.gamma(0.6, 3000.0, 5000), 0.0)
    counted = TippingBucket().counts_um(rain)
    assert np.all(np.diff(counted) >= 0.0)
    assert np.all(counted <= np.cumsum(rain))
    assert 0.75 < counted[-1] / rain.sum() < 0.95
    assert np.all(counted % 200 == 0.0)


def test_ground_follows_the_air_late_and_little() -> None:
    hours = np.arange(24 * 60)
    air = 15.0 + 8.0 * np.cos(2 * np.pi * hours / 24)
    ground = sensors.ground_temperature_c(air)
    assert ground.mean() == pytest.approx(15.0, abs=0.2)
    assert ground[240:].max() - ground[240:].min() < 2.0
    step = sensors.ground_temperature_c(np.r_[np.zeros(200), np.full(200, 10.0)])
    assert step[-1] == pytest.approx(6.32, abs=0.05)  # 1 - 1/e after its time constant
