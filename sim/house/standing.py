"""A house that stands on one plausible ground, as devices and owner meet it.

What nobody knows is drawn with the ground: the truth of one replay. What the hub and its plan
believe is the property's own.
"""

from dataclasses import dataclass, replace

import numpy as np
from mypy_extensions import mypyc_attr
from numpy.random import Generator

from evenclay.sim import section
from evenclay.sim.calendar import HOUR_S, HOURS
from evenclay.sim.ground.plausible import PlausibleGround, PlausibleZone, Side
from evenclay.sim.house import hands
from evenclay.sim.house.house import Check, House, Report, Strip
from evenclay.sim.house.sensors import GRANULAR_MATRIX, WHOLE_PPT, CapacitiveProbe
from evenclay.sim.house.site import PER_LITRE, Ground
from evenclay.sim.section.layout import LAYOUT, STRIP
from evenclay.sim.section.section import Snapshot
from evenclay.sim.types import Floats
from evenclay.sim.weather.hourly import Hourly

PROBE_M = 0.5
AT_PROBE = LAYOUT.at(PROBE_M)
RELIEF_PF_USUAL = 0.4  # where a house names none; common practice, no source
M_PER_MM = 0.001


@dataclass(frozen=True)
class Standing:
    """A house on one ground, settled in a climate without watering, before its first hour.

    strips: with their hoses' true flow. start: the water of the settled section.
    """

    ground: PlausibleGround
    strips: tuple[Strip, ...]
    settled: section.Settled
    start: Snapshot

    @property
    def level_pf(self) -> Floats:
        """Level of each strip in this ground: its long-run mean pF at 0.3-1.0 m, unwatered."""
        return self.settled.level_pf


def sides_of(house: House) -> list[Side]:
    """What the property says of each zone, as plausible grounds are drawn around it."""
    return [
        Side(strip.coefficient, strip.exposure, strip.cover, strip.flow_measured)
        for strip in house.strips
    ]


def stand(house: House, ground: PlausibleGround, climate: Hourly, *, keep: bool = True) -> Standing:
    """Let a house settle on a ground, unwatered.

    climate: hours of a whole record, whole days, beginning where a life begins. keep: whether to
    look for it on disk, and leave it there.
    """
    strips = tuple(
        replace(strip, flow_l_h=strip.flow_l_h * zone.flow_factor)
        for strip, zone in zip(house.strips, ground.zones, strict=True)
    )
    zones = [zone_of(strip, zone) for strip, zone in zip(strips, ground.zones, strict=True)]
    settled = section.settled(
        clay_of(ground),
        zones,
        climate.rain_mm,
        climate.et0_mm,
        deep_pf=ground.deep_pf if house.deep_pf is None else house.deep_pf,
        keep=keep,
    )
    return Standing(ground, strips, settled, settled.section.snapshot())


def clay_of(ground: PlausibleGround) -> section.Ground:
    """The clay of a plausible ground, as a section takes it."""
    return section.Ground(
        alpha_cm2_s=ground.alpha_cm2_s,
        c_per_pf=ground.c_per_pf,
        matrix_mm_d=ground.matrix_mm_d,
        surface_mm_h=ground.surface_mm_h,
        crack_share=ground.crack_share,
        fissured_m=ground.fissured_m,
        footing_m=ground.footing_m,
        uptake_end_pf=ground.uptake_end_pf,
        air_later_mm_d05=ground.air_later_mm_d05,
    )


def zone_of(strip: Strip, zone: PlausibleZone) -> section.Zone:
    """One side of a house on a plausible ground, as a section takes it."""
    covers = {"bare": section.BARE, "grass": section.GRASS, "shrubs": section.SHRUBS}
    return section.Zone(
        coefficient=zone.coefficient,
        exposure=zone.exposure,
        cover=replace(covers[strip.cover], roots_m=zone.roots_m),
        width_m=strip.width_m,
        slab_m=strip.slab_m,
        yard_coefficient=zone.yard_coefficient,
        yard_cover=replace(section.GRASS, roots_m=zone.yard_roots_m),
        yard_reach_m=zone.yard_reach_m,
        texture=strip.texture,
    )


@mypyc_attr(allow_interpreted_subclasses=True)  # informed's is not compiled
class SectionGround(Ground):
    """The cross-sections of a house, from where it has settled on.

    standing: where it began. days: daily mean pF of each place, and the day's water, of the hours
    stepped so far. passed, seconds: water through each valve [ml/h times seconds] and its time,
    (hours, zones).
    """

    def __init__(self, standing: Standing, by_hour: Hourly, start_s: int) -> None:
        """by_hour: the hours to live, whole days. It ends the life before on the same ground."""
        super().__init__(standing.strips, start_s)
        self.standing = standing
        self._section = standing.settled.section
        self._section.put_back(standing.start)
        self._m_per_given = [M_PER_MM / (PER_LITRE * strip.area_m2) for strip in self.strips]
        self._lay_out(by_hour)

    def _lay_out(self, by_hour: Hourly) -> None:
        """Make room for hours that are to be lived next."""
        self._hours = self._section.hours(by_hour.rain_mm, by_hour.et0_mm)
        shape = self._hours.water_m.shape
        self.passed, self.seconds = np.zeros(shape), np.zeros(shape)
        self._given = np.zeros(shape)  # of that, what came out of the hose
        self.days = self._section.room(shape[0] // HOURS)
        self._lived = 0  # hours
        self._changes_h = self._section.changes(self._hours)
        self._same_h = 0  # the ground is at this hour as it was when last stepped
        self._vwc: list[float] | None = None  # as it is since
        # Flat views: Python writes single numbers through them faster than by arrays.
        written = (self.passed, self._given, self.seconds, self._hours.water_m, self._hours.water_s)
        self._flat = [array.data.cast("B").cast("d") for array in written]

    def go_on(self, by_hour: Hourly) -> None:
        """Let go of the hours so far, all of them stepped, and go on with the next ones."""
        assert self._lived == len(self.passed)
        self.start_s += HOUR_S * self._lived
        self._lay_out(by_hour)

    @property
    def mass_balance_error_mm(self) -> float:
        """Largest difference so far between water held and the books, over the strip."""
        return self._section.mass_balance_error_mm

    @property
    def lived_hours(self) -> int:
        """How many hours have been stepped."""
        return self._lived

    def litres(self) -> Floats:
        """Water given on each day, (days, zones)."""
        return np.asarray(by_day(self.passed) / PER_LITRE)

    def water(self, zone: int, flow_ml_h: int, from_s: int, to_s: int, kept_ml_h: int = 0) -> None:
        """Water a strip at a steady flow; hours not yet stepped only. kept: what fills the hose."""
        passed, given, seconds, water_m, water_s = self._flat
        count = len(self.strips)
        while from_s < to_s:
            hour, of_hour_s = divmod(from_s - self.start_s, HOUR_S)
            time_s = min(to_s - from_s, HOUR_S - of_hour_s)
            at = count * hour + zone
            # Whole numbers, exact in a float: the sum is the same however the time is cut.
            passed[at] += flow_ml_h * time_s
            given[at] += (flow_ml_h - kept_ml_h) * time_s
            seconds[at] += time_s
            water_m[at] = given[at] * self._m_per_given[zone]
            water_s[at] = seconds[at]
            self._same_h = min(self._same_h, hour)
            from_s += time_s

    def soak(self, zone: int, ml_h_s: int, at_s: int) -> None:
        """Let water that stood in a hose [ml/h times seconds] out in an hour not yet stepped."""
        hour = (at_s - self.start_s) // HOUR_S
        at, given = len(self.strips) * hour + zone, self._flat[1]
        given[at] += ml_h_s
        self._flat[3][at] = given[at] * self._m_per_given[zone]
        self._same_h = min(self._same_h, hour)

    def catch_up(self, to_s: int) -> None:
        """Step every whole hour that has passed, unless the ground is the same without."""
        last = (to_s - self.start_s) // HOUR_S
        if last <= self._same_h:
            return
        moving = self._section.go_on(self._hours, self._lived, last, self.days)
        self._lived, self._vwc = last, None
        self._same_h = last if moving else self._changes_h[last]

    def vwc(self) -> list[float]:
        """Water content at the probe's depth under each strip, at the last whole hour."""
        if self._vwc is None:
            self._vwc = self._section.content(STRIP, AT_PROBE).tolist()
        return self._vwc

    def strip_pf(self) -> list[float]:
        """Mean pF of each strip at 0.3-1.0 m, at the last whole hour."""
        return list(self._section.strip_pf().tolist())

    def sensor(
        self, zone: int, probe: CapacitiveProbe, earth_c: Floats, seed: int
    ) -> tuple[list[float], list[float]]:
        """What the sensor in a strip shows, with the lasting error that the ground has for it.

        A capacitive one shows content, which means on the plan's line what it means in the middle
        ground; a suction sensor what that line makes of the suction it shows.
        """
        texture, piece = self.strips[zone].texture, self.standing.ground.zones[zone]
        random = np.random.default_rng([seed, zone])
        suction_pf = self._section.clay(zone).pf(WHOLE_PPT / 1000.0)
        if self.strips[zone].probe == "suction":
            suction = replace(GRANULAR_MATRIX, error_pf=piece.suction_error_pf)
            added = suction.noise_ppt * random.normal(size=len(earth_c) + 1)
            return suction.curve_ppt(suction_pf, texture).tolist(), added.tolist()
        offset_ppt = probe.offset_ppt + 1000.0 * piece.content_error_m3_m3
        _, *draws = random.normal(size=3).tolist()  # its offset is the ground's
        mine = replace(probe, offset_ppt=offset_ppt).piece(draws)
        added = mine.adds_ppt(earth_c, random.normal(size=len(earth_c)))
        return mine.curve_ppt(suction_pf).tolist(), [*added.tolist(), mine.offset_ppt]

    def felt(self, check: Check, random: Generator) -> list[Report]:
        """What an owner's hands say of each strip, at the last whole hour."""
        textures = [strip.texture for strip in self.strips]
        return hands.felt(self._section, textures, check, random)


def by_day(hours: Floats) -> Floats:
    """Sums of days, (hours, ...) to (days, ...)."""
    return np.asarray(hours.reshape(-1, HOURS, *hours.shape[1:]).sum(axis=1))
