"""When the sensors are read next. Reading them turns what the board has seen into facts, once."""

from ._const import const

TYPE_CHECKING = const(0)
if TYPE_CHECKING:
    from .journal import Record
    from .lockouts import Lockouts
    from .plan import Plan
    from .ports import Seen
    from .trim import Trim


class Senses:
    """The polls.

    polled_up_s: when the sensors were last read
    due_up_s: when they are to be read next
    """

    polled_up_s = -1
    due_up_s = 0

    def __init__(self, plan: "Plan", record: "Record", lockouts: "Lockouts", trim: "Trim") -> None:
        self._hub = plan.hub
        self._record = record
        self._lockouts = lockouts
        self._trim = trim

    def poll(self, seen: "Seen", up_s: int) -> bool:
        """Read every sensor but the meters. Returns True if what holds water back has changed."""
        self.polled_up_s = up_s
        lockouts = self._lockouts
        opening = self._record.opening
        changed = lockouts.poll(seen, up_s, opening)
        if changed:
            for zone, probe in enumerate(lockouts.probes):
                if probe is not None and not probe.trusted:
                    self._trim.forget_probe(zone)
        due_up_s = up_s + (self._hub.watch_s if opening else self._hub.poll_s)
        if up_s < lockouts.dry_up_s < due_up_s:
            due_up_s = lockouts.dry_up_s
        self.due_up_s = due_up_s
        return changed

    def read_by(self, up_s: int) -> None:
        """Have the sensors read at `up_s` at the latest."""
        if up_s < self.due_up_s:
            self.due_up_s = up_s

    def stale(self, up_s: int) -> bool:
        """Whether the last reading is older than any is while a valve is open."""
        return up_s - self.polled_up_s >= 2 * self._hub.watch_s
