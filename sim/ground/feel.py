"""What a squeezed sample of soil tells: its class by feel and appearance, from published words.

Available water lies between field capacity, 33 kPa, and wilting point, 1500 kPa; a ground that
holds more or less water a pF than its texture has the same shares of it.
Source: USDA-NRCS, Estimating Soil Moisture by Feel and Appearance (1998): 0-25, 25-50, 50-75,
75-100 percent and wetter, looked up in its Wyoming office's page on clay.
"""

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenclay.sim.ground.textures import CM_PER_KPA, Texture, pf

FIELD_CAPACITY_KPA, WILTING_KPA = 33.0, 1500.0
CLASS_BORDERS = (0.25, 0.5, 0.75, 1.0)  # of available water; from the last one on: wetter


def classes(suction_pf: ArrayLike, texture: Texture) -> NDArray[np.int64]:
    """The class of a sample, 0 (driest) to 4 (at field capacity or wetter)."""
    full, wilted = _ends(texture)
    content = texture.water_content(10.0 ** np.asarray(suction_pf, dtype=np.float64))
    share = (content - wilted) / (full - wilted)
    return np.asarray(np.searchsorted(CLASS_BORDERS, share, side="right"), dtype=np.int64)


def borders_pf(texture: Texture) -> list[float]:
    """PF at which each class gives way to the next wetter one, the driest border first."""
    full, wilted = _ends(texture)
    contents = wilted + np.array(CLASS_BORDERS) * (full - wilted)
    return [float(each) for each in pf(texture.suction_cm(contents))]


@lru_cache(maxsize=64)
def _ends(texture: Texture) -> tuple[float, float]:
    """Water content at field capacity, and at wilting point."""
    full, wilted = (
        float(texture.water_content(kpa * CM_PER_KPA)) for kpa in (FIELD_CAPACITY_KPA, WILTING_KPA)
    )
    return full, wilted
