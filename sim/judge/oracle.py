"""The least water that keeps a house's clay in its band, by one who knows the years to come.

A *good* day of a zone is one in the band, or wetter by rain's doing alone, as `score.states` tells.
The oracle waters the same strips through the same hoses and spigots. It obeys caps, gaps, rests,
longest and shortest runs, local rules and frost as the hub does. It knows the weather and the soil,
and has no table, no window and no closed season.

How it is found: forward through the days, zone by zone, with the real column. A *way* is what was
done to a zone so far, and the column that came of it. Every day each way goes on in a few manners:
no water, or a dose. Of the ways that end a day with nearly the same moisture in the band and above
it the cheapest is kept, by water less what a good day is worth and what is left in the ground.
So every figure is that of a schedule that can be played; that there is no better one is not proved
(`least_possible_mm` says how little it could be). Zones of a spigot share its day: each has
hours of its own, so that whatever is chosen for one leaves the others theirs.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise
from typing import NamedTuple

import numpy as np

from evenclay.controller.civil import LocalTime
from evenclay.controller.limits import DAY_S, RUN_LEAST_S
from evenclay.controller.lockouts import quiet
from evenclay.controller.plan import Plan
from evenclay.sim.calendar import HOUR_S, HOURS, YEAR_DAYS
from evenclay.sim.ground import soil
from evenclay.sim.ground.band import BAND_PF
from evenclay.sim.ground.textures import POND_MM
from evenclay.sim.house.columns import START_PF, Columns, Dry, columns_of
from evenclay.sim.house.devices import Devices
from evenclay.sim.house.house import House, Strip
from evenclay.sim.house.site import PER_LITRE, Sky
from evenclay.sim.judge.days import RAIN_LEAST_MM_H, TOP_WET_H, TOP_WET_PF, top_wet_days
from evenclay.sim.judge.score import APPLIED_DAYS, RUNOFF_LEAST_MM, too_wet
from evenclay.sim.types import Bools, Floats, Ints

PRICES_MM = (2.0, 4.0, 20.0)  # what a good day may cost, in turn
# Finer doses, more ways and finer kinds of them save 0.6 % where all days can be had (tests/unit).
DOSES = (0.25, 0.5, 1.0)  # of the day's cap
WAYS = 16  # kept at the end of a day
BAND_STEP_PF, TOP_STEP_MM = 0.04, 6.0  # ways this close are nearly the same
DRY_PF = BAND_PF[1] - 0.01  # short of the band's dry end: on the valves hoses fill otherwise
STORED_WORTH = 0.8  # of a mm in the ground, among these
LEAD_DAYS = 30  # watered this long before a season day at most
PARTS = 4  # of a year; the dearest way is offered in every row of them
MIXTURES_MOST = 6  # tries, each asking for the days that the one before it lacked
NO_DOSE = 0


def may_run(plan: Plan, sky: Sky) -> Bools:
    """Hours in which a valve may stand open from beginning to end: (days, 24).

    No local rule forbids it, there is no frost, and the hour is of the day's own date on the wall.
    """
    time, hub = LocalTime(plan.hub), plan.hub
    may = np.ones(sky.hours, dtype=np.bool_)
    frost, warm_s = False, 0
    for hour in range(sky.hours):
        at_s = sky.start_s + HOUR_S * hour
        if hub.frost:
            temp_mc = sky.temp_mc[hour]
            warm_s = warm_s + HOUR_S if temp_mc >= hub.frost_off_mc else 0
            frost = temp_mc <= hub.frost_on_mc or (frost and warm_s <= hub.frost_hold_s)
        local_s = time.local_s(at_s)
        noon_s = time.local_s(at_s + HOUR_S * (12 - hour % HOURS))
        own_day = local_s // DAY_S == noon_s // DAY_S == (local_s + HOUR_S) // DAY_S
        may[hour] = own_day and not frost and not _quiet_within(plan, local_s, local_s + HOUR_S)
    return may.reshape(-1, HOURS)


def _quiet_within(plan: Plan, from_s: int, until_s: int) -> bool:
    """Whether local rules forbid watering at some time between two local ones."""
    while from_s < until_s:
        forbidden, left_s = quiet(plan, from_s)
        if forbidden:
            return True
        from_s += left_s
    return False


@dataclass(frozen=True)
class Dose:
    """What a zone gets on a day: so many cycles of so many seconds, and the depth they make.

    water: the same as devices and columns count it, ml/h times seconds.
    """

    cycles: int
    cycle_s: int
    mm: float
    water: float


@dataclass(frozen=True)
class Zone:
    """All that the oracle knows of a zone.

    forcing: hours x (unwatered, watered) x soil.FORCINGS, not yet watered. rain_mm: of each hour,
    on open ground. counts: days that are to be good. scored: the first day whose water
    counts in a bound; a search counts all. slots: for each day the hours in which a cycle may run,
    in order. start_s: into such an hour.
    """

    strip: Strip
    forcing: Floats
    rain_mm: Floats
    counts: Bools
    scored: int
    slots: tuple[tuple[int, ...], ...]
    start_s: int
    doses: tuple[Dose, ...]

    @property
    def days(self) -> int:
        """How many days there are."""
        return len(self.counts)

    def hours(self, day: int) -> Floats:
        """The forcing of a day's hours."""
        return self.forcing[HOURS * day : HOURS * (day + 1)]

    def water(self, hours: Floats, day: int, number: int, columns: Ints) -> None:
        """Give columns a dose in a day's hours of forcing."""
        dose = self.doses[number]
        for hour in self.slots[day][: dose.cycles]:
            hours[hour, columns, soil.IRRIGATION] = dose.water / dose.cycles
            hours[hour, columns, soil.IRRIGATION_S] = dose.cycle_s


def zones_of(house: House, sky: Sky, dry: Dry, rain_mm: Floats, season: Bools) -> list[Zone]:
    """What the oracle knows of each zone of a house.

    dry: of the house's strips. rain_mm: hourly, on open ground. season: days x zones of the
    last days, those that are scored.
    """
    plan, count = house.plan, len(house.strips)
    may = may_run(plan, sky)
    counts = np.zeros((sky.hours // HOURS, count), dtype=np.bool_)
    scored = len(counts) - len(season)
    counts[scored:] = season
    found = []
    for zone, strip in enumerate(house.strips):
        cycle_s, hours, start_s = _turn(plan, house.strips, zone)
        slots = [tuple(h for h in hours if may[day, h]) for day in range(len(may))]
        forcing = dry.forcing[:, [zone, count + zone]]
        doses = _doses(plan.zones[zone].cap_s, strip, cycle_s, hours)
        found.append(
            Zone(strip, forcing, rain_mm, counts[:, zone], scored, tuple(slots), start_s, doses)
        )
    return found


def _turn(plan: Plan, strips: Sequence[Strip], zone: int) -> tuple[int, list[int], int]:
    """A zone's longest cycle, the hours of the day that are its own, and its second in them."""

    def cycle_s(z: int) -> int:
        infiltrates_s = int(HOUR_S * POND_MM / strips[z].rate_mm_h)
        gap_s = plan.supplies[plan.zones[z].supply].gap_s
        return max(min(infiltrates_s, plan.zones[z].longest_s, HOUR_S - gap_s), RUN_LEAST_S)

    supply = plan.zones[zone].supply
    alone = plan.hub.open_max >= len(plan.supplies)
    turns = [z for z in range(len(strips)) if not alone or plan.zones[z].supply == supply]
    most_s = max(cycle_s(z) + plan.supplies[plan.zones[z].supply].gap_s for z in turns)
    in_hour = max(1, HOUR_S // most_s)
    every_h = -(-len(turns) // in_hour)
    rests_h = 1 - -plan.zones[zone].rest_s // HOUR_S  # from one cycle's hour to the next
    place = turns.index(zone)
    hours = list(range(place // in_hour, HOURS, every_h * -(-rests_h // every_h)))
    while HOURS + hours[0] - hours[-1] < rests_h and len(hours) > 1:
        hours.pop()
    return cycle_s(zone), hours, place % in_hour * (HOUR_S // in_hour)


def _doses(cap_s: int, strip: Strip, cycle_s: int, hours: Sequence[int]) -> tuple[Dose, ...]:
    """No water first, then the doses that fit a day's hours."""
    doses = [Dose(0, 0, 0.0, 0.0)]
    rest_h = hours[1] - hours[0] if len(hours) > 1 else HOURS
    refill_l = min(strip.hose_l, strip.drain_l_h * rest_h)
    for share in DOSES:
        total_s = max(int(share * cap_s), RUN_LEAST_S)
        cycles = min(-(-total_s // cycle_s), len(hours), total_s // RUN_LEAST_S)
        each_s = min(total_s // cycles, cycle_s)
        litres = cycles * each_s * strip.flow_l_h / HOUR_S
        litres += min(strip.hose_l, strip.drain_l_h * HOURS) + (cycles - 1) * refill_l
        dose = Dose(cycles, each_s, litres / strip.area_m2, litres * PER_LITRE)
        if dose.mm > doses[-1].mm:
            doses.append(dose)
    return tuple(doses)


@dataclass(frozen=True)
class Way:
    """A schedule of a zone and what comes of it, a value a day.

    dose: number of `Zone.doses`. good: which of the days that count are. stored_mm: in the column
    at the day's end.
    """

    dose: Ints
    mm: Floats
    good: Bools
    stored_mm: Floats


class _Ways:
    """All ways that are followed at the end of a day."""

    def __init__(self, zone: Zone) -> None:
        self._zone = zone
        hour = np.arange(len(zone.rain_mm))
        self._rained = np.maximum.accumulate(np.where(zone.rain_mm >= RAIN_LEAST_MM_H, hour, -1))
        self.columns = columns_of((zone.strip,), START_PF)  # the unwatered one, then one a way
        self.cost_mm = np.zeros(1)
        self.watered = np.full(1, -APPLIED_DAYS)  # the last day with water
        self.firm = np.full(1, -1)  # the last hour in which the top was not wet

    def live(self, day: int, parent: Ints, dose: Ints) -> tuple[Floats, Bools]:
        """Let ways go on for a day, each with its dose: the band's pF at its end, and good days."""
        zone = self._zone
        self.columns = self.columns.picked([0, *(1 + parent)])
        forcing = np.repeat(zone.hours(day), (1, len(parent)), axis=1)
        for number in set(dose.tolist()) - {NO_DOSE}:
            zone.water(forcing, day, number, 1 + np.flatnonzero(dose == number))
        results = self.columns.run(forcing)[:, 1:]
        hours = np.arange(HOURS * day, HOURS * (day + 1))
        rained = self._rained[hours]
        firm = np.where(results[:, :, soil.TOP_PF] >= TOP_WET_PF, hours[:, None], -1)
        firm = np.maximum(np.maximum.accumulate(firm), self.firm[parent])
        late = (rained >= 0) & (hours - rained > TOP_WET_H)
        top_wet = np.any(late[:, None] & (firm <= rained[:, None]), axis=0)
        self.firm = firm[-1]
        self.watered = np.where(dose == NO_DOSE, self.watered[parent], day)
        applied = self.watered > day - APPLIED_DAYS
        pf = results[:, :, soil.BAND_PF].mean(axis=0)
        runoff_mm = results[:, :, soil.RUNOFF_IRRIGATION].sum(axis=0)
        good = (pf <= DRY_PF) & ~too_wet(pf, applied, top_wet)
        good &= (runoff_mm <= RUNOFF_LEAST_MM) & zone.counts[day]
        return results[-1, :, soil.BAND_PF], good

    def keep(self, kept: Ints) -> None:
        """Follow these only."""
        self.columns = self.columns.picked([0, *(1 + kept)])
        self.cost_mm, self.watered = self.cost_mm[kept], self.watered[kept]
        self.firm = self.firm[kept]


def search(zone: Zone, price_mm: float, ways_most: int) -> Way:
    """The cheapest way through all days, where a good day is worth so much water.

    ways_most: that are kept at the end of a day; WAYS do.
    """
    ways = _Ways(zone)
    needed = np.convolve(zone.counts, np.ones(LEAD_DAYS + 1))[LEAD_DAYS:] > 0
    mm = np.array([dose.mm for dose in zone.doses])
    past: list[_Day] = []
    for day in range(zone.days):
        offered = np.array(
            [
                n
                for n, dose in enumerate(zone.doses)
                if needed[day] and dose.cycles <= len(zone.slots[day])
            ]
            or [NO_DOSE]
        )
        parent = np.repeat(np.arange(len(ways.cost_mm)), len(offered))
        dose = np.tile(offered, len(ways.cost_mm))
        band_pf, good = ways.live(day, parent, dose)
        ways.cost_mm = ways.cost_mm[parent] + mm[dose] - price_mm * good
        stored_mm = ways.columns.stored_mm()[1:]
        kept = _cheapest(
            ways.cost_mm - STORED_WORTH * stored_mm,
            np.floor(band_pf / BAND_STEP_PF),
            np.floor(ways.columns.water_mm[1:, :_ABOVE].sum(axis=1) / TOP_STEP_MM),
            ways_most,
        )
        ways.keep(kept)
        past.append(_Day(parent[kept], dose[kept], good[kept], stored_mm[kept]))
    way = int(np.argmin(ways.cost_mm - ways.columns.stored_mm()[1:]))
    return _walk_back(past, way, mm)


_ABOVE = soil.EDGES_M.index(soil.BAND_M[0])  # layers above the band


def _cheapest(cost_mm: Floats, band: Floats, top: Floats, most: int) -> Ints:
    """The cheapest of each kind, and of these at most so many, in their order."""
    order = np.lexsort((cost_mm, top, band))
    new = np.ones(len(order), dtype=np.bool_)
    new[1:] = (np.diff(band[order]) != 0.0) | (np.diff(top[order]) != 0.0)
    first = order[new]
    return np.sort(first[np.argsort(cost_mm[first], kind="stable")[:most]])


class _Day(NamedTuple):
    """The ways that were kept at a day's end; parent: the place of each among the day before's."""

    parent: Ints
    dose: Ints
    good: Bools
    stored_mm: Floats


def _walk_back(past: Sequence[_Day], way: int, mm: Floats) -> Way:
    """Each day's dose, and what came of it, along the way that ends at a place."""
    days = []
    for day in reversed(past):
        days.append((day.dose[way], day.good[way], day.stored_mm[way]))
        way = day.parent[way]
    dose, good, stored_mm = (np.array(p) for p in zip(*reversed(days), strict=True))
    return Way(dose, mm[dose], good, stored_mm)


def follow(zone: Zone, dose: Ints) -> Way:
    """What comes of a schedule: a dose a day. Judged as `score.states` does, but for DRY_PF."""
    forcing = zone.forcing.copy()
    by_day = forcing.reshape(-1, HOURS, *forcing.shape[1:])
    watered = np.array([1])
    for day in np.flatnonzero(dose != NO_DOSE).tolist():
        zone.water(by_day[day], day, int(dose[day]), watered)
    columns = columns_of((zone.strip,), START_PF)
    start_mm = columns.stored_mm()[1]
    results = columns.run(forcing)[:, 1]
    daily = results.reshape(-1, HOURS, soil.RESULTS)
    pf = daily[:, :, soil.BAND_PF].mean(axis=1)
    given = np.cumsum(dose != NO_DOSE)
    applied = given > np.concatenate((np.zeros(APPLIED_DAYS, np.int64), given[:-APPLIED_DAYS]))
    top_wet = top_wet_days(results[:, soil.TOP_PF, None], zone.rain_mm)[:, 0]
    good = (pf <= DRY_PF) & ~too_wet(pf, applied, top_wet)
    good &= daily[:, :, soil.RUNOFF_IRRIGATION].sum(axis=1) <= RUNOFF_LEAST_MM
    mm = np.array([each.mm for each in zone.doses])[dose]
    rain_mm = by_day[:, :, 1, soil.RAIN].sum(axis=1)
    lost_mm = daily[:, :, : soil.INFILTRATION].sum(axis=(1, 2))
    stored_mm = start_mm + np.cumsum(rain_mm + mm - lost_mm)
    return Way(dose, mm, good & zone.counts, stored_mm)


# A schedule for so many good days.


@dataclass(frozen=True)
class Known:
    """What is known of a zone before a policy asks. ways: to choose from in each year.

    bound_mm: from `least_possible_mm`.
    """

    ways: tuple[Way, ...]
    bound_mm: Floats


def known(zone: Zone, ways: Sequence[Way]) -> Known:
    """What is known once the ways are found, from `search`, the dearest last.

    To these are added no water at all, and of the dearest each part of its years.
    """
    dry = np.zeros(zone.days, dtype=np.int64)
    others = [follow(zone, dose) for dose in (dry, *_parts(zone, ways[-1].dose))]
    return Known((*others, *ways), least_possible_mm(zone))


def _parts(zone: Zone, dose: Ints) -> Iterator[Ints]:
    """A schedule's water from one of PARTS of every year to another, and none in the others."""
    for first, until in combinations(range(PARTS + 1), 2):
        if (first, until) != (0, PARTS):
            kept = np.full_like(dose, NO_DOSE)
            for year in _years(zone.counts):
                length = year.stop - year.start
                days = slice(
                    year.start + length * first // PARTS, year.start + length * until // PARTS
                )
                kept[days] = dose[days]
            yield kept


def least(zone: Zone, ways: Sequence[Way], days: int) -> Way:
    """Little water that keeps a zone so many good days: each year takes one of the ways.

    Which one is exact, as if every year began as that way had left it; it begins with what the year
    before left in truth, so the whole is followed and more is asked where days are lost. Where none
    keeps so many days it is the dearest.
    """
    years = _years(zone.counts)
    used_mm = np.array([[_used_mm(way, year) for year in years] for way in ways])
    kept = np.array([[int(way.good[year].sum()) for year in years] for way in ways])
    asked, most = days, int(kept.max(axis=0).sum())
    for _ in range(MIXTURES_MOST):
        if asked > most:
            break
        taken = _cheapest_mixture(used_mm, kept, asked)
        parts = [ways[way].dose[year] for way, year in zip(taken, years, strict=True)]
        found = follow(zone, np.concatenate(parts))
        short = days - int(found.good.sum())
        if short <= 0:
            return found
        asked = min(asked + short, max(most, asked + 1))  # what they keep at most, then no more
    return ways[-1]


def _used_mm(way: Way, days: slice) -> float:
    """Water over some days, less what it left in the ground."""
    before_mm = way.stored_mm[max(days.start - 1, 0)]
    return float(way.mm[days].sum() - (way.stored_mm[days.stop - 1] - before_mm))


def _cheapest_mixture(used_mm: Floats, kept: Ints, days: int) -> list[int]:
    """A way for each year, for the least water that keeps so many days in all: ways x years."""
    wanted = np.arange(days + 1)
    total_mm = np.where(wanted > 0, np.inf, 0.0)  # for at least so many days
    choices = []
    for of_year_mm, of_year in zip(used_mm.T, kept.T, strict=True):
        left = np.maximum(wanted - of_year[:, None], 0)  # ways x days
        tried_mm = total_mm[left] + of_year_mm[:, None]
        choices.append(tried_mm.argmin(axis=0))
        total_mm = tried_mm.min(axis=0)
    taken = []
    for choice, of_year in zip(reversed(choices), reversed(kept.T), strict=True):
        taken.append(int(choice[days]))
        days = max(days - int(of_year[taken[-1]]), 0)
    return taken[::-1]


def _years(counts: Bools) -> list[slice]:
    """The days in years that begin where the fewest days count: there the ground is wet."""
    of_year = np.resize(counts, (-(-len(counts) // YEAR_DAYS), YEAR_DAYS)).sum(axis=0)
    around = np.convolve(np.tile(of_year, 3), np.ones(2 * LEAD_DAYS + 1), "same")
    first = int(np.argmin(around[YEAR_DAYS : 2 * YEAR_DAYS]))
    edges = sorted({0, *range(first, len(counts), YEAR_DAYS), len(counts)})
    return [slice(a, b) for a, b in pairwise(edges)]


# How little it could be.


def least_possible_mm(zone: Zone) -> Floats:
    """Water, less what it leaves in the ground, without which no schedule keeps so many days.

    A value for each number of good days, from 0 to all that count.
    A balance with every rule dropped. Watered ground is nowhere drier than the same ground
    unwatered, so it loses no less anywhere; and on a good day its layers lose at least what they
    must, however their water got there. What cracks keep from unwatered ground is taken off. The
    bound is low, since it leaves out how water comes down to a layer: through wet ones above it,
    which lose the most. It takes a layer's moisture as one value a day.
    """
    columns = columns_of((zone.strip,), START_PF)
    layers_mm, band_pf, stored_mm, bypass_mm = _unwatered(zone, columns)
    pet_mm = zone.forcing[:, 1, soil.PET].reshape(-1, HOURS).sum(axis=1)
    transpired_mm = soil.TRANSPIRED_SHARE * pet_mm
    more_mm = columns.least_loss_mm(1, layers_mm, transpired_mm, BAND_PF[1])
    more_mm[band_pf <= BAND_PF[1]] = 0.0
    lost_mm = stored_mm[-1] - stored_mm[zone.scored] + bypass_mm[zone.scored :].sum()
    cheapest_mm = np.cumsum(np.sort(more_mm[zone.counts]))
    return np.asarray(np.concatenate(([0.0], cheapest_mm)) - lost_mm)


def _unwatered(zone: Zone, columns: soil.Columns) -> tuple[Floats, Floats, Floats, Floats]:
    """Of unwatered ground, day by day: water of each layer, pF of the band, all water, bypass.

    All water is the column's, and what has gone under the slab from it; one value more, since the
    first is that of the start.
    """
    yard = columns.picked([0])
    layers_mm, band_pf, bypass_mm = [], [], []
    stored_mm = [float(yard.stored_mm()[0])]
    under_slab_mm = 0.0
    for day in range(zone.days):
        results = yard.run(zone.hours(day)[:, :1])[:, 0]
        layers_mm.append(yard.water_mm[0].copy())
        band_pf.append(results[:, soil.BAND_PF].mean())
        under_slab_mm += results[:, soil.UNDER_SLAB].sum()
        stored_mm.append(float(yard.stored_mm()[0]) + under_slab_mm)
        bypass_mm.append(results[:, soil.BYPASS_RAIN].sum())
    return np.array(layers_mm), np.array(band_pf), np.array(stored_mm), np.array(bypass_mm)


def play(
    house: House, sky: Sky, dry: Dry, zones: Sequence[Zone], doses: Sequence[Ints]
) -> tuple[Columns, Devices]:
    """Turn the real valves by a schedule, a dose a day for each zone, without a hub.

    zones: from `zones_of`. doses: of each of them, as `Way.dose`.
    """
    ground = Columns(house.strips, dry, sky.start_s)
    devices = Devices(house.plan, ground, sky)
    for at_s, opens, zone in sorted(_turns(sky, zones, doses)):
        devices.advance(at_s)
        supply = house.plan.zones[zone].supply
        valves = [zone]
        if house.plan.supplies[supply].master:
            valves.append(len(house.strips) + supply)
        for valve in valves:
            if opens:
                devices.open(valve, house.plan.zones[zone].longest_s)
            else:
                devices.close(valve)
    end_s = sky.start_s + HOUR_S * sky.hours
    devices.advance(end_s)
    devices.catch_up()
    return ground, devices


def _turns(
    sky: Sky, zones: Sequence[Zone], doses: Sequence[Ints]
) -> Iterator[tuple[int, bool, int]]:
    """When a valve is turned, whether it opens, and the zone; what shuts comes first."""
    for number, (zone, chosen) in enumerate(zip(zones, doses, strict=True)):
        for day in np.flatnonzero(chosen != NO_DOSE).tolist():
            dose = zone.doses[chosen[day]]
            for hour in zone.slots[day][: dose.cycles]:
                at_s = sky.start_s + HOUR_S * (HOURS * day + hour) + zone.start_s
                yield at_s, True, number
                yield at_s + dose.cycle_s, False, number
