"""Over the grounds: quantiles, limits, skill and the verdict, by sums done by hand."""

from dataclasses import replace

import numpy as np
import pytest

from evenclay.sim.judge import verdict
from evenclay.sim.judge.measures import Measures

NAN = float("nan")
KEPT = Measures(
    years=25,
    zone_movement_pct=np.array([60.0]),
    zone_days_on_target=np.array([300.0]),
    zone_days_soaked=np.array([0.0]),
    movement_pct=60.0,
    tilt_pct=70.0,
    tilt_added_pct=-10.0,
    unrest_pct=65.0,
    unrest_worst_year_pct=80.0,
    unrest_record_pct=90.0,
    shift_between_pct=20.0,
    shift_between_year=2,
    shift_inside_pct=-40.0,
    shift_inside_year=3,
    excursion_pct=40.0,
    days_on_target=300.0,
    days_soaked=0.0,
    yearly=np.array([0.65] * 25),
)


def grounds(name: str, *values: float) -> list[Measures]:
    return [replace(KEPT, **{name: value}) for value in values]  # type: ignore[arg-type]


def test_quantiles_leave_out_what_has_no_meaning_and_say_so() -> None:
    # Of 0, 10 ... 100 the tenth of a hundred is 10, the ninetieth 90.
    found = verdict.quantiles([*range(0, 101, 10), NAN])
    assert found == pytest.approx((10.0, 50.0, 90.0, 11))
    nothing = verdict.quantiles([NAN, NAN])
    assert nothing.grounds == 0 and np.isnan(nothing.p50)


def test_each_limit_is_on_the_median() -> None:
    assert verdict.broken([KEPT]) == ()
    for name, most in verdict.LIMITS.items():
        within, beyond = most, most + 0.1
        assert verdict.broken(grounds(name, within, within, 9e3)) == ()
        assert verdict.broken(grounds(name, within, beyond, 9e3)) == (name,)


def test_the_limits_are_the_designs() -> None:
    assert verdict.LIMITS == {"tilt_added_pct": 15.0, "excursion_pct": 100.0, "days_soaked": 15.0}
    assert set(verdict.WOULD_CHANGE) == {*verdict.LIMITS, "unrest_pct"}


def test_half_the_way_to_harm_is_a_caution() -> None:
    assert not verdict.cautious(grounds("excursion_pct", 10.0, 50.0, 99.0))
    assert verdict.cautious(grounds("excursion_pct", 10.0, 50.1, 99.0))


def test_skill_is_a_ratio_of_sums() -> None:
    none, informed = np.array([1.0, 1.0]), np.array([0.2, 0.8])
    # Gained 0.4 + 0.2 of 0.8 + 0.2; the mean of the years' ratios would be 0.75.
    assert verdict.skill(none, np.array([0.6, 0.8]), informed) == pytest.approx(0.6)
    assert verdict.skill(none, np.array([1.2, 1.3]), informed) == pytest.approx(-0.5)


def test_skill_is_not_given_where_informed_gains_little() -> None:
    none = np.array([1.0, 1.0])
    assert verdict.skill(none, none, none * 0.84) == 0.0
    assert np.isnan(verdict.skill(none, none, none * 0.86))
    assert np.isnan(verdict.skill(none, none * 0.5, none * 1.1))
    assert np.isnan(verdict.skill(none * 0.0, none * 0.0, none * 0.0))


def test_skill_counts_only_within_the_limits() -> None:
    none = [replace(KEPT, yearly=np.ones(25))] * 3
    own = [replace(KEPT, yearly=np.full(25, y)) for y in (0.6, 0.7, 0.8)]
    informed = [replace(KEPT, yearly=np.full(25, y)) for y in (0.5, 0.5, 0.9)]
    found = verdict.skill_over(none, own, informed)
    # 0.4 / 0.5 and 0.3 / 0.5; in the third ground informed gains 10 points alone.
    assert found.over.p50 == pytest.approx(0.7)
    assert (found.over.grounds, found.counts) == (2, True)
    soaked = [replace(each, days_soaked=16.0) for each in own]
    assert verdict.skill_over(none, soaked, informed) == (found.over, False)


def test_informed_has_the_best_relief_within_the_limits() -> None:
    by_relief = {
        0.0: replace(KEPT, unrest_pct=80.0),
        0.4: replace(KEPT, unrest_pct=60.0),
        0.8: replace(KEPT, unrest_pct=40.0, excursion_pct=110.0),
    }
    assert verdict.best_relief(by_relief) == 0.4
    assert verdict.best_relief({0.8: by_relief[0.8]}) is None


def test_water_by_the_relief_that_passes_with_the_least_unrest() -> None:
    found = verdict.verdict(
        {
            0.6: grounds("excursion_pct", 90.0, 120.0, 130.0),
            0.2: grounds("unrest_pct", 70.0, 75.0, 80.0),
            0.4: grounds("unrest_pct", 50.0, 60.0, 85.0),
        }
    )
    assert (found.word, found.relief_pf) == ("water", 0.4)
    assert found.limits == {0.2: (), 0.4: (), 0.6: ("excursion_pct",)}
    assert found.limit == ("excursion_pct",)  # why not more
    assert found.would_change == (verdict.WOULD_CHANGE["excursion_pct"],)


def test_leave_where_no_relief_passes() -> None:
    found = verdict.verdict(
        {
            # Ninetieth of a hundred of 40, 60, 90: four fifths of the way from 60, 84; of 95: 88.
            0.0: grounds("unrest_pct", 40.0, 60.0, 95.0),
            0.4: [
                replace(KEPT, unrest_pct=unrest, days_soaked=20.0) for unrest in (40.0, 60.0, 95.0)
            ],
        }
    )
    assert (found.word, found.relief_pf) == ("leave", None)
    assert found.limit == ("unrest_pct",)  # of the relief that breaks the fewest
    assert found.limits[0.4] == ("unrest_pct", "days_soaked")
    assert found.would_change == (verdict.WOULD_CHANGE["unrest_pct"],)


def test_the_ninetieth_of_a_hundred_decides() -> None:
    # Four fifths of the way from the second to the third: 60 + 0.8 x 30 = 84; 60 + 0.8 x 35 = 88.
    assert verdict.verdict({0.0: grounds("unrest_pct", 40.0, 60.0, 90.0)}).word == "water"
    assert verdict.verdict({0.0: grounds("unrest_pct", 40.0, 60.0, 95.0)}).word == "leave"


def test_ground_that_hardly_moves_counts_as_harmed() -> None:
    # One ground in five: it is beyond the ninetieth of a hundred.
    assert verdict.verdict({0.0: grounds("unrest_pct", *[50.0] * 4, NAN)}).word == "leave"
    assert verdict.verdict({0.0: grounds("unrest_pct", *[50.0] * 10, NAN)}).word == "water"
    assert verdict.broken(grounds("excursion_pct", 10.0, NAN, NAN)) == ("excursion_pct",)


def test_a_verdict_needs_a_relief() -> None:
    with pytest.raises(ValueError, match="no relief"):
        verdict.verdict({})
