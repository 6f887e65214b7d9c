"""What a plan must be to be packed: every field in its range, and fields that fit each other.

Runs on MicroPython too, where tests draw plans at random.
"""

from evenclay.controller import TYPE_CHECKING
from evenclay.controller.civil import date_of, day_of
from evenclay.controller.limits import RUN_MAX_S, SUPPLIES_MAX, ZONES_MAX
from evenclay.controller.plan import (
    BAN_DATES,
    BAN_HOURS,
    CONTACT,
    EVEN_DATES,
    BanPart,
    HubPart,
    Part,
    Plan,
    PlanError,
    RowPart,
    SupplyPart,
    ZonePart,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

NAME_BYTES = int(ZonePart.TAIL[:-1])  # what a plan has room for
CYCLES_MAX = 24  # a day: one an hour; a cycle needs minutes, and the clay its rest
CAP_MAX_S = 43200  # half a day: more is a broken plan, not a dry garden
HOLD_MOST_UM = 300000  # water a pF, of a metre of any soil
LACK_MOST_UM = 1200000  # above what any soil could lack: such a store never gives less
SUN_MOST_UM = 20000  # above any latitude's
# Least and most of each field, in the order of the plan.
RANGES: "dict[type[Part], dict[str, tuple[int, int]]]" = {
    HubPart: {
        "std_s": (-86400, 86400),
        "dst_s": (-86400, 86400),
        "dst": (0, 1),
        "on_month": (1, 12),
        "on_week": (1, 5),
        "on_weekday": (0, 6),
        "on_s": (-604800, 604800),
        "off_month": (1, 12),
        "off_week": (1, 5),
        "off_weekday": (0, 6),
        "off_s": (-604800, 604800),
        "open_max": (1, SUPPLIES_MAX),
        "poll_s": (60, 10800),
        "watch_s": (10, 600),
        "frost": (0, 1),
        "frost_on_mc": (-20000, 15000),
        "frost_off_mc": (-20000, 20000),
        "frost_hold_s": (0, 43200),
        "rain_kind": (0, CONTACT),
        "rain_skip_um": (0, 20000),
        "dry_after_s": (0, 864000),
        "weekdays": (0, 127),
        "dates": (0, EVEN_DATES),
        "battery": (0, 1),
        "battery_open_mv": (0, 60000),
        "battery_reserve_mv": (0, 60000),
        "estimate": (0, 1),
        "dose_um": (500, 20000),
        "opening_um": (1000, 20000),
        "yard_top_um": (0, 60000),
        "yard_top_ppt": (0, 1000),
        "yard_freely_um": (0, LACK_MOST_UM),
        "yard_end_um": (0, LACK_MOST_UM),
        "yard_demand_ppt": (0, 5000),
        "yard_hold_um": (0, HOLD_MOST_UM),
        "yard_lack_um": (0, LACK_MOST_UM),
        "sample_gain_pct": (0, 100),
        "sensor_gain_pct": (0, 100),
        "learn_ppt": (0, 255),
        "whole_mpf": (10, 2000),
    },
    SupplyPart: {
        "flow_ml_min": (0, 200000),
        "gap_s": (0, 3600),
        "travel_s": (0, 120),
        "meter": (0, 1),
        "master": (0, 1),
    },
    ZonePart: {
        "tag": (1, 65535),
        "supply": (0, SUPPLIES_MAX - 1),
        "share_pct": (0, 300),
        "rest_s": (0, 65535),
        "cap_s": (60, CAP_MAX_S),
        "longest_s": (60, RUN_MAX_S),
        "flow_ml_min": (0, 65535),
        "rate_um_h": (0, 1000000),
        "exposure_pct": (0, 5000),
        "held": (0, 1),
        "probe": (0, 1),
        "wet_ppt": (0, 1000),
        "wet_off_ppt": (0, 1000),
        "demand_ppt": (0, 5000),
        "top_um": (0, 60000),
        "top_ppt": (0, 1000),
        "freely_um": (0, LACK_MOST_UM),
        "end_um": (0, LACK_MOST_UM),
        "beside_ppm": (0, 65535),
        "hold_um": (0, HOLD_MOST_UM),
        "begin_um": (0, LACK_MOST_UM),
        "target_um": (0, LACK_MOST_UM),
        "sensor": (0, ZONES_MAX),
        "full_ppt": (1, 1000),
        "per_pf_ppt": (1, 1000),
        "error_mpf": (0, 3000),
        "class1_um": (0, LACK_MOST_UM),
        "class2_um": (0, LACK_MOST_UM),
        "class3_um": (0, LACK_MOST_UM),
        "class4_um": (0, LACK_MOST_UM),
    },
    RowPart: {
        "month": (1, 12),
        "day": (1, 31),
        "cycles": (0, CYCLES_MAX),
        "run_s": (0, RUN_MAX_S),
        "run_ml": (0, 2000000),
        "demand_um": (0, 60000),
        "rain_um": (0, 60000),
        "start_min": (0, 1439),
        "length_min": (0, 1440),
    },
    BanPart: {
        "kind": (BAN_HOURS, BAN_DATES),
        "first": (0, 1440),
        "last": (0, 1440),
    },
}


def fields(kind: "type[Part]") -> "list[tuple[str, str, int, int]]":
    """Name, `struct` code, least and most of each field of a kind of part."""
    words = kind.FIELDS.split()
    table = []
    for name, code in zip(words[::2], words[1::2]):  # noqa: B905 MicroPython has no strict
        least, most = RANGES[kind][name]
        table.append((name, code, least, most))
    return table


def check_plan(plan: Plan) -> None:
    """Raise PlanError unless every field and every relation between fields holds."""
    _check_count("supplies", len(plan.supplies), 1, SUPPLIES_MAX)
    _check_count("zones", len(plan.zones), 1, ZONES_MAX)
    _check_count("rows", len(plan.rows), 1, RowPart.MOST)
    _check_count("bans", len(plan.bans), 0, BanPart.MOST)
    _check_part(plan.hub, "hub")
    _check_parts("supply", plan.supplies)
    _check_parts("zone", plan.zones)
    _check_parts("row", plan.rows)
    _check_parts("ban", plan.bans)
    for index, row in enumerate(plan.rows):
        _check_row(row, f"row {index}")
    _check_hub(plan.hub)
    for index, supply in enumerate(plan.supplies):
        if supply.gap_s < supply.travel_s:
            raise PlanError(f"supply {index}.gap_s is less than travel_s")
    _check_zones(plan)
    _check_rows(plan)


def _check_parts(what: str, parts: "Sequence[Part]") -> None:
    for index, part in enumerate(parts):
        _check_part(part, f"{what} {index}")


def _check_part(part: Part, where: str) -> None:
    for name, (least, most) in RANGES[type(part)].items():
        value = getattr(part, name)
        if not least <= value <= most:
            raise PlanError(f"{where}.{name} {value} not in {least}..{most}")


def _check_zones(plan: Plan) -> None:
    tags = []
    for index, zone in enumerate(plan.zones):
        where = f"zone {index}"
        if zone.supply >= len(plan.supplies):
            raise PlanError(where + ".supply names no supply")
        if zone.tag in tags:
            raise PlanError(where + ".tag stands twice")
        tags.append(zone.tag)
        if not _is_plain(zone.name):
            raise PlanError(f"{where}.name is not plain ASCII of {NAME_BYTES} letters")
        flow_ml_min = plan.supplies[zone.supply].flow_ml_min
        if flow_ml_min and zone.flow_ml_min > flow_ml_min:
            raise PlanError(where + ".flow_ml_min is more than its supply gives")
        if zone.probe and zone.wet_off_ppt > zone.wet_ppt:
            raise PlanError(where + ".wet_off_ppt is above wet_ppt")
        if zone.sensor and not (
            zone.sensor <= len(plan.zones) and plan.zones[zone.sensor - 1].probe
        ):
            raise PlanError(where + ".sensor names no zone with a probe")
        if plan.hub.estimate:
            _check_ground(zone, where)


def _check_ground(zone: ZonePart, where: str) -> None:
    """What the hub needs of a zone's ground to reckon with."""
    if not zone.hold_um or not zone.rate_um_h:
        raise PlanError(where + " needs hold_um and rate_um_h")
    if zone.end_um <= zone.freely_um:
        raise PlanError(where + ".end_um is not above freely_um")
    if not zone.class1_um >= zone.class2_um >= zone.class3_um >= zone.class4_um:
        raise PlanError(where + " has classes that do not become wetter")


def _check_rows(plan: Plan) -> None:
    """Rows ascend, and no day's cycles run into the next day's, whichever rows they are of."""
    count = len(plan.rows)
    for index, row in enumerate(plan.rows):
        following = plan.rows[(index + 1) % count]
        if index + 1 < count and (row.month, row.day) >= (following.month, following.day):
            raise PlanError(f"row {index + 1} does not come after the one before")
        for other in (row, following):
            if (
                row.cycles
                and other.cycles
                and row.start_min_of(row.cycles - 1) >= 1440 + other.start_min_of(0)
            ):
                raise PlanError(f"row {index} has cycles after the next day's first")


def _is_plain(name: str) -> bool:
    return len(name) <= NAME_BYTES and all(32 <= ord(letter) < 127 for letter in name)


def _check_count(what: str, count: int, least: int, most: int) -> None:
    if not least <= count <= most:
        raise PlanError(f"{count} {what}, not {least}..{most}")


def _check_hub(hub: HubPart) -> None:
    if hub.frost and hub.frost_off_mc <= hub.frost_on_mc:
        raise PlanError("hub.frost_off_mc is not above frost_on_mc")
    if hub.battery and hub.battery_open_mv < hub.battery_reserve_mv:
        raise PlanError("hub.battery_open_mv is below battery_reserve_mv")
    for value in hub.sun_um:
        if not 0 <= value <= SUN_MOST_UM:
            raise PlanError(f"hub.sun_um {value} not in 0..{SUN_MOST_UM}")
    if hub.estimate and not (hub.yard_hold_um and hub.yard_end_um > hub.yard_freely_um):
        raise PlanError("hub needs yard_hold_um, and yard_end_um above yard_freely_um")


def _check_row(row: RowPart, where: str) -> None:
    if date_of(day_of(2000, row.month, row.day))[2] != row.day:
        raise PlanError(where + ".day is not in its month")
    if row.starts_min:
        if len(row.starts_min) != row.cycles:
            raise PlanError(where + ".cycles is not the count of its starts")
        before = -1
        for minute in row.starts_min:
            if not before < minute < 1440:
                raise PlanError(where + ".starts_min do not ascend within a day")
            before = minute
    elif row.cycles and row.length_min < row.cycles:
        raise PlanError(where + ".length_min is too short for its cycles")
    if row.cycles and not row.run_s:
        raise PlanError(where + ".run_s is 0 with cycles to run")
