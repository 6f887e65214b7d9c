"""A run, from waiting to booked: chosen, written down, opened, watched, ended, and accounted for.

A run takes two steps of one moment. In the first the hub saves the intent and opens the valve,
which is not tried unless that was written. In the second it learns how both went.
"""

from . import const, events, faults
from .limits import RUN_LEAST_S, SETTLE_S
from .meter import Meter, judge_flow, off_plan
from .ports import CARRIED_OUT, FAILED, UNTRIED

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from .civil import Clock
    from .days import Days
    from .estimates import Estimates
    from .faults import Faults
    from .guard import Guard
    from .journal import Record
    from .lockouts import Lockouts
    from .plan import Plan

_NONE = const(-1)
_FAR = const(0x3FFFFFFF)  # an uptime no hub reaches: 34 years
_LONG_AGO_S = const(-65536)  # the uptime of what has not happened since boot: no rest is so long
_USED_MAX_S = const(65535)  # what the record can hold
_FLOW_MAX_ML_MIN = const(65535)  # likewise
_TEST_RUN_S = const(60)  # the guided test: long enough to see which strip is wet


class Run:
    """One run of one zone, about to begin or under way."""

    open = False  # its OPEN was carried out
    flow_ml_min = -1  # last measured
    bad_flow = False
    ended = 0  # why it is being closed

    def __init__(self, zone: int, run_s: int, run_ml: int, kind: int, anyway: bool) -> None:
        self.zone = zone
        self.run_s = run_s
        self.run_ml = run_ml  # ends the run when given; 0: minutes do
        self.kind = kind  # PLANNED, MANUAL or TEST
        self.anyway = anyway  # the owner overrides what may be overridden


class Runs:
    """The runs of a hub's zones.

    under_way: the run of each valve's zone that is open, or None; a master has none
    metered: (supply, meter) of each supply that has a meter
    meters_ml: what the meters of all supplies show at this moment, ml or None a supply
    intent: the run that this step writes down and opens, if any
    test: zones that the guided test still has to open: bits
    look_up_s: when a waiting run may be able to start, or must be dropped
    opens_soon: a run waits for nothing but the gap after another
    """

    intent: "Run | None" = None
    look_up_s = 0x3FFFFFFF
    opens_soon: bool

    def __init__(
        self,
        plan: "Plan",
        record: "Record",
        clock: "Clock",
        guard: "Guard",
        faults: "Faults",
        lockouts: "Lockouts",
        estimates: "Estimates",
        days: "Days",
    ) -> None:
        self.test = 0
        self._plan = plan
        self._record = record
        self._clock = clock
        self._guard = guard
        self._faults = faults
        self._tell = faults.tell
        self._lockouts = lockouts
        self._estimates = estimates
        self._days = days
        self._supply_of = guard.supply_of
        self._meters: "list[Meter | None]" = []  # of each supply
        self.metered: "list[tuple[int, Meter]]" = []
        self.meters_ml: "list[int | None]" = []
        for supply, spigot in enumerate(plan.supplies):
            meter = Meter(spigot.travel_s) if spigot.meter else None
            self._meters.append(meter)
            if meter:
                self.metered.append((supply, meter))
        self.under_way: "list[Run | None]" = [None] * len(guard.supply_of)
        self._shut_up_s = [_LONG_AGO_S] * len(plan.zones)  # when each zone's last run ended

    # What waits.

    def busy(self) -> bool:
        """Whether a run, a test or a new plan is to come first."""
        return bool(self.intent or self.test or self._record.new_plan)

    def may_begin(self, up_s: int) -> bool:
        """Whether a run waits, and nothing keeps all of them from starting.

        If so, `choose` is to look at each; when to look again is forgotten until then.
        """
        self.look_up_s = _FAR
        self.opens_soon = False
        record = self._record
        if self.intent or not (record.waiting or self.test):
            return False
        return (
            not record.new_plan
            and up_s >= record.retry_up_s
            and len(self._guard.open_zones) < self._plan.hub.open_max
        )

    def more_may_begin(self) -> bool:
        """Whether a run waits for a supply that is free, just after another has opened."""
        guard = self._guard
        if len(guard.open_zones) >= self._plan.hub.open_max:
            return False
        return self.test != 0 or self._record.waiting & ~guard.busy_zones() != 0

    def choose(self, up_s: int) -> None:
        """Intend the first run that may start, of those whose supply is free; first the test's."""
        if self.test:
            self._choose_test(up_s)
            return
        # A supply in use is a wake when it closes; one that settles is looked at after its gap.
        guard = self._guard
        waiting = self._record.waiting
        if guard.open_zones:
            waiting &= ~guard.busy_zones()
        for supply, gap_up_s in enumerate(guard.gap_up_s):
            if up_s < gap_up_s and waiting & guard.zones_of[supply]:
                self.opens_soon = True
                self._look_at(gap_up_s)
                waiting &= ~guard.zones_of[supply]
        for zone in self._days.order:
            if waiting >> zone & 1 and self._serve(zone, up_s):
                return

    def _serve(self, zone: int, up_s: int) -> bool:
        """Intend a waiting run, or drop it, or leave it waiting. Returns True if intended."""
        days = self._days
        run_s, run_ml = self._estimates.run(zone, days.row)
        if run_s < RUN_LEAST_S:
            days.drop(zone, self._estimates.why_none(zone))
            return False
        latest_up_s = days.latest_up_s(run_s)
        if up_s > latest_up_s:
            days.drop(zone, days.held[zone] or events.NO_TIME)
            return False
        run = Run(zone, run_s, run_ml, events.PLANNED, False)
        why = self._why_not(run, up_s)
        first_up_s = self._record.mark_wall_s - self._clock.skew_s
        if up_s < first_up_s:  # the clock was set back to before the cycle
            why = events.CLOCK
            self._look_at(first_up_s)
        elif not why:
            rested_up_s = self._shut_up_s[zone] + self._plan.zones[zone].rest_s
            if up_s >= rested_up_s:
                self._intend(run, up_s)
                return True
            why = events.REST
            self._look_at(rested_up_s)
        elif why == events.QUIET:
            self._look_at(up_s + days.steady_s(up_s))
        days.held[zone] = events.OK if why in (events.OPEN_LIMIT, events.BUSY) else why
        self._look_at(latest_up_s + 1)
        return False

    def _look_at(self, up_s: int) -> None:
        if up_s < self.look_up_s:
            self.look_up_s = up_s

    def _choose_test(self, up_s: int) -> None:
        """Intend the next zone of the guided test; one that may not be opened is left out."""
        guard = self._guard
        if guard.open_zones:
            return  # one at a time, so that it is plain which strip gets wet
        for zone in range(len(self._plan.zones)):
            if self.test >> zone & 1:
                supply = self._supply_of[zone]
                run_s = _TEST_RUN_S + self._plan.supplies[supply].travel_s
                run = Run(zone, run_s, 0, events.TEST, True)
                why = self._why_not(run, up_s)
                if why in (events.GAP, events.BUSY):
                    self._look_at(max(guard.gap_up_s[supply], up_s + 1))
                    return
                self.test &= ~(1 << zone)
                if not why:
                    self._intend(run, up_s)
                    return
                self._tell(events.REFUSED, zone, why, events.TEST)

    def _why_not(self, run: Run, up_s: int) -> int:
        """Return why a run must not start now, or OK."""
        why = self._lockouts.why(run.zone, up_s, run.anyway, run.run_s)
        return why or self._guard.judge(run.zone, run.run_s, up_s)

    # What the owner asks for.

    def by_hand(self, zone: int, asked_s: int, anyway: bool, up_s: int) -> int:
        """Intend a run that the owner asks for. Returns OK, or why not.

        It is never longer than the longest, and never goes past the cap.
        """
        if self.busy():
            return events.BUSY
        room_s = self._estimates.room_s(zone)
        run_s = min(asked_s, self._plan.zones[zone].longest_s, room_s)
        if run_s < RUN_LEAST_S:
            return events.CAP if room_s < RUN_LEAST_S else events.TOO_SHORT
        if self._lockouts.locked[events.CLOSED_SEASON] and not anyway:
            return events.CLOSED_SEASON
        if up_s < self._record.retry_up_s:
            return events.STORE  # what cannot be written is not given
        run = Run(zone, run_s, 0, events.MANUAL, anyway)
        why = self._why_not(run, up_s)
        if not why:
            self._intend(run, up_s)
        return why

    def stop(self, why: int, up_s: int) -> None:
        """Close what is open, and drop what waits."""
        self._cancel()
        self.end(why, up_s)
        self.test = 0
        self._days.drop_waiting(why)

    # What is about to open.

    def _intend(self, run: Run, up_s: int) -> None:
        """Write down what is about to be given; the valve opens if that is kept."""
        record = self._record
        zone = run.zone
        bit = 1 << zone
        if run.kind == events.PLANNED:
            record.waiting &= ~bit
        elif record.waiting & bit and run.run_s >= self._estimates.run(zone, self._days.row)[0]:
            self._days.drop(zone, run.kind)  # this one stands in for it
        record.opening |= bit
        record.run_s[zone] = run.run_s
        record.valve_wall_s[zone] = self._clock.wall_s(up_s)
        record.dirty = True
        self._days.held[zone] = events.OK
        self.intent = run

    def _cancel(self) -> None:
        """Give an intent up: a planned run waits again, another is refused."""
        run = self.intent
        if not run:
            return
        self.intent = None
        record = self._record
        bit = 1 << run.zone
        record.opening &= ~bit
        record.owed = True
        if run.kind == events.PLANNED:
            record.waiting |= bit
        else:
            self._tell(events.REFUSED, run.zone, events.FAULT, run.kind)

    def saved(self, done: bool) -> None:
        """The intent was written, and its OPEN is tried next; or neither was done."""
        run = self.intent
        if run is None:
            return
        if done:
            self.under_way[run.zone] = run
            self.intent = None
        else:
            self._guard.open_zones.remove(run.zone)  # as shut as it was
            self._cancel()

    def opened(self, valve: int, outcome: int, up_s: int) -> None:
        """An OPEN was carried out, or its driver raised, or it was never tried."""
        run = self.under_way[valve]
        if outcome == FAILED:
            self._faults.driver(True, valve)
        if run is None:  # a master
            if outcome == CARRIED_OUT:
                self._faults.driver(False, valve)
        elif outcome == CARRIED_OUT:
            run.open = True
            self._tell(events.OPENED, valve, run.kind, run.run_s)
            if self._record.zone_faults[valve]:
                self._faults.opened(valve)
            supply = self._supply_of[valve]
            wait_s = self._plan.hub.watch_s
            meter = self._meters[supply]
            if meter:
                meter.turned(self.meters_ml[supply], up_s)
                wait_s = min(wait_s, SETTLE_S)
            self._lockouts.read_by(up_s + wait_s)
        else:
            if outcome == FAILED:
                self._faults.not_opened(valve, up_s)
            self._guard.request_close(valve, up_s)

    # What is open.

    def watch(self, up_s: int) -> bool:
        """Look at every meter. Returns True if something is wrong, or no longer so, or given."""
        news = False
        lockouts = self._lockouts
        for supply, meter in self.metered:
            zone = self._guard.open_zone(supply)
            run = None
            if zone == _NONE:
                if self._see_leak(supply, meter, up_s):
                    news = True
            else:
                run = self.under_way[zone]
                if self._see_flow(zone, meter, up_s):
                    news = True
            settle_up_s = meter.settle_up_s(up_s, zone != _NONE)
            if settle_up_s:
                lockouts.read_by(settle_up_s)
            if run and run.run_ml and zone not in self._guard.to_shut:
                left_ml = run.run_ml - meter.given_ml(self.meters_ml[supply])
                if left_ml <= 0:
                    news = True  # the run is to be ended
                    lockouts.read_by(up_s + 1)
                elif run.flow_ml_min > 0:
                    lockouts.read_by(up_s + max(1, left_ml * 60 // run.flow_ml_min))
        return news

    def see_leaks(self, up_s: int) -> bool:
        """See whether water runs where all is shut. Returns True if it does, and is news."""
        news = False
        for supply, meter in self.metered:
            if self._guard.open_zone(supply) == _NONE and self._see_leak(supply, meter, up_s):
                news = True
        return news

    def _see_leak(self, supply: int, meter: "Meter", up_s: int) -> bool:
        """Close everything if water runs where all is shut. Returns True if it does, as news."""
        if not meter.leaks(self.meters_ml[supply], up_s) or self._record.faults & faults.LEAK_FAULT:
            return False
        self._faults.latch(_NONE, events.LEAK, supply)
        self.end(events.FAULT, up_s)
        self._guard.request_close(_NONE, up_s)
        return True

    def _see_flow(self, zone: int, meter: "Meter", up_s: int) -> bool:
        """See how an open zone flows. Returns True if something is wrong, or no longer so."""
        flow_ml_min = meter.flow_ml_min(self.meters_ml[self._supply_of[zone]], up_s)
        run = self.under_way[zone]
        if flow_ml_min == _NONE or not run:
            return False
        run.flow_ml_min = flow_ml_min
        why = judge_flow(self._record, zone, flow_ml_min)
        if why == events.NO_FLOW:
            self._faults.no_flow(zone, True, flow_ml_min, up_s)
        elif why == events.BURST and run.kind != events.TEST:
            self._faults.latch(zone, events.BURST, flow_ml_min)
        else:
            if not self._record.zone_faults[zone] & faults.NO_FLOW_FAULT:
                return False
            self._faults.no_flow(zone, False, flow_ml_min, up_s)
            return True
        run.bad_flow = True
        return True

    def end(self, why: int, up_s: int) -> None:
        """Close what is open, for a reason; with OK, what is over or must not go on."""
        guard = self._guard
        for zone in guard.open_zones:
            run = self.under_way[zone]
            if run and zone not in guard.to_shut:
                ended = why or (run.open and self._why_end(run, up_s))
                if ended:
                    run.ended = ended
                    guard.request_close(zone, up_s)

    def _why_end(self, run: Run, up_s: int) -> int:
        """Return why an open run must be closed now, or OK."""
        zone = run.zone
        supply = self._supply_of[zone]
        meter = self._meters[supply]
        if up_s >= self._guard.end_up_s[zone]:
            if meter:
                self._see_flow(zone, meter, up_s)  # once more, at the end
            return events.FAULT if run.bad_flow else events.DONE
        if meter and run.run_ml and meter.given_ml(self.meters_ml[supply]) >= run.run_ml:
            return events.LITRES
        if self._record.faults or run.bad_flow:
            return events.FAULT
        if self._lockouts.spent_battery:
            return events.LOW_BATTERY
        if self._record.new_plan:
            return events.PLAN
        return self._lockouts.why(zone, up_s, run.anyway, 0)

    # What has been given.

    def closed(self, valve: int, outcome: int, up_s: int) -> None:
        """A valve is shut: book what its zone was given. Or it is not, and tried again."""
        if outcome == UNTRIED:
            return
        guard = self._guard
        tell = self._tell
        if guard.closed(valve, outcome == CARRIED_OUT, up_s):
            self._faults.driver(outcome == FAILED, valve)
        if outcome == FAILED:
            return
        supply = self._supply_of[valve]
        meter = self._meters[supply] if guard.open_zone(supply) == _NONE else None
        given_ml = 0
        if meter:
            ml = self.meters_ml[supply]
            given_ml = meter.given_ml(ml)
            meter.turned(ml, up_s)
        run = self.under_way[valve]
        if not run:
            return
        zone = run.zone
        record = self._record
        self.under_way[zone] = None
        record.opening &= ~(1 << zone)
        record.owed = True
        if self._lockouts.power_fails:
            record.dirty = True  # there may be no next opening to write it with
        if not run.open:
            tell(events.SKIPPED, zone, events.DRIVER)
            return
        given_s = up_s - guard.opened_up_s[zone]
        self._book(zone, given_s, up_s)
        if meter:
            self._lockouts.read_by(up_s + 2 * SETTLE_S)
        whole = run.ended in (events.DONE, events.LITRES)
        tell(events.CLOSED if whole else events.CUT_SHORT, zone, run.ended, given_s, given_ml)
        flow_ml_min = run.flow_ml_min
        if run.kind == events.TEST and flow_ml_min > 0 and not run.bad_flow:
            if off_plan(flow_ml_min, self._plan.zones[zone].flow_ml_min):
                tell(events.REFUSED, zone, events.OFF_PLAN, flow_ml_min)
            else:
                record.flow_ml_min[zone] = flow_ml_min = min(flow_ml_min, _FLOW_MAX_ML_MIN)
                tell(events.LEARNED, zone, events.TEST, flow_ml_min)

    def _book(self, zone: int, given_s: int, up_s: int) -> None:
        """A zone is shut, and has been given so much."""
        record = self._record
        record.used_s[zone] = min(record.used_s[zone] + given_s, _USED_MAX_S)
        record.valve_wall_s[zone] = self._clock.wall_s(up_s)
        self._shut_up_s[zone] = up_s

    def resume(self, shut_up_s: int) -> None:
        """Every valve was shut at `shut_up_s`: book what was open when the power went."""
        record = self._record
        wall_s = self._clock.wall_s(shut_up_s)
        for zone, part in enumerate(self._plan.zones):
            ended_s = record.valve_wall_s[zone]
            away_s = wall_s - ended_s if wall_s and ended_s else _NONE
            if record.opening >> zone & 1:
                used_s = record.used_s[zone]
                if away_s < 0:  # nobody knows how long: take it for the day's whole cap
                    given_s = max(0, part.cap_s - used_s)
                else:
                    given_s = min(away_s, record.run_s[zone]) if part.held else away_s
                self._book(zone, given_s, shut_up_s)
                self._tell(events.CUT_SHORT, zone, events.POWER, record.used_s[zone] - used_s)
            elif ended_s:
                self._shut_up_s[zone] = shut_up_s - max(0, away_s)
        record.opening = 0
