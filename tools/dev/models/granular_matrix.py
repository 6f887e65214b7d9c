"""A granular matrix sensor: how the resistance of its gypsum tells suction, and how far it errs.

No simulated hub reads one yet: the model checks what drivers of such sensors compute.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from evenclay.sim.types import Floats

MATRIX_SHORT_KOHM, MATRIX_OPEN_KOHM = 0.1, 40.0  # as the boards' pin map has them
MATRIX_USUAL_C = 24.0  # taken where no thermometer lies in the ground


def matrix_kpa(resistance_kohm: ArrayLike, temp_c: ArrayLike) -> Floats:
    """Suction [kPa] of a granular matrix sensor, NaN where it can be none.

    NaN: shorted, open, or so dry or hot that the formula loses its meaning.
    Source: Shock, Barnum & Seddigh 1998, Proc. Irrigation Association, pp. 139-146.
    """
    r = np.asarray(resistance_kohm, dtype=np.float64)
    t = np.asarray(temp_c, dtype=np.float64)
    below = 1.0 - 0.009733 * r - 0.01205 * t
    kpa = (4.093 + 3.213 * r) / np.where(below > 0.0, below, np.nan)
    sound = (r >= MATRIX_SHORT_KOHM) & (r <= MATRIX_OPEN_KOHM)
    return np.asarray(np.where(sound, kpa, np.nan))


def matrix_kohm(suction_kpa: ArrayLike, temp_c: ArrayLike) -> Floats:
    """Resistance [kohm] of a granular matrix sensor at a suction [kPa] and temperature [deg C].

    The formula of matrix_kpa turned round; held at the short's resistance where it is wetter than
    the formula reaches.
    """
    kpa = np.asarray(suction_kpa, dtype=np.float64)
    t = np.asarray(temp_c, dtype=np.float64)
    r = (kpa * (1.0 - 0.01205 * t) - 4.093) / (3.213 + 0.009733 * kpa)
    return np.asarray(np.maximum(r, MATRIX_SHORT_KOHM))


@dataclass(frozen=True)
class GranularMatrix:
    """A granular matrix sensor: resistance by suction and temperature, read at an assumed one.

    noise_share: standard deviation of the resistance, of itself. assumed_c: the temperature its
    reader takes, None where it measures it.
    """

    noise_share: float = 0.03
    assumed_c: float | None = MATRIX_USUAL_C

    def reads_kpa(self, suction_kpa: ArrayLike, temp_c: ArrayLike, draw: ArrayLike) -> Floats:
        """What it shows [kPa], NaN where its reader would call it faulty. draw: standard normal."""
        kohm = matrix_kohm(suction_kpa, temp_c)
        kohm = kohm * np.maximum(1.0 + self.noise_share * np.asarray(draw), 0.1)
        return matrix_kpa(kohm, temp_c if self.assumed_c is None else self.assumed_c)
