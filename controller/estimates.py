"""What the zones lack, carried on from midnight to midnight, and how long a run is for it.

Entered once a local day that passed, and when the owner has found something. A day's rain and
minutes are taken out of the record in the step that adds them here, and both are written together:
whatever is cut short, each counts once.
"""

from . import civil, const, estimate, events, journal, limits, plan, ports

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Callable

    from .agenda import Agenda
    from .journal import Record
    from .plan import Plan, RowPart
    from .probe import Probe

_NONE = const(-1)
_FAR_S = const(65535)  # longer than any run
_LONG_S = const(604800)
_LEARNS = const(8)  # findings at least, by which a lasting error is learnt before any is believed
_HEARD_MAX = const(255)
_ERROR_MOST_MPF = const(3000)  # what is further away is no error any more
_CORRECTED = const(4)  # place in an account


class Estimates:
    """The zones' estimates, kept in the record. `tell` reports each day of a zone.

    accounts: the last day of each zone, um: demand, rain, given, exchanged with the ground beside
        it, and by how much it was corrected at its end or since
    """

    def __init__(
        self,
        plan: "Plan",
        record: "Record",
        agenda: "Agenda",
        probes: "list[Probe | None]",
        tell: "Callable[..., None]",
    ) -> None:
        self._hub = plan.hub
        self._zones = plan.zones
        self._supplies = plan.supplies
        self._record = record
        self._agenda = agenda
        self._probes = probes
        self._tell = tell
        self.accounts: "list[list[int]]" = []
        none = [0] * len(plan.zones)
        # Lasting errors of samples where a probe is not believed, and of how many each was learnt.
        self._by_hand = (none, none[:])
        for _ in none:
            self.accounts.append([0] * 5)

    # What a run is to be.

    def want_um(self, zone: int) -> int:
        """What a zone lacks of its target, beyond what it was given today or fell on it."""
        part = self._zones[zone]
        record = self._record
        wet_um = record.used_s[zone] * part.rate_um_h // 3600
        wet_um += record.rain_today_um * part.exposure_pct // 100
        want_um: int = record.lack_um[zone] - part.target_um - wet_um
        return want_um

    def _want_s(self, zone: int) -> int:
        """How long a run would give that; 0: it has enough. Longer than any where nobody knows."""
        hub = self._hub
        if not hub.estimate:
            return _FAR_S
        want_um = self.want_um(zone)
        return want_um * 3600 // self._zones[zone].rate_um_h if want_um >= hub.dose_um else 0

    def room_s(self, zone: int) -> int:
        """Return how long the zone may still be watered today, seconds."""
        part = self._zones[zone]
        room_s = part.cap_s
        hub = self._hub
        if hub.estimate and self._record.filling >> zone & 1:
            room_s = min(room_s, hub.opening_um * 3600 // part.rate_um_h)
        used_s: int = self._record.used_s[zone]
        return max(0, room_s - used_s)

    def run(self, zone: int, row: "RowPart") -> "tuple[int, int]":
        """Return the longest a run may last, seconds, and the water at which it ends, ml.

        The water is 0 where the row asks for minutes.
        """
        part = self._zones[zone]
        want_s = self._want_s(zone)
        run_s = row.run_s
        run_ml = row.run_ml
        if not run_ml:
            run_s = run_s * part.share_pct // 100
        else:
            run_ml = max(run_ml * part.share_pct // 100, 1)
            flow_ml_min = self._record.flow_ml_min[zone] or part.flow_ml_min
            if flow_ml_min:
                run_ml = min(run_ml, want_s * flow_ml_min // 60)
                want_s = run_ml * 60 // flow_ml_min
                if self._supplies[part.supply].meter:
                    # The meter ends it; time is only the bound: a quarter more, and a hose to fill.
                    want_s = run_ml * 75 // flow_ml_min + limits.SETTLE_S
        return min(run_s, want_s, part.longest_s, self.room_s(zone)), run_ml

    def why_none(self, zone: int) -> int:
        """Return why a zone gets no planned run that is long enough."""
        if not self._want_s(zone):
            return events.ENOUGH
        return events.CAP if self.room_s(zone) < limits.RUN_LEAST_S else events.TOO_SHORT

    # What passes.

    def opened(self, wall_s: int) -> None:
        """The season opens, or a hold ends: what lacks much comes up to its target slowly.

        That holds for zones that have had no water for a week.
        """
        hub = self._hub
        record = self._record
        for zone, part in enumerate(self._zones):
            long_ago = wall_s - record.valve_wall_s[zone] >= _LONG_S
            if long_ago and record.lack_um[zone] > part.target_um + hub.dose_um:
                record.filling |= 1 << zone

    def new_day(self, day: int, passed: int, counted: bool) -> None:
        """Carry all on by the days that passed before `day`.

        The first of them has the record's rain and temperatures, where these were heard all day;
        the others have what their season's row says.

        Args:
            day: that begins
            passed: how many, one at least
            counted: the minutes of the record are given anew from here on
        """
        hub = self._hub
        record = self._record
        none_s = [0] * len(record.used_s)
        if hub.estimate:
            gaps = record.gaps
            given_s = record.used_s if counted else none_s
            for before in range(day - passed, day):
                self._pass(before, gaps, given_s)
                gaps = journal.NO_TEMPERATURE | journal.NO_RAIN
                given_s = none_s
            if (day + civil.FIRST_WEEKDAY) % 7 == 0:
                self._hear()
            for zone, part in enumerate(self._zones):
                lack_um = record.lack_um[zone]
                if lack_um - part.target_um < hub.dose_um:
                    record.filling &= ~(1 << zone)
                account = self.accounts[zone]
                self._tell(events.LACKS, zone, events.OK, lack_um, account[1] + account[2])
        if counted:
            record.used_s[:] = none_s

    def _pass(self, day: int, gaps: int, given_s: "list[int]") -> None:
        """Carry the yard and every zone on by a day."""
        hub = self._hub
        record = self._record
        row = self._agenda.row_of(day)
        demand = row.demand_um
        if hub.frost and not gaps & journal.NO_TEMPERATURE:
            sun_um = estimate.sun_of(day, hub.sun_um)
            demand = estimate.demand_um(record.cold_dk * 100, record.warm_dk * 100, sun_um)
        rain_um = row.rain_um
        if gaps & journal.RAIN_TOLD or (hub.rain_kind == plan.GAUGE and not gaps & journal.NO_RAIN):
            rain_um = record.rain_today_um
        yard_um = record.yard_lack_um
        record.yard_top_um, record.yard_lack_um = estimate.day(
            record.yard_top_um,
            yard_um,
            rain_um,
            demand * hub.yard_demand_ppt // 1000,
            0,
            (hub.yard_top_um, hub.yard_top_ppt, hub.yard_freely_um, hub.yard_end_um, 0),
        )
        for zone, part in enumerate(self._zones):
            lack_um = record.lack_um[zone]
            need_um = demand * part.demand_ppt // 1000 * record.factor_ppt[zone] // 1000
            fallen_um = rain_um * part.exposure_pct // 100
            given_um = given_s[zone] * part.rate_um_h // 3600
            beside_um = yard_um * part.hold_um // hub.yard_hold_um
            record.top_um[zone], record.lack_um[zone] = estimate.day(
                record.top_um[zone],
                lack_um,
                fallen_um + given_um,
                need_um,
                beside_um,
                (part.top_um, part.top_ppt, part.freely_um, part.end_um, part.beside_ppm),
            )
            exchanged_um = (beside_um - lack_um) * part.beside_ppm // 1000000
            self.accounts[zone][:] = need_um, fallen_um, given_um, exchanged_um, 0

    # What is found.

    def _hear(self) -> None:
        """Once a week, move each zone by what its sensor says beyond its own lasting error.

        Where another zone's sensor speaks for it, it moves by half as many pF as that zone does:
        of what was thought wrongly, half concerns that zone alone.
        """
        found_mpf = []
        for zone, probe in enumerate(self._probes):
            part = self._zones[zone]
            apart_mpf = 0
            if probe and probe.trusted and probe.ppt >= 0:
                dry_mpf = (part.full_ppt - probe.ppt) * 1000 // part.per_pf_ppt
                apart_mpf = self._beyond_mpf(zone, dry_mpf)
            found_mpf.append(apart_mpf)
        gain_pct = self._hub.sensor_gain_pct
        for zone, part in enumerate(self._zones):
            speaks = part.sensor - 1
            if speaks != _NONE:
                apart_mpf = found_mpf[speaks]
                if speaks != zone:
                    apart_mpf //= 2
                self._believe(zone, apart_mpf, gain_pct)

    def _beyond_mpf(self, zone: int, dry_mpf: int) -> int:
        """How much drier a zone was found than it was thought to be, beyond its lasting error.

        That error, of a probe or of what the plan knows of the ground, is what shows before the
        zone is first watered; later it is learnt slowly, so that a new probe is forgiven within
        years. 0 while it is learnt.

        Args:
            dry_mpf: what was found, beyond pF 2
        """
        record = self._record
        apart_mpf: int = dry_mpf - record.lack_um[zone] * 1000 // self._zones[zone].hold_um
        apart_mpf = min(max(apart_mpf, -_ERROR_MOST_MPF), _ERROR_MOST_MPF)
        offsets_mpf = record.offset_mpf
        findings = record.heard
        probe = self._probes[zone]
        if probe and not probe.trusted:
            offsets_mpf, findings = self._by_hand
        heard: int = min(findings[zone] + 1, _HEARD_MAX)
        learns = heard <= _LEARNS or not record.valve_wall_s[zone]
        among = heard if learns else _HEARD_MAX
        offset_mpf: int = offsets_mpf[zone]
        offset_mpf += (2 * (apart_mpf - offset_mpf) + among) // (2 * among)
        findings[zone] = heard
        offsets_mpf[zone] = offset_mpf
        return 0 if learns else apart_mpf - max(offset_mpf, -self._zones[zone].error_mpf)

    def _believe(self, zone: int, apart_mpf: int, gain_pct: int) -> int:
        """Move a zone part of the way to what was found, and its factor on demand a little.

        Drier is more. Returns by how much it moved.
        """
        hub = self._hub
        record = self._record
        before_um: int = record.lack_um[zone]
        whole_um = apart_mpf * self._zones[zone].hold_um // 1000
        moved_um = estimate.held_um(before_um + whole_um * gain_pct // 100) - before_um
        record.lack_um[zone] += moved_um
        record.factor_ppt[zone] = estimate.learnt_ppt(
            record.factor_ppt[zone], apart_mpf, hub.whole_mpf, hub.learn_ppt
        )
        self.accounts[zone][_CORRECTED] += moved_um
        return moved_um

    def check(self, zone: int, readings: "Sequence[int]") -> None:
        """Take the owner's blade readings of a zone: muddy counts before dry, dry before firm.

        A blade that stops short says that the top is dry, which is news only where it was thought
        moist; mud says that it is full. Neither says anything of the ground below.
        """
        top_um = self._record.top_um
        before_um = top_um[zone]
        most_um = self._zones[zone].top_um
        if ports.WET in readings:
            top_um[zone] = 0
        elif ports.DRY in readings and 2 * before_um < most_um:
            top_um[zone] = most_um
        self._corrected(zone, events.CHECK, top_um[zone] - before_um)

    def sample(self, zone: int, classes: "Sequence[int]") -> None:
        """Take the classes of samples from half a metre down, of which the wettest counts.

        A zone with a probe of its own goes by that alone, as long as it is believed.
        """
        part = self._zones[zone]
        probe = self._probes[zone]
        if not probe or not probe.trusted:
            borders_um = (part.class1_um, part.class2_um, part.class3_um, part.class4_um)
            found_um = estimate.middle_um(borders_um, max(classes))
            apart_mpf = self._beyond_mpf(zone, found_um * 1000 // part.hold_um)
            moved_um = self._believe(zone, apart_mpf, self._hub.sample_gain_pct)
            self._corrected(zone, events.SAMPLE, moved_um)

    def _corrected(self, zone: int, why: int, moved_um: int) -> None:
        self._record.dirty = True
        if moved_um:
            self._tell(events.CORRECTED, zone, why, moved_um)
