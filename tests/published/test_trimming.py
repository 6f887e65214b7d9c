"""The weekly check closes the loop: from a plan far too low or too high the trim finds the band.

On the demo's weather and on Tunis's (from the package aquacrop; latitude assumed). The owner's
limits and habits are ours; nobody has published any.
"""

from functools import cache

import pytest

from evenclay.sim.house.house import Owner
from tests import trimming
from tests.trimming import OWNER, PLACES, STARTS_PCT, Years

PLACE = pytest.mark.parametrize("place", list(PLACES))
START = pytest.mark.parametrize("start_pct", STARTS_PCT)


def some(place: str) -> tuple[int, ...]:
    return PLACES[place].years[1::2]


@cache
def right_pct(place: str) -> int:
    return trimming.right_level_pct(place, some(place))


@cache
def found(place: str, start_pct: int, owner: Owner | None) -> Years:
    return trimming.years(place, some(place), right_pct(place), start_pct, owner)


@PLACE
def test_the_right_plan_is_right(place: str) -> None:
    """Its level lies within those that were tried, and it holds the band by itself."""
    assert trimming.LEVELS_PCT[0] < right_pct(place) < trimming.LEVELS_PCT[-1]
    assert found(place, 100, None).late > 0.65


@PLACE
@START
def test_the_wrong_plan_is_wrong(place: str, start_pct: int) -> None:
    assert found(place, start_pct, None).late < 0.3


@PLACE
@START
def test_the_trim_ends_in_the_band_within_ten_weeks(place: str, start_pct: int) -> None:
    """Nearly as well as the right plan: the rest is lost to missed weeks and wrong readings."""
    right, trimmed = found(place, 100, None), found(place, start_pct, OWNER)
    assert trimmed.at_ten_weeks > 0.7 * right.at_ten_weeks
    assert trimmed.late > 0.8 * right.late
    assert sum(trimmed.level) / len(trimmed.level) == pytest.approx(1.0, abs=0.12)
    assert trimmed.level == pytest.approx([1.0] * len(trimmed.level), abs=0.2)


@PLACE
def test_a_right_plan_is_left_nearly_alone(place: str) -> None:
    right, trimmed = found(place, 100, None), found(place, 100, OWNER)
    assert trimmed.late > 0.8 * right.late


@PLACE
def test_a_coarse_hand_never_finds_a_plan_that_is_far_too_high(place: str) -> None:
    """Above the band's middle the top tells by a few kPa; who cannot feel them loses the season."""
    with trimming.coarse_hand():
        coarse = trimming.years(place, some(place), right_pct(place), 140, OWNER)
    assert coarse.late < 0.3
    assert found(place, 140, OWNER).late > coarse.late + 0.4


@PLACE
def test_feeling_the_whole_band_would_not_save_the_days(place: str) -> None:
    """The band answers weeks after the water does; a trim that waits for it swings past."""
    with trimming.whole_depth():
        deep = trimming.years(place, some(place), right_pct(place), 70, OWNER)
    assert deep.late < found(place, 70, OWNER).late
