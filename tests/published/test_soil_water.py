"""Soil water against published examples, and the column against a finer solution."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.sparse import diags_array

from evenclay.sim.ground import soil, textures
from evenclay.tools.dev.models import bucket

# FAO-56 example 36: total and readily available water of three soils for three crops. Tomato's
# figures as printed; onion's and maize's computed, their inputs from memory.
SOILS = {"loamy sand": (0.15, 0.06), "silt": (0.32, 0.15), "silty clay": (0.35, 0.23)}
EXAMPLE_36 = [
    ("tomato", 0.8, 0.40, [(72, 29), (136, 54), (96, 38)]),
    ("onion", 0.4, 0.30, [(36, 11), (68, 20), (48, 14)]),
    ("maize", 1.2, 0.55, [(108, 59), (204, 112), (144, 79)]),
]


@pytest.mark.parametrize(("crop", "roots_m", "fraction", "expected"), EXAMPLE_36)
def test_example_36(
    crop: str, roots_m: float, fraction: float, expected: list[tuple[int, int]]
) -> None:
    for (capacity, wilting), (total, ready) in zip(SOILS.values(), expected, strict=True):
        taw = bucket.taw_mm(capacity, wilting, roots_m)
        assert round(taw) == total
        assert round(bucket.raw_mm(taw, fraction)) == ready


def test_example_37_tomato_drying() -> None:
    # FAO-56 example 37: Ks and the depletion at the day's end, ten days.
    ks_printed = [1.00, 1.00, 0.97, 0.91, 0.85, 0.80, 0.75, 0.70, 0.66, 0.62]
    depletion_printed = [61.0, 67.0, 72.8, 78.3, 83.4, 88.2, 92.6, 96.9, 100.8, 104.5]
    taw = bucket.taw_mm(0.32, 0.12, 0.8)
    assert taw == pytest.approx(160.0)
    assert bucket.raw_mm(taw, 0.4) == pytest.approx(64.0)
    depletion = 55.0
    for ks_expected, depletion_expected in zip(ks_printed, depletion_printed, strict=True):
        ks = bucket.stress_ks(depletion, taw, 0.4)
        depletion = bucket.depletion(depletion, 0.0, ks * 6.0, taw)
        assert round(ks, 2) == ks_expected
        assert round(depletion, 1) == pytest.approx(depletion_expected)


def test_bucket_limits() -> None:
    assert bucket.depletion(10.0, 30.0, 5.0, 100.0) == 0.0
    assert bucket.depletion(98.0, 0.0, 5.0, 100.0) == 100.0
    assert bucket.stress_ks(120.0, 100.0, 0.5) == 0.0
    # Table 22's footnote: p + 0.04 (5 - ETc), within 0.1 to 0.8.
    assert bucket.depletion_fraction(0.40, 3.0) == pytest.approx(0.48)
    assert bucket.depletion_fraction(0.40, 14.0) == 0.1
    assert bucket.depletion_fraction(0.70, 1.0) == 0.8


# Water contents by the parameters of Carsel & Parrish 1988 (Water Resour. Res. 24:755-769) and
# the equation of van Genuchten 1980, computed, at these suctions.
SUCTIONS_KPA = [0, 10, 33, 60, 100, 200, 1500]
CONTENTS = {
    "clay": [0.3800, 0.3652, 0.3466, 0.3348, 0.3242, 0.3097, 0.2703],
    "silty clay": [0.3600, 0.3508, 0.3367, 0.3267, 0.3172, 0.3038, 0.2661],
    "clay loam": [0.4100, 0.3312, 0.2687, 0.2409, 0.2201, 0.1962, 0.1493],
    "silty clay loam": [0.4300, 0.3879, 0.3374, 0.3096, 0.2868, 0.2587, 0.1962],
    "sandy clay": [0.3800, 0.3116, 0.2665, 0.2460, 0.2302, 0.2112, 0.1701],
}


@pytest.mark.parametrize("name", CONTENTS)
def test_water_retention(name: str) -> None:
    suctions = np.array(SUCTIONS_KPA) * textures.CM_PER_KPA
    contents = textures.TEXTURES[name].water_content(suctions)
    np.testing.assert_allclose(contents, CONTENTS[name], atol=5.1e-5)
    back = textures.TEXTURES[name].suction_cm(contents)
    np.testing.assert_allclose(back, suctions, rtol=1e-6, atol=1e-6)


def test_conductivity_of_clay() -> None:
    # Mualem 1976 with l = 0.5, in cm/d at 10, 33 and 100 kPa, computed.
    clay = textures.TEXTURES["clay"]
    suctions = np.array([10.0, 33.0, 100.0]) * textures.CM_PER_KPA
    cm_d = clay.relative_conductivity(suctions) * clay.ks_mm_h * 2.4
    np.testing.assert_allclose(cm_d, [1.962e-2, 2.583e-3, 2.749e-4], rtol=2e-3)
    assert clay.ks_mm_h == pytest.approx(2.0)  # Carsel & Parrish: 4.80 cm/d


def test_every_texture_of_the_table() -> None:
    # Carsel & Parrish 1988: theta_s, Ks in cm/d.
    printed = {
        "sand": (0.43, 712.8),
        "loamy sand": (0.41, 350.2),
        "sandy loam": (0.41, 106.1),
        "loam": (0.43, 24.96),
        "silt": (0.46, 6.0),
        "silt loam": (0.45, 10.8),
        "sandy clay loam": (0.39, 31.44),
        "clay loam": (0.41, 6.24),
        "silty clay loam": (0.43, 1.68),
        "sandy clay": (0.38, 2.88),
        "silty clay": (0.36, 0.48),
        "clay": (0.38, 4.80),
    }
    assert set(textures.TEXTURES) == set(printed)
    for name, (theta_s, ks_cm_d) in printed.items():
        assert textures.TEXTURES[name].theta_s == theta_s
        assert textures.TEXTURES[name].ks_mm_h * 2.4 == pytest.approx(ks_cm_d)


def test_evaporable_water_of_clay_is_near_fao_56() -> None:
    # FAO-56 table 19, clay: readily evaporable 8-12 mm; total 22-29 mm (the latter from memory),
    # for a layer of 0.10 m; the same paper allows 0.10-0.15 m. These parameters hold less water
    # than the table's clay, so 0.15 m gives a total a little below.
    clay = textures.TEXTURES["clay"]
    capacity = float(clay.water_content(33.0 * textures.CM_PER_KPA))
    depth_mm = soil.EVAPORATION_M * 1000.0
    ready = (capacity - float(clay.water_content(10.0**soil.EVAPORATION_FULL_PF))) * depth_mm
    total = (capacity - float(clay.water_content(10.0**soil.EVAPORATION_NONE_PF))) * depth_mm
    assert 8.0 <= ready <= 12.0
    assert 20.0 <= total <= 29.0


def test_roots_draw_by_the_published_pattern() -> None:
    # USDA-SCS National Engineering Handbook, section 15: 40, 30, 20, 10 % by quarters. Wet soil
    # and no evaporation, for an hour: what each depth loses is what the roots took.
    columns = soil.Columns(["clay"], ks_mm_h=[1e-9], transpired_share=[1.0], start_pf=2.0)
    before = columns.water_mm.copy()
    forcing = np.zeros((1, 1, soil.FORCINGS))
    forcing[0, 0, soil.PET] = 1.0
    result = columns.run(forcing)
    taken = (before - columns.water_mm)[0]
    assert result[0, 0, soil.TRANSPIRATION] == pytest.approx(1.0, rel=1e-6)
    to_0_30 = taken[:4].sum()
    to_0_45 = taken[:5].sum()
    assert to_0_30 == pytest.approx(0.4, abs=1e-6)
    assert to_0_45 == pytest.approx(0.4 + 0.3 / 2.0, abs=1e-6)
    assert taken[8:].sum() == pytest.approx(0.0, abs=1e-6)


def test_ponded_clay_takes_water_at_its_saturated_conductivity() -> None:
    # The final rate of Green & Ampt 1911 and of Philip 1957 under shallow ponding is Ks.
    for ks in (0.5, 2.0, 5.0):
        columns = soil.Columns(["clay"], ks_mm_h=[ks], start_pf=3.0)
        forcing = np.zeros((2000, 1, soil.FORCINGS))
        forcing[:, 0, soil.RAIN] = 20.0
        rates = columns.run(forcing)[:, 0, soil.INFILTRATION]
        assert rates[-1] == pytest.approx(ks, rel=1e-3)
        assert rates[0] > ks


def fine_solution(hours: float, rain_mm_h: float, rain_h: float, start_pf: float) -> np.ndarray:
    """Water [mm] in the column's layers by another method: 300 cells of 1 cm, Darcy's law over
    suction with mean conductivities, scipy's variable-order BDF. No uptake, same bottom."""
    clay = textures.TEXTURES["clay"]
    cells, thick = 300, 10.0

    def rate(time_h: float, content: np.ndarray) -> np.ndarray:
        suction = clay.suction_cm(content) * 10.0
        conductivity = clay.relative_conductivity(suction / 10.0) * clay.ks_mm_h
        mean = (conductivity[1:] + conductivity[:-1]) / 2.0
        flux = np.empty(cells + 1)
        flux[0] = rain_mm_h if time_h < rain_h else 0.0
        flux[1:-1] = mean * (np.diff(suction) / thick + 1.0)
        bottom = 10.0 ** (soil.BOTTOM_PF + 1.0)
        flux[-1] = conductivity[-1] * ((bottom - suction[-1]) / (thick / 2.0) + 1.0)
        return -np.diff(flux) / thick

    content = np.full(cells, float(clay.water_content(10.0**start_pf)))
    for start, stop in ((0.0, rain_h), (rain_h, hours)):
        solution = solve_ivp(
            rate,
            (start, stop),
            content,
            "BDF",
            rtol=1e-5,
            atol=1e-8,
            jac_sparsity=diags_array([1.0, 1.0, 1.0], offsets=[-1, 0, 1], shape=(cells, cells)),
            first_step=1e-3,
            t_eval=[stop],
        )
        assert solution.success
        content = solution.y[:, -1]
    edges = (np.array(soil.EDGES_M) * 100.0).round().astype(int)
    return np.add.reduceat(content * thick, edges[:-1])


@pytest.mark.parametrize("start_pf", [2.5, 3.3])
def test_wetting_and_redistribution_against_a_finer_solution(start_pf: float) -> None:
    forcing = np.zeros((24 * 12, 1, soil.FORCINGS))
    forcing[:24, 0, soil.RAIN] = 0.5
    columns = soil.Columns(["clay"], start_pf=start_pf)
    before = columns.water_mm[0].copy()
    result = columns.run(forcing)
    assert result[:, 0, soil.RUNOFF_RAIN].sum() == 0.0
    fine = fine_solution(24.0 * 12, 0.5, 24.0, start_pf)
    gained, gained_fine = columns.water_mm[0] - before, fine - before
    upper = np.array(soil.EDGES_M)[1:] <= 1.0
    assert gained_fine[upper].sum() > 10.0
    np.testing.assert_allclose(gained[upper], gained_fine[upper], atol=0.2)
    # Below, one thick layer stands beside the bottom's suction: the fine cells drain sooner.
    np.testing.assert_allclose(gained[~upper], gained_fine[~upper], atol=3.0)
