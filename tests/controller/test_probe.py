"""A soil probe: when it is believed, and what an unbelieved one may and may not do to its zone."""

import pytest

from evenclay.controller.events import CLOSED, DONE, PROBE, SKIPPED, WET_SOIL
from evenclay.controller.limits import STALE_S
from evenclay.controller.probe import Probe
from tests.bench import DAY_S, HOUR_S, MIN_S, booted, edges, runs, utc_plan

FIRST_S = 6 * HOUR_S
FULL_UM = 25000


class Fed(Probe):
    """A probe fed by hand: without rain or water unless the test says so."""

    def read(
        self,
        ppt: int | None,
        up_s: int,
        rain_um: int = 0,
        used_s: int = 0,
        lately_um: int = 0,
    ) -> bool:
        return super().read(ppt, up_s, rain_um, used_s, lately_um)


def probe(**zone: int) -> Fed:
    return Fed(utc_plan(zone={"probe": 1, **zone}).zones[0], STALE_S)


@pytest.mark.parametrize(
    ("ppt", "trusted"), [(19, False), (20, True), (550, True), (551, False), (-5, False)]
)
def test_a_reading_out_of_range_is_an_open_or_shorted_wire(ppt: int, trusted: bool) -> None:
    one = probe()
    one.read(ppt, 0)
    assert one.trusted is trusted
    assert one.ppt == ppt


@pytest.mark.parametrize(
    ("ppt", "rain_um", "watered", "trusted"),
    [
        (450, 0, False, True),
        (451, 0, False, False),
        (150, 0, False, True),
        (149, 0, False, False),
        (451, 1, False, True),
        (451, 0, True, True),
    ],
)
def test_soil_does_not_jump_without_water(
    ppt: int, rain_um: int, watered: bool, trusted: bool
) -> None:
    one = probe(wet_ppt=1000)
    one.read(300, 0)
    one.read(ppt, HOUR_S, rain_um, 600 if watered else 0)
    assert one.trusted is trusted


@pytest.mark.parametrize(
    ("full_from_s", "ppt", "trusted"),
    [
        (None, 300, True),  # no rain worth the name
        (DAY_S, 302, False),
        (DAY_S, 298, False),
        (DAY_S, 303, True),
        (DAY_S, 297, True),
        (DAY_S + 1, 300, True),  # it has not had a week yet
    ],
)
def test_much_rain_must_show_on_a_probe_within_a_week(
    full_from_s: int | None, ppt: int, trusted: bool
) -> None:
    one = probe()
    one.read(300, 0)
    if full_from_s is not None:
        one.read(300, full_from_s, 30000, 0, FULL_UM)
    one.read(ppt, 8 * DAY_S, 30000)  # the rain is long ago: that is no excuse
    assert one.trusted is trusted


def test_a_probe_that_moves_again_after_rain_is_believed_a_day_later() -> None:
    one = probe()
    one.read(300, 0)
    one.read(300, DAY_S, 30000, 0, FULL_UM - 1)
    one.read(300, 2 * DAY_S, 30000, 0, FULL_UM)
    one.read(300, 9 * DAY_S - 1, 30000)
    one.read(310, 9 * DAY_S, 30000)
    one.read(310, 10 * DAY_S - 1, 30000)
    assert one.trusted
    late = probe()
    late.read(300, 0)
    late.read(300, DAY_S, 30000, 0, FULL_UM)
    late.read(300, 9 * DAY_S - 1, 30000)
    late.read(310, 9 * DAY_S, 30000)
    assert not late.trusted
    late.read(310, 10 * DAY_S - 1, 30000)
    assert late.trusted


def test_soaked_soil_shows_no_more_rain() -> None:
    one = probe()
    one.read(400, 0)
    one.read(400, HOUR_S, 30000, 0, FULL_UM)
    assert one.trusted and one.wet


def test_twenty_days_wet_without_rain_are_not_believed() -> None:
    one = probe()
    one.read(400, 0)
    assert not one.read(402, 20 * DAY_S - 1, 9999)  # upwards is noise
    assert (one.trusted, one.wet) == (True, True)
    assert one.read(398, 20 * DAY_S, 9999)
    assert (one.trusted, one.wet) == (False, False)


def test_rain_of_late_or_drying_begins_the_twenty_days_again() -> None:
    for ppt, lately_um in ((400, 1), (397, 0)):
        one = probe()
        one.read(400, 0)
        one.read(ppt, 19 * DAY_S, 0, 0, lately_um)
        one.read(ppt, 39 * DAY_S - 1)
        assert one.trusted
        one.read(ppt, 39 * DAY_S)
        assert not one.trusted


def test_the_twenty_days_begin_when_the_soil_becomes_wet() -> None:
    one = probe()
    one.read(349, 0)
    one.read(350, 21 * DAY_S)
    assert (one.trusted, one.wet) == (True, True)
    one.read(350, 41 * DAY_S - 1)
    assert one.trusted
    one.read(350, 41 * DAY_S)
    assert not one.trusted


def test_twenty_days_between_limit_and_release_are_not_believed_either() -> None:
    one = probe()
    one.read(350, 0)
    one.read(345, HOUR_S)
    one.read(345, 20 * DAY_S + HOUR_S - 1)
    assert one.wet
    one.read(345, 20 * DAY_S + HOUR_S)
    assert (one.trusted, one.wet) == (False, False)


def test_three_hours_without_a_reading_are_stale() -> None:
    one = probe()
    one.read(300, 7)
    assert not one.read(None, 7 + 3 * HOUR_S - 1)
    assert one.read(None, 7 + 3 * HOUR_S)
    assert not one.trusted


def test_a_probe_never_heard_is_stale_three_hours_after_the_first_look() -> None:
    one = probe()
    one.read(None, 1000000)
    one.read(None, 1000000 + 3 * HOUR_S - 1)
    assert one.trusted
    one.read(None, 1000000 + 3 * HOUR_S)
    assert not one.trusted


def test_a_day_of_good_readings_makes_it_trusted_again() -> None:
    one = probe()
    one.read(600, 100)
    one.read(590, 200)
    one.read(360, 300)  # a jump
    assert not one.read(360, 300 + DAY_S - 1)
    assert one.read(360, 300 + DAY_S)
    assert one.trusted and one.wet


# What the owner sees.


def test_a_distrusted_probe_releases_its_zone_and_says_so_once() -> None:
    bench = booted(utc_plan(zone={"probe": 1}))
    bench.seen.soil_vwc_ppt = [400]
    bench.run_until(HOUR_S - 1)
    assert edges(bench, WET_SOIL) == [(1, MIN_S)]
    bench.seen.soil_vwc_ppt = [5]
    bench.run_until(2 * DAY_S - 1)
    assert edges(bench, WET_SOIL) == [(1, MIN_S), (0, HOUR_S)]
    assert edges(bench, PROBE, 0) == [(1, HOUR_S)]
    assert [what for what, _, _ in runs(bench)] == [CLOSED] * 4
    bench.seen.soil_vwc_ppt = [325]
    bench.run_until(4 * DAY_S)
    assert edges(bench, PROBE, 0) == [(1, HOUR_S), (0, 3 * DAY_S)]  # 320 more was a jump


def test_other_zones_keep_their_probes() -> None:
    bench = booted(utc_plan(2, zone={"probe": 1}))
    bench.seen.soil_vwc_ppt = [600, 360]
    bench.run_until(DAY_S)
    assert edges(bench, PROBE) == [(1, MIN_S)]
    assert runs(bench, 0)[0][:2] == (CLOSED, DONE)
    assert runs(bench, 1)[0][:2] == (SKIPPED, WET_SOIL)
