"""The property file: one house, its hoses and its seasons, as its owner writes them.

`load` reads a file into a `Property` or raises a `PropertyError` that lists every mistake, one
line each: `FILE:LINE: key.path: found ..., allowed ...`. Lists count from 1 in key paths.

A quantity is a number in the unit its description names, or a string with a unit of the same
kind ("75 ft"). A length of time always takes its unit: a bare 30 could be seconds or minutes. So
does, in a file of US units, whatever is measured otherwise there: a bare 35 could be feet.
"""

import difflib
import os
import re
import tomllib
from dataclasses import dataclass, replace
from pathlib import Path as FilePath
from typing import Annotated, Any, get_args

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PrivateAttr,
    ValidationError,
    ValidationInfo,
    model_validator,
)
from pydantic_core import ErrorDetails

from evenclay.controller.limits import BANS_MAX, CAP_MAX_S, CYCLES_MAX, NAME_BYTES, RUN_MAX_S
from evenclay.sim.ground.textures import TEXTURES, Texture, fitted
from evenclay.sim.units import UNITS, converted
from evenclay.tools.property import rules
from evenclay.tools.property.broken import Broken, broken_of
from evenclay.tools.property.lines import Path, line_of, path_at, unread_line
from evenclay.tools.property.rules import Rule, refusal
from evenclay.tools.property.rules import quantity as q
from evenclay.tools.property.timezone import read_name

SIDES = ("north", "east", "south", "west")
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
# What the strip loses, as a share of reference evapotranspiration. Common practice, no source.
COVERS = {
    "bare": 0.5,
    "mulched": 0.5,
    "planted, shaded": 0.6,
    "planted, morning sun": 0.8,
    "hot wall": 1.1,  # in afternoon sun
}
# What water is priced by, as pint knows it; ccf: a hundred cubic feet.
BILLED = {"m3": "m3", "1000 gal": "kilogallon", "ccf": "ccf"}
PAVED = 0.1  # added where both sides of the strip are paved. Common practice, no source.

_TOO_DEEP, _TOO_LONG = "lists or tables nested too deep", "a number with thousands of digits"
_BYTES_MAX = 65536  # a whole street fits; more is not a property file

TIMEZONE = BeforeValidator(
    Rule('a name of the time zone database, such as "America/Chicago"', read_name)
)
Side = Annotated[str, rules.choice(*SIDES)]
SOAKER = {"soaker": "porous", "soaker hose": "porous"}
Weekday = rules.choice(*WEEKDAYS, also=dict(zip(DAYS, WEEKDAYS, strict=True)))
ZoneName = Annotated[str, rules.ascii_name(NAME_BYTES)]
SupplyName = Annotated[str, rules.ascii_name(24)]


@dataclass(frozen=True)
class Mistake:
    """One thing wrong with a property: where, what was found, what is allowed."""

    path: Path
    found: str
    allowed: str


@dataclass(frozen=True)
class Source:
    """The file a property came from, for messages that name a line.

    seasons: where in the file each season stands, in the order of the year; empty: as there.
    """

    name: str
    text: str
    seasons: tuple[int, ...] = ()

    def place(self, path: Path) -> Path:
        """A path of the property as it stands in the file."""
        if self.seasons and path[:1] == ("seasons",) and len(path) > 1:
            return ("seasons", self.seasons[int(path[1])], *path[2:])
        return path

    def error(self, mistakes: list[Mistake]) -> "PropertyError":
        """Return the error that lists these mistakes in the order of their lines."""
        mistakes = [replace(mistake, path=self.place(mistake.path)) for mistake in mistakes]
        placed = [(line_of(self.text, mistake.path), mistake) for mistake in mistakes]
        placed.sort(key=lambda item: item[0])
        return PropertyError([_line(self.name, line, mistake) for line, mistake in placed])


class PropertyError(ValueError):
    """A property file that cannot be used; `lines` holds one line a mistake."""

    def __init__(self, lines: list[str]) -> None:
        super().__init__("\n".join(lines))
        self.lines = lines


def _line(name: str, line: int, mistake: Mistake) -> str:
    where = f"{rules.printable(name)}:{line}: {dotted(mistake.path)}"
    return f"{where}: found {mistake.found}, allowed {mistake.allowed}"


def dotted(path: Path) -> str:
    """Return a path as an owner reads it: `seasons[2].from`; lists count from 1."""
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part + 1}]"
            continue
        bare = re.fullmatch(r"[A-Za-z0-9_-]+", part)
        text += ("." if text else "") + (part if bare else rules.shown(part))
    return text or "file"


class _Table(BaseModel):
    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)


class Tree(_Table):
    """A tree or big shrub near the house."""

    side: Side
    height: Annotated[float, q("m", 0.5, 80, "9 m", "30 ft")]  # when grown
    distance: Annotated[float, q("m", 0, 200, "6 m", "20 ft")]  # trunk to house


class Downspout(_Table):
    """Where roof water comes down and is let go."""

    side: Side
    distance: Annotated[float, q("m", 0, 100, "1.5 m", "5 ft")]  # its end to the house


class Site(_Table):
    """The place, and what its owner should know before laying a hose. None: not answered."""

    name: Annotated[str, rules.text(60)]
    timezone: Annotated[str, TIMEZONE]
    latitude: Annotated[float, rules.number(-66, 66, "degrees, south negative")]
    units: Annotated[str, rules.choice("metric", "us")] = "metric"  # of all that is read
    # Over the first 3 m (10 ft).
    fall: Annotated[float | None, q("m", -3, 3, "0.15 m", "6 in")] = None
    downspouts: list[Downspout] | None = None
    trees: list[Tree] | None = None
    foundation: Annotated[str | None, rules.choice("slab", "crawl space", "basement")] = None
    slope_or_wall: Annotated[bool | None, rules.flag()] = None  # a slope, or a retaining wall
    septic_field: Annotated[bool | None, rules.flag()] = None
    dry_sides: Annotated[tuple[str, ...] | None, rules.several(rules.choice(*SIDES), 4)] = None


class Soil(_Table):
    """The clay, for the simulator and for the limits of soil probes."""

    texture: Annotated[str, rules.choice(*TEXTURES)] = "clay"
    # Saturated; None: the texture's published value. Published clays span 0.5 to 5 mm/h.
    conductivity: Annotated[float | None, q("mm/h", 0.05, 100, "2 mm/h", "0.08 in/h")] = None
    # Water by volume, measured in a laboratory; all three, instead of the texture's.
    saturation: Annotated[float | None, q("%", 10, 90, "45 %")] = None
    field_capacity: Annotated[float | None, q("%", 2, 80, "36 %")] = None  # at 33 kPa
    wilting_point: Annotated[float | None, q("%", 0.5, 60, "22 %")] = None  # at 1500 kPa

    @model_validator(mode="after")
    def _relations(self) -> "Soil":
        contents = (self.saturation, self.field_capacity, self.wilting_point)
        if None in contents and contents != (None, None, None):
            raise refusal(
                "only some of them", "all of saturation, field_capacity and wilting_point, or none"
            )
        try:
            _ = self.hydraulics
        except ValueError as error:
            found = ", ".join([f"{content:g} %" for content in contents if content is not None])
            raise refusal(f"{found} ({error})", "contents of a real soil") from None
        return self

    @property
    def hydraulics(self) -> Texture:
        """How it holds and conducts water."""
        named = TEXTURES[self.texture].conducting(self.conductivity)
        if self.saturation is None or self.field_capacity is None or self.wilting_point is None:
            return named
        saturated, capacity, wilting = (
            content / 100 for content in (self.saturation, self.field_capacity, self.wilting_point)
        )
        return fitted(saturated, capacity, wilting, named.ks_mm_h, cracks=named.cracks)


class Supply(_Table):
    """One spigot. Flow and pressure are measured behind the regulator."""

    flow: Annotated[float | None, q("L/min", 0.5, 200, "15 L/min", "4 gal/min")] = None
    pressure: Annotated[float | None, q("kPa", 10, 1000, "80 kPa", "12 psi")] = None
    # Long enough for one valve to shut and the pressure to settle before the next opens.
    # Without one that is written here it is never less than the valves' travel.
    gap: Annotated[float, q("min", 0, 60, "30 s", bare=False)] = 0.5
    # What motorised valves take to open or to shut; a solenoid takes next to nothing.
    travel: Annotated[float, q("min", 0, 2, "12 s", bare=False)] = 0
    meter: Annotated[bool, rules.flag()] = False
    master_valve: Annotated[bool, rules.flag()] = False

    @model_validator(mode="after")
    def _relations(self) -> "Supply":
        if "gap" in self.model_fields_set and self.gap < self.travel:
            allowed = f"at least the valves' travel, {self.travel * 60:g} s"
            raise refusal(f"{self.gap * 60:g} s", allowed, "gap")
        return self


class Bucket(_Table):
    """A bucket test: all that the whole hose gave, laid into a tub, in some time."""

    litres: Annotated[float, q("L", 0.05, 2000, "12 L", "3 gal")]
    time: Annotated[float, q("min", 0.1, 600, "10 min", bare=False)]


class Hose(_Table):
    """What lies in the strip. A flow figure means nothing without the pressure it holds at."""

    kind: Annotated[str, rules.choice("porous", "emitter", also=SOAKER)]
    # As it is sold.
    flow: Annotated[float | None, q("L/h/m", 0.2, 60, "4 L/h/m", "0.6 gal/h/ft")] = None
    bucket: Bucket | None = Field(
        default=None, description="a table { litres, time }"
    )  # measured, instead of flow
    pressure: Annotated[float, q("kPa", 20, 500, "75 kPa", "11 psi")]
    # Inside; a common soaker hose.
    diameter: Annotated[float, q("mm", 4, 40, "13 mm", "0.5 in")] = 12.7
    # Hole of a washer-type flow restrictor that was left in at the hose's inlet.
    restrictor: Annotated[float | None, q("mm", 0.3, 20, "1.5 mm", "0.06 in")] = None
    # In use since it gave that flow: its pores close with the years. None: it gives it still.
    years: Annotated[float | None, rules.number(0, 30, "years")] = None

    @model_validator(mode="after")
    def _relations(self) -> "Hose":
        if self.flow is None and self.bucket is None:
            raise refusal("nothing", "flow, or bucket = { litres, time }", "flow")
        if self.bucket is not None and self.flow is not None:
            raise refusal("flow beside it", "one of the two", "bucket")
        if self.bucket is not None and self.restrictor is not None:
            raise refusal("a bucket test beside it", "none: the test has it in it", "restrictor")
        return self


class Zone(_Table):
    """One valve, its hose and the strip it waters."""

    supply: Annotated[str, rules.text(24)]
    side: Side
    length: Annotated[float, q("m", 1, 300, "22 m", "75 ft")]
    width: Annotated[float, q("m", 0.2, 3, "0.6 m", "2 ft")] = 0.6  # wetted; common practice
    hose: Hose = Field(description="a table, such as { kind, flow, pressure }")
    # Of the hose's end above its start.
    rise: Annotated[float, q("m", -10, 10, "0.5 m", "2 ft")] = 0
    # Where the ground differs from the rest; None: as [soil] says.
    soil: Soil | None = Field(default=None, description='a table, such as { texture = "loam" }')
    # Common practice: 0.30 to 0.45 m.
    slab_distance: Annotated[float, q("m", 0, 5, "0.4 m", "16 in")] = 0.4
    share: Annotated[float, q("%", 10, 300, "120 %")] = 100  # of the season's minutes
    # The clay takes a cycle in before the next: common practice, no source.
    rest: Annotated[float, q("min", 0, 720, "45 min", bare=False)] = 30
    # At least one utility lets foundations have two hours a day.
    cap: Annotated[float, q("min", 1, CAP_MAX_S // 60, "2 h", bare=False)] = 120
    # What a valve that nobody shuts may do harm in; the board's own deadline stands at it too.
    longest_run: Annotated[float, q("min", 1, RUN_MAX_S // 60, "30 min", bare=False)] = 60
    cover: Annotated[str | float, rules.choice_or_number(tuple(COVERS), 0.1, 2)] = "bare"
    paved: Annotated[bool, rules.flag()] = False  # on both sides of the strip
    eaves: Annotated[float, q("m", 0, 5, "0.45 m", "18 in")] = 0
    rain_exposure: Annotated[float | None, q("%", 0, 100, "50 %")] = None  # instead of eaves
    # Whose water ends here.
    downspout_roof: Annotated[float, q("m^2", 0, 500, "30 m2", "300 ft2")] = 0
    valve: Annotated[str, rules.choice("latching", "held")] = "latching"
    probe: Annotated[bool, rules.flag()] = False
    # Percent by volume; None: from the soil's texture.
    wet_limit: Annotated[float | None, q("%", 2, 55, "35 %")] = None
    wet_release: Annotated[float | None, q("%", 2, 55, "34 %")] = None
    dry_limit: Annotated[float | None, q("%", 2, 55, "31 %")] = None

    @model_validator(mode="after")
    def _relations(self) -> "Zone":
        if self.eaves and self.rain_exposure is not None:
            raise refusal("eaves beside it", "one of the two", "rain_exposure")
        for name in ("wet_limit", "wet_release", "dry_limit"):
            value = getattr(self, name)
            if value is not None and not self.probe:
                raise refusal(f"{value:g}", "only with probe = true", name)
        if self.longest_run > self.cap:
            allowed = f"at most the cap, {self.cap:g} min"
            raise refusal(f"{self.longest_run:g} min", allowed, "longest_run")
        return self

    @property
    def flow_l_h(self) -> float:
        """Flow of the whole hose at its rated pressure, litres an hour."""
        bucket = self.hose.bucket
        if bucket is not None:
            return bucket.litres / bucket.time * 60
        return (self.hose.flow or 0.0) * self.length

    @property
    def coefficient(self) -> float:
        """What the strip loses, as a share of reference evapotranspiration."""
        cover = COVERS[self.cover] if isinstance(self.cover, str) else self.cover
        return cover + (PAVED if self.paved else 0)

    @property
    def exposure(self) -> float:
        """Share of the rain that reaches the strip; a downspout adds its roof's."""
        if self.rain_exposure is not None:
            share = self.rain_exposure / 100
        else:
            share = 1.0 if self.eaves < 0.3 else 0.5 if self.eaves <= 0.6 else 0.2
        return share + self.downspout_roof / (self.length * self.width)


class Season(_Table):
    """What is watered from a day of the year until the next season begins."""

    begins: Annotated[tuple[int, int], rules.month_day()] = Field(alias="from")
    cycles: Annotated[int | None, rules.whole(0, CYCLES_MAX)] = None  # 0: closed
    minutes: Annotated[float | None, q("min", 1, RUN_MAX_S // 60, "10 min")] = None
    litres: Annotated[float | None, q("L", 1, 2000, "200 L", "50 gal")] = None  # a cycle and zone
    demand: Annotated[float | None, q("mm/d", 0, 20, "5 mm/d", "0.2 in/d")] = None  # None: from ET0
    window: Annotated[tuple[int, int] | None, rules.hours()] = None
    starts: Annotated[
        tuple[int, ...] | None, rules.several(rules.time_of_day(), CYCLES_MAX, ascending=True)
    ] = None

    @model_validator(mode="after")
    def _relations(self) -> "Season":
        if self.cycles is None and not self.starts:
            raise refusal("nothing", f"a whole number, 0 (closed) to {CYCLES_MAX}", "cycles")
        if self.cycles == 0:
            for name in ("minutes", "litres", "window", "starts"):
                if getattr(self, name) is not None:
                    raise refusal("it in a closed season", "none while cycles = 0", name)
            return self
        if self.starts is not None and self.window is not None:
            raise refusal("starts beside it", "one of the two", "window")
        if self.starts is None and self.window is None:
            raise refusal("nothing", 'hours "HH:MM-HH:MM", or starts = ["HH:MM", ...]', "window")
        if self.starts is not None and self.cycles not in (None, len(self.starts)):
            allowed = f"{len(self.starts)}, the count of starts"
            raise refusal(f"{self.cycles}", allowed, "cycles")
        if self.minutes is not None and self.litres is not None:
            raise refusal("minutes beside it", "one of the two", "litres")
        if self.minutes is None and self.litres is None:
            raise refusal("nothing", "minutes a cycle (or litres)", "minutes")
        return self

    @property
    def count(self) -> int:
        """Cycles a day."""
        return len(self.starts) if self.starts else self.cycles or 0


class Rain(_Table):
    """Rain sensor and how rain counts."""

    sensor: Annotated[str, rules.choice("none", "gauge", "contact")] = "none"
    # Wets leaves and mulch, not the clay.
    skip: Annotated[float, q("mm", 0, 20, "2 mm", "0.1 in")] = 2
    most: Annotated[float, q("mm", 1, 60, "25 mm", "1 in")] = 25  # more runs off
    drain_floor: Annotated[float, q("mm/d", 0, 10, "1 mm/d", "0.04 in/d")] = 1
    lock_floor: Annotated[float, q("mm", 0, 60, "5 mm", "0.2 in")] = 5
    drying_time: Annotated[float, q("min", 0, 14400, "24 h", bare=False)] = 1440  # for a contact


class Frost(_Table):
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


class Quiet(_Table):
    """Local watering rules."""

    allowed_weekdays: Annotated[tuple[str, ...], rules.several(Weekday, 7)] = WEEKDAYS
    allowed_dates: Annotated[str, rules.choice("any", "odd", "even")] = "any"
    banned_hours: Annotated[
        tuple[tuple[int, int], ...], rules.several(rules.hours(), BANS_MAX)
    ] = ()
    banned_dates: Annotated[
        tuple[tuple[tuple[int, int], tuple[int, int]], ...],
        rules.several(rules.dates(), BANS_MAX),
    ] = ()

    @model_validator(mode="after")
    def _relations(self) -> "Quiet":
        if not self.allowed_weekdays:
            raise refusal("[]", "at least one weekday", "allowed_weekdays")
        count = len(self.banned_hours) + len(self.banned_dates)
        if count > BANS_MAX:
            raise refusal(f"{count} bans", f"at most {BANS_MAX}, hours and dates")
        return self


class Battery(_Table):
    """A battery to watch, measured at rest."""

    open_above: Annotated[float, q("V", 1, 60, "11.6 V")]
    reserve: Annotated[float, q("V", 1, 60, "11 V")]  # kept for closing

    @model_validator(mode="after")
    def _relations(self) -> "Battery":
        if self.open_above < self.reserve:
            allowed = f"at most open_above, {self.open_above:g} V"
            raise refusal(f"{self.reserve:g} V", allowed, "reserve")
        return self


class Lockouts(_Table):
    """What holds water back."""

    rain: Rain = Rain()
    frost: Frost = Frost()
    quiet: Quiet = Quiet()
    battery: Battery | None = None


class Hub(_Table):
    """How the hub itself behaves."""

    open_at_once: Annotated[int, rules.whole(1, 4)] = 1  # valves, over all supplies
    poll: Annotated[float, q("min", 1, 180, "3 h", bare=False)] = (
        180  # sensors, all valves shut; and before a run
    )
    watch: Annotated[float, q("min", 0.2, 10, "10 min", bare=False)] = 10  # with a valve open


class Trim(_Table):
    """How far probe checks may move a zone's minutes."""

    step: Annotated[int, rules.whole(1, 50)] = 10  # points
    least: Annotated[int, rules.whole(10, 100)] = 50  # percent
    most: Annotated[int, rules.whole(100, 250)] = 170
    gap_days: Annotated[int, rules.whole(1, 60)] = 5
    # By the hub's own probes: less by itself, more only where the owner says "both".
    auto: Annotated[str, rules.choice("off", "down", "both")] = "down"


class Rewet(_Table):
    """How a strip that dried out is brought back: slowly, since a flood would run off."""

    most: Annotated[int, rules.whole(100, 125)] = 125  # percent of the season's minutes
    depth: Annotated[float, q("mm", 0, 8, "8 mm", "0.3 in")] = 8  # a day
    days: Annotated[int, rules.whole(0, 28)] = 28
    after_hold_days: Annotated[int, rules.whole(1, 60)] = 7


class Water(_Table):
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


class Habits(_Table):
    """The owner's weekly check with a blade, for the simulation."""

    checks: Annotated[bool, rules.flag()] = True
    weekday: Annotated[str, Weekday] = "sat"
    hour: Annotated[int, rules.whole(0, 23)] = 18  # or half an hour before the day's first cycle
    misses: Annotated[float, q("%", 0, 100, "20 %")] = 0  # of the weeks
    misjudges: Annotated[float, q("%", 0, 100, "10 %")] = 0  # of the readings


class Property(_Table):
    """A whole property file. `source` is the file it came from."""

    site: Site = Field(description="a table [site]")
    supplies: dict[SupplyName, Supply] = Field(description="tables, such as [supplies.front]")
    zones: dict[ZoneName, Zone] = Field(description="tables, such as [zones.west]")
    seasons: list[Season] = Field(description="tables, such as [[seasons]]")
    soil: Soil = Soil()
    lockouts: Lockouts = Lockouts()
    hub: Hub = Hub()
    trim: Trim = Trim()
    rewet: Rewet = Rewet()
    water: Water = Water()
    owner: Habits = Habits()
    _source: Source = PrivateAttr(default=Source("property", ""))

    @property
    def source(self) -> Source:
        """The file this property was read from."""
        return self._source


def load(path: str | os.PathLike[str]) -> Property:
    """Read a property file.

    Raises:
        PropertyError: the file cannot be read, is not TOML, or a value in it will not do.
    """
    return parse(_read(FilePath(path)), str(path))


def parse(text: str, name: str) -> Property:
    """Read a property from the text of a file called `name`. Raises PropertyError as `load`."""
    text = text.replace("\r\n", "\n")
    source = Source(name, text)
    return from_document(_document(source), source)


def from_document(document: dict[str, Any], source: Source) -> Property:
    """Read a property from what TOML says; `source` words its mistakes. Raises PropertyError.

    Seasons may stand in any order; the property has them in that of the year.
    """
    units = _units_of(document)
    try:
        found = Property.model_validate(document, context=units)
    except ValidationError as error:
        mistakes = [_mistake(detail, units) for detail in error.errors(include_url=False)]
        raise source.error(mistakes) from None
    order = sorted(range(len(found.seasons)), key=lambda place: found.seasons[place].begins)
    found = found.model_copy(update={"seasons": [found.seasons[place] for place in order]})
    found._source = replace(source, seasons=tuple(order))
    return found


def _units_of(document: dict[str, Any]) -> str:
    """The units that a document asks for, before anything in it is read; metric where unsure."""
    site = document.get("site")
    units = site.get("units") if isinstance(site, dict) else None
    return "us" if isinstance(units, str) and units.strip().lower() == "us" else "metric"


def _read(path: FilePath) -> str:
    name = rules.printable(str(path))
    try:
        with open(path, "rb") as file:
            data = file.read(_BYTES_MAX + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise PropertyError([f"{name}: found no property file: {reason}"]) from None
    if len(data) > _BYTES_MAX:
        reason = f"found more than {_BYTES_MAX} bytes, allowed a property file"
        raise PropertyError([f"{name}: {reason}"])
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise PropertyError(
            [f"{name}:{line}: file: found bytes that are not UTF-8, allowed UTF-8 text"]
        ) from None


def _document(source: Source) -> dict[str, Any]:
    try:
        return tomllib.loads(source.text)
    except RecursionError:
        reason, line = _TOO_DEEP, unread_line(source.text)
    except ValueError as error:
        reason, line = _reason(source.text, str(error))
    if "overwrite a value" in reason or "twice" in reason:
        mistake = Mistake(path_at(source.text, line), "it twice", "it once")
        raise PropertyError([_line(source.name, line, mistake)])
    broken = broken_of(source.text) or Broken(line, path_at(source.text, line))
    found, allowed = broken.found, broken.allowed
    if not found or reason in (_TOO_DEEP, _TOO_LONG):
        found = f"text that is not TOML ({reason[0].lower() + reason[1:]})"
        allowed = "TOML: [table] or key = value"
    mistake = Mistake(broken.path, rules.printable(found), rules.printable(allowed))
    raise PropertyError([_line(source.name, broken.line, mistake)])


def _reason(text: str, reason: str) -> tuple[str, int]:
    """Why TOML does not accept a text, and the line at which it gave up."""
    match = re.search(r" \((?:at line (\d+), column \d+|at end of document)\)$", reason)
    line = text.rstrip("\n").count("\n") + 1
    if match is not None:
        reason = reason[: match.start()]
        line = int(match[1]) if match[1] else line
    if "digits" in reason:  # Python's limit on the length of a number
        return _TOO_LONG, unread_line(text)
    return reason, line


_CONTAINERS = {
    "model_type": "a table",
    "dict_type": "a table of tables",
    "list_type": "a list of tables",
}


def _mistake(detail: ErrorDetails, units: str) -> Mistake:
    """Turn one of pydantic's errors into a mistake."""
    path: Path = tuple([part for part in detail["loc"] if part != "[key]"])
    kind = detail["type"]
    if kind == "refused":
        context = detail["ctx"]
        return Mistake((*path, *context["keys"]), context["found"], context["allowed"])
    if kind == "missing":
        return Mistake(path, "nothing", _allowed(path, units))
    if kind == "extra_forbidden":
        return Mistake(path, "an unknown key", _known(path))
    return Mistake(path, rules.shown(detail["input"]), _CONTAINERS.get(kind, detail["msg"]))


def _model_at(path: Path) -> type[BaseModel]:
    """The model that reads the table at a path."""
    model: type[BaseModel] = Property
    for part in path:
        names = {(info.alias or name): info for name, info in model.model_fields.items()}
        if isinstance(part, str) and part in names:
            inner = _inner_model(names[part].annotation)
            if inner is not None:
                model = inner
    return model


def _inner_model(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for argument in get_args(annotation):
        inner = _inner_model(argument)
        if inner is not None:
            return inner
    return None


def _allowed(path: Path, units: str) -> str:
    """What a required key takes."""
    for name, info in _model_at(path[:-1]).model_fields.items():
        if (info.alias or name) == path[-1]:
            if info.description:
                return info.description
            for item in info.metadata:
                rule = getattr(item, "func", None)
                if isinstance(rule, Rule):
                    return rule.of(units).allowed
    return "a value"


def _known(path: Path) -> str:
    """The keys a table knows, the nearest first if one is near."""
    fields = _model_at(path[:-1]).model_fields
    names = [info.alias or name for name, info in fields.items()]
    near = difflib.get_close_matches(str(path[-1]), names, n=1, cutoff=0.6)
    if near:
        return f"{near[0]} (the nearest known key)"
    return ", ".join(names)
