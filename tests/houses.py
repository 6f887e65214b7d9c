"""A small house and plan for tests of the replay; every figure can be overridden."""

from typing import Any

import numpy as np

from evenclay.controller.plan import BanPart, HubPart, Plan, RowPart, SupplyPart, ZonePart
from evenclay.sim.house.house import House, Owner, Strip
from evenclay.sim.weather.hourly import Hourly
from tests import core

# As the tests of the core have it, but for a wider frost release and a deeper battery reserve.
HUB: dict[str, int] = core.HUB | {"frost_off_mc": 5000, "battery_reserve_mv": 6000}
UTC: dict[str, int] = {"std_s": 0, "dst_s": 0, "dst": 0}
SUPPLY: dict[str, int] = {
    "flow_ml_min": 0,
    "gap_s": 30,
    "travel_s": 0,
    "meter": 0,
    "master": 0,
}
ZONE: dict[str, int] = core.ZONE | {
    "tag": 1,
    "rest_s": 1800,
    "flow_ml_min": 0,
    "rate_um_h": 6667,
    "wet_ppt": 370,
    "wet_off_ppt": 360,
    "demand_ppt": 1000,
    "full_ppt": 460,  # as the plan's line of clay has it
    "per_pf_ppt": 86,
}
ROW: dict[str, int] = {
    "month": 1,
    "day": 1,
    "cycles": 2,
    "run_s": 900,
    "run_ml": 0,
    "demand_um": 4000,
    "rain_um": 1000,
    "start_min": 300,
    "length_min": 480,
}


def row(**values: Any) -> RowPart:
    """A season row; `starts_min` for explicit starts."""
    starts_min = values.pop("starts_min", ())
    return RowPart(ROW | values | {"starts_min": starts_min})


def make_house(
    *,
    zones: int = 2,
    hub: dict[str, int] | None = None,
    supplies: list[dict[str, int]] | None = None,
    zone: dict[str, int] | None = None,
    each_zone: list[dict[str, int]] | None = None,
    rows: list[RowPart] | None = None,
    bans: list[BanPart] | None = None,
    owner: Owner | None = None,
    strip: dict[str, Any] | None = None,
    timezone: str = "America/Chicago",
) -> House:
    """A house of equal zones, the first on the first supply, the next on the next, and so on."""
    given = supplies or [{}]
    parts = []
    for index in range(zones):
        own = each_zone[index] if each_zone else {}
        values: dict[str, Any] = (
            ZONE
            | {"name": f"z{index}", "tag": index + 1, "supply": index % len(given)}
            | (zone or {})
            | own
        )
        parts.append(ZonePart(values))
    plan = Plan(
        HubPart(HUB | {"sun_um": core.SUN_UM} | (hub or {})),
        [SupplyPart(SUPPLY | values) for values in given],
        parts,
        rows or [row()],
        bans or [],
    )
    common: dict[str, Any] = {
        "length_m": 20.0,
        "width_m": 0.6,
        "flow_l_h": 80.0,
        "coefficient": 0.6,
        "exposure": 1.0,
    }
    common |= strip or {}
    strips = [
        Strip(name=f"z{index}", supply=part.supply, probe=bool(part.probe), **common)
        for index, part in enumerate(parts)
    ]
    names = tuple(f"s{index}" for index in range(len(given)))
    owner = owner or Owner(checks=False)
    return House("test", timezone, 40.0, "metric", plan, tuple(strips), names, owner=owner)


def still_weather(days: int, *, rain_mm: float = 0.0, temp_c: float = 20.0) -> Hourly:
    """Hours of one rain [mm/h] and temperature, and no evaporation."""
    hours = 24 * days
    return Hourly(np.full(hours, rain_mm), np.full(hours, temp_c), np.zeros(hours))
