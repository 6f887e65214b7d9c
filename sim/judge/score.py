"""The state of each day and zone under a policy: in the band, too dry or too wet.

A day is the local standard day, and a zone is judged by its wetted strip. Arrays are days x zones.
"""

from dataclasses import dataclass
from datetime import date

import numpy as np

from evenclay.sim.ground.band import BAND_PF
from evenclay.sim.house.columns import Columns
from evenclay.sim.judge.days import Days, days_of
from evenclay.sim.judge.season import Season, season_of
from evenclay.sim.replay.life import Lived
from evenclay.sim.types import Bools, Codes, Floats

APPLIED_DAYS = 5  # wet within so many days of water is the waterer's doing
RUNOFF_LEAST_MM = 0.1  # a day; less is rounding of the day's last trickle

STATES = ("in_band", "dry", "wet", "rain_wet")
IN_BAND, DRY, WET, RAIN_WET = range(4)


def states(days: Days) -> Codes:
    """The state of every day and zone.

    Wet is the waterer's doing: water was given today or in the four days before, and the band is
    wetter than its limit or the top stayed wet after rain; or irrigation ran off. Wetter than the
    band with no water for five days is rain's doing.
    """
    given = np.cumsum(days.litres > 0.0, axis=0)
    before = np.zeros_like(given)
    before[APPLIED_DAYS:] = given[:-APPLIED_DAYS]
    applied = given > before
    state = np.full(days.pf.shape, IN_BAND, dtype=np.int8)
    state[days.pf > BAND_PF[1]] = DRY
    state[(days.pf < BAND_PF[0]) & ~applied] = RAIN_WET
    state[too_wet(days.pf, applied, days.top_wet)] = WET
    state[days.runoff_mm > RUNOFF_LEAST_MM] = WET
    return state


def too_wet(pf: Floats, applied: Bools, top_wet: Bools) -> Bools:
    """Where the waterer made it too wet: he watered of late, and the band or the top is too wet.

    pf: the band's daily mean. applied: whether water was given in the last APPLIED_DAYS days.
    """
    return np.asarray(applied & ((pf < BAND_PF[0]) | top_wet))


def good(state: Codes) -> Bools:
    """Where a state is good: in the band, or wetter than it by rain's doing alone."""
    return np.asarray((state == IN_BAND) | (state == RAIN_WET))


@dataclass(frozen=True)
class Score:
    """A policy judged: the scored days, the state of each day and zone, and the season."""

    days: Days
    state: Codes
    season: Season

    def counts(self, prefix: str = "", zone: int | None = None) -> dict[str, int]:
        """Days in each state, season days or with the prefix "year_" all; of a zone or of all."""
        zones = slice(None) if zone is None else slice(zone, zone + 1)
        state = self.state[:, zones]
        if not prefix:
            state = state[self.season.days[:, zones]]
        return {f"{prefix}days_{name}": int((state == i).sum()) for i, name in enumerate(STATES)}


def judge(
    lived: Lived[Columns], rain_mm: Floats, spin_up_days: int, season: Season | date
) -> Score:
    """Judge what a policy did to the ground that it lived on to the end.

    rain_mm: hourly, on open ground. season: as the climate has it, or the first scored day, to find
    it from the scored days alone.
    """
    ground = lived.ground
    whole = days_of(ground, rain_mm)
    state = states(whole)[spin_up_days:]
    days = whole.during(slice(spin_up_days, None))
    if isinstance(season, date):
        season = season_of(season, days.pf_unwatered, season, len(state))
    return Score(days, state, season)
