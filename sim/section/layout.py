"""How the cross-section is cut into layers and columns, and sums over them."""

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenclay.sim.types import Floats

YARD, STRIP, EDGE, INNER, INSIDE = range(5)
PLACES = ("yard", "strip", "edge", "inner", "inside")
SOFT_PF = 2.0  # wetter clay hardly swells more: an assumption
STRIP_M = (0.3, 1.0)  # the depth that level, target, estimate, sample and sensor speak of


@dataclass(frozen=True)
class Layout:
    """Boundaries of the layers from the top [m], and the columns from the yard inwards.

    places: of each column the place that it belongs to. widths_m: of each column; those of the
    strip share their zone's own width in proportion. The outermost and the innermost column let
    nothing pass at their far sides: there lies more of the same yard, and the middle of the house.
    """

    edges_m: tuple[float, ...] = (
        0.0,
        0.1,
        0.2,
        0.3,
        0.45,
        0.6,
        0.8,
        1.0,
        1.25,
        1.5,
        1.8,
        2.2,
        2.8,
        3.6,
        4.6,
        6.0,
    )
    places: tuple[int, ...] = (YARD, YARD, STRIP, STRIP, EDGE, EDGE, INNER, INSIDE, INSIDE)
    widths_m: tuple[float, ...] = (2.2, 1.2, 0.3, 0.3, 0.25, 0.25, 1.0, 1.5, 2.0)

    @property
    def layers(self) -> int:
        """How many layers."""
        return len(self.edges_m) - 1

    @property
    def columns(self) -> int:
        """How many columns."""
        return len(self.places)

    def columns_m(self, strip_m: float) -> Floats:
        """Width of each column where the strip is so wide [m]."""
        widths, strip = np.array(self.widths_m), np.array(self.places) == STRIP
        widths[strip] *= strip_m / widths[strip].sum()
        return widths

    @cached_property
    def thick_m(self) -> Floats:
        """Thickness of each layer [m]."""
        return np.diff(self.edges_m)

    @cached_property
    def middles_m(self) -> Floats:
        """Depth of each layer's middle [m]."""
        return np.array([(a + b) / 2.0 for a, b in pairwise(self.edges_m)])

    def share(self, from_m: float, to_m: float) -> Floats:
        """What part of each layer lies between two depths, 0..1."""
        edges = np.clip(self.edges_m, from_m, to_m)
        return np.asarray(np.diff(edges) / self.thick_m)

    def mean(self, from_m: float, to_m: float) -> Floats:
        """Weights whose sum over the layers is the mean between two depths."""
        part = self.share(from_m, to_m) * self.thick_m
        return np.asarray(part / part.sum())

    def at(self, depth_m: float) -> Floats:
        """Weights whose sum over the layers is the value at a depth, between layers' middles."""
        place = float(np.interp(depth_m, self.middles_m, np.arange(self.layers)))
        return np.asarray(np.maximum(0.0, 1.0 - np.abs(np.arange(self.layers) - place)))


LAYOUT = Layout()


def strain_weights(edges_m: ArrayLike, cracked_m: float, from_m: float = 0.0) -> Floats:
    """Weight of each layer's pF in a sum of strain: its factor times its thickness [m].

    edges_m: boundaries of the layers from the top. from_m: depth above which nothing counts, as a
    footing's. The factor is 1.0 down to cracked_m and 2.0 - depth / 5 below, not below 0.
    Source: AS 2870-2011, clause 2.3, from memory.
    """
    edges = np.maximum(np.asarray(edges_m, dtype=np.float64), from_m)
    below = np.clip(edges, cracked_m, 10.0)
    integral = np.minimum(edges, cracked_m) + 2.0 * below - below**2 / 10.0
    return np.diff(integral)


def weighted_suction(
    pf: "NDArray[np.float32] | Floats", edges_m: ArrayLike, footing_m: float, cracked_m: float
) -> Floats:
    """Weighted suction of columns [pF m]: from the footing's depth to the bottom of the section.

    pf: (..., layers). What is wetter than pF 2.0 counts as 2.0.
    """
    weights = strain_weights(edges_m, cracked_m, footing_m)
    return np.asarray(np.maximum(pf, SOFT_PF) @ weights)
