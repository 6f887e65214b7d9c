"""How much of the harm of one wetness for all sides hangs on how a bare strip dries.

python -m evenclay.tools.dev.validation.bare_strip

Four unlike sides at Tunis on the middle ground, 26 years, kept by the truth of each midnight: all
at one wetness, or each as much wetter than its own level. With what dries a bare strip besides its
own surface, which is its neighbours' roots and the air in its cracks, and without. Half a minute.
"""

from dataclasses import replace

import numpy as np

from evenclay.sim.ground.plausible import usual_suction_pf
from evenclay.sim.house.standing import RELIEF_PF_USUAL
from evenclay.sim.judge.measures import Measures, Place, Record, first_watered, measure
from evenclay.sim.section import BARE, LAYOUT, SHRUBS, Ground, Zone, settled
from evenclay.sim.section.layout import EDGE, INSIDE, STRIP
from evenclay.sim.weather.hourly import hourly
from evenclay.tools.dev.validation.climates import index_at
from evenclay.tools.dev.validation.daily import kept, repeated
from evenclay.tools.dev.validation.years import tunis

YEARS = 26
SIDES = (
    Zone(coefficient=1.1, yard_coefficient=0.9),
    Zone(coefficient=0.7, exposure=0.5, cover=SHRUBS),
    Zone(coefficient=0.5, cover=BARE),
    Zone(coefficient=0.8, exposure=0.8, cover=SHRUBS),
)
NAMES = ("west", "north", "east", "south")


def measured(neighbours: bool, one_wetness: bool) -> tuple[Measures, list[float]]:
    """What comes of one way to water, and the levels of the sides in that ground."""
    ground, sides = Ground(), list(SIDES)
    if not neighbours:
        ground = replace(ground, air_cracks_mm_d=0.0)
        sides = [replace(side, yard_reach_m=0.0) for side in SIDES]
    by_hour = hourly(tunis(), 1)
    deep_pf = usual_suction_pf(index_at("tunis"))
    begun = settled(ground, sides, by_hour.rain_mm, by_hour.et0_mm, deep_pf=deep_pf)
    start = begun.section.snapshot()
    rain_mm, et0_mm = (repeated(one, YEARS) for one in (by_hour.rain_mm, by_hour.et0_mm))
    target_pf = begun.level_pf - RELIEF_PF_USUAL
    if one_wetness:
        target_pf = target_pf * 0.0 + target_pf.mean()
    records = []
    for wanted in (None, target_pf):
        begun.section.put_back(start)
        days, given_mm = kept(begun.section, rain_mm, et0_mm, wanted)
        pf = days.pf.astype(np.float64)
        records.append(Record(pf[:, :, EDGE], pf[:, :, INSIDE], pf[:, :, STRIP]))
    place = Place(LAYOUT.edges_m, ground.footing_m, ground.fissured_m, NAMES)
    found = measure(
        records[1], records[0], target_pf, place, first_watered(given_mm), years_least=25
    )
    return found, begun.level_pf.tolist()


def table() -> list[str]:
    """Rows of a Markdown table."""
    lines = [
        "| a bare strip dries by | kept at | unrest | shift | tilt | level, bare side |",
        "|---|---|---|---|---|---|",
    ]
    for neighbours, by in ((True, "air, cracks, neighbours' roots"), (False, "air alone")):
        for one, at in ((True, "one wetness"), (False, "own levels")):
            found, level_pf = measured(neighbours, one)
            cells = [by, at, f"{found.unrest_pct:.0f}", f"{found.shift_between_pct:.0f}"]
            cells += [f"{found.tilt_pct:.0f}", f"{level_pf[2]:.2f}"]
            lines.append(f"| {' | '.join(cells)} |")
    return lines


if __name__ == "__main__":
    print("\n".join(table()))
