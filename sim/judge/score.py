"""How well a policy kept the clay: days in band, dry and wet, unevenness, swing, runoff.

Everything is judged by the local standard day and the wetted strip. Arrays are days x zones.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from evenclay.sim.calendar import HOURS, YEAR_DAYS
from evenclay.sim.ground import soil
from evenclay.sim.ground.band import BAND_PF
from evenclay.sim.house.site import PER_LITRE, Ground
from evenclay.sim.types import Bools, Codes, Floats

APPLIED_DAYS = 5  # wet within so many days of water is the waterer's doing
TOP_WET_PF = 2.0
TOP_WET_H = 48
RAIN_LEAST_MM_H = 0.1  # less in an hour is no rain
RUNOFF_LEAST_MM = 0.1  # a day; less is rounding of the day's last trickle
SEASON_MARGIN_DAYS = 15
SEASON_LEAST_SHARE = 0.25  # one year in four
CHANGE_LEAST_PF = 0.02  # less is no seasonal change, and no base for percents

STATES = ("in_band", "dry", "wet", "rain_wet", "rewetting")
IN_BAND, DRY, WET, RAIN_WET, REWETTING = range(5)


@dataclass(frozen=True)
class Days:
    """What one policy left behind, day by day and zone by zone.

    pf, pf_unwatered: daily mean of the band's pF. pf_end: its pF in the day's last hour. seconds,
    litres: water given. runoff_mm, runoff_rain_mm: irrigation and rain that ran off; bypass_mm,
    bypass_rain_mm: that went down cracks. movement_pf, movement_pf_unwatered: daily mean of pF
    through the column, weighted by the strain it causes; under_pf, under_pf_unwatered: the same of
    the cells under the slab, days x zones x cells, NaN without a slab. top_wet: whether 0-0.3 m
    stayed wetter than pF 2.0 for more than 48 h after rain had ended.
    """

    pf: Floats
    pf_unwatered: Floats
    pf_end: Floats
    seconds: Floats
    litres: Floats
    runoff_mm: Floats
    runoff_rain_mm: Floats
    bypass_mm: Floats
    bypass_rain_mm: Floats
    movement_pf: Floats
    movement_pf_unwatered: Floats
    under_pf: Floats
    under_pf_unwatered: Floats
    top_wet: Bools

    def during(self, days: slice) -> "Days":
        """Some of the days."""
        return Days(*(getattr(self, name)[days] for name in self.__dataclass_fields__))

    @classmethod
    def joined(cls, parts: "Sequence[Days]") -> "Days":
        """Parts one after another."""
        names = cls.__dataclass_fields__
        return cls(*(np.concatenate([getattr(part, name) for part in parts]) for name in names))


def days_of(ground: Ground, rain_mm: Floats) -> Days:
    """Sum a stepped ground's hours up to days. rain_mm: of each hour on open ground."""
    zones = len(ground.strips)
    summed = _by_day(ground.results).sum(axis=1)
    watered, unwatered = summed[:, zones:], summed[:, :zones]
    ends = ground.results[HOURS - 1 :: HOURS, zones:]
    under_pf = ground.under_pf[-len(summed) :].copy()
    return Days(
        pf=watered[:, :, soil.BAND_PF] / HOURS,
        pf_unwatered=unwatered[:, :, soil.BAND_PF] / HOURS,
        pf_end=ends[:, :, soil.BAND_PF].copy(),  # a view would keep every hour in memory
        seconds=_by_day(ground.forcing[:, zones:, soil.IRRIGATION_S]).sum(axis=1),
        litres=_by_day(ground.passed).sum(axis=1) / PER_LITRE,
        runoff_mm=watered[:, :, soil.RUNOFF_IRRIGATION],
        runoff_rain_mm=watered[:, :, soil.RUNOFF_RAIN],
        bypass_mm=watered[:, :, soil.BYPASS_IRRIGATION],
        bypass_rain_mm=watered[:, :, soil.BYPASS_RAIN],
        movement_pf=watered[:, :, soil.MOVEMENT_PF] / HOURS,
        movement_pf_unwatered=unwatered[:, :, soil.MOVEMENT_PF] / HOURS,
        under_pf=under_pf[:, zones:],
        under_pf_unwatered=under_pf[:, :zones],
        top_wet=top_wet_days(ground.results[:, zones:, soil.TOP_PF], rain_mm),
    )


def _by_day(hours: NDArray[Any]) -> NDArray[Any]:
    """Hours x more as days x 24 x more."""
    return hours.reshape(-1, HOURS, *hours.shape[1:])


def top_wet_days(top_pf: Floats, rain_mm: Floats) -> Bools:
    """Days with such an hour as `top_wet` tells, days x zones."""
    return np.asarray(np.any(_by_day(top_wet(top_pf, rain_mm)), axis=1))


def top_wet(top_pf: Floats, rain_mm: Floats) -> Bools:
    """Hours in which the top has been wetter than pF 2.0 for over 48 h since rain ended.

    top_pf: hours x zones. rain_mm: of each hour.
    """
    hour = np.arange(len(rain_mm))
    rained = np.maximum.accumulate(np.where(rain_mm >= RAIN_LEAST_MM_H, hour, -1))
    firm = np.where(top_pf >= TOP_WET_PF, hour[:, None], -1)
    last_firm = np.maximum.accumulate(firm, axis=0)
    long_ago = (rained >= 0) & (hour - rained > TOP_WET_H)
    return np.asarray(long_ago[:, None] & (last_firm <= rained[:, None]))


def states(days: Days, rewetting: Bools) -> Codes:
    """The state of every day and zone.

    Wet is the waterer's doing: water was given today or in the four days before, and the band is
    wetter than its limit or the top stayed wet after rain; or irrigation ran off. Wetter than the
    band with no water for five days is rain's doing. Rewetting replaces dry, nothing else.
    """
    given = np.cumsum(days.litres > 0.0, axis=0)
    before = np.zeros_like(given)
    before[APPLIED_DAYS:] = given[:-APPLIED_DAYS]
    applied = given > before
    dry = days.pf > BAND_PF[1]
    state = np.full(days.pf.shape, IN_BAND, dtype=np.int8)
    state[dry] = DRY
    state[dry & rewetting] = REWETTING
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
class Season:
    """Which days count for each zone (days x zones), by the climate alone, and how it was found."""

    days: Bools
    note: str


def season_of(first_day: date, pf_unwatered: Floats, scored_first: date, scored: int) -> Season:
    """The half-months in which unwatered ground goes dry in a year of four, and 15 days around.

    first_day, pf_unwatered: the climate, as the unwatered column of each zone tells it, days x
    zones. scored_first, scored: the days to be marked. With fewer than four years one dry year is
    enough, and for less than a year every day counts.
    """
    dates = [first_day + timedelta(days=i) for i in range(len(pf_unwatered))]
    scored_dates = [scored_first + timedelta(days=i) for i in range(scored)]
    if len(dates) < YEAR_DAYS:
        note = f"season days: all, since the climate is not known from {len(dates)} days"
        return Season(np.ones((scored, pf_unwatered.shape[1]), dtype=np.bool_), note)
    seen: dict[tuple[int, int], dict[int, Bools]] = {}
    for day, dry in zip(dates, pf_unwatered > BAND_PF[1], strict=True):
        years = seen.setdefault(_half_month(day), {})
        years[day.year] = years.get(day.year, False) | dry
    dry_halves = {
        half: np.mean(list(years.values()), axis=0) >= SEASON_LEAST_SHARE
        for half, years in seen.items()
    }
    leap_year = [date(2000, 1, 1) + timedelta(days=i) for i in range(YEAR_DAYS + 1)]
    of_year = np.array([dry_halves[_half_month(day)] for day in leap_year])
    margin = range(-SEASON_MARGIN_DAYS, SEASON_MARGIN_DAYS + 1)
    wide = np.any([np.roll(of_year, shift, axis=0) for shift in margin], axis=0)
    years_seen = len(dates) / 365.25
    note = f"season days: from {years_seen:.1f} years of each zone's unwatered ground"
    if years_seen < 3.99:
        note += ", so one dry year makes a half-month count"
    return Season(wide[[_place(day) for day in scored_dates]], note)


def _half_month(day: date) -> tuple[int, int]:
    return day.month, 0 if day.day <= 15 else 1


def _place(day: date) -> int:
    """Place of a month and day in a leap year."""
    return (date(2000, day.month, day.day) - date(2000, 1, 1)).days


def unevenness_pf(pf: Floats, season: Bools) -> float | None:
    """95th percentile of wettest minus driest zone, over days that are of any zone's season.

    None without such days.
    """
    counting = np.any(season, axis=1)
    if not np.any(counting):
        return None
    return float(np.percentile((pf.max(axis=1) - pf.min(axis=1))[counting], 95))


def swing_pf(pf: Floats) -> Floats:
    """Each zone's 95th less 5th percentile, a year at a time, mean of the years.

    A part of a year at the end counts only where there is no whole one.
    """
    years = max(len(pf) // YEAR_DAYS, 1)
    parts = [pf[i * YEAR_DAYS : (i + 1) * YEAR_DAYS] for i in range(years)]
    high, low = np.mean([np.percentile(part, (95, 5), axis=0) for part in parts], axis=0)
    return np.asarray(high - low)


def seasonal_change_pf(pf: Floats) -> Floats:
    """Most less least of each column over a year, mean of the whole years; at least one."""
    years = len(pf) // YEAR_DAYS
    parts = np.split(pf[: years * YEAR_DAYS], years)
    return np.asarray(np.mean([np.ptp(part, axis=0) for part in parts], axis=0))


def movement_index_pct(days: Days) -> list[float | None]:
    """Each zone's seasonal change of weighted suction, percent of the same ground unwatered.

    An index to compare ways of watering by, no movement in millimetres and no class of a site. None
    for less than a year, and where the unwatered ground hardly changes.
    """
    if len(days.pf) < YEAR_DAYS:
        return [None] * days.pf.shape[1]
    changes = zip(
        seasonal_change_pf(days.movement_pf),
        seasonal_change_pf(days.movement_pf_unwatered),
        strict=True,
    )
    return [_percent(float(watered), float(unwatered)) for watered, unwatered in changes]


@dataclass(frozen=True)
class Under:
    """The ground under a slab, `m` metres in from its edge: its seasonal change of weighted suction
    beside the watered strip and beside the same unwatered, percent of the unwatered strip's."""

    m: float
    change_pct: float
    unwatered_change_pct: float


def under_slab(days: Days) -> list[list[Under] | None]:
    """How far in the change of each zone's strip is felt; on the scale of `movement_index_pct`.

    None for less than a year, without a slab, and where the unwatered strip hardly changes.
    """
    zones = days.pf.shape[1]
    if len(days.pf) < YEAR_DAYS:
        return [None] * zones
    strips_pf = seasonal_change_pf(days.movement_pf_unwatered)
    watered = seasonal_change_pf(days.under_pf)
    unwatered = seasonal_change_pf(days.under_pf_unwatered)
    found: list[list[Under] | None] = []
    for zone in range(zones):
        if strips_pf[zone] < CHANGE_LEAST_PF or not np.all(np.isfinite(watered[zone])):
            found.append(None)
            continue
        pairs = 100.0 * np.stack((watered[zone], unwatered[zone]), axis=1) / strips_pf[zone]
        middles_m = soil.cell_middles_m()
        found.append([Under(m, *pair) for m, pair in zip(middles_m, pairs.tolist(), strict=True)])
    return found


def movement_difference_pct(days: Days) -> float | None:
    """How far two zones move apart over a year, the worst pair, percent of the unwatered worst.

    Uneven ground moves unevenly. None for less than a year, one zone, or zones alike.
    """
    pairs = list(combinations(range(days.pf.shape[1]), 2))
    if len(days.pf) < YEAR_DAYS or not pairs:
        return None

    def worst_pf(pf: Floats) -> float:
        apart = np.stack([pf[:, a] - pf[:, b] for a, b in pairs], axis=1)
        return float(seasonal_change_pf(apart).max())

    return _percent(worst_pf(days.movement_pf), worst_pf(days.movement_pf_unwatered))


def _percent(part: float, whole: float) -> float | None:
    return None if whole < CHANGE_LEAST_PF else 100.0 * part / whole


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
    ground: Ground, rain_mm: Floats, rewetting: Bools, spin_up_days: int, season: Season | date
) -> Score:
    """Judge a ground that was stepped to its end.

    rain_mm: hourly, on open ground. rewetting: days x zones, spin-up included. season: as the
    climate has it, or the first scored day, to find it from the scored days alone.
    """
    whole = days_of(ground, rain_mm)
    state = states(whole, rewetting)[spin_up_days:]
    days = whole.during(slice(spin_up_days, None))
    if isinstance(season, date):
        season = season_of(season, days.pf_unwatered, season, len(state))
    return Score(days, state, season)
