"""The demo's house with one sensor failing for a season, beside the same hub without that sensor.

The house lives on its middle ground for two years and a half of the demo's weather, under its own
plan, with its own sensors and an owner who takes a sample a week. From April to October of the
second year, the wettest of the record, one sensor fails in one way. The hub without it has the
same plan less that sensor from the first day on: it reckons by its rows' rain, by their demand, or
with no probe for that zone.

`python -m tests.failing` prints how each case compares; it takes a core for a minute.
"""

from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from pathlib import Path

import numpy as np

from evenclay.controller import events
from evenclay.controller.agenda import PER_DAY, Agenda
from evenclay.controller.civil import day_of
from evenclay.controller.limits import DAY_S
from evenclay.controller.plan import NO_RAIN_SENSOR, HubPart, Plan, ZonePart
from evenclay.sim.calendar import HOUR_S
from evenclay.sim.ground.plausible import judged, middle
from evenclay.sim.house.faults import Fault, Trouble
from evenclay.sim.house.standing import SectionGround, sides_of, stand
from evenclay.sim.judge.measures import Measures, Sums, measure_sums, sums_of
from evenclay.sim.judge.policies import NONE, hub_of
from evenclay.sim.judge.weigh import place_on, record_of
from evenclay.sim.replay.life import Policy, Script
from evenclay.sim.replay.lived import live
from evenclay.sim.replay.stay import stay_of, weather_of
from evenclay.sim.section import index_of
from evenclay.sim.types import Floats
from evenclay.sim.weather.record import read
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.demand import means_of
from evenclay.tools.property.property import load

DEMO = Path(__file__).parents[1] / "sim" / "demo"
FIRST, LAST = date(2017, 1, 1), date(2019, 6, 30)
BEGINS, ENDS = date(2018, 4, 1), date(2018, 11, 1)  # of what fails, at midnight
SEED = 1


@dataclass(frozen=True)
class Case:
    """One sensor that fails in one way.

    part: `probe`, `thermometer` or `gauge`. why: of the alarm that is due within a day; None where
    nothing can show so soon. zone: of a probe. in_frost: it fails in the last frost before
    April, not in April.
    """

    part: str
    what: Trouble
    why: int | None
    zone: int = 0
    in_frost: bool = False

    @property
    def name(self) -> str:
        """In plain words."""
        words = self.what.name.lower().replace("_", " ")
        if self.part == "probe":
            words += f", zone {self.zone + 1}"
        return words + (", in a frost" if self.in_frost else "")


# Half a metre down a sound probe may show the same for weeks, as a stuck one does. A gauge that
# counts nothing shows what a sound one shows in a drought, and one that is dripped on what it shows
# in a cloudburst, for a day.
PROBE_CASES = (
    Case("probe", Trouble.PROBE_OPEN, events.PROBE),
    Case("probe", Trouble.PROBE_SHORT, events.PROBE),
    Case("probe", Trouble.PROBE_SILENT, events.PROBE),
    Case("probe", Trouble.PROBE_STUCK, None),
)
FRONT = Case("probe", Trouble.PROBE_STUCK, None, zone=3)  # of all zones the one that it costs most
HUB_CASES = (
    Case("thermometer", Trouble.THERMOMETER_SILENT, events.STALE),
    Case("thermometer", Trouble.THERMOMETER_STUCK, events.STUCK),
    Case("thermometer", Trouble.THERMOMETER_COLD, events.STALE),
    Case("thermometer", Trouble.THERMOMETER_HOT, events.STALE),
    Case("thermometer", Trouble.THERMOMETER_SILENT, events.STALE, in_frost=True),
    Case("thermometer", Trouble.THERMOMETER_STUCK, events.STUCK, in_frost=True),
    Case("gauge", Trouble.GAUGE_SILENT, events.RAIN_STALE),
    Case("gauge", Trouble.GAUGE_BLOCKED, None),
    Case("gauge", Trouble.GAUGE_CHATTERS, events.RAIN_STALE),
    Case("gauge", Trouble.GAUGE_DRIPS, None),
)
REASONS = {
    "probe": {events.PROBE},
    "thermometer": {events.STALE, events.STUCK},
    "gauge": {events.RAIN_STALE},
}


def without(plan: Plan, part: str, zone: int) -> Plan:
    """A plan less one sensor."""
    hub, zones = vars(plan.hub), [vars(each) for each in plan.zones]
    if part == "thermometer":
        hub = hub | {"frost": 0}
    elif part == "gauge":
        hub = hub | {"rain_kind": NO_RAIN_SENSOR}
    else:
        zones[zone] = zones[zone] | {"probe": 0, "sensor": NONE}
    made = [ZonePart(each) for each in zones]
    return Plan(HubPart(hub), plan.supplies, made, plan.rows, plan.bans)


@dataclass(frozen=True)
class Told:
    """What came of a life.

    given_s: seconds of open valves in each hour, (hours, zones). litres: of all years. began: locks
    and alarms as they began: when, zone and reason.
    """

    sums: Sums
    given_s: Floats
    litres: float
    began: tuple[tuple[int, int, int], ...]


class World:
    """The house on one ground. Each life is lived once."""

    def __init__(self, number: int | None = None) -> None:
        """number: of the sixty-four grounds that judge; None: the middle ground."""
        prop = load(DEMO / "property.toml")
        record = read(DEMO / "weather.csv", latitude_deg=prop.site.latitude)
        self.house = house = compile_house(prop, means_of(record, prop.site.latitude))
        self._sky, self._by_hour, climate = weather_of(house, stay_of(record, FIRST, LAST), SEED)
        around = sides_of(house), index_of(record, house.latitude_deg), house.footing_m
        ground = middle(*around) if number is None else judged(*around, number + 1)[number]
        self._standing = stand(house, ground, climate)
        self._place = place_on(house, ground)
        self._agenda = Agenda(house.plan)
        self._lived: dict[object, Told] = {}

    def dry(self) -> Told:
        """Nobody waters."""
        return self._live("dry", None)

    def sound(self) -> Told:
        """Nothing fails."""
        return self._live("sound", self.house.plan)

    def failing(self, case: Case) -> Told:
        """One sensor fails for a season."""
        fault = Fault(case.what, self.begins_s(case), self._midnight_s(ENDS), case.zone)
        return self._live(case, self.house.plan, fault)

    def without(self, case: Case) -> Told:
        """The same hub without that sensor."""
        plan = without(self.house.plan, case.part, case.zone)
        return self._live((case.part, case.zone), plan)

    def begins_s(self, case: Case) -> int:
        """When its sensor fails; in a frost: a minute after the hub has noticed that."""
        april_s = self._midnight_s(BEGINS)
        if not case.in_frost:
            return april_s
        began = self.sound().began
        return max(at_s for at_s, _, why in began if why == events.FROST and at_s < april_s) + 60

    def alarms(self, case: Case) -> list[tuple[int, int, int]]:
        """Every alarm of a life with a failing sensor: hours since it failed, zone and reason."""
        begins_s = self.begins_s(case)
        return [
            ((at_s - begins_s + HOUR_S - 1) // HOUR_S, zone, why)
            for at_s, zone, why in self.failing(case).began
            if why >= events.NO_FLOW
        ]

    def fault_year(self, told: Told) -> Measures:
        """The measures of the year from April of the second year on, and of every day after it."""
        first_day = (BEGINS - FIRST).days
        dry = self.dry().sums
        return measure_sums(told.sums, dry, self._place, first_day, years_least=1)

    def beyond_s(self, told: Told) -> float:
        """How far the most that any zone was given goes beyond a row's day or a day's cap; below 0
        where nothing does.

        A row's day begins with its first cycle and lasts until the next day's first.
        """
        of_row, of_day = self._days
        beyond = []
        for part, given_s in zip(self.house.plan.zones, told.given_s.T, strict=True):
            beyond.append(float(np.bincount(of_day, given_s).max()) - part.cap_s)
            for day, sum_s in enumerate(np.bincount(of_row, given_s)):
                row = self._agenda.row_of(day)
                beyond.append(float(sum_s) - row.cycles * (row.run_s * part.share_pct // 100))
        return max(beyond)

    @cached_property
    def _days(self) -> tuple[list[int], list[int]]:
        """For each hour the day whose cycle began last, and the day it is by the clock."""
        starts_s = [self._sky.start_s + HOUR_S * hour for hour in range(self._sky.hours)]
        last = [self._agenda.last_started(at_s + HOUR_S - 1) // PER_DAY for at_s in starts_s]
        return last, [self._agenda.time.local_s(at_s) // DAY_S for at_s in starts_s]

    def _midnight_s(self, day: date) -> int:
        return self._agenda.time.wall_s(day_of(day.year, day.month, day.day) * DAY_S)

    def _live(self, key: object, plan: Plan | None, *faults: Fault) -> Told:
        if key not in self._lived:
            on = SectionGround(self._standing, self._by_hour, self._sky.start_s)
            policy = Policy("none", None, None)
            if plan is not None:
                policy = replace(hub_of(self.house), plan=plan)
            script = Script(faults=faults)
            heard = live(on, policy, self._sky, seed=SEED, script=script).heard
            began = [
                (at_s, event[1], event[2])
                for at_s, event, _ in heard
                if event[0] in (events.LOCKED, events.ALARM)
            ]
            sums = sums_of(record_of(on), np.array(self.house.target_pf), self._place)
            litres = float(on.litres().sum())
            self._lived[key] = Told(sums, on.seconds.copy(), litres, tuple(began))
        return self._lived[key]


def line(world: World, case: Case) -> str:
    """A row of the table."""
    failing, lacking = world.failing(case), world.without(case)
    own, without_it = world.fault_year(failing), world.fault_year(lacking)
    after_h = [hours for hours, _, why in world.alarms(case) if why in REASONS[case.part]]
    figures = (
        f"{own.unrest_pct:.1f}",
        f"{without_it.unrest_pct:.1f}",
        f"{own.unrest_pct - without_it.unrest_pct:+.1f}",
        f"{own.excursion_pct:.0f}",
        f"{failing.litres:,.0f}",
        f"{after_h[0]} h" if after_h else "none",
    )
    return f"| {case.name} | {' | '.join(figures)} |"


def main() -> None:
    """Print the table."""
    world = World()
    print("| fails | unrest | without it | apart | excursion | litres | alarm after |")
    print("|---|---|---|---|---|---|---|")
    sound = world.sound()
    own = world.fault_year(sound)
    excursion = f"{own.excursion_pct:.0f}"
    print(f"| nothing | {own.unrest_pct:.1f} | | | {excursion} | {sound.litres:,.0f} | |")
    for case in (*PROBE_CASES, FRONT, *HUB_CASES):
        print(line(world, case), flush=True)


if __name__ == "__main__":
    main()
