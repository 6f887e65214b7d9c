"""The cross-section: water conserved in any ground and weather, moving from wet to dry."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from evenclay.sim.section import BARE, DAY, GRASS, LAYOUT, SHRUBS, Ground, Section, Zone
from evenclay.sim.section.layout import EDGE, INSIDE, STRIP

Floats = NDArray[np.float64]

HOURS = 24 * 20
GROUNDS = st.builds(
    Ground,
    alpha_cm2_s=st.floats(1e-4, 5e-3),
    c_per_pf=st.floats(0.05, 0.14),
    matrix_mm_d=st.floats(0.0, 10.0),
    surface_mm_h=st.floats(0.2, 100.0),
    crack_share=st.floats(0.0, 0.5),
    fissured_m=st.floats(0.3, 3.0),
    footing_m=st.floats(0.0, 1.0),
    uptake_end_pf=st.floats(4.2, 4.6),
)
ZONES = st.builds(
    Zone,
    coefficient=st.floats(0.0, 1.5),
    exposure=st.floats(0.0, 20.0),
    cover=st.sampled_from([BARE, GRASS, SHRUBS]),
    width_m=st.floats(0.3, 1.5),
    slab_m=st.one_of(st.none(), st.floats(0.2, 1.0)),
    yard_coefficient=st.floats(0.0, 1.2),
    yard_exposure=st.floats(0.0, 1.0),
    yard_cover=st.sampled_from([BARE, GRASS, SHRUBS]),
    yard_reach_m=st.floats(0.0, 1.0),
)


def storms(seed: int, zones: int) -> tuple[Floats, Floats, Floats, Floats]:
    random = np.random.default_rng(seed)
    rain = random.choice([0.0] * 8 + [1.0, 10.0, 100.0], HOURS)
    et0 = random.random(HOURS) * random.choice([0.0, 0.1, 1.0])
    water = random.choice([0.0, 0.0, 0.0, 2.0, 40.0], (HOURS, zones))
    seconds = random.choice([0.0, 1.0, 600.0, 3600.0], (HOURS, zones))
    return rain, et0, water, seconds


@settings(deadline=None)
@given(
    ground=GROUNDS,
    zones=st.lists(ZONES, min_size=1, max_size=3),
    start_pf=st.floats(0.0, 5.4),
    bottom_pf=st.one_of(st.none(), st.floats(0.5, 5.0)),
    seed=st.integers(0, 2**32 - 1),
)
def test_any_ground_and_weather_conserves_water(
    ground: Ground, zones: list[Zone], start_pf: float, bottom_pf: float | None, seed: int
) -> None:
    section = Section(ground, zones, start_pf=start_pf, bottom_pf=bottom_pf)
    days = section.live(*storms(seed, len(zones)))
    assert section.mass_balance_error_mm <= 1e-6
    assert np.all(np.isfinite(days.pf)) and np.all(np.isfinite(section.pf()))
    assert np.all((days.pf >= 0.0) & (days.pf <= 5.5001))
    for name in DAY.fields or {}:
        assert np.all(days.water[name] >= -1e-9), name
    given_mm = days.water["rain_mm"] + days.water["water_mm"]
    gone = days.water["rain_runoff_mm"] + days.water["water_runoff_mm"] + days.water["cracks_mm"]
    assert np.all(gone.sum(axis=0) <= given_mm.sum(axis=0) + 1e-6)


@settings(deadline=None, max_examples=20)
@given(ground=GROUNDS, zone=ZONES)
def test_uniform_ground_without_weather_stays_and_only_settles(ground: Ground, zone: Zone) -> None:
    still = Section(ground, [zone], start_pf=3.4, closed=True)
    still.live(np.zeros(480), np.zeros(480))
    moved = np.abs(still.pf() - 3.4)
    assert moved.max() < 0.15  # by its own weight alone, which is little at that pF
    assert np.abs(np.diff(still.pf()[0], axis=0)).max() < 1e-9  # nothing moves sideways


@settings(deadline=None, max_examples=20)
@given(ground=GROUNDS)
def test_a_wet_strip_wets_edge_before_inside_and_never_beyond_itself(ground: Ground) -> None:
    zone = Zone(coefficient=0.0, yard_coefficient=0.0)
    section = Section(ground, [zone], start_pf=3.5, closed=True)
    pf = np.full((1, LAYOUT.columns, LAYOUT.layers), 3.5)
    pf[0, np.array(LAYOUT.places) == STRIP] = 2.5
    section.set_pf(pf)
    section.live(np.zeros(24 * 60), np.zeros(24 * 60))
    at = LAYOUT.mean(0.3, 2.0)
    strip, edge, inside = (section.place_pf(place, at)[0] for place in (STRIP, EDGE, INSIDE))
    assert 2.3 < strip < edge < inside <= 3.5 + 0.05


@pytest.mark.parametrize(
    "ground",
    [
        Ground(alpha_cm2_s=0.0003, matrix_mm_d=0.05, surface_mm_h=0.5, c_per_pf=0.06),
        Ground(),
        Ground(alpha_cm2_s=0.003, matrix_mm_d=5.0, surface_mm_h=50.0, c_per_pf=0.12),
    ],
    ids=["tight", "middle", "free"],
)
def test_twenty_years_keep_their_books(ground: Ground) -> None:
    random = np.random.default_rng(3)
    hours = 24 * 365 * 20
    summer = (1.0 - np.cos(2.0 * np.pi * np.arange(hours) / 24.0 / 365.0)) / 2.0
    wet = random.random(hours) < 0.08 * (1.0 - 0.9 * summer)
    rain = np.where(wet, random.exponential(1.5, hours), 0.0)
    sun = np.clip(np.sin((np.arange(hours) % 24 - 6.0) / 12.0 * np.pi), 0.0, None)
    water = np.zeros((hours, 2))
    water[4::24, 0] = 5.0 * summer[4::24]
    zones = [Zone(coefficient=1.1), Zone(coefficient=0.5, cover=BARE, exposure=0.5)]
    section = Section(ground, zones, bottom_pf=3.5)
    section.live(rain, (0.1 + 0.7 * summer) * sun, water)
    assert section.mass_balance_error_mm <= 1e-6
