"""What is refused of a plan before it is packed, and where it says the mistake is."""

from collections.abc import Callable

import pytest

from evenclay.controller.limits import RUN_MAX_S, SUPPLIES_MAX
from evenclay.controller.plan import Part, Plan, PlanError
from evenclay.tools.property.plan_ranges import CAP_MAX_S, CYCLES_MAX, check_plan
from tests.controller.test_plan import FIELDS, PARTS, full_plan
from tests.core import plan, row


def change(part: Part, name: str, value: object) -> Part:
    """Set a field, whatever its kind."""
    setattr(part, name, value)
    return part


def reckons(made: Plan, name: str, value: int) -> Part:
    """Let a plan reckon, and set a field of its second zone."""
    change(made.hub, "estimate", 1)
    return change(made.zones[1], name, value)


def refusal(made: Plan) -> str:
    """Why a plan is refused."""
    with pytest.raises(PlanError) as refused:
        check_plan(made)
    return str(refused.value)


@pytest.mark.parametrize(("where", "name", "code", "least", "most"), FIELDS)
def test_a_field_out_of_range_is_refused_by_name(
    where: str, name: str, code: str, least: int, most: int
) -> None:
    for value in (least - 1, most + 1):
        made = full_plan()
        setattr(PARTS[where][1](made), name, value)
        assert refusal(made) == f"{where}.{name} {value} not in {least}..{most}"


def test_the_ranges_are_the_bounds() -> None:
    most = {(where, name): high for where, name, _, _, high in FIELDS}
    assert most["zone 1", "supply"] == SUPPLIES_MAX - 1
    assert most["zone 1", "cap_s"] == CAP_MAX_S
    assert most["zone 1", "longest_s"] == most["row 0", "run_s"] == RUN_MAX_S
    assert most["row 0", "cycles"] == CYCLES_MAX
    assert most["hub", "open_max"] == SUPPLIES_MAX


@pytest.mark.parametrize(
    ("spoil", "where"),
    [
        (lambda p: p.supplies.clear(), "0 supplies, not 1..4"),
        (lambda p: p.supplies.extend(p.supplies * 2), "6 supplies, not 1..4"),
        (lambda p: p.zones.clear(), "0 zones, not 1..8"),
        (lambda p: p.zones.extend(p.zones * 4), "10 zones, not 1..8"),
        (lambda p: p.rows.clear(), "0 rows, not 1..24"),
        (lambda p: p.rows.extend(p.rows * 8), "27 rows, not 1..24"),
        (lambda p: p.bans.extend(p.bans * 4), "10 bans, not 0..8"),
        (lambda p: change(p.zones[1], "supply", 2), "zone 1.supply names no supply"),
        (lambda p: change(p.zones[1], "tag", 1), "zone 1.tag stands twice"),
        (
            lambda p: change(p.supplies[1], "flow_ml_min", 2999),
            "zone 1.flow_ml_min is more than its supply gives",
        ),
        (
            lambda p: change(p.supplies[1], "travel_s", p.supplies[1].gap_s + 1),
            "supply 1.gap_s is less than travel_s",
        ),
        (lambda p: change(p.zones[1], "wet_off_ppt", 351), "zone 1.wet_off_ppt is above wet_ppt"),
        (lambda p: change(p.zones[0], "sensor", 1), "zone 0.sensor names no zone with a probe"),
        (lambda p: change(p.zones[0], "sensor", 3), "zone 0.sensor names no zone with a probe"),
        (lambda p: reckons(p, "hold_um", 0), "zone 1 needs hold_um and rate_um_h"),
        (lambda p: reckons(p, "rate_um_h", 0), "zone 1 needs hold_um and rate_um_h"),
        (lambda p: reckons(p, "end_um", 1), "zone 1.end_um is not above freely_um"),
        (lambda p: reckons(p, "class3_um", 0), "zone 1 has classes that do not become wetter"),
        (
            lambda p: (reckons(p, "probe", 1), change(p.hub, "yard_hold_um", 0)),
            "hub needs yard_hold_um, and yard_end_um above yard_freely_um",
        ),
        (
            lambda p: change(p.hub, "sun_um", (1,) * 23 + (20001,)),
            "hub.sun_um 20001 not in 0..20000",
        ),
        (
            lambda p: change(p.hub, "frost_off_mc", 2000),
            "hub.frost_off_mc is not above frost_on_mc",
        ),
        (
            lambda p: (change(p.hub, "battery", 1), change(p.hub, "battery_open_mv", 6499)),
            "hub.battery_open_mv is below battery_reserve_mv",
        ),
        (lambda p: change(p.rows[0], "day", 32), "row 0.day 32 not in 1..31"),
        (
            lambda p: (change(p.rows[0], "month", 2), change(p.rows[0], "day", 30)),
            "row 0.day is not in its month",
        ),
        (lambda p: change(p.rows[1], "cycles", 3), "row 1.cycles is not the count of its starts"),
        (
            lambda p: change(p.rows[1], "starts_min", (300, 300)),
            "row 1.starts_min do not ascend within a day",
        ),
        (
            lambda p: change(p.rows[1], "starts_min", (300, 1440)),
            "row 1.starts_min do not ascend within a day",
        ),
        (
            lambda p: change(p.rows[0], "length_min", 2),
            "row 0.length_min is too short for its cycles",
        ),
        (lambda p: change(p.rows[0], "run_s", 0), "row 0.run_s is 0 with cycles to run"),
        (
            lambda p: (change(p.rows[1], "month", 3), change(p.rows[1], "day", 1)),
            "row 1 does not come after the one before",
        ),
        (
            lambda p: p.rows.reverse(),
            "row 1 does not come after the one before",
        ),
        (
            lambda p: (
                change(p.rows[0], "start_min", 1400),
                change(p.rows[0], "length_min", 1440),
            ),
            "row 0 has cycles after the next day's first",
        ),
    ],
)
def test_a_relation_that_does_not_hold(spoil: Callable[[Plan], object], where: str) -> None:
    made = full_plan()
    spoil(made)
    assert refusal(made) == where


@pytest.mark.parametrize("name", ["a\n", "\x7f", "tab\t"])
def test_a_name_that_is_not_plain(name: str) -> None:
    made = full_plan()
    made.zones[1].name = name
    assert refusal(made) == "zone 1.name is not plain ASCII of 12 letters"


@pytest.mark.parametrize("name", ["thirteen char", "süd", "床"])
def test_a_name_that_a_plan_cannot_hold(name: str) -> None:
    made = full_plan()
    made.zones[1].name = name
    assert refusal(made).startswith("zone 1.name")


def test_relations_that_do_not_matter_are_not_asked() -> None:
    made = full_plan()
    change(made.hub, "frost", 0)
    change(made.hub, "frost_off_mc", made.hub.frost_on_mc)
    change(made.zones[0], "wet_off_ppt", 999)  # it has no probe
    change(made.hub, "estimate", 0)
    change(made.zones[0], "hold_um", 0)  # nothing is reckoned
    change(made.supplies[0], "flow_ml_min", 0)  # not known
    change(made.rows[2], "run_s", 0)  # closed
    change(made.rows[2], "length_min", 0)
    check_plan(made)


def test_a_window_into_a_closed_day_may_be_long() -> None:
    """Cycles past midnight are only in the way of a next day that has some."""
    made = plan(rows=[row(6, 1, 3, start_min=1380, length_min=1440), row(6, 2, 0)])
    assert made.rows[0].start_min_of(2) == 1380 + 960
    check_plan(made)
    made = plan(rows=[row(6, 1, 3, start_min=1380, length_min=1440), row(6, 3, 3, start_min=0)])
    assert refusal(made) == "row 0 has cycles after the next day's first"
