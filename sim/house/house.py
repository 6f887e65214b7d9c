"""What the simulator knows of a house: the plan the hub obeys, and the world it does not see."""

from dataclasses import dataclass, field
from typing import Literal, NamedTuple

from evenclay.controller import events
from evenclay.controller.plan import ANY_DATE, NO_RAIN_SENSOR, Plan, ZonePart
from evenclay.sim.ground.plausible import Cover
from evenclay.sim.ground.textures import TEXTURES, Texture

EVERY_WEEKDAY = 0b1111111  # of a plan without local rules for days
Probe = bool | Literal["suction"]  # True: a capacitive one
Check = Literal["blade", "sample", "both"]


class Report(NamedTuple):
    """What an owner reports of a strip. blade: DRY, FIRM or WET; sample: its class, 0 (driest) to
    4; None: not looked at with it."""

    blade: int | None = None
    sample: int | None = None


@dataclass(frozen=True)
class Strip:
    """The ground one zone waters, and the hose on it.

    `flow_l_h` is what the whole hose gives on its supply; over `length_m * width_m` it is the
    application rate. `evenness`: its least emission over its most. `hose_l`: water it holds;
    `drain_l_h`: what soaks out of it once shut. `slab_m`: from the strip's middle to the edge of
    the slab, None where there is none. `hose_years`: how long the hose has clogged when a replay
    begins; None: it never does. `exposure` is the share of rain that reaches the strip (a
    downspout that ends in it makes it far more than 1). `coefficient` scales reference
    evapotranspiration. `side`: of the house, on which it lies. `cover`: what grows there.
    `probe`: what lies in it to be read, if anything. `flow_measured`: whether the hose's flow is
    what its owner measured, and not what is printed on it.
    """

    name: str
    supply: int
    length_m: float
    width_m: float
    flow_l_h: float
    coefficient: float
    exposure: float
    texture: Texture = TEXTURES["clay"]
    probe: Probe = False
    evenness: float = 1.0
    hose_l: float = 0.0
    drain_l_h: float = 0.0
    slab_m: float | None = 0.4
    hose_years: float | None = None
    side: str = ""
    cover: Cover = "bare"
    flow_measured: bool = False

    @property
    def area_m2(self) -> float:
        """Wetted area in square metres."""
        return self.length_m * self.width_m

    @property
    def rate_mm_h(self) -> float:
        """Depth over the strip an hour while the valve is open."""
        return self.flow_l_h / self.area_m2


@dataclass(frozen=True)
class Owner:
    """The simulated owner's habits: a check by hand once a week, in the open season.

    misses_pct: of the weeks, in which he does not check. misjudges_pct: of his readings, which come
    out one step, or one class, beside what he felt. check: what he checks with.
    """

    checks: bool = True
    weekday: int = 5  # Monday = 0
    hour: int = 18  # local, or before the day's first cycle: longest after the last one
    misses_pct: float = 0.0
    misjudges_pct: float = 0.0
    check: Check = "blade"


@dataclass(frozen=True)
class House:
    """A property as the simulator takes it."""

    name: str
    timezone: str
    latitude_deg: float
    units: str  # "metric" or "us", for reports only
    plan: Plan
    strips: tuple[Strip, ...]
    supplies: tuple[str, ...]  # names
    water_price_m3: float | None = None
    currency: str = ""
    owner: Owner = field(default_factory=Owner)
    footing_m: float | None = None  # None: not known
    deep_pf: float | None = None  # far down, by a soil report; None: as the climate has it
    poured_month: int | None = None  # 1..12, of a house too young to have settled; None: settled
    # By what the hub reckons: how much wetter than its level each strip is kept, and at what; None:
    # it does not reckon.
    relief_pf: float | None = None
    target_pf: tuple[float, ...] | None = None
    cautions: tuple[str, ...] = ()  # what `evenclay check` warned of, for the report
    verdict: str | None = None  # on the plan, judged on many grounds: "water", "leave", or nothing
    drawing: str = ""  # the house from above, as SVG for the report; '' for none

    @property
    def leaves(self) -> bool:
        """Whether the plan was judged, and the verdict was to leave the house as it is."""
        return self.verdict == "leave"


# Reasons to hold water back that a plan needs a sensor for, or a rule.
WATCHED = (events.RAIN, events.WET_SOIL, events.FROST, events.QUIET, events.LOW_BATTERY)


def can_hold(plan: Plan) -> tuple[int, ...]:
    """Those of `WATCHED` for which a plan has the sensor, or the rule."""
    hub = plan.hub
    has = (
        hub.rain_kind != NO_RAIN_SENSOR,
        any(zone.probe for zone in plan.zones),
        hub.frost != 0,
        bool(plan.bans) or hub.weekdays != EVERY_WEEKDAY or hub.dates != ANY_DATE,
        hub.battery != 0,
    )
    return tuple([reason for reason, can in zip(WATCHED, has, strict=True) if can])


def run_s(plan: Plan, index: int, zone: ZonePart) -> float:
    """Seconds that a zone's run is expected to take in a season, at most where the hub reckons."""
    row = plan.rows[index]
    if row.run_ml:
        return row.run_ml * 60 / max(1, zone.flow_ml_min) * zone.share_pct / 100
    return row.run_s * zone.share_pct / 100
