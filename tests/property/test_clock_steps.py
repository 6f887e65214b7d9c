"""Clocks that step, are lost and are set, and power that goes: nothing twice, nothing refilled."""

from hypothesis import given, settings
from hypothesis import strategies as st

from evenclay.controller.agenda import PER_DAY, Agenda
from evenclay.controller.civil import _STEP_TOLERANCE_S
from evenclay.controller.days import _BACK_MAX_S
from evenclay.controller.events import ALARM, CLOCK, OPENED, SKIPPED
from evenclay.controller.limits import DAY_S
from tests.core import Bench, plan, row, wall

HOUR = 3600
ROWS = [row(1, 1, 4, run_s=1500, start_min=180, length_min=1200)]
DRAIN_UM = 3000  # the row's demand, as far as the strip shares it
# A strip without a top, far from anything dry, on which no rain falls.
ZONE = {
    "cap_s": 4500,
    "top_um": 0,
    "top_ppt": 0,
    "freely_um": 500000,
    "beside_ppm": 0,
    "exposure_pct": 0,
}


class Watched(Bench):
    """A bench that looks at every turn, and steps its clock on request."""

    def __init__(self) -> None:
        made = plan(1, ROWS, zone=ZONE, frost=0, estimate=1)
        super().__init__(made, wall(2026, 3, 1, 6))
        self.served: set[int] = set()
        self.refilled_up_s = -DAY_S
        self.alarms = 0
        self.boot()
        self.runner.turn()

    def turn(self, stepped: bool) -> int:
        hub = self.runner.hub
        before = hub.record
        used_s, lack_um, mark_s = before.used_s[0], before.lack_um[0], before.mark_wall_s
        told = len(self.events)
        wake_s: int = self.runner.turn()
        record = hub.record
        wall_s = self.wall_s()
        alarms = [e for e in self.events[told:] if e[0] == ALARM and e[2] == CLOCK]
        if stepped:  # a lost clock tells nothing
            assert bool(alarms) == (wall_s is not None and wall_s < mark_s - _BACK_MAX_S)
            assert record.used_s[0] >= used_s, "a step refilled the cap"
        else:
            assert not alarms
        if alarms:
            self.served.clear()
        if record.used_s[0] < used_s:
            assert record.used_s[0] == 0
            assert self.now_s - self.refilled_up_s >= 22 * HOUR, "refilled twice in a day"
            self.refilled_up_s = self.now_s
        assert record.lack_um[0] <= lack_um + DRAIN_UM, "drained more than a day"
        assert record.used_s[0] <= 4500
        for event in self.events[told:]:
            if event[0] == OPENED:
                assert record.mark_no not in self.served, "served twice"
                self.served.add(record.mark_no)
                assert wall_s is not None
        if wall_s is None:
            assert not self.open_since
        return wake_s

    def live(self, for_s: int) -> None:
        until_s = self.now_s + for_s
        stepped = True
        while self.now_s < until_s:
            wake_s = self.turn(stepped)
            stepped = False
            self.now_s = min(max(wake_s, self.now_s + 1), until_s)


STEPS_S = st.one_of(
    st.integers(-25 * HOUR, 25 * HOUR),
    st.integers(-40 * DAY_S, 40 * DAY_S),
    st.sampled_from([-25 * HOUR - 1, -25 * HOUR, -HOUR, -61, -60, 60, 61, HOUR, 24 * HOUR]),
    st.none(),
)


@given(
    acts=st.lists(st.tuples(st.integers(1, 30 * HOUR), STEPS_S), min_size=1, max_size=12),
)
def test_random_steps(acts: list[tuple[int, int | None]]) -> None:
    """Forward and back, lost and set again; None loses the clock."""
    bench = Watched()
    true_offset_s = bench.offset_s or 0
    for for_s, step_s in acts:
        bench.live(for_s)
        if step_s is None:
            bench.offset_s = None
        else:
            bench.offset_s = (true_offset_s if bench.offset_s is None else bench.offset_s) + step_s
    bench.live(3 * DAY_S)


@given(
    first_s=st.integers(0, 2 * DAY_S),
    step_s=st.integers(_STEP_TOLERANCE_S + 1, 9 * DAY_S),
)
def test_forward_skips_what_passed_and_no_more(first_s: int, step_s: int) -> None:
    """Every cycle whose start was stepped over is skipped with `clock`, once; then all goes on."""
    made = plan(1, ROWS, frost=0)
    bench = Bench(made, wall(2026, 6, 1, 5))
    bench.boot()
    bench.run_until(first_s)
    mark_no = bench.runner.hub.record.mark_no
    told = len(bench.events)
    assert bench.offset_s is not None
    bench.offset_s += step_s
    bench.runner.turn()
    agenda = Agenda(made)
    last_no = agenda.last_started(bench.now_s + bench.offset_s)
    passed = 0
    cycle_no = mark_no
    while cycle_no < last_no:
        cycle_no = agenda.next_after(cycle_no, last_no // PER_DAY)
        passed += 1
    skipped = [e for e in bench.events[told:] if e[0] == SKIPPED and e[1] == 0]
    # One more where a run still waited; a run under way goes on.
    assert len(skipped) - min(passed, 32) in (0, 1)
    assert {event[2] for event in skipped} <= {CLOCK}
    counted = [e for e in bench.events[told:] if e[0] == SKIPPED and e[1] == -1]
    assert len(counted) == (passed > 32)
    assert bench.runner.hub.record.mark_no == last_no


@settings(max_examples=60)
@given(
    lives=st.lists(
        st.tuples(st.integers(1, 30 * HOUR), st.integers(1, 4 * DAY_S), st.booleans()),
        min_size=1,
        max_size=6,
    )
)
def test_power_cuts_serve_nothing_twice(lives: list[tuple[int, int, bool]]) -> None:
    """Power goes and comes; sometimes the clock is lost with it and set an hour later.

    Every cycle is told of at least once for every zone: opened or skipped, or it still waits.
    """
    made = plan(2, ROWS, frost=0)
    store = Bench(made, 0).store
    true_s = wall(2026, 3, 6, 6)
    served: set[tuple[int, int]] = set()
    told_of = [0, 0]
    first_no = -1
    for on_s, off_s, lost in lives:
        bench = Bench(made, None if lost else true_s, store)
        bench.boot()
        if lost:
            bench.run_until(HOUR)
            assert not bench.told(OPENED)
            bench.offset_s = true_s
        while bench.now_s < on_s + HOUR:
            told = len(bench.events)
            wake_s = bench.runner.turn()
            record = bench.runner.hub.record
            if first_no < 0:
                first_no = record.mark_no
            for event in bench.events[told:]:
                if event[0] == OPENED:
                    key = (event[1], record.mark_no)
                    assert key not in served
                    served.add(key)
                if event[0] in (OPENED, SKIPPED):
                    told_of[event[1]] += 1
            bench.now_s = min(max(wake_s, bench.now_s + 1), on_s + HOUR)
        true_s += bench.now_s + off_s
    cycles = 0
    while first_no < record.mark_no:
        first_no = Agenda(made).next_after(first_no, record.mark_no // PER_DAY)
        cycles += 1
    for zone in range(2):
        assert told_of[zone] + (record.waiting >> zone & 1) >= cycles
