"""The compiled plan: what the desktop works out from a property and the hub obeys.

One table a part names every field with its `struct` code; packing and unpacking both read it.
Fields are integers with their unit last in the name: `_s` seconds, `_um` micrometres of water,
`_ml` millilitres, `_pct` percent, `_ppt` parts per thousand, `_ppm` parts per million, `_mpf`
thousandths of pF, `_mc` thousandths of a degree Celsius, `_mv` millivolts, `_min` minutes of the
local day. What a strip lacks is water below pF 2, as in `estimate.py`.

Layout, little-endian: magic, version, counts of supplies, zones, rows, bans; the hub part (followed
by its table of the sun); the supplies, zones (each followed by its name), rows (each followed by
its explicit start minutes) and bans; CRC-32 of all before. A board checks that, and what would stop
it; each field's range and how the fields have to fit each other are checked where plans are made,
by `evenclay.tools.property.plan_ranges`.
"""

import struct
from binascii import crc32

from . import const, limits

_PLAN_MAGIC = b"Ep\x05"  # the last is the version
_HEAD_BYTES = const(7)
_PART_BYTES_MAX = const(192)  # more than any part takes
_START_GRACE_MIN = const(360)  # how long after a start time a run may end: a quarter of a day

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from typing import Any

# Kinds of rain sensor.
NO_RAIN_SENSOR = const(0)
GAUGE = const(1)  # measures depth: the estimate
CONTACT = const(2)  # only wet or dry: a drying time

# Which days may be watered, by date.
ANY_DATE = const(0)
ODD_DATES = const(1)
EVEN_DATES = const(2)

# Kinds of ban.
BAN_HOURS = const(0)  # minutes of the day, from `first` until before `last`; may cross midnight
BAN_DATES = const(1)  # month * 32 + day, `first` to `last` included; may cross the new year


class PlanError(ValueError):
    """A plan that must not be used; says what is wrong with it."""


class Part:
    """One part of a plan: a bag of integers named by FIELDS: name and `struct` code of each."""

    FIELDS: str
    TAIL = ""  # the `struct` code of what follows the fields
    MOST = 1  # parts of this kind

    def __init__(self, values: "dict[str, Any]") -> None:
        for name in values:
            setattr(self, name, values[name])

    if _TYPE_CHECKING:

        def __getattr__(self, name: str) -> int:
            raise NotImplementedError


class HubPart(Part):
    """What holds for the whole hub: local time, rain, frost, battery, the estimate."""

    FIELDS = (
        "std_s i "  # local offset outside the rule's summer
        "dst_s i "
        "dst B "  # 0: no summer time
        "on_month B "
        "on_week B "  # 5: the last
        "on_weekday B "  # Sunday = 0
        "on_s i "
        "off_month B "
        "off_week B "
        "off_weekday B "
        "off_s i "
        "open_max B "
        "poll_s H "  # sensors, all valves shut
        "watch_s H "  # sensors and flow, a valve open
        "frost B "  # 1: there is a thermometer
        "frost_on_mc i "
        "frost_off_mc i "
        "frost_hold_s H "
        "rain_kind B "
        "rain_skip_um H "  # a day; a check need not wait for less to drain
        "dry_after_s i "
        "weekdays B "  # bit 0 = Monday: watering allowed
        "dates B "
        "battery B "  # 1: there is a battery to watch
        "battery_open_mv H "
        "battery_reserve_mv H "
        "estimate B "  # 0: each run is the row's minutes times the share, as on a plain timer
        "dose_um H "  # the least that is worth giving
        "opening_um H "  # a day at most while a zone comes up to its target after an opening
        "yard_top_um H "  # these are terms of `estimate.day`, beside nothing
        "yard_top_ppt H "
        "yard_freely_um I "
        "yard_end_um I "
        "yard_demand_ppt H "  # of the day's demand
        "yard_hold_um I "  # water a pF
        "yard_lack_um I "  # its long-run mean, where a first boot begins
        "sample_gain_pct B "  # how far a finding moves the estimate
        "sensor_gain_pct B "
        "learn_ppt B "  # and how much, at most, it teaches of a zone's factor
        "whole_mpf H "  # what counts whole for that
    )
    # Radiation from beyond the air, as the water that it could evaporate in a day, um: in the
    # middle of each 24th of a year of 365 days, from 1 January on; between these by straight lines.
    TAIL = "24H"
    sun_um: "tuple[int, ...]"


class SupplyPart(Part):
    """One spigot."""

    FIELDS = (
        "flow_ml_min I "  # what it gives; 0: not known, not judged
        "gap_s H "  # between closing one valve and opening the next; at least `travel_s`
        "travel_s H "  # what a motorised valve takes to open or to shut
        "meter B "
        "master B "  # a valve upstream of all its zones
    )
    MOST = limits.SUPPLIES_MAX


class ZonePart(Part):
    """One valve and the strip it waters."""

    FIELDS = (
        "tag H "  # stable: estimate and minutes follow it into the next plan
        "supply B "
        "share_pct H "
        "rest_s H "
        "cap_s H "
        "longest_s H "
        "flow_ml_min H "  # expected; 0: not known
        "rate_um_h I "  # depth over the strip an hour; 0: not known
        "exposure_pct H "  # of the rain; a downspout gives far more than 100
        "held B "  # 1: the valve shuts when power goes; 0: it latches
        "probe B "
        "wet_ppt H "  # locked at or above
        "wet_off_ppt H "  # released below
        "demand_ppt H "  # of the day's demand
        "top_um H "  # these are terms of `estimate.day`
        "top_ppt H "
        "freely_um I "
        "end_um I "
        "beside_ppm H "
        "hold_um I "  # water a pF, below the top
        "begin_um I "  # what a first boot takes it to lack
        "target_um I "  # lack at its target
        "sensor B "  # 1 + the zone whose probe speaks for it, which may be its own; 0: none
        "full_ppt H "  # what that probe shows at pF 2
        "per_pf_ppt H "  # and how much less a pF
        "error_mpf H "  # what its probe, or a sample, may read too wet for good
        "class1_um I "  # lacks at the borders of a sample's classes: class 0 lacks this or more,
        "class2_um I "  # class 1 less than that and this or more,
        "class3_um I "
        "class4_um I "  # class 4 less than this
    )
    MOST = limits.ZONES_MAX
    TAIL = "12s"  # a name, which tells zones apart on a one-line display
    name: str


class RowPart(Part):
    """The season that begins on a month and day and lasts until the next row's."""

    FIELDS = (
        "month B "
        "day B "
        "cycles B "
        "run_s H "  # a cycle and zone, at a share of 100 %; with an estimate: at most
        "run_ml I "  # instead of run_s where not 0 (run_s then bounds it)
        "demand_um H "  # mean reference demand a day: where no thermometer is trusted
        "rain_um H "  # mean rain a day on open ground: where no gauge is trusted, or there is none
        "start_min H "
        "length_min H "
    )
    MOST = 24  # one a half-month: the finest calendar anyone writes by hand
    TAIL = "B"  # how many explicit starts follow
    starts_min: "tuple[int, ...]"  # explicit starts, which stand instead of a window

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
            return self.starts_min[cycle] + _START_GRACE_MIN
        return self.start_min + self.length_min


class BanPart(Part):
    """Hours of every day, or dates of every year, at which nothing may be watered."""

    FIELDS = "kind B first H last H "
    MOST = 8  # hours and dates together


_KINDS = (HubPart, SupplyPart, ZonePart, RowPart, BanPart)


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

    def pack(self) -> bytes:
        """Return the plan as bytes, and set `crc`. Fields must be in their ranges."""
        counts = (len(self.supplies), len(self.zones), len(self.rows), len(self.bans))
        body = _PLAN_MAGIC + bytes(counts)
        for part in [self.hub] + self.supplies + self.zones + self.rows + self.bans:
            words = part.FIELDS.split()
            code = "<" + "".join(words[1::2]) + part.TAIL
            values = list(map(part.__dict__.get, words[::2]))
            if isinstance(part, HubPart):
                values += part.sun_um
            elif isinstance(part, ZonePart):
                values.append(part.name.encode())
            elif isinstance(part, RowPart):
                starts = part.starts_min
                code += "%dH" % len(starts)
                values += (len(starts),) + starts
            body += struct.pack(code, *values)
        self.crc = crc32(body)
        return body + self.crc.to_bytes(4, "little")


def unpack(data: bytes) -> Plan:
    """Return the plan in `data`.

    Raises:
        PlanError: wrong magic, version, length or CRC, or a field that a hub could not run by.
    """
    end = len(data) - 4
    if data[:3] != _PLAN_MAGIC or end < _HEAD_BYTES:
        raise PlanError("no plan of version 5")
    crc = crc32(data[:end])
    if crc.to_bytes(4, "little") != data[end:]:
        raise PlanError("wrong crc")
    body = data[:end] + bytes(_PART_BYTES_MAX)  # a part cut short is found out once it was read
    at = _HEAD_BYTES
    groups: "list[Any]" = []
    for kind, count in zip(_KINDS, b"\1" + data[3:_HEAD_BYTES]):
        if count > kind.MOST or (not count and kind is not BanPart):
            raise PlanError("%d parts of a kind" % count)
        words = kind.FIELDS.split()
        code = "<" + "".join(words[1::2]) + kind.TAIL
        group = []
        for _ in range(count):
            values = struct.unpack_from(code, body, at)
            at += struct.calcsize(code)
            part: "Any" = kind(dict(zip(words[::2], values)))
            if kind is HubPart:
                part.sun_um = values[-24:]
            elif kind is ZonePart:
                part.name = "".join(map(chr, values[-1])).rstrip("\0")
                if part.supply >= data[3]:
                    raise PlanError("supply %d" % part.supply)
                if part.sensor > data[4]:
                    raise PlanError("sensor %d" % part.sensor)
                hub = groups[0][0]
                if hub.estimate and not (
                    hub.yard_hold_um and part.hold_um and part.rate_um_h and part.per_pf_ppt
                ):
                    raise PlanError("0 in an estimate")
            elif kind is RowPart:
                starts = values[-1]
                if starts and starts != part.cycles:
                    raise PlanError("cycles %d" % part.cycles)
                part.starts_min = struct.unpack_from("<%dH" % starts, body, at)
                at += 2 * starts
            if at > end:
                raise PlanError("wrong length")
            group.append(part)
        groups.append(group)
    if at != end:
        raise PlanError("wrong length")
    plan = Plan(groups[0][0], *groups[1:])
    plan.crc = crc
    return plan
