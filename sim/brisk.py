"""The hub and its strips in one compiled loop: fast enough to search for a plan, near enough to trust.

What the hub of `controller/` decides is repeated here in the coarse: rain bank, frost, allowed
days, wet soil by a probe, trim by blade and probe, re-wetting, the day's cap. The soil is that of
`soil.py`, to the hour. Left out: probes that are not believed, the order in which zones take turns,
clocks.
`tests/unit/test_brisk.py` holds it beside the real hub; whatever is told to a user is measured with
the real one.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from controller.agenda import row_of
from controller.civil import LocalTime, date_of, day_of, month_days, weekday_of
from controller.limits import AUTO_WEEKDAY, DAY_S, OPENING_DAYS, RUN_LEAST_S
from controller.lockouts import has_quiet, is_quiet
from controller.plan import AUTO_BOTH, AUTO_OFF, GAUGE, Plan, ZonePart
from controller.ports import DRY, FIRM, WET
from sim import policies, soil
from sim.devices import FILLING_ML_H, PROBE, RAIN_GAUGE, shown_ppt
from sim.ground import HOUR_S, START_PF, Floats, forcing, probe_weights
from sim.hourly import Hourly
from sim.house import House, Strip
from sim.policies import check_min
from sim.replay import Span, sky_of
from sim.score import HOURS, Codes, Days, states, top_wet_days

Ints = NDArray[np.int64]

# Columns of a row, a zone and the hub as the loop takes them.
_CYCLES, _RUN_S, _DEMAND_MM, _CHECK_H, _SLOT_H, _START_H = range(6)
_SHARE, _RATE, _EXPOSURE, _DEMAND, _CAP_S, _LONGEST_S, _HOSE_MM, _DRAIN_MM_H, _FILL_MM_H = range(9)
_PROBE, _WET, _WET_OFF, _DRY = range(9, 13)
(
    _GAUGE,
    _SKIP_MM,
    _BANK_MM,
    _FLOOR_MM,
    _LOCK_MM,
    _CHECKED,
    _STEP,
    _LEAST,
    _MOST,
    _GAP_D,
    _REWET,
    _REWET_MM,
    _REWET_D,
    _AUTO,
    _BLADE_DRY_PF,
    _BLADE_WET_PF,
    _BLADE_RAIN_MM,
) = range(17)

_PROBE_WEIGHT = probe_weights()

# Not kept on disk: what is kept does not notice that soil.py has changed.
_njit = njit(error_model="numpy", nogil=True)


@_njit
def _yards(forcing: Floats, state: Floats, soils: Floats, tables: Floats, work: Floats) -> Floats:
    """Matric flux potential beside every strip, hour by hour: (hours, strips, layers)."""
    hours, zones = forcing.shape[0], state.shape[0] // 2
    beside = np.empty((hours, zones, soil.LAYERS))
    result = np.zeros((zones, soil.RESULTS))
    for hour in range(hours):
        soil._step_hour(forcing[hour], 1.0, state[:zones], soils, tables, work, result)
        for zone in range(zones):
            soil._yard(zones + zone, state, soils, tables[int(soils[zone, 0])], work)
            beside[hour, zone] = work[9]
    return beside


@_njit
def _strip_hour(
    c: int,
    forcing: Floats,
    beside: Floats,
    state: Floats,
    soils: Floats,
    tables: Floats,
    work: Floats,
    result: Floats,
) -> None:
    """An hour of one strip, as soil._step_hour does it, with the yard's part known beforehand."""
    result[c, :] = 0.0
    work[9] = beside
    rain, pet, given = forcing[0], forcing[1], forcing[2]
    wet = 0.0
    if given > 0.0:
        wet = min(1.0, max(soil.SHORTEST_H, forcing[3] / 3600.0))
        soil._advance(c, wet, rain * wet, given, pet, 1.0, state, soils, tables, work, result)
    if wet < 1.0:
        rest = 1.0 - wet
        soil._advance(c, rest, rain * rest, 0.0, pet, 1.0, state, soils, tables, work, result)
    soil._measure(c, state, soils, tables, result)


@_njit
def _feel(c: int, state: Floats, soils: Floats, tables: Floats, hub: Floats) -> int:
    """What a blade says of a strip now."""
    table = tables[int(soils[c, 0])]
    felt_pf = 0.0
    for i in range(soil._TOP_LAYERS):
        place = soil._place(c, i, state, soils)
        k = soil._row(place)
        layer_pf = table[k, 2] + (place - k) * (table[k + 1, 2] - table[k, 2])
        felt_pf += soil._BLADE_WEIGHT[i] * layer_pf
    if felt_pf > hub[_BLADE_DRY_PF]:
        return DRY
    return WET if felt_pf < hub[_BLADE_WET_PF] else FIRM


@_njit
def _read(c: int, state: Floats, curve: Floats) -> float:
    """What a strip's probe makes of the water at its depth, but for noise and temperature [ppt]."""
    true_ppt = 0.0
    for i in range(soil.LAYERS):
        true_ppt += _PROBE_WEIGHT[i] * state[c, i]
    k = min(int(true_ppt), curve.shape[1] - 2)
    return curve[c, k] + (true_ppt - k) * (curve[c, k + 1] - curve[c, k])  # type: ignore[no-any-return]


@_njit
def _run_all(
    sky: Floats,
    beside: Floats,
    counted_mm: Floats,
    rain_mm: Floats,
    may: NDArray[np.bool_],
    row_of_day: Ints,
    check_days: NDArray[np.bool_],
    auto_days: NDArray[np.bool_],
    rows: Floats,
    zones: Floats,
    hub: Floats,
    curve: Floats,
    noise: Floats,
    state: Floats,
    soils: Floats,
    tables: Floats,
    daily: Floats,
    top_pf: Floats,
    trims: Floats,
) -> None:
    """Every zone over all the days. daily: (days, zones, 5): pF, mm, s, runoff, re-wetting."""
    days = row_of_day.shape[0]
    work = np.zeros((12, soil.LAYERS))
    result = np.zeros((zones.shape[0], soil.RESULTS))
    for c in range(zones.shape[0]):
        forced = np.zeros(soil.FORCINGS)
        bank, trim, moved, due, opened, rewet = 0.0, 100.0, -100, False, -100, 0
        auto, soaked, read, rained_h = 0.0, False, 0.0, -HOURS
        pending_s, until_h, left_s, shut_h = 0.0, 0, 0.0, -HOURS
        for day in range(days):
            row = rows[row_of_day[day]]
            cycles = int(row[_CYCLES])
            demand = row[_DEMAND_MM] * zones[c, _DEMAND]
            bank = max(0.0, bank - max(demand, hub[_FLOOR_MM]))
            if cycles > 0 and day > 0 and rows[row_of_day[day - 1], _CYCLES] == 0.0:
                opened = day
            rewet = max(rewet - 1, 0)
            due = cycles > 0 and (due or check_days[day]) and hub[_CHECKED] > 0.0
            today, used_s = 0.0, 0.0
            for hour in range(HOURS):
                h = day * HOURS + hour
                if due and hour == int(row[_CHECK_H]) and h >= HOURS:
                    if rain_mm[h - HOURS : h].sum() <= hub[_BLADE_RAIN_MM]:
                        due = False
                        felt = _feel(c, state, soils, tables, hub)
                        if felt == DRY and day - opened <= OPENING_DAYS and rewet == 0:
                            rewet = max(int(hub[_REWET_D]) - (day - opened), 0)
                        elif felt != DRY:
                            rewet = 0
                        if day - moved >= hub[_GAP_D]:
                            before = trim
                            if felt == WET:
                                trim = max(trim - hub[_STEP], hub[_LEAST])
                            elif felt == DRY:
                                trim = min(trim + hub[_STEP], hub[_MOST])
                            if trim != before:
                                moved = day
                if hub[_GAUGE] > 0.0 and counted_mm[h] > 0.0:
                    before_mm = max(0.0, today - hub[_SKIP_MM])
                    today += counted_mm[h]
                    more = max(0.0, today - hub[_SKIP_MM]) - before_mm
                    bank = min(bank + more * zones[c, _EXPOSURE], hub[_BANK_MM])
                    if more > 0.0:
                        rained_h = h
                locked = bank > max(demand, hub[_LOCK_MM])
                for cycle in range(cycles):
                    if int(row[_START_H + cycle]) == hour:
                        asks = cycle == 0 and auto_days[day] and hub[_AUTO] != AUTO_OFF
                        if asks and zones[c, _PROBE] > 0.0 and h - rained_h >= HOURS:
                            if day - moved >= hub[_GAP_D]:
                                before = auto
                                if read >= zones[c, _WET]:
                                    auto = max(auto - hub[_STEP], hub[_LEAST] - trim)
                                elif read < zones[c, _DRY]:
                                    most = hub[_MOST] if hub[_AUTO] == AUTO_BOTH else 100.0
                                    auto = max(auto, min(auto + hub[_STEP], most - trim))
                                if auto != before:
                                    moved = day
                        pending_s, until_h = row[_RUN_S] * zones[c, _SHARE], h + int(row[_SLOT_H])
                if zones[c, _PROBE] > 0.0 and left_s <= 0.0:
                    read = _read(c, state, curve) + noise[c, h]
                    soaked = read >= zones[c, _WET] or (soaked and read >= zones[c, _WET_OFF])
                if pending_s > 0.0 and h < until_h and may[h] and not locked and not soaked:
                    pct = min(max(trim + auto, hub[_LEAST]), hub[_MOST])
                    cap_s = zones[c, _CAP_S]
                    if rewet > 0:
                        pct = min(pct + hub[_REWET] - 100.0, hub[_REWET])
                        cap_s = min(cap_s, hub[_REWET_MM] / zones[c, _RATE] * 3600.0)
                    run_s = min(pending_s * pct / 100.0, zones[c, _LONGEST_S], cap_s - used_s)
                    pending_s = 0.0
                    if run_s >= RUN_LEAST_S:
                        left_s += run_s
                        used_s += run_s
                        # What drained out of the hose since; while it fills, half its flow comes.
                        drained = min(zones[c, _HOSE_MM], zones[c, _DRAIN_MM_H] * (h - shut_h))
                        lost = zones[c, _RATE] / 2.0 * drained / zones[c, _FILL_MM_H]
                        forced[soil.IRRIGATION] = drained - min(lost, drained)
                        shut_h = h + int(run_s / HOUR_S)
                now_s = min(left_s, float(HOUR_S))
                left_s -= now_s
                forced[soil.RAIN], forced[soil.PET] = sky[h, c, soil.RAIN], sky[h, c, soil.PET]
                forced[soil.IRRIGATION] += zones[c, _RATE] * now_s / HOUR_S
                forced[soil.IRRIGATION_S] = now_s
                _strip_hour(c, forced, beside[h, c], state, soils, tables, work, result)
                daily[day, c, 0] += result[c, soil.BAND_PF] / HOURS
                daily[day, c, 1] += forced[soil.IRRIGATION]
                forced[soil.IRRIGATION] = 0.0
                daily[day, c, 2] += now_s
                daily[day, c, 3] += result[c, soil.RUNOFF_IRRIGATION]
                top_pf[h, c] = result[c, soil.TOP_PF]
            daily[day, c, 4] = 1.0 if rewet > 0 else 0.0
            trims[day, c] = trim + auto


@_njit
def _held(
    sky: Floats,
    beside: Floats,
    target_pf: float,
    per_day: int,
    state: Floats,
    soils: Floats,
    tables: Floats,
    given: Floats,
    band_pf: Floats,
) -> None:
    """Give each strip what brings it back to a pF, night by night. given, band_pf: (days, zones)."""
    work = np.zeros((12, soil.LAYERS))
    result = np.zeros((given.shape[1], soil.RESULTS))
    forced = np.zeros(soil.FORCINGS)
    for c in range(given.shape[1]):
        dose = 0.0
        for day in range(given.shape[0]):
            mean_pf = 0.0
            asked = 0.0
            for hour in range(HOURS):
                h = day * HOURS + hour
                forced[soil.RAIN], forced[soil.PET] = sky[h, c, soil.RAIN], sky[h, c, soil.PET]
                asked += forced[soil.PET]
                forced[soil.IRRIGATION] = dose / per_day if hour < per_day else 0.0
                forced[soil.IRRIGATION_S] = 3600.0 if hour < per_day else 0.0
                _strip_hour(c, forced, beside[h, c], state, soils, tables, work, result)
                mean_pf += result[c, soil.BAND_PF] / HOURS
                given[day, c] += forced[soil.IRRIGATION] - result[c, soil.RUNOFF_IRRIGATION]
            band_pf[day, c] = mean_pf
            # In proportion to what is missing: on and off would ask for the most in turn.
            dose = max(0.0, 1.2 * asked * min(2.0, 1.0 + (mean_pf - target_pf) / 0.1))


@dataclass(frozen=True)
class Outcome:
    """What a plan did: days judged, (days, zones), the trims at their ends, and pF and water."""

    state: Codes
    pf: Floats
    mm: Floats
    trim_pct: Floats


class Brisk:
    """A house and its weather made ready: whatever does not hang on the plan is worked out once."""

    def __init__(self, house: House, span: Span, seed: int) -> None:
        self.house = house
        self.span = span
        sky, by_hour = sky_of(house, span, seed)
        self.start_s = sky.start_s
        self.by_hour: Hourly = by_hour
        self.days = len(by_hour.rain_mm) // HOURS
        zones = len(house.strips)
        dry = forcing(house.strips, by_hour)
        columns = self._columns(2)
        self._sky = np.ascontiguousarray(dry[:, zones:])
        self._beside = _yards(dry, columns._state, columns._soil, columns._tables, columns._work)
        shown = [
            shown_ppt(PROBE, strip, sky, zone, seed) for zone, strip in enumerate(house.strips)
        ]
        self._curve = np.array([curve for curve, _ in shown])
        self._noise = np.array([added for _, added in shown])
        self._rain_mm = by_hour.rain_mm
        counts = RAIN_GAUGE.counts_um(sky.rain_um)
        self._counted_mm = np.diff(counts, prepend=0.0) / 1000.0
        self._time = LocalTime(house.plan.hub)
        first = self._time.local_s(sky.start_s + DAY_S // 2) // DAY_S
        dates = [date_of(first + day) for day in range(self.days)]
        self._date_of_day = np.array([32 * month + day for _, month, day in dates])
        self._check_days = np.array(
            [weekday_of(first + day) == house.owner.weekday for day in range(self.days)]
        )
        self._auto_days = np.array(
            [weekday_of(first + day) == AUTO_WEEKDAY for day in range(self.days)]
        )
        self._may: dict[tuple[int, bool], NDArray[np.bool_]] = {}

    def _columns(self, sides: int) -> soil.Columns:
        """The strips' columns, with the yards' before them where sides is 2."""
        strips = self.house.strips
        yard = [None] * len(strips) + list(range(len(strips)))
        return soil.Columns(
            [strip.texture for strip in strips] * sides,
            ks_mm_h=[strip.ks_mm_h for strip in strips] * sides,
            yard=yard if sides == 2 else None,
            start_pf=START_PF,
        )

    def _watered(self) -> soil.Columns:
        """Columns of the strips alone, which exchange with a yard that is not among them."""
        columns = self._columns(1)
        columns._soil[:, soil._YARD] = 0.0
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
        columns = self._watered()
        given = np.zeros((self.days, len(self.house.strips)))
        band_pf = np.zeros(given.shape)
        _held(
            self._sky,
            self._beside,
            target_pf,
            hours,
            columns._state,
            columns._soil,
            columns._tables,
            given,
            band_pf,
        )
        return given, band_pf

    def outcome(self, plan: Plan, checked: bool) -> Outcome:
        """Live through all the days under a plan; checked: an owner pushes a blade once a week."""
        columns = self._watered()
        shape = (self.days, len(plan.zones))
        daily, trims = np.zeros((*shape, 5)), np.zeros(shape)
        top_pf = np.zeros((self.days * HOURS, len(plan.zones)))
        row_of_day = self._rows_by_date(plan)[self._date_of_day]
        _run_all(
            self._sky,
            self._beside,
            self._counted_mm,
            self._rain_mm,
            self._may_run(plan),
            row_of_day,
            self._check_days,
            self._auto_days,
            self._rows(plan, row_of_day),
            self._zones(plan),
            _hub_values(plan, checked),
            self._curve,
            self._noise,
            columns._state,
            columns._soil,
            columns._tables,
            daily,
            top_pf,
            trims,
        )
        days = _days(daily, top_wet_days(top_pf, self._rain_mm))
        return Outcome(states(days, daily[:, :, 4] > 0.0), daily[:, :, 0], daily[:, :, 1], trims)

    def _may_run(self, plan: Plan) -> NDArray[np.bool_]:
        """Hours in which neither frost nor local rules hold water back."""
        hub = plan.hub
        kind = hub.frost, has_quiet(plan)
        if kind in self._may:
            return self._may[kind]
        may = np.ones(self.days * HOURS, dtype=np.bool_)
        if hub.frost:
            frost, warm_s = False, 0
            for hour, temp_mc in enumerate((1000.0 * self.by_hour.temp_c).tolist()):
                warm_s = warm_s + HOUR_S if temp_mc >= hub.frost_off_mc else 0
                frost = temp_mc <= hub.frost_on_mc or (frost and warm_s <= hub.frost_hold_s)
                may[hour] = not frost
        if has_quiet(plan):
            for hour in range(len(may)):
                local_s = self._time.local_s(self.start_s + HOUR_S * hour)
                may[hour] &= not is_quiet(plan, local_s)
        self._may[kind] = may
        return may

    def _rows_by_date(self, plan: Plan) -> Ints:
        """The row of each date, by 32 x month + day; 0 where there is none."""
        rows = np.zeros(32 * 13, dtype=np.int64)
        for month in range(1, 13):
            for day in range(1, month_days(2000, month) + 1):
                rows[32 * month + day] = plan.rows.index(row_of(plan, day_of(2000, month, day)))
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
            noon_s = self.start_s + DAY_S * int(days[len(days) // 2]) + DAY_S // 2
            summer_min = (self._time.local_s(noon_s) - noon_s - plan.hub.std_s) // 60
            rows[index, _CHECK_H] = (check_min(self.house.owner, row) - summer_min) % 1440 // 60
            rows[index, _SLOT_H] = max((row.end_min_of(0) - row.start_min_of(0)) // 60, 1)
            for cycle in range(row.cycles):
                start_min = row.start_min_of(cycle) - summer_min
                rows[index, _START_H + cycle] = start_min % 1440 // 60
        return rows

    def _zones(self, plan: Plan) -> Floats:
        """The zones as the loop takes them."""
        return np.array(
            [
                [
                    part.share_pct / 100.0,
                    strip.rate_mm_h,
                    strip.exposure,
                    part.demand_pct / 100.0,
                    part.cap_s,
                    part.longest_s,
                    strip.hose_l / strip.area_m2,
                    strip.drain_l_h / strip.area_m2,
                    _filling_l_h(plan, part, strip) / strip.area_m2,
                    part.probe and strip.probe,
                    part.wet_ppt,
                    part.wet_off_ppt,
                    part.dry_ppt,
                ]
                for part, strip in zip(plan.zones, self.house.strips, strict=True)
            ],
            dtype=np.float64,
        )


def _filling_l_h(plan: Plan, part: ZonePart, strip: Strip) -> float:
    """What stays in a hose that fills alone: its supply's flow less half of its own."""
    most_l_h = (plan.supplies[part.supply].flow_ml_min or FILLING_ML_H / 60.0) * 0.06
    return max(most_l_h - strip.flow_l_h / 2.0, strip.flow_l_h / 2.0)


def _hub_values(plan: Plan, checked: bool) -> Floats:
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
            hub.auto_trim,
            policies.BLADE_DRY_PF,
            policies.BLADE_WET_PF,
            policies.CHECK_RAIN_UM / 1000.0,
        ],
        dtype=np.float64,
    )


def _days(daily: Floats, top_wet: NDArray[np.bool_]) -> Days:
    """What judging a day asks for; the rest is not known here, and 0."""
    nothing = np.zeros(daily.shape[:2])
    known: dict[str, Any] = dict.fromkeys(Days.__dataclass_fields__, nothing)
    for place, name in enumerate(("pf", "litres", "seconds", "runoff_mm")):
        known[name] = daily[:, :, place]
    return Days(**(known | {"top_wet": top_wet}))
