"""What must survive a power cut: one record, kept in two copies of which one is always whole.

Layout, little-endian: magic, version, zone count, length, sequence, then the fields of the hub and
those of its zones (each field's values together), CRC-32 of all before. A write goes
over the copy that is not the newest good one, so a torn write spoils nothing needed.
"""

import struct
from binascii import crc32

from ._const import const
from .limits import ZONES_MAX

TYPE_CHECKING = const(0)
if TYPE_CHECKING:
    from collections.abc import Sequence

    from .plan import Plan

RECORD_BYTES_MAX = const(256)  # one flash page
_RECORD_MAGIC = b"Er\x03"  # the last is the version
_HEAD_BYTES = const(10)
_HEAD_FIELDS = const(4)

# A fault's bit is `1 << why - FIRST_FAULT`, as events name it. Bits of `faults`: latched until the
# owner clears them, unless said otherwise.
FIRST_FAULT = const(26)  # NO_FLOW
LEAK_FAULT = const(4)  # water flowed with every valve shut
STORE_FAULT = const(16)  # a record was kept, and cannot be read
BROKEN_FAULT = const(32)  # an invariant did not hold, or the same was raised again and again
# Bits of `zone_faults`.
NO_FLOW_FAULT = const(1)  # tried again once a day
BURST_FAULT = const(2)
DRIVER_FAULT = const(8)  # tried again once a day

# Bits of `weather`.
CONTACT_WET = const(1)
FROST_STANDS = const(2)

# The fields' `struct` codes, in the order of `Record`'s own list of them below.
HUB_CODES = "IHIHIIIBHIBBBBBI"
ZONE_CODES = "HHHBhHBHIHBBH"
_HUB_FIELDS = const(16)
_TRIM_FIELD = const(3)  # place of trim_pct in ZONE_CODES: the one field that begins at 100


class Record:
    """The record: fields of the hub as integers, and fields of its zones as lists of them."""

    dirty = True  # it is to be written at once
    owed = False  # it is to be written with the next opening, if that is near

    if TYPE_CHECKING:
        plan_crc: int
        boots: int
        wall_s: int  # when this record was made; 0: clock not trusted
        day: int  # local day that `used_s` and `rain_today_um` belong to
        mark_no: int  # the last cycle begun; 0: none under this plan
        mark_wall_s: int  # and its start
        hold_s: int  # UTC; 0: none
        hold_dry_days: int
        opened_day: int  # local day the season opened, or a long hold ended
        rain_today_um: int
        faults: int
        waiting: int  # zones of the marked cycle that have not had their run: bits
        first: int  # zones dropped, which go first in the next cycle: bits
        opening: int  # zones about to open, or open: bits
        weather: int  # what still locked, or was wet, when this record was made
        dry_s: int  # of a rain contact's drying time, left when this record was made
        tag: list[int]
        used_s: list[int]  # given today
        bank_um: list[int]  # rain not yet used up
        trim_pct: list[int]
        auto_pct: list[int]  # the hub's own trim, added to the owner's
        trim_day: list[int]  # local day either last moved
        zone_faults: list[int]
        flow_ml_min: list[int]  # learned; 0: not yet
        valve_wall_s: list[int]  # when it last opened (if `opening`) or shut; 0: not known
        run_s: list[int]  # the run given in `opening`
        rewet_days: list[int]  # left
        dry_full: list[int]  # dry checks at full trim, one after the other
        dry_day: list[int]  # local day of the last dry check; 0: never, or no longer dry

    def __init__(self, zones: int) -> None:
        self.seq = 0
        self._code = _codes(zones)
        self.fill([0] * (_HUB_FIELDS + len(ZONE_CODES) * zones), zones)
        self.trim_pct = [100] * zones

    def _body(self) -> bytes:
        """Every field in the order of the layout; a zone field's values stand together."""
        head = (
            _RECORD_MAGIC,
            len(self.tag),
            struct.calcsize(self._code) + 4,
            self.seq,
            self.plan_crc,
            self.boots,
            self.wall_s,
            self.day,
            self.mark_no,
            self.mark_wall_s,
            self.hold_s,
            self.hold_dry_days,
            self.opened_day,
            self.rain_today_um,
            self.faults,
            self.waiting,
            self.first,
            self.opening,
            self.weather,
            self.dry_s,
        )
        return struct.pack(
            self._code,
            *head,
            *self.tag,
            *self.used_s,
            *self.bank_um,
            *self.trim_pct,
            *self.auto_pct,
            *self.trim_day,
            *self.zone_faults,
            *self.flow_ml_min,
            *self.valve_wall_s,
            *self.run_s,
            *self.rewet_days,
            *self.dry_full,
            *self.dry_day,
        )

    def values(self) -> "list[int]":
        """Every field but the head's, in the order of the layout."""
        return list(struct.unpack(self._code, self._body())[_HEAD_FIELDS:])

    def fill(self, values: "Sequence[int]", zones: int) -> None:
        """Set every field, in the order of `values`."""
        (
            self.plan_crc,
            self.boots,
            self.wall_s,
            self.day,
            self.mark_no,
            self.mark_wall_s,
            self.hold_s,
            self.hold_dry_days,
            self.opened_day,
            self.rain_today_um,
            self.faults,
            self.waiting,
            self.first,
            self.opening,
            self.weather,
            self.dry_s,
        ) = values[:_HUB_FIELDS]
        lists = []
        at = _HUB_FIELDS
        for _ in ZONE_CODES:
            lists.append(list(values[at : at + zones]))
            at += zones
        (
            self.tag,
            self.used_s,
            self.bank_um,
            self.trim_pct,
            self.auto_pct,
            self.trim_day,
            self.zone_faults,
            self.flow_ml_min,
            self.valve_wall_s,
            self.run_s,
            self.rewet_days,
            self.dry_full,
            self.dry_day,
        ) = lists

    def pack(self) -> bytes:
        """Return the record as bytes, under the next sequence number."""
        self.seq = (self.seq + 1) & 0xFFFFFFFF
        body = self._body()
        return body + crc32(body).to_bytes(4, "little")

    def carry(self, plan: "Plan") -> "Record":
        """Return a record for another plan: each zone keeps what stands under its tag."""
        zones = len(self.tag)
        old = self.values()
        values = old[:_HUB_FIELDS] + [0] * (len(ZONE_CODES) * len(plan.zones))
        at = _HUB_FIELDS
        for field in range(len(ZONE_CODES)):
            for part in plan.zones:
                values[at] = 100 * (field == _TRIM_FIELD)
                if part.tag in self.tag:
                    values[at] = old[_HUB_FIELDS + field * zones + self.tag.index(part.tag)]
                at += 1
        new = Record(len(plan.zones))
        new.seq = self.seq
        new.fill(values, len(plan.zones))
        new.plan_crc = plan.crc
        new.mark_no = new.waiting = new.first = new.opening = 0
        new.tag = [part.tag for part in plan.zones]
        return new


def unpack_record(data: "bytes | None") -> "Record | None":
    """Return the record in `data`, or None unless every byte of it is as it was written."""
    if not data or len(data) < _HEAD_BYTES or data[:3] != _RECORD_MAGIC or data[3] > ZONES_MAX:
        return None
    record = Record(data[3])
    if len(data) != struct.calcsize(record._code) + 4:
        return None
    if crc32(data[:-4]).to_bytes(4, "little") != data[-4:]:
        return None
    values = struct.unpack(record._code, data[:-4])
    record.seq = values[3]
    record.fill(values[_HEAD_FIELDS:], data[3])
    return record


def newest(copies: "Sequence[bytes | None]") -> "bytes | None":
    """Return the newer of two copies that is whole, or None. Sequence numbers may wrap."""
    first, second = unpack_record(copies[0]), unpack_record(copies[1])
    if second is not None and (
        first is None or 0 < (second.seq - first.seq) & 0xFFFFFFFF < 0x80000000
    ):
        return copies[1]
    return copies[0] if first is not None else None


def lost(copies: "Sequence[bytes | None]") -> bool:
    """Whether a record was kept, and no copy of it is good; a copy that cannot be read is None.

    A record of another version is not broken. Nor is the beginning of a first one: power went as it
    was written, and nothing had been kept before.
    """
    found = False
    for data in copies:
        if unpack_record(data):
            return False
        if data is None:
            found = True
        elif data[:3] != _RECORD_MAGIC[: len(data)]:
            if len(data) > 2 and data[:2] == _RECORD_MAGIC[:2]:
                return False  # another version
            found = True
        elif len(data) >= _HEAD_BYTES and data[6:_HEAD_BYTES] != b"\1\0\0\0":
            found = True
    return found


def _codes(zones: int) -> str:
    """The `struct` format of a record."""
    code = "<3sBHI" + HUB_CODES
    for field in ZONE_CODES:
        code += "%d%s" % (zones, field)
    return code
