"""How long a zone's run is: the row, its share, what blade and probe taught, and re-wetting."""

from controller._const import TYPE_CHECKING
from controller.events import (
    ALARM,
    AUTOMATIC,
    CHECK,
    CLEARED,
    DRY_AT_FULL,
    OK,
    REWETTING,
    SEASON,
    TOO_SOON,
    TRIMMED,
)
from controller.limits import DRY_CHECKS, OPENING_DAYS, SETTLE_S
from controller.plan import AUTO_BOTH
from controller.ports import DRY, FIRM, WET

if TYPE_CHECKING:
    from typing import Callable

    from controller.journal import Record
    from controller.plan import Plan, RowPart


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
        pct = self._record.trim_pct[zone]
        if not trusted:
            return min(pct, 100)
        pct = min(max(pct + self._record.auto_pct[zone], hub.trim_least_pct), hub.trim_most_pct)
        if self._record.rewet_days[zone]:
            return min(pct + hub.rewet_pct - 100, hub.rewet_pct)
        return pct

    def room_s(self, zone: int) -> int:
        """Return how long the zone may still be watered today, seconds."""
        part = self._plan.zones[zone]
        cap_s = part.cap_s
        if self._record.rewet_days[zone] and part.rate_um_h:
            cap_s = min(cap_s, self._plan.hub.rewet_um * 3600 // part.rate_um_h)
        return max(0, cap_s - self._record.used_s[zone])

    def run(self, zone: int, row: "RowPart", trusted: bool) -> "tuple[int, int]":
        """Return the longest a run may last, seconds, and the water at which it ends, ml.

        The water is 0 where the row asks for minutes.
        """
        part = self._plan.zones[zone]
        pct = part.share_pct * self.pct(zone, trusted)
        most_s = min(part.longest_s, self.room_s(zone))
        if not row.run_ml:
            return min(row.run_s * pct // 10000, most_s), 0
        run_s = min(row.run_s, most_s)
        run_ml = max(row.run_ml * pct // 10000, 1)
        flow_ml_min = self._record.flow_ml_min[zone] or part.flow_ml_min
        if flow_ml_min:
            if self._plan.supplies[part.supply].meter:
                # The meter ends it; time is only the bound: a quarter more, and the hose to fill.
                run_s = min(run_s, run_ml * 75 // flow_ml_min + SETTLE_S)
            else:
                run_s = min(run_s, run_ml * 60 // flow_ml_min)
        return run_s, run_ml

    # What moves it.

    def check(self, zone: int, readings: "tuple[int, ...]", day: int) -> int:
        """Take the owner's blade readings of a zone. Returns OK, or why the trim did not move."""
        record = self._record
        reading = worst(readings)
        if reading == DRY:
            self._known_dry(zone, day)
        else:
            self._known_moist(zone)
        self._count_dry(zone, reading == DRY)
        if reading == FIRM:
            return OK
        if self._moved_lately(zone, day):
            return TOO_SOON
        hub = self._plan.hub
        step_pct = hub.trim_step_pct if reading == DRY else -hub.trim_step_pct
        pct = min(max(record.trim_pct[zone] + step_pct, hub.trim_least_pct), hub.trim_most_pct)
        if pct != record.trim_pct[zone]:
            record.trim_pct[zone] = pct
            record.trim_day[zone] = day
            self._tell(TRIMMED, zone, CHECK, pct)
        return OK

    def _count_dry(self, zone: int, dry: bool) -> None:
        """Count the dry checks at full trim: the owner is told of the second, once."""
        record = self._record
        before = record.dry_full[zone]
        if not dry or record.trim_pct[zone] < self._plan.hub.trim_most_pct:
            record.dry_full[zone] = 0
            if before == DRY_CHECKS:
                self._tell(CLEARED, zone, DRY_AT_FULL, record.trim_pct[zone])
        elif before < DRY_CHECKS:
            record.dry_full[zone] = before + 1
            if before + 1 == DRY_CHECKS:
                self._tell(ALARM, zone, DRY_AT_FULL, record.trim_pct[zone])

    def check_by_probe(self, zone: int, wet: bool, dry: bool, day: int) -> bool:
        """Do the weekly check by a trusted probe: down always, up only as far as allowed.

        Returns True if the trim moved.
        """
        record = self._record
        hub = self._plan.hub
        if wet == dry or self._moved_lately(zone, day):
            return False
        before_pct = record.auto_pct[zone]
        if dry:
            most_pct = hub.trim_most_pct if hub.auto_trim == AUTO_BOTH else 100
            pct = min(before_pct + hub.trim_step_pct, most_pct - record.trim_pct[zone])
        else:
            pct = max(before_pct - hub.trim_step_pct, hub.trim_least_pct - record.trim_pct[zone])
        if pct == before_pct or dry != (pct > before_pct):
            return False  # already as far as it may go
        record.auto_pct[zone] = pct
        record.trim_day[zone] = day
        self._tell(TRIMMED, zone, AUTOMATIC, record.trim_pct[zone] + pct)
        return True

    def new_day(self, zone: int, day: int, dry: bool, moist: bool) -> None:
        """Count re-wetting days, and see what a trusted probe says of the opening."""
        record = self._record
        if record.rewet_days[zone]:
            record.rewet_days[zone] = self._rewet_left(day)
            if not record.rewet_days[zone]:
                self._tell(REWETTING, zone, SEASON, 0)
        if dry:
            self._known_dry(zone, day)
        elif moist:
            self._known_moist(zone)

    def opened(self, day: int) -> None:
        """The season opens, or a long dry hold ends: re-wet what is known to be dry."""
        self._record.opened_day = day
        for zone, dry_day in enumerate(self._record.dry_day):
            if dry_day and day - dry_day <= OPENING_DAYS:
                self._rewet(zone, day)

    def _known_dry(self, zone: int, day: int) -> None:
        record = self._record
        record.dry_day[zone] = day
        if record.opened_day and day - record.opened_day <= OPENING_DAYS:
            self._rewet(zone, day)

    def _rewet(self, zone: int, day: int) -> None:
        record = self._record
        left = self._rewet_left(day)
        if left and not record.rewet_days[zone]:
            record.rewet_days[zone] = left
            self._tell(REWETTING, zone, SEASON, left)

    def _rewet_left(self, day: int) -> int:
        """Days that re-wetting may still last; they count from the opening, whenever it began.

        So a strip that is dry, moist and dry again is not given all of them twice.
        """
        gone = day - self._record.opened_day
        if gone < -OPENING_DAYS:  # the clock was set back: that opening is no longer known
            return 0
        return max(0, self._plan.hub.rewet_days - max(0, gone))

    def _known_moist(self, zone: int) -> None:
        record = self._record
        record.dry_day[zone] = 0
        if record.rewet_days[zone]:
            record.rewet_days[zone] = 0
            self._tell(REWETTING, zone, SEASON, 0)

    def _moved_lately(self, zone: int, day: int) -> bool:
        moved_day = self._record.trim_day[zone]
        return moved_day > 0 and 0 <= day - moved_day < self._plan.hub.trim_gap_days


def worst(readings: "tuple[int, ...]") -> int:
    """Return the reading that counts: wet before dry before firm."""
    if WET in readings:
        return WET
    return DRY if DRY in readings else FIRM
