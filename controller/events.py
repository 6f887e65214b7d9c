"""What the hub says of itself: coded events, and the bounded log that keeps the last of them.

An event is `(what, zone, why, value, ml, boots, up_s, wall_s)`. `zone` is -1 where it concerns the
hub, a zone index, or `ZONES_MAX + n` for supply n; `wall_s` is -1 while the clock is not trusted.
`value` is seconds for OPENED (planned), CLOSED and CUT_SHORT (given); else it goes with `why`.

`what` and `why` are counted from 0. A code's word is its name in small letters; the core does not
hold it: see `words.py`.
"""

import struct

from . import const

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
LEARNED = const(11)  # value: a zone's flow, ml/min
CORRECTED = const(12)  # value: by how much a finding moved the estimate, um; drier is more
LACKS = const(13)  # a zone's day has passed; value: what it lacks, um; ml: rain and water, um

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
ENOUGH = const(12)  # the zone lacks less than a dose
REST = const(13)
GAP = const(14)
OPEN_LIMIT = const(15)
TOO_SHORT = const(16)
LONGEST = const(17)
POWER = const(18)
CLOCK = const(19)
OWNER = const(20)
PLAN = const(21)
DONE = const(22)
LITRES = const(23)
# Why a valve opened.
PLANNED = const(24)
MANUAL = const(25)
TEST = const(26)
# What is wrong.
NO_FLOW = const(27)
BURST = const(28)
LEAK = const(29)
DRIVER = const(30)
STORE = const(31)
BROKEN = const(32)
PROBE = const(33)
STALE = const(34)  # the thermometer says nothing, or what no air is
STUCK = const(35)  # a day long the thermometer said the same
RAIN_STALE = const(36)  # a rain sensor says nothing, or what no sky gives
SUPPLY_NO_FLOW = const(37)
# Why an owner's command was refused, or what it was.
BUSY = const(38)
UNKNOWN = const(39)
AFTER_RAIN = const(40)
AFTER_CYCLE = const(41)
NO_ESTIMATE = const(42)  # the plan has none that could be corrected
TOO_MANY = const(43)
BAD_PLAN = const(44)
CHECK = const(45)
SAMPLE = const(46)
CRASH = const(47)
# What the runner says.
TROUBLE = const(48)  # an alarm: something was raised, or the plan is not the record's; see the note
# What else the guided test says.
OFF_PLAN = const(49)  # a flow too far from the plan's to be learned; value: that flow, ml/min


class Log:
    """The last events, oldest first, in a ring of bytes that never grows."""

    _count = 0  # of all events so far

    def __init__(self) -> None:
        self._ring = bytearray(_EVENTS_MAX * _EVENT_BYTES)

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
