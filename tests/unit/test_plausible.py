"""The plausible grounds: ranges, middles, evenness, who sees which, and that they repeat."""

import math
import re
from dataclasses import asdict, fields, replace

import numpy as np
import pytest

from evenclay.sim.ground import plausible, uncertain
from evenclay.sim.ground.plausible import PlausibleGround, Side
from evenclay.sim.ground.uncertain import TABLE, Uncertain

SIDES = [
    Side(0.5, 1.0, "bare"),
    Side(1.1, 0.5, "shrubs"),
    Side(0.8, 1.0, "grass"),
    Side(0.6, 0.2, "grass"),
]
INDEX = -20.0
KEPT_ALPHA_CM2_S = [0.0029806667461724635, 0.0003368053628759628]  # of the first two searched
DERIVED = {"zones", "fissured_m", "deep_pf"}  # from a row and the index
CLAY = {field.name for field in fields(PlausibleGround)} - DERIVED
SAID = "(?i)from memory|common practice, no source|looked up|an assumption|as yard_roots_m"
HOUSE_WIDE = ("yard_coefficient", "yard_roots_m")


def row(name: str) -> Uncertain:
    return next(each for each in TABLE if each.name == name)


def test_the_table_can_be_argued_with() -> None:
    assert len(TABLE) >= 20
    assert len({each.name for each in TABLE}) == len(TABLE)
    for each in TABLE:
        assert each.low <= each.of_middle <= each.high, each.name
        assert each.low < each.high, each.name
        assert re.search(SAID, each.source), each.name
    text = uncertain.table_text()
    assert text.count("\n") == len(TABLE) + 2
    assert all(f"| {each.name} | {each.unit} |" in text for each in TABLE)


@pytest.mark.parametrize("each", TABLE, ids=lambda each: each.name)
def test_a_row_goes_from_end_to_end_by_its_spread(each: Uncertain) -> None:
    assert each.at(0.0) == pytest.approx(each.low)
    assert each.at(1.0) == pytest.approx(each.high)
    half = np.sqrt(each.low * each.high) if each.spread == "log" else (each.low + each.high) / 2.0
    assert each.at(0.5) == pytest.approx(half, abs=1e-12)


def test_a_normal_row_has_its_standard_error() -> None:
    # Cut off at two standard errors, a normal distribution keeps 0.88 of its deviation.
    shares = (np.arange(4000) + 0.5) / 4000
    drawn = [row("suction_error_pf").at(float(share)) for share in shares]
    assert np.std(drawn) == pytest.approx(0.88 * 0.2, rel=0.01)


def test_draws_lie_within_their_ranges() -> None:
    grounds = plausible.searched(SIDES, INDEX) + plausible.judged(SIDES, INDEX)
    for ground in grounds:
        for name in CLAY:
            assert row(name).low <= getattr(ground, name) <= row(name).high
        # Index -20: seasonal change to 3.0 m, fissures to half of it and up to three quarters.
        assert 1.5 <= ground.fissured_m <= 2.25
        assert 3.5 <= ground.deep_pf <= 4.1  # usual: 3.8
        bare, shrubs, grass, deep_eaves = ground.zones
        assert bare.roots_m == 0.0 and 1.0 <= shrubs.roots_m <= 2.5 and 0.6 <= grass.roots_m <= 1.5
        assert 0.8 <= bare.exposure <= 1.2 and 0.2 <= shrubs.exposure <= 0.7
        assert 0.08 <= deep_eaves.exposure <= 0.28
        assert 0.8 * 0.75 * 0.8 <= grass.coefficient <= 0.8 * 1.3 * 1.25
        assert 0.75 * 0.9 <= grass.flow_factor <= 1.2 * 1.1


def test_a_hose_that_was_measured_differs_as_its_zone_alone_may() -> None:
    """All else is drawn as before: who measures one hose learns nothing of another, nor of clay."""
    sides = [replace(SIDES[0], flow_measured=True), *SIDES[1:]]
    zone = row("zone_flow_factor")
    spans = []
    for measured, printed in zip(
        plausible.judged(sides, INDEX), plausible.judged(SIDES, INDEX), strict=True
    ):
        factor = measured.zones[0].flow_factor
        assert zone.low <= factor <= zone.high
        first = replace(printed.zones[0], flow_factor=factor)
        assert measured == replace(printed, zones=(first, *printed.zones[1:]))
        spans.append((factor, printed.zones[0].flow_factor))
    known, unknown = np.std(np.array(spans), axis=0)
    assert known < 0.5 * unknown
    assert plausible.middle(sides, INDEX) == plausible.middle(SIDES, INDEX)


@pytest.mark.parametrize("name", sorted(CLAY))
@pytest.mark.parametrize("count", [16, 64])
def test_marginals_cover_the_ranges_evenly(name: str, count: int) -> None:
    draw = plausible.searched if count == 16 else plausible.judged
    values = np.sort([getattr(ground, name) for ground in draw(SIDES, INDEX)])
    edges = [row(name).at(part / count) for part in range(count + 1)]
    # One ground in each sixteenth, or sixty-fourth, of the range.
    assert len(values) == count
    assert np.all(values >= np.array(edges[:-1]) - 1e-9)
    assert np.all(values <= np.array(edges[1:]) + 1e-9)


@pytest.mark.parametrize("zone", range(len(SIDES)))
def test_zones_cover_their_ranges_too(zone: int) -> None:
    reach = np.sort([ground.zones[zone].yard_reach_m for ground in plausible.judged(SIDES, INDEX)])
    assert np.all(np.abs(reach / 0.6 - (np.arange(64) + 0.5) / 64) <= 0.5 / 64 + 1e-9)


def test_what_is_of_the_house_is_the_same_in_all_zones() -> None:
    for ground in plausible.judged(SIDES, INDEX):
        for name in HOUSE_WIDE:
            assert len({getattr(zone, name) for zone in ground.zones}) == 1
        assert len({zone.yard_reach_m for zone in ground.zones}) == len(SIDES)
        # The house's share of flow: zones differ by a tenth to either side of it at most.
        flows = [zone.flow_factor for zone in ground.zones]
        assert max(flows) / min(flows) <= 1.1 / 0.9


def test_judgements_see_no_ground_that_searches_saw() -> None:
    searched, judged = plausible.searched(SIDES, INDEX), plausible.judged(SIDES, INDEX)
    assert (len(searched), len(judged)) == (16, 64)
    assert len({repr(asdict(ground)) for ground in searched + judged}) == 80
    for name in CLAY:  # not even in one parameter
        seen = {getattr(ground, name) for ground in searched}
        assert not seen & {getattr(ground, name) for ground in judged}, name


def test_they_repeat_byte_for_byte() -> None:
    first = repr(plausible.judged(SIDES, INDEX)).encode()
    np.random.default_rng().random()  # nothing outside has a part in it
    assert repr(plausible.judged(SIDES, INDEX)).encode() == first
    alpha = [ground.alpha_cm2_s for ground in plausible.searched(SIDES, INDEX)[:2]]
    assert alpha == pytest.approx(KEPT_ALPHA_CM2_S, rel=1e-9)


def test_a_zone_more_changes_nothing_of_the_others() -> None:
    for few, more in zip(
        plausible.judged(SIDES[:2], INDEX), plausible.judged(SIDES, INDEX), strict=True
    ):
        assert few.zones == more.zones[:2]
        assert [getattr(few, name) for name in CLAY] == [getattr(more, name) for name in CLAY]


def test_fewer_are_the_first_of_all() -> None:
    assert plausible.judged(SIDES, INDEX, count=8) == plausible.judged(SIDES, INDEX)[:8]


@pytest.mark.parametrize("count", [0, 65])
def test_no_more_than_there_are(count: int) -> None:
    with pytest.raises(ValueError, match="allowed: 1 to 64"):
        plausible.judged(SIDES, INDEX, count=count)


@pytest.mark.parametrize("sides", [[], SIDES * 3])
def test_no_more_zones_than_a_hub_has(sides: list[Side]) -> None:
    for draw in (plausible.searched, plausible.judged, plausible.middle):
        with pytest.raises(ValueError, match="zones; allowed: 1 to 8"):
            draw(sides, INDEX)


def test_the_middle_ground_is_what_the_property_says() -> None:
    middle = plausible.middle(SIDES, INDEX)
    assert middle.alpha_cm2_s == pytest.approx(0.0003 * 10.0**0.5)
    assert middle.fissured_m == pytest.approx(0.625 * 3.0)
    assert middle.deep_pf == pytest.approx(3.8)
    for zone, side in zip(middle.zones, SIDES, strict=True):
        assert (zone.coefficient, zone.exposure) == (side.coefficient, side.exposure)
        assert (zone.flow_factor, zone.suction_error_pf) == (1.0, 0.0)


def test_an_owners_footing_is_not_drawn() -> None:
    drawn = [plausible.middle(SIDES, INDEX, 0.9), *plausible.judged(SIDES, INDEX, 0.9)]
    assert {ground.footing_m for ground in drawn} == {0.9}


@pytest.mark.parametrize(
    ("index", "depth_m"),
    [(40, 1.5), (10, 1.8), (-5, 2.3), (-15, 3.0), (-25, 4.0), (-40, 4.0), (-60, 4.0)],
)
def test_seasonal_depth_grows_with_aridity(index: float, depth_m: float) -> None:
    assert plausible.seasonal_depth_m(index) == depth_m


def test_the_usual_suction_lies_on_the_published_curve() -> None:
    """246 kPa at an index of 0 (Transp. Res. Rec., abstract); the others from memory."""
    assert plausible.usual_suction_pf(0.0) == pytest.approx(math.log10(246.0 * 10.2), abs=0.01)
    assert plausible.usual_suction_pf(20.0) == pytest.approx(3.0)
    assert plausible.usual_suction_pf(-20.0) == pytest.approx(3.8)
