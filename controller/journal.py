"""What must survive a power cut: one record, kept in two copies of which one is always whole.

Layout, little-endian: magic, version, zone count, length, sequence, then the fields of HUB_FIELDS
once and of ZONE_FIELDS for every zone (each field's values together), CRC-32 of all before. A
write goes over the copy that is not the newest good one, so a torn write spoils nothing needed.
"""

import struct
from binascii import crc32

from controller._const import TYPE_CHECKING, const
from controller.limits import ZONES_MAX

if TYPE_CHECKING:
    from controller.plan import Plan

VERSION = const(1)
RECORD_BYTES_MAX = const(256)  # one flash page
_MAGIC = b"Er"
_HEAD = "<2sBBHI"

# Bits of `faults`: latched until the owner clears them, unless said otherwise.
LEAK_FAULT = const(1)  # water flowed with every valve shut
BROKEN_FAULT = const(2)  # an invariant did not hold, or a step raised
# Bits of `zone_faults`.
BURST_FAULT = const(1)
NO_FLOW_FAULT = const(2)  # tried again once a day
DRIVER_FAULT = const(4)  # tried again once a day

HUB_FIELDS = (
    ("plan_crc", "I"),
    ("boots", "H"),
    ("wall_s", "I"),  # when this record was made; 0: clock not trusted
    ("day", "H"),  # local day that `used_s` and `rain_today_um` belong to
    ("mark_no", "I"),  # the last cycle begun
    ("mark_wall_s", "I"),  # and its start
    ("hold_s", "I"),  # UTC; 0: none
    ("hold_dry_days", "B"),
    ("opened_day", "H"),  # local day the season opened, or a long hold ended
    ("rain_today_um", "I"),
    ("faults", "B"),
    ("waiting", "B"),  # zones of the marked cycle that have not had their run: bits
    ("first", "B"),  # zones dropped, which go first in the next cycle: bits
    ("opening", "B"),  # zones about to open, or open: bits
)
ZONE_FIELDS = (
    ("tag", "H"),
    ("used_s", "H"),  # given today
    ("bank_um", "H"),  # rain not yet used up
    ("trim_pct", "B"),
    ("auto_pct", "h"),  # the hub's own trim, added to the owner's
    ("trim_day", "H"),  # local day either last moved
    ("zone_faults", "B"),
    ("flow_ml_min", "H"),  # learned; 0: not yet
    ("valve_wall_s", "I"),  # when the valve last opened (if `opening`) or shut; 0: not known
    ("run_s", "H"),  # the run given in `opening`
    ("rewet_days", "B"),  # left
    ("dry_full", "B"),  # dry checks at full trim, one after the other
    ("dry_day", "H"),  # local day of the last dry check; 0: never, or no longer dry
)
_HUB_NAMES = [field[0] for field in HUB_FIELDS]
_ZONE_NAMES = [field[0] for field in ZONE_FIELDS]


class Record:
    """The record: HUB_FIELDS as integers, ZONE_FIELDS as lists of one integer a zone."""

    def __init__(self, zones: int) -> None:
        self.seq = 0
        self._code = _format(zones)
        self._size = struct.calcsize(self._code) + 4
        for name, _ in HUB_FIELDS:
            setattr(self, name, 0)
        for name, _ in ZONE_FIELDS:
            setattr(self, name, [100 if name == "trim_pct" else 0] * zones)

    if TYPE_CHECKING:
        # Every field is an integer or a list of them; the tables above are the one list of names.
        plan_crc: int
        boots: int
        wall_s: int
        day: int
        mark_no: int
        mark_wall_s: int
        hold_s: int
        hold_dry_days: int
        opened_day: int
        rain_today_um: int
        faults: int
        waiting: int
        first: int
        opening: int
        tag: list[int]
        used_s: list[int]
        bank_um: list[int]
        trim_pct: list[int]
        auto_pct: list[int]
        trim_day: list[int]
        zone_faults: list[int]
        flow_ml_min: list[int]
        valve_wall_s: list[int]
        run_s: list[int]
        rewet_days: list[int]
        dry_full: list[int]
        dry_day: list[int]

    def pack(self) -> bytes:
        """Return the record as bytes, under the next sequence number."""
        self.seq = (self.seq + 1) & 0xFFFFFFFF
        # Written out: it is the dearest part of an opening, and loops over names take twice as long.
        body = struct.pack(
            self._code,
            _MAGIC,
            VERSION,
            len(self.tag),
            self._size,
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
        return body + struct.pack("<I", crc32(body))

    def carry(self, plan: "Plan") -> "Record":
        """Return a record for another plan: each zone keeps what stands under its tag."""
        new = Record(len(plan.zones))
        new.seq = self.seq
        for name, _ in HUB_FIELDS:
            setattr(new, name, getattr(self, name))
        new.plan_crc = plan.crc
        new.waiting = new.first = new.opening = 0
        new.tag = [zone.tag for zone in plan.zones]
        for name, _ in ZONE_FIELDS:
            for index, tag in enumerate(new.tag):
                if tag in self.tag:
                    getattr(new, name)[index] = getattr(self, name)[self.tag.index(tag)]
        return new


def unpack(data: bytes) -> "Record | None":
    """Return the record in `data`, or None unless every byte of it is as it was written."""
    if len(data) < 8 or data[:3] != _MAGIC + bytes([VERSION]) or data[3] > ZONES_MAX:
        return None
    zones = data[3]
    code = _format(zones)
    if len(data) != struct.calcsize(code) + 4:
        return None
    if struct.unpack_from("<I", data, len(data) - 4)[0] != crc32(data[:-4]):
        return None
    values = struct.unpack_from(code, data)
    record = Record(zones)
    record.seq = values[4]
    at = 5
    for name, _ in HUB_FIELDS:
        setattr(record, name, values[at])
        at += 1
    for name, _ in ZONE_FIELDS:
        setattr(record, name, list(values[at : at + zones]))
        at += zones
    return record


def newest(copies: "tuple[bytes, bytes]") -> "bytes | None":
    """Return the newer of two copies that is whole, or None. Sequence numbers may wrap."""
    first, second = unpack(copies[0]), unpack(copies[1])
    if first is None or second is None:
        return copies[0] if first else copies[1] if second else None
    ahead = (second.seq - first.seq) & 0xFFFFFFFF
    return copies[1] if 0 < ahead < 0x80000000 else copies[0]


def latched(data: "bytes | None", zones: int) -> bytes:
    """Return the record in `data` (or a fresh one) with the broken-invariant fault set."""
    record = (unpack(data) if data else None) or Record(zones)
    record.faults |= BROKEN_FAULT
    return record.pack()


def _format(zones: int) -> str:
    codes = "".join(["%d%s" % (zones, field[1]) for field in ZONE_FIELDS])
    return _HEAD + "".join([field[1] for field in HUB_FIELDS]) + codes
