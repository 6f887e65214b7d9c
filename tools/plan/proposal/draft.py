"""Seasonal tables made of numbers, to be searched, so that every rule of `evenclay check` holds."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product
from math import ceil
from typing import Any

import numpy as np

from evenclay.controller.limits import CYCLES_MAX, RUN_LEAST_S, RUN_MAX_S
from evenclay.controller.plan import ANY_DATE, BAN_HOURS, GAUGE, Plan
from evenclay.sim.house.house import House
from evenclay.sim.judge.proposal import HALF_MONTHS, Need, begin_of, leading
from evenclay.sim.types import Floats, Ints
from evenclay.sim.units import UNITS
from evenclay.tools.plan.proposal.year_cut import best_cut
from evenclay.tools.property.advice import DEMAND_MOST, taken_min
from evenclay.tools.property.compile import trial_plan
from evenclay.tools.property.cycles import clock
from evenclay.tools.property.file.mistakes import Mistake
from evenclay.tools.property.file.schedule import Season
from evenclay.tools.property.property import Property

HEADROOM = 1.2  # a run trimmed up so far still goes into the ground
# Hours to water in, night first: less is lost to the sun. Wider where the night is too short.
NIGHTS_MIN = ((20 * 60, 12 * 60), (18 * 60, 16 * 60), (14 * 60, 23 * 60))
EVEN_WEIGHT = 0.2  # of the most need, added to each in weighing how far a row is from it
SHARES_PCT, DEMAND_ALLOWED_MM = (10.0, 300.0), 20.0  # a property file allows
# Where a search begins, and how far around, in logarithms. A big step of the trim between near
# limits follows the blade at once; a big bank, and a lock floor under most days' demand, hold back
# for all the rain that the strip has still to use.
DEMAND_SHARE = 0.7  # of the mean ET0 drains the rain bank
TRIM_STEP_PCT = 30
TRIM_PCT, TRIM_ALLOWED_PCT = (60.0, 130.0), ((10.0, 100.0), (100.0, 250.0))  # least, most
RAIN_MM = (1.0, 24.0, 0.8)  # skip, most, lock_floor
RAIN_ALLOWED_MM = ((0.1, 20.0), (15.0, 60.0), (0.1, 60.0))  # a full bank must show on any probe
WET_CM, WET_ALLOWED_PCT = 10**2.67, (2.0, 55.0)  # where a probe begins to hold water back
RELEASE_PCT = 0.5  # below that it lets water run again
ROW_SPREAD, SHARE_SPREAD, DEMAND_SPREAD, WET_SPREAD = 0.10, 0.06, 0.15, 0.01
TRIM_SPREADS, RAIN_SPREADS = (0.4, 0.1), (0.3, 0.3, 0.5)


@dataclass(frozen=True)
class Draft:
    """A table before it is written, and what goes with it.

    begins: half-months on which rows begin. minutes: of each row, on a day that may be watered, at
    share 100 (0: closed). demand: of the mean ET0 that drains the rain bank. share_pct: of each
    zone. trim_pct: least and most, none where nobody checks. rain_mm: skip, most and lock
    floor of the bank, none without a gauge. wet_pct: limits of the soil probes, of each zone that
    has one.
    """

    begins: tuple[int, ...]
    minutes: tuple[float, ...]
    demand: float
    share_pct: tuple[float, ...]
    trim_pct: tuple[float, ...] = ()
    rain_mm: tuple[float, ...] = ()
    wet_pct: tuple[float, ...] = ()

    @property
    def open_rows(self) -> list[int]:
        """Rows that are not closed."""
        return [row for row, minutes in enumerate(self.minutes) if minutes > 0.0]

    def half_months(self, row: int) -> Ints:
        """The half-months of a row."""
        following = self.begins[(row + 1) % len(self.begins)]
        length = (following - self.begins[row] - 1) % HALF_MONTHS + 1
        return (self.begins[row] + np.arange(length)) % HALF_MONTHS

    @property
    def spreads(self) -> Floats:
        """How far to search around each of the numbers that `varied` takes."""
        parts = (
            [ROW_SPREAD] * len(self.open_rows),
            [DEMAND_SPREAD],
            TRIM_SPREADS if self.trim_pct else (),
            RAIN_SPREADS if self.rain_mm else (),
            (WET_SPREAD,) if self.wet_pct else (),
            [SHARE_SPREAD] * len(self.share_pct),
        )
        return np.concatenate([np.asarray(part, dtype=np.float64) for part in parts])

    def shifted(self, row: int, halves: int) -> "Draft | None":
        """The draft with a row that begins so many half-months later; None where another does."""
        begin = (self.begins[row] + halves) % HALF_MONTHS
        if begin in self.begins:
            return None
        begins = [*self.begins[:row], begin, *self.begins[row + 1 :]]
        rows = sorted(zip(begins, self.minutes, strict=True))
        return replace(
            self,
            begins=tuple([first for first, _ in rows]),
            minutes=tuple([minutes for _, minutes in rows]),
        )

    def varied(self, numbers: Floats) -> "Draft":
        """The draft times the exponentials of some numbers: of each open row's minutes, of the
        demand, of trim, rain and probes if there are any, of each zone's share."""
        factors = iter(np.exp(numbers).tolist())
        minutes = tuple([m * next(factors) if m else 0.0 for m in self.minutes])
        demand = self.demand * next(factors)
        trim_pct = _within(self.trim_pct, TRIM_ALLOWED_PCT, factors)
        rain_mm = _within(self.rain_mm, RAIN_ALLOWED_MM, factors)
        # One number for all: what tells zones apart are their pieces, and those nobody knows.
        wet_pct = self.wet_pct
        if wet_pct:
            factor, (least, most) = next(factors), WET_ALLOWED_PCT
            wet_pct = tuple([min(max(pct * factor, least), most) for pct in wet_pct])
        shares = tuple([share * next(factors) for share in self.share_pct])
        return Draft(self.begins, minutes, demand, shares, trim_pct, rain_mm, wet_pct)


def _within(
    values: tuple[float, ...],
    allowed: Sequence[tuple[float, float]],
    factors: Iterator[float],
) -> tuple[float, ...]:
    """Values times factors, as far as allowed; none of none."""
    if not values:
        return ()
    pairs = zip(values, allowed, strict=True)
    return tuple([min(max(value * next(factors), least), most) for value, (least, most) in pairs])


def days_allowed(plan: Plan) -> float:
    """Share of days on which local rules allow watering, by weekday and date; not banned dates."""
    share = bin(plan.hub.weekdays).count("1") / 7
    return share if plan.hub.dates == ANY_DATE else share / 2


def windows_min(plan: Plan) -> list[tuple[int, int]]:
    """Start and length [min] of the stretches of the day to try, the one to prefer first."""
    free = np.ones(1440, dtype=bool)
    for ban in plan.bans:
        if ban.kind == BAN_HOURS:
            minutes = np.arange(ban.first, ban.first + ((ban.last - ban.first) % 1440 or 1440))
            free[minutes % 1440] = False
    found = [_longest(free & _mask(*night)) for night in NIGHTS_MIN] + [_longest(free)]
    return [window for place, window in enumerate(found) if window not in found[:place]]


def _mask(start: int, length: int) -> Any:
    mask = np.zeros(1440, dtype=bool)
    mask[np.arange(start, start + length) % 1440] = True
    return mask


def _longest(free: Any) -> tuple[int, int]:
    """Start and length of the longest stretch of free minutes around the day, at most 24 h."""
    if free.all():
        return 20 * 60, 1440
    best = (0, 0)
    for start in np.flatnonzero(free & ~np.roll(free, 1)):
        length = int(np.argmin(np.roll(free, -start)))
        best = max(best, (int(start), length), key=lambda window: window[1])
    return best


def minutes_of(tables: "Tables", mm_d: Floats) -> Floats:
    """Minutes on a day that may be watered that give so much, mm a day: (24, zones)."""
    rates = np.array([strip.rate_mm_h for strip in tables.house.strips])
    a_day_mm = mm_d / days_allowed(tables.house.plan)
    runs = np.ceil(a_day_mm / (rates * tables.run_most_min / 60.0))
    return np.asarray(np.maximum(a_day_mm - runs * tables.filled_mm, 0.0) / rates * 60.0)


def draft_of(tables: "Tables", need: Need, rows: int) -> Draft:
    """The draft a search begins with.

    A zone with a probe is given what it needs in nine years of ten, where the rules allow so much:
    what is too much its probe holds back.
    """
    ample_mm_d = np.where(tables.probed, np.maximum(need.mm_d, need.high_mm_d), need.mm_d)
    draft = _following(tables, ample_mm_d, rows)
    return draft if tables.plan_of(draft) else _following(tables, need.mm_d, rows)


def _following(tables: "Tables", mm_d: Floats, rows: int) -> Draft:
    """Shares by what each zone is to get over the year, and at most so many rows that follow it."""
    minutes = minutes_of(tables, mm_d)
    by_zone = np.maximum(minutes.sum(axis=0), 1e-6)
    shares = np.clip(100.0 * by_zone / np.exp(np.log(by_zone).mean()), 12, 280)
    led = leading(tables.probed)
    at_100 = minutes[:, led].sum(axis=1) / shares[led].sum() * 100.0
    least = 2 * RUN_LEAST_S / 60 / (shares.min() / 100.0)  # so that half the trim still runs
    begins = best_cut(_costs(at_100, least), rows).begins
    draft = Draft(
        begins,
        (0.0,) * len(begins),
        DEMAND_SHARE,
        tuple(shares.tolist()),
        TRIM_PCT if tables.house.owner.checks else (),
        RAIN_MM if tables.house.plan.hub.rain_kind == GAUGE else (),
        tuple(
            100.0 * float((zone.soil or tables.prop.soil).hydraulics.water_content(WET_CM))
            for zone in tables.prop.zones.values()
            if zone.probe
        ),
    )
    halves = [draft.half_months(row) for row in range(len(begins))]
    levels = [_level(at_100[of_row], at_100.max(), least)[0] for of_row in halves]
    return replace(draft, minutes=tuple(levels))


def _level(wanted: Floats, most: float, least: float) -> tuple[float, float]:
    """The minutes of a row that stands for some half-months, 0 for closed, and how far it is off.

    Squares weigh by 1 / need: what a dry month misses by a minute is soon mended, a wet one's
    lasts.
    """
    weight = 1.0 / (wanted + EVEN_WEIGHT * most + 1e-9)
    level = float((weight * wanted).sum() / weight.sum())
    opened = float((weight * (wanted - level) ** 2).sum())
    closed = float((weight * wanted**2).sum())
    return (level, opened) if level >= least and opened < closed else (0.0, closed)


def _costs(wanted: Floats, least: float) -> Floats:
    """Costs of all stretches of the year, as best_cut takes them."""
    most = float(wanted.max())
    cost = np.zeros((HALF_MONTHS, HALF_MONTHS))
    for first, length in product(range(HALF_MONTHS), range(1, HALF_MONTHS + 1)):
        halves = (first + np.arange(length)) % HALF_MONTHS
        cost[first, length - 1] = _level(wanted[halves], most, least)[1]
    return cost


class Tables:
    """Makes properties of drafts, so that every rule of `evenclay check` holds."""

    def __init__(
        self, prop: Property, house: House, et0_mm: Sequence[float], filled_mm: Floats
    ) -> None:
        """filled_mm: what a run of each zone gives besides its minutes' flow."""
        self.prop = prop
        self.units = UNITS[prop.site.units]  # of what is told
        self.house = house
        self.et0_mm = et0_mm
        self.filled_mm = filled_mm
        self.probed = np.array([bool(zone.probe) for zone in prop.zones.values()])
        self._windows_min = windows_min(house.plan)
        # What of a run goes into the ground, and what a valve may stand open.
        self.run_most_min = np.array(
            [
                min(taken_min(prop, zone) / HEADROOM, zone.longest_s / 60)
                for zone in house.plan.zones
            ]
        )

    def property_of(self, draft: Draft) -> tuple[Property, Plan, list[Mistake]]:
        """The property with a draft in it, its plan, and what breaks a rule in it.

        Cycles: the fewest whose runs go in. Where that does not fit, longer windows are tried.
        """
        base = self._base(draft)
        tries = [0] * len(draft.begins)
        while True:
            seasons = [self._season(draft, row, tries[row]) for row in range(len(draft.begins))]
            prop = base.model_copy(update={"seasons": seasons})
            plan, mistakes = trial_plan(prop, self.et0_mm)
            wrong = {int(mistake.path[1]) for mistake in mistakes if mistake.path[0] == "seasons"}
            if any(mistake.path[0] != "seasons" for mistake in mistakes):
                wrong |= set(draft.open_rows)  # a rest that does not fit, in whichever row
            more = [row for row in wrong if tries[row] + 1 < len(self._windows_min)]
            if not mistakes or not more:
                return prop, plan, mistakes
            for row in more:
                tries[row] += 1

    def plan_of(self, draft: Draft) -> Plan | None:
        """The plan of a draft, None if it breaks a rule."""
        least, most = SHARES_PCT
        if not all(least <= round(share) <= most for share in draft.share_pct):
            return None
        _, plan, mistakes = self.property_of(draft)
        return None if mistakes else plan

    def _base(self, draft: Draft) -> Property:
        """The property with all of a draft but its rows."""
        zones, wet_pct = {}, iter(draft.wet_pct)
        parts = zip(self.prop.zones.items(), self.house.plan.zones, draft.share_pct, strict=True)
        for (name, zone), part, share in parts:
            values: dict[str, Any] = {"share": float(round(share))}
            if zone.probe:
                wet = round(max(next(wet_pct), part.dry_ppt / 10 + RELEASE_PCT + 0.1), 1)
                values |= {"wet_limit": wet, "wet_release": round(wet - RELEASE_PCT, 1)}
            zones[name] = zone.model_copy(update=values)
        update: dict[str, Any] = {"zones": zones}
        if draft.trim_pct:
            least, most = [round(pct) for pct in draft.trim_pct]
            # Two who trim one zone work against each other: the blade's word counts.
            trim = {"step": TRIM_STEP_PCT, "least": least, "most": most, "auto": "off"}
            update["trim"] = self.prop.trim.model_copy(update=trim)
        if draft.rain_mm:
            names = ("skip", "most", "lock_floor")
            bank = {name: round(mm, 1) for name, mm in zip(names, draft.rain_mm, strict=True)}
            rain = self.prop.lockouts.rain.model_copy(update=bank)
            update["lockouts"] = self.prop.lockouts.model_copy(update={"rain": rain})
        return self.prop.model_copy(update=update)

    def demand_mm(self, draft: Draft, row: int) -> float:
        """What the rain bank loses on a day of a row, mm."""
        et0_mm = [self.et0_mm[half // 2] for half in draft.half_months(row).tolist()]
        return draft.demand * float(np.mean(et0_mm))

    def _season(self, draft: Draft, row: int, window: int) -> Season:
        month, day = begin_of(draft.begins[row])
        begins = f"{month:02}-{day:02}"
        if not draft.minutes[row]:
            return Season.model_validate({"from": begins, "cycles": 0})
        runs = [draft.minutes[row] * round(share) / 100 for share in draft.share_pct]
        cycles = max(ceil(run / most) for run, most in zip(runs, self.run_most_min, strict=True))
        cycles = min(max(cycles, 1), CYCLES_MAX)
        start_min, length_min = self._windows_min[window]
        minutes = min(max(round(2 * draft.minutes[row] / cycles) / 2, 1.0), RUN_MAX_S / 60)
        end_min = (start_min + length_min) % 1440
        if length_min == 1440:
            end_min = (start_min + 1439) % 1440
        demand_mm = max(self.demand_mm(draft, row), self._least_demand_mm(runs))
        return Season.model_validate(
            {
                "from": begins,
                "cycles": cycles,
                "minutes": minutes,
                "demand": round(min(demand_mm, DEMAND_ALLOWED_MM), 1),
                "window": f"{clock(start_min)}-{clock(end_min)}",
            }
        )

    def _least_demand_mm(self, runs_min: Sequence[float]) -> float:
        """A demand under which the row's water would look like far too much of it, mm a day."""
        share = days_allowed(self.house.plan)
        return max(
            strip.rate_mm_h * run_min / 60 * share / strip.coefficient / DEMAND_MOST
            for strip, run_min in zip(self.house.strips, runs_min, strict=True)
        )
