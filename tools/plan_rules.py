"""What a plan must be to be packed: every field in its range, and fields that fit each other.

Runs on MicroPython too, where tests draw plans at random.
"""

from controller._const import TYPE_CHECKING
from controller.civil import month_days
from controller.limits import BANS_MAX, NAME_BYTES, ROWS_MAX, SUPPLIES_MAX, ZONES_MAX
from controller.plan import HubPart, Part, Plan, PlanError, RowPart, fields

if TYPE_CHECKING:
    from collections.abc import Sequence


def check(plan: Plan) -> None:
    """Raise PlanError unless every field and every relation between fields holds."""
    _check_count("supplies", len(plan.supplies), 1, SUPPLIES_MAX)
    _check_count("zones", len(plan.zones), 1, ZONES_MAX)
    _check_count("rows", len(plan.rows), 1, ROWS_MAX)
    _check_count("bans", len(plan.bans), 0, BANS_MAX)
    _check_part(plan.hub, "hub")
    _check_parts("supply", plan.supplies)
    _check_parts("zone", plan.zones)
    _check_parts("row", plan.rows)
    _check_parts("ban", plan.bans)
    for index, row in enumerate(plan.rows):
        _check_row(row, f"row {index}")
    _check_hub(plan.hub)
    _check_zones(plan)
    _check_rows(plan)


def _check_parts(what: str, parts: "Sequence[Part]") -> None:
    for index, part in enumerate(parts):
        _check_part(part, f"{what} {index}")


def _check_part(part: Part, where: str) -> None:
    for name, _, least, most in fields(type(part)):
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
        if zone.probe and not zone.dry_ppt < zone.wet_off_ppt <= zone.wet_ppt:
            raise PlanError(where + " needs dry_ppt < wet_off_ppt <= wet_ppt")


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


def _check_row(row: RowPart, where: str) -> None:
    if row.day > month_days(2000, row.month):
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
