"""What watering does to the ground that carries a house: each measure, defined once.

Everything here works on plain arrays of daily mean pF, (days, zones, layers) with layers from the
top down, and on their sums. A day is a local standard day; a year is 365 or 366 days from the first
watered day on, four of them 1,461. `nan` stands for a figure that has no meaning.

Where a figure is in percent of the same ground unwatered, 100 is leaving it alone. No figure is a
movement in millimetres or a class of a site.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenclay.sim.judge.strip import on_target, soaked
from evenclay.sim.section import layout
from evenclay.sim.types import Floats

Bools = NDArray[np.bool_]

YEAR_DAYS = 365.25
RUNNING_DAYS = 365
YEARS_LEAST = 25  # that measures are taken over

WORST_YEAR_SHARE = 0.9  # of the years change less than the worst in ten

# Less yearly change of weighted suction than this is no base for percents. [pF m]
BASE_LEAST_PF_M = 0.02


@dataclass(frozen=True)
class Place:
    """What the measures must know of a house.

    edges_m: boundaries of the layers from the top, one more than layers. footing_m: depth from
    which on the ground carries the house. cracked_m: depth of the cracked zone. sides: of each
    zone the side of the house that it lies on, any name; zones of one side do not tilt it.
    """

    edges_m: tuple[float, ...]
    footing_m: float
    cracked_m: float
    sides: tuple[str, ...]

    @property
    def pairs(self) -> list[tuple[int, int]]:
        """Every two zones of different sides."""
        zones = range(len(self.sides))
        return [(a, b) for a, b in combinations(zones, 2) if self.sides[a] != self.sides[b]]


class Record(NamedTuple):
    """Daily mean pF of one way of watering, (days, zones, layers) each."""

    edge_pf: Floats
    inside_pf: Floats
    strip_pf: Floats


# Days and years.


def first_watered(given: ArrayLike) -> int:
    """The first day on which any zone is given water; 0 where none ever is.

    given: any measure of water, (days, zones). Ways that are compared are all judged from the
    earliest of their first days on.
    """
    days = np.flatnonzero(np.any(np.asarray(given) > 0.0, axis=1))
    return int(days[0]) if len(days) else 0


def repeats(days: int, years: int = YEARS_LEAST) -> int:
    """How often a record of so many days must be lived, a year before the first water included."""
    return int(-(-((years + 1) * YEAR_DAYS) // days))


def years_of(days: int) -> list[slice]:
    """The whole years of so many days; raises ValueError where there is none."""
    edges = [int(year * YEAR_DAYS) for year in range(int((days + 1) / YEAR_DAYS) + 1)]
    years = [slice(a, b) for a, b in pairwise(edges) if b <= days]
    if not years:
        raise ValueError(f"{days} days are no whole year, and these measures need one")
    return years


# What carries the house: weighted suction and departure.


def weighted_suction(pf: Floats, place: Place) -> Floats:
    """Weighted suction of columns, from the footing down, (..., layers) to (...) [pF m].

    Each layer's pF, not below 2.0, times its thickness and the weight that AS 2870 gives its
    strain: 1.0 in the cracked zone, 2.0 - depth / 5 below it, not below 0.
    Source: AS 2870-2011, clause 2.3, from memory.
    """
    return layout.weighted_suction(pf, place.edges_m, place.footing_m, place.cracked_m)


class Sums(NamedTuple):
    """What of a record the measures are taken from: small, so that the record can be dropped.

    edge: weighted suction of each zone's edge, (days, zones); inside: of the house, the mean of the
    zones', (days,) [pF m]. on_target, soaked: of each strip, (days, zones).
    """

    edge: Floats
    inside: Floats
    on_target: Bools
    soaked: Bools


def sums_of(record: Record, target_pf: Floats, place: Place) -> Sums:
    """Sum a record up. target_pf: of each strip, (zones,)."""
    return Sums(
        weighted_suction(record.edge_pf, place),
        np.asarray(weighted_suction(record.inside_pf, place).mean(axis=1)),
        on_target(record.strip_pf, target_pf, place.edges_m),
        soaked(record.strip_pf, place.edges_m),
    )


def joined(parts: Sequence[Sums]) -> Sums:
    """Sums of days one after another."""
    return Sums(*(np.concatenate(each) for each in zip(*parts, strict=True)))


class Start(NamedTuple):
    """The weighted suction that a house has got used to [pF m]: edge of each zone, and inside."""

    edge: Floats
    inside: float


def settled_on(unwatered: Sums) -> Start:
    """What a settled house stands on: the long-run means of the same places unwatered."""
    edge = unwatered.edge.mean(axis=0, dtype=np.float64)
    return Start(edge, float(unwatered.inside.mean(dtype=np.float64)))


def poured_on(open_pf: Floats, months: NDArray[np.int64], month: int, place: Place) -> Start:
    """What a house not settled began with: open ground in the month in which it was poured.

    open_pf: (days, layers) of the yard alone. months: of each day, 1..12. Raises ValueError where
    no day is of that month.
    """
    days = months == month
    if not days.any():
        raise ValueError(f"no day of the record is of month {month}")
    mean = float(weighted_suction(open_pf[days], place).mean(dtype=np.float64))
    return Start(np.full(len(place.sides), mean), mean)


class Departure(NamedTuple):
    """How far ground is from what the house has got used to [pF m], more is drier.

    edge: (days, zones). inside: of the house, the mean of the zones', (days,).
    """

    edge: Floats
    inside: Floats

    def since(self, day: int) -> "Departure":
        """From a day on."""
        return Departure(self.edge[day:], self.inside[day:])


def departure(sums: Sums, start: Start) -> Departure:
    """Departure of edges and inside from a start."""
    return Departure(sums.edge - start.edge, np.asarray(sums.inside - start.inside))


# Movement, tilt, unrest.


def yearly_range(values: Floats) -> Floats:
    """Most less least of each whole year, (days, ...) to (years, ...)."""
    return np.stack([np.ptp(values[year], axis=0) for year in years_of(len(values))])


@dataclass(frozen=True)
class Change:
    """How much edges change within years, and over all of them [pF m].

    movement: (years, zones), of each edge. tilt: (years,), of the pair of zones of different sides
    whose difference changes most in the mean of the years; 0 where there is no such pair. record:
    ranges over the whole record, the zones' mean and the worst pair's together.
    """

    movement: Floats
    tilt: Floats
    record: float

    @property
    def sums(self) -> Floats:
        """Movement (mean of the zones) and tilt together, (years,)."""
        return np.asarray(self.movement.mean(axis=1) + self.tilt)


def between_sides(edge: Floats, place: Place) -> Floats:
    """d(a) - d(b) of every pair of zones of different sides, (days, pairs)."""
    apart = [edge[:, a] - edge[:, b] for a, b in place.pairs]
    return np.stack(apart, axis=1) if apart else np.zeros((len(edge), 0))


def change(edge: Floats, place: Place) -> Change:
    """How edges, (days, zones), change. Raises ValueError for less than a year."""
    movement, record = yearly_range(edge), float(np.ptp(edge, axis=0).mean())
    tilt = np.zeros(len(movement))
    apart = between_sides(edge, place)
    if apart.shape[1]:
        ranges = yearly_range(apart)
        tilt = ranges[:, int(ranges.mean(axis=0).argmax())]
        record += float(np.ptp(apart, axis=0).max())
    return Change(movement, tilt, record)


def unrest_pct(watered: Change, unwatered: Change) -> float:
    """Movement and tilt together, in percent of the same unwatered; means of the years."""
    return percent(watered.sums.mean(), unwatered.sums.mean())


def worst_year_pct(watered: Change, unwatered: Change) -> float:
    """The worst year in ten, in percent of the worst in ten unwatered."""
    worst = [np.quantile(each.sums, WORST_YEAR_SHARE) for each in (watered, unwatered)]
    return percent(*worst)


def percent(part: float | np.floating, whole: float | np.floating) -> float:
    """Percent; nan where the whole is too small to be the base of any."""
    return float(100.0 * part / whole) if whole >= BASE_LEAST_PF_M else float("nan")


# Lasting change: shift and excursion.


class Shift(NamedTuple):
    """The largest running-year mean of a difference: signed [pF m], and the year from 1 on.

    year: that in which the running year has its middle. Below 0, the first is the wetter one.
    """

    pf_m: float
    year: int


def shift(differences: Floats) -> Shift:
    """Of differences, (days, n); 0 in year 1 where n is 0. Raises ValueError below a year."""
    years_of(len(differences))
    if not differences.shape[1]:
        return Shift(0.0, 1)
    sums = np.cumsum(differences, axis=0, dtype=np.float64)
    sums = np.concatenate([np.zeros((1, differences.shape[1])), sums])
    means = (sums[RUNNING_DAYS:] - sums[:-RUNNING_DAYS]) / RUNNING_DAYS
    day, which = np.unravel_index(int(np.abs(means).argmax()), means.shape)
    middle = int(day) + RUNNING_DAYS // 2
    return Shift(float(means[day, which]), int(middle / YEAR_DAYS) + 1)


def edge_from_inside(d: Departure) -> Floats:
    """d(edge) - d(inside), (days, zones)."""
    return np.asarray(d.edge - d.inside[:, None])


def excursion(watered: Floats, unwatered: Floats) -> float:
    """How far differences go beyond their unwatered range on any day, the worst of them [pF m].

    watered: (days from the first watered on, n). unwatered: (days of the whole record, n).
    """
    if not watered.shape[1]:
        return 0.0
    above = watered.max(axis=0) - unwatered.max(axis=0)
    below = unwatered.min(axis=0) - watered.min(axis=0)
    return float(np.maximum(np.maximum(above, below), 0.0).max())


# All of them.


@dataclass(frozen=True)
class Measures:
    """Every measure of one way of watering in one ground.

    years: whole ones, that the means are of. By zone, (zones,): zone_movement_pct;
    zone_days_on_target, zone_days_soaked, a year. tilt_added_pct: tilt beyond the unwatered, in
    percent of the unwatered movement; 0 without two sides, where tilt_pct and shift_between_pct
    are nan. shift_between_pct (without a sign), shift_inside_pct (below 0 where the edge is the
    wetter one), excursion_pct: in percent of the unwatered movement, the mean of the zones.
    days_on_target: the zones' mean; days_soaked: the worst zone's, beyond the unwatered number.
    yearly: movement and tilt together, (years,) [pF m], as skill is reckoned from.
    """

    years: int
    zone_movement_pct: Floats
    zone_days_on_target: Floats
    zone_days_soaked: Floats
    movement_pct: float
    tilt_pct: float
    tilt_added_pct: float
    unrest_pct: float
    unrest_worst_year_pct: float
    unrest_record_pct: float
    shift_between_pct: float
    shift_between_year: int
    shift_inside_pct: float
    shift_inside_year: int
    excursion_pct: float
    days_on_target: float
    days_soaked: float
    yearly: Floats

    @property
    def shift_pct(self) -> float:
        """The larger of the two lasting shifts, without a sign."""
        return self.shift_between_pct if self._between_sides else abs(self.shift_inside_pct)

    @property
    def shift_year(self) -> int:
        """The year in which that comes."""
        return self.shift_between_year if self._between_sides else self.shift_inside_year

    @property
    def _between_sides(self) -> bool:
        """Whether the larger one lies between two sides: never where there are no two."""
        return self.shift_between_pct >= abs(self.shift_inside_pct)


def measure(
    watered: Record,
    unwatered: Record,
    target_pf: Floats,
    place: Place,
    first_day: int,
    *,
    start: Start | None = None,
    years_least: int = YEARS_LEAST,
) -> Measures:
    """Judge one way of watering beside the same ground unwatered, day for day.

    first_day: on which measures begin, of `first_watered`. start: None for a settled house. Raises
    ValueError where fewer than years_least whole years are left from the first day on.
    """
    wet, dry = (sums_of(record, target_pf, place) for record in (watered, unwatered))
    return measure_sums(wet, dry, place, first_day, start=start, years_least=years_least)


def measure_sums(
    watered: Sums,
    unwatered: Sums,
    place: Place,
    first_day: int,
    *,
    start: Start | None = None,
    years_least: int = YEARS_LEAST,
) -> Measures:
    """The same by the sums of both records."""
    start = start or settled_on(unwatered)
    all_dry = departure(unwatered, start)
    wet, dry = departure(watered, start).since(first_day), all_dry.since(first_day)
    years = years_of(len(wet.edge))
    if len(years) < years_least:
        raise ValueError(f"{len(years)} whole years from the first water on; least: {years_least}")
    changed, unchanged = change(wet.edge, place), change(dry.edge, place)
    base = float(unchanged.movement.mean())
    tilt, tilt_dry = float(changed.tilt.mean()), float(unchanged.tilt.mean())
    sides, inside = between_sides(wet.edge, place), edge_from_inside(wet)
    by_sides, by_inside = shift(sides), shift(inside)
    beyond = excursion(
        np.concatenate([sides, inside], axis=1),
        np.concatenate([between_sides(all_dry.edge, place), edge_from_inside(all_dry)], axis=1),
    )
    judged = slice(first_day, first_day + years[-1].stop)
    kept = watered.on_target[judged].sum(axis=0) / len(years)
    wet_days, dry_days = (each.soaked[judged].sum(axis=0) for each in (watered, unwatered))
    soaked_a_year = np.maximum(wet_days - dry_days, 0) / len(years)
    by_zone = zip(changed.movement.mean(axis=0), unchanged.movement.mean(axis=0), strict=True)
    return Measures(
        years=len(years),
        zone_movement_pct=np.array([percent(*each) for each in by_zone]),
        zone_days_on_target=kept,
        zone_days_soaked=soaked_a_year,
        movement_pct=percent(changed.movement.mean(), base),
        tilt_pct=percent(tilt, tilt_dry),
        tilt_added_pct=percent(tilt - tilt_dry, base) if place.pairs else 0.0,
        unrest_pct=unrest_pct(changed, unchanged),
        unrest_worst_year_pct=worst_year_pct(changed, unchanged),
        unrest_record_pct=percent(changed.record, unchanged.record),
        shift_between_pct=percent(abs(by_sides.pf_m), base) if place.pairs else float("nan"),
        shift_between_year=by_sides.year,
        shift_inside_pct=percent(by_inside.pf_m, base),
        shift_inside_year=by_inside.year,
        excursion_pct=percent(beyond, base),
        days_on_target=float(kept.mean()),
        days_soaked=float(soaked_a_year.max()),
        yearly=changed.sums,
    )
