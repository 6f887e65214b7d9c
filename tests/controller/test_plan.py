"""The compiled plan: what is refused, where it says the mistake is, and that nothing is lost."""

import struct
from binascii import crc32
from collections.abc import Callable

import pytest

from evenclay.controller import plan as plans
from evenclay.controller.plan import Part, Plan, PlanError, unpack
from evenclay.tools.property.plan_ranges import fields
from tests.core import plan, row


def full_plan() -> Plan:
    """A plan in which every part occurs."""
    return plan(
        zones=[{}, {"supply": 1, "probe": 1}],
        supplies=[{}, {"meter": 1}],
        rows=[row(3, 1, 3), row(6, 1, starts_min=(300, 900)), row(10, 1, 0)],
        bans=[(plans.BAN_HOURS, 600, 960), (plans.BAN_DATES, 12 * 32 + 20, 32 + 6)],
        estimate=1,
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
    for name, code, least, most in fields(kind)
]


@pytest.mark.parametrize(("where", "name", "code", "least", "most"), FIELDS)
def test_a_range_fits_its_field(where: str, name: str, code: str, least: int, most: int) -> None:
    """MicroPython's struct truncates in silence, so no allowed value may be too long."""
    assert LEAST[code] <= least <= most <= MOST[code], (where, name)


def test_names_of_fields_are_unique() -> None:
    for kind, _ in PARTS.values():
        names = [field[0] for field in fields(kind)]
        assert len(set(names)) == len(names)


def test_round_trip() -> None:
    made = full_plan()
    made.zones[0].name = "north bed"
    data = made.pack()
    read = unpack(data)
    assert read.crc == made.crc == crc32(data[:-4])
    assert read.pack() == data
    for _, part_of in PARTS.values():
        assert vars(part_of(read)) == vars(part_of(made))
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
        sealed(body + b"\0"): "wrong length",
        sealed(b"Xp" + body[2:]): "no plan of version 5",
        sealed(body[:2] + b"\1" + body[3:]): "no plan of version 5",
        body[:-1] + b"?" + struct.pack("<I", 0): "wrong crc",
        b"": "no plan of version 5",
        sealed(body[:-1]): "wrong length",
    }
    for data, where in cases.items():
        with pytest.raises(PlanError) as refused:
            unpack(data)
        assert str(refused.value) == where


@pytest.mark.parametrize(
    ("spoil", "what"),
    [
        (lambda p: p.supplies.clear(), "0 parts of a kind"),
        (lambda p: p.supplies.extend(p.supplies * 2), "6 parts of a kind"),
        (lambda p: p.zones.clear(), "0 parts of a kind"),
        (lambda p: p.zones.extend(p.zones * 4), "10 parts of a kind"),
        (lambda p: p.rows.clear(), "0 parts of a kind"),
        (lambda p: p.rows.extend(p.rows * 8), "27 parts of a kind"),
        (lambda p: p.bans.extend(p.bans * 4), "10 parts of a kind"),
        (lambda p: setattr(p.zones[1], "supply", 2), "supply 2"),
        (lambda p: setattr(p.rows[1], "cycles", 3), "cycles 3"),
        (lambda p: setattr(p.zones[0], "sensor", 3), "sensor 3"),
        (lambda p: setattr(p.zones[1], "hold_um", 0), "0 in an estimate"),
        (lambda p: setattr(p.zones[0], "rate_um_h", 0), "0 in an estimate"),
        (lambda p: setattr(p.zones[0], "per_pf_ppt", 0), "0 in an estimate"),
        (lambda p: setattr(p.hub, "yard_hold_um", 0), "0 in an estimate"),
    ],
)
def test_what_a_hub_could_not_run_by_is_refused(spoil: Callable[[Plan], object], what: str) -> None:
    made = full_plan()
    spoil(made)
    with pytest.raises(PlanError) as refused:
        unpack(made.pack())
    assert str(refused.value) == what


def test_what_only_an_estimate_needs_may_be_nothing_without_one() -> None:
    made = full_plan()
    for part, name in (
        (made.hub, "estimate"),
        (made.hub, "yard_hold_um"),
        (made.zones[1], "hold_um"),
    ):
        setattr(part, name, 0)
    assert unpack(made.pack()).zones[1].hold_um == 0


def test_the_table_of_the_sun_keeps_its_order() -> None:
    made = full_plan()
    made.hub.sun_um = tuple(range(24))
    assert unpack(made.pack()).hub.sun_um == tuple(range(24))


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
