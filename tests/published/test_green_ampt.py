"""Green-Ampt against Chow, Maidment & Mays 1988, and the cross-section against Green-Ampt.

Source: Applied Hydrology, examples 4.3.1, 4.4.1 and 4.4.2, with table 4.3.1 (Rawls, Brakensiek &
Miller 1983). The examples' figures are from memory; more digits are computed.
"""

import math

import numpy as np
import pytest

from evenclay.sim.ground import textures
from evenclay.sim.section import Ground, Section, Zone
from evenclay.sim.section.clay import clay_of
from evenclay.tools.dev.models.green_ampt import Front

# Silt loam at an effective saturation of 30 %: cm and hours.
SILT_LOAM = Front(conductivity=0.65, suction=16.7, deficit=(1.0 - 0.30) * 0.486)


def test_example_4_3_1() -> None:
    assert round(SILT_LOAM.deficit, 3) == 0.340
    assert round(SILT_LOAM.pull, 2) == 5.68
    depth = SILT_LOAM.ponded(1.0)
    assert round(depth, 2) == 3.17
    # With the pull not rounded as the example rounds it.
    assert depth == pytest.approx(3.167, abs=2e-3)
    assert SILT_LOAM.rate(depth) == pytest.approx(1.816, abs=2e-3)


@pytest.mark.parametrize(
    ("intensity", "hours", "depth"), [(1.0, 10.5511, 10.5511), (5.0, 0.169787, 0.848936)]
)
def test_example_4_4_1(intensity: float, hours: float, depth: float) -> None:
    until = SILT_LOAM.ponding_time_h(intensity)
    assert until == pytest.approx(hours, rel=2e-3)
    assert until * intensity == pytest.approx(depth, rel=2e-3)


def test_example_4_4_2() -> None:
    depth = SILT_LOAM.infiltrated(5.0, 1.0)
    assert round(depth, 2) == 3.02
    assert round(SILT_LOAM.rate(depth), 2) == 1.87


# Clay of the table: 0.03 cm/h, 31.63 cm, effective porosity 0.385. Saturation, F after 1 h.
CLAY_TABLE = [(0.3, 0.7353, 0.3778), (0.8, 0.4025, None)]


@pytest.mark.parametrize(("saturation", "depth", "rate"), CLAY_TABLE)
def test_clay(saturation: float, depth: float, rate: float | None) -> None:
    clay = Front(0.03, 31.63, (1.0 - saturation) * 0.385)
    found = clay.ponded(1.0)
    assert found == pytest.approx(depth, abs=1e-4)
    if rate is not None:
        assert clay.rate(found) == pytest.approx(rate, abs=1e-3)


# A soaker strip on that clay: mm/h over the strip, minutes to ponding at 30 and 80 % saturation.
@pytest.mark.parametrize(
    ("mm_h", "dry_min", "wet_min"), [(7.45 / 0.45, 5.7, 1.6), (3.73 / 0.60, 41.7, 11.9)]
)
def test_soaker_strip_on_clay(mm_h: float, dry_min: float, wet_min: float) -> None:
    for saturation, minutes in ((0.3, dry_min), (0.8, wet_min)):
        clay = Front(0.3, 316.3, (1.0 - saturation) * 0.385)
        assert 60 * clay.ponding_time_h(mm_h) == pytest.approx(minutes, abs=0.1)


def test_gentle_rain_never_ponds_and_all_goes_in() -> None:
    assert math.isinf(SILT_LOAM.ponding_time_h(0.65))
    assert SILT_LOAM.infiltrated(0.5, 100.0) == 50.0
    assert SILT_LOAM.ponded(0.0) == 0.0
    whole = SILT_LOAM.ponded(2.0)
    assert SILT_LOAM.ponded(1.5, SILT_LOAM.ponded(0.5)) == pytest.approx(whole, rel=1e-9)


def test_soil_that_is_full_takes_its_conductivity() -> None:
    full = Front(conductivity=0.65, suction=16.7, deficit=0.0)
    assert full.ponding_time_h(5.0) == 0.0
    assert full.infiltrated(5.0, 2.0) == full.ponded(2.0) == pytest.approx(1.3)
    assert full.infiltrated(0.5, 2.0) == 1.0
    nearly = Front(conductivity=0.65, suction=16.7, deficit=1e-9)
    assert nearly.infiltrated(5.0, 2.0) == pytest.approx(1.3, rel=1e-6)


@pytest.mark.parametrize("hours", [1e-9, 1e-3, 1.0, 1e3, 1e6])
@pytest.mark.parametrize("pull", [1e-6, 1.0, 12.0, 500.0])
def test_the_implicit_equation_holds_for_any_time_and_soil(hours: float, pull: float) -> None:
    front = Front(0.03, pull, 1.0)
    depth = front.ponded(hours)
    right = front.conductivity * hours
    assert depth >= right
    assert depth - pull * math.log1p(depth / pull) == pytest.approx(right, rel=1e-6, abs=1e-13)


@pytest.mark.parametrize("start_pf", [2.5, 3.3, 4.0])
def test_clay_takes_a_day_of_ponding_as_green_and_ampt_have_it(start_pf: float) -> None:
    """The section takes up to 15 % less in a day, and in the first hour no more than half to three
    quarters: its top layer of 0.1 m is too thick for a sharp front."""
    ground = Ground(crack_share=0.0)
    clay = clay_of(textures.TEXTURES["clay"], ground)
    # The pull of a front is the potential between its two ends over the conductivity behind it.
    pull_mm = (clay.potential(0.0) - clay.potential(start_pf)) * 1e6 / 24.0 / ground.surface_mm_h
    deficit = clay.saturated - float(clay.content(np.array(start_pf)))
    front = Front(ground.surface_mm_h, float(pull_mm), deficit)
    for hours, least in ((24, 0.85), (1, 0.49)):
        section = Section(ground, [Zone(coefficient=0.0, yard_coefficient=0.0)], start_pf=start_pf)
        off_mm = section.live(np.full(hours, 80.0), np.zeros(hours)).water["rain_runoff_mm"][0, 0]
        taken_mm = 80.0 * hours - off_mm - textures.POND_MM
        assert least < taken_mm / front.infiltrated(80.0, hours) < 1.0
