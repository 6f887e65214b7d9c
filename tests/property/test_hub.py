"""The whole hub under random plans, weather and owners: what may never happen, and what must.

Two judges stand beside it. `expected` is a naive model that says which valve opens and shuts at
which moment when nothing holds water back. `judge` looks at every valve's intervals and at every
event, whatever happened.
"""

import random
from dataclasses import dataclass

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenclay.controller.events import (
    ACCEPTED,
    BOOT,
    CLOSED,
    CUT_SHORT,
    MANUAL,
    OPENED,
    PLANNED,
    REFUSED,
    SKIPPED,
)
from evenclay.controller.plan import BAN_HOURS, Plan, PlanError
from evenclay.controller.ports import (
    ASK_CHECK,
    ASK_CLEAR,
    ASK_HOLD,
    ASK_RUN,
    ASK_RUN_ANYWAY,
    ASK_SAMPLE,
    ASK_STOP,
    ASK_TEST,
    DRY,
    FIRM,
    WET,
)
from evenclay.tools.property.plan_ranges import check_plan
from tests.core import Bench, plan, row, wall

DAY = 86400
STD_S = -21600
# Local midnight of a Monday in summer; local time is UTC less six hours all year.
FROM_S = wall(2027, 7, 5) - STD_S


@dataclass(frozen=True)
class Act:
    """Something that happens at an uptime: a command, or what a sensor shows from then on."""

    at_s: int
    what: str
    value: object


@st.composite
def plans(draw: st.DrawFn, plain: bool = False) -> Plan:
    """1-8 zones on 1-3 supplies; two rows; windows over midnight or explicit starts. Times are
    whole tens of seconds, so that the naive model may step by ten."""
    supplies = draw(st.integers(1, 3))
    zones = [
        {
            "supply": draw(st.integers(0, supplies - 1)),
            "share_pct": draw(st.sampled_from([50, 100, 150, 200])),
            "rest_s": draw(st.sampled_from([0, 0, 1800, 14400])),
            "cap_s": draw(st.sampled_from([600, 1800, 7200])),
            "longest_s": draw(st.sampled_from([300, 1200, 3600])),
            "probe": 0 if plain else draw(st.integers(0, 1)),
            "sensor": draw(st.integers(0, 1)),
            "begin_um": draw(st.sampled_from([30000, 60000, 400000])),
            "exposure_pct": draw(st.sampled_from([20, 100])),
        }
        for _ in range(draw(st.integers(1, 8)))
    ]
    rows = []
    for day in (1, 7):
        run_s = draw(st.sampled_from([60, 300, 900]))
        if draw(st.booleans()):
            starts = draw(st.sets(st.integers(0, 143), min_size=1, max_size=4))
            rows.append(row(7, day, starts_min=tuple(10 * s for s in sorted(starts)), run_s=run_s))
        else:
            # Cycles that divide their window's minutes, so that every start is a whole minute.
            cycles = draw(st.integers(1, 6))
            length = cycles * draw(st.sampled_from([10, 30, 120, 240]))
            start = draw(st.integers(0, 143)) * 10
            rows.append(
                row(7, day, cycles, run_s=run_s, start_min=start, length_min=min(1440, length))
            )
    bans = [] if plain or draw(st.booleans()) else [(BAN_HOURS, 660, 780)]
    try:
        made = plan(
            zones=zones,
            rows=rows,
            supplies=[
                {"gap_s": draw(st.sampled_from([0, 30, 600])), "master": draw(st.integers(0, 1))}
                for _ in range(supplies)
            ],
            bans=bans,
            std_s=STD_S,
            dst=0,
            open_max=draw(st.integers(1, supplies)),
            battery=0 if plain else 1,
            estimate=0 if plain else 1,
        )
        check_plan(made)
        return made
    except PlanError:
        # Two rows whose windows would run into each other: the first alone is a good plan.
        return plan(zones=zones, rows=rows[:1], supplies=[{}] * supplies, std_s=STD_S, dst=0)


def acts(zones: int, days: int) -> st.SearchStrategy[list[Act]]:
    """Weather and owner over some days, in order of time."""
    at_s = st.integers(60, days * DAY - 1)
    zone = st.integers(0, zones - 1)
    run_s = st.integers(1, 5000)
    asks = st.one_of(
        st.tuples(st.sampled_from([ASK_RUN, ASK_RUN_ANYWAY]), zone, run_s),
        st.tuples(st.just(ASK_HOLD), st.just(-1), at_s.map(lambda s: FROM_S + s)),
        st.tuples(st.just(ASK_CHECK), zone, st.sampled_from([(DRY,), (FIRM,), (WET, DRY)])),
        st.tuples(st.just(ASK_SAMPLE), zone, st.integers(0, 4)),
        st.tuples(st.sampled_from([ASK_STOP, ASK_TEST]), st.just(-1), st.just(0)),
        st.tuples(st.just(ASK_CLEAR), st.integers(-1, zones - 1), st.just(0)),
    )
    one = st.one_of(
        st.builds(Act, at_s, st.just("ask"), asks),
        st.builds(Act, at_s, st.just("rain"), st.integers(500, 20000)),
        st.builds(Act, at_s, st.just("temp"), st.sampled_from([-3000, 3000, 9000, 9000, 9000])),
        st.builds(Act, at_s, st.just("soil"), st.integers(280, 360)),
        st.builds(
            Act, at_s, st.just("battery"), st.sampled_from([6000, 6800, 7100, 8000, 8000, 8000])
        ),
    )
    return st.lists(one, max_size=25).map(lambda all_: sorted(all_, key=lambda act: act.at_s))


def act_on(bench: Bench, act: Act) -> None:
    seen = bench.seen
    if act.what == "ask":
        bench.asked.append(act.value)  # type: ignore[arg-type]
        return
    assert isinstance(act.value, int)
    if act.what == "rain":
        seen.rain_um = (seen.rain_um or 0) + act.value
    elif act.what == "temp":
        seen.temp_mc = act.value
    elif act.what == "battery":
        seen.battery_mv = act.value
    else:
        seen.soil_vwc_ppt = [act.value] * len(bench.plan.zones)


def lived(
    made: Plan, todo: list[Act], days: int, every_s: int = 0, early: "random.Random | None" = None
) -> Bench:
    """Live some days: at wakes alone, at every so many seconds, or now and then too early."""
    bench = Bench(made, FROM_S)
    bench.seen.battery_mv = 8000
    bench.seen.soil_vwc_ppt = [320] * len(made.zones)
    bench.boot()
    left = list(todo)
    while bench.now_s < days * DAY:
        while left and left[0].at_s <= bench.now_s:
            act_on(bench, left.pop(0))
        wake_s = bench.runner.turn()
        next_s = bench.now_s + every_s if every_s else wake_s
        if left:
            next_s = min(next_s, left[0].at_s)
        if early is not None and early.random() < 0.5:
            next_s = early.randint(bench.now_s, max(bench.now_s, next_s))
        bench.now_s = max(next_s, bench.now_s + 1)
    bench.now_s = days * DAY
    return bench


# The naive model.


def cycle_starts(made: Plan, days: int) -> list[tuple[int, int, int]]:
    """(start, end, run_s) of every cycle of some days, in seconds from the first midnight."""
    found = []
    for day in range(-1, days + 1):  # the day before may have cycles after midnight
        date = day + 5  # of July
        of_row = [part for part in made.rows if part.month < 7 or part.day <= date][-1]
        minutes = list(of_row.starts_min) or [
            of_row.start_min + k * of_row.length_min // of_row.cycles for k in range(of_row.cycles)
        ]
        for minute in minutes:
            window_min = of_row.start_min + of_row.length_min
            end_min = minute + 360 if of_row.starts_min else window_min
            found.append((day * DAY + 60 * minute, day * DAY + 60 * end_min, of_row.run_s))
    ends = [start for start, _, _ in found[1:]] + [10**9]
    return [(s, min(e, n), run_s) for (s, e, run_s), n in zip(found, ends, strict=True)]


class Naive:
    """What opens and shuts when nothing holds water back: looked at every ten seconds."""

    def __init__(self, made: Plan, days: int) -> None:
        self.made = made
        self.cycles = [c for c in cycle_starts(made, days) if c[0] > 0]  # one at boot is not begun
        self.waiting: list[int] = []
        self.dropped: set[int] = set()
        self.used = [0] * len(made.zones)
        self.shut_at = [-DAY] * len(made.zones)
        self.gap_end = [0] * len(made.supplies)
        self.running: dict[int, tuple[int, int]] = {}
        self.runs: list[tuple[int, int, int]] = []
        self.end, self.run_s = 0, 0
        now = 0
        while now < days * DAY:
            self.look(now)
            midnight = (now // DAY + 1) * DAY
            soonest = min([midnight] + [start for start, _, _ in self.cycles[:1]])
            now = now + 10 if self.waiting or self.running else soonest
        self.runs += [(zone, opened, -1) for zone, (opened, _) in self.running.items()]

    def look(self, now: int) -> None:
        if now % DAY == 0:
            self.used = [0] * len(self.used)
        if self.cycles and self.cycles[0][0] == now:
            _, self.end, self.run_s = self.cycles.pop(0)
            first = self.dropped | set(self.waiting)
            self.dropped = set()
            self.waiting = sorted(
                range(len(self.used)),
                key=lambda zone: (
                    zone not in first,
                    self.shut_at[zone] if zone in first else 0,
                    zone,
                ),
            )
        for zone, (opened, until) in list(self.running.items()):
            if now == until:
                self.shut(zone, opened, now)
        for zone in list(self.waiting):
            if len(self.running) < self.made.hub.open_max:
                self.serve(zone, now)

    def shut(self, zone: int, opened: int, now: int) -> None:
        del self.running[zone]
        self.runs.append((zone, opened, now))
        self.used[zone] += now - opened
        self.shut_at[zone] = now
        supply = self.made.zones[zone].supply
        self.gap_end[supply] = now + self.made.supplies[supply].gap_s

    def serve(self, zone: int, now: int) -> None:
        part = self.made.zones[zone]
        if any(self.made.zones[other].supply == part.supply for other in self.running):
            return
        if now < self.gap_end[part.supply]:
            return
        room_s = part.cap_s - self.used[zone]
        run_s = min(self.run_s * part.share_pct // 100, part.longest_s, room_s)
        if run_s < 60 or now + run_s > self.end:
            self.waiting.remove(zone)
            self.dropped.add(zone)
        elif now >= self.shut_at[zone] + part.rest_s:
            self.waiting.remove(zone)
            self.running[zone] = (now, now + run_s)


# The judge.


def intervals(bench: Bench) -> list[tuple[int, int, int]]:
    """(valve, opened, shut) of every valve, masters too, as the ports saw them."""
    since: dict[int, int] = {}
    found = []
    for what, valve, at_s in bench.calls:
        if what == "open":
            assert valve not in since, "opened twice"
            since[valve] = at_s
        elif what == "close" and valve in since:
            found.append((valve, since.pop(valve), at_s))
    return sorted(found + [(valve, at_s, bench.now_s) for valve, at_s in since.items()])


def judge(bench: Bench) -> None:
    """Assert every rule that holds whatever the weather and the owner do."""
    made = bench.plan
    zones = len(made.zones)
    spans = [span for span in intervals(bench) if span[0] < zones]
    for at in {opened for _, opened, _ in spans}:
        open_now = [valve for valve, opened, shut in spans if opened <= at < shut]
        supplies = [made.zones[valve].supply for valve in open_now]
        assert len(set(supplies)) == len(supplies), "overlap on a supply"
        assert len(open_now) <= made.hub.open_max
    for valve, opened, shut in spans:
        part = made.zones[valve]
        assert shut - opened <= part.longest_s
        for other, _, before in spans:
            if made.zones[other].supply == part.supply and before <= opened:
                assert opened - before >= made.supplies[part.supply].gap_s, "no settling gap"
    judge_masters(bench, spans)
    judge_days(bench, spans)
    judge_cycles(bench)


def judge_masters(bench: Bench, spans: list[tuple[int, int, int]]) -> None:
    """A master is open exactly while one of its zones is; it opens first."""
    made = bench.plan
    zones = len(made.zones)
    masters = [span for span in intervals(bench) if span[0] >= zones]
    for supply, part in enumerate(made.supplies):
        of_zones = [s[1:] for s in spans if made.zones[s[0]].supply == supply]
        of_master = [s[1:] for s in masters if s[0] == zones + supply]
        assert sorted(of_master) == (sorted(of_zones) if part.master else [])
    opens = [(valve, at_s) for what, valve, at_s in bench.calls if what == "open"]
    for place, (valve, at_s) in enumerate(opens):
        if valve < zones and made.supplies[made.zones[valve].supply].master:
            assert opens[place - 1] == (zones + made.zones[valve].supply, at_s)


def judge_days(bench: Bench, spans: list[tuple[int, int, int]]) -> None:
    """The cap, by what was really open in each local day and by what the events say."""
    given: dict[tuple[int, int], int] = {}
    for valve, opened, shut in spans:
        for day in range(opened // DAY, shut // DAY + 1):
            seconds = min(shut, (day + 1) * DAY) - max(opened, day * DAY)
            given[valve, day] = given.get((valve, day), 0) + seconds
    told: dict[tuple[int, int], int] = {}
    for what, zone, _, value, _, _, up_s, _ in bench.events:
        if what in (CLOSED, CUT_SHORT):
            told[zone, up_s // DAY] = told.get((zone, up_s // DAY), 0) + value
    for account in (given, told):
        for (zone, _), seconds in account.items():
            assert seconds <= bench.plan.zones[zone].cap_s, "past the cap"
    assert sum(told.values()) + still_open_s(bench) == sum(given.values())


def still_open_s(bench: Bench) -> int:
    zones = len(bench.plan.zones)
    return sum(bench.now_s - at_s for valve, at_s in bench.open_since.items() if valve < zones)


def judge_cycles(bench: Bench) -> None:
    """Each cycle gave each zone one planned run in it, or one reason; rests were kept."""
    made = bench.plan
    cycles = [c for c in cycle_starts(made, bench.now_s // DAY) if 0 < c[0] < bench.now_s]
    record = bench.runner.hub.record
    last_shut: dict[int, int] = {}
    for zone in range(len(made.zones)):
        of_zone = [event for event in bench.events if event[1] == zone]
        planned = [e[6] for e in of_zone if e[0] == OPENED and e[2] == PLANNED]
        skipped = [e for e in of_zone if e[0] == SKIPPED]
        waits = record.waiting >> zone & 1
        assert len(planned) + len(skipped) + waits == len(cycles), "not one outcome a cycle"
        for e in of_zone:
            if e[0] == OPENED and e[2] == PLANNED:
                cycle = [c for c in cycles if c[0] <= e[6] < c[1]]
                assert len(cycle) == 1 and e[6] + e[3] <= cycle[0][1], "outside its cycle"
                if zone in last_shut:
                    assert e[6] - last_shut[zone] >= made.zones[zone].rest_s, "no rest"
            elif e[0] in (CLOSED, CUT_SHORT):
                last_shut[zone] = e[6]
        for start, end, _ in cycles:
            assert len([at for at in planned if start <= at < end]) <= 1, "two runs in a cycle"


# The properties.


@given(plans(plain=True))
@settings(max_examples=60)
def test_opens_and_shuts_as_the_naive_model_says(made: Plan) -> None:
    bench = lived(made, [], 3)
    real = [(v, o, s) for v, o, s in intervals(bench) if v < len(made.zones)]
    open_now = {v for v in bench.open_since if v < len(made.zones)}
    real = [(v, o, -1 if v in open_now and s == bench.now_s else s) for v, o, s in real]
    assert sorted(real) == sorted(Naive(made, 3).runs)
    judge(bench)


@given(st.data())
def test_no_rule_is_broken_in_any_weather_by_any_owner(data: st.DataObject) -> None:
    made = data.draw(plans())
    bench = lived(made, data.draw(acts(len(made.zones), 3)), 3)
    judge(bench)
    assert not bench.runner.hub.record.faults
    assert len(bench.told(BOOT)) == 1
    # Every command has its answer: at once, or when its run is refused after all.
    assert not bench.asked


@given(st.data())
@settings(max_examples=30)
def test_stepping_early_changes_nothing_and_all_repeats(data: st.DataObject) -> None:
    made = data.draw(plans())
    todo = data.draw(acts(len(made.zones), 2))
    usual = lived(made, todo, 2)
    for early in (None, random.Random(data.draw(st.integers(0, 999)))):
        again = lived(made, todo, 2, early=early)
        assert again.calls == usual.calls
        assert again.events == usual.events
        assert again.store == usual.store


@given(st.data())
@settings(max_examples=5)
def test_every_second_of_a_day_decides_as_the_wakes_do(data: st.DataObject) -> None:
    made = data.draw(plans())
    todo = data.draw(acts(len(made.zones), 1))
    by_second = lived(made, todo, 1, every_s=1)
    by_wake = lived(made, todo, 1)
    assert by_second.calls == by_wake.calls
    assert by_second.events == by_wake.events


@pytest.mark.parametrize("room", [1, 2, 3, 4, 5])
def test_a_window_too_short_for_all_starves_no_zone(room: int) -> None:
    """Six zones of which one to five fit into a cycle: none gets less than half of another."""
    made = plan(
        zones=6,
        rows=[row(1, 1, 1, run_s=600, start_min=300, length_min=room * 11)],
        std_s=STD_S,
        dst=0,
    )
    bench = lived(made, [], 12)
    judge(bench)
    counts = [len([e for e in bench.told(OPENED) if e[1] == zone]) for zone in range(6)]
    assert sum(counts) == 12 * room
    assert max(counts) <= 2 * min(counts)


def test_saves_in_a_year_are_bounded() -> None:
    """At most 1.1 x (runs + cycles + days + rains + commands + boots), over a year with weather."""
    dry = {"begin_um": 600000, "end_um": 700000}  # it wants all that the rows give
    zones = [{"probe": 1, "sensor": zone + 1, **dry} for zone in range(6)]
    made = plan(zones, supplies=[{}, {}], std_s=STD_S, dst=0, estimate=1, opening_um=20000)
    chance = random.Random(7)
    rains = 0
    todo = []
    for day in range(365):
        if chance.random() < 0.3:
            rains += 1
            todo.append(Act(day * DAY + chance.randrange(DAY), "rain", chance.randrange(25000)))
        todo.append(Act(day * DAY + 4 * 3600, "temp", chance.choice([-2000, 9000, 20000])))
        if day % 7 == 0:
            check = (ASK_CHECK, chance.randrange(6), (chance.choice([DRY, FIRM, WET]),))
            todo.append(Act(day * DAY + 4 * 3600, "ask", check))
        if chance.random() < 0.1:
            by_hand = (ASK_RUN, chance.randrange(6), 600)
            todo.append(Act(day * DAY + chance.randrange(DAY), "ask", by_hand))
        todo.append(Act(day * DAY + 3600, "soil", chance.randrange(300, 350)))
    todo.sort(key=lambda act: act.at_s)
    bench = lived(made, todo, 365)
    runs = len(bench.told(OPENED))
    cycles = len({e[6] for e in bench.told(OPENED) + bench.told(SKIPPED)})
    commands = len([act for act in todo if act.what == "ask"])
    assert runs > 500 and bench.told(OPENED, MANUAL) and bench.told(SKIPPED)
    assert len(bench.told(ACCEPTED)) + len(bench.told(REFUSED)) == commands
    begun = 184 * 3  # cycles from May to October, at least
    assert cycles <= begun * 6
    assert bench.writes <= 1.1 * (runs + begun + 365 + commands + rains + 1)
