"""How the clay of a section holds water and lets it move, as tables over water content.

Two paths. The matrix: van Genuchten's retention and Mualem's conductivity; water falls by it alone.
And what fissures, roots and vapour add between pF 2 and the dry end: Mitchell (1979) found that in
the field suction, as pF, spreads by plain diffusion, so a unit gradient of pF moves the same water
whether the clay is wet or dry. That is the total, alpha times C; the second path is what the matrix
lacks of it. Where the matrix alone moves more, it alone counts.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from evenclay.sim.ground import retention
from evenclay.sim.ground.retention import FULL_PF
from evenclay.sim.ground.textures import Texture
from evenclay.sim.section.ground import Ground
from evenclay.sim.types import Floats

STEPS = 1024
PHI, K, PF = range(3)  # what the columns of a table hold
WETTEST_PF = 1.0  # the matrix conducts no better when wetter: there its formula loses its meaning
DRIEST_PF = 5.5  # the tables end here
M2_D_PER_CM2_S = 8.64  # 86,400 s over 10,000 cm2


@dataclass(frozen=True)
class Clay:
    """A texture as a section needs it: water contents in m3/m3, metres and days.

    table: (STEPS + 1, 3) over water content from `low` to `saturated`: PHI, the potential whose
    gradient drives water [m2/d]; K, the conductivity by which it falls [m/d]; PF.
    """

    table: Floats
    low: float
    saturated: float
    full: float  # at FULL_PF

    @cached_property
    def contents(self) -> Floats:
        """Water content of each row of the table."""
        return np.linspace(self.low, self.saturated, STEPS + 1)

    def content(self, suction_pf: Floats) -> Floats:
        """Water content at a pF."""
        return np.interp(-np.asarray(suction_pf), -self.table[:, PF], self.contents)

    def pf(self, content: Floats) -> Floats:
        """pF at a water content."""
        return np.interp(content, self.contents, self.table[:, PF])

    def potential(self, suction_pf: float) -> float:
        """The potential whose gradient drives water, at a pF [m2/d]."""
        return float(np.interp(-suction_pf, -self.table[:, PF], self.table[:, PHI]))


def clay_of(texture: Texture, ground: Ground) -> Clay:
    """The tables of a texture in a ground.

    They hold what `retention.content` says. The matrix of clay that cracks conducts `matrix_mm_d`
    at pF 1; other textures keep their own figures.
    """
    u = np.linspace(DRIEST_PF, 0.0, 20001)
    content = retention.content(texture, ground.c_per_pf, u)
    relative = texture.relative_conductivity(10.0 ** np.maximum(u, WETTEST_PF))
    wettest_m_d = texture.ks_mm_h * 0.024 * relative[-1]
    if texture.cracks:
        wettest_m_d = ground.matrix_mm_d / 1000.0
    k = wettest_m_d * relative / relative[-1]
    by_matrix = k * 10.0**u / 100.0 * np.log(10.0)  # flux by a gradient of one pF a metre [m2/d]
    in_all = ground.alpha_cm2_s * M2_D_PER_CM2_S * retention.c_in(texture, ground.c_per_pf)
    moved = np.where(u >= FULL_PF, np.maximum(by_matrix, in_all), by_matrix)
    pieces = (moved[1:] + moved[:-1]) / 2.0 * (u[:-1] - u[1:])
    phi = np.concatenate(([0.0], np.cumsum(pieces)))
    grid = np.linspace(content[0], content[-1], STEPS + 1)
    table = np.empty((STEPS + 1, 3))
    for column, values in ((PHI, phi), (K, k), (PF, u)):
        table[:, column] = np.interp(grid, content, values)
    full = float(np.interp(-FULL_PF, -u, content))
    return Clay(table, float(content[0]), float(content[-1]), full)
