"""Places labels on a sheet so that none covers another, a line, or the sheet's edge."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import atan2, cos, pi, sin

from shapely import LineString, box, unary_union
from shapely.geometry.base import BaseGeometry
from shapely.prepared import PreparedGeometry, prep

Point = tuple[float, float]
PAD_MM = 0.5  # of clear paper around a label
STEP_MM, TURNS = 1.0, 24
NEAR_MM = 2.0  # a label farther from what it names gets a line to it
ATTEMPTS = 5
AWAY = 0.6  # how much a direction that nobody asked for weighs, in steps


@dataclass(frozen=True)
class Label:
    """A text for a place. toward: the direction in which it should stand, or none. wide_mm,
    high_mm: its box. key: what it names."""

    key: str
    text: str
    place: Point
    toward: Point | None
    wide_mm: float
    high_mm: float
    bold: bool = False


@dataclass(frozen=True)
class Placed:
    """A label with the middle of its box, and the line to what it names where it has one."""

    label: Label
    middle: Point
    leader: tuple[Point, Point] | None
    area: BaseGeometry

    @cached_property
    def taken(self) -> BaseGeometry:
        """What no other box may cover."""
        return self.area if self.leader is None else self.area.union(LineString(self.leader))


def place(
    labels: Sequence[Label],
    obstacles: Sequence[BaseGeometry],
    paper_mm: tuple[float, float],
    reach_mm: float,
) -> list[Placed] | None:
    """Places for all labels, the first ones best; None where the sheet has no room for one.

    paper_mm: width and height of the sheet. reach_mm: how far a box may be from what it names.
    A label that finds no room is placed before all others in another attempt.
    """
    clear = prep(unary_union(list(obstacles)))
    order = list(labels)
    for _ in range(ATTEMPTS):
        found: list[Placed] = []
        for label in order:
            placed = _placed(label, found, clear, paper_mm, reach_mm)
            if placed is None:
                order.remove(label)
                order.insert(0, label)
                break
            found.append(placed)
        else:
            return found
    return None


def _placed(
    label: Label,
    others: Sequence[Placed],
    clear: "PreparedGeometry[BaseGeometry]",
    paper_mm: tuple[float, float],
    reach_mm: float,
) -> Placed | None:
    """The best place for a label among others; None where there is none."""
    for middle in _tries(label, reach_mm):
        area = _area(label, middle)
        low_x, low_y, high_x, high_y = area.bounds
        if low_x < 0 or low_y < 0 or high_x > paper_mm[0] or high_y > paper_mm[1]:
            continue
        if clear.intersects(area) or any(area.intersects(other.taken) for other in others):
            continue
        end = _end(label, area)
        leader = LineString([label.place, end])
        if leader.length <= NEAR_MM:
            return Placed(label, middle, None, area)
        if not any(leader.intersects(other.area) for other in others):
            return Placed(label, middle, (label.place, end), area)
    return None


def _area(label: Label, middle: Point) -> BaseGeometry:
    half_x, half_y = label.wide_mm / 2 + PAD_MM, label.high_mm / 2 + PAD_MM
    return box(middle[0] - half_x, middle[1] - half_y, middle[0] + half_x, middle[1] + half_y)


def _tries(label: Label, reach_mm: float) -> Iterator[Point]:
    """Middles for a label's box, the nearest first."""
    wanted = None if label.toward is None else atan2(label.toward[1], label.toward[0])
    tries: list[tuple[float, int, Point]] = []
    for step in range(int(reach_mm / STEP_MM)):
        for turn in range(TURNS if step else 1):
            angle = 2 * pi * turn / TURNS + (wanted or 0.0)
            off = min(turn, TURNS - turn) / TURNS if wanted is not None else 0.0
            weight = step + AWAY * off * 2 * min(step, 12)
            # The box's own size: beside it in x, above or below in y.
            x = label.place[0] + cos(angle) * (step * STEP_MM + label.wide_mm / 2 * abs(cos(angle)))
            y = label.place[1] + sin(angle) * (step * STEP_MM + label.high_mm / 2 * abs(sin(angle)))
            tries.append((weight, len(tries), (x, y)))
    for _, _, middle in sorted(tries):
        yield middle


def _end(label: Label, area: BaseGeometry) -> Point:
    """The point of a box that is nearest to what it names."""
    x, y = label.place
    low_x, low_y, high_x, high_y = area.bounds
    return min(max(x, low_x), high_x), min(max(y, low_y), high_y)
