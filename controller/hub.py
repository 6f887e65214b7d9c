"""The hub: what to do now, given the time, what was seen, and what was asked.

`step` is the only way in. It reads no clock and touches no pin: commands go out, and how they went
comes back as `seen.done` in the next step. This file is the order of a step: what was carried out,
what the clocks say, what was sensed, what is due, what the owner asks for, the one run to intend,
and the commands. What each of these means stands in a file of its own.
"""

from . import civil, const, events, journal, owner
from .agenda import Agenda
from .days import Days
from .estimates import Estimates
from .faults import Faults
from .guard import Guard
from .lockouts import Lockouts
from .ports import CARRIED_OUT, CLOSE, FAILED, OPEN, SAVE, UNTRIED
from .runs import Runs

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from .events import Log
    from .plan import Plan
    from .ports import Asked, Command, Seen

_NOTHING: "list[Command]" = []  # what most wakes come to; nobody adds to it
_NONE = const(-1)
_METER_S = const(60)  # between two looks at the meter of a supply that is shut


class Hub:
    """One hub. `wake_s` is the uptime at which `step` next has something to do.

    `due_s` is the same, but for looks at meters that stand still: they do nothing.
    """

    wake_s = 0
    due_s = 0
    polls = 0  # wakes that only read sensors
    shut_up_s = -1  # when an exception had every valve shut, until a record says so; else -1
    _booted = False
    _due_up_s = 0  # when something but a poll is due

    def __init__(
        self, plan: "Plan", saved: "bytes | None", why: int = events.POWER, log: "Log | None" = None
    ) -> None:
        """Start from a plan and the newest good record (None: a first boot).

        `why`: the reason of the boot, POWER or another of `controller/events.py`; `log`: that of
        the hub before, which goes on.
        """
        record = journal.unpack_record(saved) or journal.Record(0)
        if record.plan_crc != plan.crc or len(record.tag) != len(plan.zones):
            record = record.carry(plan)
        self.plan = plan
        self.record = record
        self._why = why
        self._sent: "list[Command]" = []
        agenda = Agenda(plan)
        self.clock = clock = civil.Clock(agenda.time)
        self.guard = guard = Guard(plan, record)
        self.faults = faults = Faults(plan, record, clock, guard, log or events.Log())
        tell = faults.tell
        self.lockouts = lockouts = Lockouts(plan, record, clock, log is not None, tell)
        self.estimates = estimates = Estimates(plan, record, agenda, lockouts.probes, tell)
        self.days = days = Days(plan, record, agenda, clock, lockouts, estimates, tell)
        self.runs = runs = Runs(plan, record, clock, guard, faults, lockouts, estimates, days)
        self._metered = runs.metered

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
        metered = self._metered
        if metered:
            self.runs.meters_ml = seen.meter_ml
        if self._sent:  # it is still the moment of the step before, in which all due was decided
            if self._take_outcomes(up_s, seen.done) or asked:
                return self._decide(up_s, seen, asked)
            return self._speak(up_s, [])
        clock_said = self.clock.take(up_s, wall_s)
        news = clock_said != 0 and self.days.see_clock(clock_said)
        if self._booted:
            lockouts = self.lockouts
            if up_s >= lockouts.poll_up_s or seen.power_fails != lockouts.power_fails:
                self.polls += 1
                if self._sense(up_s, seen):
                    news = True
            elif metered and self.runs.see_leaks(up_s):
                news = True
        if news or asked or up_s >= self._due_up_s:
            return self._decide(up_s, seen, asked)
        self._set_wake(up_s)
        return _NOTHING

    def _take_outcomes(self, up_s: int, done: int) -> bool:
        """Learn how the last step's commands went: the first `done` of them were carried out.

        Returns True if there is something to decide. There is not when a record has been written,
        nor when a valve has opened and no other may follow.
        """
        sent = self._sent
        self._sent = []
        opened = False
        for place, command in enumerate(sent):
            what = command[0]
            outcome = CARRIED_OUT
            if place >= done:  # the first of these has failed, and none behind it was tried
                outcome = FAILED if place == done else UNTRIED
            if what == CLOSE:
                self.runs.closed(command[1], outcome, up_s)
            elif what == SAVE:
                journal.saved(self, command[1], outcome, up_s)
            elif what == OPEN:
                self.runs.opened(command[1], outcome, up_s)
                opened = True
            elif outcome == UNTRIED:
                self.faults.reports.append(command)
        if done < len(sent) or sent[0][0] == CLOSE:
            return True
        return opened and self.runs.more_may_begin()

    def _sense(self, up_s: int, seen: "Seen") -> bool:
        """Read every sensor and meter. Returns True if anything changed."""
        news = self.lockouts.poll(seen, up_s)
        if self._metered and self.runs.watch(up_s):
            news = True
        return news

    def _decide(self, up_s: int, seen: "Seen", asked: "list[Asked] | tuple[()]") -> "list[Command]":
        """Go through what is due and what is asked, and collect the commands, most urgent first."""
        record = self.record
        guard = self.guard
        runs = self.runs
        if not guard.ready:  # until every valve was told to close, nothing else is due
            if asked:
                owner.answer(self, asked, up_s)
            return self._speak(up_s, guard.closing(up_s))
        waited = record.waiting
        boots = not self._booted
        if boots:
            record.boots = (record.boots + 1) & 0xFFFF
            self.faults.tell(events.BOOT, _NONE, self._why, record.boots)
        if self.days.catch_up(up_s):
            record.dirty = True
        if boots:
            self._resume(up_s)
        if boots or asked:
            if up_s != self.lockouts.polled_up_s:
                self._sense(up_s, seen)  # an owner is answered by what the sensors say now
            owner.answer(self, asked, up_s)
        if guard.open_zones:
            runs.end(events.OK, up_s)
        if runs.may_begin(up_s):
            # Readings that are older than any is while a valve is open are taken anew.
            old_up_s = up_s - 2 * self.plan.hub.watch_s
            if not runs.test and self.lockouts.polled_up_s <= old_up_s:
                self._sense(up_s, seen)
            runs.choose(up_s)
        if waited and not record.waiting:
            record.owed = True
        commands = guard.closing(up_s)
        intent = runs.intent
        at_rest = not (intent or guard.to_shut or guard.open_zones)
        commands += journal.saves(self, up_s, at_rest)
        if intent:
            commands += guard.open(intent.zone, intent.run_s, up_s)
        return self._speak(up_s, commands)

    def _resume(self, up_s: int) -> None:
        """Every valve has been shut: account for whatever was open when the power went."""
        self._booted = True
        shut_up_s = up_s if self.shut_up_s == _NONE else self.shut_up_s
        wall_s = self.clock.wall_s(shut_up_s)
        away_s = wall_s - self.record.wall_s if wall_s and self.record.wall_s else 0
        self.lockouts.resume(up_s, max(0, away_s))
        self.faults.resume(up_s, wall_s)
        self.runs.resume(shut_up_s)

    def _speak(self, up_s: int, commands: "list[Command]") -> "list[Command]":
        """Return commands and what is to be reported; set when to wake: the soonest of all due."""
        if commands:
            self._sent = commands
            self.wake_s = self.due_s = up_s  # how that went is to be told at once
        else:
            # Reports alone need no outcome: an event that was not shown is still in the log.
            guard = self.guard
            guard.verify(up_s)
            due_up_s = guard.due_up_s(self.runs.look_up_s)
            if self._booted and self.clock.trusted:
                other_up_s = self.days.due_up_s()
                if other_up_s < due_up_s:
                    due_up_s = other_up_s
                if self.lockouts.has_quiet and guard.open_zones:
                    due_up_s = min(due_up_s, up_s + self.days.steady_s(up_s))
            record = self.record
            if up_s < record.retry_up_s < due_up_s and (record.dirty or record.owed):
                due_up_s = record.retry_up_s
            self._due_up_s = due_up_s
            self._set_wake(up_s)
        faults = self.faults
        if faults.reports:
            commands += faults.reports
            faults.reports = []
        return commands

    def _set_wake(self, up_s: int) -> None:
        """Wake when something is due, and sooner where a meter's supply is shut: it may leak."""
        poll_up_s = self.lockouts.poll_up_s
        due_s = poll_up_s if poll_up_s < self._due_up_s else self._due_up_s
        self.wake_s = self.due_s = due_s
        for supply, _ in self._metered:
            if due_s > up_s + _METER_S and self.guard.open_zone(supply) == _NONE:
                self.wake_s = up_s + _METER_S
