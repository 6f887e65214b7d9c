"""The best cut of a circular year against every cut there is."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenclay.tools.plan.proposal.year_cut import best_cut


def cost_of(values: list[float]) -> np.ndarray:
    """Squares about the mean, for every stretch of a circle."""
    points = len(values)
    cost = np.zeros((points, points))
    for first in range(points):
        for length in range(1, points + 1):
            held = [values[(first + i) % points] for i in range(length)]
            cost[first, length - 1] = float(np.var(held)) * length
    return cost


def by_trying_all(cost: np.ndarray, most: int) -> float:
    points = len(cost)
    least = float(cost[:, points - 1].min())
    for count in range(2, most + 1):
        for begins in combinations(range(points), count):
            lengths = [(begins[(i + 1) % count] - begins[i] - 1) % points + 1 for i in range(count)]
            total = sum(cost[b, n - 1] for b, n in zip(begins, lengths, strict=True))
            least = min(least, total)
    return least


@given(st.lists(st.integers(0, 9), min_size=2, max_size=8), st.integers(1, 5))
def test_no_cut_is_cheaper(values: list[int], most: int) -> None:
    cost = cost_of([float(value) for value in values])
    cut = best_cut(cost, most)
    assert cut.cost == pytest.approx(by_trying_all(cost, most), abs=1e-9)
    assert 1 <= len(cut.begins) <= most
    assert list(cut.begins) == sorted(set(cut.begins))
    count, points = len(cut.begins), len(values)
    lengths = [(cut.begins[(i + 1) % count] - cut.begins[i] - 1) % points + 1 for i in range(count)]
    again = sum(cost[b, n - 1] for b, n in zip(cut.begins, lengths, strict=True))
    assert again == pytest.approx(cut.cost, abs=1e-9)


def test_a_season_over_the_new_year_is_one_stretch() -> None:
    values = [0.0] * 4 + [5.0] * 16 + [0.0] * 4
    cut = best_cut(cost_of(values), 6)
    assert cut.begins == (4, 20)
    assert cut.cost == pytest.approx(0.0)


def test_what_no_cut_can_do_is_refused() -> None:
    with pytest.raises(ValueError, match="no cut"):
        best_cut(np.full((3, 3), np.inf), 3)
