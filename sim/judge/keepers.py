"""Who waters a house that lives by days: one who knows the truth, and the hub's own estimate.

The estimate is no model of the hub: it is the hub's own room, `controller.estimates`, with a record
and a plan, entered at each midnight and asked for each run as the hub does. What a day cannot show
is left out: frost, wind and quiet hours that hold a run back, and valves that fail.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from evenclay.controller.agenda import Agenda
from evenclay.controller.estimates import Estimates
from evenclay.controller.journal import Record
from evenclay.controller.limits import DAY_S, RUN_LEAST_S
from evenclay.controller.plan import Plan
from evenclay.controller.probe import Probe
from evenclay.sim.ground.plausible import PlausibleZone
from evenclay.sim.ground.retention import FULL_PF, c_in
from evenclay.sim.house import hands
from evenclay.sim.house.devices import RAIN_GAUGE
from evenclay.sim.house.house import House, Owner, Report
from evenclay.sim.house.owner import EARLY_DAYS, reports, samples
from evenclay.sim.house.site import Sky
from evenclay.sim.house.standing import by_day
from evenclay.sim.section.layout import LAYOUT, STRIP
from evenclay.sim.section.section import Section
from evenclay.sim.types import Floats
from evenclay.sim.weather.daily import Weather

AT_SENSOR = LAYOUT.at(0.5)
WEEK_DAYS = 7
SENSOR_NOISE_PF = 0.03  # of a week's reading: an assumption
LEAST_MM = 1.0  # worth giving, to one who knows the truth


@dataclass
class Truth:
    """Told each strip's true mean at 0.3-1.0 m each day, it gives what brings it to its target.

    target_pf: of each strip. most_mm: a day, (days, zones); 0 on days on which it may not water.
    hold_mm: water a pF of each strip at 0.3-1.0 m.
    """

    target_pf: Floats
    most_mm: Floats
    hold_mm: Floats
    cycles_h: Sequence[int]
    every_days: int = 1

    def look(self, day: int, ground: Section) -> None:
        """See how dry the strips are."""
        self._lack_mm = (ground.strip_pf() - self.target_pf) * self.hold_mm

    def water_mm(self, day: int) -> Sequence[float]:
        """What each strip gets."""
        given = np.minimum(self._lack_mm, self.most_mm[day])
        wanted: list[float] = np.where(given >= LEAST_MM, given, 0.0).tolist()
        return wanted


@dataclass(frozen=True)
class Met:
    """What a hub's own sensors meet on each day, (days,).

    first_day: number of the first, as the core counts days. cold_c, warm_c: extremes of the air;
    rain_mm: by its gauge.
    """

    first_day: int
    cold_c: Floats
    warm_c: Floats
    rain_mm: Floats


def _unheard(*event: int) -> None:
    """Nobody listens to what an estimate tells."""


class Reckoning:
    """The hub's own estimate in one ground.

    lack_um: what each strip is thought to lack as a day begins, (days, zones).
    """

    every_days = WEEK_DAYS

    def __init__(
        self,
        house: House,
        plan: Plan,
        owner: Owner | None,
        met: Met,
        truth: Sequence[PlausibleZone],
        c_per_pf: float,
        seed: int,
    ) -> None:
        """owner: who checks each week, if anybody. truth: errors of each zone's sensor."""
        self._plan, self._met, self._strips = plan, met, house.strips
        self._owner = owner if owner and owner.checks else None
        self._error_pf = [
            zone.suction_error_pf
            if strip.probe == "suction"
            else -zone.content_error_m3_m3 / c_in(strip.texture, c_per_pf)
            for zone, strip in zip(truth, house.strips, strict=True)
        ]
        self._random = np.random.default_rng([seed, 19])
        self._record = Record(0).carry(plan)
        self._agenda = Agenda(plan)
        self._probes = [Probe(zone, 0) if zone.probe else None for zone in plan.zones]
        self._estimates = Estimates(plan, self._record, self._agenda, self._probes, _unheard)
        self._reports: list[Report] = []
        self.cycles_h: Sequence[int] = cycles_h(plan)
        self.lack_um = np.zeros((len(met.rain_mm), len(plan.zones)), np.int64)

    def look(self, day: int, ground: Section) -> None:
        """Read the sensors, and check by hand where somebody does: in the open season, and early
        where he takes samples."""
        reads_pf = ground.place_pf(STRIP, AT_SENSOR)
        for zone, probe in enumerate(self._probes):
            if probe:
                noise_pf = SENSOR_NOISE_PF * self._random.standard_normal()
                read_pf = float(reads_pf[zone]) + self._error_pf[zone] + noise_pf
                part = self._plan.zones[zone]
                probe.ppt = round(part.full_ppt - (read_pf - FULL_PF) * part.per_pf_ppt)
        if self._owner and self._goes_out(self._owner, day):
            felt = partial(hands.felt, ground, [strip.texture for strip in self._strips])
            self._reports = reports(self._owner, felt, self._random) or []

    def _goes_out(self, owner: Owner, day: int) -> bool:
        """Whether the owner checks in the week that begins on a day."""
        begins = self._agenda.row_of(self._met.first_day + day)
        return begins.cycles > 0 or (samples(owner) and day < EARLY_DAYS)

    def water_mm(self, day: int) -> Sequence[float]:
        """What each strip gets on a day, by the plan's own rates."""
        record, plan = self._record, self._plan
        today = self._met.first_day + day
        self._begin(day, today)
        row = self._agenda.row_of(today)
        for zone, part in enumerate(plan.zones):
            if part.share_pct:
                for _ in range(row.cycles):
                    run_s, _ = self._estimates.run(zone, row)
                    if run_s < RUN_LEAST_S:
                        break
                    record.used_s[zone] += run_s
                    record.valve_wall_s[zone] = today * DAY_S
        return [
            used_s * part.rate_um_h / 3.6e6
            for used_s, part in zip(record.used_s, plan.zones, strict=True)
        ]

    def _begin(self, day: int, today: int) -> None:
        """Pass a midnight, and hear of a check."""
        record, met = self._record, self._met
        if day:
            record.rain_today_um = round(1000.0 * met.rain_mm[day - 1])
            record.cold_dk = round(10.0 * met.cold_c[day - 1])
            record.warm_dk = round(10.0 * met.warm_c[day - 1])
            self._estimates.new_day(today, 1, True)
            record.rain_today_um = 0
            if self._agenda.row_of(today).cycles and not self._agenda.row_of(today - 1).cycles:
                self._estimates.opened(today * DAY_S)
        for zone, (blade, sample) in enumerate(self._reports):
            if blade is not None:
                self._estimates.check(zone, [blade])
            if sample is not None:
                self._estimates.sample(zone, [sample])
        self._reports = []
        self.lack_um[day] = record.lack_um


def cycles_h(plan: Plan) -> list[int]:
    """Hours of the day at which the cycles of the busiest season begin."""
    row = max(plan.rows, key=lambda each: each.cycles)
    return [row.start_min_of(cycle) // 60 % 24 for cycle in range(row.cycles)]


def met_of(weather: Weather, sky: Sky, std_s: int) -> Met:
    """What a hub's sensors meet of a record and its sky: a gauge does not catch all that falls.

    std_s: how far the place's standard time is ahead of UTC.
    """
    counted_um = np.diff(RAIN_GAUGE.counts_um(sky.rain_um), prepend=0.0)
    first_day = (sky.start_s + std_s) // DAY_S
    return Met(first_day, weather.tmin_c, weather.tmax_c, by_day(counted_um) / 1000.0)
