"""The compiled plan: what the desktop works out from a property and the hub obeys.

One table a part names every field with its `struct` code and its range; packing and unpacking both
read that table. Fields are integers with their unit last in the name: `_s` seconds, `_um`
micrometres of water, `_ml` millilitres, `_pct` percent, `_ppt` parts per thousand by volume, `_mc`
thousandths of a degree Celsius, `_mv` millivolts, `_min` minutes of the local day.

Layout, little-endian: magic, version, counts of supplies, zones, rows, bans; the hub part; the
supplies, zones (each followed by its name), rows (each followed by its explicit start minutes) and
bans; CRC-32 of all before. A board checks that, every range, and what would stop it; how the fields
have to fit each other is checked where plans are made, by `tools.plan_rules`.
"""

import struct
from binascii import crc32

from controller._const import TYPE_CHECKING, const
from controller.limits import (
    BANS_MAX,
    ROWS_MAX,
    START_GRACE_MIN,
    SUPPLIES_MAX,
    ZONES_MAX,
)

_MAGIC = b"Ep\x01"  # the last is the version
_HEAD_BYTES = const(7)
_PART_BYTES_MAX = const(128)  # more than any part takes

if TYPE_CHECKING:
    from typing import Any

# Kinds of rain sensor.
NO_RAIN_SENSOR = const(0)
GAUGE = const(1)  # measures depth: the bank
CONTACT = const(2)  # only wet or dry: a drying time

# Which days may be watered, by date.
ANY_DATE = const(0)
ODD_DATES = const(1)
EVEN_DATES = const(2)

# How far the hub may trim by its own probes.
AUTO_OFF = const(0)
AUTO_DOWN = const(1)  # never above 100 %
AUTO_BOTH = const(2)

# Kinds of ban.
BAN_HOURS = const(0)  # minutes of the day, from `first` until before `last`; may cross midnight
BAN_DATES = const(1)  # month * 32 + day, `first` to `last` included; may cross the new year


class PlanError(ValueError):
    """A plan that must not be used; says what is wrong with it."""


class Part:
    """One part of a plan: a bag of integers named by FIELDS, `name code least most` for each."""

    FIELDS = ""
    TAIL = ""  # the `struct` code of what follows the fields
    MOST = 1  # parts of this kind

    def __init__(self, values: "dict[str, Any]") -> None:
        for name in values:
            setattr(self, name, values[name])

    if TYPE_CHECKING:

        def __getattr__(self, name: str) -> int: ...


class HubPart(Part):
    """What holds for the whole hub: local time, rain, frost, battery, trim, re-wetting."""

    FIELDS = (
        "std_s i -86400 86400 "  # local offset outside the rule's summer
        "dst_s i -86400 86400 "
        "dst B 0 1 "  # 0: no summer time
        "on_month B 1 12 "
        "on_week B 1 5 "  # 5: the last
        "on_weekday B 0 6 "  # Sunday = 0
        "on_s i -604800 604800 "
        "off_month B 1 12 "
        "off_week B 1 5 "
        "off_weekday B 0 6 "
        "off_s i -604800 604800 "
        "open_max B 1 4 "
        "poll_s H 60 10800 "  # sensors, all valves shut
        "watch_s H 10 600 "  # sensors and flow, a valve open
        "frost B 0 1 "  # 1: there is a thermometer
        "frost_on_mc i -20000 15000 "
        "frost_off_mc i -20000 20000 "
        "frost_hold_s H 0 43200 "
        "rain_kind B 0 2 "
        "rain_skip_um H 0 20000 "
        "rain_cap_um H 1000 60000 "
        "drain_floor_um H 0 10000 "
        "lock_floor_um H 0 60000 "
        "dry_after_s i 0 864000 "
        "weekdays B 0 127 "  # bit 0 = Monday: watering allowed
        "dates B 0 2 "
        "battery B 0 1 "  # 1: there is a battery to watch
        "battery_open_mv H 0 60000 "
        "battery_reserve_mv H 0 60000 "
        "trim_step_pct B 1 50 "
        "trim_least_pct B 10 100 "
        "trim_most_pct B 100 250 "
        "trim_gap_days B 1 60 "
        "auto_trim B 0 2 "
        "rewet_pct B 100 125 "
        "rewet_um H 0 8000 "  # a day
        "rewet_days B 0 28 "
        "rewet_hold_days B 1 60 "
    )


class SupplyPart(Part):
    """One spigot."""

    FIELDS = (
        "flow_ml_min I 0 200000 "  # what it gives; 0: not known, not judged
        "gap_s H 0 3600 "  # between closing one valve and opening the next
        "meter B 0 1 "
        "master B 0 1 "  # a valve upstream of all its zones
    )
    MOST = SUPPLIES_MAX


class ZonePart(Part):
    """One valve and the strip it waters."""

    FIELDS = (
        "tag H 1 65535 "  # stable: trims and minutes follow it into the next plan
        "supply B 0 3 "
        "share_pct H 0 300 "
        "rest_s H 0 65535 "
        "cap_s H 60 43200 "
        "longest_s H 60 14400 "
        "flow_ml_min H 0 65535 "  # expected; 0: not known
        "rate_um_h I 0 1000000 "  # depth over the strip an hour; 0: not known
        "exposure_pct H 0 5000 "  # of the rain; a downspout gives far more than 100
        "demand_pct H 0 300 "  # of the row's demand
        "held B 0 1 "  # 1: the valve shuts when power goes; 0: it latches
        "probe B 0 1 "
        "wet_ppt H 0 1000 "  # locked at or above
        "wet_off_ppt H 0 1000 "  # released below
        "dry_ppt H 0 1000 "  # known to be too dry below
    )
    MOST = ZONES_MAX
    TAIL = "12s"  # of NAME_BYTES
    name = ""


class RowPart(Part):
    """The season that begins on a month and day and lasts until the next row's."""

    FIELDS = (
        "month B 1 12 "
        "day B 1 31 "
        "cycles B 0 24 "
        "run_s H 0 14400 "  # a cycle and zone, at share and trim 100 %
        "run_ml I 0 2000000 "  # instead of run_s where not 0 (run_s then bounds it)
        "demand_um H 0 60000 "  # a day
        "start_min H 0 1439 "
        "length_min H 0 1440 "
    )
    MOST = ROWS_MAX
    TAIL = "B"  # how many explicit starts follow
    starts_min: "tuple[int, ...]" = ()  # explicit starts, which stand instead of a window

    def start_min_of(self, cycle: int) -> int:
        """Minutes from local midnight of the day it belongs to; 1440 or more is the next day."""
        if self.starts_min:
            return self.starts_min[cycle]
        return self.start_min + cycle * self.length_min // self.cycles

    def end_min_of(self, cycle: int) -> int:
        """Minutes from local midnight by which a cycle's runs must end, if none follows before.

        That is the end of the day's window; a row of start times has none, so its runs may wait for
        so long and no longer.
        """
        if self.starts_min:
            return self.starts_min[cycle] + START_GRACE_MIN
        return self.start_min + self.length_min


class BanPart(Part):
    """Hours of every day, or dates of every year, at which nothing may be watered."""

    FIELDS = "kind B 0 1 first H 0 1440 last H 0 1440 "
    MOST = BANS_MAX


_KINDS = (HubPart, SupplyPart, ZonePart, RowPart, BanPart)


def fields(kind: "type[Part]") -> "list[tuple[str, str, int, int]]":
    """Name, `struct` code, least and most of each field of a kind of part."""
    words = kind.FIELDS.split()
    table = []
    for at in range(0, len(words), 4):
        table.append((words[at], words[at + 1], int(words[at + 2]), int(words[at + 3])))
    return table


class Plan:
    """A whole plan; `crc` is known once it was packed or unpacked."""

    crc = 0

    def __init__(
        self,
        hub: HubPart,
        supplies: "list[SupplyPart]",
        zones: "list[ZonePart]",
        rows: "list[RowPart]",
        bans: "list[BanPart]",
    ) -> None:
        self.hub = hub
        self.supplies = supplies
        self.zones = zones
        self.rows = rows
        self.bans = bans

    def row_on(self, month: int, day: int) -> RowPart:
        """The one row that holds on a month and day; before the first row, the last."""
        found = self.rows[-1]
        for row in self.rows:
            if row.month > month or (row.month == month and row.day > day):
                break
            found = row
        return found

    def pack(self) -> bytes:
        """Return the plan as bytes, and set `crc`. Fields must be in their ranges."""
        counts = (len(self.supplies), len(self.zones), len(self.rows), len(self.bans))
        body = _MAGIC + bytes(counts)
        for part in [self.hub] + self.supplies + self.zones + self.rows + self.bans:
            for name, code, _, _ in fields(type(part)):
                body += struct.pack("<" + code, getattr(part, name))
            if isinstance(part, ZonePart):
                body += struct.pack(part.TAIL, part.name.encode())
            elif isinstance(part, RowPart):
                starts = part.starts_min
                body += struct.pack("<B%dH" % len(starts), len(starts), *starts)
        self.crc = crc32(body)
        return body + struct.pack("<I", self.crc)


def unpack(data: bytes) -> Plan:
    """Return the plan in `data`.

    Raises:
        PlanError: wrong magic, version, length or CRC, or a field that a hub could not run by.
    """
    end = len(data) - 4
    if data[:3] != _MAGIC or end < _HEAD_BYTES:
        raise PlanError("no plan of version 1")
    crc = crc32(data[:end])
    if struct.unpack("<I", data[end:])[0] != crc:
        raise PlanError("crc does not match")
    body = data[:end] + bytes(_PART_BYTES_MAX)  # a part cut short is found out once it was read
    at = _HEAD_BYTES
    groups: "list[Any]" = []
    for kind, count in zip(_KINDS, b"\1" + data[3:_HEAD_BYTES]):
        if count > kind.MOST or (not count and kind is not BanPart):
            raise PlanError("%d parts of a kind" % count)
        table = fields(kind)
        code = "<" + "".join([field[1] for field in table]) + kind.TAIL
        group = []
        for _ in range(count):
            part = kind({})
            values = struct.unpack_from(code, body, at)
            at += struct.calcsize(code)
            for (name, _, least, most), value in zip(table, values):
                if not least <= value <= most:
                    raise PlanError("%s %d" % (name, value))
                setattr(part, name, value)
            if isinstance(part, ZonePart):
                part.name = "".join(map(chr, values[-1])).rstrip("\0")
                if part.supply >= data[3]:
                    raise PlanError("supply %d" % part.supply)
            elif isinstance(part, RowPart):
                starts = values[-1]
                if starts and starts != part.cycles:
                    raise PlanError("cycles %d" % part.cycles)
                part.starts_min = struct.unpack_from("<%dH" % starts, body, at)
                at += 2 * starts
            if at > end:
                raise PlanError("too short")
            group.append(part)
        groups.append(group)
    if at != end:
        raise PlanError("too long")
    plan = Plan(groups[0][0], *groups[1:])
    plan.crc = crc
    return plan
