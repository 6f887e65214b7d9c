"""What banned hours leave of a day for water."""

from collections.abc import Sequence

DAY_MIN = 1440


def longest_free(
    bans: Sequence[tuple[int, int]], start: int, length: int = DAY_MIN
) -> tuple[int, int]:
    """Begin and length [min] of the longest stretch of a part of the day that no ban takes.

    bans: first minute of each, and the one after its last; a ban that ends where it begins is of
    the whole day. start, length: of the part, which may pass midnight, as a stretch may. (0, 0)
    where nothing is left; of several the one that begins first in the day.
    """
    free = [
        (minute - start) % DAY_MIN < length
        and all((minute - first) % DAY_MIN >= _minutes(first, last) for first, last in bans)
        for minute in range(DAY_MIN)
    ]
    if all(free):
        return start, DAY_MIN
    found = (0, 0)
    for first in range(DAY_MIN):
        if free[first] and not free[first - 1]:
            minutes = next(n for n in range(1, DAY_MIN) if not free[(first + n) % DAY_MIN])
            found = max(found, (first, minutes), key=lambda stretch: stretch[1])
    return found


def _minutes(first: int, last: int) -> int:
    return (last - first) % DAY_MIN or DAY_MIN
