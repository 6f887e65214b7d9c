"""The measures, each by an example small enough to check by hand; the sum stands beside it."""

import numpy as np
import pytest
from numpy.typing import NDArray

from evenclay.sim.judge import measures, strip
from evenclay.sim.judge.measures import Place, Record

Floats = NDArray[np.float64]

# Two layers, 0-0.4 m beside the footing and 0.4-1.4 m under it: within the cracked zone one metre
# weighs 1, so that weighted suction in pF m is the pF of the second layer.
PLACE = Place((0.0, 0.4, 1.4), footing_m=0.4, cracked_m=2.0, sides=("north", "south"))
ALONE = Place(PLACE.edges_m, PLACE.footing_m, PLACE.cracked_m, sides=("north",))
STRIP_EDGES_M = (0.0, 0.3, 0.5, 1.0, 2.0)


def halves(*pairs: tuple[float, float]) -> Floats:
    """Years with one value until the middle of summer and another after it, (days,)."""
    days = [day.stop - day.start for day in measures.years_of(int(len(pairs) * 365.25))]
    return np.concatenate(
        [np.repeat(pair, (180, length - 180)) for pair, length in zip(pairs, days, strict=True)]
    )


def record(edge: list[Floats], inside_pf: float = 3.5, strip_pf: float = 3.0) -> Record:
    """A record from the pF of the second layer of each zone's edge."""
    edge_pf = np.stack([np.stack([np.full(len(pf), 9.9), pf], axis=1) for pf in edge], axis=1)
    return Record(edge_pf, np.full_like(edge_pf, inside_pf), np.full_like(edge_pf, strip_pf))


# Days and years.


def test_four_years_are_1461_days() -> None:
    years = measures.years_of(1461)
    assert [year.stop - year.start for year in years] == [365, 365, 365, 366]
    assert len(measures.years_of(1460)) == 3  # a part of a year counts for nothing
    assert len(measures.years_of(365)) == 1
    with pytest.raises(ValueError, match="364 days are no whole year"):
        measures.years_of(364)


def test_a_short_record_is_lived_until_25_years_are_left() -> None:
    # 26 years are 9,496.5 days: 27 times 365 are enough and 26 times are not; once 9,497.
    assert measures.repeats(365) == 27
    assert measures.repeats(9497) == 1
    assert measures.repeats(9496) == 2


def test_the_first_watered_day_is_any_zones() -> None:
    assert measures.first_watered([[0, 0], [0, 0], [0, 7], [3, 0]]) == 2
    assert measures.first_watered([[0, 0], [0, 0]]) == 0


# The strip.


def test_level_is_the_mean_at_a_third_of_a_metre_to_one() -> None:
    pf = np.array([[[9.0, 3.0, 3.7, 9.0]], [[9.0, 3.4, 3.7, 9.0]]])
    # 0.2 m of 3.0 and 0.5 m of 3.7 are 3.5; 0.2 m of 3.4 and 0.5 m of 3.7 are 3.614; mean 3.557.
    assert strip.levels_pf(pf, STRIP_EDGES_M) == pytest.approx([(3.5 + (0.68 + 1.85) / 0.7) / 2])


def test_levels_are_trusted_as_far_as_the_grounds_bear_them_out() -> None:
    middle = np.array([3.0, 3.4])  # 0.2 to either side
    # One ground has 0.3 to either side, the other 0.1 the other way round: 0.1 in the mean.
    grounds = np.array([[3.2, 3.8], [3.6, 3.4]])
    assert strip.level_trust(middle, grounds) == pytest.approx(0.5)
    assert strip.shrunk_levels_pf(middle, 0.5) == pytest.approx([3.1, 3.3])
    assert strip.shrunk_levels_pf(middle, 0.5, settled=False) == pytest.approx([3.2, 3.2])
    assert strip.level_trust(middle, grounds[:, ::-1]) == 0.0  # never the other way round
    assert strip.level_trust(np.array([3.0, 3.0]), grounds) == 0.0


def test_a_target_is_level_less_relief_and_not_too_wet() -> None:
    unwatered = np.tile(np.linspace(2.8, 4.0, 101)[:, None], 4)
    unwatered[:, 3] -= 1.0
    level = np.array([3.5, 3.1, 3.0, 2.6])
    # 3.5 - 0.4 is 3.1. The wettest tenth of the first three ends at 2.92, wetter targets stop
    # there. The fourth may be as wet as pF 2.5, since its own wettest tenth is wetter.
    assert strip.targets_pf(level, 0.4, unwatered) == pytest.approx([3.1, 2.92, 2.92, 2.5])


@pytest.mark.parametrize("relief_pf", [-0.1, 0.9])
def test_relief_has_its_range(relief_pf: float) -> None:
    with pytest.raises(ValueError, match=r"allowed: 0\.0 to 0\.8"):
        strip.targets_pf(np.array([3.0]), relief_pf, np.array([[3.0]]))


def test_on_target_is_every_layer() -> None:
    target = np.array([3.0])
    days = [
        [0.0, 2.7, 3.3, 9.0],  # both within 0.4
        [0.0, 2.3, 3.6, 9.0],  # wet over dry: the mean is 3.2, but neither layer is
        [0.0, 3.0, 3.5, 9.0],  # one of them is not
    ]
    found = strip.on_target(np.array(days)[:, None, :], target, STRIP_EDGES_M)
    assert found[:, 0].tolist() == [True, False, False]


def test_soaked_is_any_layer() -> None:
    days = [[1.0, 2.4, 2.4, 1.0], [3.0, 2.4, 2.2, 3.0], [3.0, 2.3, 3.0, 3.0]]
    found = strip.soaked(np.array(days)[:, None, :], STRIP_EDGES_M)
    assert found[:, 0].tolist() == [False, True, False]


# What carries the house.


def test_weighted_suction_is_what_the_standard_weighs() -> None:
    place = Place((0.0, 0.5, 1.0, 2.0, 4.0), footing_m=0.4, cracked_m=1.0, sides=("north",))
    # Weights: 0.1 m x 1, 0.5 m x 1, 1 m x (2 - 1.5/5) = 1.7, 2 m x (2 - 3/5) = 2.8. pF 1.5
    # counts as 2.0: 0.1 x 3 + 0.5 x 2 + 1.7 x 2 + 2.8 x 2.5 = 0.3 + 1.0 + 3.4 + 7.0 = 11.7.
    assert measures.weighted_suction(np.array([3.0, 2.0, 1.5, 2.5]), place) == pytest.approx(11.7)


def test_no_weight_falls_below_nought() -> None:
    place = Place((0.0, 8.0, 12.0, 14.0), footing_m=8.0, cracked_m=1.0, sides=("north",))
    # From 8 to 10 m the weight falls from 0.4 to 0: 2 m x 0.2 = 0.4; deeper it is 0.
    assert measures.weighted_suction(np.array([3.0, 3.0, 3.0]), place) == pytest.approx(1.2)


def test_a_settled_house_departs_from_its_own_long_run_mean() -> None:
    def sums(one: Record) -> measures.Sums:
        return measures.sums_of(one, np.array([3.0, 3.0]), PLACE)

    dry = record([halves((3.0, 3.4)), halves((3.6, 3.6))], inside_pf=3.3)
    start = measures.settled_on(sums(dry))
    north = (180 * 3.0 + 185 * 3.4) / 365
    assert start.edge == pytest.approx([north, 3.6])
    assert start.inside == pytest.approx(3.3)
    wet = record([halves((2.9, 2.9)), halves((3.1, 3.1))], inside_pf=3.2)
    d = measures.departure(sums(wet), start)
    assert d.edge[0] == pytest.approx([2.9 - north, -0.5])
    assert d.inside[0] == pytest.approx(-0.1)
    assert measures.edge_from_inside(d)[0] == pytest.approx([2.9 - north + 0.1, -0.4])


def test_a_house_not_settled_departs_from_the_month_it_was_poured_in() -> None:
    open_pf = np.array([[9.9, 3.0], [9.9, 3.2], [9.9, 4.0]])
    start = measures.poured_on(open_pf, np.array([5, 5, 6]), 5, PLACE)
    assert start.edge == pytest.approx([3.1, 3.1])  # the mean of both days of May
    assert start.inside == pytest.approx(3.1)
    with pytest.raises(ValueError, match="month 12"):
        measures.poured_on(open_pf, np.array([5, 5, 6]), 12, PLACE)


# Movement, tilt, unrest.


def test_movement_is_the_mean_of_the_years_ranges() -> None:
    edge = np.stack([halves((3.0, 3.4), (3.0, 3.2)), halves((3.0, 3.1), (3.1, 3.1))], axis=1)
    changed = measures.change(edge, PLACE)
    # 0.4 and 0.2 in the north, 0.1 and 0.0 in the south.
    assert changed.movement == pytest.approx(np.array([[0.4, 0.1], [0.2, 0.0]]))
    # Their difference: 0.0 then 0.3, then -0.1 then 0.1.
    assert changed.tilt == pytest.approx([0.3, 0.2])
    # Movement in the mean of the zones is 0.25 and 0.1.
    assert changed.sums == pytest.approx([0.55, 0.3])
    # Whole record: 0.4 and 0.1, in the mean 0.25; the difference from -0.1 to 0.3.
    assert changed.record == pytest.approx(0.25 + 0.4)


def test_tilt_is_the_worst_pair_of_different_sides() -> None:
    place = Place(PLACE.edges_m, 0.4, 2.0, sides=("north", "north", "south"))
    edge = np.stack([halves((0.0, 0.9)), halves((0.0, 0.0)), halves((0.0, 0.5))], axis=1)
    # 0.9 against 0.0 is the most, but both lie in the north; 0.5 against 0.0 is more than 0.4.
    assert measures.change(edge, place).tilt == pytest.approx([0.5])


def test_a_house_of_one_zone_has_no_tilt() -> None:
    dry, wet = record([halves((3.0, 3.4))]), record([halves((3.0, 3.2))])
    judged = measures.measure(wet, dry, np.array([3.0]), ALONE, 0, years_least=1)
    assert np.isnan(judged.tilt_pct) and np.isnan(judged.shift_between_pct)
    assert judged.tilt_added_pct == 0.0
    assert judged.unrest_pct == pytest.approx(50.0) == judged.movement_pct


def test_unrest_is_movement_and_tilt_in_percent_of_unwatered() -> None:
    dry = record([halves((3.0, 3.4)), halves((3.0, 3.2))])
    wet = record([halves((3.0, 3.1)), halves((3.0, 3.2))])
    judged = measures.measure(wet, dry, np.array([3.0, 3.0]), PLACE, 0, years_least=1)
    assert judged.years == 1
    # Movement (0.1 + 0.2) / 2 of (0.4 + 0.2) / 2: a half. Tilt 0.1 of 0.2: a half.
    assert judged.zone_movement_pct == pytest.approx([25.0, 100.0])
    assert (judged.movement_pct, judged.tilt_pct) == pytest.approx((50.0, 50.0))
    assert judged.unrest_pct == pytest.approx(50.0)  # 0.25 of 0.5
    assert judged.tilt_added_pct == pytest.approx(-100.0 / 3.0)  # 0.1 less, of 0.3
    assert judged.yearly == pytest.approx([0.25])


def test_the_worst_year_in_ten_stands_beside_the_worst_unwatered() -> None:
    # Years of 0.1, 0.2 ... 1.0: nine in ten are at most 0.91, between the ninth and the tenth.
    wet = measures.change(halves(*[(0.0, k / 10) for k in range(1, 11)])[:, None], ALONE)
    dry = measures.change(halves(*[(0.0, 0.5)] * 10)[:, None], ALONE)
    assert measures.worst_year_pct(wet, dry) == pytest.approx(100 * 0.91 / 0.5)
    assert measures.unrest_pct(wet, dry) == pytest.approx(100 * 0.55 / 0.5)


def test_ground_that_hardly_moves_is_no_base_for_percents() -> None:
    assert np.isnan(measures.percent(0.01, 0.019))
    assert measures.percent(0.01, 0.02) == pytest.approx(50.0)


# Lasting change.


def test_shift_is_the_largest_running_year_and_says_which() -> None:
    still = halves((0.0, 0.0), (0.0, 0.0), (-0.3, -0.3), (0.0, 0.2))
    found = measures.shift(np.stack([np.zeros(1461), still], axis=1))
    assert found.pf_m == pytest.approx(-0.3)  # the third year, whole
    assert found.year == 3
    assert measures.shift(np.zeros((365, 0))) == (0.0, 1)


def test_a_shift_of_half_a_year_counts_half() -> None:
    found = measures.shift(halves((0.4, 0.0), (0.0, 0.0))[:, None])
    assert found == pytest.approx((0.4 * 180 / 365, 1))


def test_excursion_is_what_goes_beyond_the_unwatered_range() -> None:
    unwatered = np.array([[-0.1, 1.0], [0.1, 1.0]])
    # The first goes to 0.15, 0.05 beyond, and to -0.4, 0.3 beyond; the second stays.
    assert measures.excursion(np.array([[0.15, 1.0], [-0.4, 1.0]]), unwatered) == pytest.approx(0.3)
    assert measures.excursion(np.array([[0.05, 1.0]]), unwatered) == 0.0
    assert measures.excursion(np.zeros((3, 0)), np.zeros((3, 0))) == 0.0


def test_excursion_and_shift_are_in_percent_of_the_unwatered_movement() -> None:
    dry = record([halves((3.0, 3.4)), halves((3.0, 3.4))], inside_pf=3.2)
    wet = record([halves((2.7, 2.9)), halves((2.8, 3.0))], inside_pf=3.1)
    judged = measures.measure(wet, dry, np.array([3.0, 3.0]), PLACE, 0, years_least=1)
    # Between the sides there is -0.1 where there was nothing: 0.1 of 0.4. Edge from inside was
    # -0.2 at least and is 2.7 - 3.1 = -0.4 at least: 0.2 of 0.4, and the more of the two.
    assert judged.excursion_pct == pytest.approx(50.0)
    assert judged.shift_between_pct == pytest.approx(25.0)
    # The edge's mean was (180 x 3.0 + 185 x 3.4) / 365 = 3.2027, and 3.2 inside. In the north it
    # is (180 x 2.7 + 185 x 2.9) / 365 = 2.8014: 0.4014 less, while the inside is 0.1 less.
    assert judged.shift_inside_pct == pytest.approx(-100 * 0.30137 / 0.4, rel=1e-4)
    assert judged.shift_inside_year == 1


# All of them.


def test_measures_begin_with_the_first_watered_day() -> None:
    dry = record([halves((3.0, 3.4), (3.0, 3.4)), halves((3.0, 3.2), (3.0, 3.2))])
    wet = record([halves((3.0, 3.9), (3.0, 3.2)), halves((3.0, 3.2), (3.0, 3.1))])
    judged = measures.measure(wet, dry, np.array([3.0, 3.0]), PLACE, 365, years_least=1)
    # The second year alone: (0.2 + 0.1) / 2 + 0.1 of (0.4 + 0.2) / 2 + 0.2.
    assert judged.years == 1
    assert judged.unrest_pct == pytest.approx(50.0)


def test_an_excursion_goes_beyond_all_that_the_house_has_seen() -> None:
    # What the ground did unwatered in the year before the first water counts as known: the edge
    # was 3.0 once, 0.2 less than the inside, so 2.9 goes beyond by 0.1 of a movement of 0.2.
    dry = record([halves((3.0, 3.4), (3.2, 3.4))], inside_pf=3.2)
    wet = record([halves((3.0, 3.4), (2.9, 3.1))], inside_pf=3.2)
    judged = measures.measure(wet, dry, np.array([3.0]), ALONE, 365, years_least=1)
    assert judged.excursion_pct == pytest.approx(50.0)


def test_measures_want_25_years() -> None:
    dry = record([halves(*[(3.0, 3.4)] * 25)])
    assert measures.measure(dry, dry, np.array([3.0]), ALONE, 0).years == 25
    with pytest.raises(ValueError, match="24 whole years from the first water on; least: 25"):
        measures.measure(dry, dry, np.array([3.0]), ALONE, 1)


def test_days_are_counted_a_year() -> None:
    place = Place(STRIP_EDGES_M, 0.4, 2.0, sides=("north", "south"))
    days = 730
    edge = np.full((days, 2, 4), 3.0)
    edge[::2] = 3.4
    dry_strip, wet_strip = np.full((days, 2, 4), 3.5), np.full((days, 2, 4), 3.2)
    dry_strip[:10, 0, 2] = 2.2  # soaked by rain
    wet_strip[:50, 0, 2] = 2.2  # soaked: 40 days more in two years
    wet_strip[100:200, 1, 1] = 3.5  # off the target: 100 days in two years
    wet = Record(edge, edge, wet_strip)
    dry = Record(edge, edge, dry_strip)
    judged = measures.measure(wet, dry, np.array([3.0, 3.0]), place, 0, years_least=1)
    assert judged.years == 2
    assert judged.zone_days_soaked == pytest.approx([20.0, 0.0])
    assert judged.days_soaked == pytest.approx(20.0)  # the worst zone's
    assert judged.zone_days_on_target == pytest.approx([340.0, 315.0])
    assert judged.days_on_target == pytest.approx(327.5)
