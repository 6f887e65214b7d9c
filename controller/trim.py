"""How long a zone's run is: the row, its share, what blade and probe taught, and re-wetting."""

from . import events
from ._const import const
from .limits import DRY_CHECKS, OPENING_DAYS, SETTLE_S
from .plan import AUTO_BOTH
from .ports import DRY, WET

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from typing import Callable

    from .journal import Record
    from .plan import Plan, RowPart
    from .probe import Probe


class Trim:
    """The zones' trims, kept in the record. `tell` reports each change."""

    def __init__(self, plan: "Plan", record: "Record", tell: "Callable[..., None]") -> None:
        self._plan = plan
        self._record = record
        self._tell = tell

    # What a run is to be.

    def pct(self, zone: int, trusted: bool) -> int:
        """Return the zone's whole trim, percent of row x share.

        Without a trusted probe where there should be one the hub's own trim does not count, and
        nothing is added to the table.
        """
        hub = self._plan.hub
        record = self._record
        pct: int = record.trim_pct[zone]
        if not trusted:
            return min(pct, 100)
        pct = min(max(pct + record.auto_pct[zone], hub.trim_least_pct), hub.trim_most_pct)
        if record.rewet_days[zone]:
            pct = min(pct + hub.rewet_pct - 100, hub.rewet_pct)
        return pct

    def room_s(self, zone: int) -> int:
        """Return how long the zone may still be watered today, seconds."""
        part = self._plan.zones[zone]
        cap_s = part.cap_s
        if self._record.rewet_days[zone] and part.rate_um_h:
            cap_s = min(cap_s, self._plan.hub.rewet_um * 3600 // part.rate_um_h)
        used_s: int = self._record.used_s[zone]
        return max(0, cap_s - used_s)

    def run(self, zone: int, row: "RowPart", trusted: bool) -> "tuple[int, int]":
        """Return the longest a run may last, seconds, and the water at which it ends, ml.

        The water is 0 where the row asks for minutes.
        """
        part = self._plan.zones[zone]
        pct = part.share_pct * self.pct(zone, trusted)
        run_s = row.run_s
        run_ml = row.run_ml
        if not run_ml:
            run_s = run_s * pct // 10000
        else:
            run_ml = max(run_ml * pct // 10000, 1)
            flow_ml_min = self._record.flow_ml_min[zone] or part.flow_ml_min
            if flow_ml_min:
                needs_s = run_ml * 60 // flow_ml_min
                if self._plan.supplies[part.supply].meter:
                    # The meter ends it; time is only the bound: a quarter more, and a hose to fill.
                    needs_s = run_ml * 75 // flow_ml_min + SETTLE_S
                run_s = min(run_s, needs_s)
        return min(run_s, part.longest_s, self.room_s(zone)), run_ml

    # What moves it.

    def check(self, zone: int, readings: "tuple[int, ...]", day: int) -> int:
        """Take the owner's blade readings of a zone: wet counts before dry, dry before firm.

        Returns OK, or why the trim did not move.
        """
        record = self._record
        record.dirty = True
        hub = self._plan.hub
        wet = WET in readings
        dry = DRY in readings and not wet
        self._note_dryness(zone, day, dry)
        before_pct = record.trim_pct[zone]
        # The owner is told of the second dry check at full trim, once.
        before = record.dry_full[zone]
        count = 0
        if dry and before_pct >= hub.trim_most_pct:
            count = min(before + 1, DRY_CHECKS)
        record.dry_full[zone] = count
        if (count == DRY_CHECKS) != (before == DRY_CHECKS):
            self._tell(
                events.ALARM if count else events.CLEARED, zone, events.DRY_AT_FULL, before_pct
            )
        if not wet and not dry:
            return events.OK
        if self._moved_lately(zone, day):
            return events.TOO_SOON
        step_pct = hub.trim_step_pct if dry else -hub.trim_step_pct
        pct = min(max(before_pct + step_pct, hub.trim_least_pct), hub.trim_most_pct)
        if pct != before_pct:
            record.trim_pct[zone] = pct
            record.trim_day[zone] = day
            self._tell(events.TRIMMED, zone, events.CHECK, pct)
        return events.OK

    def check_by_probe(self, zone: int, soil: int, day: int) -> bool:
        """Do the weekly check by what a probe says: down always, up only as far as allowed.

        Returns True if the trim moved.
        """
        record = self._record
        hub = self._plan.hub
        owner_pct = record.trim_pct[zone]
        before_pct = record.auto_pct[zone]
        pct = before_pct
        if soil == DRY:
            most_pct = hub.trim_most_pct if hub.auto_trim == AUTO_BOTH else 100
            pct = max(pct, min(pct + hub.trim_step_pct, most_pct - owner_pct))
        elif soil == WET:
            pct = min(pct, max(pct - hub.trim_step_pct, hub.trim_least_pct - owner_pct))
        if pct == before_pct or self._moved_lately(zone, day):
            return False
        record.auto_pct[zone] = pct
        record.trim_day[zone] = day
        self._tell(events.TRIMMED, zone, events.AUTOMATIC, owner_pct + pct)
        return True

    def forget_untrusted(self, probes: "list[Probe | None]") -> None:
        """What an untrusted probe taught does not count."""
        record = self._record
        for zone, probe in enumerate(probes):
            if probe and not probe.trusted and record.auto_pct[zone]:
                record.auto_pct[zone] = 0
                record.dirty = True

    def _moved_lately(self, zone: int, day: int) -> bool:
        moved_day: int = self._record.trim_day[zone]
        return moved_day > 0 and 0 <= day - moved_day < self._plan.hub.trim_gap_days

    def new_day(self, zone: int, day: int, soil: int) -> None:
        """Count re-wetting days, and see what a trusted probe says of the opening."""
        if self._record.rewet_days[zone]:
            self._rewet(zone, day, True)
        if soil:
            self._note_dryness(zone, day, soil == DRY)

    def opened(self, day: int) -> None:
        """The season opens, or a long dry hold ends: re-wet what is known to be dry."""
        record = self._record
        record.opened_day = day
        for zone, dry_day in enumerate(record.dry_day):
            if dry_day and day - dry_day <= OPENING_DAYS and not record.rewet_days[zone]:
                self._rewet(zone, day, True)

    def _note_dryness(self, zone: int, day: int, dry: bool) -> None:
        """Note that a strip is known to be too dry, or not to be; re-wet it after an opening."""
        record = self._record
        record.dry_day[zone] = day if dry else 0
        opened_day = record.opened_day
        if not dry:
            self._rewet(zone, day, False)
        elif opened_day and day - opened_day <= OPENING_DAYS and not record.rewet_days[zone]:
            self._rewet(zone, day, True)

    def _rewet(self, zone: int, day: int, dry: bool) -> None:
        """Re-wet a dry strip for as many days as are left, and no other.

        They count from the opening, whenever it began: a strip that is dry, moist and dry again is
        not given all of them twice. When the clock was set far back that opening is not known.
        """
        record = self._record
        gone = day - record.opened_day
        left = 0
        if dry and gone >= -OPENING_DAYS:
            left = max(0, self._plan.hub.rewet_days - max(0, gone))
        if (left > 0) != (record.rewet_days[zone] > 0):
            self._tell(events.REWETTING, zone, events.SEASON, left)
        record.rewet_days[zone] = left
