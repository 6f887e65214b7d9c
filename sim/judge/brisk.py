"""The hub and its strips in one compiled loop: to search plans with, near enough to be trusted.

What the hub of `controller/` decides is repeated here in the coarse: rain bank, frost, allowed
days, wet soil by a probe, trim by blade, re-wetting, the day's cap. The soil is that of `soil.py`,
to the hour. Left out: the hub's own trim, probes that are not believed, the order in which zones
take turns, clocks, and an owner who misses or misjudges. `tests/unit/test_brisk.py` holds it beside
the real hub; whatever is told to a user is measured with the real one.
"""

from dataclasses import dataclass, replace
from itertools import pairwise
from statistics import NormalDist
from typing import Any

import numpy as np
from numba import njit

from evenclay.controller.agenda import Agenda
from evenclay.controller.civil import FIRST_WEEKDAY, LocalTime, date_of, day_of, month_days
from evenclay.controller.limits import DAY_S, OPENING_DAYS, RUN_LEAST_S
from evenclay.controller.lockouts import quiet
from evenclay.controller.plan import ANY_DATE, GAUGE, Plan, ZonePart
from evenclay.sim.calendar import HOUR_S, HOURS
from evenclay.sim.ground import soil
from evenclay.sim.ground.textures import Texture
from evenclay.sim.house.columns import (
    BLADE_DRY_PF,
    BLADE_WET_PF,
    START_PF,
    columns_of,
    dry_of,
)
from evenclay.sim.house.devices import PROBE, RAIN_GAUGE
from evenclay.sim.house.house import House, Strip
from evenclay.sim.house.owner import CHECK_RAIN_UM, check_min
from evenclay.sim.house.plumbing import FILLING_ML_H
from evenclay.sim.house.sensors import ground_temperature_c, shown_ppt
from evenclay.sim.judge.days import Days, top_wet_days
from evenclay.sim.judge.score import states
from evenclay.sim.judge.years import seed_of
from evenclay.sim.replay.span import Span, sky_of
from evenclay.sim.types import Bools, Codes, Floats, Ints

# Columns of a row, a zone and the hub as the loop takes them.
_CYCLES, _RUN_S, _DEMAND_MM, _CHECK_H, _SLOT_H, _START_H = range(6)
_SHARE, _RATE, _EXPOSURE, _DEMAND, _CAP_S, _LONGEST_S, _HOSE_MM, _DRAIN_MM_H, _FILL_MM_H = range(9)
_PROBE, _WET_PPT, _WET_OFF_PPT = range(9, 12)
_HAS_GAUGE, _SKIP_MM, _BANK_MOST_MM, _FLOOR_MM, _LOCK_MM = range(5)
_CHECKED, _STEP, _LEAST, _MOST, _GAP_D, _REWET, _REWET_MM, _REWET_D = range(5, 13)
_FELT_DRY_PF, _FELT_WET_PF, _CHECK_RAIN_MM = range(13, 16)
# What goes on from hour to hour in a zone.
_BANK_MM, _FALLEN_MM, _TRIM, _MOVED_D, _DUE, _OPENED_D, _REWETS = range(7)
_USED_S, _PENDING_S, _UNTIL_H, _LEFT_S, _SHUT_H, _SOAKED, _PPT, _OUT_MM = range(7, 15)
_KEPT = 15
_LONG_AGO = -1000.0
YEAR_H = 365 * HOURS
ANY_WEEKDAY = 0b1111111
# What a day comes to.
_PF, _GIVEN_MM, _GIVEN_S, _RUNOFF_MM, _REWETTING = range(5)
_OF_DAY = 5

# Not kept on disk: what is kept does not notice that soil.py has changed.
_njit = njit(error_model="numpy", nogil=True)
_inlined = njit(error_model="numpy", nogil=True, forceinline=True)  # as in soil.py


@_inlined
def _under(
    c: int, hour: int, state: Floats, soils: Floats, tables: Floats, work: Floats, cells: Floats
) -> None:
    """Step the ground under the slab beside a column, where it is time for that."""
    if hour > 0 and hour % soil.SLAB_H == 0 and soils[c, soil._SLAB] >= 0.0:
        soil._under_slab(c, soil.SLAB_H, 1.0, state, soils, tables, work, cells)


@_inlined
def _step_strip(
    c: int,
    hour: int,
    forced: Floats,
    beside: Floats,
    state: Floats,
    soils: Floats,
    tables: Floats,
    work: Floats,
    cells: Floats,
    result: Floats,
) -> None:
    """An hour of a strip, the yard's part known beforehand."""
    yard = int(soils[c, soil._YARD])
    for i in range(soil.LAYERS):
        state[yard, soil._POTENTIAL + i] = beside[i]
    _under(c, hour, state, soils, tables, work, cells)
    soil._step_hour(c, forced, 1.0, state, soils, tables, work, result)


@_inlined
def _new_day(day: int, opens: bool, demand_mm: float, hub: Floats, now: Floats) -> None:
    """What midnight does to a zone."""
    now[_BANK_MM] = max(0.0, now[_BANK_MM] - max(demand_mm, hub[_FLOOR_MM]))
    now[_FALLEN_MM], now[_USED_S] = 0.0, 0.0
    now[_REWETS] = max(now[_REWETS] - 1.0, 0.0)
    if opens:
        now[_OPENED_D] = day


@_inlined
def _check(day: int, felt_pf: float, hub: Floats, now: Floats) -> None:
    """What the owner's blade does to a zone's trim and to its re-wetting."""
    now[_DUE] = 0.0
    dry, wet = felt_pf > hub[_FELT_DRY_PF], felt_pf < hub[_FELT_WET_PF]
    if not dry:
        now[_REWETS] = 0.0
    elif day - now[_OPENED_D] <= OPENING_DAYS and now[_REWETS] == 0.0:
        now[_REWETS] = max(hub[_REWET_D] - (day - now[_OPENED_D]), 0.0)
    if (dry or wet) and day - now[_MOVED_D] >= hub[_GAP_D]:
        before = now[_TRIM]
        moved = before + (hub[_STEP] if dry else -hub[_STEP])
        now[_TRIM] = min(max(moved, hub[_LEAST]), hub[_MOST])
        if now[_TRIM] != before:
            now[_MOVED_D] = day


@_inlined
def _rain(counted_mm: float, zone: Floats, hub: Floats, now: Floats) -> None:
    """Add to the bank what counts of an hour's rain."""
    before_mm = max(0.0, now[_FALLEN_MM] - hub[_SKIP_MM])
    now[_FALLEN_MM] += counted_mm
    more_mm = max(0.0, now[_FALLEN_MM] - hub[_SKIP_MM]) - before_mm
    if more_mm > 0.0:
        now[_BANK_MM] = min(now[_BANK_MM] + more_mm * zone[_EXPOSURE], hub[_BANK_MOST_MM])


@_inlined
def _open(h: int, zone: Floats, hub: Floats, now: Floats) -> None:
    """Begin the run that waits."""
    pct = now[_TRIM]
    most_s = zone[_CAP_S]
    if now[_REWETS] > 0.0:
        pct = min(pct + hub[_REWET] - 100.0, hub[_REWET])
        most_s = min(most_s, hub[_REWET_MM] / zone[_RATE] * HOUR_S)
    run_s = min(now[_PENDING_S] * pct / 100.0, zone[_LONGEST_S], most_s - now[_USED_S])
    now[_PENDING_S] = 0.0
    if run_s < RUN_LEAST_S:
        return
    now[_LEFT_S] += run_s
    now[_USED_S] += run_s
    # What drained out of the hose since; while it fills again, half its flow comes.
    drained_mm = min(zone[_HOSE_MM], zone[_DRAIN_MM_H] * (h - now[_SHUT_H]))
    lost_mm = zone[_RATE] / 2.0 * drained_mm / zone[_FILL_MM_H]
    now[_OUT_MM] = max(drained_mm - lost_mm, 0.0)
    now[_SHUT_H] = h + int(run_s / HOUR_S)


@_inlined
def _hour(
    day: int,
    hour: int,
    may: bool,
    counted_mm: float,
    demand_mm: float,
    row: Floats,
    zone: Floats,
    hub: Floats,
    now: Floats,
) -> None:
    """What the hub does with a zone in an hour, but for the owner's check."""
    h = day * HOURS + hour
    if hub[_HAS_GAUGE] > 0.0 and counted_mm > 0.0:
        _rain(counted_mm, zone, hub, now)
    for cycle in range(int(row[_CYCLES])):
        if int(row[_START_H + cycle]) == hour:
            now[_PENDING_S], now[_UNTIL_H] = row[_RUN_S] * zone[_SHARE], h + row[_SLOT_H]
    locked = now[_BANK_MM] > max(demand_mm, hub[_LOCK_MM]) or now[_SOAKED] > 0.0
    if now[_PENDING_S] > 0.0 and h < now[_UNTIL_H] and may and not locked:
        _open(h, zone, hub, now)


@_njit
def _live(
    c: int,
    sky: Floats,
    beside: Floats,
    counted_mm: Floats,
    rain_mm: Floats,
    may: Bools,
    row_of_day: Ints,
    check_days: Bools,
    rows: Floats,
    zone: Floats,
    hub: Floats,
    curve: Floats,
    noise: Floats,
    state: Floats,
    soils: Floats,
    tables: Floats,
    daily: Floats,
    top_pf: Floats,
) -> None:
    """One zone over all the days: daily (days, _OF_DAY) and hourly top_pf are filled."""
    work, cells = np.zeros((soil._WORK, soil.LAYERS)), np.zeros((len(soils), soil.RESULTS))
    forced = np.zeros((state.shape[0], soil.FORCINGS))
    result = np.zeros((state.shape[0], soil.RESULTS))
    result[c, soil.TOP_PF] = START_PF
    now = np.zeros(_KEPT)
    now[_TRIM], now[_SHUT_H] = 100.0, _LONG_AGO
    now[_MOVED_D], now[_OPENED_D] = _LONG_AGO, _LONG_AGO
    for day in range(row_of_day.shape[0]):
        row = rows[row_of_day[day]]
        opens = row[_CYCLES] > 0.0 and day > 0 and rows[row_of_day[day - 1], _CYCLES] == 0.0
        demand_mm = row[_DEMAND_MM] * zone[_DEMAND]
        _new_day(day, opens, demand_mm, hub, now)
        if row[_CYCLES] == 0.0 or hub[_CHECKED] == 0.0:
            now[_DUE] = 0.0
        elif check_days[day]:
            now[_DUE] = 1.0
        for hour in range(HOURS):
            h = day * HOURS + hour
            due = now[_DUE] > 0.0 and hour == int(row[_CHECK_H]) and h >= HOURS
            if due and rain_mm[h - HOURS : h].sum() <= hub[_CHECK_RAIN_MM]:
                _check(day, result[c, soil.TOP_PF], hub, now)
            if zone[_PROBE] > 0.0 and now[_LEFT_S] <= 0.0:
                true_ppt = 1000.0 * result[c, soil.PROBE_VWC]
                k = min(int(true_ppt), curve.shape[0] - 2)
                now[_PPT] = curve[k] + (true_ppt - k) * (curve[k + 1] - curve[k]) + noise[h]
                soaked = now[_PPT] >= zone[_WET_PPT]
                held = now[_SOAKED] > 0.0 and now[_PPT] >= zone[_WET_OFF_PPT]
                now[_SOAKED] = 1.0 if soaked or held else 0.0
            _hour(day, hour, may[h], counted_mm[h], demand_mm, row, zone, hub, now)
            run_s = min(now[_LEFT_S], float(HOUR_S))
            now[_LEFT_S] -= run_s
            forced[c, soil.RAIN], forced[c, soil.PET] = sky[h, c, soil.RAIN], sky[h, c, soil.PET]
            forced[c, soil.IRRIGATION] = now[_OUT_MM] + zone[_RATE] * run_s / HOUR_S
            forced[c, soil.IRRIGATION_S] = run_s
            now[_OUT_MM] = 0.0
            _step_strip(c, h, forced, beside[h], state, soils, tables, work, cells, result)
            daily[day, _PF] += result[c, soil.BAND_PF] / HOURS
            daily[day, _GIVEN_MM] += forced[c, soil.IRRIGATION]
            daily[day, _GIVEN_S] += run_s
            daily[day, _RUNOFF_MM] += result[c, soil.RUNOFF_IRRIGATION]
            top_pf[h] = result[c, soil.TOP_PF]
        daily[day, _REWETTING] = now[_REWETS]


@_njit
def _hold(
    c: int,
    sky: Floats,
    beside: Floats,
    target_pf: float,
    per_day: int,
    state: Floats,
    soils: Floats,
    tables: Floats,
    given_mm: Floats,
    band_pf: Floats,
) -> None:
    """Give a strip what brings it back to a pF, day by day: given_mm and band_pf are filled."""
    work, cells = np.zeros((soil._WORK, soil.LAYERS)), np.zeros((len(soils), soil.RESULTS))
    forced = np.zeros((state.shape[0], soil.FORCINGS))
    result = np.zeros((state.shape[0], soil.RESULTS))
    dose_mm = 0.0
    for day in range(given_mm.shape[0]):
        asked_mm = 0.0
        for hour in range(HOURS):
            h = day * HOURS + hour
            forced[c, soil.RAIN], forced[c, soil.PET] = sky[h, c, soil.RAIN], sky[h, c, soil.PET]
            asked_mm += sky[h, c, soil.PET]
            forced[c, soil.IRRIGATION] = dose_mm / per_day if hour < per_day else 0.0
            forced[c, soil.IRRIGATION_S] = float(HOUR_S) if hour < per_day else 0.0
            _step_strip(c, h, forced, beside[h], state, soils, tables, work, cells, result)
            band_pf[day] += result[c, soil.BAND_PF] / HOURS
            given_mm[day] += forced[c, soil.IRRIGATION] - result[c, soil.RUNOFF_IRRIGATION]
        # In proportion to what is missing: on and off would ask for the most in turn.
        dose_mm = max(0.0, 1.2 * asked_mm * min(2.0, 1.0 + (band_pf[day] - target_pf) / 0.1))


@dataclass(frozen=True)
class Outcome:
    """What a plan did, (days, zones): states, pF of the band, water given; and what its bare table
    gives each strip in a year, mm."""

    state: Codes
    pf: Floats
    mm: Floats
    table_mm: Floats


class Brisk:
    """A house and its weather made ready: whatever does not hang on the plan is worked out once."""

    def __init__(self, house: House, span: Span, seed: int) -> None:
        self.house = house
        self.span = span
        sky, by_hour = sky_of(house, span, seed)
        self._start_s = sky.start_s
        self._temp_mc = 1000.0 * by_hour.temp_c
        self.days = len(by_hour.rain_mm) // HOURS
        dry = dry_of(house.strips, by_hour)
        self._sky, self._beside = dry.forcing, dry.potential
        earth_c = ground_temperature_c(sky.temp_c)
        self._shown = [
            _shown(strip.texture, earth_c, HOURS * span.spin_up_days, zone, seed)
            for zone, strip in enumerate(house.strips)
        ]
        self._rain_mm = by_hour.rain_mm
        self._counted_mm = np.diff(RAIN_GAUGE.counts_um(sky.rain_um), prepend=0.0) / 1000.0
        self._time = LocalTime(house.plan.hub)
        first = self._time.local_s(sky.start_s + DAY_S // 2) // DAY_S
        dates = [date_of(first + day) for day in range(self.days)]
        self._date_of_day = np.array([32 * month + day for _, month, day in dates])
        weekday = (first + np.arange(self.days) + FIRST_WEEKDAY) % 7
        self._check_days = weekday == house.owner.weekday
        self._may: dict[tuple[int, bool], Bools] = {}

    def _columns(self) -> soil.Columns:
        """Yards and strips as a Ground has them, water in mm."""
        columns = columns_of(self.house.strips, START_PF)
        columns._soil[:, soil._GIVEN_MM] = 1.0
        return columns

    def filled_mm(self, rest_h: float) -> Floats:
        """What a run gives besides its minutes' flow: water that drained out of the hose in a rest
        and fills it anew, for each strip, mm."""
        zones = self._zones(self.house.plan)
        drained = np.minimum(zones[:, _HOSE_MM], zones[:, _DRAIN_MM_H] * rest_h)
        lost = zones[:, _RATE] / 2.0 * drained / zones[:, _FILL_MM_H]
        return np.asarray(np.maximum(drained - lost, 0.0))

    def held(self, target_pf: float, hours: int) -> tuple[Floats, Floats]:
        """Water that holds each strip at a pF with the rain as it fell, given in so many hours a
        day, and the pF that came of it: mm and pF, (days, zones)."""
        columns, count = self._columns(), len(self.house.strips)
        given_mm, band_pf = np.zeros((count, self.days)), np.zeros((count, self.days))
        for zone in range(count):
            _hold(
                count + zone,
                self._sky,
                self._beside[:, zone],
                target_pf,
                hours,
                columns._state,
                columns._soil,
                columns._tables,
                given_mm[zone],
                band_pf[zone],
            )
        return given_mm.T, band_pf.T

    def outcome(self, plan: Plan, checked: bool) -> Outcome:
        """Live through all the days under a plan; checked: an owner pushes a blade once a week."""
        columns, count = self._columns(), len(plan.zones)
        daily, top_pf = np.zeros((count, self.days, _OF_DAY)), np.zeros((count, self.days * HOURS))
        row_of_day = self._rows_by_date(plan)[self._date_of_day]
        rows, zones, hub = self._rows(plan, row_of_day), self._zones(plan), _hub(plan, checked)
        for zone in range(count):
            _live(
                count + zone,
                self._sky,
                self._beside[:, zone],
                self._counted_mm,
                self._rain_mm,
                self._may_run(plan),
                row_of_day,
                self._check_days,
                rows,
                zones[zone],
                hub,
                *self._shown[zone],
                columns._state,
                columns._soil,
                columns._tables,
                daily[zone],
                top_pf[zone],
            )
        by_day = daily.transpose(1, 0, 2)
        judged = states(_days(by_day, top_pf.T, self._rain_mm), by_day[:, :, _REWETTING] > 0.0)
        hours = float((rows[:, _CYCLES] * rows[:, _RUN_S])[row_of_day].mean()) * 365.25 / HOUR_S
        table_mm = hours * zones[:, _SHARE] * zones[:, _RATE]
        return Outcome(judged, by_day[:, :, _PF], by_day[:, :, _GIVEN_MM], table_mm)

    def _may_run(self, plan: Plan) -> Bools:
        """Hours in which neither frost nor local rules hold water back."""
        hub = plan.hub
        ruled = bool(plan.bans) or hub.weekdays != ANY_WEEKDAY or hub.dates != ANY_DATE
        kind = hub.frost, ruled
        if kind in self._may:
            return self._may[kind]
        may = np.ones(self.days * HOURS, dtype=np.bool_)
        if hub.frost:
            frost, warm_s = False, 0
            for hour, temp_mc in enumerate(self._temp_mc.tolist()):
                warm_s = warm_s + HOUR_S if temp_mc >= hub.frost_off_mc else 0
                frost = temp_mc <= hub.frost_on_mc or (frost and warm_s <= hub.frost_hold_s)
                may[hour] = not frost
        if ruled:
            for hour in range(len(may)):
                local_s = self._time.local_s(self._start_s + HOUR_S * hour)
                may[hour] &= not quiet(plan, local_s)[0]
        self._may[kind] = may
        return may

    def _rows_by_date(self, plan: Plan) -> Ints:
        """The row of each date, by 32 x month + day; 0 where there is none."""
        rows, agenda = np.zeros(32 * 13, dtype=np.int64), Agenda(plan)
        for month in range(1, 13):
            for day in range(1, month_days(2000, month) + 1):
                rows[32 * month + day] = plan.rows.index(agenda.row_of(day_of(2000, month, day)))
        return rows

    def _rows(self, plan: Plan, row_of_day: Ints) -> Floats:
        """The rows as the loop takes them; an hour is a standard one of the day it falls on."""
        rows = np.zeros((len(plan.rows), _START_H + HOURS))
        for index, row in enumerate(plan.rows):
            rows[index, _CYCLES] = row.cycles
            rows[index, _RUN_S] = row.run_s
            rows[index, _DEMAND_MM] = row.demand_um / 1000.0
            days = np.flatnonzero(row_of_day == index)
            if not row.cycles or not len(days):
                continue
            noon_s = self._start_s + DAY_S * int(days[len(days) // 2]) + DAY_S // 2
            summer_min = (self._time.local_s(noon_s) - noon_s - plan.hub.std_s) // 60
            rows[index, _CHECK_H] = (check_min(self.house.owner, row) - summer_min) % 1440 // 60
            rows[index, _SLOT_H] = max((row.end_min_of(0) - row.start_min_of(0)) // 60, 1)
            for cycle in range(row.cycles):
                start_min = row.start_min_of(cycle) - summer_min
                rows[index, _START_H + cycle] = start_min % 1440 // 60
        return rows

    def _zones(self, plan: Plan) -> Floats:
        """The zones as the loop takes them."""
        found = []
        for part, strip in zip(plan.zones, self.house.strips, strict=True):
            hose = strip.hose_l, strip.drain_l_h, _filling_l_h(plan, part, strip)
            found.append(
                [
                    part.share_pct / 100.0,
                    strip.rate_mm_h,
                    strip.exposure,
                    part.demand_pct / 100.0,
                    part.cap_s,
                    part.longest_s,
                    *(litres / strip.area_m2 for litres in hose),
                    part.probe and strip.probe,
                    part.wet_ppt,
                    part.wet_off_ppt,
                ]
            )
        return np.array(found, dtype=np.float64)


def _shown(
    texture: Texture, earth_c: Floats, spin_up_h: int, zone: int, seed: int
) -> tuple[Floats, Floats]:
    """What a zone's probe makes of the truth, as `shown_ppt` tells: another piece every year.

    How far the piece that will lie in the ground is off nobody knows, and a plan should bear it:
    what pieces read too much is shared out evenly among the scored years, by 365 days; the first
    year's piece serves the spin-up too, and the last one's the days left over.
    """
    years = max((len(earth_c) - spin_up_h) // YEAR_H, 1)
    begins = [0, *(spin_up_h + YEAR_H * year for year in range(1, years)), len(earth_c)]
    places = np.random.default_rng([seed, zone]).permutation(years)
    pieces = []
    for year, (first, until) in enumerate(pairwise(begins)):
        year_c = earth_c[first:until]
        off = NormalDist().inv_cdf((places[year] + 0.5) / years)
        probe = replace(PROBE, offset_ppt=off * PROBE.pieces_ppt, pieces_ppt=0.0)
        curve, added = shown_ppt(probe, texture, year_c, zone, seed_of(seed, year))
        pieces.append(added[: len(year_c)])
    return np.array(curve), np.concatenate(pieces)


def _filling_l_h(plan: Plan, part: ZonePart, strip: Strip) -> float:
    """What stays in a hose that fills alone: its supply's flow less half of its own."""
    most_l_h = (plan.supplies[part.supply].flow_ml_min or FILLING_ML_H / 60.0) * 0.06
    return max(most_l_h - strip.flow_l_h / 2.0, strip.flow_l_h / 2.0)


def _hub(plan: Plan, checked: bool) -> Floats:
    """The hub's settings as the loop takes them."""
    hub = plan.hub
    return np.array(
        [
            hub.rain_kind == GAUGE,
            hub.rain_skip_um / 1000.0,
            hub.rain_cap_um / 1000.0,
            hub.drain_floor_um / 1000.0,
            hub.lock_floor_um / 1000.0,
            checked,
            hub.trim_step_pct,
            hub.trim_least_pct,
            hub.trim_most_pct,
            hub.trim_gap_days,
            hub.rewet_pct,
            hub.rewet_um / 1000.0,
            hub.rewet_days,
            BLADE_DRY_PF,
            BLADE_WET_PF,
            CHECK_RAIN_UM / 1000.0,
        ],
        dtype=np.float64,
    )


def _days(by_day: Floats, top_pf: Floats, rain_mm: Floats) -> Days:
    """What judging a day asks for; the rest is not known here, and 0."""
    known: dict[str, Any] = dict.fromkeys(Days.__dataclass_fields__, np.zeros(by_day.shape[:2]))
    named = {"pf": _PF, "litres": _GIVEN_MM, "seconds": _GIVEN_S, "runoff_mm": _RUNOFF_MM}
    for name, place in named.items():
        known[name] = by_day[:, :, place]
    return Days(**(known | {"top_wet": top_wet_days(top_pf, rain_mm)}))
