"""What the hub says of itself: coded events, and the bounded log that keeps the last of them.

An event is `(what, zone, why, value, ml, boots, up_s, wall_s)`. `zone` is -1 where it concerns the
hub, a zone index, or `ZONES_MAX + n` for supply n; `wall_s` is -1 while the clock is not trusted.
`value` is seconds for OPENED (planned), CLOSED and CUT_SHORT (given); else it goes with `why`.

`what` and `why` are counted from 0. A code's word is its name in small letters; the core does not
hold it: see `words.py`.
"""

import struct

from ._const import const

_LAYOUT = "<BhBqqHIq"  # of an event in the log
_EVENT_BYTES = const(34)
_EVENTS_MAX = const(64)  # kept for a console; older ones are overwritten

# What happened.
BOOT = const(0)
OPENED = const(1)
CLOSED = const(2)
CUT_SHORT = const(3)
SKIPPED = const(4)
LOCKED = const(5)
RELEASED = const(6)  # what ends is one past what begins
ALARM = const(7)
CLEARED = const(8)
ACCEPTED = const(9)
REFUSED = const(10)
TRIMMED = const(11)  # value: the zone's whole trim, percent
REWETTING = const(12)  # value: days left
LEARNED = const(13)  # value: a zone's flow, ml/min

# Why. The first group holds water back; the order is the order in which they are asked.
OK = const(0)
FAULT = const(1)
LOW_BATTERY = const(2)
FROST = const(3)
QUIET = const(4)
LOST_CLOCK = const(5)
HOLD = const(6)
CLOSED_SEASON = const(7)
RAIN = const(8)
WET_SOIL = const(9)
# Why a run was not given, or ended.
NO_TIME = const(10)
CAP = const(11)
REST = const(12)
GAP = const(13)
OPEN_LIMIT = const(14)
TOO_SHORT = const(15)
LONGEST = const(16)
POWER = const(17)
CLOCK = const(18)
OWNER = const(19)
PLAN = const(20)
DONE = const(21)
LITRES = const(22)
# Why a valve opened.
PLANNED = const(23)
MANUAL = const(24)
TEST = const(25)
# What is wrong.
NO_FLOW = const(26)
BURST = const(27)
LEAK = const(28)
DRIVER = const(29)
STORE = const(30)
BROKEN = const(31)
PROBE = const(32)
STALE = const(33)
DRY_AT_FULL = const(34)
SUPPLY_NO_FLOW = const(35)
# Why an owner's command was refused, or what it was.
BUSY = const(36)
UNKNOWN = const(37)
AFTER_RAIN = const(38)
AFTER_CYCLE = const(39)
TOO_SOON = const(40)
TOO_MANY = const(41)
BAD_PLAN = const(42)
CHECK = const(43)
AUTOMATIC = const(44)
CLEAR = const(45)
SEASON = const(46)
CRASH = const(47)
# What the runner says.
TROUBLE = const(48)  # an alarm: something was raised, or the plan is not the record's; see the note
# What else is wrong.
CONTACT_STALE = const(49)  # a rain contact says nothing
OFF_PLAN = const(50)  # a flow too far from the plan's to be learned; value: that flow, ml/min


class Log:
    """The last events, oldest first, in a ring of bytes that never grows."""

    def __init__(self) -> None:
        self._ring = bytearray(_EVENTS_MAX * _EVENT_BYTES)
        self._count = 0

    def add(self, event: "tuple[int, ...]") -> None:
        """Keep an event, forgetting the oldest when full."""
        at = self._count % _EVENTS_MAX * _EVENT_BYTES
        struct.pack_into(_LAYOUT, self._ring, at, *event)
        self._count += 1

    def events(self) -> "list[tuple[int, ...]]":
        """Return the events kept, oldest first."""
        found = []
        for number in range(max(0, self._count - _EVENTS_MAX), self._count):
            at = number % _EVENTS_MAX * _EVENT_BYTES
            found.append(struct.unpack_from(_LAYOUT, self._ring, at))
        return found
