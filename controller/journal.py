"""What must survive a power cut: the record, when it is written, and a note of what was raised.

Layout of the record, little-endian: magic, version, zone count, length, sequence, then the fields
of the hub and those of its zones (each field's values together), CRC-32 of all before. It is kept
in two copies of which one is always whole: a write goes over the copy that is not the newest good
one, so a torn write spoils nothing needed.

The note is one line of text: how many exceptions there were within a day, how many of the last of
them had the same text, when the first of them was, and that text.
"""

import struct
from binascii import crc32

from . import const, events, limits, ports

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any

    from .hub import Hub
    from .plan import Plan
    from .ports import Command

_RECORD_BYTES_MAX = const(256)  # one flash page
_RECORD_MAGIC = b"Er\x04"  # the last is the version
_OLD_MAGIC = b"Er\x03"  # is read, and not written
_HEAD_BYTES = const(10)
_HEAD_FIELDS = const(4)
_SAVE_RETRY_S = const(300)  # between tries to write a store that failed
_REST_LEAST_S = const(60)  # after a first exception; each one in a day doubles it
_REST_MOST_S = const(900)  # a quarter of an hour: a cause that is mended is found out so soon
_TEXT_MAX = const(100)  # characters of an exception's text that are kept

# Bits of `gaps`.
NO_TEMPERATURE = const(1)
NO_RAIN = const(2)
RAIN_TOLD = const(4)  # the day's rain is what the owner told

# Every field of the record, in the order of the layout: its name and its `struct` code.
HUB_FIELDS = (
    "plan_crc I "
    "boots H "
    "wall_s I "  # when this record was made; 0: clock not trusted
    "day H "  # local day that `used_s` and `rain_today_um` belong to
    "mark_no I "  # the last cycle begun; 0: none under this plan
    "mark_wall_s I "  # and its start
    "hold_s I "  # UTC; 0: none
    "rain_today_um I "
    "faults B "
    "waiting B "  # zones of the marked cycle that have not had their run: bits
    "first B "  # zones dropped, which go first in the next cycle: bits
    "opening B "  # zones about to open, or open: bits
    "weather B "  # 1: a rain contact was wet; 2: a frost stood; 4 and more: days without news of it
    "dry_s I "  # left of a rain contact's drying time
    "filling B "  # zones that come up to their target after an opening: bits
    "gaps B "  # what was not heard all day: bits
    "cold_dk h "  # the day's extremes so far, tenths of a degree Celsius; warm below cold: none yet
    "warm_dk h "
    "yard_top_um H "
    "yard_lack_um I "
)
ZONE_FIELDS = (
    "tag H "
    "used_s H "  # given today
    "zone_faults B "
    "flow_ml_min H "  # learned; 0: not yet
    "valve_wall_s I "  # when it last opened (if `opening`) or shut; 0: not known
    "run_s H "  # the run given in `opening`
    "top_um H "  # what the estimate's stores lack
    "lack_um I "
    "factor_ppt H "  # learnt on the plan's demand; 0: no estimate yet
    "offset_mpf h "  # how much drier the zone's probe reads than the estimate, in the long run
    "heard B "  # findings over which that was learnt
)
# A record of the version before: what is kept of it is the first fields of today's, in their order.
_OLD_CODE = "<3sBHIIHIHIII3xIBBBBBIzHzHzxzxzxzxzxzxzxzBzHzIzHzxzxzxzx"  # z: how many zones
_OLD_HUB_NAMES = const(14)
_OLD_ZONE_FIELDS = const(6)
NONE_YET_DK = const(32767)  # as the coldest; and less than its negative as the warmest


class Record:
    """The record: each field of the hub an integer, each field of its zones a list of them."""

    if _TYPE_CHECKING:

        def __getattr__(self, name: str) -> Any:
            raise NotImplementedError

        def __setattr__(self, name: str, value: Any) -> None:
            raise NotImplementedError

    def __init__(self, zones: int) -> None:
        self.dirty = True  # it is to be written at once
        self.owed = False  # it is to be written with the next opening, if that is near
        self.retry_up_s = 0  # nothing is written before; 0: the last write went well
        # The plan that the owner gave, until it is taken or refused, and its bytes.
        self.new_plan: "tuple[Plan, bytes] | None" = None
        self.seq = 0
        words = HUB_FIELDS.split()
        code = "<3sBHI" + "".join(words[1::2])
        for name in words[::2]:
            setattr(self, name, 0)
        words = ZONE_FIELDS.split()
        # Each field's list stays the same, so that what keeps them all need not look for them.
        self._of_zones: "list[list[int]]" = []
        for name, each in zip(words[::2], words[1::2]):
            self._of_zones.append([0] * zones)
            setattr(self, name, self._of_zones[-1])
            code += "%d%s" % (zones, each)
        self._code = code
        self.cold_dk = NONE_YET_DK
        self.warm_dk = -NONE_YET_DK

    def pack(self) -> bytes:
        """Return the record as bytes, under the next sequence number."""
        self.seq = (self.seq + 1) & 0xFFFFFFFF
        field: "Any" = self.__dict__.get
        values = list(map(field, _HUB_NAMES))
        for of_zones in self._of_zones:
            values += of_zones
        code = self._code
        length = struct.calcsize(code) + 4
        body = struct.pack(code, _RECORD_MAGIC, len(self.tag), length, self.seq, *values)
        return body + crc32(body).to_bytes(4, "little")

    def carry(self, plan: "Plan") -> "Record":
        """Return a record for another plan: each zone keeps what stands under its tag.

        Where the plan has an estimate and there is none yet, one begins: a zone at its level, as
        after an opening, and the yard at its mean if no zone was known.
        """
        hub = plan.hub
        new = Record(len(plan.zones))
        new.seq = self.seq
        for name in _HUB_NAMES:
            setattr(new, name, getattr(self, name))
        new.plan_crc = plan.crc
        new.mark_no = new.waiting = new.first = new.opening = new.filling = 0
        known = False
        for zone, part in enumerate(plan.zones):
            bit = 1 << zone
            if part.tag in self.tag:
                before = self.tag.index(part.tag)
                for here, there in zip(new._of_zones, self._of_zones):
                    here[zone] = there[before]
                if self.filling >> before & 1:
                    new.filling |= bit
            new.tag[zone] = part.tag
            if not hub.estimate:
                new.factor_ppt[zone] = 0
            elif new.factor_ppt[zone]:
                known = True
            else:
                new.factor_ppt[zone] = 1000
                new.top_um[zone] = part.top_um // 2
                new.lack_um[zone] = part.begin_um
                new.filling |= bit
        if not known:
            new.yard_top_um = hub.yard_top_um // 2
            new.yard_lack_um = hub.yard_lack_um
        return new


# A board finds a field by its name, and keeps the name, as soon as there was a record: from then on
# these are the same words, and no others that it would have to compare with them.
Record(0)
_HUB_NAMES = HUB_FIELDS.split()[::2]


def unpack_record(data: "bytes | None") -> "Record | None":
    """Return the record in `data`, or None unless every byte of it is as it was written.

    One of the version before has no estimate yet.
    """
    if not data or len(data) < _HEAD_BYTES or data[3] > limits.ZONES_MAX:
        return None
    zones = data[3]
    record = Record(zones)
    code = record._code
    hub_names = _HUB_NAMES
    of_zones = record._of_zones
    if data[:3] == _OLD_MAGIC:
        code = _OLD_CODE.replace("z", str(zones))
        hub_names = _HUB_NAMES[:_OLD_HUB_NAMES]
        of_zones = of_zones[:_OLD_ZONE_FIELDS]
    elif data[:3] != _RECORD_MAGIC:
        return None
    end = len(data) - 4
    if end != struct.calcsize(code) or crc32(data[:end]).to_bytes(4, "little") != data[end:]:
        return None
    values = struct.unpack(code, data[:end])
    record.seq = values[3]
    at = _HEAD_FIELDS
    for name in hub_names:
        setattr(record, name, values[at])
        at += 1
    for field in of_zones:
        field[:] = values[at : at + zones]
        at += zones
    return record


def newest(copies: "Sequence[bytes | None]") -> "bytes | None":
    """Return the newer of two copies that is whole, or None. Sequence numbers may wrap."""
    first, second = unpack_record(copies[0]), unpack_record(copies[1])
    if second and (first is None or 0 < (second.seq - first.seq) & 0xFFFFFFFF < 0x80000000):
        return copies[1]
    return copies[0] if first else None


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
        elif data[:3] not in (_RECORD_MAGIC[: len(data)], _OLD_MAGIC):
            if len(data) > 2 and data[:2] == _RECORD_MAGIC[:2]:
                return False  # another version
            found = True
        elif len(data) >= _HEAD_BYTES and data[6:_HEAD_BYTES] != b"\1\0\0\0":
            found = True
    return found


def saves(hub: "Hub", up_s: int, at_rest: bool) -> "list[Command]":
    """Return the SAVE commands that are due. What is only owed waits where a valve opens soon.

    `at_rest`: every valve is shut, and none is about to open, so a new plan may be taken.
    """
    record = hub.record
    given = record.new_plan if at_rest else None
    if up_s < record.retry_up_s or not (
        record.dirty or given or (record.owed and not hub.runs.opens_soon)
    ):
        return []
    record.dirty = record.owed = False
    record.wall_s = hub.clock.wall_s(up_s)
    hub.lockouts.keep(up_s)
    if not given:
        return [(ports.SAVE, ports.RECORD, record.pack())]
    # Once both are written the runner starts a hub from them, and this one is no more.
    hub.days.drop_waiting(events.PLAN)
    return [
        (ports.SAVE, ports.PLAN, given[1]),
        (ports.SAVE, ports.RECORD, record.carry(given[0]).pack()),
    ]


def saved(hub: "Hub", slot: int, outcome: int, up_s: int) -> None:
    """A record or plan was written and read back, or was not: that is tried again after a while."""
    record = hub.record
    faults = hub.faults
    if outcome == ports.CARRIED_OUT:
        hub.shut_up_s = -1
        if record.retry_up_s:
            record.retry_up_s = 0
            faults.store(False, slot)
        hub.runs.saved(True)
        return
    if outcome == ports.FAILED:
        faults.store(True, slot)
        record.retry_up_s = up_s + _SAVE_RETRY_S
        if slot == ports.PLAN:
            record.new_plan = None
            faults.tell(events.REFUSED, -1, events.STORE, events.PLAN)
    if slot == ports.RECORD:
        record.dirty = True
        hub.runs.saved(False)


class Trouble:
    """The exceptions of a day."""

    count = 0  # of exceptions
    same = 0  # of the last of them, with one text
    since_s = 0  # UTC of the first; 0: not known
    text = ""  # of the last: its type, and what it says

    def load(self, note: bytes) -> None:
        """Take over what a note holds; one that is empty or torn holds nothing."""
        try:
            count, same, since_s, text = note.decode().split(" ", 3)
            self.since_s = int(since_s)
            self.same = int(same) & 255
            self.count = int(count) & 255
            self.text = text
        except ValueError:
            pass

    def pack(self) -> bytes:
        """Return the note; nothing if there was no exception."""
        if not self.count:
            return b""
        return ("%d %d %d %s" % (self.count, self.same, self.since_s, self.text)).encode()

    def add(self, error: "Any", wall_s: "Any") -> None:
        """Count an exception, at `wall_s` (UTC, or None). A day begins with its first exception."""
        text = shown_error(error)
        if type(wall_s) is not int or not 0 < wall_s < limits.WALL_MAX:
            wall_s = 0
        if wall_s and self.since_s and not 0 <= wall_s - self.since_s < limits.DAY_S:
            self.count = self.same = self.since_s = 0
        if not self.since_s:
            self.since_s = wall_s
        if text != self.text:
            self.same = 0
        self.text = text
        self.same = min(self.same + 1, 255)
        self.count = min(self.count + 1, 255)

    def rest_s(self) -> int:
        """How long to rest after the last: twice as long each time, up to a bound."""
        return min(_REST_LEAST_S << min(self.count - 1, 8), _REST_MOST_S)


def shown_error(error: "Any") -> str:
    """Type and text of an exception; of a MemoryError the type, since its text names a size."""
    name = type(error).__name__  # not repr(): interpreters write it differently, and traces are one
    return name if name == "MemoryError" else ("%s: %s" % (name, error))[:_TEXT_MAX]
