"""What may go wrong with the simulated devices, and when."""

from dataclasses import dataclass
from enum import Enum, auto


class PowerCut(BaseException):
    """Power went. No Exception, so no handler of the hub's sees it: a real one could not either."""


class Trouble(Enum):
    """What may go wrong with a device."""

    DRIVER_RAISES = auto()  # a valve
    STUCK_OPEN = auto()  # a valve
    BLOCKED = auto()  # a zone's hose
    BURST = auto()  # a zone's hose
    PROBE_STUCK = auto()  # a zone
    PROBE_OPEN = auto()
    PROBE_SHORT = auto()
    PROBE_SILENT = auto()
    THERMOMETER_SILENT = auto()
    THERMOMETER_STUCK = auto()
    THERMOMETER_COLD = auto()  # far colder than any air
    THERMOMETER_HOT = auto()
    GAUGE_SILENT = auto()
    GAUGE_BLOCKED = auto()  # it counts nothing
    GAUGE_CHATTERS = auto()  # it counts where nothing falls, more than any sky gives
    GAUGE_DRIPS = auto()  # the same, but less: such as under a gutter that drips
    SAVE_RAISES = auto()
    SAVE_LOST = auto()


@dataclass(frozen=True)
class Fault:
    """A trouble from one time to another; `which` is a valve or zone where it concerns one."""

    what: Trouble
    start_s: int
    end_s: int
    which: int = 0


class DriverError(Exception):
    """A driver that failed. A board's raises OSError; of that mypyc makes no class."""
