"""One run of one zone: what was intended, and what came of it."""

from controller._const import const
from controller.events import OK, PLANNED

_UNKNOWN = const(-1)


class Run:
    """A run about to begin, or under way."""

    open = False  # its OPEN was carried out
    opening: "tuple[int, ...]" = ()  # the event that says so
    flow_ml_min = _UNKNOWN  # last measured
    bad_flow = False
    ended = OK  # why it is being closed

    def __init__(
        self, zone: int, run_s: int, run_ml: int = 0, kind: int = PLANNED, anyway: bool = False
    ) -> None:
        self.zone = zone
        self.run_s = run_s
        self.run_ml = run_ml  # ends the run when given; 0: minutes do
        self.kind = kind  # PLANNED, MANUAL or TEST
        self.anyway = anyway  # the owner overrides what may be overridden
