"""What an owner's hands find in a strip: the rod, the sample, and how often each is wrong."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.stats import binom

from evenclay.controller.ports import DRY, FIRM, WET
from evenclay.sim.ground.feel import CLASS_BORDERS, borders_pf, classes
from evenclay.sim.ground.plausible import middle
from evenclay.sim.ground.textures import TEXTURES, pf_of_kpa
from evenclay.sim.house import hands
from evenclay.sim.house.hands import ROD, Rod
from evenclay.sim.house.house import Check
from evenclay.sim.house.standing import SectionGround, Standing, sides_of, stand
from evenclay.sim.section import LAYOUT, Ground
from evenclay.sim.section.clay import Clay, clay_of
from tests.houses import make_house, still_weather

Floats = NDArray[np.float64]

TEXTURE = TEXTURES["clay"]
CLAY = clay_of(TEXTURE, Ground())
LOOSE = clay_of(TEXTURE, Ground(c_per_pf=0.12))  # holds more water, so it is less dense
DRIER = {DRY: 0, FIRM: 1, WET: 2}


def even(pf: float) -> Floats:
    return np.full(LAYOUT.layers, pf)


def layered(top_pf: float, below_pf: float, from_m: float) -> Floats:
    return np.where(LAYOUT.middles_m < from_m, top_pf, below_pf)


def said(pf: float, rod: Rod = ROD, clay: Clay = CLAY) -> int:
    return int(rod.found(even(pf), clay))


def test_resistance_by_hand() -> None:
    """1.097 x (1000 hPa x 0.8)^0.35 x 10^(0.93 x 1.4 + 1.26) = 1.097 x 10.38 x 365.0 kPa."""
    assert float(hands.resistance_kpa(3.0, 0.8, 1.4)) == pytest.approx(4155.0, rel=2e-3)


@given(st.floats(1.0, 5.0), st.floats(0.0, 0.5), st.floats(1.0, 1.7))
def test_drier_and_denser_clay_is_harder(pf: float, more_pf: float, density: float) -> None:
    here, drier = (
        float(
            hands.resistance_kpa(one, float(CLAY.content(np.array(one))) / CLAY.saturated, density)
        )
        for one in (pf, pf + more_pf)
    )
    assert drier >= here
    assert hands.resistance_kpa(pf, 0.8, density) < hands.resistance_kpa(pf, 0.8, density + 0.1)


@given(st.floats(1.0, 5.0), st.floats(0.0, 1.0))
def test_drier_clay_never_feels_wetter(pf: float, more_pf: float) -> None:
    assert DRIER[said(pf + more_pf)] <= DRIER[said(pf)]


def test_a_rod_is_muddy_at_field_capacity_and_stops_where_it_is_hard() -> None:
    muddy_pf = pf_of_kpa(33.0)
    assert (said(muddy_pf - 0.01), said(muddy_pf + 0.01)) == (WET, FIRM)
    assert said(4.0) == DRY
    # It stops at the first hard layer, and does not know what lies below its length.
    assert int(ROD.found(layered(2.6, 4.0, 0.45), CLAY)) == DRY
    assert int(ROD.found(layered(2.6, 4.0, 0.6), CLAY)) == FIRM
    assert int(ROD.found(layered(4.0, 2.6, 0.1), CLAY)) == DRY
    # Half of its length is muddy, or less.
    assert int(ROD.found(layered(2.0, 2.6, 0.3), CLAY)) == WET
    assert int(ROD.found(layered(2.0, 2.6, 0.2), CLAY)) == FIRM


def test_a_rod_tells_of_the_hand_and_the_clay_too() -> None:
    assert said(2.9) == DRY
    assert said(2.9, replace(ROD, push_n=200.0)) == FIRM
    assert said(2.9, clay=LOOSE) == FIRM
    assert ROD.stops_kpa == pytest.approx(3158.0, rel=1e-3)


def test_many_strips_at_once_are_those_one_by_one() -> None:
    profiles = np.stack([even(2.2), even(2.6), layered(2.6, 4.0, 0.3)])
    assert ROD.found(profiles, CLAY).tolist() == [WET, FIRM, DRY]


def test_borders_of_classes_by_the_words() -> None:
    """Each border lies where that share of the water between 33 and 1500 kPa is left."""
    full, wilted = (float(TEXTURE.water_content(kpa * 10.19716)) for kpa in (33.0, 1500.0))
    pf = np.linspace(2.0, 4.5, 25001)
    content = TEXTURE.water_content(10.0**pf)
    felt = classes(pf, TEXTURE)
    assert felt[0] == 4 and felt[-1] == 0
    for upper, share in ((4, 1.0), (3, 0.75), (2, 0.5), (1, 0.25)):
        last = np.flatnonzero(felt >= upper)[-1]
        found = (content[last] - wilted) / (full - wilted)
        assert found == pytest.approx(share, abs=1e-3)
    # In clay a class is about 0.4 pF wide.
    borders = [pf[np.flatnonzero(felt >= upper)[-1]] for upper in (1, 2, 3, 4)]
    assert borders == pytest.approx(borders_pf(TEXTURE), abs=2e-4)
    widths = -np.diff(borders)
    assert np.all((widths > 0.38) & (widths < 0.45))


def test_a_ground_of_another_retention_has_the_same_classes() -> None:
    pf = np.array([2.4, 2.7, 3.1, 3.5, 4.0, 4.4])
    for clay in (CLAY, LOOSE):
        full, wilted = (clay.content(np.array(pf_of_kpa(kpa))) for kpa in (33.0, 1500.0))
        share = (clay.content(pf) - wilted) / (full - wilted)
        by_clay = np.searchsorted(CLASS_BORDERS, share, side="right")
        assert by_clay.tolist() == classes(pf, TEXTURE).tolist()


@pytest.mark.parametrize("felt", range(5))
def test_a_sample_is_off_by_one_class_one_time_in_five(felt: int) -> None:
    tries = 4000
    found = hands.judged(np.full(tries, felt), np.random.default_rng(felt))
    off = found[found != felt]
    low, high = binom.interval(0.999, tries, hands.SAMPLE_OFF)
    assert low <= len(off) <= high
    assert set(np.abs(off - felt).tolist()) == {1}
    assert off.min() >= 0 and off.max() <= 4
    if 0 < felt < 4:
        low, high = binom.interval(0.999, len(off), 0.5)
        assert low <= np.sum(off > felt) <= high


@cache
def standing() -> Standing:
    house = make_house()
    dry = still_weather(365)
    return stand(house, middle(sides_of(house), -15.0), dry, keep=False)


@pytest.mark.parametrize("check", ["blade", "sample", "both"])
def test_each_hand_says_what_it_found_and_no_more(check: Check) -> None:
    section = standing().settled.section
    section.set_pf(np.full((2, 1, 1), 3.1))
    random = np.random.default_rng(3)
    found = [one for _ in range(100) for one in hands.felt(section, [TEXTURE] * 2, check, random)]
    assert {one.blade for one in found} == ({None} if check == "sample" else {DRY})
    said = [one.sample for one in found]
    assert set(said) == ({None} if check == "blade" else {1, 2, 3})
    if check != "blade":
        assert max(said, key=said.count) == int(classes(3.1, TEXTURE))


def test_an_owner_meets_the_strips_of_a_section() -> None:
    house, by_hour = standing(), still_weather(2)
    ground = SectionGround(house, by_hour, 0)
    house.settled.section.set_pf(np.array([4.3, 2.4])[:, None, None])
    said = [ground.felt("both", np.random.default_rng(seed)) for seed in range(60)]
    first, second = zip(*said, strict=True)
    assert {one.blade for one in first} == {DRY} and {one.sample for one in first} == {0, 1}
    assert {one.blade for one in second} == {WET} and {one.sample for one in second} == {3, 4}
