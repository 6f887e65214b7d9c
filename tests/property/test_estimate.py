"""The estimate's arithmetic beside the same formulas in floating point, and within its bounds."""

import math
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenclay.controller import estimate
from evenclay.controller.estimate import demand_um, held_um, learnt_ppt, middle_um, root, sun_of

MOST_UM = 600000
YEARS = 20
GROUND = (25000, 400, 50000, 150000, 4000)
HOLD_UM = 60000


def sun_mm(latitude: float, of_year: float) -> float:
    """Radiation from beyond the air as water, mm a day (FAO-56, eqs. 21 to 25)."""
    turned = 2 * math.pi * of_year / 365
    declination = 0.409 * math.sin(turned - 1.39)
    place = math.radians(latitude)
    sunset = math.acos(min(max(-math.tan(place) * math.tan(declination), -1.0), 1.0))
    height = sunset * math.sin(place) * math.sin(declination)
    height += math.cos(place) * math.cos(declination) * math.sin(sunset)
    return 0.408 * 24 * 60 / math.pi * 0.0820 * (1 + 0.033 * math.cos(turned)) * height


def table(latitude: float) -> tuple[int, ...]:
    """The plan's table: the middle of each 24th of a year."""
    return tuple(round(1000 * sun_mm(latitude, 1 + 365 * (n + 0.5) / 24)) for n in range(24))


def day_number(day: date) -> int:
    return (day - date(2000, 1, 1)).days


@pytest.mark.parametrize("latitude", range(-60, 61, 5))
def test_demand_is_that_of_the_formula_on_every_day(latitude: int) -> None:
    """Within 1 % or 0.02 mm, for mild and harsh days of any season, in a leap year and another."""
    sun_um = table(latitude)
    for year in (2023, 2024):
        day = date(year, 1, 1)
        while day.year == year:
            exact_sun_mm = sun_mm(latitude, day.timetuple().tm_yday)
            season = exact_sun_mm / 17.0  # 0 in the dark, 1 under the highest sun
            for colder_c, range_c in ((0.0, 12.0), (8.0, 4.0), (-6.0, 20.0), (15.0, 0.4)):
                least_c = -14.0 + 32.0 * season - colder_c
                least_mc, most_mc = round(1000 * least_c), round(1000 * (least_c + range_c))
                mean_c = (least_mc + most_mc) / 2000
                exact_mm = 0.0023 * exact_sun_mm * max(mean_c + 17.8, 0.0)
                exact_mm *= math.sqrt((most_mc - least_mc) / 1000)
                found_um = demand_um(least_mc, most_mc, sun_of(day_number(day), sun_um))
                assert abs(found_um / 1000 - exact_mm) <= max(0.02, 0.01 * exact_mm), (day, least_c)
            day += timedelta(1)


@given(st.integers(2, 36524), st.lists(st.integers(0, 20000), min_size=24, max_size=24))
def test_the_sun_lies_on_the_line_between_its_neighbours(day: int, sun_um: list[int]) -> None:
    moment = date(2000, 1, 1) + timedelta(day)
    of_year = moment.timetuple().tm_yday - 1
    middles = [365 * (n + 0.5) / 24 for n in range(-1, 26)]
    exact = float(np.interp(of_year, middles, [sun_um[n % 24] for n in range(-1, 26)]))
    assert 0 <= exact - sun_of(day, sun_um) < 1 + 1e-6


@given(st.integers(-1000, 2**62))
def test_a_root_is_the_whole_part_of_it(value: int) -> None:
    assert root(value) == math.isqrt(max(value, 0))


@given(st.integers(-60000, 60000), st.integers(-60000, 60000), st.integers(0, 20000))
def test_demand_is_never_negative_nor_beyond_what_any_air_takes(
    least_mc: int, most_mc: int, sun_um: int
) -> None:
    found_um = demand_um(least_mc, most_mc, sun_um)
    assert 0 <= found_um <= 40000
    assert most_mc > least_mc or found_um == 0


def twin(top: float, lack: float, wet: float, demand: float, beside: float) -> tuple[float, float]:
    """`day` in floating point, mm, under GROUND."""
    top_most, top_share, freely, end, passing = 25.0, 0.4, 50.0, 150.0, 0.004
    over = max(wet - top, 0.0)
    top = max(top - wet, 0.0)
    top = min(top + demand * top_share * (1 - top / top_most), top_most)
    stress = min(max((end - lack) / (end - freely), 0.0), 1.0)
    lack += demand * (1 - top_share) * stress - over + (beside - lack) * passing
    return top, max(lack, 0.0)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("watered", [False, True])
def test_twenty_years_stay_beside_the_same_in_floating_point(seed: int, watered: bool) -> None:
    """Within 0.005 pF on every day, however the weather was."""
    chance = np.random.default_rng(seed)
    lack_um, top_um = 60000, 10000
    lack_mm, top_mm = 60.0, 10.0
    worst_mm = 0.0
    for day in range(365 * YEARS):
        season = 0.5 - 0.5 * math.cos(2 * math.pi * day / 365)
        demand = int(chance.integers(200, 2000) + 5000 * season)
        wet_um = int(chance.gamma(0.7, 9000)) if chance.random() < 0.3 - 0.2 * season else 0
        if watered and lack_um > 45000:
            wet_um += 6000
        beside_um = int(40000 + 60000 * season)
        top_um, lack_um = estimate.day(top_um, lack_um, wet_um, demand, beside_um, GROUND)
        top_mm, lack_mm = twin(top_mm, lack_mm, wet_um / 1000, demand / 1000, beside_um / 1000)
        worst_mm = max(worst_mm, abs(lack_um / 1000 - lack_mm))
    assert worst_mm / (HOLD_UM / 1000) < 0.005


LACKS = st.integers(-(2**31), 2**31)
STORES = st.integers(0, MOST_UM)
GROUNDS = st.tuples(
    st.integers(0, 65535),
    st.integers(0, 1000),
    st.integers(0, 2**31),
    st.integers(0, 2**31),
    st.integers(0, 65535),
)


@given(st.integers(0, 65535), STORES, LACKS, LACKS, STORES, GROUNDS)
def test_a_day_stays_within_bounds_whatever_it_is_given(
    top_um: int,
    lack_um: int,
    wet_um: int,
    demand: int,
    beside_um: int,
    ground: tuple[int, int, int, int, int],
) -> None:
    wet_um, demand = abs(wet_um), abs(demand)
    top_um, lack_um = estimate.day(top_um, lack_um, wet_um, demand, beside_um, ground)
    assert 0 <= top_um <= ground[0]
    assert 0 <= lack_um <= MOST_UM


@given(STORES, STORES, st.integers(0, 60000), st.integers(0, 12000), st.integers(0, 60000))
def test_more_water_never_leaves_a_strip_drier(
    top_um: int, lack_um: int, wet_um: int, demand: int, more_um: int
) -> None:
    top_um %= GROUND[0]
    dry = estimate.day(top_um, lack_um, wet_um, demand, 60000, GROUND)
    wet = estimate.day(top_um, lack_um, wet_um + more_um, demand, 60000, GROUND)
    assert wet[0] <= dry[0] and wet[1] <= dry[1]


@given(LACKS)
def test_what_is_held_is_the_nearest_within_bounds(lack_um: int) -> None:
    assert held_um(lack_um) == sorted((0, lack_um, MOST_UM))[1]


@given(st.lists(STORES, min_size=4, max_size=4))
def test_the_middle_of_a_class_lies_within_it(borders_um: list[int]) -> None:
    """That of the driest class lies above its border, that of the wettest below; none is wetter
    than full."""
    borders_um.sort(reverse=True)
    ends = [2 * borders_um[0] - borders_um[1], *borders_um, 0]
    for found in range(5):
        dry_um, wet_um = ends[found], ends[found + 1]
        assert wet_um <= middle_um(tuple(borders_um), found) <= dry_um


@given(
    st.integers(0, 65535),
    LACKS,
    st.integers(1, 10**6),
    st.integers(0, 255),
)
def test_a_factor_stays_within_bounds_and_moves_towards_what_was_found(
    factor_ppt: int, apart_mpf: int, whole_mpf: int, learn_ppt: int
) -> None:
    found_ppt = learnt_ppt(factor_ppt, apart_mpf, whole_mpf, learn_ppt)
    assert 500 <= found_ppt <= 1800
    if 500 <= factor_ppt <= 1800:
        assert (found_ppt - factor_ppt) * apart_mpf >= 0
        assert abs(found_ppt - factor_ppt) <= factor_ppt * learn_ppt // 1000 + 1
