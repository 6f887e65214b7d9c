"""The search for the layout of least cost, exact for any outline that a file can hold.

A strip's cells are parted into runs of neighbours. A run has one valve. It is fed at one of its
ends, in its middle or where its spigot stands, the last two by a tee; the feed goes from the spigot
one way or the other around the house. Where a run or a feed passes paving it crosses it in a
sleeve, and all that cross there share one.

Cost, in this order: work, which is pipe without holes (feeds, and links within a run) and ten times
the length of the sleeves; valves; tees. Which ground is watered is no choice: all that a spigot can
feed. What a strip costs depends on other strips through shared sleeves alone. So for each set of
paving that may be crossed every strip takes its own best; the best of these is the best of all.
Twelve pieces of paving, the most that a file may have, give 4,096 sets.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import inf
from typing import NamedTuple

from evenclay.tools.handover.layout.ground import Gap, Ground, Strip, Tap

SAME_M = 1e-6
# Metres of pipe that are as much work as one of sleeve: common practice, no source.
SLEEVE_WORK = 10.0
Cells = tuple[tuple[float, float], ...]
Mask = frozenset[int]  # places of gaps in `Ground.gaps`


@dataclass(frozen=True)
class Run:
    """Hose on one valve. cells: its parts, on the ring. fed_m: where its feed joins it. way: +1 for
    a feed that goes counter-clockwise, -1 for clockwise. feed_m: length of the feed, from the
    spigot on. tee: whether hose goes both ways from there. crosses: the gaps that it passes."""

    supply: str
    cells: Cells
    fed_m: float
    way: int
    feed_m: float
    tee: bool
    crosses: Mask

    @property
    def hose_m(self) -> float:
        return sum([ends_m - begins_m for begins_m, ends_m in self.cells])

    @property
    def link_m(self) -> float:
        """Pipe without holes between its cells."""
        return self.cells[-1][1] - self.cells[0][0] - self.hose_m


class Cost(NamedTuple):
    """Costs in the order in which they count."""

    unserved: int
    work_m: float
    valves: int
    tees: int


class _Part(NamedTuple):
    """What a part of a strip costs whatever the rest does, and how it is watered."""

    pipe_m: float
    valves: int
    tees: int
    runs: tuple[Run, ...]

    @property
    def rank(self) -> tuple[float, int, int]:
        return round(self.pipe_m, 6), self.valves, self.tees


def best_runs(ground: Ground) -> dict[int, tuple[Run, ...]]:
    """The runs of least cost for each strip that a spigot can feed, by the strip's place."""
    served = [n for n, strip in enumerate(ground.strips) if strip.cells and strip.limits]
    ways = {n: _ways(ground, ground.strips[n]) for n in served}
    best: dict[int, _Part] = {}
    least: tuple[float, ...] = (inf,)
    for allowed in _subsets(len(ground.gaps)):
        if sleeve_work_m([ground.gaps[gap] for gap in allowed]) > least[0]:
            continue
        chosen = {}
        for n in served:
            fitting = [part for crossed, part in ways[n].items() if crossed <= allowed]
            if not fitting:
                break
            chosen[n] = min(fitting, key=lambda part: part.rank)
        else:
            rank = _rank(ground, list(chosen.values()), allowed)
            if rank < least:
                best, least = chosen, rank
    return {n: part.runs for n, part in best.items()}


def _subsets(count: int) -> Iterator[Mask]:
    """Each choice of so many gaps, the smallest first."""
    for size in range(count + 1):
        yield from map(frozenset, combinations(range(count), size))


def sleeve_work_m(gaps: Iterable[Gap]) -> float:
    """The work of sleeves under these gaps, in metres of pipe."""
    return SLEEVE_WORK * sum([gap.sleeve_m for gap in gaps])


def _rank(ground: Ground, parts: Sequence[_Part], crossed: Mask) -> tuple[float, ...]:
    sleeves_m = sleeve_work_m([ground.gaps[gap] for gap in crossed])
    return (
        round(sum([part.pipe_m for part in parts]) + sleeves_m, 6),
        sum([part.valves for part in parts]),
        sum([part.tees for part in parts]),
    )


def _ways(ground: Ground, strip: Strip) -> dict[Mask, _Part]:
    """The best way to water a strip for each set of paving that it may cross."""
    ways: list[dict[Mask, _Part]] = [{frozenset(): _Part(0.0, 0, 0, ())}]
    for end in range(1, len(strip.cells) + 1):
        here: dict[Mask, _Part] = {}
        for begin in range(end):
            for run in options(ground, strip, _joined(strip.cells[begin:end])):
                for crossed, part in ways[begin].items():
                    together = _Part(
                        part.pipe_m + run.feed_m + run.link_m,
                        part.valves + 1,
                        part.tees + run.tee,
                        (*part.runs, run),
                    )
                    key = crossed | run.crosses
                    if key not in here or together.rank < here[key].rank:
                        here[key] = together
        ways.append(_undominated(here))
    return ways[-1]


def _joined(cells: Cells) -> Cells:
    """Cells, where those that meet are one: no paving lies between them."""
    found = [cells[0]]
    for begins_m, ends_m in cells[1:]:
        if begins_m - found[-1][1] > SAME_M:
            found.append((begins_m, ends_m))
        else:
            found[-1] = (found[-1][0], ends_m)
    return tuple(found)


def _undominated(ways: dict[Mask, _Part]) -> dict[Mask, _Part]:
    """Without those that cross more than another one that is no worse."""
    return {
        key: part
        for key, part in ways.items()
        if not any(other < key and one.rank <= part.rank for other, one in ways.items())
    }


def options(ground: Ground, strip: Strip, cells: Cells) -> Iterator[Run]:
    """Each way to water neighbouring cells as one run that the hydraulics allow."""
    hose_m = sum([ends_m - begins_m for begins_m, ends_m in cells])
    for tap in ground.taps:
        limit = strip.limits.get(tap.supply)
        if limit is None:
            continue
        for fed_m in _joints(cells, tap, ground.ring.length_m):
            arms_m = (fed_m - cells[0][0], cells[-1][1] - fed_m)
            if max(arms_m) <= limit.arm_m + SAME_M:
                for run in _fed(ground, tap, cells, fed_m, min(arms_m) > SAME_M):
                    if hose_m <= limit.flow_m(run.feed_m) + SAME_M:
                        yield run


def _joints(cells: Cells, tap: Tap, round_m: float) -> Iterator[float]:
    """Where a feed may join: both ends, the middle of the hose, and beside the spigot."""
    yield cells[0][0]
    yield cells[-1][1]
    half_m = sum([ends_m - begins_m for begins_m, ends_m in cells]) / 2
    for begins_m, ends_m in cells:
        if half_m <= ends_m - begins_m + SAME_M:
            yield begins_m + half_m
            break
        half_m -= ends_m - begins_m
    for turn in (0.0, round_m):
        if any(begins_m < tap.place_m + turn < ends_m for begins_m, ends_m in cells):
            yield tap.place_m + turn


def _fed(ground: Ground, tap: Tap, cells: Cells, fed_m: float, tee: bool) -> Iterator[Run]:
    """The run with its feed one way around the house, and the other."""
    round_m = ground.ring.length_m
    ahead_m = (fed_m - tap.place_m) % round_m
    inner = passed(ground.gaps, cells[0][0], cells[-1][1], round_m)
    for way, length_m in ((1, ahead_m), (-1, (round_m - ahead_m) % round_m)):
        low_m = tap.place_m if way > 0 else tap.place_m - length_m
        crosses = inner | passed(ground.gaps, low_m, low_m + length_m, round_m)
        yield Run(tap.supply, cells, fed_m, way, tap.away_m + length_m, tee, crosses)


def passed(gaps: Sequence[Gap], low_m: float, high_m: float, round_m: float) -> Mask:
    """The gaps that a way along the ring passes, in whole or in part."""
    found = set()
    for number, gap in enumerate(gaps):
        for turn_m in (-round_m, 0.0, round_m, 2 * round_m):
            begins_m, ends_m = gap.begins_m + turn_m, gap.ends_m + turn_m
            if min(high_m, ends_m) - max(low_m, begins_m) > SAME_M:
                found.add(number)
    return frozenset(found)
