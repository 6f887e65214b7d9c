"""Tables of a property file about when water runs: seasons, lockouts, the hub, the owner."""

from calendar import day_name
from typing import Annotated

from pydantic import Field, ValidationInfo, model_validator

from evenclay.controller.limits import RUN_MAX_S
from evenclay.controller.plan import BanPart
from evenclay.sim.house.house import Check
from evenclay.sim.units import UNITS, converted
from evenclay.tools.property.file import rules, times
from evenclay.tools.property.file.quantities import quantity as q
from evenclay.tools.property.file.rules import refusal
from evenclay.tools.property.file.table import Table
from evenclay.tools.property.plan_ranges import CYCLES_MAX

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_FULL_NAMES = [name.lower() for name in day_name]
# What water is priced by, as pint knows it; ccf: a hundred cubic feet.
BILLED = {"m3": "m3", "1000 gal": "kilogallon", "ccf": "ccf"}
Weekday = rules.choice(*WEEKDAYS, also=dict(zip(_FULL_NAMES, WEEKDAYS, strict=True)))


class Season(Table):
    """What is watered from a day of the year until the next season begins."""

    begins: Annotated[tuple[int, int], times.month_day()] = Field(alias="from")
    cycles: Annotated[int | None, rules.whole(0, CYCLES_MAX)] = None  # 0: closed
    minutes: Annotated[float | None, q("min", 1, RUN_MAX_S // 60, "10 min")] = None
    litres: Annotated[float | None, q("L", 1, 2000, "200 L", "50 gal")] = None  # a cycle and zone
    demand: Annotated[float | None, q("mm/d", 0, 20, "5 mm/d", "0.2 in/d")] = None  # None: from ET0
    # Mean rain on open ground. None: from the weather.
    rain: Annotated[float | None, q("mm/d", 0, 50, "1.5 mm/d", "0.06 in/d")] = None
    window: Annotated[tuple[int, int] | None, times.hours()] = None
    starts: Annotated[
        tuple[int, ...] | None, rules.several(times.time_of_day(), CYCLES_MAX, ascending=True)
    ] = None

    @model_validator(mode="after")
    def _relations(self) -> "Season":
        if self.cycles is None and not self.starts:
            raise refusal("no cycles", f"a whole number, 0 (closed) to {CYCLES_MAX}", "cycles")
        if self.cycles == 0:
            for name in ("minutes", "litres", "window", "starts"):
                if getattr(self, name) is not None:
                    raise refusal("it in a closed season", "none while cycles = 0", name)
            return self
        if self.starts is not None and self.window is not None:
            raise refusal("starts beside it", "one of the two", "window")
        if self.starts is None and self.window is None:
            raise refusal("no window", 'hours "HH:MM-HH:MM", or starts = ["HH:MM", ...]', "window")
        if self.starts is not None and self.cycles not in (None, len(self.starts)):
            allowed = f"{len(self.starts)}, the count of starts"
            raise refusal(f"{self.cycles}", allowed, "cycles")
        if self.minutes is not None and self.litres is not None:
            raise refusal("minutes beside it", "one of the two", "litres")
        if self.minutes is None and self.litres is None:
            raise refusal("no minutes", "minutes a cycle (or litres)", "minutes")
        return self

    @property
    def count(self) -> int:
        """Cycles a day."""
        return len(self.starts) if self.starts else self.cycles or 0


class Rain(Table):
    """Rain sensor and how it counts."""

    sensor: Annotated[str, rules.choice("none", "gauge", "contact")] = "none"
    # Wets leaves and mulch, not the clay.
    skip: Annotated[float, q("mm", 0, 20, "2 mm", "0.1 in")] = 2
    drying_time: Annotated[float, q("min", 0, 14400, "24 h", bare=False)] = 1440  # for a contact


class Frost(Table):
    """Thermometer and frost lockout. Air at the ground is a few degrees colder than at a wall."""

    thermometer: Annotated[bool, rules.flag()] = False
    below: Annotated[float, q("degC", -20, 15, "2 degC", "36 degF")] = 2
    above: Annotated[float, q("degC", -20, 20, "5 degC", "41 degF")] = 5
    hold: Annotated[float, q("min", 0, 720, "2 h", bare=False)] = 120  # above it, before release

    @model_validator(mode="after")
    def _relations(self, info: ValidationInfo) -> "Frost":
        if self.above <= self.below:
            units = UNITS[info.context or "metric"]
            above, below = [units.shown(t, "temperature") for t in (self.above, self.below)]
            raise refusal(above, f"more than below, {below}", "above")
        return self


class Quiet(Table):
    """Local watering rules."""

    allowed_weekdays: Annotated[tuple[str, ...], rules.several(Weekday, 7)] = WEEKDAYS
    allowed_dates: Annotated[str, rules.choice("any", "odd", "even")] = "any"
    banned_hours: Annotated[
        tuple[tuple[int, int], ...], rules.several(times.hours(), BanPart.MOST)
    ] = ()
    banned_dates: Annotated[
        tuple[tuple[tuple[int, int], tuple[int, int]], ...],
        rules.several(times.dates(), BanPart.MOST),
    ] = ()

    @model_validator(mode="after")
    def _relations(self) -> "Quiet":
        if not self.allowed_weekdays:
            raise refusal("[]", "at least one weekday", "allowed_weekdays")
        count = len(self.banned_hours) + len(self.banned_dates)
        if count > BanPart.MOST:
            raise refusal(f"{count} bans", f"at most {BanPart.MOST}, hours and dates")
        return self


class Battery(Table):
    """A battery to watch, measured at rest."""

    open_above: Annotated[float, q("V", 1, 60, "11.6 V")]
    reserve: Annotated[float, q("V", 1, 60, "11 V")]  # kept for closing

    @model_validator(mode="after")
    def _relations(self) -> "Battery":
        if self.open_above < self.reserve:
            allowed = f"at most open_above, {self.open_above:g} V"
            raise refusal(f"{self.reserve:g} V", allowed, "reserve")
        return self


class Lockouts(Table):
    """What holds water back."""

    rain: Rain = Rain()
    frost: Frost = Frost()
    quiet: Quiet = Quiet()
    battery: Battery | None = None


class Hub(Table):
    """How the hub itself behaves."""

    open_at_once: Annotated[int, rules.whole(1, 4)] = 1  # valves, over all supplies
    poll: Annotated[float, q("min", 1, 180, "3 h", bare=False)] = (
        180  # sensors, all valves shut; and before a run
    )
    watch: Annotated[float, q("min", 0.2, 10, "10 min", bare=False)] = 10  # with a valve open
    page: Annotated[str | None, rules.web_address(100)] = None  # the house's own, for its card


class Water(Table):
    """What water costs."""

    price: Annotated[float | None, rules.number(0, 1000)] = None
    per: Annotated[str, rules.choice(*BILLED)] = "m3"
    currency: Annotated[str, rules.text(8)] = "$"

    @property
    def price_m3(self) -> float | None:
        """Price of a cubic metre."""
        if self.price is None:
            return None
        return self.price / converted(1.0, BILLED[self.per], "m3")


class Habits(Table):
    """The owner's weekly check by hand, for the simulation."""

    checks: Annotated[bool, rules.flag()] = True
    # Pushes a rod in, squeezes a sample from half a metre down, or both.
    check: Annotated[Check, rules.choice("blade", "sample", "both")] = "blade"
    weekday: Annotated[str, Weekday] = "sat"
    hour: Annotated[int, rules.whole(0, 23)] = 18  # or half an hour before the day's first cycle
    misses: Annotated[float, q("%", 0, 100, "20 %")] = 0  # of the weeks
    misjudges: Annotated[float, q("%", 0, 100, "10 %")] = 0  # of the readings
