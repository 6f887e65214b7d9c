"""Places labels on a sheet so that none covers another, a line, or the sheet's edge."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from math import atan2

import numpy as np
import shapely
from shapely import LineString, unary_union
from shapely.geometry.base import BaseGeometry

from evenclay.sim.types import Floats

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
    clear = unary_union(list(obstacles))
    shapely.prepare(clear)
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
    clear: BaseGeometry,
    paper_mm: tuple[float, float],
    reach_mm: float,
) -> Placed | None:
    """The best place for a label among others; None where there is none."""
    half_mm = np.array([label.wide_mm, label.high_mm]) / 2 + PAD_MM
    middles = _tries(label, reach_mm)
    low, high = middles - half_mm, middles + half_mm
    on_paper = np.all((low >= 0) & (high <= paper_mm), axis=1)
    middles = middles[on_paper]
    areas = np.asarray(shapely.box(*low[on_paper].T, *high[on_paper].T))
    free = ~shapely.intersects(clear, areas)
    for other in others:
        free &= ~shapely.intersects(other.taken, areas)
    for (x, y), area in zip(middles[free].tolist(), areas[free].tolist(), strict=True):
        end = _end(label, area)
        leader = LineString([label.place, end])
        if leader.length <= NEAR_MM:
            return Placed(label, (x, y), None, area)
        if not any(leader.intersects(other.area) for other in others):
            return Placed(label, (x, y), (label.place, end), area)
    return None


def _tries(label: Label, reach_mm: float) -> Floats:
    """Middles for a label's box, the nearest first, (tries, 2)."""
    wanted = None if label.toward is None else atan2(label.toward[1], label.toward[0])
    step, turn = np.divmod(np.arange(TURNS * int(reach_mm / STEP_MM)), TURNS)
    step, turn = (each[(step > 0) | (turn == 0)] for each in (step, turn))  # one where it stands
    angle = 2 * np.pi * turn / TURNS + (wanted or 0.0)
    off = np.minimum(turn, TURNS - turn) / TURNS * (wanted is not None)
    weight = step + AWAY * off * 2 * np.minimum(step, 12)
    across = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    # The box's own size: beside it in x, above or below in y.
    size_mm = np.array([label.wide_mm, label.high_mm]) / 2 * np.abs(across)
    tries = np.array(label.place) + across * (step[:, None] * STEP_MM + size_mm)
    return np.asarray(tries[np.argsort(weight, kind="stable")])


def _end(label: Label, area: BaseGeometry) -> Point:
    """The point of a box that is nearest to what it names."""
    x, y = label.place
    low_x, low_y, high_x, high_y = area.bounds
    return min(max(x, low_x), high_x), min(max(y, low_y), high_y)
