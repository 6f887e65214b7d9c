"""Tables of a property file about the place: the site, its soil, spigots, hoses and zones."""

from typing import Annotated

from pydantic import BeforeValidator, Field, model_validator

from evenclay.controller.limits import RUN_MAX_S
from evenclay.sim.ground.plausible import Cover
from evenclay.sim.ground.textures import TEXTURES, Texture, fitted
from evenclay.sim.house.house import Probe
from evenclay.tools.property.file import rules
from evenclay.tools.property.file.estimate import Ground
from evenclay.tools.property.file.quantities import quantity as q
from evenclay.tools.property.file.quantities import suction
from evenclay.tools.property.file.rules import Rule, refusal
from evenclay.tools.property.file.table import Table
from evenclay.tools.property.file.times import year_month
from evenclay.tools.property.plan_ranges import CAP_MAX_S, NAME_BYTES
from evenclay.tools.property.timezone import read_name

SIDES = ("north", "east", "south", "west")
# What the strip loses, as a share of reference evapotranspiration. Common practice, no source.
COVERS = {
    "bare": 0.5,
    "mulched": 0.5,
    "lawn": 0.8,  # what grass takes: common practice, no source
    "planted, shaded": 0.6,
    "planted, morning sun": 0.8,
    "hot wall": 1.1,  # in afternoon sun
}
PAVED = 0.1  # added where both sides of the strip are paved. Common practice, no source.
TIMEZONE = BeforeValidator(
    Rule('a name of the time zone database, such as "America/Chicago"', read_name)
)
Side = Annotated[str, rules.choice(*SIDES)]
SOAKER = {"soaker": "porous", "soaker hose": "porous"}


class Tree(Table):
    """A tree or big shrub near the house."""

    side: Side
    height: Annotated[float, q("m", 0.5, 80, "9 m", "30 ft")]  # when grown
    distance: Annotated[float, q("m", 0, 200, "6 m", "20 ft")]  # trunk to house


class Downspout(Table):
    """Where roof water comes down and is let go."""

    side: Side
    distance: Annotated[float, q("m", 0, 100, "1.5 m", "5 ft")]  # its end to the house


class Site(Table):
    """The place, and what its owner should know before laying a hose. None: not answered."""

    name: Annotated[str, rules.text(60)]
    timezone: Annotated[str, TIMEZONE]
    latitude: Annotated[float, rules.number(-66, 66, "degrees, south negative")]
    units: Annotated[str, rules.choice("metric", "us")] = "metric"  # of all that is read
    # Where `weather` looks, and what it compares its record's height with.
    longitude: Annotated[float | None, rules.number(-180, 180, "degrees, west negative")] = None
    elevation: Annotated[float | None, q("m", -500, 5000, "180 m", "600 ft")] = None
    # Over the first 3 m (10 ft).
    fall: Annotated[float | None, q("m", -3, 3, "0.15 m", "6 in")] = None
    downspouts: list[Downspout] | None = None
    trees: list[Tree] | None = None
    foundation: Annotated[str | None, rules.choice("slab", "crawl space", "basement")] = None
    slope_or_wall: Annotated[bool | None, rules.flag()] = None  # a slope, or a retaining wall
    septic_field: Annotated[bool | None, rules.flag()] = None
    dry_sides: Annotated[tuple[str, ...] | None, rules.several(rules.choice(*SIDES), 4)] = None
    # Of the footing; what carries the house begins there. None: 0.3-0.6 m, as is common.
    footing: Annotated[float | None, q("m", 0.2, 3, "0.4 m", "16 in")] = None
    # Whether the house has stood for ten years or so, and settled on its sides as they are.
    settled: Annotated[bool, rules.flag()] = True
    poured: Annotated[tuple[int, int] | None, year_month()] = None  # its slab; year and month

    @model_validator(mode="after")
    def _relations(self) -> "Site":
        if not self.settled and self.poured is None:
            allowed = 'the month it was poured in where settled = false, such as "2021-05"'
            raise refusal("no month", allowed, "poured")
        if self.settled and self.poured is not None:
            raise refusal("settled = true beside it", "only with settled = false", "poured")
        return self


class Soil(Table):
    """The clay, for the simulator and for the limits of soil probes."""

    texture: Annotated[str, rules.choice(*TEXTURES)] = "clay"
    # Saturated; None: the texture's published value. Published clays span 0.5 to 5 mm/h.
    conductivity: Annotated[float | None, q("mm/h", 0.05, 100, "2 mm/h", "0.08 in/h")] = None
    # Water by volume, measured in a laboratory; all three, instead of the texture's.
    saturation: Annotated[float | None, q("%", 10, 90, "45 %")] = None
    field_capacity: Annotated[float | None, q("%", 2, 80, "36 %")] = None  # at 33 kPa
    wilting_point: Annotated[float | None, q("%", 0.5, 60, "22 %")] = None  # at 1500 kPa
    # Far down, below what seasons change, by a soil report; pF. None: as the climate has it.
    deep_suction: Annotated[float | None, suction(10, 3000, "250 kPa", "36 psi")] = None

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


class Supply(Table):
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


class Bucket(Table):
    """A bucket test: all that the whole hose gave, laid into a tub, in some time."""

    litres: Annotated[float, q("L", 0.05, 2000, "12 L", "3 gal")]
    time: Annotated[float, q("min", 0.1, 600, "10 min", bare=False)]


class Hose(Table):
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
            raise refusal("no flow", "flow, or bucket = { litres, time }", "flow")
        if self.bucket is not None and self.flow is not None:
            raise refusal("flow beside it", "one of the two", "bucket")
        if self.bucket is not None and self.restrictor is not None:
            raise refusal("a bucket test beside it", "none: the test has it in it", "restrictor")
        return self


class Zone(Table):
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
    # true: a capacitive one; "suction": a granular matrix sensor.
    probe: Annotated[Probe, rules.flag_or("suction")] = False
    # Percent by volume; None: from the soil's texture.
    wet_limit: Annotated[float | None, q("%", 2, 55, "35 %")] = None
    wet_release: Annotated[float | None, q("%", 2, 55, "34 %")] = None
    # The zone whose probe speaks for this one, too.
    sensor: Annotated[str | None, rules.text(NAME_BYTES)] = None
    ground: Ground | None = Field(default=None, description="a table, as `propose` writes it")

    @model_validator(mode="after")
    def _relations(self) -> "Zone":
        if self.soil is not None and self.soil.deep_suction is not None:
            raise refusal("deep_suction here", "only in [soil]", "soil", "deep_suction")
        if self.eaves and self.rain_exposure is not None:
            raise refusal("eaves beside it", "one of the two", "rain_exposure")
        for name in ("wet_limit", "wet_release"):
            value = getattr(self, name)
            if value is not None and not self.probe:
                raise refusal(f"{value:g}", "only with a probe", name)
        if self.sensor is not None and self.probe:
            found = f'"{self.sensor}" beside a probe'
            raise refusal(found, "only without one of its own", "sensor")
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
    def growth(self) -> Cover:
        """What grows there; of a cover that is a number nobody knows, so grass is taken."""
        if not isinstance(self.cover, str) or self.cover == "lawn":
            return "grass"
        return "shrubs" if self.cover.startswith("planted") else "bare"

    @property
    def exposure(self) -> float:
        """Share of the rain that reaches the strip; a downspout adds its roof's."""
        if self.rain_exposure is not None:
            share = self.rain_exposure / 100
        else:
            share = 1.0 if self.eaves < 0.3 else 0.5 if self.eaves <= 0.6 else 0.2
        return share + self.downspout_roof / (self.length * self.width)
