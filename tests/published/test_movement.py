"""The weights of strain against sums by AS 2870-2011, clause 2.3, in millimetres.

Source: AS 2870-2011: ys = sum of Ipt du h / 100, Ipt = factor x Ips, factor 1.0 in the cracked zone
and 2.0 - z / 5 below; the change of suction falls straight from 1.2 pF at the surface to 0 at Hs.
Clause, factors, 1.2 pF and the depths of cracks (0.75 or 0.5 Hs) are from memory. The standard
prints no worked sums: the figures here are computed by hand from its formula in closed form.
"""

import numpy as np
import pytest

from evenclay.sim.section import LAYOUT, Ground, strain_weights

IPS_PCT = 4.0  # an even clay
SURFACE_PF = 1.2


def sum_mm(edges_m: np.ndarray, hs_m: float, cracked_m: float, from_m: float = 0.0) -> float:
    middles_m = (edges_m[:-1] + edges_m[1:]) / 2.0
    change_pf = np.maximum(SURFACE_PF * (1.0 - middles_m / hs_m), 0.0)
    ips_pct = np.where(middles_m >= from_m, IPS_PCT, 0.0)
    return float(np.sum(strain_weights(edges_m, cracked_m) * change_pf * ips_pct) * 10.0)


@pytest.mark.parametrize(
    ("hs_m", "cracked", "reactive_from_m", "mm"),
    [
        (2.3, 0.75, 0.0, 57.33),
        (1.8, 0.5, 0.0, 51.41),
        (1.5, 0.75, 0.0, 37.69),
        (2.3, 0.75, 0.3, 43.87),
    ],
)
def test_as_2870_sums(hs_m: float, cracked: float, reactive_from_m: float, mm: float) -> None:
    edges_m = np.union1d(np.linspace(0.0, hs_m, 2001), [cracked * hs_m, reactive_from_m])
    assert sum_mm(edges_m, hs_m, cracked * hs_m, reactive_from_m) == pytest.approx(mm, abs=0.01)


@pytest.mark.parametrize(("down_to_m", "share"), [(0.5, 0.373), (1.0, 0.655)])
def test_most_of_a_sum_lies_near_the_surface(down_to_m: float, share: float) -> None:
    edges_m = np.linspace(0.0, 2.3, 2301)
    whole = sum_mm(edges_m, 2.3, 0.75 * 2.3)
    below = sum_mm(edges_m, 2.3, 0.75 * 2.3, down_to_m)
    assert 1.0 - below / whole == pytest.approx(share, abs=1e-3)


def test_the_sections_few_layers_come_near_the_sum() -> None:
    """Of those that lie above the depth to which suction changes."""
    edges_m = np.array(LAYOUT.edges_m)
    fine_m = np.linspace(0.0, edges_m[-1], 6001)
    few, fine = (sum_mm(edges, 3.6, Ground().fissured_m) for edges in (edges_m, fine_m))
    assert few == pytest.approx(fine, rel=0.01)
