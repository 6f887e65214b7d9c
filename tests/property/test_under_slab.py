"""The ground under the slab: water conserved, moving from wet to dry, less felt the further in."""

from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from evenclay.sim.ground import soil, textures

Floats = NDArray[np.float64]
DISTANCES_M = st.floats(0.0, 2.0)
WIDTHS_M = st.floats(0.2, 3.0)


def storms(seed: int, hours: int) -> Floats:
    random = np.random.default_rng(seed)
    forcing = np.zeros((hours, 2, soil.FORCINGS))
    forcing[:, :, soil.RAIN] = random.choice([0.0] * 8 + [1.0, 10.0, 100.0], (hours, 1))
    forcing[:, :, soil.PET] = random.random((hours, 1)) * random.choice([0.1, 3.0])
    forcing[:, 1, soil.IRRIGATION] = random.choice([0.0, 0.0, 0.0, 2.0, 40.0], hours)
    forcing[:, :, soil.IRRIGATION_S] = 600.0
    return forcing


@given(
    texture=st.sampled_from(sorted(textures.TEXTURES)),
    start_pf=st.floats(0.0, soil.DRIEST_PF),
    seed=st.integers(0, 2**32 - 1),
    distance_m=DISTANCES_M,
    width_m=WIDTHS_M,
)
def test_any_weather_conserves_water_with_a_slab(
    texture: str, start_pf: float, seed: int, distance_m: float, width_m: float
) -> None:
    columns = soil.Columns(
        [texture] * 2,
        yard=[None, 0],
        width_m=[width_m] * 2,
        slab_m=[distance_m, None],
        start_pf=start_pf,
    )
    forcing = storms(seed, 400)
    before = columns.stored_mm() + columns.under_slab_mm()
    assert before[1] == columns.stored_mm()[1]
    results = columns.run(forcing)
    assert np.all(np.isfinite(results))
    assert columns.mass_balance_error_mm <= 1e-6
    given_mm = forcing[:, :, soil.RAIN] + forcing[:, :, soil.IRRIGATION]
    lost = results[:, :, : soil.INFILTRATION].sum(axis=2)
    lost[:, 0] -= results[:, 0, soil.UNDER_SLAB]  # that is still there
    left = before + given_mm.sum(axis=0) - lost.sum(axis=0)
    held = columns.stored_mm() + columns.under_slab_mm()
    drained = left - held  # by the cells, downwards, which no result of the strip tells
    assert drained[1] == pytest.approx(0.0, abs=1e-6)
    assert np.all(np.isfinite(drained))


def test_water_moves_under_the_slab_from_wet_to_dry() -> None:
    still = np.zeros((48, 1, soil.FORCINGS))
    for start_pf in (2.5, 3.2):
        columns = soil.Columns(["clay"], slab_m=[0.4], start_pf=start_pf)
        assert abs(columns.run(still)[:, 0, soil.UNDER_SLAB].sum()) < 0.05
    wet, dry = still.copy(), still.copy()
    wet[:, 0, soil.RAIN] = 1.5
    dry[:, 0, soil.PET] = 0.5
    for forcing, sign in ((wet, 1.0), (dry, -1.0)):
        columns = soil.Columns(["clay"], slab_m=[0.4], start_pf=3.0)
        moved = columns.run(np.concatenate([forcing] * 20))[:, 0, soil.UNDER_SLAB].sum()
        assert sign * moved > 0.5


def test_nearer_strips_trade_more_and_none_without_a_slab() -> None:
    forcing = np.zeros((24 * 30, 3, soil.FORCINGS))
    forcing[:, :, soil.RAIN] = 1.0
    columns = soil.Columns(["clay"] * 3, slab_m=[0.2, 1.0, None], start_pf=3.0)
    moved = columns.run(forcing)[:, :, soil.UNDER_SLAB].sum(axis=0)
    assert moved[0] > 1.2 * moved[1] > 0.0
    assert moved[2] == 0.0


@cache
def years(refine: float) -> tuple[Floats, Floats]:
    """Four years of dry summers and wet winters, unwatered and watered; the last: each strip's and
    cell's MOVEMENT_PF by day."""
    days = 4 * 365
    hour = np.arange(24 * days)
    summer = (1.0 - np.cos(2.0 * np.pi * hour / 24.0 / 365.0)) / 2.0
    random = np.random.default_rng(4)
    forcing = np.zeros((24 * days, 2, soil.FORCINGS))
    forcing[:, :, soil.PET] = (0.02 + 0.16 * summer)[:, None]
    rain = np.where(random.random(24 * days) < 0.04 * (1.0 - summer), 3.0, 0.0)
    forcing[:, :, soil.RAIN] = rain[:, None]
    forcing[4::24, 1, soil.IRRIGATION] = 24.0 * (0.2 * summer)[4::24]
    forcing[:, :, soil.IRRIGATION_S] = 1200.0
    columns = soil.Columns(
        ["clay"] * 2, yard=[None, 0], slab_m=[0.4] * 2, start_pf=2.9, refine=refine
    )
    under_pf = np.full((days, 2, soil.CELLS), np.nan)
    results = columns.run(forcing, under_pf)
    assert np.all(np.isfinite(under_pf))
    assert columns.mass_balance_error_mm <= 1e-9
    strips_pf = results[:, :, soil.MOVEMENT_PF].reshape(days, 24, 2).mean(axis=1)
    return strips_pf[-365:], under_pf[-365:]


def test_the_perimeter_feels_it_and_the_middle_hardly() -> None:
    strips_pf, under_pf = years(1.0)
    strips, under = np.ptp(strips_pf, axis=0), np.ptp(under_pf, axis=0)
    assert strips[1] < 0.7 * strips[0]
    assert np.all(np.diff(under, axis=1) < 0.0)  # less, the further in
    assert np.all(under[:, 0] < strips)
    unwatered, watered = under
    assert watered[0] < unwatered[0]  # it steadies the ground at the edge
    middle = soil.cell_middles_m().index(3.0)
    assert abs(watered - unwatered)[middle] < 0.05 * strips[0]


def test_steps_three_times_finer_change_little_under_the_slab() -> None:
    (strips, under), (fine_strips, fine_under) = years(1.0), years(3.0)
    assert np.abs(strips - fine_strips).max() < 0.05
    assert np.abs(under - fine_under).max() < 0.05  # pF; the cells are stepped every third day


def test_days_beyond_the_array_are_left_out() -> None:
    columns = soil.Columns(["clay", "loam"], slab_m=[0.4, None], start_pf=2.7)
    under_pf = np.full((2, 2, soil.CELLS), np.nan)
    columns.run(np.zeros((24 * 5, 2, soil.FORCINGS)), under_pf)
    np.testing.assert_allclose(under_pf[0, 0], 2.7, atol=2e-3)
    assert np.all(np.isnan(under_pf[:, 1]))  # without a slab
