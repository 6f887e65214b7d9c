"""The hub: what to do now, given the time, what was seen, and what was asked.

`step` is the only way in. It reads no clock and touches no pin: commands go out, and how they went
comes back as `seen.done` in the next step. A run takes two steps of one moment: SAVE the intent and
OPEN, which is not tried unless that was written; then REPORT that it opened.
"""

from evenclay.controller._const import const
from evenclay.controller.days import Days
from evenclay.controller.events import (
    ALARM,
    BOOT,
    BROKEN,
    BURST,
    BUSY,
    CAP,
    CLEARED,
    CLOCK,
    CLOSED,
    CRASH,
    CUT_SHORT,
    DONE,
    DRIVER,
    DRY_AT_FULL,
    FAULT,
    GAP,
    LEAK,
    LEARNED,
    LITRES,
    LOW_BATTERY,
    NO_FLOW,
    NO_TIME,
    OFF_PLAN,
    OK,
    OPEN_LIMIT,
    OPENED,
    PLANNED,
    POWER,
    QUIET,
    REFUSED,
    REST,
    SKIPPED,
    STORE,
    SUPPLY_NO_FLOW,
    TEST,
    TOO_SHORT,
    TROUBLE,
    Log,
)
from evenclay.controller.events import PLAN as NEW_PLAN
from evenclay.controller.guard import Guard, Run
from evenclay.controller.journal import (
    BURST_FAULT,
    DRIVER_FAULT,
    FIRST_FAULT,
    LEAK_FAULT,
    NO_FLOW_FAULT,
    STORE_FAULT,
    Record,
    unpack_record,
)
from evenclay.controller.limits import (
    DRY_CHECKS,
    FAULT_RETRY_S,
    METER_S,
    RUN_LEAST_S,
    SAVE_RETRY_S,
    SETTLE_S,
    TEST_RUN_S,
    ZONES_MAX,
)
from evenclay.controller.lockouts import Lockouts
from evenclay.controller.meter import Meter, off_plan, wrong
from evenclay.controller.owner import answer
from evenclay.controller.plan import Plan
from evenclay.controller.ports import CLOSE, OPEN, PLAN, RECORD, REPORT, SAVE
from evenclay.controller.trim import Trim

TYPE_CHECKING = const(0)
if TYPE_CHECKING:
    from evenclay.controller.ports import Asked, Command, Seen

_NOTHING: "list[Command]" = []  # what most wakes come to; nobody adds to it
_FAR = const(0x3FFFFFFF)  # an uptime no hub reaches: 34 years
_NONE = const(-1)
_USED_MAX_S = const(65535)  # what the record can hold
_FAULTS = (LEAK, STORE, BROKEN, BURST, NO_FLOW, DRIVER, SUPPLY_NO_FLOW)  # what an owner can clear


class Hub:
    """One hub. `wake_s` is the uptime at which `step` next has something to do.

    `due_s` is the same, but for looks at meters that stand still: they do nothing.
    """

    wake_s = 0
    due_s = 0
    polls = 0  # wakes that only read sensors
    new_plan: "tuple[Plan, bytes] | None" = None
    shut_up_s = -1  # when every valve was shut after an exception; -1: the record has that
    test = 0  # zones the guided test still has to open: bits
    dirty = True  # the record is to be saved at once
    intent: "Run | None" = None
    _owed = False  # the record is to be saved, with the next opening if that is near
    _booted = False
    _up_s = 0
    _poll_up_s = 0
    _polled_up_s = -1
    _due_up_s = 0
    _look_up_s = 0x3FFFFFFF  # when a run that waits may be able to start, or must be dropped
    _soon = False  # a run waits for nothing but the settling gap
    _save_up_s = 0  # a store that failed is not written before

    def __init__(
        self, plan: Plan, saved: "bytes | None", why: int = POWER, log: "Log | None" = None
    ) -> None:
        """Start from a plan and the newest good record (None: a first boot).

        `why`: the reason of the boot, POWER or another of `controller/events.py`; `log`: that of
        the hub before, which goes on.
        """
        record = unpack_record(saved) or Record(0)
        if record.plan_crc != plan.crc or len(record.tag) != len(plan.zones):
            record = record.carry(plan)
        self.plan = plan
        self.record = record
        self.log = log or Log()
        self._why = why
        self._events: "list[Command]" = []
        self._sent: "list[Command]" = []
        self.lockouts = Lockouts(plan, record, log is not None, self.tell)
        self.trim = Trim(plan, record, self.tell)
        self.days = Days(plan, record, self.lockouts, self.trim, self.tell)
        self.guard = Guard(plan, record, 0)
        self.meters: "list[Meter | None]" = []
        self._metered = []
        for supply, spigot in enumerate(plan.supplies):
            meter = Meter(spigot.travel_s) if spigot.meter else None
            self.meters.append(meter)
            if meter is not None:
                self._metered.append((supply, meter))
        self.runs: "list[Run | None]" = [None] * len(plan.zones)
        self._shut_up_s = [_NONE] * len(plan.zones)  # when each zone's last run ended
        self.alarms = self._standing()

    # One step.

    def step(
        self, up_s: int, wall_s: "int | None", seen: "Seen", asked: "list[Asked] | tuple[()]" = ()
    ) -> "list[Command]":
        """Return what to do now.

        Args:
            up_s: seconds since boot, sleep included; never less than in the step before
            wall_s: UTC seconds since 2000-01-01, or None while the clock is not trusted
            seen: what was measured, and how many of the last commands were carried out
            asked: what the owner asks for, in order

        Raises:
            Broken: an invariant does not hold; the caller closes every valve and starts anew.
        """
        self._up_s = up_s
        heard = len(self._sent) > 0
        news = heard and self._take_outcome(up_s, seen)
        if not heard:  # else it is still the moment of the step before
            if self.days.take_clock(up_s, wall_s):
                news = True
            if up_s >= self._poll_up_s and self._booted:
                self.polls += 1
                if self._poll(up_s, seen):
                    news = True
            elif self._metered and self._booted and self._look_at_meters(up_s, seen):
                news = True
        if news or asked or (up_s >= self._due_up_s and not heard):
            return self._decide(up_s, seen, asked)
        if heard:  # what was due was decided in the step before
            return self._speak(up_s, [])
        self._set_wake(up_s)
        return _NOTHING

    def _decide(self, up_s: int, seen: "Seen", asked: "list[Asked] | tuple[()]") -> "list[Command]":
        """Look at everything once, and collect the commands, most urgent first."""
        record = self.record
        guard = self.guard
        waited = record.waiting
        self._look_up_s = _FAR
        self._soon = False
        if guard.ready:
            if not self._booted:
                record.boots = (record.boots + 1) & 0xFFFF
                self.tell(BOOT, _NONE, self._why, record.boots)
                if self._why == CRASH and (_NONE, BROKEN) in self.alarms:
                    self.alarms.remove((_NONE, BROKEN))
                    self._alarm(True, _NONE, BROKEN, 0)
            if self.days.catch_up(up_s):
                self.dirty = True
            if not self._booted:
                self._boot(up_s, seen)
        if asked:
            if self._booted and up_s != self._polled_up_s:
                self._poll(up_s, seen)  # answered by what the sensors say now
            answer(self, asked, up_s)
        if self._booted:
            if guard.open_zones:
                self._end_runs(OK, up_s, seen)
            self._begin_runs(up_s, seen)
            if waited and not record.waiting:
                self._owed = True
        commands = guard.closing(up_s) + self._saving(up_s)
        if self.intent is not None:
            commands += guard.open(self.intent, up_s)
        return self._speak(up_s, commands)

    def _speak(self, up_s: int, commands: "list[Command]") -> "list[Command]":
        """Return commands and what is to be reported; set when to wake: the soonest of all due."""
        if commands:
            self._sent = commands
            self.wake_s = self.due_s = up_s  # how that went is to be told at once
        else:
            # What only reports needs no answer: an event that was not shown is still in the log.
            self.guard.verify(up_s)
            due_up_s = self.guard.due_up_s(self._look_up_s)
            if self._booted and self.days.trusted:
                other_up_s = self.days.due_up_s()
                if other_up_s < due_up_s:
                    due_up_s = other_up_s
                if self.lockouts.has_quiet and self.guard.open_zones:
                    other_up_s = up_s + self.days.steady_s(up_s)
                    if other_up_s < due_up_s:
                        due_up_s = other_up_s
            if up_s < self._save_up_s < due_up_s and (self.dirty or self._owed):
                due_up_s = self._save_up_s
            self._due_up_s = due_up_s
            self._set_wake(up_s)
        if self._events:
            commands += self._events
            self._events = []
        return commands

    def _set_wake(self, up_s: int) -> None:
        """Wake when something is due, and sooner where a meter's supply is shut: it may leak."""
        due_s = self._poll_up_s if self._poll_up_s < self._due_up_s else self._due_up_s
        self.wake_s = self.due_s = due_s
        for supply, _ in self._metered:
            if due_s > up_s + METER_S and self.guard.open_zone(supply) == _NONE:
                self.wake_s = up_s + METER_S

    def _boot(self, up_s: int, seen: "Seen") -> None:
        """Every valve has been shut: account for whatever was open when the power went."""
        self._booted = True
        record = self.record
        shut_up_s = up_s if self.shut_up_s == _NONE else self.shut_up_s
        wall_s = self.days.wall_s(shut_up_s)
        away_s = wall_s - record.wall_s if wall_s and record.wall_s else 0
        self.lockouts.resume(up_s, max(0, away_s))
        for zone, part in enumerate(self.plan.zones):
            ended_s = record.valve_wall_s[zone]
            away_s = wall_s - ended_s if wall_s and ended_s else _NONE
            if record.zone_faults[zone]:  # it was tried when its valve last turned
                gone_s = min(max(0, away_s), FAULT_RETRY_S)
                self.guard.retry_zone_up_s[zone] = up_s + FAULT_RETRY_S - gone_s
            if record.opening >> zone & 1:
                used_s = record.used_s[zone]
                if away_s < 0:  # nobody knows how long: take it for the day's whole cap
                    given_s = max(0, part.cap_s - used_s)
                else:
                    given_s = min(away_s, record.run_s[zone]) if part.held else away_s
                self._book(zone, given_s, shut_up_s)
                self.tell(CUT_SHORT, zone, POWER, record.used_s[zone] - used_s)
            elif ended_s:
                self._shut_up_s[zone] = shut_up_s - max(0, away_s)
        record.opening = 0
        for supply in range(len(self.meters)):
            if self._supply_no_flow(supply):  # its zones wait for the one that was tried last
                last_up_s = 0
                for zone, retry_up_s in enumerate(self.guard.retry_zone_up_s):
                    if self.plan.zones[zone].supply == supply:
                        last_up_s = max(last_up_s, retry_up_s)
                self._retry_supply(supply, last_up_s)
        self._poll(up_s, seen)

    def _book(self, zone: int, given_s: int, up_s: int) -> None:
        """A zone is shut, and has been given so much."""
        record = self.record
        record.used_s[zone] = min(record.used_s[zone] + given_s, _USED_MAX_S)
        record.valve_wall_s[zone] = self.days.wall_s(up_s)
        self._shut_up_s[zone] = up_s

    # How the last commands went.

    def _take_outcome(self, up_s: int, seen: "Seen") -> bool:
        """Learn which of the last step's commands were carried out: the first `seen.done`.

        Returns True if there is something to decide. There is not when a record has been written,
        nor when a valve has opened and no other may follow.
        """
        sent = self._sent
        self._sent = []
        opened = False
        tries = seen.done  # of each command: above 0 it was carried out, at 0 it failed
        for command in sent:
            what = command[0]
            if what == CLOSE:
                self._closed(command[1], tries, up_s, seen)
            elif what == SAVE:
                self._saved(command[1], tries, up_s)
            elif what == OPEN:
                self._opened(command[1], tries, up_s, seen)
                opened = True
            elif tries < 0:
                self._events.append(command)  # not tried: shown the next time
            tries -= 1
        if tries < 0 or sent[0][0] == CLOSE:
            return True
        if not opened or len(self.guard.open_zones) >= self.plan.hub.open_max:
            return False
        return self.test != 0 or self.record.waiting & ~self.guard.busy_zones() != 0

    def _closed(self, valve: int, tries: int, up_s: int, seen: "Seen") -> None:
        """A valve is shut: book what its zone was given. Or it is not, and tried again."""
        if tries < 0:
            return
        if self.guard.closed(valve, tries > 0, up_s):
            self._driver(tries == 0, valve)
        if tries == 0:
            return
        given_ml = 0
        supply = self.guard.supply_of[valve]
        meter = self.meters[supply]
        if meter is not None and self.guard.open_zone(supply) == _NONE:
            given_ml = meter.given_ml(seen.meter_ml[supply])
            meter.turned(seen.meter_ml[supply], up_s)
        run = self.runs[valve] if valve < len(self.runs) else None
        if run is None:
            return
        zone = run.zone
        record = self.record
        self.runs[zone] = None
        record.opening &= ~(1 << zone)
        self._owed = True
        if not run.open:
            self.tell(SKIPPED, zone, DRIVER, 0)
            return
        given_s = up_s - self.guard.opened_up_s[zone]
        self._book(zone, given_s, up_s)
        if meter is not None:
            self._poll_up_s = min(self._poll_up_s, up_s + 2 * SETTLE_S)
        whole = run.ended in (DONE, LITRES)
        self.tell(CLOSED if whole else CUT_SHORT, zone, run.ended, given_s, given_ml)
        if run.kind == TEST and run.flow_ml_min > 0 and not run.bad_flow:
            if off_plan(run.flow_ml_min, self.plan.zones[zone].flow_ml_min):
                self.tell(REFUSED, zone, OFF_PLAN, run.flow_ml_min)
            else:
                record.flow_ml_min[zone] = min(run.flow_ml_min, 65535)
                self.tell(LEARNED, zone, TEST, record.flow_ml_min[zone])

    def _opened(self, valve: int, tries: int, up_s: int, seen: "Seen") -> None:
        """An OPEN was carried out, or its driver raised, or it was never tried."""
        if tries == 0:
            self._driver(True, valve)
        run = self.runs[valve] if valve < len(self.runs) else None
        if run is None:  # a master, or given up
            if tries > 0:
                self._driver(False, valve)
            return
        record = self.record
        if tries <= 0:
            if tries == 0:
                record.zone_faults[valve] |= DRIVER_FAULT
                self.dirty = True
                self.guard.retry_zone_up_s[valve] = up_s + FAULT_RETRY_S
            self.guard.shut(valve, up_s)
            return
        run.open = True
        self.tell(OPENED, valve, run.kind, run.run_s)
        if record.zone_faults[valve] & DRIVER_FAULT:
            record.zone_faults[valve] &= ~DRIVER_FAULT
            self._driver(False, valve)
        wait_s = self.plan.hub.watch_s
        supply = self.guard.supply_of[valve]
        meter = self.meters[supply]
        if meter is not None:
            meter.turned(seen.meter_ml[supply], up_s)
            wait_s = min(wait_s, SETTLE_S)
        self._poll_up_s = min(self._poll_up_s, up_s + wait_s)

    def _saved(self, slot: int, tries: int, up_s: int) -> None:
        """A record or plan was written and read back, or was not."""
        run = self.intent
        if tries > 0:
            self.shut_up_s = _NONE
            if self.alarms and not self.record.faults & STORE_FAULT:
                self._alarm(False, _NONE, STORE, slot)
            if run:
                self.runs[run.zone] = run
                self.intent = None
            return
        if tries == 0:
            self._alarm(True, _NONE, STORE, slot)
            self._save_up_s = up_s + SAVE_RETRY_S
            if slot == PLAN:
                self.new_plan = None
                self.tell(REFUSED, _NONE, STORE, NEW_PLAN)
        if slot == RECORD:
            self.dirty = True
            if run:  # its OPEN was not tried either
                self.guard.open_zones.remove(run.zone)
                self._cancel()

    # Runs.

    def _end_runs(self, why: int, up_s: int, seen: "Seen | None" = None) -> None:
        """Close what is open, for a reason; with OK, what is over or must not go on."""
        guard = self.guard
        for zone in guard.open_zones:
            run = self.runs[zone]
            if run is not None and zone not in guard.to_shut:
                ended = why or (run.open and self._why_end(run, up_s, seen))
                if ended:
                    run.ended = ended
                    guard.shut(zone, up_s)

    def _why_end(self, run: Run, up_s: int, seen: "Seen | None") -> int:
        """Return why an open run must be closed now, or OK."""
        assert seen is not None  # only where there is a reason already is nothing looked at
        supply = self.guard.supply_of[run.zone]
        meter = self.meters[supply]
        if up_s >= self.guard.end_up_s[run.zone]:
            if meter:
                ml = seen.meter_ml[supply]
                self._watch(supply, run.zone, meter, ml, up_s)  # once more, at the end
            return FAULT if run.bad_flow else DONE
        if run.run_ml and meter and meter.given_ml(seen.meter_ml[supply]) >= run.run_ml:
            return LITRES
        if self.record.faults or run.bad_flow:
            return FAULT
        if self.lockouts.spent_battery:
            return LOW_BATTERY
        if self.new_plan is not None:
            return NEW_PLAN
        return self.lockouts.why(run.zone, self.days.local_s(up_s), run.anyway, 0)

    def _begin_runs(self, up_s: int, seen: "Seen") -> None:
        """Intend the next run that may start."""
        if (
            (self.record.waiting or self.test)
            and self.intent is None
            and self.new_plan is None
            and up_s >= self._save_up_s
            and len(self.guard.open_zones) < self.plan.hub.open_max
        ):
            if self.test:
                self._choose_test(up_s)
            else:
                if up_s - self._polled_up_s >= 2 * self.plan.hub.watch_s:
                    self._poll(up_s, seen)  # no older than while a valve is open
                self._choose_waiting(up_s)

    def _choose_waiting(self, up_s: int) -> None:
        """Intend the first waiting run that may start, of those whose supply is free."""
        # A supply in use is a wake when it closes; one that settles is looked at after its gap.
        waiting = self.record.waiting
        if self.guard.open_zones:
            waiting &= ~self.guard.busy_zones()
        if up_s < self.guard.settled_up_s:
            for supply, gap_up_s in enumerate(self.guard.gap_up_s):
                settling = waiting & self.guard.zones_of[supply]
                if settling and up_s < gap_up_s:
                    self._soon = True
                    self._look_at(gap_up_s)
                    waiting &= ~settling
        if waiting:
            for zone in self.days.order:
                if waiting >> zone & 1 and self._serve(zone, up_s):
                    return

    def _serve(self, zone: int, up_s: int) -> bool:
        """Intend a waiting run, or drop it, or leave it waiting. Returns True if intended."""
        days = self.days
        run_s, run_ml = self._planned(zone)
        if run_s < RUN_LEAST_S:
            days.drop(zone, CAP if self.trim.room_s(zone) < RUN_LEAST_S else TOO_SHORT)
            return False
        latest_up_s = days.latest_up_s(run_s)
        if up_s > latest_up_s:
            days.drop(zone, days.held[zone] or NO_TIME)
            return False
        run = Run(zone, run_s, run_ml)
        first_up_s = days.first_up_s()
        if up_s < first_up_s:
            why = CLOCK
            self._look_at(first_up_s)
        else:
            why = self.why_not(run, up_s)
        if why == OK and self._shut_up_s[zone] != _NONE:
            rested_up_s = self._shut_up_s[zone] + self.plan.zones[zone].rest_s
            if up_s < rested_up_s:
                why = REST
                self._look_at(rested_up_s)
        if why == OK:
            self.intend(run, up_s)
            return True
        if why == QUIET:
            self._look_at(up_s + days.steady_s(up_s))
        days.held[zone] = OK if why in (OPEN_LIMIT, BUSY) else why
        self._look_at(latest_up_s + 1)
        return False

    def _planned(self, zone: int) -> "tuple[int, int]":
        """How long the run lasts that waits for a zone, seconds, and how much it gives, ml."""
        probe = self.lockouts.probes[zone]
        # Where a probe is not to be trusted nothing is added to the table.
        return self.trim.run(zone, self.days.row, probe is None or probe.trusted)

    def _choose_test(self, up_s: int) -> None:
        """Intend the next zone of the guided test; one that may not be opened is left out."""
        if self.guard.open_zones:
            return  # one at a time, so that it is plain which strip gets wet
        for zone in range(len(self.plan.zones)):
            if self.test >> zone & 1:
                travel_s = self.plan.supplies[self.guard.supply_of[zone]].travel_s
                run = Run(zone, TEST_RUN_S + travel_s, 0, TEST, True)
                why = self.why_not(run, up_s)
                if why == OK:
                    self.test &= ~(1 << zone)
                    self.intend(run, up_s)
                    return
                if why in (GAP, BUSY):
                    self._look_at(max(self.guard.gap_up_s[self.guard.supply_of[zone]], up_s + 1))
                    return
                self.test &= ~(1 << zone)
                self.tell(REFUSED, zone, why, TEST)

    def why_not(self, run: Run, up_s: int) -> int:
        """Return why a run must not start now, or OK."""
        if up_s < self._save_up_s:
            return STORE  # what cannot be written is not given
        why = self.lockouts.why(run.zone, self.days.local_s(up_s), run.anyway, run.run_s)
        if why != OK:
            return why
        return self.guard.judge(run.zone, run.run_s, up_s)

    def intend(self, run: Run, up_s: int) -> None:
        """Write down what is about to be given; the valve opens if that is kept."""
        record = self.record
        bit = 1 << run.zone
        if run.kind == PLANNED:
            record.waiting &= ~bit
        elif record.waiting & bit and run.run_s >= self._planned(run.zone)[0]:
            self.days.drop(run.zone, run.kind)  # this one stands in for it
        record.opening |= bit
        record.run_s[run.zone] = run.run_s
        record.valve_wall_s[run.zone] = self.days.wall_s(up_s)
        self.days.held[run.zone] = OK
        self.intent = run
        self.dirty = True

    def _cancel(self) -> None:
        """Give an intent up: a planned run waits again, another is refused."""
        run = self.intent
        if run is None:
            return
        self.intent = None
        self.record.opening &= ~(1 << run.zone)
        self._owed = True
        if run.kind == PLANNED:
            self.record.waiting |= 1 << run.zone
            self._look_up_s = self._up_s
        else:
            self.tell(REFUSED, run.zone, FAULT, run.kind)

    def stop(self, why: int, up_s: int) -> None:
        """Close what is open, and drop what waits."""
        self._cancel()
        self._end_runs(why, up_s)
        self.test = 0
        self.days.drop_waiting(why)

    # Sensors.

    def _poll(self, up_s: int, seen: "Seen") -> bool:
        """Read every sensor, and set when to read them next. Returns True if anything changed."""
        self._polled_up_s = up_s
        record = self.record
        changed = self.lockouts.poll(seen, up_s, record.opening)
        if changed:
            for zone, probe in enumerate(self.lockouts.probes):
                if probe is not None and not probe.trusted and record.auto_pct[zone]:
                    record.auto_pct[zone] = 0  # what an untrusted probe taught does not count
                    self.dirty = True
        hub = self.plan.hub
        next_up_s = up_s + (hub.watch_s if record.opening else hub.poll_s)
        if up_s < self.lockouts.dry_up_s:
            next_up_s = min(next_up_s, self.lockouts.dry_up_s)
        for supply, meter in self._metered:
            ml = seen.meter_ml[supply]
            zone = self.guard.open_zone(supply)
            if self._watch(supply, zone, meter, ml, up_s):
                changed = True
            other_up_s = meter.settle_up_s(up_s, zone != _NONE)
            if other_up_s:
                next_up_s = min(next_up_s, other_up_s)
            run = self.runs[zone] if zone != _NONE else None
            if run is not None and run.run_ml and zone not in self.guard.to_shut:
                left_ml = run.run_ml - meter.given_ml(ml)
                if left_ml <= 0:
                    changed = True  # the run is to be ended
                    next_up_s = min(next_up_s, up_s + 1)
                elif run.flow_ml_min > 0:
                    next_up_s = min(next_up_s, up_s + max(1, left_ml * 60 // run.flow_ml_min))
        self._poll_up_s = next_up_s
        return changed

    def _look_at_meters(self, up_s: int, seen: "Seen") -> bool:
        """See whether water runs where all is shut. Returns True if it does, and is news."""
        leaks = False
        for supply, meter in self._metered:
            ml = seen.meter_ml[supply]
            is_open = self.guard.open_zone(supply) != _NONE
            if not is_open and self._watch(supply, _NONE, meter, ml, up_s):
                leaks = True
        return leaks

    def _watch(self, supply: int, zone: int, meter: Meter, ml: "int | None", up_s: int) -> bool:
        """See what a meter says of the zone that is open, or of none (-1).

        Returns True if something is wrong, or no longer so.
        """
        record = self.record
        if zone == _NONE:
            if not meter.leaks(ml, up_s) or record.faults & LEAK_FAULT:
                return False
            record.faults |= LEAK_FAULT
            self._alarm(True, _NONE, LEAK, supply)
            self._end_runs(FAULT, up_s)
            self.guard.shut(_NONE, up_s)
            self.dirty = True
            return True
        flow_ml_min = meter.flow_ml_min(ml, up_s)
        run = self.runs[zone]
        if flow_ml_min == _NONE or run is None:
            return False
        run.flow_ml_min = flow_ml_min
        why = wrong(record, zone, flow_ml_min)
        if why == NO_FLOW:
            self._set_no_flow(zone, True, flow_ml_min, up_s)
        elif why == BURST and run.kind != TEST:
            record.zone_faults[zone] |= BURST_FAULT
            self._alarm(True, zone, BURST, flow_ml_min)
            self.dirty = True
        else:
            if not record.zone_faults[zone] & NO_FLOW_FAULT:
                return False
            self._set_no_flow(zone, False, flow_ml_min, up_s)
            return True
        run.bad_flow = True
        return True

    def _set_no_flow(self, zone: int, dry: bool, flow_ml_min: int, up_s: int) -> None:
        """A zone without flow is tried once a day; so is a supply none of whose zones flows."""
        self.dirty = True
        supply = self.guard.supply_of[zone]
        retry_up_s = up_s
        faults = self.record.zone_faults
        faults[zone] &= ~NO_FLOW_FAULT
        if dry:
            faults[zone] |= NO_FLOW_FAULT
            retry_up_s += FAULT_RETRY_S
        self.guard.retry_zone_up_s[zone] = retry_up_s
        self._alarm(dry, zone, NO_FLOW, flow_ml_min)
        if not dry or self._supply_no_flow(supply):
            self._alarm(dry, ZONES_MAX + supply, SUPPLY_NO_FLOW, 0)
            self._retry_supply(supply, retry_up_s)

    def _retry_supply(self, supply: int, retry_up_s: int) -> None:
        for zone, part in enumerate(self.plan.zones):
            if part.supply == supply:
                self.guard.retry_zone_up_s[zone] = retry_up_s

    # What it keeps and says.

    def _saving(self, up_s: int) -> "list[Command]":
        """Return the SAVE that is due, if any."""
        if up_s < self._save_up_s or not self._booted:
            return []
        record = self.record
        guard = self.guard
        if (
            self.new_plan is not None
            and self.intent is None
            and not guard.to_shut
            and not guard.open_zones
        ):
            # Once both are written the runner starts a hub from them, and this one is no more.
            self.days.drop_waiting(NEW_PLAN)
            record.wall_s = self.days.wall_s(up_s)
            self.lockouts.keep(up_s)
            plan, data = self.new_plan
            return [(SAVE, PLAN, data), (SAVE, RECORD, record.carry(plan).pack())]
        if not self.dirty and not self.lockouts.dirty and (self._soon or not self._owed):
            return []
        self.dirty = False
        self._owed = False
        self.lockouts.keep(up_s)
        record.wall_s = self.days.wall_s(up_s)
        return [(SAVE, RECORD, record.pack())]

    def clear(self, zone: int) -> None:
        """Clear the faults of a zone, or of everything (-1).

        What waits is dropped first, so that no valve opens because a fault was cleared.
        """
        record = self.record
        zones: "list[int] | range" = [zone]
        found = 0
        if zone == _NONE:
            zones = range(len(self.runs))
            found = record.faults
            record.faults = 0
            self._alarm(False, _NONE, TROUBLE, 0)
        for one in zones:
            found |= record.zone_faults[one]
            record.zone_faults[one] = 0
        if not found:
            return
        self.dirty = True
        standing = self._standing()
        for alarm in list(self.alarms):
            if alarm[1] in _FAULTS and alarm not in standing:
                self.tell(CLEARED, alarm[0], alarm[1], 0)
        for one in zones:
            if record.waiting >> one & 1:
                self.days.drop(one, FAULT)

    def _standing(self) -> "list[tuple[int, int]]":
        """Return the alarms that the record's faults stand for."""
        record = self.record
        alarms = []
        for zone, faults in enumerate([record.faults] + record.zone_faults, -1):
            for why in _FAULTS:
                if faults >> why - FIRST_FAULT & 1:
                    alarms.append((zone, why))
            if zone >= 0 and record.dry_full[zone] >= DRY_CHECKS:
                alarms.append((zone, DRY_AT_FULL))
        for supply in range(len(self.meters)):
            if self._supply_no_flow(supply):
                alarms.append((ZONES_MAX + supply, SUPPLY_NO_FLOW))
        return alarms

    def _supply_no_flow(self, supply: int) -> bool:
        """Whether none of a supply's zones flows."""
        found = False
        for zone, part in enumerate(self.plan.zones):
            if part.supply == supply:
                found = True
                if not self.record.zone_faults[zone] & NO_FLOW_FAULT:
                    return False
        return found

    def _driver(self, on: bool, valve: int) -> None:
        """Raise or clear the alarm of a zone's valve, or of a supply's."""
        zones = len(self.runs)
        self._alarm(on, valve if valve < zones else ZONES_MAX + valve - zones, DRIVER, 0)

    def _look_at(self, up_s: int) -> None:
        self._look_up_s = min(self._look_up_s, up_s)

    def _alarm(self, on: bool, zone: int, why: int, value: int) -> None:
        """Raise an alarm, or clear it: each once."""
        if on != ((zone, why) in self.alarms):
            self.tell(ALARM if on else CLEARED, zone, why, value)

    def warn(self, up_s: int, why: int, value: int, fault: int = 0) -> "list[Command]":
        """Raise an alarm of the runner's, and latch a fault. Returns the reports of that."""
        self._up_s = up_s
        self.record.faults |= fault
        self._alarm(True, _NONE, why, value)
        events = self._events
        self._events = []
        return events

    def tell(self, what: int, zone: int, why: int, value: int, ml: int = 0) -> None:
        """Log an event, and report it with the next commands."""
        if what == ALARM:
            self.alarms.append((zone, why))
        elif what == CLEARED and (zone, why) in self.alarms:
            self.alarms.remove((zone, why))
        wall_s = self.days.wall_s(self._up_s) or _NONE
        event = (what, zone, why, value, ml, self.record.boots, self._up_s, wall_s)
        self._events.append((REPORT, event))
        self.log.add(event)
