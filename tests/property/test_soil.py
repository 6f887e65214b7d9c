"""The soil columns under random weather: water conserved, bounds held, monotone, repeatable."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from evenclay.sim.ground import soil, textures

Floats = NDArray[np.float64]

TEXTURES = st.sampled_from(sorted(textures.TEXTURES))
KS_MM_H = st.floats(-1.0, np.log10(300.0)).map(lambda power: float(10.0**power))
START_PF = st.floats(0.0, soil.DRIEST_PF)
SEEDS = st.integers(0, 2**32 - 1)


def storms(seed: int, hours: int, columns: int = 1) -> Floats:
    """Forcing with everything from drought to cloudbursts and short, hard runs."""
    random = np.random.default_rng(seed)
    shape = (hours, columns)
    forcing = np.empty((*shape, soil.FORCINGS))
    forcing[:, :, soil.RAIN] = random.choice([0.0, 0.0, 0.0, 0.2, 3.0, 30.0, 200.0], shape)
    forcing[:, :, soil.PET] = random.choice([0.0, 0.1, 1.0, 15.0], shape) * random.random(shape)
    forcing[:, :, soil.IRRIGATION] = random.choice([0.0, 0.0, 0.0, 1.0, 15.0, 100.0], shape)
    forcing[:, :, soil.IRRIGATION_S] = random.choice([1.0, 60.0, 600.0, 3599.0, 3600.0], shape)
    return forcing


def check_bounds(columns: soil.Columns) -> None:
    assert np.all(np.isfinite(columns.water_mm))
    for row, texture in zip(columns.water_content, columns.textures, strict=True):
        assert np.all(row >= texture.theta_r)
        assert np.all(row <= texture.theta_s + 1e-12)
    assert np.all(columns.ponded_mm >= -1e-9)
    assert np.all(columns.ponded_mm <= textures.POND_MM + 1e-9)


@given(texture=TEXTURES, ks=KS_MM_H, start_pf=START_PF, seed=SEEDS)
def test_any_weather_conserves_water_within_bounds(
    texture: str, ks: float, start_pf: float, seed: int
) -> None:
    columns = soil.Columns([texture] * 2, ks_mm_h=[ks] * 2, yard=[None, 0], start_pf=start_pf)
    forcing = storms(seed, 300, 2)
    before = columns.stored_mm()
    results = columns.run(forcing)
    assert np.all(np.isfinite(results))
    check_bounds(columns)
    given_mm = forcing[:, :, soil.RAIN] + forcing[:, :, soil.IRRIGATION]
    gone = results[:, :, : soil.INFILTRATION].sum(axis=2)
    left = before + given_mm.sum(axis=0) - gone.sum(axis=0) - columns.stored_mm()
    assert np.max(np.abs(left)) <= 1e-6  # mm, that is 1e-9 m
    assert columns.mass_balance_error_mm <= 1e-6
    assert np.all(results[:, :, soil.RUNOFF_RAIN : soil.DRAINAGE] >= -1e-9)
    # Evaporation and uptake never exceed what the air asks for.
    asked = forcing[:, :, soil.PET]
    assert np.all(
        results[:, :, soil.EVAPORATION] + results[:, :, soil.TRANSPIRATION] <= asked + 1e-9
    )


def test_forty_years_conserve_water() -> None:
    random = np.random.default_rng(40)
    hours = 40 * 365 * 24
    forcing = np.zeros((hours, 2, soil.FORCINGS))
    forcing[:, :, soil.RAIN] = np.where(random.random((hours, 1)) < 0.05, 2.0, 0.0)
    forcing[:, :, soil.PET] = 0.08
    forcing[::8, 1, soil.IRRIGATION] = 1.0
    forcing[::8, 1, soil.IRRIGATION_S] = 300.0
    columns = soil.Columns(["clay"] * 2, yard=[None, 0])
    columns.run(forcing)
    assert columns.mass_balance_error_mm <= 1e-6
    check_bounds(columns)


@given(texture=TEXTURES, ks=KS_MM_H, start_pf=START_PF, seed=SEEDS)
def test_more_irrigation_never_leaves_less_water(
    texture: str, ks: float, start_pf: float, seed: int
) -> None:
    # Exactly true of the equations; two columns that take unlike sub-steps may differ by what
    # the step's error allows, and eight times finer steps by an eighth of it.
    forcing = storms(seed, 150)
    forcing = np.concatenate((forcing, forcing), axis=1)
    forcing[:, 1, soil.IRRIGATION] *= 1.3
    forcing[::5, 1, soil.IRRIGATION] += 1.0
    for refine, allowed_mm in ((1.0, 4.0), (8.0, 0.5)):
        columns = soil.Columns([texture] * 2, ks_mm_h=[ks] * 2, start_pf=start_pf, refine=refine)
        for hour in forcing:
            columns.run(hour[None])
            less, more = columns.stored_mm()
            assert more >= less - allowed_mm


@given(seed=SEEDS, ks=st.sampled_from([0.5, 2.0, 5.0]), start_pf=st.floats(1.5, 4.2))
def test_more_irrigation_never_dries_the_band_of_clay(
    seed: int, ks: float, start_pf: float
) -> None:
    forcing = np.zeros((24 * 30, 2, soil.FORCINGS))
    random = np.random.default_rng(seed)
    forcing[:, :, soil.RAIN] = random.choice([0.0] * 30 + [1.0, 8.0], (len(forcing), 1))
    forcing[:, :, soil.PET] = 0.2 * random.random((len(forcing), 1))
    forcing[::6, 0, soil.IRRIGATION] = 0.5
    forcing[::6, 1, soil.IRRIGATION] = 1.0
    forcing[:, :, soil.IRRIGATION_S] = 900.0
    columns = soil.Columns(["clay"] * 2, ks_mm_h=[ks] * 2, start_pf=start_pf)
    results = columns.run(forcing)
    daily = results[:, :, soil.BAND_PF].reshape(-1, 24, 2).mean(axis=1)
    # A layer that fills up an hour earlier or later, by the sub-steps taken, counts a little; below
    # pF 1.5, far wetter than the band, a tenth of a millimetre is a tenth of pF.
    less, more = np.maximum(daily, 1.5).T
    assert np.all(more <= less + 0.05)


@settings(max_examples=30)
@given(seed=SEEDS, start_pf=st.floats(1.5, 4.2))
def test_half_the_sub_step_changes_little(seed: int, start_pf: float) -> None:
    random = np.random.default_rng(seed)
    forcing = np.zeros((24 * 90, 1, soil.FORCINGS))
    forcing[:, 0, soil.RAIN] = random.choice([0.0] * 40 + [1.0, 5.0, 12.0], len(forcing))
    forcing[:, 0, soil.PET] = 0.2 * random.random(len(forcing))
    forcing[::8, 0, soil.IRRIGATION] = 2.0
    forcing[:, 0, soil.IRRIGATION_S] = 600.0
    runs = []
    for refine in (1.0, 2.0):
        columns = soil.Columns(["clay"], start_pf=start_pf, refine=refine)
        runs.append(columns.run(forcing)[:, 0])
    coarse, fine = runs
    daily = (coarse - fine)[:, soil.BAND_PF].reshape(-1, 24).mean(axis=1)
    assert np.sqrt(np.mean(daily**2)) <= 0.02
    runoff = [run[:, soil.RUNOFF_RAIN].sum() for run in runs]
    assert runoff[0] == pytest.approx(runoff[1], rel=0.03, abs=1.0)


@settings(max_examples=150)
@given(texture=TEXTURES, seed=SEEDS, start_pf=START_PF)
def test_same_inputs_same_bits_stepped_or_run(texture: str, seed: int, start_pf: float) -> None:
    forcing = storms(seed, 100, 3)
    yard = [None, None, 0]
    run = soil.Columns([texture] * 3, yard=yard, start_pf=start_pf)
    results = run.run(forcing)
    stepped = soil.Columns([texture] * 3, yard=yard, start_pf=start_pf)
    one_by_one = np.stack([stepped.run(hour[None])[0] for hour in forcing])
    np.testing.assert_array_equal(results, one_by_one)
    np.testing.assert_array_equal(run.water_mm, stepped.water_mm)


@given(texture=TEXTURES, seed=SEEDS, start_pf=START_PF)
def test_a_yard_lived_through_before_serves_as_one_beside(
    texture: str, seed: int, start_pf: float
) -> None:
    forcing, days = storms(seed, 200, 2), np.zeros((9, 2, soil.CELLS))
    slab_m, yard = [0.4, 0.4], [None, 0]
    both = soil.Columns([texture] * 2, yard=yard, slab_m=slab_m, start_pf=start_pf)
    results, under_pf = both.run(forcing, days), days.copy()
    alone = soil.Columns([texture], slab_m=slab_m[:1], start_pf=start_pf)
    potential = np.empty((len(forcing), 1, soil.LAYERS))
    found, below = np.zeros_like(results), np.zeros_like(days)
    dry = np.ascontiguousarray(forcing[:, :1])
    alone.step(dry, found[:, :1].copy(), below[:, :1].copy(), potential)
    strip = soil.Columns([texture] * 2, yard=yard, slab_m=slab_m, start_pf=start_pf)
    for first in range(0, len(forcing), 24):
        hours = slice(first, first + 24)
        strip.step(forcing[hours], found[hours], below, potential[hours], known=1)
    np.testing.assert_array_equal(found[:, 1], results[:, 1])
    np.testing.assert_array_equal(below[:, 1], under_pf[:, 1])
    assert not found[:, 0].any()


@given(seed=SEEDS)
@settings(max_examples=20)
def test_picked_columns_go_on_as_the_ones_they_are_copies_of(seed: int) -> None:
    """Yard and strips that trade water with it and with a slab; one strip is picked twice."""

    def columns() -> soil.Columns:
        made = soil.Columns(["clay"] * 3, yard=[None, 0, 0], slab_m=[None, 0.4, None])
        made.run(before)
        return made

    before, after = storms(seed, 100, 3), storms(seed + 1, 100, 3)
    whole, chosen = columns(), [0, 2, 1, 1]
    part = whole.picked(chosen)
    results = part.run(after[:, chosen])
    np.testing.assert_array_equal(results, whole.run(after)[:, chosen])
    np.testing.assert_array_equal(part.under_slab_mm(), whole.under_slab_mm()[chosen])
    np.testing.assert_array_equal(columns().run(after), columns().picked([0, 1, 2]).run(after))


def test_batches_on_threads_are_the_same_bits() -> None:
    forcings = [storms(seed, 400, 3) for seed in range(5)]

    def columns() -> soil.Columns:
        return soil.Columns(["clay"] * 3, yard=[None, None, 0])

    alone = [columns().run(forcing) for forcing in forcings]
    batches = [(columns(), forcing) for forcing in forcings]
    for one, other in zip(alone, soil.run_batches(batches, np.copy, threads=3), strict=True):
        np.testing.assert_array_equal(one, other)


@given(seed=SEEDS)
def test_the_yard_is_the_unwatered_control(seed: int) -> None:
    # A strip beside it changes nothing in the unwatered column.
    forcing = storms(seed, 100, 2)
    forcing[:, 0, soil.IRRIGATION] = 0.0
    beside = soil.Columns(["clay"] * 2, yard=[None, 0])
    alone = soil.Columns(["clay"])
    np.testing.assert_array_equal(
        beside.run(forcing)[:, 0], alone.run(np.ascontiguousarray(forcing[:, :1]))[:, 0]
    )


def test_exchange_runs_from_wet_to_dry_and_stops_between_equals() -> None:
    forcing = np.zeros((48, 2, soil.FORCINGS))
    forcing[:, 1, soil.IRRIGATION] = 1.0
    forcing[:, 1, soil.IRRIGATION_S] = 3600.0
    columns = soil.Columns(["clay"] * 2, yard=[None, 0], start_pf=3.0)
    results = columns.run(forcing)
    assert np.all(results[:, 0, soil.LATERAL] == 0.0)
    assert results[:, 1, soil.LATERAL].sum() > 0.01
    columns.set_pf(3.0)
    same = columns.run(np.zeros((48, 2, soil.FORCINGS)))
    assert abs(same[:, 1, soil.LATERAL].sum()) < 1e-3


def test_runoff_is_booked_to_what_ran_off() -> None:
    hour = np.zeros((3, soil.FORCINGS))
    hour[0, soil.RAIN] = 40.0
    hour[1, [soil.IRRIGATION, soil.IRRIGATION_S]] = 40.0, 3600.0
    hour[2, [soil.RAIN, soil.IRRIGATION, soil.IRRIGATION_S]] = 30.0, 10.0, 3600.0
    result = soil.Columns(["clay"] * 3).run(hour[None])[0]
    total = result[:, soil.RUNOFF_RAIN] + result[:, soil.RUNOFF_IRRIGATION]
    np.testing.assert_allclose(total, total[0])
    assert 30.0 < total[0] < 37.0
    assert result[0, soil.RUNOFF_IRRIGATION] == 0.0
    assert result[1, soil.RUNOFF_RAIN] == 0.0
    assert result[2, soil.RUNOFF_RAIN] == pytest.approx(3.0 * result[2, soil.RUNOFF_IRRIGATION])


def test_intensity_matters_and_cycles_with_rests_run_off_less() -> None:
    def runoff(runs: list[tuple[float, float]]) -> float:
        forcing = np.zeros((12, 1, soil.FORCINGS))
        for hour, (amount, seconds) in enumerate(runs):
            forcing[hour, 0, soil.IRRIGATION] = amount
            forcing[hour, 0, soil.IRRIGATION_S] = seconds
        columns = soil.Columns(["clay"], start_pf=3.0)
        return float(columns.run(forcing)[:, 0, soil.RUNOFF_IRRIGATION].sum())

    # 16.6 mm/h on clay: published infiltration of clay is 1-5 mm/h (Brouwer et al. 1988).
    assert runoff([(16.6, 3600.0)]) > 8.0
    assert runoff([(4.15, 900.0)] + [(0.0, 0.0)] * 2) < 0.5
    assert runoff([(4.0, 100.0)]) > runoff([(4.0, 3600.0)])


def test_cracks_take_water_past_dry_clay_and_close_as_it_wets() -> None:
    rain = np.zeros((24 * 20, 3, soil.FORCINGS))
    rain[:, :, soil.RAIN] = 0.5
    dry = soil.Columns(["clay", "clay", "loam"], ks_mm_h=[5.0] * 3, start_pf=4.3)
    before = dry.stored_mm()
    results = dry.run(rain)
    past = results[:, :, soil.BYPASS_RAIN]
    assert past[0, 0] == pytest.approx(soil.CRACK_SHARE * 0.5, rel=1e-6)
    assert np.all(np.diff(past[:, 0]) <= 1e-12)  # it only wets, so they only close
    assert past[:, 0].sum() > 1.0
    assert past[-1, 0] == 0.0
    assert np.all(past[:, 2] == 0.0)  # loam does not crack
    assert np.all(results[:, :, soil.BYPASS_IRRIGATION] == 0.0)
    # What went past is nowhere in the ground.
    kept = dry.stored_mm() - before
    gone = results[:, :, : soil.INFILTRATION].sum(axis=(0, 1))
    assert kept.sum() == pytest.approx(rain[:, :, soil.RAIN].sum() - gone.sum(), abs=1e-9)
    moist = soil.Columns(["clay"], start_pf=3.2).run(rain[:, :1])
    assert np.all(moist[:, 0, soil.BYPASS_RAIN] == 0.0)


def test_bypass_is_booked_to_what_fell() -> None:
    hour = np.zeros((1, 1, soil.FORCINGS))
    hour[0, 0, [soil.RAIN, soil.IRRIGATION, soil.IRRIGATION_S]] = 3.0, 1.0, 3600.0
    result = soil.Columns(["clay"], start_pf=4.5).run(hour)[0, 0]
    assert result[soil.BYPASS_RAIN] == pytest.approx(3.0 * result[soil.BYPASS_IRRIGATION])
    assert result[soil.BYPASS_IRRIGATION] > 0.1
    whole = soil.Columns(["clay"], start_pf=4.5, crack_share=0.0).run(hour)[0, 0]
    assert whole[soil.BYPASS_RAIN] == 0.0
    assert whole[soil.INFILTRATION] > result[soil.INFILTRATION]


def share(low_m: float, high_m: float) -> Floats:
    """How much of some depths lies in each layer."""
    return np.asarray(np.diff(np.clip(soil.EDGES_M, low_m, high_m)) / (high_m - low_m))


@pytest.mark.parametrize("start_pf", [1.5, 2.5, 3.3, 4.2])
def test_measures_agree_with_the_retention_curve(start_pf: float) -> None:
    columns = soil.Columns(["clay", "loam"], start_pf=start_pf)
    np.testing.assert_allclose(columns.measures()[:, soil.BAND_PF], start_pf, atol=2e-3)
    dry = np.zeros((24 * 90, 2, soil.FORCINGS))
    dry[:, :, soil.PET] = 0.1
    last = columns.run(dry)[-1]
    np.testing.assert_array_equal(columns.measures()[:, soil.BAND_PF :], last[:, soil.BAND_PF :])
    suction_pf = soil.suction_pf(columns)
    assert np.ptp(suction_pf) > 0.5  # no longer the same at all depths
    np.testing.assert_allclose(last[:, soil.BAND_PF], suction_pf @ share(0.15, 1.0), atol=2e-3)
    np.testing.assert_allclose(last[:, soil.TOP_PF], suction_pf @ share(0.0, 0.3), atol=2e-3)
    middles_m = (np.array(soil.EDGES_M[1:]) + np.array(soil.EDGES_M[:-1])) / 2.0
    expected = [np.interp(soil.PROBE_M, middles_m, row) for row in columns.water_content]
    np.testing.assert_allclose(last[:, soil.PROBE_VWC], expected, rtol=1e-12)


def test_suction_has_one_logarithm() -> None:
    assert textures.pf(1000.0) == pytest.approx(3.0)
    assert textures.pf(0.0) == 0.0


def test_refusals() -> None:
    with pytest.raises(ValueError, match="one value for each column"):
        soil.Columns(["clay"] * 2, ks_mm_h=[1.0])
    with pytest.raises(ValueError, match="conductivity must be above 0"):
        soil.Columns(["clay"], ks_mm_h=[0.0])
    with pytest.raises(ValueError, match="allowed are 0 to"):
        soil.Columns(["clay"], start_pf=9.0)
    for names, ks, yard in (
        (["clay"] * 2, [None, None], [1, None]),
        (["clay", "loam"], [None, None], [None, 0]),
        (["clay"] * 2, [1.0, 2.0], [None, 0]),
    ):
        with pytest.raises(ValueError, match="a yard comes before its strip"):
            soil.Columns(names, ks_mm_h=ks, yard=yard)
    with pytest.raises(ValueError, match="a share, 0 to 1"):
        soil.Columns(["clay"], crack_share=1.5)
    columns = soil.Columns(["clay"])
    with pytest.raises(ValueError, match="hours x columns x FORCINGS"):
        columns.run(np.zeros((5, 2, soil.FORCINGS)))
    for bad in (-1.0, np.nan, np.inf):
        forcing = np.zeros((5, 1, soil.FORCINGS))
        forcing[2, 0, soil.RAIN] = bad
        with pytest.raises(ValueError, match="finite and not negative"):
            columns.run(forcing)
