"""Over all plausible grounds: quantiles, limits, skill, and whether to water at all."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from evenclay.sim.judge.measures import Measures
from evenclay.sim.types import Floats

UNREST_PCT = 85.0  # the ninetieth of a hundred grounds must not be above it
# The median of the grounds must not be above these; all common practice, no source.
LIMITS: Mapping[str, float] = {"tilt_added_pct": 15.0, "excursion_pct": 100.0, "days_soaked": 15.0}
CAUTION_EXCURSION_PCT = 50.0  # its median above it: begin slowly, ask an engineer
HARM_PCT = 1e6  # of ground in which a percent has no meaning
GAIN_LEAST_PCT = 15.0  # of informed, for skill to be given

UNREST = "unrest_pct"
# What might change that a limit is broken.
WOULD_CHANGE: Mapping[str, str] = {
    UNREST: "a soil report with the clay's water contents, the footing's depth, a sensor on each "
    "side",
    "tilt_added_pct": "knowing all sides equally well: a sensor on each side, or checks on all",
    "excursion_pct": "less relief, or beginning more slowly",
    "days_soaked": "less relief, or shorter cycles further apart",
}


class Quantiles(NamedTuple):
    """The tenth, the middle and the ninetieth of a hundred grounds; of how many it is given."""

    p10: float
    p50: float
    p90: float
    grounds: int


def quantiles(values: ArrayLike) -> Quantiles:
    """Of one figure a ground, (grounds,). Grounds in which it is nan are left out, and seen by the
    number; all nan where none is left."""
    given = np.asarray(values, dtype=np.float64)
    given = given[~np.isnan(given)]
    if not len(given):
        return Quantiles(np.nan, np.nan, np.nan, 0)
    p10, p50, p90 = np.quantile(given, (0.1, 0.5, 0.9)).tolist()
    return Quantiles(p10, p50, p90, len(given))


def over_grounds(measures: Sequence[Measures], name: str) -> Quantiles:
    """Quantiles of one measure, of grounds in any order."""
    return quantiles([getattr(each, name) for each in measures])


def _at_worst(measures: Sequence[Measures], name: str, share: float) -> float:
    """A quantile in which ground that hardly moves unwatered counts as harmed.

    There percents have no meaning, and water can only add movement.
    """
    values = np.array([getattr(each, name) for each in measures], dtype=np.float64)
    values[np.isnan(values)] = HARM_PCT
    return float(np.quantile(values, share))


def broken(measures: Sequence[Measures]) -> tuple[str, ...]:
    """Names of the limits that the median of the grounds breaks; of one ground, its own."""
    return tuple(name for name, most in LIMITS.items() if _at_worst(measures, name, 0.5) > most)


def cautious(measures: Sequence[Measures]) -> bool:
    """Whether to begin slowly and ask an engineer."""
    return _at_worst(measures, "excursion_pct", 0.5) > CAUTION_EXCURSION_PCT


def best_relief(by_relief: Mapping[float, Measures]) -> float | None:
    """Of one ground, the relief with the least unrest that keeps every limit; None: there is none.

    Informed is the way of watering with this relief in each ground.
    """
    kept = [relief for relief, each in by_relief.items() if not broken([each])]
    return min(kept, key=lambda relief: (by_relief[relief].unrest_pct, relief), default=None)


def skill(none: Floats, own: Floats, informed: Floats) -> float:
    """What part of informed's gain a way of watering has, in one ground; 1 is all of it.

    none, own, informed: movement and tilt together of each year, (years,) [pF m]; more years may be
    of more records. It is a ratio of sums over the years, below 0 where watering does harm, and nan
    where informed gains less than 15 points.
    """
    gain, most = float(none.sum() - own.sum()), float(none.sum() - informed.sum())
    return gain / most if most > 0.0 and 100.0 * most >= GAIN_LEAST_PCT * none.sum() else np.nan


class Skill(NamedTuple):
    """Quantiles of skill over the grounds in which it is given, and whether it counts: only where
    the way of watering keeps every limit."""

    over: Quantiles
    counts: bool


def skill_over(
    none: Sequence[Measures], own: Sequence[Measures], informed: Sequence[Measures]
) -> Skill:
    """Skill of a way of watering over grounds, in the same order three times."""
    by_ground = zip(none, own, informed, strict=True)
    values = [skill(a.yearly, b.yearly, c.yearly) for a, b, c in by_ground]
    return Skill(quantiles(values), not broken(own))


@dataclass(frozen=True)
class Verdict:
    """Whether to water. word: `water` or `leave`.

    relief_pf: of those that pass, the one with the least unrest in the middle of the grounds; None
    where none passes. limits: of each relief what it breaks. limit: what limits watering: where it
    is left, what the relief nearest to passing breaks; else what the next more relief breaks, and
    nothing where there is no more. would_change: one sentence for each of limit.
    """

    word: str
    relief_pf: float | None
    limits: Mapping[float, tuple[str, ...]]
    limit: tuple[str, ...]

    @property
    def would_change(self) -> tuple[str, ...]:
        """What might change that."""
        return tuple(WOULD_CHANGE[name] for name in self.limit)


def verdict(by_relief: Mapping[float, Sequence[Measures]]) -> Verdict:
    """Judge reliefs, each by its measures over the same grounds; ValueError where there is none.

    A relief passes where the ninetieth of a hundred of unrest is at most 85 and no median breaks a
    limit. Ground that hardly moves unwatered counts as harmed.
    """
    if not by_relief:
        raise ValueError("no relief to judge")
    reliefs = sorted(by_relief)
    unrest = {relief: _at_worst(by_relief[relief], UNREST, 0.9) for relief in reliefs}
    limits = {
        relief: ((UNREST,) if unrest[relief] > UNREST_PCT else ()) + broken(by_relief[relief])
        for relief in reliefs
    }
    passing = [relief for relief in reliefs if not limits[relief]]
    if not passing:
        nearest = min(reliefs, key=lambda relief: (len(limits[relief]), unrest[relief]))
        return Verdict("leave", None, limits, limits[nearest])
    best = min(passing, key=lambda relief: over_grounds(by_relief[relief], UNREST).p50)
    wetter = [relief for relief in reliefs if relief > best]
    return Verdict("water", best, limits, limits[wetter[0]] if wetter else ())
