"""Open ground under grass in climates from wet to dry, beside what engineers publish.

Depth of seasonal change: AS 2870-2011, table 2.5, by Thornthwaite's index: 1.5 m above +10, 1.8
above -5, 2.3 above -15, 3.0 above -25, 4.0 above -40. These are envelopes for design over many
years, and deeper the drier the climate. A yearly wave goes the other way: its depth hangs on alpha
alone, and its swing at the surface is greatest where both rain and drought come every year.

Suction far down: `usual_suction_pf`, drawn with Thornthwaite's own potential. Where the air is so
dry that reference evapotranspiration is twice his potential (Cordoba), ground is drier than the
curve; in wet climates the section has no drain but its own tight clay and is wetter than it.
"""

import pytest

from evenclay.sim.section import usual_suction_pf
from evenclay.tools.dev.validation.climates import GROUNDS, index_at, open_ground, reach_m


@pytest.mark.parametrize("place", ["demo", "hyderabad", "tunis", "champion"])
def test_semi_arid_ground_comes_to_the_suction_that_engineers_expect(place: str) -> None:
    assert -35.0 < index_at(place) < -15.0
    expected = usual_suction_pf(index_at(place))
    assert open_ground(place, "middle")[0] == pytest.approx(expected, abs=0.4)


@pytest.mark.parametrize(("place", "side"), [("cordoba", 1.0), ("cambridge", -1.0)])
def test_where_the_curve_is_missed_it_is_known_which_way(place: str, side: float) -> None:
    off = open_ground(place, "middle")[0] - usual_suction_pf(index_at(place))
    assert 0.4 < side * off < 1.0


@pytest.mark.parametrize(
    ("place", "table_m", "ground"),
    [("demo", 2.3, "middle"), ("cordoba", 1.8, "tight"), ("cordoba", 1.8, "middle")],
)
def test_depth_of_seasonal_change_is_within_a_third_of_the_table(
    place: str, table_m: float, ground: str
) -> None:
    assert -16.0 < index_at(place) < 10.0
    assert open_ground(place, ground)[1] == pytest.approx(table_m, rel=1.0 / 3.0)


def test_change_reaches_inward_as_far_as_engineers_reckon_with() -> None:
    """0.6-2.7 m (Post-Tensioning Institute, from memory) cover middle and free ground in a year."""
    yearly = [reach_m(ground)[0] for ground in GROUNDS]
    assert yearly == sorted(yearly)
    assert yearly[0] < 0.6 < yearly[1] < yearly[2] < 2.7
    for ground in GROUNDS:
        assert reach_m(ground)[1] >= reach_m(ground)[0]


def test_freer_ground_feels_the_year_deeper() -> None:
    for place in ("demo", "cordoba"):
        yearly = [open_ground(place, ground)[1] for ground in GROUNDS]
        whole = [open_ground(place, ground)[2] for ground in GROUNDS]
        assert yearly == sorted(yearly) and yearly[0] < 0.75 * yearly[2]
        assert all(more >= once for more, once in zip(whole, yearly, strict=True))


def test_wet_ground_stays_wet_far_down() -> None:
    assert index_at("seattle") > 50.0
    assert all(open_ground("seattle", ground)[0] < 2.5 for ground in GROUNDS)
