"""Informed: the property's own hub and hoses, told the truth. What could control win at most?

The hub, its supplies, gaps, rests, caps, windows, open seasons, lockouts and local rules are the
property's. Instead of reckoning, its rows give all that these allow, and a probe in each strip,
which never errs, holds back what is not needed: it shows wet ground on days that begin with the
strip's true mean at 0.3-1.0 m at or wetter than its target. The target is the ground's true level
less a relief.
"""

from itertools import pairwise

import numpy as np

from evenclay.controller.limits import DAY_S, RUN_MAX_S
from evenclay.controller.plan import (
    GAUGE,
    NO_RAIN_SENSOR,
    HubPart,
    Plan,
    RowPart,
    ZonePart,
)
from evenclay.sim.calendar import HOURS
from evenclay.sim.house.house import House
from evenclay.sim.house.sensors import CapacitiveProbe
from evenclay.sim.house.site import Sky
from evenclay.sim.house.standing import SectionGround, Standing
from evenclay.sim.judge.policies import NONE
from evenclay.sim.replay.life import Policy
from evenclay.sim.replay.lived import Lived, live
from evenclay.sim.types import Bools, Floats
from evenclay.sim.weather.hourly import Hourly

NAME = "informed"
RELIEFS_PF = (0.1, 0.2, 0.4, 0.6, 0.8)  # the best of these is taken in each ground
LITTLE_S = 60  # a run this much shorter than the time it has surely fits

# What the probes show, in ppt of water. A hub takes a probe for stuck that stays wet for twenty
# days without drying by 3 ppt, or that jumps by more than 150 ppt. So wet ground begins below such
# a jump and seems to dry by a little each fortnight; after a year and a half of wet days without a
# break one day is shown dry, and then it begins anew.
WET_PPT = 400
DRY_PPT = 395
WETTEST_PPT = 540
DRIES_PPT, DRIES_DAYS = 4, 15
WET_DAYS_MOST = DRIES_DAYS * ((WETTEST_PPT - WET_PPT) // DRIES_PPT)


def informed_plan(house: House) -> Plan:
    """The property's plan with rows at the most they may give, and probes alone to hold it back.

    A rain gauge goes, since it stands for what the probes now tell; a rain contact, frost, battery
    and local rules stay, and so do cycles, windows and closed seasons.
    """
    plan = house.plan
    rain_kind = NO_RAIN_SENSOR if plan.hub.rain_kind == GAUGE else plan.hub.rain_kind
    hub = HubPart(vars(plan.hub) | {"estimate": 0, "rain_kind": rain_kind})
    longest_s = max([zone.cap_s for zone in plan.zones if zone.share_pct], default=1)
    told = {"probe": 1, "sensor": NONE, "wet_ppt": WET_PPT, "wet_off_ppt": WET_PPT}
    zones = [
        ZonePart(vars(zone) | told | {"share_pct": _share_pct(zone, longest_s)})
        for zone in plan.zones
    ]
    most = Plan(hub, plan.supplies, zones, plan.rows, plan.bans)
    rows = [
        RowPart(vars(row) | {"run_ml": 0, "run_s": _run_s(most, row, longest_s)})
        for row in plan.rows
    ]
    return Plan(hub, plan.supplies, zones, rows, plan.bans)


def _share_pct(zone: ZonePart, longest_s: int) -> int:
    """A zone's share of the longest day: as much as its cap allows; none where it had none."""
    return 100 * zone.cap_s // longest_s if zone.share_pct else 0


def _run_s(plan: Plan, row: RowPart, longest_s: int) -> int:
    """Seconds of a row's runs at a share of 100 %: the day's most shared among its cycles.

    Never more than fits: all zones of a supply, or of all where fewer valves may be open than there
    are supplies, take turns in the time of a cycle, and each rests between two cycles.
    """
    if not row.cycles:
        return row.run_s
    starts_min = [row.start_min_of(cycle) for cycle in range(row.cycles)]
    apart_min = min(b - a for a, b in pairwise([*starts_min, starts_min[0] + 1440]))
    last_min = row.end_min_of(row.cycles - 1) - starts_min[-1]
    slot_s = 60 * min(apart_min, last_min) - LITTLE_S
    run_s = min(longest_s // row.cycles, RUN_MAX_S)
    together = plan.hub.open_max < len(plan.supplies)
    for number in range(1 if together else len(plan.supplies)):
        zones = [zone for zone in plan.zones if together or zone.supply == number]
        shares = sum(zone.share_pct for zone in zones)
        gaps_s = sum(plan.supplies[zone.supply].gap_s for zone in zones)
        if shares:
            run_s = min(run_s, 100 * (slot_s - gaps_s) // shares)
    for zone in plan.zones:
        if zone.share_pct:
            room_s = zone.longest_s
            if row.cycles > 1:
                room_s = min(room_s, 60 * apart_min - zone.rest_s - LITTLE_S)
            run_s = min(run_s, 100 * room_s // zone.share_pct)
    return max(run_s, 60)


class Shown:
    """What probes show, day after day, for strips that are wet enough or not."""

    def __init__(self, strips: int) -> None:
        self._wet_days = np.zeros(strips, np.int64)  # shown wet for so long

    def on_a_day(self, wet: Bools) -> list[float]:
        """Water content that each probe shows. wet: of each strip."""
        wet = wet & (self._wet_days < WET_DAYS_MOST)
        ppt = WETTEST_PPT - DRIES_PPT * (self._wet_days // DRIES_DAYS)
        self._wet_days = np.where(wet, self._wet_days + 1, 0)
        shown: list[float] = (np.where(wet, ppt, DRY_PPT) / 1000.0).tolist()
        return shown


class ToldGround(SectionGround):
    """Ground whose probes say whether its strips are wetter than their targets; told each day."""

    def __init__(
        self, standing: Standing, by_hour: Hourly, start_s: int, target_pf: Floats
    ) -> None:
        """target_pf: of each strip, (zones,)."""
        super().__init__(standing, by_hour, start_s)
        self._target_pf = np.array(target_pf)
        self._shown = Shown(len(self.strips))
        self._told_days = 0
        self._content: list[float] = []

    def catch_up(self, to_s: int) -> None:
        """Step every whole day that has passed."""
        super().catch_up(to_s - (to_s - self.start_s) % DAY_S)

    def sensor(
        self, zone: int, probe: CapacitiveProbe, earth_c: Floats, seed: int
    ) -> tuple[list[float], list[float]]:
        """A sensor that shows what there is."""
        return list(map(float, range(1001))), [0.0] * (len(earth_c) + 1)

    def vwc(self) -> list[float]:
        """What the probes are to show, as water content; the same until a day is over."""
        days = self.lived_hours // HOURS + 1
        if days != self._told_days:
            self._told_days = days
            self._content = self._shown.on_a_day(np.array(self.strip_pf()) <= self._target_pf)
        return self._content


def live_informed(
    house: House,
    standing: Standing,
    by_hour: Hourly,
    sky: Sky,
    target_pf: Floats,
    *,
    seed: int = 1,
) -> Lived[ToldGround]:
    """Let a house, with a probe in every strip, live under informed. target_pf: (zones,)."""
    ground = ToldGround(standing, by_hour, sky.start_s, target_pf)
    policy = Policy(NAME, informed_plan(house), None)
    return live(ground, policy, sky, seed=seed)
