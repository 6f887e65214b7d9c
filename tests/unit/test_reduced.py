"""The hub's model in floating point: the same as the core's, and found again by a fit."""

from dataclasses import astuple, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenclay.controller import estimate
from evenclay.sim.judge.reduced import (
    BEGUN,
    LEAST,
    MOST,
    SETTLES_DAYS,
    Seen,
    Store,
    carried,
    error_of,
    fit_store,
)
from evenclay.sim.types import Floats

YEARS = 10
DAYS = 365 * YEARS
SAME_PF = 0.005
FULL_PF = 2.0
TRUE = Store(1.4, 24.0, 0.45, 3.2, 4.5, 0.012, 130.0)


def weather(seed: int, wet_days: float) -> tuple[Floats, Floats]:
    """Rain and demand of days, whole micrometres [mm]; dry summers."""
    random = np.random.default_rng(seed)
    season = np.cos(2.0 * np.pi * (np.arange(DAYS) / 365.0 - 0.53))
    rains = random.random(DAYS) < wet_days * (1.0 - 0.6 * season)
    rain_mm = np.where(rains, random.exponential(9.0, DAYS), 0.0).round(3)
    demand_mm = np.maximum(3.5 + 2.5 * season + random.normal(0.0, 0.7, DAYS), 0.0).round(3)
    return rain_mm, demand_mm


def by_the_core(
    store: Store, wet_mm: Floats, demand_mm: Floats, beside_pf: Floats, start_pf: float
) -> Floats:
    """The same days by the integers of the hub."""
    top_um, hold_um = round(1000.0 * store.top_mm), round(1000.0 * store.hold_mm)
    ground = (
        top_um,
        round(1000.0 * store.top_share),
        round((store.freely_pf - FULL_PF) * hold_um),
        round((store.end_pf - FULL_PF) * hold_um),
        round(1e6 * store.beside),
    )
    top, lack = top_um // 2, round((start_pf - FULL_PF) * hold_um)
    found = []
    for wet, demand, yard_pf in zip(wet_mm, demand_mm, beside_pf, strict=True):
        need_um = round(1000.0 * demand) * round(1000.0 * store.demand) // 1000
        beside_um = round((yard_pf - FULL_PF) * hold_um)
        top, lack = estimate.day(top, lack, round(1000.0 * wet), need_um, beside_um, ground)
        found.append(FULL_PF + lack / hold_um)
    return np.array(found)


def stores() -> st.SearchStrategy[Store]:
    """Stores within the bounds of a fit, in the steps of a plan.

    The core cuts off a part of a micrometre here and there, which adds up where nearly nothing
    moves and a pF is little water; such stores are left out.
    """
    least, most = astuple(replace(LEAST, demand=0.5, hold_mm=60.0)), astuple(MOST)
    steps_of = (1e3, 1e3, 1e3, 1e3, 1e3, 1e6, 1e3)
    return st.builds(
        Store,
        *(
            st.integers(round(low * steps), round(high * steps)).map(steps.__rtruediv__)
            for low, high, steps in zip(least, most, steps_of, strict=True)
        ),
    )


@settings(max_examples=40)
@given(stores(), st.integers(0, 999), st.floats(0.02, 0.5), st.floats(2.0, 4.5))
def test_the_model_in_floating_point_is_the_hub_s(
    store: Store, seed: int, wet_days: float, start_pf: float
) -> None:
    rain_mm, demand_mm = weather(seed, wet_days)
    beside_pf = 3.2 + 0.6 * np.sin(np.arange(DAYS) / 58.0)
    found = carried(astuple(store), rain_mm, demand_mm, beside_pf, start_pf)
    core = by_the_core(store, rain_mm, demand_mm, beside_pf, start_pf)
    assert float(np.abs(found - core).max()) < SAME_PF


def test_a_day_s_water_fills_the_top_first_and_then_the_ground() -> None:
    still = np.zeros(1)
    full = np.full(1, FULL_PF)
    store = astuple(replace(TRUE, beside=0.0))  # its top begins half full: it lacks 12 mm
    for wet_mm, gone_mm in ((0.0, 0.0), (12.0, 0.0), (20.0, 8.0), (400.0, 130.0)):
        pf = carried(store, still + wet_mm, still, full, 3.0)
        assert pf[0] == pytest.approx(3.0 - gone_mm / TRUE.hold_mm)


def lives(store: Store, beside_pf: Floats, demand_mm: Floats, rain_mm: Floats) -> list[Seen]:
    """What such a store would have been, left alone and given 4 mm a day in summer."""
    summer = np.cos(2.0 * np.pi * (np.arange(DAYS) / 365.0 - 0.53)) > 0.3
    return [
        Seen(wet, carried(astuple(store), wet, demand_mm, beside_pf, 3.4))
        for wet in (rain_mm, rain_mm + 4.0 * summer)
    ]


@pytest.mark.parametrize(
    "true",
    [
        TRUE,
        Store(0.8, 10.0, 0.3, 2.8, 4.1, 0.03, 90.0),
        Store(2.2, 40.0, 0.6, 3.4, 5.0, 0.004, 170),
    ],
)
def test_a_fit_finds_a_store_again(true: Store) -> None:
    """Series of one store, so the fit comes as near as two days in a thousand are apart."""
    rain_mm, demand_mm = weather(3, 0.15)
    beside_pf = 3.4 + 0.5 * np.sin(np.arange(DAYS) / 58.0)
    seen = lives(true, beside_pf, demand_mm, rain_mm)
    assert error_of(true, seen, demand_mm, beside_pf) < 0.02  # it begins where the first day ends
    assert error_of(BEGUN, seen, demand_mm, beside_pf) > 0.1
    found = fit_store(seen, demand_mm, beside_pf)
    assert error_of(found, seen, demand_mm, beside_pf) < 0.02
    for name in ("demand", "end_pf", "beside", "hold_mm"):
        assert getattr(found, name) == pytest.approx(getattr(true, name), rel=0.1), name


def test_a_fit_keeps_its_bounds_and_passes_nothing_without_a_yard() -> None:
    rain_mm, demand_mm = weather(5, 0.1)
    beyond = Store(4.0, 90.0, 0.2, 3.9, 5.4, 0.0, 320.0)
    seen = lives(beyond, np.full(DAYS, FULL_PF), demand_mm, rain_mm)
    found = fit_store(seen, demand_mm, None)
    assert found.beside == 0.0
    for low, value, high in zip(astuple(LEAST), astuple(found), astuple(MOST), strict=True):
        assert low <= value <= high
    beside = fit_store(seen, demand_mm, np.full(DAYS, 3.0))
    for low, value, high in zip(astuple(LEAST), astuple(beside), astuple(MOST), strict=True):
        assert low <= value <= high
    # Any store within the bounds is one that a property file takes.
    assert LEAST.end_pf > MOST.freely_pf


def test_the_first_days_of_a_fit_do_not_count() -> None:
    rain_mm, demand_mm = weather(7, 0.15)
    yard_pf = np.full(DAYS, FULL_PF)
    (seen, _) = lives(TRUE, yard_pf, demand_mm, rain_mm)
    spoilt = seen.pf.copy()
    spoilt[1:SETTLES_DAYS] += 1.0
    off = Seen(seen.wet_mm, spoilt)
    assert error_of(TRUE, [off], demand_mm, yard_pf) == error_of(TRUE, [seen], demand_mm, yard_pf)
    spoilt[SETTLES_DAYS] += 1.0
    assert error_of(TRUE, [off], demand_mm, yard_pf) > error_of(TRUE, [seen], demand_mm, yard_pf)
