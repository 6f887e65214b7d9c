"""The compiled plan: what the desktop works out from a property and the hub obeys.

One table a part names every field with its `struct` code and its range; packing, unpacking and
checking all read that table. Fields are integers with their unit last in the name: `_s` seconds,
`_um` micrometres of water, `_ml` millilitres, `_pct` percent, `_ppt` parts per thousand by volume,
`_mc` thousandths of a degree Celsius, `_mv` millivolts, `_min` minutes of the local day.

Layout, little-endian: magic, version, counts of supplies, zones, rows, bans; the hub part; the
supplies, zones, rows (each followed by its explicit start minutes) and bans; CRC-32 of all before.
"""

import struct
from binascii import crc32

from controller._const import TYPE_CHECKING, const
from controller.civil import month_days
from controller.limits import (
    BANS_MAX,
    CAP_MAX_S,
    CYCLES_MAX,
    NAME_BYTES,
    ROWS_MAX,
    RUN_MAX_S,
    START_GRACE_MIN,
    SUPPLIES_MAX,
    ZONES_MAX,
)

VERSION = const(1)
_MAGIC = b"Ep"
_HEAD = "<2sBBBBB"
_HEAD_BYTES = const(7)

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
    """A plan that must not be used: `where` names part, place and field."""

    def __init__(self, where: str) -> None:
        super().__init__(where)
        self.where = where


class Part:
    """One part of a plan: a bag of integers named by FIELDS = ((name, code, least, most), ...)."""

    FIELDS: "tuple[tuple[str, str, int, int], ...]" = ()

    def __init__(self, values: "dict[str, int]") -> None:
        for name, _, _, _ in self.FIELDS:
            setattr(self, name, values[name])

    if TYPE_CHECKING:

        def __getattr__(self, name: str) -> int: ...

    @classmethod
    def code(cls) -> str:
        """The `struct` format of this part."""
        return "<" + "".join([field[1] for field in cls.FIELDS])

    def values(self) -> "list[int]":
        """Field values in the order of FIELDS."""
        return [getattr(self, field[0]) for field in self.FIELDS]

    def check(self, where: str) -> None:
        """Raise PlanError for the first field out of its range."""
        for name, _, least, most in self.FIELDS:
            value = getattr(self, name)
            if not least <= value <= most:
                raise PlanError("%s.%s %d not in %d..%d" % (where, name, value, least, most))


class HubPart(Part):
    """What holds for the whole hub: local time, rain, frost, battery, trim, re-wetting."""

    FIELDS = (
        ("std_s", "i", -86400, 86400),  # local offset outside the rule's summer
        ("dst_s", "i", -86400, 86400),
        ("dst", "B", 0, 1),  # 0: no summer time
        ("on_month", "B", 1, 12),
        ("on_week", "B", 1, 5),  # 5: the last
        ("on_weekday", "B", 0, 6),  # Sunday = 0
        ("on_s", "i", -604800, 604800),
        ("off_month", "B", 1, 12),
        ("off_week", "B", 1, 5),
        ("off_weekday", "B", 0, 6),
        ("off_s", "i", -604800, 604800),
        ("open_max", "B", 1, SUPPLIES_MAX),
        ("poll_s", "H", 60, 10800),  # sensors, all valves shut
        ("watch_s", "H", 10, 600),  # sensors and flow, a valve open
        ("frost", "B", 0, 1),  # 1: there is a thermometer
        ("frost_on_mc", "i", -20000, 15000),
        ("frost_off_mc", "i", -20000, 20000),
        ("frost_hold_s", "H", 0, 43200),
        ("rain_kind", "B", NO_RAIN_SENSOR, CONTACT),
        ("rain_skip_um", "H", 0, 20000),
        ("rain_cap_um", "H", 1000, 60000),
        ("drain_floor_um", "H", 0, 10000),
        ("lock_floor_um", "H", 0, 60000),
        ("dry_after_s", "i", 0, 864000),
        ("weekdays", "B", 0, 127),  # bit 0 = Monday: watering allowed
        ("dates", "B", ANY_DATE, EVEN_DATES),
        ("battery", "B", 0, 1),  # 1: there is a battery to watch
        ("battery_open_mv", "H", 0, 60000),
        ("battery_reserve_mv", "H", 0, 60000),
        ("trim_step_pct", "B", 1, 50),
        ("trim_least_pct", "B", 10, 100),
        ("trim_most_pct", "B", 100, 250),
        ("trim_gap_days", "B", 1, 60),
        ("auto_trim", "B", AUTO_OFF, AUTO_BOTH),
        ("rewet_pct", "B", 100, 125),
        ("rewet_um", "H", 0, 8000),  # a day
        ("rewet_days", "B", 0, 28),
        ("rewet_hold_days", "B", 1, 60),
    )


class SupplyPart(Part):
    """One spigot."""

    FIELDS = (
        ("flow_ml_min", "I", 0, 200000),  # what it gives; 0: not known, not judged
        ("gap_s", "H", 0, 3600),  # between closing one valve and opening the next
        ("meter", "B", 0, 1),
        ("master", "B", 0, 1),  # a valve upstream of all its zones
    )


class ZonePart(Part):
    """One valve and the strip it waters."""

    FIELDS = (
        ("tag", "H", 1, 65535),  # stable: trims and minutes follow it into the next plan
        ("supply", "B", 0, SUPPLIES_MAX - 1),
        ("share_pct", "H", 0, 300),
        ("rest_s", "H", 0, 65535),
        ("cap_s", "H", 60, CAP_MAX_S),
        ("longest_s", "H", 60, RUN_MAX_S),
        ("flow_ml_min", "H", 0, 65535),  # expected; 0: not known
        ("rate_um_h", "I", 0, 1000000),  # depth over the strip an hour; 0: not known
        ("exposure_pct", "H", 0, 5000),  # of the rain; a downspout gives far more than 100
        ("demand_pct", "H", 0, 300),  # of the row's demand
        ("held", "B", 0, 1),  # 1: the valve shuts when power goes; 0: it latches
        ("probe", "B", 0, 1),
        ("wet_ppt", "H", 0, 1000),  # locked at or above
        ("wet_off_ppt", "H", 0, 1000),  # released below
        ("dry_ppt", "H", 0, 1000),  # known to be too dry below
    )

    def __init__(self, values: "dict[str, int]", name: str) -> None:
        super().__init__(values)
        self.name = name


class RowPart(Part):
    """The season that begins on a month and day and lasts until the next row's."""

    FIELDS = (
        ("month", "B", 1, 12),
        ("day", "B", 1, 31),
        ("cycles", "B", 0, CYCLES_MAX),
        ("run_s", "H", 0, RUN_MAX_S),  # a cycle and zone, at share and trim 100 %
        ("run_ml", "I", 0, 2000000),  # instead of run_s where not 0 (run_s then bounds it)
        ("demand_um", "H", 0, 60000),  # a day
        ("start_min", "H", 0, 1439),
        ("length_min", "H", 0, 1440),
    )

    def __init__(self, values: "dict[str, int]", starts_min: "tuple[int, ...]" = ()) -> None:
        super().__init__(values)
        self.starts_min = starts_min

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

    FIELDS = (
        ("kind", "B", BAN_HOURS, BAN_DATES),
        ("first", "H", 0, 1440),
        ("last", "H", 0, 1440),
    )


class Plan:
    """A whole plan; `crc` is known once it was packed or unpacked."""

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
        self.crc = 0

    def check(self) -> None:
        """Raise PlanError unless every field and every relation between fields holds."""
        _check_count("supplies", len(self.supplies), 1, SUPPLIES_MAX)
        _check_count("zones", len(self.zones), 1, ZONES_MAX)
        _check_count("rows", len(self.rows), 1, ROWS_MAX)
        _check_count("bans", len(self.bans), 0, BANS_MAX)
        self.hub.check("hub")
        for what, parts in (("supply", self.supplies), ("zone", self.zones), ("ban", self.bans)):
            for index, part in enumerate(parts):
                part.check("%s %d" % (what, index))
        for index, row in enumerate(self.rows):
            row.check("row %d" % index)
            _check_row(row, "row %d" % index)
        _check_hub(self.hub)
        self._check_zones()
        self._check_rows()

    def _check_zones(self) -> None:
        tags = []
        for index, zone in enumerate(self.zones):
            where = "zone %d" % index
            if zone.supply >= len(self.supplies):
                raise PlanError(where + ".supply names no supply")
            if zone.tag in tags:
                raise PlanError(where + ".tag stands twice")
            tags.append(zone.tag)
            if not _is_plain(zone.name):
                raise PlanError("%s.name is not plain ASCII of %d letters" % (where, NAME_BYTES))
            flow_ml_min = self.supplies[zone.supply].flow_ml_min
            if flow_ml_min and zone.flow_ml_min > flow_ml_min:
                raise PlanError(where + ".flow_ml_min is more than its supply gives")
            if zone.probe and not zone.dry_ppt < zone.wet_off_ppt <= zone.wet_ppt:
                raise PlanError(where + " needs dry_ppt < wet_off_ppt <= wet_ppt")

    def _check_rows(self) -> None:
        """Rows ascend, and no day's cycles run into the next day's, whichever rows they are of."""
        count = len(self.rows)
        for index, row in enumerate(self.rows):
            following = self.rows[(index + 1) % count]
            if index + 1 < count and (row.month, row.day) >= (following.month, following.day):
                raise PlanError("row %d does not come after the one before" % (index + 1))
            for other in (row, following):
                if (
                    row.cycles
                    and other.cycles
                    and row.start_min_of(row.cycles - 1) >= 1440 + other.start_min_of(0)
                ):
                    raise PlanError("row %d has cycles after the next day's first" % index)

    def pack(self) -> bytes:
        """Return the plan as bytes, and set `crc`. Raises PlanError where `check` does."""
        self.check()
        parts = [
            struct.pack(
                _HEAD,
                _MAGIC,
                VERSION,
                len(self.supplies),
                len(self.zones),
                len(self.rows),
                len(self.bans),
            ),
            _pack(self.hub),
        ]
        for supply in self.supplies:
            parts.append(_pack(supply))
        for zone in self.zones:
            parts.append(_pack(zone) + struct.pack("<%ds" % NAME_BYTES, zone.name.encode()))
        for row in self.rows:
            starts = row.starts_min
            parts.append(_pack(row) + struct.pack("<B", len(starts)))
            for minute in starts:
                parts.append(struct.pack("<H", minute))
        for ban in self.bans:
            parts.append(_pack(ban))
        body = b"".join(parts)
        self.crc = crc32(body)
        return body + struct.pack("<I", self.crc)


def unpack(data: bytes) -> Plan:
    """Return the plan in `data`.

    Raises:
        PlanError: wrong magic, version, length or CRC, or a plan that breaks a rule.
    """
    if len(data) < _HEAD_BYTES + 4:
        raise PlanError("too short")
    magic, version, supplies, zones, rows, bans = struct.unpack_from(_HEAD, data)
    if magic != _MAGIC:
        raise PlanError("not a plan")
    if version != VERSION:
        raise PlanError("version %d, not %d" % (version, VERSION))
    (crc,) = struct.unpack_from("<I", data, len(data) - 4)
    if crc != crc32(data[:-4]):
        raise PlanError("crc does not match")
    reader = _Reader(data)
    plan = Plan(
        HubPart(reader.part(HubPart)),
        [SupplyPart(reader.part(SupplyPart)) for _ in range(supplies)],
        [ZonePart(reader.part(ZonePart), reader.name()) for _ in range(zones)],
        [RowPart(reader.part(RowPart), reader.starts()) for _ in range(rows)],
        [BanPart(reader.part(BanPart)) for _ in range(bans)],
    )
    if reader.at != len(data) - 4:
        raise PlanError("too long")
    plan.check()
    plan.crc = crc
    return plan


class _Reader:
    """Walks over packed parts, never past the CRC."""

    def __init__(self, data: bytes) -> None:
        self.data = data
        self.at = _HEAD_BYTES

    def take(self, code: str) -> "tuple[int, ...]":
        at = self.at
        self.at += struct.calcsize(code)
        if self.at > len(self.data) - 4:
            raise PlanError("too short")
        return struct.unpack_from(code, self.data, at)

    def part(self, kind: "type[Part]") -> "dict[str, int]":
        values = self.take(kind.code())
        return {field[0]: value for field, value in zip(kind.FIELDS, values)}

    def name(self) -> str:
        codes = bytes(self.take("<%dB" % NAME_BYTES)).rstrip(b"\0")
        return "".join([chr(code) for code in codes])

    def starts(self) -> "tuple[int, ...]":
        (count,) = self.take("<B")
        return self.take("<%dH" % count)


def _pack(part: Part) -> bytes:
    return struct.pack(part.code(), *part.values())


def _is_plain(name: str) -> bool:
    return len(name) <= NAME_BYTES and all(32 <= ord(letter) < 127 for letter in name)


def _check_count(what: str, count: int, least: int, most: int) -> None:
    if not least <= count <= most:
        raise PlanError("%d %s, not %d..%d" % (count, what, least, most))


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
