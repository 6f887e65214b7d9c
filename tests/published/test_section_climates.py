"""Ground in climates from wet to dry, beside what engineers publish.

Depth of seasonal change: AS 2870-2011, table 2.5, by Thornthwaite's index: 1.5 m above +10, 1.8
above -5, 2.3 above -15, 3.0 above -25, 4.0 above -40. These are envelopes for design over many
years, and deeper the drier the climate. A yearly wave goes the other way: its depth hangs on alpha
alone, and its swing at the surface is greatest where both rain and drought come every year.

Suction under a house: `usual_suction_pf`. At 6 m the curve is held, so what is checked is what the
climate makes of the ground between, at 0.5-3 m. The open yard beside the house may be far from the
curve, which was drawn for covered ground: wetter where rain has no drain but tight clay (Seattle,
Cambridge), drier where the air asks for twice Thornthwaite's potential (Cordoba).
"""

import pytest

from evenclay.tools.dev.validation.climates import (
    GROUNDS,
    LATITUDES,
    index_at,
    inside_pf,
    open_ground,
    reach_m,
    usual_pf,
)


@pytest.mark.parametrize("place", LATITUDES)
def test_ground_under_a_house_comes_to_the_suction_that_engineers_expect(place: str) -> None:
    assert inside_pf(place, "middle") == pytest.approx(usual_pf(place), abs=0.4)


def test_the_ground_under_a_house_is_its_climate_s_own_doing() -> None:
    """It lies between what is held far down and the open yard, and is as dry as its climate."""
    for place, yard_side in (("cambridge", -1.0), ("cordoba", 1.0), ("champion", 1.0)):
        inside, held, yard = (
            inside_pf(place, "middle"),
            usual_pf(place),
            open_ground(place, "middle")[0],
        )
        assert yard_side * (yard - held) > 0.2
        assert yard_side * held < yard_side * inside < yard_side * yard
    by_index = sorted(LATITUDES, key=index_at)
    driest, wettest = by_index[0], by_index[-1]
    assert inside_pf(driest, "middle") > inside_pf(wettest, "middle") + 1.0


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


def test_wet_open_ground_stays_wet() -> None:
    assert index_at("seattle") > 50.0
    assert all(open_ground("seattle", ground)[0] < 2.5 for ground in GROUNDS)
