"""Friction of a pipe with many outlets in one factor: a check beside sim/house/hoses.py."""

import numpy as np

from evenclay.sim.house.hoses import FLOW_POWER


def christiansen_factor(outlets: int, power: float = FLOW_POWER) -> float:
    """Friction of a pipe with equal, evenly spaced outlets [1 and more], over that of one with all
    flow at its end; the first outlet is one spacing in.

    Source: Christiansen 1942 (University of California Bulletin 670); for one outlet, of which the
    formula makes a little more, 1.
    """
    share = 1.0 / (power + 1.0) + 1.0 / (2.0 * outlets)
    return float(min(share + np.sqrt(power - 1.0) / (6.0 * outlets**2), 1.0))
