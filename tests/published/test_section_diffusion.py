"""Suction spreading in a section as closed forms and a linear trial say, with no matrix path.

Closed form: Mitchell 1979, "The structural analysis of footings on expansive soil" (from memory):
under a surface that swings as U cos(w t), pF at a depth z swings as U exp(-z k) cos(w t - z k) with
k = sqrt(pi / (alpha year)).

The linear trial was computed apart from this code: plain diffusion of pF on squares of 0.15 m, the
yard from -4 to 0 m, a slab to 4 m that nothing passes, 4 m deep and closed below, the yard's
surface at 3.5 + 0.6 cos over fifteen years, a strip of 0.6 m beside the slab never drier than a
target at its surface, strain weighted as AS 2870 weighs it, cracked to 1.5 m; the edge 0-0.5 m in.
Its own squares are coarse for the least alpha: of 0.05 m they make 0.143 of its 0.12 pF m.
"""

import numpy as np
import pytest
from numpy.typing import NDArray

from evenclay.sim.section import Ground, Layout, Section, Zone, weighted_suction
from evenclay.sim.section.layout import EDGE, INNER, INSIDE, STRIP, YARD

Floats = NDArray[np.float64]

YEAR_D = 365
STILL = Zone(coefficient=0.0, exposure=0.0, yard_coefficient=0.0, yard_exposure=0.0, slab_m=0.3)
STILL_DAY = np.zeros(24)


def ground(alpha_cm2_s: float, layout: Layout) -> Ground:
    return Ground(alpha_cm2_s=alpha_cm2_s, matrix_mm_d=0.0, footing_m=0.0, layout=layout)


# Yearly range of the edge's weighted suction, unwatered [pF m], and in percent of it with targets
# of 3.5, 3.3, 3.1 and 2.9, by alpha.
TRIAL = {
    0.0002: (0.12, (58, 38, 22, 21)),
    0.0005: (0.25, (63, 44, 30, 26)),
    0.0018: (0.69, (71, 55, 42, 38)),
    0.003: (0.99, (74, 60, 48, 44)),
}
TARGETS_PF = (9.0, 3.5, 3.3, 3.1, 2.9)  # the first: never watered
TRIAL_LAYOUT = Layout(
    edges_m=(0.0, 0.1, 0.2, 0.3, 0.45, 0.6, 0.8, 1.0, 1.25, 1.5, 1.8, 2.2, 2.8, 3.4, 4.0),
    places=(YARD, YARD, STRIP, STRIP, EDGE, EDGE, INNER, INSIDE, INSIDE),
    widths_m=(2.2, 1.2, 0.3, 0.3, 0.25, 0.25, 1.0, 1.5, 1.0),
)


@pytest.mark.parametrize("alpha_cm2_s", [0.0005, 0.0018])
def test_a_yearly_swing_goes_down_as_mitchell_says(alpha_cm2_s: float) -> None:
    layout = Layout()
    section = Section(ground(alpha_cm2_s, layout), [STILL], start_pf=3.3, closed=True)
    wave = np.sqrt(np.pi / (alpha_cm2_s * 8.64 * YEAR_D))
    swing, middle_pf = 0.2, 3.3
    days = []
    for day in range(12 * YEAR_D):
        surface = [middle_pf + swing * np.cos(2.0 * np.pi * (day + 0.5) / YEAR_D)]
        section.hold_surface(surface, surface)
        section.live(STILL_DAY, STILL_DAY)
        days.append(section.pf()[0, 0])
    turn = np.exp(-2j * np.pi * (np.arange(YEAR_D) + 1.0) / YEAR_D)
    found = 2.0 * (turn[:, None] * np.array(days[-YEAR_D:])).mean(axis=0) / swing
    for depth_m in (0.5, 1.0, 2.0):
        # Between layers a wave is read by its logarithm, in which it is a straight line.
        amplitude = np.exp(np.interp(depth_m, layout.middles_m, np.log(np.abs(found))))
        phase = np.interp(depth_m, layout.middles_m, np.unwrap(np.angle(found)))
        assert amplitude == pytest.approx(np.exp(-wave * depth_m), rel=0.02), depth_m
        late_d = (phase + wave * depth_m) * YEAR_D / 2.0 / np.pi
        assert late_d == pytest.approx(0.0, abs=3.0), depth_m
    assert section.mass_balance_error_mm <= 1e-6


@pytest.mark.parametrize("alpha_cm2_s", sorted(TRIAL))
def test_the_edge_moves_as_in_the_linear_trial(alpha_cm2_s: float) -> None:
    count = len(TARGETS_PF)
    clay = ground(alpha_cm2_s, TRIAL_LAYOUT)
    section = Section(clay, [STILL] * count, start_pf=3.5, closed=True)
    edge = np.array(TRIAL_LAYOUT.places) == EDGE
    suctions = []
    for day in range(15 * YEAR_D):
        yard = 3.5 + 0.6 * np.cos(2.0 * np.pi * (day + 0.5) / YEAR_D)
        section.hold_surface([yard] * count, [min(yard, target) for target in TARGETS_PF])
        section.live(STILL_DAY, STILL_DAY)
        if day >= 14 * YEAR_D:
            suctions.append(
                weighted_suction(section.pf()[:, edge].mean(axis=1), TRIAL_LAYOUT, 0.0, 1.5)
            )
    ranges = np.ptp(suctions, axis=0)
    unwatered, percents = TRIAL[alpha_cm2_s]
    assert ranges[0] == pytest.approx(unwatered, rel=0.2)
    np.testing.assert_allclose(100.0 * ranges[1:] / ranges[0], percents, atol=6.0)
