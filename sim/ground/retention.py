"""How much water a pF holds: of a texture as published, of a ground, and by the plan's own line.

A plan, a sensor's table and the simulator's sensors all turn suction into water content and back by
one straight line, `plan_line`, of the middle ground. So what a sensor shows means the suction that
the plan means, in that ground; in any other it does not, and nobody knows.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from evenclay.sim.ground.textures import Texture
from evenclay.sim.ground.uncertain import HOUSE_ROWS
from evenclay.sim.types import Floats

C_AT_PF = 3.3
FULL_PF = 2.0  # field capacity of clay: what a lack of water is counted from
WILTED_PF = 4.2
LINE_PF = (2.5, WILTED_PF)  # the line goes through the middle ground's curve at these
(MIDDLE_C_PER_PF,) = [row.of_middle for row in HOUSE_ROWS if row.name == "c_per_pf"]


def c_of(texture: Texture) -> float:
    """Water that a unit of pF holds in the texture as published, at C_AT_PF [m3/m3]."""
    around = texture.water_content(10.0 ** np.array([C_AT_PF - 0.05, C_AT_PF + 0.05]))
    return float((around[0] - around[1]) / 0.1)


def c_in(texture: Texture, c_per_pf: float) -> float:
    """Water that a unit of pF holds of a texture in a ground [m3/m3].

    c_per_pf: of the ground, which clay that cracks has. Other textures keep their own, and so does
    clay whose water contents were measured.
    """
    return c_per_pf if texture.varies else c_of(texture)


def content(texture: Texture, c_per_pf: float, suction_pf: ArrayLike) -> Floats:
    """Water content of a texture in a ground [m3/m3].

    It holds what `c_in` says of water a pF at C_AT_PF, and as much as the texture at wilting point;
    the curve keeps its form.
    """
    own = texture.water_content(10.0 ** np.asarray(suction_pf, dtype=np.float64))
    if not texture.varies:
        return own
    wilted = float(texture.water_content(10.0**WILTED_PF))
    return np.asarray(wilted + c_per_pf / c_of(texture) * (own - wilted))


class Line(NamedTuple):
    """full_ppt: water content at FULL_PF. per_pf_ppt: how much less it is with each pF more."""

    full_ppt: float
    per_pf_ppt: float

    def ppt(self, suction_pf: ArrayLike) -> Floats:
        """Water content at a pF."""
        return np.asarray(self.full_ppt - self.per_pf_ppt * (np.asarray(suction_pf) - FULL_PF))

    def pf(self, content_ppt: ArrayLike) -> Floats:
        """PF at a water content."""
        return np.asarray(FULL_PF + (self.full_ppt - np.asarray(content_ppt)) / self.per_pf_ppt)


def plan_line(texture: Texture) -> Line:
    """The line by which a plan and its sensors turn suction into water content."""
    wet, dry = (1000.0 * content(texture, MIDDLE_C_PER_PF, np.array(LINE_PF))).tolist()
    per_pf_ppt = (wet - dry) / (LINE_PF[1] - LINE_PF[0])
    return Line(wet + per_pf_ppt * (LINE_PF[0] - FULL_PF), per_pf_ppt)
