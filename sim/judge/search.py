"""The plan that keeps the clay best, searched under the hub's rules.

Plans are tried on the compiled twin of the hub (`brisk.py`), by CMA-ES (Hansen 2016,
arXiv:1604.00772; the package cma), which is steady on the steps that whole minutes and single days
make.
"""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import cma
import numpy as np

from evenclay.controller.plan import Plan
from evenclay.sim.ground.band import BAND_PF
from evenclay.sim.judge.band_measures import unevenness_pf
from evenclay.sim.judge.brisk import Brisk, Outcome
from evenclay.sim.judge.proposal import HALF_MONTHS, HOLD_PF, Record, judged_days, leading
from evenclay.sim.judge.score import RAIN_WET, WET
from evenclay.sim.types import Bools, Codes, Floats, Ints

THREADS = 2
POPULATION = 8
SIGMA = 0.35  # of the spreads, to begin with: what is balanced is near, and few plans are tried
BALANCED = 8  # plans tried first, each to balance the one before
PER_PF = 0.12  # more water for each pF too dry: less than what would mend it at once
OFF_MOST_PF = 0.8  # more is not told apart
# What a search may cost, in years of zones lived through: a fixed count, so that its outcome does
# not hang on the clock.
ZONE_YEARS = 12_000
PLANS_MOST = 400
EDGE_PF = 0.2  # inside the band's limits a day begins to count as lost, and so far outside it is
BADLY_WEIGHT = 0.25  # of the worst years
UNEVENNESS_WEIGHT, WATER_WEIGHT = 0.01, 0.05  # of a pF, and of a year's need
IMPOSSIBLE = 10.0  # loss of a plan that breaks a rule
SPARE_WEIGHT = 0.02  # of what a table gives above the need: where a probe fails nothing holds it


@dataclass(frozen=True)
class Task:
    """What is searched: the plan that `plan_of` makes of some numbers, None where no rule allows
    it. Numbers are logarithms of factors, searched in the neighbourhood of 0 that `spreads` tells.

    The first belong to rows, each with its half-months, the last to the zones. need_mm: a year's
    water of each zone, to weigh what plans use.
    """

    records: Sequence[Record]
    brisks: Sequence[Brisk]
    plan_of: Callable[[Floats], Plan | None]
    spreads: Floats
    rows: Sequence[Ints]
    need_mm: Floats
    checked: bool

    def outcomes(self, plan: Plan, checked: bool) -> list[Outcome]:
        """What comes of a plan in each record; checked: by its owner, once a week."""
        return [brisk.outcome(plan, checked) for brisk in self.brisks]

    def loss_of(self, plan: Plan | None) -> float:
        """What is to be least: days out of band first, then what the table gives above the need,
        unevenness and water."""
        if plan is None:
            return IMPOSSIBLE
        outcomes = self.outcomes(plan, self.checked)
        spare = float((outcomes[0].table_mm / self.need_mm).mean()) - 1.0
        return _loss(self, outcomes) + SPARE_WEIGHT * max(spare, 0.0)

    def loss(self, numbers: Floats) -> float:
        """The same of numbers; where no rule allows them, less the nearer they are to 0."""
        plan = self.plan_of(numbers)
        return self.loss_of(plan) + (0.0 if plan else float(np.abs(numbers).sum()))


def plans_of(task: Task) -> int:
    """How many plans may be tried in all."""
    zone_years = sum(brisk.days for brisk in task.brisks) / 365.25 * len(task.need_mm)
    return int(min(max(ZONE_YEARS / zone_years, 1), PLANS_MOST))


def search(
    task: Task, begin: Floats, plans: int, seed: int, progress: Callable[[int], None]
) -> Floats:
    """The numbers of the best of so many plans. progress: told how many were tried."""
    best, least = begin, task.loss(begin)
    options = {
        "seed": seed + 1,
        "popsize": POPULATION,
        "CMA_stds": task.spreads.tolist(),
        "CMA_diagonal": True,  # no correlations: too few plans are tried to learn them
        "verbose": -9,
    }
    strategy = cma.CMAEvolutionStrategy(begin.tolist(), SIGMA, options)
    with ThreadPoolExecutor(THREADS) as pool:
        while strategy.countevals < plans:
            asked = strategy.ask()
            losses = list(pool.map(task.loss, asked))
            strategy.tell(asked, losses)
            if min(losses) < least:
                best, least = np.asarray(asked[int(np.argmin(losses))]), min(losses)
            progress(min(strategy.countevals, plans))
    return best


def balanced(task: Task) -> Floats:
    """Numbers under which each row and zone is about in the middle of the band: few plans do."""
    numbers = np.zeros(len(task.spreads))
    best, least = numbers, IMPOSSIBLE
    for _ in range(BALANCED):
        # Without the owner's check: a trim that makes up for a table would hide what is wrong.
        plan = task.plan_of(numbers)
        if plan is None:
            break
        outcomes = task.outcomes(plan, False)
        loss = _loss(task, outcomes)
        if loss < least:
            best, least = numbers, loss
        probed = np.array([bool(zone.probe) for zone in plan.zones])
        numbers = numbers + _shift(task, outcomes, probed)
    return best


def _shift(task: Task, outcomes: Sequence[Outcome], probed: Bools) -> Floats:
    """What to add to the numbers, so that each row and zone comes nearer to the middle of the band.

    Too dry by so much pF asks for so many percent more; where rain alone is to blame for nothing.
    Where a probe holds back what is too much, being wet asks for nothing either: a table that just
    does in the years searched fails in the drier ones to come.
    """
    led = leading(probed)
    least_pf = np.where(probed, 0.0, -OFF_MOST_PF)
    zones = len(task.need_mm)
    total, count = np.zeros((HALF_MONTHS, zones)), np.zeros((HALF_MONTHS, zones))
    for record, outcome in zip(task.records, outcomes, strict=True):
        state, pf = outcome.state[record.scored], outcome.pf[record.scored]
        counted = record.season.days & (state != RAIN_WET)
        off = np.where(counted, np.clip(pf - HOLD_PF, least_pf, OFF_MOST_PF), 0.0)
        np.add.at(total, record.half_month, off)
        np.add.at(count, record.half_month, counted)
    shift = np.zeros(len(task.spreads))
    for place, row in enumerate(task.rows):
        off = total[row][:, led].sum() / max(count[row][:, led].sum(), 1.0)
        shift[place] = PER_PF * off
    shift[-zones:] = PER_PF * total.sum(axis=0) / np.maximum(count.sum(axis=0), 1)
    return shift


def _loss(task: Task, outcomes: Sequence[Outcome]) -> float:
    """Days out of band first, in the mean and of the worst; unevenness and water second."""
    lost, years = [], []
    unevenness, water = 0.0, 0.0
    for record, outcome in zip(task.records, outcomes, strict=True):
        state, pf = outcome.state[record.scored], outcome.pf[record.scored]
        counted = judged_days(record, state)
        graded = np.where(counted, _lost(state, pf), 0.0)
        lost.append(graded.sum(axis=0) / np.maximum(counted.sum(axis=0), 1))
        for year in record.years:
            of_year = record.year == year
            years.append(graded[of_year].sum(axis=0) / np.maximum(counted[of_year].sum(axis=0), 1))
        unevenness += unevenness_pf(pf, record.season.days) or 0.0
        mm = outcome.mm[record.scored].sum() / len(record.years)
        water += float(mm / task.need_mm.sum())
    of_zones = np.mean(lost, axis=0)
    # The worst of the years by a high quantile of all zones' years: the worst alone is chance.
    badly = float(np.quantile(np.array(years), 0.9))
    first = float(of_zones.mean() + of_zones.max() + BADLY_WEIGHT * badly)
    second = UNEVENNESS_WEIGHT * unevenness + WATER_WEIGHT * water
    return first + second / len(outcomes)


def _lost(state: Codes, pf: Floats) -> Floats:
    """How far each day is from being well in band, 0..1: a half at the band's limits.

    Graded, and from inside the band on, so that a plan that just holds it in the years searched is
    not taken for one that holds it with room to spare.
    """
    off = np.abs(pf - np.mean(BAND_PF)) - (BAND_PF[1] - BAND_PF[0]) / 2.0
    lost = np.clip(0.5 + off / (2.0 * EDGE_PF), 0.0, 1.0)
    return np.asarray(np.where((state == WET) & (off <= 0.0), 1.0, lost))
