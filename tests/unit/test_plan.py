"""The compiled plan: what is refused, where it says the mistake is, and that nothing is lost."""

import struct
from binascii import crc32
from collections.abc import Callable

import pytest

from controller import plan as plans
from controller.plan import Part, Plan, PlanError, unpack
from tests.core import plan, row


def full_plan() -> Plan:
    """A plan in which every part occurs."""
    return plan(
        zones=[{}, {"supply": 1, "probe": 1}],
        supplies=[{}, {"meter": 1}],
        rows=[row(3, 1, 3), row(6, 1, starts_min=(300, 900)), row(10, 1, 0)],
        bans=[(plans.BAN_HOURS, 600, 960), (plans.BAN_DATES, 12 * 32 + 20, 32 + 6)],
    )


PARTS: dict[str, tuple[type[Part], Callable[[Plan], Part]]] = {
    "hub": (plans.HubPart, lambda made: made.hub),
    "supply 1": (plans.SupplyPart, lambda made: made.supplies[1]),
    "zone 1": (plans.ZonePart, lambda made: made.zones[1]),
    "row 0": (plans.RowPart, lambda made: made.rows[0]),
    "ban 1": (plans.BanPart, lambda made: made.bans[1]),
}
LEAST = {"b": -(2**7), "B": 0, "H": 0, "i": -(2**31), "I": 0}
MOST = {"b": 2**7 - 1, "B": 2**8 - 1, "H": 2**16 - 1, "i": 2**31 - 1, "I": 2**32 - 1}
FIELDS = [
    (where, name, code, least, most)
    for where, (kind, _) in PARTS.items()
    for name, code, least, most in kind.FIELDS
]


def change(part: Part, name: str, value: object) -> Part:
    """Set a field, whatever its kind."""
    setattr(part, name, value)
    return part


def forced(made: Plan) -> bytes:
    """Pack a plan without its own check, as a broken compiler would."""
    made.check = lambda: None  # type: ignore[method-assign]
    return made.pack()


def refusal(made: Plan) -> str:
    """Why a plan is refused: in the same words when packed and when unpacked."""
    with pytest.raises(PlanError) as packing:
        made.pack()
    with pytest.raises(PlanError) as unpacking:
        unpack(forced(made))
    assert packing.value.where == unpacking.value.where == str(packing.value)
    return packing.value.where


@pytest.mark.parametrize(("where", "name", "code", "least", "most"), FIELDS)
def test_a_field_out_of_range_is_refused_by_name(
    where: str, name: str, code: str, least: int, most: int
) -> None:
    for value in (least - 1, most + 1):
        made = full_plan()
        setattr(PARTS[where][1](made), name, value)
        with pytest.raises(PlanError) as refused:
            made.pack()
        assert refused.value.where == f"{where}.{name} {value} not in {least}..{most}"
        if LEAST[code] <= value <= MOST[code]:
            with pytest.raises(PlanError) as refused:
                unpack(forced(made))
            assert refused.value.where == f"{where}.{name} {value} not in {least}..{most}"


@pytest.mark.parametrize(("where", "name", "code", "least", "most"), FIELDS)
def test_a_range_fits_its_field(where: str, name: str, code: str, least: int, most: int) -> None:
    """MicroPython's struct truncates in silence, so no allowed value may be too long."""
    assert LEAST[code] <= least <= most <= MOST[code], (where, name)


def test_names_of_fields_are_unique() -> None:
    for kind, _ in PARTS.values():
        names = [field[0] for field in kind.FIELDS]
        assert len(set(names)) == len(names)


def test_round_trip() -> None:
    made = full_plan()
    made.zones[0].name = "north bed"
    data = made.pack()
    read = unpack(data)
    assert read.crc == made.crc == crc32(data[:-4])
    assert read.pack() == data
    for _, part_of in PARTS.values():
        assert part_of(read).values() == part_of(made).values()
    assert [zone.name for zone in read.zones] == ["north bed", "zone 1"]
    assert [one.starts_min for one in read.rows] == [(), (300, 900), ()]


def test_every_flipped_byte_is_refused() -> None:
    data = full_plan().pack()
    for place in range(len(data)):
        for flip in (0x01, 0x80, 0xFF):
            spoilt = bytearray(data)
            spoilt[place] ^= flip
            with pytest.raises(PlanError):
                unpack(bytes(spoilt))


def test_every_truncation_and_extension_is_refused() -> None:
    data = full_plan().pack()
    for length in range(len(data)):
        with pytest.raises(PlanError):
            unpack(data[:length])
    for more in (b"\0", b"\0\0\0\0", data):
        with pytest.raises(PlanError):
            unpack(data + more)


def sealed(body: bytes) -> bytes:
    return body + struct.pack("<I", crc32(body))


def test_a_good_crc_over_a_wrong_body_is_refused_too() -> None:
    body = full_plan().pack()[:-4]
    for cut in range(7, len(body)):
        with pytest.raises(PlanError):
            unpack(sealed(body[:cut]))
    cases = {
        sealed(body + b"\0"): "too long",
        sealed(b"Xp" + body[2:]): "not a plan",
        sealed(body[:2] + b"\2" + body[3:]): "version 2, not 1",
        body[:-1] + b"?" + struct.pack("<I", 0): "crc does not match",
        b"": "too short",
        sealed(body[:-1]): "too short",
    }
    for data, where in cases.items():
        with pytest.raises(PlanError) as refused:
            unpack(data)
        assert refused.value.where == where


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
            lambda p: change(p.zones[1], "dry_ppt", 340),
            "zone 1 needs dry_ppt < wet_off_ppt <= wet_ppt",
        ),
        (
            lambda p: change(p.zones[1], "wet_off_ppt", 351),
            "zone 1 needs dry_ppt < wet_off_ppt <= wet_ppt",
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
    with pytest.raises(PlanError, match=r"zone 1\.name"):
        made.pack()


def test_relations_that_do_not_matter_are_not_asked() -> None:
    made = full_plan()
    change(made.hub, "frost", 0)
    change(made.hub, "frost_off_mc", made.hub.frost_on_mc)
    change(made.zones[0], "dry_ppt", 999)  # it has no probe
    change(made.supplies[0], "flow_ml_min", 0)  # not known
    change(made.rows[2], "run_s", 0)  # closed
    change(made.rows[2], "length_min", 0)
    assert unpack(made.pack()).hub.frost_off_mc == 2000


def test_a_window_into_a_closed_day_may_be_long() -> None:
    """Cycles past midnight are only in the way of a next day that has some."""
    made = plan(rows=[row(6, 1, 3, start_min=1380, length_min=1440), row(6, 2, 0)])
    assert made.rows[0].start_min_of(2) == 1380 + 960
    with pytest.raises(PlanError):
        plan(rows=[row(6, 1, 3, start_min=1380, length_min=1440), row(6, 3, 3, start_min=0)])


def test_starts_and_ends() -> None:
    """Cycle k of n starts at the window's start + k/n of its length; explicit starts as written.

    A run held back may wait until the window ends, or six hours after a start as written.
    """
    spread = row(5, 1, 4, start_min=1320, length_min=600)
    assert [spread.start_min_of(k) for k in range(4)] == [1320, 1470, 1620, 1770]
    assert [spread.end_min_of(k) for k in range(4)] == [1920] * 4
    listed = row(5, 1, starts_min=(60, 700, 1439))
    assert [listed.start_min_of(k) for k in range(3)] == [60, 700, 1439]
    assert [listed.end_min_of(k) for k in range(3)] == [420, 1060, 1799]
