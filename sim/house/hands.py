"""What an owner's hands find in a strip: a rod that is pushed in, and a sample that is squeezed.

Both are taken from publications and not fitted to any outcome. The rod tells of the hand and of the
clay's density as much as of its wetness: half the push again, or a density that is 0.2 less, moves
by half a pF what it takes for dry. A sample is compared with photographs and words, whose borders
lie 0.4 pF apart in clay.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import ArrayLike, NDArray

from evenclay.controller.ports import DRY, FIRM, WET
from evenclay.sim.ground.feel import CLASS_BORDERS, FIELD_CAPACITY_KPA, classes
from evenclay.sim.ground.textures import Texture, pf_of_kpa
from evenclay.sim.house.house import Check, Report
from evenclay.sim.section.clay import Clay
from evenclay.sim.section.layout import LAYOUT, STRIP, Layout
from evenclay.sim.section.section import Section
from evenclay.sim.types import Floats

Ints = NDArray[np.int64]

GRAIN_MG_M3 = 2.65  # density of clay minerals: common practice, no source
SAMPLE_M = 0.5  # where a sample is taken
AT_SAMPLE = LAYOUT.at(SAMPLE_M)
SAMPLE_OFF = 0.2  # share of samples that are put into a class beside their own: an assumption


def resistance_kpa(suction_pf: ArrayLike, saturation: ArrayLike, density_mg_m3: float) -> Floats:
    """What a cone meets that is pushed into soil [kPa].

    saturation: water over pores, 0..1. density_mg_m3: dry bulk density.
    Source: Whalley, To, Kay & Whitmore 2007, Geoderma 137:370-377, equation 8, with its correction
    1.097 for the mean of logarithms; coefficients by public code that cites both. Single soils
    scatter about it by a factor of about 1.5, which the correction says.
    """
    acting = 10.0 ** np.asarray(suction_pf, dtype=np.float64) * np.asarray(saturation)
    return np.asarray(1.097 * acting**0.35 * 10.0 ** (0.93 * density_mg_m3 + 1.26))


@dataclass(frozen=True)
class Rod:
    """A straight rod, and how hard it is pushed.

    length_m: how deep it should go (common practice, no source). diameter_m: a quarter of an inch,
    as Utah State University's extension has owners make one. push_n: about what one hand gives
    along a handle, at most 74-136 N (Seo et al. 2008, Human Factors 50:227-236, table 2).
    """

    length_m: float = 0.6
    diameter_m: float = 0.00635
    push_n: float = 100.0

    @property
    def stops_kpa(self) -> float:
        """The resistance from which on it stops; rubbing along its side is left out."""
        return self.push_n / (np.pi / 4.0 * self.diameter_m**2) / 1000.0

    def found(self, suction_pf: Floats, clay: Clay, layout: Layout = LAYOUT) -> Ints:
        """DRY where it stops short, WET where it comes out muddy, else FIRM, (...).

        suction_pf: of a strip's layers, (..., layers). It stops at any layer that is too hard.
        Muddy: at least half of its length lies in clay at field capacity or wetter, which by the
        published words of a sample (`feel.py`) leaves a thick, sticky coating.
        """
        share = layout.mean(0.0, self.length_m)
        saturation = clay.content(suction_pf) / clay.saturated
        density = GRAIN_MG_M3 * (1.0 - clay.saturated)
        hard = resistance_kpa(suction_pf, saturation, density) > self.stops_kpa
        muddy = (suction_pf <= pf_of_kpa(FIELD_CAPACITY_KPA)) @ share >= 0.5
        short = np.any(hard & (share > 0.0), axis=-1)
        return np.asarray(np.where(short, DRY, np.where(muddy, WET, FIRM)), dtype=np.int64)


ROD = Rod()


def judged(felt: Ints, random: Generator) -> Ints:
    """Classes as an owner puts them: one time in five the one above or below, if there is one."""
    chance = random.random(felt.shape)
    beside = np.where(chance < SAMPLE_OFF / 2.0, -1, np.where(chance < SAMPLE_OFF, 1, 0))
    most = len(CLASS_BORDERS)
    beside = np.where((felt + beside < 0) | (felt + beside > most), -beside, beside)
    return np.asarray(felt + beside, dtype=np.int64)


def felt(
    section: Section, textures: Sequence[Texture], check: Check, random: Generator
) -> list[Report]:
    """What an owner reports of each strip of a section by rod, by sample, or by both."""
    blades: list[int] | list[None] = [None] * len(textures)
    samples: list[int] | list[None] = blades
    if check != "sample":
        profiles = section.profile_pf(STRIP)
        blades = [int(ROD.found(pf, section.clay(zone))) for zone, pf in enumerate(profiles)]
    if check != "blade":
        true_pf = section.place_pf(STRIP, AT_SAMPLE).tolist()
        true = [int(classes(*each)) for each in zip(true_pf, textures, strict=True)]
        samples = judged(np.array(true), random).tolist()
    return [Report(*both) for both in zip(blades, samples, strict=True)]
