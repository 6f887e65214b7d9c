"""A soil probe's quick answer to a reading with no news, beside the whole judgement."""

from hypothesis import given, settings
from hypothesis import strategies as st

from evenclay.controller.limits import STALE_S
from evenclay.controller.probe import _MUCH_RAIN_UM, Probe
from tests.bench import DAY_S, MIN_S, utc_plan


class Thorough(Probe):
    """A probe that weighs every reading, as if it might have something to tell."""

    def read(self, ppt: int | None, up_s: int, rain_um: int, used_s: int, lately_um: int) -> bool:
        self._high_ppt = 0
        return super().read(ppt, up_s, rain_um, used_s, lately_um)


# Near to one another, and to where the range, the wet and the believed begin and end.
PPT = (None, 19, 21, 24, 337, 339, 341, 349, 351, 390, 474, 495, 499, 501, 539, 547, 549, 551)
# Reading, seconds later, more rain, seconds given, and rain of late.
READINGS = st.tuples(
    st.sampled_from(PPT),
    st.sampled_from([MIN_S, 3600, STALE_S, DAY_S, 6 * DAY_S]),
    st.sampled_from([0, 0, 0, 9000]),
    st.sampled_from([0, 0, 0, 600]),
    st.sampled_from([0, 0, 0, 1, _MUCH_RAIN_UM - 1, _MUCH_RAIN_UM]),
)


@settings(max_examples=600)
@given(
    wet_ppt=st.sampled_from([350, 700]),
    below_ppt=st.sampled_from([0, 10]),
    readings=st.lists(READINGS, min_size=10, max_size=60),
)
def test_a_quick_answer_is_the_thorough_one(
    wet_ppt: int,
    below_ppt: int,
    readings: list[tuple[int | None, int, int, int, int]],
) -> None:
    zone = utc_plan(zone={"probe": 1, "wet_ppt": wet_ppt, "wet_off_ppt": wet_ppt - below_ppt})
    quick, thorough = (
        Probe(zone.zones[0], STALE_S),
        Thorough(zone.zones[0], STALE_S),
    )
    up_s = rain_um = used_s = 0
    for ppt, later_s, more_um, given_s, lately_um in readings:
        up_s += later_s
        rain_um += more_um
        used_s += given_s
        changed = thorough.read(ppt, up_s, rain_um, used_s, lately_um)
        assert quick.read(ppt, up_s, rain_um, used_s, lately_um) is changed
        assert (quick.trusted, quick.wet, quick.ppt) == (
            thorough.trusted,
            thorough.wet,
            thorough.ppt,
        )
