"""What the clocks say: uptime, which alone is steady, and the wall clock, uptime plus a skew."""

from ._const import const
from .limits import DAY_S, STEP_TOLERANCE_S, WALL_MAX

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from .civil import LocalTime
    from .plan import HubPart

_FIRST_DAY = const(2)  # the calendar looks a day back, and counts none below 0

# What `take` finds.
AS_EXPECTED = const(0)
LOST = const(1)  # the clock is not trusted, or no longer
FOUND = const(2)
STEPPED = const(3)


class Clock:
    """Uptime, and the wall clock measured against it.

    up_s: the uptime of the step under way
    trusted: whether the wall clock is known
    skew_s: wall less uptime
    """

    up_s = 0
    trusted = False
    skew_s = 0

    def __init__(self, hub: "HubPart", time: "LocalTime") -> None:
        self.time = time
        self._least_s = _FIRST_DAY * DAY_S - min(hub.std_s, hub.dst_s)

    def take(self, up_s: int, wall_s: "int | None") -> int:
        """Note both clocks. Returns LOST, FOUND, STEPPED or AS_EXPECTED."""
        self.up_s = up_s
        if wall_s is None or not self._least_s <= wall_s < WALL_MAX:
            self.trusted = False
            return LOST
        moved_s = wall_s - up_s - self.skew_s
        if self.trusted and not moved_s:
            return AS_EXPECTED
        self.skew_s += moved_s
        if not self.trusted:
            self.trusted = True
            return FOUND
        return AS_EXPECTED if -STEP_TOLERANCE_S <= moved_s <= STEP_TOLERANCE_S else STEPPED

    def at(self, up_s: int) -> None:
        """Note the uptime alone."""
        self.up_s = up_s

    def wall_s(self, up_s: int) -> int:
        """UTC seconds, or 0 while the clock is not trusted."""
        return up_s + self.skew_s if self.trusted else 0

    def local_s(self, up_s: int) -> "int | None":
        """Local seconds, or None while the clock is not trusted."""
        return self.time.local_s(up_s + self.skew_s) if self.trusted else None
