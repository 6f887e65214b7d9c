"""A day's demand and what a strip lacks after it, worked out by hand.

`tests/property/test_estimate.py` lets both run for years beside the same in floating point.
"""

from evenclay.controller.estimate import day, demand_um, held_um, root

GROUND = (25000, 400, 50000, 150000, 4000)  # top, its part, freely, end, passing


def test_the_whole_part_of_a_root() -> None:
    assert [root(value) for value in (-4, 0, 1, 3, 4, 99, 100)] == [0, 0, 1, 1, 2, 9, 10]


def test_a_day_s_demand() -> None:
    """0.0023 x 16.5 mm x (20.7 + 17.8) x the root of 11.8 is 5.02 mm; a frozen day has none."""
    assert 5010 <= demand_um(14800, 26600, 16500) <= 5025
    assert demand_um(-30000, -17000, 5000) == 0
    assert demand_um(20000, 20000, 16500) == 0


def test_a_strip_gives_less_as_it_dries_and_at_last_nothing() -> None:
    """Of 6 mm the top bears 2.4, and the ground below 3.6 until it lacks 50 mm."""
    assert day(0, 20000, 0, 6000, 20000, GROUND) == (2400, 23600)
    assert day(0, 100000, 0, 6000, 100000, GROUND) == (2400, 101800)
    assert day(0, 150000, 0, 6000, 150000, GROUND) == (2400, 150000)


def test_water_fills_the_top_first_and_then_the_ground() -> None:
    assert day(5000, 30000, 3000, 0, 30000, GROUND) == (2000, 30000)
    assert day(5000, 30000, 12000, 0, 30000, GROUND) == (0, 23000)
    assert day(5000, 30000, 90000, 0, 0, GROUND) == (0, 0)


def test_a_strip_without_a_top_bears_all_below() -> None:
    assert day(0, 20000, 0, 6000, 20000, (0, 0, *GROUND[2:])) == (0, 26000)


def test_dry_ground_beside_a_strip_takes_four_thousandths_a_day() -> None:
    assert day(0, 20000, 0, 0, 70000, GROUND) == (0, 20200)


def test_what_is_held_is_the_nearest_within_bounds() -> None:
    assert [held_um(lack_um) for lack_um in (-1, 7, 600001)] == [0, 7, 600000]
