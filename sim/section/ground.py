"""What a cross-section of ground is made of: the clay of the house, and each side of it.

Nobody knows the clay under a given house. Each default lies in the middle of what is thought
possible, in the logarithm where the range spans decades; the range and its source stand beside it.
None was fitted to weather on which plans are judged.
"""

from dataclasses import dataclass, field

from evenclay.sim.ground.textures import TEXTURES, Texture
from evenclay.sim.section.layout import LAYOUT, Layout


@dataclass(frozen=True)
class Cover:
    """What grows on a piece of ground.

    roots_m: depth of the deepest roots; 0 for none. beta: of the roots, beta to the power of the
    depth in cm lie deeper than that. transpired_share: of what the cover takes, through leaves; the
    rest evaporates from the ground.
    """

    roots_m: float
    beta: float
    transpired_share: float


# beta by life form: Jackson et al. 1996, Oecologia 108:389-411; that of grass is confirmed by
# parameter files that cite it, that of shrubs is from memory. Depths: grass 0.6-1.5 m (FAO-56,
# table 22: turf 0.5-1.0, pasture 0.5-1.5, from memory), shrubs 1-2.5 m (common practice, no
# source). Shares: an assumption, by how much of the ground leaves shade.
GRASS = Cover(roots_m=1.0, beta=0.952, transpired_share=0.9)
SHRUBS = Cover(roots_m=1.5, beta=0.978, transpired_share=0.7)
BARE = Cover(roots_m=0.0, beta=0.5, transpired_share=0.0)


@dataclass(frozen=True)
class Zone:
    """One side of a house: its watered strip, and the yard beyond it.

    coefficient, yard_coefficient: on reference evapotranspiration; grass 0.8 (common practice, no
    source). exposure, yard_exposure: share of rain that arrives. width_m: of the strip. slab_m:
    from the strip's middle to the edge of the slab, None where there is no slab. yard_reach_m: how
    far the yard's roots reach under the strip, and past it under the edge, thinning out evenly;
    0-0.6 m (an assumption). The strip's own reach as far under the edge.
    """

    coefficient: float = 0.8
    exposure: float = 1.0
    cover: Cover = GRASS
    width_m: float = 0.6
    slab_m: float | None = 0.4
    yard_coefficient: float = 0.8
    yard_exposure: float = 1.0
    yard_cover: Cover = GRASS
    yard_reach_m: float = 0.3
    texture: Texture = TEXTURES["clay"]


@dataclass(frozen=True)
class Ground:
    """The clay of a house, as far as one guess goes.

    alpha_cm2_s: Mitchell's coefficient of suction diffusion, all paths together: 0.0003-0.003, as
    back-calculated for fissured, rooted clay in the field; intact clay in the laboratory has a
    tenth of that and less (Mitchell 1979; Lytton; both from memory).

    c_per_pf: water that a unit of pF holds, at pF 3.3 [m3/m3]: 0.06-0.12 (from memory); with the
    form of the texture's curve 0.09 makes 0.21 m3/m3 between saturation and wilting point, as
    vertisols hold 0.18-0.25 (from memory), and a porosity of 0.477 (Rawls, Brakensiek & Miller
    1983: 0.475).

    matrix_mm_d: conductivity of the clay between its fissures at pF 1: 0.05-5 (from memory); the
    texture's published curve has 2.1 there. At pF 2 it is a tenth.

    surface_mm_h: conductivity of the fissured top when swollen: 0.5-50 (from memory); 2 is the
    texture's published figure, and FAO gives clay 1-5 (Brouwer et al. 1988).

    crack_share: of the water that falls, what cracks swallow at their widest: 0-0.5, measured in
    cracked clays from nothing to half (an assumption as to when).

    fissured_m: how deep fissures reach: half to three quarters of the depth of seasonal change
    (AS 2870-2011, clause 2.3, from memory), which is 1.5-3 m: 0.75-2.25.

    footing_m: how deep nothing passes between strip and edge: 0.3-0.6 (common practice, no source).

    uptake_full_pf, uptake_end_pf: roots take all they are asked up to the one and nothing from the
    other on. Source: FAO-56, eq. 84 and table 22: grass on clay takes freely a share of 0.45 of
    what is available between pF 2 and 4.2, so up to pF 3.0, then less in proportion to what is
    left. Some go on to pF 4.6: 4.2-4.6 (from memory).

    compensation: stress below which roots in wet ground no longer make up for dry ones. Source:
    Jarvis 1989, J. Hydrol. 107:57-72; 0.5 as is usual in models (from memory).

    air_first_mm, air_later_mm_d05, air_cracks_mm_d: bare ground gives the first freely after
    wetting, then by the root of days, and the third out of cracks at their widest. Source: Ritchie
    1972, Water Resour. Res. 8:1204-1213, Houston Black clay; Ritchie & Adams 1974, Soil Sci. Soc.
    Am. Proc. 38:131-134 (all three from memory). Mitchell's coefficient alone would let bare clay
    lose five times as much: a field's fissures and roots do not bring water to a dry surface.
    """

    alpha_cm2_s: float = 0.001
    c_per_pf: float = 0.09
    matrix_mm_d: float = 0.5
    surface_mm_h: float = 2.0
    crack_share: float = 0.2
    fissured_m: float = 1.5
    footing_m: float = 0.4
    uptake_full_pf: float = 3.0
    uptake_end_pf: float = 4.4
    compensation: float = 0.5
    air_first_mm: float = 6.0
    air_later_mm_d05: float = 3.5
    air_cracks_mm_d: float = 0.6
    layout: Layout = field(default=LAYOUT)
