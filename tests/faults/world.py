"""A busy two-day house whose power can be cut, or whose ports can fail, at any call of any port.

What the faults are:
- a cut before port call N: nothing of call N happens, nothing in memory is left;
- a cut during a write: the copy being written keeps its first k bytes, or those and what stood
  there before; the other copy stays as it was;
- an exception at port call N, once, or at every call of that port from then on, or at every call
  of every port from then on; a call that raises has done nothing.

What the house does: a held valve shuts when power goes; a latching one stays as it is until it is
told to close, or until its driver's own deadline, which runs only while there is power. Gauge and
meters count from boot. The clock is kept, or lost and found again ten minutes after the boot.
"""

from collections import defaultdict
from dataclasses import dataclass, field
from typing import Any

from evenclay.controller import journal
from evenclay.controller.events import ACCEPTED, CUT_SHORT, SKIPPED
from evenclay.controller.plan import Plan, PlanError
from evenclay.controller.ports import ASK_CHECK, ASK_HOLD, ASK_RUN, DRY, PLAN, RECORD, Seen
from evenclay.controller.runner import Runner
from tests import core

OUTAGE_S = 30
FOUND_S = 600  # after a boot that lost the clock, the owner or a radio sets it again
HOUR = 3600
CYCLES_MIN = (300, 720, 1430)  # 05:00, 12:00 and 23:50: the last one's runs cross midnight
RUN_S = 600

# Local time is UTC here: the calendar has tests of its own.
START_S = core.wall(2027, 6, 15)
END_S = START_S + 2 * 86400 + 3 * HOUR

RAINS = (  # local seconds from START_S, um; the second falls during a run
    (11 * HOUR + 1800, 9000),
    (86400 + 5 * HOUR + 900, 9000),
)
ASKED = (  # local seconds from START_S, command
    (4 * HOUR, (ASK_CHECK, 0, (DRY,))),
    (8 * HOUR, (ASK_RUN, 3, 500)),
    (15 * HOUR, (ASK_RUN, 1, 700)),
    (86400 + 7 * HOUR, (ASK_RUN, 0, 400)),
    # begins during a run, and ends before midnight
    (86400 + 12 * HOUR + 300, (ASK_HOLD, -1, START_S + 86400 + 16 * HOUR)),
)


# Ground without a top or a neighbour, which wants all that the rows give: what it lacks is a sum.
GROUND = {
    "top_um": 0,
    "top_ppt": 0,
    "freely_um": 900000,
    "end_um": 900001,
    "beside_ppm": 0,
    "begin_um": 400000,
}
DEMAND_UM = 2400  # a day: the rows' demand, as far as a zone shares it


def house() -> Plan:
    """Five zones on two supplies: latching and held valves, a meter, a master, a rest, a cap."""
    made: Plan = core.plan(
        zones=[
            {"exposure_pct": 60},
            {"held": 1, "exposure_pct": 60},
            {"exposure_pct": 20, "cap_s": 1250},
            {"supply": 1, "exposure_pct": 20, "rest_s": 7200},
            {"supply": 1, "held": 1, "share_pct": 150, "exposure_pct": 60},
        ],
        supplies=[{"meter": 1}, {"master": 1, "gap_s": 10}],
        rows=[core.row(1, 1, starts_min=CYCLES_MIN, run_s=RUN_S, demand_um=4000, rain_um=9000)],
        zone=GROUND,
        std_s=0,
        dst_s=0,
        dst=0,
        open_max=2,
        frost=0,
        estimate=1,
        opening_um=65535,
    )
    return made


class Cut(BaseException):
    """The power goes. Not an Exception: nothing in the core may catch it."""


@dataclass
class Fault:
    """What goes wrong, and at which call; prints as what repeats it."""

    kind: str = "none"  # none, cut, once, port, all
    call: int = 0
    torn: int = -1  # bytes of the copy that are new; -1: not a write, or all of it untouched
    over: bool = False  # the rest of the copy is what stood there, not nothing
    lost_clock: bool = False
    second: int = 0  # cut again so many calls after the first cut; 0: no


@dataclass
class Opening:
    """A valve that really opened."""

    zone: int
    at_s: int
    planned_s: int  # as written in the store before it opened
    end_s: int = -1
    by_cut: bool = False  # still open, or shut, by a cut


@dataclass
class World:
    """Ports, physics and the account of what happened. Times are seconds since 2000-01-01."""

    plan: Plan
    fault: Fault = field(default_factory=Fault)
    now_s: int = START_S
    boot_s: int = START_S
    calls: int = 0
    names: list[str] = field(default_factory=list)  # of every call, while `keep_names`
    keep_names: bool = False
    idle_looks: bool = False  # also wake the hub for looks at meters that stand still
    states: list[object] = field(default_factory=list)  # what a cut before each call leaves
    store: dict[tuple[int, int], bytes] = field(default_factory=dict)
    runner: Runner | None = None
    open_now: dict[int, Opening] = field(default_factory=dict)
    openings: list[Opening] = field(default_factory=list)
    of_zone: dict[int, list[Opening]] = field(default_factory=lambda: defaultdict(list))
    masters: set[int] = field(default_factory=set)
    deadlines: dict[int, int] = field(default_factory=dict)
    events: list[tuple[int, ...]] = field(default_factory=list)
    reported_s: list[int] = field(default_factory=list)  # when each was
    taken: int = 0  # owner commands taken
    cuts: list[int] = field(default_factory=list)
    owed: list[tuple[int, ...]] = field(default_factory=list)  # told, kept, and never reported
    owed_s: list[int] = field(default_factory=list)  # when each was lost
    at_cut: list[journal.Record] = field(default_factory=list)  # the record each cut left
    clock_lost_until_s: int = 0
    since_boot: list[str] = field(default_factory=list)
    booting: bool = False
    fired: bool = False
    port_failed: str = ""
    past_ml: list[int] = field(default_factory=list)
    writes: dict[int, int] = field(default_factory=dict)  # call number of each write: its length
    faults_stood: bool = False

    def __post_init__(self) -> None:
        self.valves = len(self.plan.zones) + len(self.plan.supplies)
        self.store[(PLAN, 0)] = self.plan.pack()
        self.seen = Seen(len(self.plan.zones), len(self.plan.supplies))
        self.seen.temp_mc = 15000
        self.past_ml = [0] * len(self.plan.supplies)

    # Faults.

    def _call(self, name: str) -> None:
        """Count a port call; let the fault of its number happen."""
        self.calls += 1
        if self.keep_names:
            self.names.append(name)
            self.states.append(self._state())
        if self.booting:
            self.since_boot.append(name)
        fault = self.fault
        if fault.kind == "none" or self.calls < fault.call:
            return
        if fault.kind == "cut":
            if self.calls == fault.call and not (name == "write" and fault.torn >= 0):
                raise Cut
            if fault.second and self.fired and self.calls == fault.call + fault.second:
                raise Cut
        elif self.calls == fault.call:
            self.fired = True
            self.port_failed = name
            raise OSError("fault")
        elif fault.kind == "all" or (fault.kind == "port" and name == self.port_failed):
            raise OSError("fault")

    def _state(self) -> object:
        """All that a cut leaves: two equal ones boot the same world."""
        valves = tuple(sorted(self.open_now)), tuple(sorted(self.masters))
        kept = tuple(sorted(self.store.items()))
        return self.now_s, valves, kept, self.taken, len(self.events)

    # The ports.

    def up_s(self) -> int:
        self._call("up_s")
        return self.now_s - self.boot_s

    def wall_s(self) -> int | None:
        self._call("wall_s")
        return None if self.now_s < self.clock_lost_until_s else self.now_s

    def set_wall_s(self, wall_s: int) -> None:
        self._call("set_wall_s")

    def look(self) -> Seen:
        self._call("look")
        seen = self.seen
        since = [um for at_s, um in RAINS if self.boot_s < START_S + at_s <= self.now_s]
        seen.rain_um = sum(since)
        for supply in range(len(self.plan.supplies)):
            seen.meter_ml[supply] = self.total_ml(supply) - self.past_ml[supply]
        return seen

    def take_asked(self) -> list[tuple[int, int, Any]]:
        self._call("take_asked")
        asked = []
        while self.taken < len(ASKED) and START_S + ASKED[self.taken][0] <= self.now_s:
            asked.append(ASKED[self.taken][1])
            self.taken += 1
        return asked

    def close(self, valve: int) -> None:
        self._call("close")
        self._shut(valve, self.now_s)

    def open(self, valve: int, deadline_s: int) -> None:
        self._call("open")
        self.deadlines[valve] = self.now_s + deadline_s
        if valve >= len(self.plan.zones):
            self.masters.add(valve)
            return
        assert valve not in self.open_now, "opened twice"
        record = self.newest()
        assert record is not None and record.opening >> valve & 1, "opened with nothing written"
        opening = Opening(valve, self.now_s, record.run_s[valve])
        part = self.plan.zones[valve]
        given_s = self.given_s(valve, self.now_s // 86400 * 86400)
        assert given_s + opening.planned_s <= part.cap_s, "opened past its cap"
        beside = [o for o in self.open_now if self.plan.zones[o].supply == part.supply]
        assert not beside, "two valves of a supply open"
        self.open_now[valve] = opening
        self.openings.append(opening)
        self.of_zone[valve].append(opening)

    def read(self, slot: int, copy: int) -> bytes:
        self._call("read")
        return self.store.get((slot, copy), b"")

    def write(self, slot: int, copy: int, data: bytes) -> None:
        self._call("write")
        if self.keep_names:
            self.writes[self.calls] = len(data)
        fault = self.fault
        if fault.kind == "cut" and self.calls == fault.call:
            before = self.store.get((slot, copy), b"") if fault.over else b""
            self.store[(slot, copy)] = data[: fault.torn] + before[fault.torn :]
            raise Cut
        self.store[(slot, copy)] = data

    def report(self, event: tuple[int, ...]) -> None:
        self._call("report")
        self.events.append(event)
        self.reported_s.append(self.now_s)

    def feed(self) -> None:
        self._call("feed")

    # Physics and account.

    def _shut(self, valve: int, at_s: int) -> None:
        self.deadlines.pop(valve, None)
        self.masters.discard(valve)
        opening = self.open_now.pop(valve, None)
        if opening is not None:
            opening.end_s = at_s

    def given_s(self, zone: int, from_s: int) -> int:
        """Seconds that a zone really was open since an instant."""
        given_s = 0
        for opening in self.of_zone[zone]:
            end_s = self.now_s if opening.end_s < 0 else opening.end_s
            if end_s > from_s:
                given_s += end_s - max(opening.at_s, from_s)
        return given_s

    def past_cap_s(self, zone: int) -> int:
        """Seconds that a zone really was open past its cap, all local days together."""
        past_s = 0
        for day_s in range(START_S, END_S, 86400):
            of_day_s = self.given_s(zone, day_s) - self.given_s(zone, day_s + 86400)
            past_s += max(0, of_day_s - self.plan.zones[zone].cap_s)
        return past_s

    def total_ml(self, supply: int) -> int:
        """Water a supply ever gave, ml: 3 l/min a zone."""
        zones = [z for z, part in enumerate(self.plan.zones) if part.supply == supply]
        return sum(self.given_s(zone, 0) for zone in zones) * 50

    def newest(self) -> journal.Record | None:
        """The record that a boot would find."""
        copies = (self.store.get((RECORD, 0), b""), self.store.get((RECORD, 1), b""))
        data = journal.newest(copies)
        return journal.unpack_record(data) if data else None

    # A life.

    def live(self) -> "World":
        """Run to the end, through whatever goes wrong."""
        for _ in range(40):
            try:
                self._boot()
                while self.now_s < END_S:
                    self._turn()
                return self
            except Cut:
                self._lose_power()
            except (OSError, PlanError):  # what a board's main loop does: it resets
                if self.fault.kind not in ("once", "port", "all"):
                    raise
                self._lose_power()
                self.now_s = min(END_S, self.now_s + HOUR)
        return self  # reset again and again: its valves are what is looked at

    def die(self) -> None:
        """Live until the power is cut, and no longer."""
        try:
            self._boot()
            while True:
                self._turn()
        except Cut:
            self._lose_power()

    def reboot(self) -> Runner:
        """Boot again, and take the first turn."""
        self._boot()
        self._turn()
        assert self.runner is not None
        return self.runner

    def _boot(self) -> None:
        self.booting = True
        self.since_boot = []
        self.boot_s = self.now_s
        self.past_ml = [self.total_ml(supply) for supply in range(len(self.plan.supplies))]
        try:
            self.runner = Runner(self)
        finally:
            self.booting = False
        if self.fault.kind in ("none", "cut"):
            closes = self.since_boot[: self.valves]
            assert closes == ["close"] * self.valves, "something came before the valves were shut"
            assert not self.open_now

    def _turn(self) -> None:
        assert self.runner is not None
        up_s, hub = self.runner.turn(), self.runner.hub
        if up_s == hub.wake_s and not (self.idle_looks or self._meter_runs()):
            up_s = hub.due_s  # nine calls in ten would be looks that find nothing
        wake_s = self.boot_s + up_s
        self._account()
        if self.taken < len(ASKED):
            wake_s = min(wake_s, START_S + ASKED[self.taken][0])
        if self.now_s < self.clock_lost_until_s:
            wake_s = min(wake_s, self.clock_lost_until_s)
        # A hub whose clock fails gives wakes that are past: it is asked again in ten minutes.
        least_s = 600 if self.fault.kind in ("port", "all") and wake_s <= self.now_s else 1
        self._pass_to(max(wake_s, self.now_s + least_s))

    def _meter_runs(self) -> bool:
        """Whether water runs through a meter."""
        zones, supplies = self.plan.zones, self.plan.supplies
        return any(supplies[zones[zone].supply].meter for zone in self.open_now)

    def _pass_to(self, at_s: int) -> None:
        """Time passes; a driver's own deadline shuts what nobody shut."""
        for valve, deadline_s in list(self.deadlines.items()):
            if deadline_s <= at_s:
                self._shut(valve, deadline_s)
        self.now_s = at_s

    def _account(self) -> None:
        """What the hub has booked covers what its zones really had, this local day."""
        assert self.runner is not None
        record = self.runner.hub.record
        self.faults_stood = self.faults_stood or record.faults != 0
        if self.fault.kind not in ("none", "cut"):
            return
        midnight_s = self.now_s // 86400 * 86400
        for zone in range(len(self.plan.zones)):
            if zone not in self.open_now:
                given_s = self.given_s(zone, midnight_s)
                if self.fault.lost_clock and self.cuts:  # no more than the cap can be booked then
                    given_s = min(given_s, self.plan.zones[zone].cap_s)
                assert record.used_s[zone] >= given_s, "water that was not booked"
        # Of the valve that was open when a clock was lost nobody knows how long: its whole cap.
        if self.fault.lost_clock and self.cuts and self.now_s < self.clock_lost_until_s:
            for zone, part in enumerate(self.plan.zones):
                if self.at_cut[-1].opening >> zone & 1:
                    assert record.used_s[zone] >= part.cap_s, "less than the cap booked"

    def _lose_power(self) -> None:
        self.fired = True
        self.cuts.append(self.now_s)
        record = self.newest() or journal.Record(len(self.plan.zones))
        self.at_cut.append(record)
        if self.runner is not None:
            told = self.runner.hub.faults.log.events()
            self.owed += [event for event in told if event not in self.events]
            self.owed_s += [self.now_s] * (len(self.owed) - len(self.owed_s))
        self.runner = None
        for valve, opening in list(self.open_now.items()):
            opening.by_cut = True
            if self.plan.zones[valve].held:
                self._shut(valve, self.now_s)
        self.deadlines = {}
        self.now_s += OUTAGE_S
        if self.fault.lost_clock:
            self.clock_lost_until_s = self.now_s + FOUND_S

    # What must hold of a whole life.

    def judge(self, usual: "World | None" = None) -> None:
        """Check a life that is over; `usual` is the one in which nothing went wrong."""
        faulty = self.fault.kind not in ("none", "cut")
        for opening in self.openings:
            assert opening.end_s >= 0 or faulty, "open at the end"
            most_s = opening.planned_s
            if opening.by_cut and not self.plan.zones[opening.zone].held:
                most_s += OUTAGE_S * len(self.cuts)
            if faulty:
                most_s = self.plan.zones[opening.zone].longest_s + OUTAGE_S * len(self.cuts)
            end_s = self.now_s if opening.end_s < 0 else opening.end_s
            if self.fault.kind != "all":
                assert end_s - opening.at_s <= most_s, "open for too long"
        for start_s, end_s in cycle_spans():
            for zone in range(len(self.plan.zones)):
                self._judge_run(zone, start_s, end_s, usual)
        if not faulty:
            for zone in range(len(self.plan.zones)):
                self._judge_estimate(zone)

    def _judge_estimate(self, zone: int) -> None:
        """Each day's demand, each rain and each run was counted once.

        Only rain that fell since the last look before a cut may be lost. Where the clock was lost
        as well, more may be booked than was given, and a day that passed is told by the row. The
        most that is booked then is the day's cap: what a latching valve that stayed open gave past
        it while power was away is not counted, for nobody knows how long that was.
        """
        assert self.runner is not None
        part = self.plan.zones[zone]
        record = self.runner.hub.record
        days = record.day - START_S // 86400
        assert days == END_S // 86400 - START_S // 86400
        counted_um = part.begin_um + days * DEMAND_UM - record.lack_um[zone]
        counted_um += record.used_s[zone] * part.rate_um_h // 3600
        counted_um += record.rain_today_um * part.exposure_pct // 100
        given_um = self.given_s(zone, 0) * part.rate_um_h // 3600
        rains_s = [START_S + at_s for at_s, _ in RAINS]
        rain_um = len(RAINS) * 9000 * part.exposure_pct // 100
        lost = [at_s for at_s in rains_s if any(0 <= cut_s - at_s <= HOUR for cut_s in self.cuts)]
        lost_um = len(lost) * 9000 * part.exposure_pct // 100
        # What ended is written with the next opening, a gap later: until then it counts as open.
        gap_s = max(supply.gap_s for supply in self.plan.supplies)
        more_s, past_cap_s = (OUTAGE_S + gap_s) * len(self.cuts), 0
        if self.fault.lost_clock and self.cuts:
            more_s, past_cap_s = 3 * part.cap_s, self.past_cap_s(zone)
        more_um = more_s * part.rate_um_h // 3600
        lost_um += past_cap_s * part.rate_um_h // 3600
        told = f"zone {zone}: {counted_um} um counted of {given_um} given and {rain_um} fallen"
        assert given_um + rain_um - lost_um - 5 <= counted_um, told
        assert counted_um <= given_um + rain_um + more_um + 5, told

    def _judge_run(self, zone: int, start_s: int, end_s: int, usual: "World | None") -> None:
        """One zone in one cycle: opened at most once, or there is an event that says why not."""
        opened = self.opened_in(zone, start_s, end_s)
        faulty = self.fault.kind not in ("none", "cut")
        assert opened <= 1, f"zone {zone} opened {opened} times in a cycle"
        if self.fault.kind in ("port", "all"):
            return  # nothing can be said by who cannot report
        if self.fault.kind == "cut" and not self.fault.lost_clock and usual is not None:
            self._judge_grace(zone, start_s, end_s, opened, usual)
        if opened or told_in(self.events, zone, start_s, end_s, self.reported_s):
            return
        found_s = end_s
        if self.fault.lost_clock:  # what passed meanwhile is reported once the clock is found
            found_s = end_s + 2 * (OUTAGE_S + FOUND_S)
        if told_in(self.events, zone, end_s, found_s, self.reported_s):
            return
        log = self.runner.hub.faults.log.events() if faulty and self.runner is not None else []
        if told_in(log, zone, start_s, end_s):
            return  # an event whose report failed is still in the log
        if self._waits_still(zone, start_s):
            return
        # The owner was not told: then the record must say so, and the log that was lost with it.
        assert told_in(self.owed, zone, start_s, found_s, self.owed_s), f"zone {zone} lost silently"
        kept = [r for r in self.at_cut if r.mark_wall_s >= start_s]
        assert kept and not kept[-1].waiting >> zone & 1, f"zone {zone} lost while it waited"

    def _judge_grace(
        self, zone: int, start_s: int, end_s: int, opened: int, usual: "World"
    ) -> None:
        """A run that still waited at the cut goes on: the grace is hours here, the outage short."""
        if opened or not usual.opened_in(zone, start_s, end_s):
            return
        if not start_s <= self.cuts[0] < end_s:
            return  # later cycles may go another way: who was dropped goes first
        interrupted = [r for r in self.at_cut if r.opening >> zone & 1]
        room_s = self.plan.zones[zone].cap_s - self.given_s(zone, start_s // 86400 * 86400)
        assert interrupted or room_s < RUN_S, f"zone {zone} waited, and was not opened"

    def _waits_still(self, zone: int, start_s: int) -> bool:
        """Whether the last cycle is not over, and the zone still to have its run or its reason."""
        if self.runner is None:
            return False
        record = self.runner.hub.record
        return record.mark_wall_s == start_s and bool(record.waiting >> zone & 1)

    def opened_in(self, zone: int, start_s: int, end_s: int) -> int:
        """How often a zone really opened in a cycle, runs by hand left out."""
        by_hand = [
            START_S + at_s for at_s, (what, where, _) in ASKED if what == ASK_RUN and where == zone
        ]
        found = [o for o in self.of_zone[zone] if start_s <= o.at_s < end_s]
        return len([o for o in found if not any(0 <= o.at_s - at_s < 120 for at_s in by_hand)])


def cycle_spans() -> list[tuple[int, int]]:
    """Start and end of every cycle that begins in the two days."""
    starts = [START_S + day * 86400 + 60 * minute for day in (0, 1) for minute in CYCLES_MIN]
    return list(zip(starts, [*starts[1:], starts[3] + 86400], strict=True))


def told_in(
    events: list[tuple[int, ...]],
    zone: int,
    start_s: int,
    end_s: int,
    at_s: list[int] | None = None,
) -> bool:
    """Whether an event says that a zone was skipped or cut short: by its stamp, or its report."""
    for place, (what, where, _, _, _, _, _, wall_s) in enumerate(events):
        if what in (SKIPPED, CUT_SHORT) and where == zone:
            if wall_s < 0 and at_s is not None:
                wall_s = at_s[place]
            if start_s <= wall_s <= end_s:
                return True
    return False


def accepted(world: World) -> int:
    """How many owner commands were accepted."""
    return len([event for event in world.events if event[0] == ACCEPTED])
