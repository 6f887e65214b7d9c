"""A hub's decisions in words, a line each, with their reason and figures."""

from collections.abc import Mapping
from datetime import datetime, timedelta

from evenclay.controller import events
from evenclay.controller.civil import LocalTime
from evenclay.controller.limits import ZONES_MAX
from evenclay.controller.plan import Plan
from evenclay.controller.words import WHAT, WHY
from evenclay.sim.house.house import House
from evenclay.sim.report.outputs import RUN_EDGES
from evenclay.sim.report.tables import ALARMS
from evenclay.sim.report.tables import WHY as REASONS
from evenclay.sim.units import UNITS, Units
from evenclay.tools.log.items import Event

# What an owner may ask for, by its code in `controller/ports.py`.
ASKED = (
    "a hold",
    "a check",
    "a run",
    "a run anyway",
    "a stop",
    "clearing faults",
    "setting the clock",
    "a new plan",
    "the guided test",
    "a sample",
    "rain",
)
_ANSWERS = (events.ACCEPTED, events.REFUSED)
_EPOCH = datetime(2000, 1, 1)
UM, ML = 1000.0, 1000.0


class Words:
    """Says events of one plan in the local time, names and units of a property.

    zones, supplies: their names; none where the plan is not known. Of `plan` then counts its time.
    """

    def __init__(self, plan: Plan, zones: tuple[str, ...], supplies: tuple[str, ...], units: Units):
        self._plan = plan
        self._time = LocalTime(plan.hub)
        self.zones = zones
        self._supplies = supplies
        self._units = units

    def local(self, wall_s: int) -> datetime:
        """Local time of a UTC instant of the hub's."""
        return _EPOCH + timedelta(seconds=self._time.local_s(wall_s))

    def iso(self, wall_s: int) -> str:
        """The same as ISO 8601, with its offset."""
        minutes = (self._time.local_s(wall_s) - wall_s) // 60
        sign = "-" if minutes < 0 else "+"
        offset = f"{sign}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"
        return self.local(wall_s).isoformat() + offset

    def place(self, zone: int) -> str:
        """The zone or spigot that an event is about, by name or number; or the hub."""
        supply = zone - ZONES_MAX
        if supply >= 0:
            known = supply < len(self._supplies)
            return self._supplies[supply] if known else f"spigot {supply + 1}"
        if zone >= 0:
            return self.zones[zone] if zone < len(self.zones) else f"zone {zone + 1}"
        return "hub"

    def target_um(self, zone: int) -> int | None:
        """What a zone is to lack, um; None where that is not known, or no hub reckons it."""
        known = zone < len(self.zones) and self._plan.hub.estimate
        return self._plan.zones[zone].target_um if known else None

    def metered(self, zone: int) -> bool:
        """Whether a zone is known to have a meter."""
        if zone >= len(self.zones):
            return False
        return bool(self._plan.supplies[self._plan.zones[zone].supply].meter)

    def line(self, event: Event) -> str:
        """An event as one line: when, where, what, why, and its figures."""
        what, zone, why = event[:3]
        parts = [self.reason(what, why), *self._figures(event)]
        said = ", ".join(part for part in parts if part)
        name = WHAT[what].replace("_", " ")
        return f"{self._when(event)}  {self.place(zone):12} {name:9} {said}".rstrip()

    def _when(self, event: Event) -> str:
        boots, up_s, wall_s = event[5:]
        if wall_s >= 0:
            return f"{self.local(wall_s):%Y-%m-%d %H:%M:%S}"
        return f"boot {boots}, {up_s} s".ljust(19)

    def reason(self, what: int, why: int) -> str:
        """Why, in words; "" where nothing is to be said."""
        word = WHY[why]
        if what in (events.ALARM, events.CLEARED):
            return ALARMS.get(word, word.replace("_", " "))
        if why == events.OK:
            return ""
        return REASONS.get(word, word.replace("_", " "))

    def _figures(self, event: Event) -> list[str]:
        """What an event's two numbers say."""
        what, zone, why, value, ml = event[:5]
        shown = self._units.shown
        if what in RUN_EDGES:
            litres = [shown(ml / ML, "hose volume")] if ml else []
            return [f"{value // 60} min {value % 60} s", *litres]
        if what == events.LACKS:
            came = f"rain and hose gave {shown(ml / UM, 'depth')}"
            target_um = self.target_um(zone)
            if target_um is None:
                return [f"lacks {shown(value / UM, 'depth')}; its target is not known; {came}"]
            short = (value - target_um) / UM
            word = "short of" if short >= 0 else "wetter than"
            return [f"{shown(abs(short), 'depth')} {word} its target; {came}"]
        if what == events.CORRECTED:
            word = "wetter" if value < 0 else "drier"
            return [f"{shown(abs(value) / UM, 'depth')} {word} than the hub had thought"]
        if what == events.LEARNED or (what == events.REFUSED and why == events.OFF_PLAN):
            return [f"a flow of {shown(value / ML, 'supply flow')}"]
        if what in _ANSWERS:
            return [f"asked for {ASKED[value]}"] if 0 <= value < len(ASKED) else []
        if what == events.BOOT:
            return [f"boot {value}"]
        return [str(value)] if value and what != events.SKIPPED else []


class Speech:
    """The words for each plan under which a hub ran.

    Where a plan is not known its zones have numbers.
    """

    def __init__(self, plans: Mapping[int, Plan], house: House) -> None:
        units = UNITS[house.units]
        self._unknown = Words(house.plan, (), (), units)
        self._known = {
            crc: Words(plan, tuple(part.name for part in plan.zones), (), units)
            for crc, plan in plans.items()
        }
        names = tuple(strip.name for strip in house.strips)
        self._known[house.plan.crc] = Words(house.plan, names, house.supplies, units)

    def of(self, plan_crc: int) -> Words:
        """The words of a plan."""
        return self._known.get(plan_crc, self._unknown)
