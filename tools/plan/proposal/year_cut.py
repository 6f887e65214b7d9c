"""The best cut of a circular year into a few stretches, found exactly."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
SAME = 1e-12  # costs that differ by less are the same


@dataclass(frozen=True)
class Cut:
    """Where stretches begin, ascending, each until the next and the last until the first; and what
    they cost together."""

    begins: tuple[int, ...]
    cost: float


def best_cut(cost: Floats, most: int) -> Cut:
    """Cut a circle of points into at most `most` stretches at the least cost.

    cost: (points, points); `cost[i, n - 1]` is that of a stretch of n points from point i on, which
    may go past the last point to the first. Finite or infinite, not negative. Of cuts that cost the
    same, one with the fewest stretches.
    Raises: ValueError where no cut has a finite cost.
    """
    whole = int(np.argmin(cost[:, -1]))
    best = Cut((whole,), float(cost[whole, -1]))
    for first in range(len(cost)):
        for cut in _cuts_from(first, cost, most):
            fewer = len(cut.begins) < len(best.begins)
            if cut.cost < best.cost - SAME or (fewer and cut.cost <= best.cost + SAME):
                best = cut
    if not np.isfinite(best.cost):
        raise ValueError("no cut has a finite cost")
    return best


def _cuts_from(first: int, cost: Floats, most: int) -> Iterator[Cut]:
    """The best cuts into 2, 3 ... stretches of which one begins at `first`: dynamic programming."""
    points = len(cost)
    # least[k, j]: cost of the first j points from `first` on in k stretches; came: where the last
    # of these begins.
    least = np.full((most + 1, points + 1), np.inf)
    came = np.zeros((most + 1, points + 1), dtype=np.int64)
    least[0, 0] = 0.0
    stretches = np.arange(most)
    for j in range(1, points + 1):
        begins = np.arange(j)
        totals = least[:-1, :j] + cost[(first + begins) % points, j - begins - 1]
        came[1:, j] = totals.argmin(axis=1)
        least[1:, j] = totals[stretches, came[1:, j]]
    for count in range(2, min(most, points) + 1):
        found, j = [], points
        for k in range(count, 0, -1):
            j = int(came[k, j])
            found.append((first + j) % points)
        yield Cut(tuple(sorted(found)), float(least[count, points]))
