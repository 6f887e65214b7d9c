"""What must hold of the measures for any ground and any way of watering."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from evenclay.sim.judge import measures, strip, verdict
from evenclay.sim.judge.measures import Measures, Place, Record

Floats = NDArray[np.float64]

EDGES_M = (0.0, 0.3, 0.7, 1.2, 3.0)
DAYS = 731  # two years, and some of the days
SEEDS = st.integers(0, 2**32 - 1)
ZONES = st.integers(1, 4)
OF_HOUSE = [
    "movement_pct",
    "tilt_pct",
    "tilt_added_pct",
    "unrest_pct",
    "unrest_worst_year_pct",
    "unrest_record_pct",
    "shift_between_pct",
    "shift_between_year",
    "shift_inside_pct",
    "shift_inside_year",
    "excursion_pct",
    "days_on_target",
    "days_soaked",
]
OF_ZONES = ["zone_movement_pct", "zone_days_on_target", "zone_days_soaked"]


def place(zones: int) -> Place:
    return Place(EDGES_M, 0.4, 1.5, tuple("nesw"[:zones]))


def record(seed: int, zones: int, low_pf: float = 2.6, high_pf: float = 4.2) -> Record:
    """Ground that changes from day to day as it likes, about a level of each place."""
    random = np.random.default_rng(seed)
    shape = (DAYS, zones, len(EDGES_M) - 1)
    middle = (low_pf + high_pf) / 2.0
    reach = (high_pf - low_pf) / 2.0
    return Record(*(middle + reach * random.uniform(-1.0, 1.0, shape) for _ in range(3)))


def judge(watered: Record, dry: Record, at: Place, target_pf: float = 3.2) -> Measures:
    return measures.measure(watered, dry, np.full(len(at.sides), target_pf), at, 0, years_least=1)


def same(a: Measures, b: Measures, names: list[str]) -> None:
    for name in names:
        left, right = getattr(a, name), getattr(b, name)
        np.testing.assert_allclose(left, right, rtol=1e-9, atol=1e-7, err_msg=name)


@given(seed=SEEDS, zones=ZONES)
def test_leaving_it_alone_is_100_and_breaks_nothing(seed: int, zones: int) -> None:
    dry = record(seed, zones)
    judged = judge(dry, dry, place(zones))
    for name in ("movement_pct", "unrest_pct", "unrest_worst_year_pct", "unrest_record_pct"):
        assert getattr(judged, name) == pytest.approx(100.0)
    assert np.isnan(judged.tilt_pct) if zones == 1 else judged.tilt_pct == pytest.approx(100.0)
    assert (judged.tilt_added_pct, judged.excursion_pct, judged.days_soaked) == (0.0, 0.0, 0.0)
    assert verdict.broken([judged]) == ()
    assert verdict.verdict({0.0: [judged]}).word == "leave"  # it calms nothing


@given(seed=SEEDS, zones=st.integers(2, 4), data=st.data())
def test_the_order_of_the_zones_is_nothing(seed: int, zones: int, data: st.DataObject) -> None:
    order = data.draw(st.permutations(range(zones)))
    dry, wet, at = record(seed, zones), record(seed + 1, zones), place(zones)
    turned = [Record(*(pf[:, order] for pf in each)) for each in (wet, dry)]
    sides = Place(EDGES_M, 0.4, 1.5, tuple(at.sides[z] for z in order))
    one, other = judge(wet, dry, at), judge(turned[0], turned[1], sides)
    same(one, other, OF_HOUSE)
    for name in OF_ZONES:
        np.testing.assert_allclose(getattr(one, name)[order], getattr(other, name), rtol=1e-9)


@given(seed=SEEDS, zones=st.integers(2, 4), lift_pf=st.floats(-0.5, 0.5))
def test_the_same_lift_on_all_sides_is_no_tilt_and_no_movement(
    seed: int, zones: int, lift_pf: float
) -> None:
    dry, wet = record(seed, zones), record(seed + 1, zones)
    lifted = wet._replace(edge_pf=wet.edge_pf + lift_pf)
    one, other = judge(wet, dry, place(zones)), judge(lifted, dry, place(zones))
    names = ["movement_pct", "tilt_pct", "unrest_pct", "unrest_record_pct", "shift_between_pct"]
    same(one, other, names)
    # But it is a shift of edge against inside, by as much as it weighs: pF 3 less pF 2 is 1.
    column = np.array([np.full(4, 3.0), np.full(4, 2.0)])
    moved_pf_m = lift_pf * -np.diff(measures.weighted_suction(column, place(zones)))[0]
    base = measures.change(measures.weighted_suction(dry.edge_pf, place(zones)), place(zones))
    moved_pct = 100.0 * abs(moved_pf_m) / base.movement.mean()
    assert moved_pct - abs(one.shift_inside_pct) <= abs(other.shift_inside_pct) + 1e-6
    assert abs(other.shift_inside_pct) <= moved_pct + abs(one.shift_inside_pct) + 1e-6


@given(seed=SEEDS, zones=ZONES, times=st.floats(0.0, 1.0))
def test_unrest_goes_with_the_swing(seed: int, zones: int, times: float) -> None:
    dry = record(seed, zones)
    middle = dry.edge_pf.mean(axis=0)
    calmed = dry._replace(edge_pf=middle + times * (dry.edge_pf - middle))
    judged = judge(calmed, dry, place(zones))
    for name in ("movement_pct", "unrest_pct", "unrest_worst_year_pct", "unrest_record_pct"):
        assert getattr(judged, name) == pytest.approx(100.0 * times, abs=1e-6)
    assert judged.tilt_added_pct <= 1e-9


@given(seed=SEEDS, zones=ZONES)
def test_where_a_house_began_changes_no_movement_and_no_excursion(seed: int, zones: int) -> None:
    dry, wet, at = record(seed, zones), record(seed + 1, zones), place(zones)
    months = np.arange(DAYS) // 30 % 12 + 1
    start = measures.poured_on(dry.edge_pf[:, 0], months, 7, at)
    target = np.full(zones, 3.2)
    young = measures.measure(wet, dry, target, at, 0, start=start, years_least=1)
    moved = {"shift_between_pct", "shift_between_year", "shift_inside_pct", "shift_inside_year"}
    same(judge(wet, dry, at), young, [name for name in OF_HOUSE if name not in moved])


@given(seed=SEEDS, zones=st.integers(2, 4))
def test_zones_of_one_side_do_not_tilt(seed: int, zones: int) -> None:
    dry, wet = record(seed, zones), record(seed + 1, zones)
    judged = judge(wet, dry, Place(EDGES_M, 0.4, 1.5, ("north",) * zones))
    assert np.isnan(judged.tilt_pct) and np.isnan(judged.shift_between_pct)
    assert judged.tilt_added_pct == 0.0
    assert judged.unrest_pct == pytest.approx(judged.movement_pct)


@given(seed=SEEDS, low_pf=st.floats(0.0, 1.9))
def test_clay_wetter_than_pf_2_carries_as_at_2(seed: int, low_pf: float) -> None:
    at = place(2)
    pf = record(seed, 2, low_pf, 2.0).edge_pf
    assert measures.weighted_suction(pf, at) == pytest.approx(
        measures.weighted_suction(np.full_like(pf, 2.0), at)
    )


@given(seed=SEEDS, footing_m=st.floats(0.0, 2.9), more_m=st.floats(0.0, 2.0))
def test_a_deeper_footing_leaves_less_to_carry_it(
    seed: int, footing_m: float, more_m: float
) -> None:
    pf = record(seed, 1).edge_pf[0]
    shallow = Place(EDGES_M, footing_m, 1.5, ("north",))
    deep = Place(EDGES_M, footing_m + more_m, 1.5, ("north",))
    one, other = (measures.weighted_suction(pf, at)[0] for at in (shallow, deep))
    assert one >= other - 1e-9
    assert other >= -1e-9


@given(days=st.integers(365, 20_000))
def test_years_follow_one_another_and_leave_less_than_one(days: int) -> None:
    years = measures.years_of(days)
    assert years[0].start == 0
    assert all(a.stop == b.start for a, b in pairwise(years))
    assert {year.stop - year.start for year in years} <= {365, 366}
    assert 0 <= days - years[-1].stop < 366


@given(days=st.integers(1, 20_000))
def test_repeats_are_enough_and_no_more(days: int) -> None:
    times = measures.repeats(days)
    # A year before the first water is left, and 25 whole ones after it.
    assert len(measures.years_of(times * days - 365)) >= measures.YEARS_LEAST
    assert (times - 1) * days < 26 * 365.25


@given(
    levels=st.lists(st.floats(2.0, 4.2), min_size=1, max_size=6),
    relief_pf=st.floats(0.0, 0.8),
    seed=SEEDS,
)
def test_a_target_is_never_too_wet(levels: list[float], relief_pf: float, seed: int) -> None:
    days_pf = np.random.default_rng(seed).uniform(2.0, 4.2, (400, len(levels)))
    found = strip.targets_pf(np.array(levels), relief_pf, days_pf)
    assert np.all(found >= 2.5)
    assert np.all((days_pf < found).mean(axis=0) >= 0.09)
    assert np.all(found >= np.array(levels) - relief_pf - 1e-12)


@given(
    middle=st.lists(st.floats(2.0, 4.5), min_size=1, max_size=6),
    seed=SEEDS,
    settled=st.booleans(),
)
def test_shrunk_levels_keep_their_mean_and_order(
    middle: list[float], seed: int, settled: bool
) -> None:
    levels = np.array(middle)
    grounds = np.random.default_rng(seed).uniform(2.0, 4.5, (16, len(middle)))
    trust = strip.level_trust(levels, grounds)
    assert 0.0 <= trust <= 1.0
    found = strip.shrunk_levels_pf(levels, trust, settled)
    assert found.mean() == pytest.approx(levels.mean())
    assert np.all(np.abs(found - levels.mean()) <= np.abs(levels - levels.mean()) + 1e-12)
    # Grounds that all say what the middle says are believed.
    spread = np.ptp(levels)
    believed = strip.level_trust(levels, np.tile(levels, (16, 1)))
    assert believed == pytest.approx(1.0) if spread > 1e-3 else 0.0 <= believed <= 1.0


@given(values=st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=64))
def test_quantiles_are_in_order(values: list[float]) -> None:
    found = verdict.quantiles(values)
    assert min(values) <= found.p10 <= found.p50 <= found.p90 <= max(values)
    assert verdict.quantiles(values[::-1]) == found
    assert verdict.quantiles([*values, float("nan")]) == found


@given(seed=SEEDS, years=st.integers(1, 30), gain=st.floats(0.16, 1.0))
@settings(max_examples=50)
def test_skill_is_1_for_informed_and_0_for_none(seed: int, years: int, gain: float) -> None:
    none = np.random.default_rng(seed).uniform(0.1, 2.0, years)
    informed = none * (1.0 - gain)
    assert verdict.skill(none, informed, informed) == pytest.approx(1.0)
    assert verdict.skill(none, none, informed) == pytest.approx(0.0)
    assert verdict.skill(none, none * 1.5, informed) < 0.0
