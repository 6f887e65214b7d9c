"""Ways of watering that look calm and do harm: each breaks the limit that is there for it.

Four sides of a house over 27 years, made up of plain waves: every layer swings with the year about
its side's level, less the deeper it lies, and drier years swing more. The inside stands still.
"""

import numpy as np
import pytest
from numpy.typing import NDArray

from evenclay.sim.judge import verdict
from evenclay.sim.judge.measures import Measures, Place, Record, measure

Floats = NDArray[np.float64]

PLACE = Place((0.0, 0.3, 0.6, 1.0, 2.0, 4.0), 0.4, 1.5, ("north", "east", "south", "west"))
DAYS = int(27 * 365.25)
T = np.arange(DAYS) / 365.25  # years
LEVELS_PF = np.array([3.4, 3.7, 4.0, 4.3])
SWING_PF = np.array([0.40, 0.41, 0.42, 0.40])
OF_LAYERS = np.array([1.0, 1.0, 0.8, 0.5, 0.2])  # of a swing or a lift at the surface
WAVE = -np.cos(2.0 * np.pi * T) * (1.0 + 0.1 * np.sin(2.0 * np.pi * T / 9.0))
EASED = np.minimum(T, 1.0)[:, None]  # a year from the level to the target
RELIEF_PF = 0.3
WET_FIRST_YEAR = 1.2 * np.exp(-(((T - 0.8) / 0.3) ** 2))[:, None]
INSIDE_PF = 3.8


def ground(swing_pf: Floats, lift_pf: Floats | float, levels_pf: Floats = LEVELS_PF) -> Record:
    """A record: swings, (zones,); lift of the strip above its level, wetter, (days or 1, zones)."""
    lifted = np.broadcast_to(lift_pf, (DAYS, 4))
    near = WAVE[:, None] * swing_pf - lifted
    edge_pf = levels_pf[:, None] + near[:, :, None] * OF_LAYERS
    return Record(edge_pf, np.full_like(edge_pf, INSIDE_PF), edge_pf.copy())


def judge(watered: Record, unwatered: Record | None = None, lift_pf: float = RELIEF_PF) -> Measures:
    dry = ground(SWING_PF, 0.0) if unwatered is None else unwatered
    return measure(watered, dry, LEVELS_PF - lift_pf, PLACE, 0)


def breaks(judged: Measures) -> tuple[str, ...]:
    return verdict.broken([judged] * 3)


def test_each_side_as_much_wetter_than_its_own_level_keeps_every_limit() -> None:
    judged = judge(ground(SWING_PF / 2.0, RELIEF_PF * EASED))
    assert judged.unrest_pct < 60.0
    assert breaks(judged) == ()
    assert not verdict.cautious([judged])
    assert verdict.verdict({RELIEF_PF: [judged] * 3}).word == "water"


def test_a_soaked_strip_is_calm_and_has_soaked_days() -> None:
    honest = ground(SWING_PF / 5.0, RELIEF_PF * EASED)
    soaked = honest._replace(strip_pf=np.full_like(honest.strip_pf, 2.05))
    judged = judge(soaked)
    assert judged.unrest_pct < 25.0
    assert breaks(judged) == ("days_soaked",)
    assert judged.days_soaked > 360.0


def test_one_side_watered_alone_tilts_the_house() -> None:
    watered = SWING_PF * np.array([1.0, 1.0, 0.3, 1.0])
    judged = judge(ground(watered, RELIEF_PF * EASED * np.array([0.0, 0.0, 1.0, 0.0])))
    assert judged.movement_pct < 85.0  # movement alone praises it
    assert "tilt_added_pct" in breaks(judged)


def test_one_side_watered_alone_leaves_its_neighbours_where_it_swung_more_than_they() -> None:
    # A hot side that swings by far the most: calming it alone takes tilt away, and lifts it for
    # good by more than a year's movement.
    swing = np.array([0.2, 0.2, 0.6, 0.2])
    dry = ground(swing, 0.0)
    wet = ground(np.array([0.2, 0.2, 0.2, 0.2]), 1.3 * EASED * np.array([0.0, 0.0, 1.0, 0.0]))
    judged = judge(wet, dry)
    assert judged.unrest_pct < 50.0 and judged.tilt_added_pct < 0.0
    assert breaks(judged) == ("excursion_pct",)
    assert judged.shift_between_pct > 100.0


def test_a_wet_first_year_goes_beyond_what_the_house_knows() -> None:
    judged = judge(ground(SWING_PF / 2.0, RELIEF_PF * EASED + WET_FIRST_YEAR))
    assert judged.unrest_pct < 70.0  # one year in twenty-seven
    assert breaks(judged) == ("excursion_pct",)
    assert judged.shift_inside_year == 1 and judged.shift_inside_pct < -50.0


def test_all_sides_at_one_wetness_shift_against_each_other() -> None:
    one_pf = LEVELS_PF.min() - 0.1
    judged = judge(ground(SWING_PF / 2.0, (LEVELS_PF - one_pf) * EASED))
    own = judge(ground(SWING_PF / 2.0, float((LEVELS_PF - one_pf).mean()) * EASED))
    # As calm within the year as the same water given alike to all sides.
    assert judged.unrest_pct == pytest.approx(own.unrest_pct, abs=5.0)
    assert judged.unrest_pct < 60.0
    assert breaks(judged) == ("excursion_pct",)
    assert judged.shift_between_pct > 100.0 > 10.0 > own.shift_between_pct
    assert breaks(own) == ()


def test_a_target_that_rises_with_the_years_ends_beyond() -> None:
    rising = 0.06 * T[:, None]  # wetter by little each year, and never calm
    judged = judge(ground(SWING_PF / 2.0, rising))
    assert judged.unrest_pct < 60.0
    assert "excursion_pct" in breaks(judged)
    assert judged.shift_inside_year >= 26 and judged.shift_inside_pct < -100.0


def test_every_one_of_them_is_left() -> None:
    """No unrest, however little, makes a verdict of one that breaks a limit."""
    soaked = ground(SWING_PF / 5.0, RELIEF_PF * EASED)
    soaked = soaked._replace(strip_pf=np.full_like(soaked.strip_pf, 2.05))
    ways = {
        0.1: soaked,
        0.2: ground(SWING_PF * np.array([1.0, 1.0, 0.3, 1.0]), RELIEF_PF * np.array([0, 0, 1, 0])),
        0.3: ground(SWING_PF / 2.0, RELIEF_PF * EASED + WET_FIRST_YEAR),
        0.4: ground(SWING_PF / 2.0, (LEVELS_PF - 3.3) * EASED),
        0.5: ground(SWING_PF / 2.0, 0.06 * T[:, None]),
    }
    found = verdict.verdict({relief: [judge(way)] * 3 for relief, way in ways.items()})
    assert found.word == "leave"
    assert len(found.limits) == 5 and all(found.limits.values())
