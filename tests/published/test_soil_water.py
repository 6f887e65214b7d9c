"""Soil water against published examples and patterns."""

from dataclasses import replace

import numpy as np
import pytest

from evenclay.sim.ground import textures
from evenclay.sim.section import GRASS, LAYOUT, SHRUBS, Cover, Ground, Section, Zone
from evenclay.sim.section.layout import STRIP
from evenclay.tools.dev.models import bucket

STILL = np.zeros(24)
NOON = np.where(np.arange(24) == 12, 1.0, 0.0)  # a millimetre asked at noon

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


@pytest.mark.parametrize("cover", [GRASS, SHRUBS], ids=["grass", "shrubs"])
def test_roots_draw_by_the_published_pattern(cover: Cover) -> None:
    # Jackson et al. 1996, Oecologia 108:389-411: a share of 1 - beta ** depth [cm] of the roots
    # lies above a depth. Wet soil and no evaporation: what each depth loses is what the roots took.
    inert = Ground(matrix_mm_d=0.0, alpha_cm2_s=1e-9, crack_share=0.0)
    leaves = replace(cover, transpired_share=1.0)
    zone = Zone(coefficient=1.0, cover=leaves, yard_coefficient=0.0, yard_reach_m=0.0, slab_m=None)
    section = Section(inert, [zone], start_pf=2.2, closed=True)
    before = section.snapshot().water
    section.live(STILL, NOON)
    strip = np.array(LAYOUT.places) == STRIP
    taken = ((before - section.snapshot().water)[:, strip].mean(axis=1) * LAYOUT.thick_m) * 1000.0
    assert taken.sum() == pytest.approx(1.0, rel=1e-6)
    depth_cm = np.minimum(100.0 * np.array(LAYOUT.edges_m[1:]), 100.0 * cover.roots_m)
    published = (1.0 - cover.beta**depth_cm) / (1.0 - cover.beta ** (100.0 * cover.roots_m))
    np.testing.assert_allclose(taken.cumsum(), published, atol=0.01)


@pytest.mark.parametrize(("surface_mm_h", "day"), [(0.5, 20), (2.0, 11), (5.0, 4)])
def test_ponded_clay_comes_to_take_water_as_its_surface_conducts(
    surface_mm_h: float, day: int
) -> None:
    # The final rate of Green & Ampt 1911 and of Philip 1957 under shallow ponding is Ks. Here it
    # holds while fissures below have room: they reach 6 m.
    ground = Ground(surface_mm_h=surface_mm_h, crack_share=0.0, fissured_m=6.0)
    section = Section(ground, [Zone(coefficient=0.0, yard_coefficient=0.0)], start_pf=3.0)
    hours = 24 * (day + 1)
    off_mm = section.live(np.full(hours, 20.0), np.zeros(hours)).water["rain_runoff_mm"][:, 0]
    rates = 20.0 - off_mm / 24.0
    assert np.all(np.diff(rates) < 0.0)
    assert rates[-1] == pytest.approx(surface_mm_h, rel=0.05)
    assert rates[-1] > surface_mm_h
