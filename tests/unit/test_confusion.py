"""The trials of hands, sensors and the bare strip: their parts, and what follows from them."""

import numpy as np
import pytest

from evenclay.controller.ports import DRY, FIRM, WET
from evenclay.sim.ground import retention
from evenclay.sim.ground.retention import plan_line
from evenclay.sim.ground.textures import TEXTURES
from evenclay.sim.section import BARE, Ground, Section, Zone
from evenclay.tools.dev.validation import bare_strip, confusion
from evenclay.tools.dev.validation.daily import MM_PER_PF, MOST_MM, kept, repeated


def test_truth_is_told_about_a_target() -> None:
    off = np.array([0.41, 0.39, 0.0, -0.39, -0.41, np.nan])
    codes = confusion.about(3.0 + off, np.array(3.0))
    assert codes.tolist() == [DRY, FIRM, FIRM, FIRM, WET, confusion.NOTHING]


def test_a_sample_is_told_by_the_class_of_its_target() -> None:
    assert confusion.compared(np.arange(5), 2).tolist() == [DRY, DRY, FIRM, WET, WET]


@pytest.mark.parametrize("name", sorted(TEXTURES))
def test_the_plan_s_line_is_read_backwards_and_keeps_near_the_middle_ground(name: str) -> None:
    line, pf = plan_line(TEXTURES[name]), np.linspace(2.5, 4.2, 18)
    assert line.pf(line.ppt(pf)).tolist() == pytest.approx(pf.tolist())
    content = retention.content(TEXTURES[name], retention.MIDDLE_C_PER_PF, pf)
    if TEXTURES[name].cracks:
        assert np.abs(line.pf(1000.0 * content) - pf).max() < 0.1


def test_a_strip_is_given_what_it_lacks_each_midnight() -> None:
    zones = [Zone(coefficient=0.8), Zone(coefficient=0.5, cover=BARE)]
    hours = 24 * 120
    rain_mm, et0_mm = np.zeros(hours), np.full(hours, 6.0 / 24.0)
    section = Section(Ground(), zones, start_pf=3.1, bottom_pf=3.3)
    days, given_mm = kept(section, rain_mm, et0_mm, [3.0, 5.0])
    assert days.pf.shape[0] == len(given_mm) == 120
    assert given_mm[0] == pytest.approx([MM_PER_PF * 0.1, 0.0], rel=1e-3)
    assert np.all(given_mm[:, 1] == 0.0) and given_mm.max() <= MOST_MM
    assert section.strip_pf()[0] == pytest.approx(3.0, abs=0.3)  # the yard draws on it too
    assert days.water["water_mm"].sum(axis=0) == pytest.approx(given_mm.sum(axis=0), abs=1e-6)
    dry = Section(Ground(), zones, start_pf=3.1, bottom_pf=3.3)
    _, nothing_mm = kept(dry, rain_mm, et0_mm, None)
    assert not nothing_mm.any() and dry.strip_pf()[0] > section.strip_pf()[0] + 0.3
    assert len(repeated(rain_mm, 2.0)) == round(2 * 365.25) * 24


@pytest.mark.slow
def test_most_of_what_one_wetness_does_hangs_on_the_bare_strip() -> None:
    """With and without what dries it besides its own surface; the direction stays in both."""
    apart = {}
    for neighbours in (True, False):
        one, own = (bare_strip.measured(neighbours, wetness)[0] for wetness in (True, False))
        assert one.unrest_pct > own.unrest_pct and one.tilt_pct > own.tilt_pct
        apart[neighbours] = one.shift_between_pct - own.shift_between_pct
    assert 0.0 < apart[True] < 0.4 * apart[False]


@pytest.mark.slow
def test_hands_and_sensors_are_better_than_guessing_and_far_from_right() -> None:
    """On two of the grounds; a third is what guessing gets right."""
    for case in confusion.cases():
        right = {row[1]: float(row[-1]) for row in confusion.rows(case, 2)}
        assert len(right) == 7
        assert 60.0 < right["sample"] < 90.0
        assert right["rod, one hand"] < right["rod, both hands"] < 90.0
        assert right["granular matrix"] < 60.0  # these targets lie beyond its range
