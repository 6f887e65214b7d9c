"""What is not known of the ground of a house, how far, and by whom that is said: one table.

`python -m evenclay.sim.ground.uncertain` prints it, for a soil engineer to argue with.
"""

from dataclasses import dataclass
from typing import Literal

ERRORS = 2.0  # standard errors on either side; what lies beyond is cut off


@dataclass(frozen=True)
class Uncertain:
    """One thing that is not known.

    low, high: the range. spread: even in the thing itself ("linear"), even in its logarithm
    ("log"), or normal ("normal"), two standard errors to either side. per: drawn once for the
    "house", or for each "zone". middle: of the middle ground, the range's own middle where None.
    """

    name: str
    unit: str
    low: float
    high: float
    spread: Literal["linear", "log", "normal"]
    per: Literal["house", "zone"]
    source: str
    middle: float | None = None

    def at(self, share: float) -> float:
        """The value below which that share of the grounds lies, 0..1."""
        if self.spread == "log":
            return float(self.low * (self.high / self.low) ** share)
        if self.spread == "normal":
            from scipy.stats import norm  # slow to import: only where grounds are drawn

            cut = float(norm.cdf(-ERRORS))
            share = float(norm.ppf(cut + share * (1.0 - 2.0 * cut))) / (2.0 * ERRORS) + 0.5
        return self.low + (self.high - self.low) * share

    @property
    def of_middle(self) -> float:
        """Its value in the middle ground."""
        return self.at(0.5) if self.middle is None else self.middle


TABLE: tuple[Uncertain, ...] = (
    Uncertain(
        "alpha_cm2_s",
        "cm2/s",
        0.0003,
        0.003,
        "log",
        "house",
        "Mitchell 1979 and Lytton, back-calculated in the field, from memory. Samples in the"
        " laboratory, without fissures, have a tenth and less (from memory), and wetting is up to"
        " twice as fast as drying (undisturbed clays of Oklahoma; abstract of 'Unified testing"
        " method for measuring diffusion coefficients', looked up)",
    ),
    Uncertain(
        "c_per_pf",
        "m3/m3",
        0.06,
        0.12,
        "linear",
        "house",
        "Vertisols hold 180-250 mm/m between pF 2 and 4.2, from memory: 0.08-0.11 a pF; and a"
        " little more to either side. Not where a laboratory has measured the water contents",
    ),
    Uncertain(
        "matrix_mm_d",
        "mm/d",
        0.05,
        5.0,
        "log",
        "house",
        "Between fissures at pF 1: a decade to either side of 0.5, from memory. Mualem with the"
        " clay of Carsel & Parrish 1988 gives 2.1",
    ),
    Uncertain(
        "surface_mm_h",
        "mm/h",
        0.5,
        50.0,
        "log",
        "house",
        "Brouwer et al. 1988 (FAO training manual 5): clay 1-5; a cracking clay in Sicily 11-22,"
        " one to three decades above its matrix (abstract of 'Measuring hydraulic conductivity in"
        " a cracking clay soil using the Guelph permeameter', looked up). Beyond: from memory",
    ),
    Uncertain(
        "crack_share",
        "1",
        0.0,
        0.5,
        "linear",
        "house",
        "Of rain that falls, what cracks at their widest swallow: from memory. Of what enters under"
        " ponding, large pores open to the surface took 34-99 % in a silty clay loam (Sanders et"
        " al. 2012, Water Resour. Res. 48 W04534, abstract looked up)",
    ),
    Uncertain(
        "fissured_of_season",
        "1",
        0.5,
        0.75,
        "linear",
        "house",
        "Depth of fissures over that of seasonal change: AS 2870-2011, clause 2.3, from memory:"
        " 0.75 in Adelaide and Melbourne, 0.5 elsewhere. Suction in Oklahoma changes to 1-3 m"
        " (Yue & Veenstra 2018, J. GeoEngineering 13(1):29-38, abstract looked up)",
    ),
    Uncertain(
        "deep_offset_pf",
        "pF",
        -0.3,
        0.3,
        "linear",
        "house",
        "Suction far down beside what is usual with the climate: single sites scatter more,"
        " 55-11,246 kPa about a mean of 979 (abstract of 'Variation of soil suction with depth in"
        " Dallas and Fort Worth, Texas'); means of a site less, from memory",
        middle=0.0,
    ),
    Uncertain(
        "uptake_end_pf",
        "pF",
        4.2,
        4.6,
        "linear",
        "house",
        "Roots stop at wilting point, pF 4.2, by convention; some go on: from memory",
    ),
    Uncertain(
        "air_later_mm_d05",
        "mm/d0.5",
        3.3,
        5.1,
        "linear",
        "house",
        "Evaporation of bare ground after its first days: Ritchie 1972, Water Resour. Res."
        " 8:1204-1213, four soils, Houston Black clay 3.5, from memory",
        middle=3.5,
    ),
    Uncertain(
        "footing_m",
        "m",
        0.3,
        0.6,
        "linear",
        "house",
        "Common practice, no source; only where the owner has not said",
        middle=0.4,
    ),
    Uncertain(
        "demand_factor",
        "1",
        0.8,
        1.25,
        "log",
        "house",
        "On what the air asks of strips and yards: reference evapotranspiration by temperature"
        " alone is off by that much, from memory",
        middle=1.0,
    ),
    Uncertain(
        "house_flow_factor",
        "1",
        0.75,
        1.2,
        "log",
        "house",
        "On the flow that is printed on a hose: pressure unlike the rated, and porous walls that"
        " pass less with each use until they settle (Water Supply 22(1):220, 2022); how far: common"
        " practice, no source. Not for a hose that its owner measured with a bucket",
        middle=1.0,
    ),
    Uncertain(
        "yard_roots_m",
        "m",
        0.6,
        1.5,
        "log",
        "house",
        "Grass: FAO-56 table 22, turf 0.5-1.0 (public copy of the table, looked up), pasture to 1.5"
        " (from memory)",
    ),
    Uncertain(
        "coefficient_factor",
        "1",
        0.75,
        1.3,
        "log",
        "zone",
        "On the strip's coefficient: wall, shade and sparse plants, common practice, no source",
        middle=1.0,
    ),
    Uncertain(
        "open_exposure_factor",
        "1",
        0.8,
        1.2,
        "linear",
        "zone",
        "On the share of rain that reaches an open strip: wind and walls, common practice, no"
        " source",
        middle=1.0,
    ),
    Uncertain(
        "eaves_exposure_factor",
        "1",
        0.4,
        1.4,
        "linear",
        "zone",
        "The same under eaves: 0.2-0.7 where 0.5 is written; common practice, no source",
        middle=1.0,
    ),
    Uncertain(
        "grass_roots_m",
        "m",
        0.6,
        1.5,
        "log",
        "zone",
        "Of the strip, where grass grows there: as yard_roots_m",
    ),
    Uncertain(
        "shrub_roots_m",
        "m",
        1.0,
        2.5,
        "log",
        "zone",
        "Of the strip, where shrubs grow there: common practice, no source",
    ),
    Uncertain(
        "yard_reach_m",
        "m",
        0.0,
        0.6,
        "linear",
        "zone",
        "How far the yard's roots reach under strip and edge: an assumption",
    ),
    Uncertain(
        "zone_flow_factor",
        "1",
        0.9,
        1.1,
        "linear",
        "zone",
        "A zone's hose beside the house's others: nine of twelve kinds of emitter gave within 10 %"
        " of what was printed (Turkish J. Agric. For. 23(7), abstract looked up)",
        middle=1.0,
    ),
    Uncertain(
        "suction_error_pf",
        "pF",
        -0.4,
        0.4,
        "normal",
        "zone",
        "Lasting error of a suction sensor, standard error 0.2: from memory",
        middle=0.0,
    ),
    Uncertain(
        "content_error_m3_m3",
        "m3/m3",
        -0.08,
        0.08,
        "normal",
        "zone",
        "Lasting error of a capacitive sensor not calibrated in the soil, standard error 0.04, from"
        " memory. Makers' calibrations of three kinds were off by 0.004-0.34 in the mean in sandy"
        " clay loam and clay loam (thesis abstract, fields near Greeley, Colorado, looked up)",
        middle=0.0,
    ),
)
HOUSE_ROWS = tuple(row for row in TABLE if row.per == "house")
ZONE_ROWS = tuple(row for row in TABLE if row.per == "zone")


def table_text() -> str:
    """The table as Markdown, one row for each thing that is not known."""
    lines = [
        "| what | unit | from | middle | to | spread | drawn for each | source |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for row in TABLE:
        figures = [f"{value:.3g}" for value in (row.low, row.of_middle, row.high)]
        cells = [row.name, row.unit, *figures, row.spread, row.per, row.source]
        lines.append(f"| {' | '.join(cells)} |")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    print(table_text(), end="")
