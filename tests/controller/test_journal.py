"""The record: whole or refused, newest first, and what a new plan keeps of it."""

import ast
import struct
from binascii import crc32
from pathlib import Path

import pytest

from evenclay.controller import journal
from evenclay.controller.estimate import learnt_ppt
from evenclay.controller.estimates import _ERROR_MOST_MPF, _HEARD_MAX
from evenclay.controller.journal import _RECORD_BYTES_MAX, HUB_FIELDS, ZONE_FIELDS, Record
from evenclay.controller.limits import RUN_MAX_S, WALL_MAX, ZONES_MAX
from evenclay.controller.plan import HubPart, ZonePart
from evenclay.tools.property.plan_ranges import CAP_MAX_S, RANGES
from tests.core import plan, with_codes

LEAST = {"b": -(2**7), "h": -(2**15), "B": 0, "H": 0, "I": 0}
MOST = {"b": 2**7 - 1, "h": 2**15 - 1, "B": 2**8 - 1, "H": 2**16 - 1, "I": 2**32 - 1}


def extreme(zones: int, bounds: dict[str, int]) -> Record:
    """A record with every field at one end of its range."""
    record = Record(zones)
    for name, code in with_codes(HUB_FIELDS):
        setattr(record, name, bounds[code])
    for name, code in with_codes(ZONE_FIELDS):
        getattr(record, name)[:] = [bounds[code] - (bounds[code] > 0) * z for z in range(zones)]
    return record


def fields(record: Record) -> dict[str, object]:
    return {name: getattr(record, name) for name, _ in with_codes(HUB_FIELDS + ZONE_FIELDS)}


@pytest.mark.parametrize("bounds", [LEAST, MOST])
@pytest.mark.parametrize("zones", range(ZONES_MAX + 1))
def test_round_trip(zones: int, bounds: dict[str, int]) -> None:
    record = extreme(zones, bounds)
    data = record.pack()
    read = journal.unpack_record(data)
    assert read is not None
    assert fields(read) == fields(record)
    assert read.seq == record.seq == 1
    assert len(data) <= _RECORD_BYTES_MAX


def test_the_fields_hold_what_the_hub_may_put_there() -> None:
    """MicroPython's struct truncates in silence."""
    codes = dict(with_codes(HUB_FIELDS + ZONE_FIELDS))
    ranges = RANGES[HubPart]
    day_most = WALL_MAX // 86400 + 1
    for name in ("day",):
        assert day_most <= MOST[codes[name]]
    for name in ("wall_s", "mark_wall_s", "hold_s", "valve_wall_s"):
        assert MOST[codes[name]] >= WALL_MAX
    assert (day_most + 1) * 32 <= MOST[codes["mark_no"]]
    assert MOST[codes["used_s"]] >= CAP_MAX_S
    assert MOST[codes["run_s"]] >= RUN_MAX_S
    assert RANGES[ZonePart]["top_um"][1] <= MOST[codes["top_um"]]
    assert ranges["yard_top_um"][1] <= MOST[codes["yard_top_um"]]
    assert MOST[codes["offset_mpf"]] >= _ERROR_MOST_MPF
    assert LEAST[codes["offset_mpf"]] <= -_ERROR_MOST_MPF
    assert MOST[codes["heard"]] >= _HEARD_MAX
    assert MOST[codes["factor_ppt"]] >= learnt_ppt(65535, 1, 1, 1000)
    for name in ("waiting", "first", "opening", "filling"):
        assert MOST[codes[name]] >= 2**ZONES_MAX - 1


def test_a_fresh_record() -> None:
    record = Record(2)
    assert record.cold_dk > record.warm_dk
    assert record.tag == record.used_s == [0, 0]
    assert record.faults == record.boots == 0


@pytest.mark.no_cover
def test_every_flipped_byte_is_refused() -> None:
    data = extreme(3, MOST).pack()
    for place in range(len(data)):
        for flip in range(1, 256):
            assert journal.unpack_record(
                data[:place] + bytes([data[place] ^ flip]) + data[place + 1 :]
            ) is (None)


def test_every_truncation_and_extension_is_refused() -> None:
    data = extreme(3, MOST).pack()
    for length in range(len(data)):
        assert journal.unpack_record(data[:length]) is None
    for more in (b"\0", b"\xff" * 23, data):
        assert journal.unpack_record(data + more) is None


def test_a_good_crc_over_a_wrong_body_is_refused_too() -> None:
    body = Record(2).pack()[:-4]
    for wrong in (
        b"Xr" + body[2:],
        body[:2] + b"\2" + body[3:],  # two versions before
        body[:3] + b"\3" + body[4:],  # three zones' length
        body[:3] + b"\xff" + body[4:],
    ):
        assert journal.unpack_record(wrong + struct.pack("<I", crc32(wrong))) is None


def at(seq: int, day: int) -> bytes:
    """A packed record under a sequence number."""
    record = Record(2)
    record.seq = (seq - 1) & 0xFFFFFFFF
    record.day = day
    return record.pack()


@pytest.mark.parametrize("old_seq", [0, 1, 6, 7, 2**31 - 1, 2**31, 2**32 - 2, 2**32 - 1])
@pytest.mark.no_cover
def test_the_newest_copy_for_every_torn_length(old_seq: int) -> None:
    """A write over either copy, torn at any length, with the old bytes or none behind it."""
    older, old, new = (at(old_seq + step, step + 2) for step in (-1, 0, 1))
    for length in range(len(new) + 1):
        for behind in (older[length:], b"", b"\xff" * (len(new) - length)):
            torn = new[:length] + behind
            expected = new if torn == new else old
            assert journal.newest((torn, old)) == expected
            assert journal.newest((old, torn)) == expected


def test_no_copy_is_good() -> None:
    assert journal.newest((b"", b"")) is None
    assert journal.newest((at(1, 1)[:-1], b"\xff" * 256)) is None


def test_a_record_that_was_kept_and_is_not_good_is_lost() -> None:
    good, torn, other = at(7, 1), at(7, 1)[:-1], b"Er\x01" + bytes(40)
    for copies, expected in (
        ((b"", b""), False),  # nothing was ever kept
        ((good, torn), False),
        ((good, None), False),
        ((other, b""), False),
        ((other, torn), False),  # the first write of a new version, cut
        ((torn, b""), True),
        ((torn, torn), True),
        ((None, b""), True),
        ((None, None), True),
        ((b"Ex\x02" + bytes(40), b""), True),
        ((b"\xff", b""), True),
    ):
        assert journal.lost(copies) is expected, copies
        assert journal.lost(copies[::-1]) is expected, copies


def test_the_first_record_ever_may_be_torn() -> None:
    first = at(1, 1)
    for length in range(len(first)):
        assert not journal.lost((b"", first[:length]))
        if length:
            assert journal.lost((b"", b"x" + first[1:length]))


def test_equal_copies() -> None:
    assert journal.newest((at(5, 1), at(5, 1))) == at(5, 1)


def test_the_sequence_wraps() -> None:
    record = Record(1)
    record.seq = 0xFFFFFFFE
    assert [journal.unpack_record(record.pack()).seq for _ in range(3)] == [  # type: ignore[union-attr]
        0xFFFFFFFF,
        0,
        1,
    ]


def test_a_new_plan_keeps_what_stands_under_a_tag() -> None:
    record = Record(3)
    record.seq = 8
    record.tag[:] = [5, 6, 7]
    record.used_s[:] = [50, 60, 70]
    record.zone_faults[:] = [1, 2, 4]
    record.waiting = record.first = record.opening = 7
    record.faults = 2
    record.day = 44
    new = record.carry(plan(zones=[{"tag": 7}, {"tag": 9}, {"tag": 5}, {"tag": 8}]))
    assert new.tag == [7, 9, 5, 8]
    assert new.used_s == [70, 0, 50, 0]
    assert new.zone_faults == [4, 0, 1, 0]
    assert (new.waiting, new.first, new.opening) == (0, 0, 0)
    assert (new.seq, new.faults, new.day) == (8, 2, 44)
    assert new.plan_crc == plan(zones=[{"tag": 7}, {"tag": 9}, {"tag": 5}, {"tag": 8}]).crc
    assert record.used_s == [50, 60, 70]


def test_an_estimate_follows_its_tag_into_the_next_plan() -> None:
    record = Record(2)
    record.tag[:] = [5, 6]
    record.top_um[:], record.lack_um[:] = [50, 60], [500, 600]
    record.factor_ppt[:], record.offset_mpf[:], record.heard[:] = [900, 1100], [-30, 40], [3, 52]
    record.filling = 0b10
    record.yard_top_um, record.yard_lack_um = 70, 700
    made = plan(zones=[{"tag": 6}, {"tag": 9, "begin_um": 61000}], estimate=1)
    new = record.carry(made)
    assert (new.lack_um, new.top_um) == ([600, 61000], [60, made.zones[1].top_um // 2])
    assert (new.factor_ppt, new.offset_mpf, new.heard) == ([1100, 1000], [40, 0], [52, 0])
    assert (new.yard_top_um, new.yard_lack_um) == (70, 700)
    assert new.filling == 0b11  # the one as before, the other since it begins at its level


@pytest.mark.parametrize("filling", [0, 0b01])
def test_what_comes_up_to_its_target_follows_its_tag(filling: int) -> None:
    record = Record(2)
    record.tag[:], record.factor_ppt[:], record.filling = [5, 6], [1000, 1000], filling
    new = record.carry(plan(zones=[{"tag": 6}, {"tag": 5}], estimate=1))
    assert new.filling == filling << 1


def test_without_any_zone_known_the_yard_begins_at_its_mean() -> None:
    made = plan(zones=[{"tag": 9}], estimate=1)
    for before in (Record(0), Record(1)):
        new = before.carry(made)
        assert new.yard_lack_um == made.hub.yard_lack_um
        assert new.yard_top_um == made.hub.yard_top_um // 2


def test_an_estimate_begins_anew_after_a_plan_without_one() -> None:
    record = Record(1)
    record.tag[:], record.factor_ppt[:], record.lack_um[:] = [1], [700], [1]
    none = record.carry(plan(1, estimate=0))
    assert none.factor_ppt == [0] and none.filling == 0
    made = plan(1, estimate=1)
    again = none.carry(made)
    assert (again.factor_ppt, again.lack_um) == ([1000], [made.zones[0].begin_um])


# A record of version 3: its layout, as that version's table had it.
OLD_HUB = (
    "plan_crc I boots H wall_s I day H mark_no I mark_wall_s I hold_s I hold_dry_days B "
    "opened_day H rain_today_um I faults B waiting B first B opening B weather B dry_s I"
)
OLD_ZONE = (
    "tag H used_s H bank_um H trim_pct B auto_pct h trim_day H zone_faults B flow_ml_min H "
    "valve_wall_s I run_s H rewet_days B dry_full B dry_day H"
)


def old_record(zones: int, seq: int = 5) -> tuple[bytes, dict[str, object]]:
    """A packed record of version 3, every field different, and what each is."""
    hub = {name: place + 1 for place, (name, _) in enumerate(with_codes(OLD_HUB))}
    lists = {
        name: [10 * place + zone + 20 for zone in range(zones)]
        for place, (name, _) in enumerate(with_codes(OLD_ZONE))
    }
    body = b"".join(struct.pack("<" + code, hub[name]) for name, code in with_codes(OLD_HUB))
    for name, code in with_codes(OLD_ZONE):
        body += struct.pack(f"<{zones}{code}", *lists[name])
    body = struct.pack("<3sBHI", b"Er\x03", zones, len(body) + 14, seq) + body
    return body + struct.pack("<I", crc32(body)), {**hub, **lists}


@pytest.mark.parametrize("zones", range(ZONES_MAX + 1))
def test_a_record_of_the_version_before_is_read(zones: int) -> None:
    data, told = old_record(zones)
    record = journal.unpack_record(data)
    assert record is not None
    kept = set(fields(record)) & set(told)
    assert len(kept) == 20
    assert {name: fields(record)[name] for name in kept} == {name: told[name] for name in kept}
    assert record.seq == 5
    assert record.cold_dk > record.warm_dk
    made = plan(zones=[{"tag": 20 + zone} for zone in range(max(zones, 1))], estimate=1)
    new = record.carry(made)
    assert new.used_s[:zones] == told["used_s"]
    assert new.factor_ppt == [1000] * len(made.zones)
    assert new.lack_um == [part.begin_um for part in made.zones]
    assert new.yard_lack_um == made.hub.yard_lack_um


def test_the_version_before_is_whole_or_refused_as_well() -> None:
    data, _ = old_record(2)
    for place in range(len(data)):
        assert journal.unpack_record(
            data[:place] + bytes([data[place] ^ 1]) + data[place + 1 :]
        ) is (None)
        assert journal.unpack_record(data[:place]) is None
    assert journal.unpack_record(data + b"\0") is None
    assert not journal.lost((data, b""))
    assert journal.lost((data[:-1], b""))  # it was kept, and is broken
    assert journal.newest((data, at(6, 1))) == at(6, 1)
    assert journal.newest((data, at(4, 1))) == data


def test_the_core_names_no_field_that_the_record_does_not_have() -> None:
    """The fields are named in a table, so that no type checker sees a misspelt one."""
    known = {name for name, _ in with_codes(HUB_FIELDS + ZONE_FIELDS)} | set(dir(Record(1)))
    named = set()
    for path in Path(journal.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Attribute) and ast.unparse(node.value).split(".")[-1] in (
                "record",
                "_record",
            ):
                named.add(node.attr)
    assert len(named) > 25
    assert named <= known
