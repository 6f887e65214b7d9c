"""What passes between the hub and the hardware: commands out, what was seen and asked in.

Commands are tuples, most urgent first. They are carried out in order, and the first that fails is
the last that is tried: a valve whose intent was not written does not open.

- `(CLOSE, valve)`
- `(SAVE, slot, data)`: write `data` to the record or plan store and read it back
- `(OPEN, valve, deadline_s)`: the driver must shut the valve by itself after `deadline_s`
- `(REPORT, event)`: see `evenclay.controller.events`

Valves are numbered: the zones in plan order, then one master a supply. What an owner asks for is a
tuple `(what, zone, value)`; `value` is an integer unless said otherwise below.
"""

from . import const

CLOSE = const(0)
SAVE = const(1)
OPEN = const(2)
REPORT = const(3)

# How a command went.
CARRIED_OUT = const(0)
FAILED = const(1)
UNTRIED = const(2)  # one before it failed

# Slots of the store; SAVE has the first two.
RECORD = const(0)
PLAN = const(1)
NOTE = const(2)  # why the hub last gave up: a line of text in copy 0, written once a minute at most

# What an owner may ask for.
ASK_HOLD = const(0)  # value: UTC seconds until which nothing is watered; 0 ends the hold
ASK_CHECK = const(1)  # value: tuple of blade readings, one a spot: DRY, FIRM or WET
ASK_RUN = const(2)  # value: seconds
ASK_RUN_ANYWAY = const(3)  # the same, against rain, wet soil, hold, closed season and lost clock
ASK_STOP = const(4)
ASK_CLEAR = const(5)  # zone, or -1 for every fault
ASK_CLOCK = const(6)  # value: UTC seconds; the runner sets the clock, the hub takes note
ASK_PLAN = const(7)  # value: the packed plan
ASK_TEST = const(8)  # the guided test of every zone
ASK_SAMPLE = const(9)  # value: tuple of classes, one a spot: 0, the driest, to 4; or one of them
ASK_RAIN = const(10)  # value: um that the owner's own gauge has caught today, so far

# What a blade finds.
DRY = const(1)
FIRM = const(2)
WET = const(3)
SAMPLE_MOST = const(4)  # the wettest class of a sample from half a metre down


class Seen:
    """What the board measured, and how the last commands went. None: not measured.

    done: how many of the last step's commands were carried out, counted from the first
    rain_um: rain since boot, um (a gauge)
    rain_wet: a contact's state
    soil_vwc_ppt: volumetric water content, a zone, ppt
    temp_mc: air temperature at the hub, thousandths of a degree Celsius
    battery_mv: battery under load, mV
    meter_ml: water through each supply's meter since boot, ml
    power_fails: the supply is gone, and what is stored shuts the valves
    """

    done = 0
    power_fails = False
    rain_um: "int | None" = None
    rain_wet: "bool | None" = None
    temp_mc: "int | None" = None
    battery_mv: "int | None" = None

    def __init__(self, zones: int, supplies: int) -> None:
        self.soil_vwc_ppt: "list[int | None]" = [None] * zones
        self.meter_ml: "list[int | None]" = [None] * supplies


_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from typing import Any, Protocol

    Command = tuple[Any, ...]
    Asked = tuple[int, int, object]

    class Ports(Protocol):
        """What a board gives the runner. Any method may raise; the runner copes."""

        valves: int  # how many there are: zones, then masters

        def up_s(self) -> int:
            """Seconds since boot, sleep included."""

        def wall_s(self) -> "int | None":
            """UTC seconds since 2000-01-01, or None while the clock is not trusted."""

        def set_wall_s(self, wall_s: int) -> None:
            """Set the clock."""

        def look(self) -> Seen:
            """Read every sensor; the same object may be returned each time."""

        def take_asked(self) -> "list[Asked]":
            """Owner commands since the last call."""

        def close(self, valve: int) -> None:
            """Shut a valve."""

        def open(self, valve: int, deadline_s: int) -> None:
            """Open a valve, and arm its own deadline."""

        def read(self, slot: int, copy: int) -> bytes:
            """Bytes last written to copy 0 or 1 of a slot; b"" if nothing ever was.

            Raises whatever the store does if it cannot be read: that is not nothing.
            """

        def write(self, slot: int, copy: int, data: bytes) -> None:
            """Write, and return once it would survive a power cut."""

        def report(self, event: "tuple[int, ...]") -> None:
            """Show or send an event."""

        def feed(self) -> None:
            """Feed the watchdog."""
