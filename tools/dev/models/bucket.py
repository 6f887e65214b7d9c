"""FAO-56's root-zone bucket: a published check model, not part of a replay.

It stands beside the layered column of sim/ground/soil.py: small enough to be reproduced by hand
from the paper's examples, and simple enough to say whether a year's evapotranspiration of the
column is of the right size.
Source: Allen, Pereira, Raes & Smith 1998, FAO Irrigation and Drainage Paper 56, chapter 8.
"""


def taw_mm(field_capacity: float, wilting_point: float, roots_m: float) -> float:
    """Total available water [mm]; water contents in m3/m3. Source: FAO-56 eq. 82."""
    return 1000.0 * (field_capacity - wilting_point) * roots_m


def raw_mm(total_mm: float, fraction: float) -> float:
    """Readily available water [mm] of the total, fraction p 0..1. Source: FAO-56 eq. 83."""
    return fraction * total_mm


def depletion_fraction(table_fraction: float, etc_mm: float) -> float:
    """Fraction p for a day's crop evapotranspiration [mm]. Source: FAO-56 table 22, footnote."""
    return min(max(table_fraction + 0.04 * (5.0 - etc_mm), 0.1), 0.8)


def stress_ks(depletion_mm: float, total_mm: float, fraction: float) -> float:
    """Water stress coefficient Ks [0..1] at a depletion [mm]. Source: FAO-56 eq. 84."""
    if depletion_mm <= fraction * total_mm:
        return 1.0
    return max(0.0, (total_mm - depletion_mm) / ((1.0 - fraction) * total_mm))


def depletion(before_mm: float, water_mm: float, et_mm: float, total_mm: float) -> float:
    """Depletion at a day's end [mm, 0..total]: what comes in beyond field capacity drains.

    before_mm: at the day's beginning. water_mm: rain less runoff, and irrigation. et_mm: actual
    evapotranspiration. Source: FAO-56 eq. 85, 86 and 88, without capillary rise.
    """
    return min(max(before_mm - water_mm + et_mm, 0.0), total_mm)
