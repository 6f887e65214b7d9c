"""The best cut of a circular year into a few stretches, found exactly."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Cut:
    """Where stretches begin, ascending, each until the next and the last until the first; and their
    cost together."""

    begins: tuple[int, ...]
    cost: float


def best_cut(cost: Floats, most: int) -> Cut:
    """Cut a circle of points into at most `most` stretches at the least cost.

    cost: (points, points); `cost[i, n - 1]` is that of a stretch of n points from point i on, which
    may go past the last point to the first. Finite or infinite, not negative. By dynamic programming
    for each point at which the first stretch may begin. Of cuts that cost the same one with the
    fewest stretches. A single stretch begins at point 0.
    Raises: ValueError where no cut has a finite cost.
    """
    points = len(cost)
    whole = int(np.argmin(cost[:, points - 1]))
    best = Cut((0,) if np.ptp(cost[:, points - 1]) == 0.0 else (whole,), cost[whole, points - 1])
    for first in range(points):
        # least[k, j]: cost of the first j points from `first` on in k stretches.
        least = np.full((most + 1, points + 1), np.inf)
        came = np.zeros((most + 1, points + 1), dtype=np.int64)
        least[0, 0] = 0.0
        for k in range(1, most + 1):
            for j in range(k, points + 1):
                begins = np.arange(j)
                totals = least[k - 1, :j] + cost[(first + begins) % points, j - begins - 1]
                came[k, j] = int(np.argmin(totals))
                least[k, j] = totals[came[k, j]]
            if k > 1 and least[k, points] < best.cost - 1e-12:
                found, j = [], points
                for stretch in range(k, 0, -1):
                    j = int(came[stretch, j])
                    found.append((first + j) % points)
                best = Cut(tuple(sorted(found)), float(least[k, points]))
    if not np.isfinite(best.cost):
        raise ValueError("no cut has a finite cost")
    return best
