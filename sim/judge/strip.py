"""The watered strip: its level, its target, and how it keeps to it.

Daily mean pF in, (days, zones, layers) with layers from the top down. Level, target, estimate,
sample and sensor all speak of the mean at 0.3-1.0 m; days on target and soaked days look at every
layer there, since a mean hides a wet top over a dry bottom.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from evenclay.sim.section.layout import STRIP_M
from evenclay.sim.types import Floats

Bools = NDArray[np.bool_]

RELIEF_PF = (0.0, 0.8)
WETTEST_TARGET_PF = 2.5  # common practice, no source
WETTEST_SHARE = 0.1  # of its unwatered days a strip is wetter than its target may be
ON_TARGET_PF = 0.4  # how far from its target any layer may be
SOAKED_PF = 2.3  # wetter clay is soft


def mean_pf(strip_pf: Floats, edges_m: Sequence[float]) -> Floats:
    """Mean pF at 0.3-1.0 m, (days, zones, layers) to (days, zones)."""
    part = _within(edges_m, *STRIP_M)
    return np.asarray(strip_pf @ (part / part.sum()))


def levels_pf(unwatered_pf: Floats, edges_m: Sequence[float]) -> Floats:
    """Level of each zone in one ground: long-run mean pF at 0.3-1.0 m, unwatered, (zones,)."""
    return np.asarray(mean_pf(unwatered_pf, edges_m).mean(axis=0, dtype=np.float64))


def level_trust(middle_pf: Floats, grounds_pf: Floats) -> float:
    """What part of the difference between levels is borne out by plausible grounds, 0..1.

    middle_pf: levels by the middle ground, (zones,). grounds_pf: by each ground, (grounds, zones).
    It is the factor that brings the middle ground's differences from the zones' mean nearest to
    those of the grounds, by least squares; 0 where the middle ground knows of none.
    """
    apart = middle_pf - middle_pf.mean()
    truly = (grounds_pf - grounds_pf.mean(axis=1, keepdims=True)).mean(axis=0)
    square = float(apart @ apart)
    return float(np.clip(apart @ truly / square, 0.0, 1.0)) if square > 1e-12 else 0.0


def shrunk_levels_pf(middle_pf: Floats, trust: float, settled: bool = True) -> Floats:
    """Levels to work with, (zones,): the middle ground's, moved towards the zones' mean.

    trust: of `level_trust`. settled: False for a house too young to have settled on its sides'
    differences, for which one level serves all of them.
    """
    mean = middle_pf.mean()
    return np.asarray(mean + (trust if settled else 0.0) * (middle_pf - mean))


def targets_pf(level_pf: Floats, relief_pf: float, unwatered_mean_pf: Floats) -> Floats:
    """Target of each zone: its level less relief, but not too wet, (zones,).

    relief_pf: 0 to 0.8, else ValueError. unwatered_mean_pf: of `mean_pf`, (days, zones). A
    target is never wetter than pF 2.5, nor than the wettest tenth of the zone's unwatered days.
    Where the level itself is wetter than that, the target is drier than the level: no water then.
    """
    low, high = RELIEF_PF
    if not low <= relief_pf <= high:
        raise ValueError(f"relief is {relief_pf} pF; allowed: {low} to {high}")
    wettest = np.quantile(unwatered_mean_pf, WETTEST_SHARE, axis=0)
    return np.asarray(np.maximum(np.maximum(level_pf - relief_pf, WETTEST_TARGET_PF), wettest))


def on_target(strip_pf: Floats, target_pf: Floats, edges_m: Sequence[float]) -> Bools:
    """Days on which every layer at 0.3-1.0 m is within 0.4 pF of the target, (days, zones)."""
    layers = _within(edges_m, *STRIP_M) > 0.0
    off = np.abs(strip_pf[:, :, layers] - target_pf[:, None])
    return np.asarray(np.all(off <= ON_TARGET_PF, axis=2))


def off_target(
    strip_pf: Floats, target_pf: Floats, edges_m: Sequence[float]
) -> tuple[Bools, Bools]:
    """Of the days not on target, those on which the strip's mean is drier, and wetter, than it.

    (days, zones) each; every day is on target, drier or wetter.
    """
    kept = on_target(strip_pf, target_pf, edges_m)
    drier = mean_pf(strip_pf, edges_m) > target_pf
    return ~kept & drier, ~kept & ~drier


def soaked(strip_pf: Floats, edges_m: Sequence[float]) -> Bools:
    """Days on which any layer at 0.3-1.0 m is wetter than pF 2.3, (days, zones)."""
    layers = _within(edges_m, *STRIP_M) > 0.0
    return np.asarray(np.any(strip_pf[:, :, layers] < SOAKED_PF, axis=2))


def _within(edges_m: Sequence[float], low_m: float, high_m: float) -> Floats:
    """Thickness of each layer's part between two depths [m]; rounding leaves no sliver."""
    return np.asarray(np.diff(np.clip(edges_m, low_m, high_m)).round(9))
