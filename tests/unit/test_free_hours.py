"""The longest stretch of the day that no ban takes."""

from hypothesis import example, given
from hypothesis import strategies as st

from evenclay.tools.property.free_hours import longest_free

MINUTES = st.one_of(st.integers(0, 1439), st.integers(0, 23).map(lambda hour: 60 * hour))
BANS = st.lists(st.tuples(MINUTES, MINUTES | st.just(1440)), max_size=4)


@given(BANS, MINUTES, st.integers(1, 1440))
@example([(0, 1440)], 0, 1440)
@example([(480, 480)], 1200, 720)
@example([], 1200, 1440)
@example([(1320, 60)], 1260, 600)
def test_nothing_in_it_is_banned_and_none_is_longer(
    bans: list[tuple[int, int]], start: int, length: int
) -> None:
    """Beside a model that walks each ban minute by minute, and the day twice."""
    part = {minute % 1440 for minute in range(start, start + length)}
    for first, last in bans:
        part.discard(first)
        minute = (first + 1) % 1440
        while minute not in (first, last % 1440):
            part.discard(minute)
            minute = (minute + 1) % 1440
    begin, minutes = longest_free(bans, start, length)
    assert all((begin + minute) % 1440 in part for minute in range(minutes))
    longest = run = 0
    for minute in range(2880):
        run = run + 1 if minute % 1440 in part else 0
        longest = max(longest, run)
    assert minutes == min(longest, 1440)
