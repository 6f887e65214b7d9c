"""Lockouts beside naive models of them: the quiet rules, and any week of weather.

The models share nothing with the controller but the plan's figures: they walk days, minutes or
seconds one by one, with the standard library's calendar.
"""

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from evenclay.controller.civil import Clock, LocalTime
from evenclay.controller.events import CUT_SHORT, FROST, OK, QUIET, SKIPPED
from evenclay.controller.journal import Record
from evenclay.controller.lockouts import Lockouts, quiet
from evenclay.controller.plan import (
    BAN_DATES,
    BAN_HOURS,
    CONTACT,
    EVEN_DATES,
    GAUGE,
    ODD_DATES,
    Plan,
)
from evenclay.controller.ports import (
    ASK_CHECK,
    ASK_CLEAR,
    ASK_CLOCK,
    ASK_HOLD,
    ASK_PLAN,
    ASK_RUN,
    ASK_RUN_ANYWAY,
    ASK_SAMPLE,
    ASK_STOP,
    ASK_TEST,
    DRY,
    FIRM,
    WET,
)
from evenclay.controller.words import WHY
from tests.bench import DAY_S, HOUR_S, MIN_S, START_S, Piped, piped, spans, utc_plan
from tests.core import Bench

EPOCH = datetime(2000, 1, 1)

# Quiet rules, minute by minute.

BANS = st.one_of(
    st.tuples(st.just(BAN_HOURS), st.integers(0, 1440), st.integers(0, 1440)),
    st.builds(
        lambda m1, d1, m2, d2: (BAN_DATES, 32 * m1 + d1, 32 * m2 + d2),
        st.integers(1, 12),
        st.integers(1, 31),
        st.integers(1, 12),
        st.integers(1, 31),
    ),
)
HUBS = st.fixed_dictionaries(
    {
        "weekdays": st.one_of(st.just(127), st.integers(0, 127)),
        "dates": st.sampled_from([0, ODD_DATES, EVEN_DATES]),
    }
)


def quiet_plans(bans: list[tuple[int, int, int]], hub: dict[str, int]) -> Plan:
    return utc_plan(bans=tuple(bans), **hub)  # type: ignore[arg-type]


def naive_quiet(bans: list[tuple[int, int, int]], hub: dict[str, int], at: datetime) -> bool:
    """Whether a minute is quiet, said as a by-law says it."""
    if not hub["weekdays"] & 2 ** at.weekday():
        return True
    if hub["dates"] == ODD_DATES and at.day % 2 == 0:
        return True
    if hub["dates"] == EVEN_DATES and at.day % 2 == 1:
        return True
    for kind, first, last in bans:
        if kind == BAN_HOURS:
            hours = range(first, last) if first <= last else [*range(first, 1440), *range(last)]
            if 60 * at.hour + at.minute in hours:
                return True
        else:
            begin, end = divmod(first, 32), divmod(last, 32)
            date = (at.month, at.day)
            if (begin <= date <= end) if begin <= end else (date >= begin or date <= end):
                return True
    return False


TIMES_S = st.one_of(
    st.integers(0, 99 * 366 * DAY_S),
    st.builds(  # around some new year
        lambda year, off_s: int((datetime(2000 + year, 1, 1) - EPOCH).total_seconds()) + off_s,
        st.integers(1, 98),
        st.integers(-DAY_S, DAY_S),
    ),
)


@given(st.lists(BANS, max_size=4), HUBS, TIMES_S)
@settings(max_examples=300)
def test_quiet_is_what_a_naive_reading_of_the_rules_says(
    bans: list[tuple[int, int, int]], hub: dict[str, int], local_s: int
) -> None:
    at = EPOCH + timedelta(seconds=local_s)
    assert quiet(quiet_plans(bans, hub), local_s)[0] is naive_quiet(bans, hub, at)


@given(st.lists(BANS, max_size=3), HUBS, TIMES_S, st.integers(1, 14400))
@settings(max_examples=150)
def test_a_run_meets_quiet_if_any_of_its_minutes_does(
    bans: list[tuple[int, int, int]], hub: dict[str, int], local_s: int, run_s: int
) -> None:
    instants = {local_s, local_s + run_s - 1}
    instants.update(range((local_s // MIN_S + 1) * MIN_S, local_s + run_s, MIN_S))
    met = any(naive_quiet(bans, hub, EPOCH + timedelta(seconds=at)) for at in instants)
    made = quiet_plans(bans, hub)
    clock = Clock(LocalTime(made.hub))
    clock.trusted = True  # and its uptime is the time of day: the plan's is UTC
    lockouts = Lockouts(made, Record(1), clock, False, lambda *_: None)
    assert lockouts.why(0, local_s, False, run_s) == (QUIET if met else OK)


@given(st.lists(BANS, max_size=3), HUBS, TIMES_S)
@settings(max_examples=100)
def test_nothing_changes_before_the_next_quiet_edge(
    bans: list[tuple[int, int, int]], hub: dict[str, int], local_s: int
) -> None:
    edge_s = quiet(quiet_plans(bans, hub), local_s)[1]
    assert 0 < edge_s <= DAY_S
    assert (local_s + edge_s) % MIN_S == 0
    now = naive_quiet(bans, hub, EPOCH + timedelta(seconds=local_s))
    for at in range((local_s // MIN_S + 1) * MIN_S, local_s + edge_s, MIN_S):
        assert naive_quiet(bans, hub, EPOCH + timedelta(seconds=at)) is now


# Any week: no valve is open while a lockout stands.

WEEK_S = 7 * DAY_S
STEP_S = 600  # the weather changes at these steps only
POLL_S = 120
WATCH_S = 60
STEPS = WEEK_S // STEP_S


HOURS_IN_STEPS = st.builds(
    lambda first, last: (BAN_HOURS, 10 * first, 10 * last), st.integers(0, 144), st.integers(0, 144)
)


@dataclass(repr=False)
class Week:
    """What happens, a value a step of ten minutes. Too big to shrink or to print."""

    made: Plan
    rain_um: list[int]  # in the step
    wet: list[bool]
    temp_mc: list[int]
    ppt: list[list[int]]
    battery_mv: list[int]
    holds: list[tuple[int, int]]  # (asked at step, until step)
    by_hand: dict[int, tuple[int, int, bool]] = field(default_factory=dict)


def stretched(draw: Any, values: Any, least: int = 6) -> list[Any]:
    """A value a step, each held for some hours."""
    found: list[Any] = []
    while len(found) < STEPS:
        found += [draw(values)] * draw(st.integers(least, 150))
    return found[:STEPS]


@st.composite
def weeks(draw: Any) -> Week:
    zones = draw(st.integers(1, 3))
    supplies = draw(st.integers(1, 2))
    parts = [
        {
            "supply": draw(st.integers(0, supplies - 1)),
            "exposure_pct": draw(st.sampled_from([20, 50, 100, 300])),
            "probe": draw(st.integers(0, 1)),
            "rest_s": draw(st.sampled_from([0, 1800])),
        }
        for _ in range(zones)
    ]
    starts = sorted(draw(st.sets(st.integers(0, 143), min_size=2, max_size=8)))
    made = utc_plan(
        parts,
        tuple(10 * start for start in starts),
        run_s=draw(st.sampled_from([300, 1200, 3000])),
        demand_um=4000,
        supplies=[{}] * supplies,
        open_max=supplies,
        bans=tuple(draw(st.lists(HOURS_IN_STEPS, max_size=2))),
        rain_kind=draw(st.sampled_from([GAUGE, CONTACT])),
        dry_after_s=4 * HOUR_S,
        frost_hold_s=2 * HOUR_S,
        battery=1,
        poll_s=POLL_S,
        watch_s=WATCH_S,
        weekdays=draw(st.sampled_from([127, 127, 0b1010101])),
        dates=draw(st.sampled_from([0, 0, ODD_DATES])),
    )
    mild = st.sampled_from([1500, 3000, 5000, 15000, 15000, 15000])
    full = st.sampled_from([6000, 6900, 7100, 8000, 8000, 8000])
    soil = st.sampled_from([290, 310, 330, 345, 355, 370])
    rains = stretched(draw, st.sampled_from([0, 0, 0, 0, 100, 1000]))
    steps = st.integers(0, STEPS - 1)
    return Week(
        made,
        rains,
        [rain > 0 for rain in rains],
        stretched(draw, mild),
        [stretched(draw, soil) for _ in range(zones)],
        stretched(draw, full),
        draw(st.lists(st.tuples(steps, steps), max_size=2)),
        draw(
            st.dictionaries(
                steps,
                st.tuples(st.integers(0, zones - 1), st.integers(60, 3600), st.booleans()),
                max_size=6,
            )
        ),
    )


def live(week: Week) -> Bench:
    """Live through the week on the bench."""
    bench = Bench(week.made, START_S)
    bench.seen.rain_um = 0
    for step in range(STEPS):
        bench.seen.rain_um += week.rain_um[step]
        bench.seen.rain_wet = week.wet[step]
        bench.seen.temp_mc = week.temp_mc[step]
        bench.seen.battery_mv = week.battery_mv[step]
        bench.seen.soil_vwc_ppt = [ppt[step] for ppt in week.ppt]
        if not step:
            bench.boot()
        bench.asked = [
            (ASK_HOLD, -1, START_S + STEP_S * until) for at, until in week.holds if at == step
        ]
        if step in week.by_hand:
            zone, run_s, anyway = week.by_hand[step]
            bench.asked.append((ASK_RUN_ANYWAY if anyway else ASK_RUN, zone, run_s))
        bench.runner.turn()
        bench.run_until((step + 1) * STEP_S - 1)
        bench.now_s += 1
    return bench


class Model:
    """What stands in each step, worked out from the week alone: the naive reading of each rule."""

    def __init__(self, week: Week) -> None:
        self.week = week
        self.made = week.made
        self.hub = week.made.hub
        self.frost = self.frosts()
        self.hold = self.holds()
        self.spent = [mv < self.hub.battery_reserve_mv for mv in week.battery_mv]
        self.low = self.lows()
        contact = self.hub.rain_kind == CONTACT
        self.rain = self.contacts() if contact else [False] * STEPS
        self.quiet = [
            naive_quiet(
                [(ban.kind, ban.first, ban.last) for ban in self.made.bans],
                {"weekdays": self.hub.weekdays, "dates": self.hub.dates},
                EPOCH + timedelta(seconds=START_S + STEP_S * step),
            )
            for step in range(STEPS)
        ]

    def frosts(self) -> list[bool]:
        """From the first cold step until it has been warm for some hours; cold at the start."""
        frost = self.week.temp_mc[0] < self.hub.frost_off_mc
        warm_s = 0
        found = []
        for temp_mc in self.week.temp_mc:
            if frost and warm_s >= self.hub.frost_hold_s and temp_mc >= self.hub.frost_off_mc:
                frost = False
            frost = frost or temp_mc <= self.hub.frost_on_mc
            warm_s = warm_s + STEP_S if temp_mc >= self.hub.frost_off_mc else 0
            found.append(frost)
        return found

    def lows(self) -> list[bool]:
        low = False
        found = []
        for mv in self.week.battery_mv:
            low = mv < self.hub.battery_open_mv + (200 if low else 0)
            found.append(low)
        return found

    def holds(self) -> list[bool]:
        until = 0
        found = []
        for step in range(STEPS):
            for at, asked in self.week.holds:
                if at == step:
                    until = asked
            found.append(step < until)
        return found

    def contacts(self) -> list[bool]:
        """Wet now, or within the drying time."""
        dry_steps = self.hub.dry_after_s // STEP_S
        wet = self.week.wet
        return [any(wet[max(0, step - dry_steps) : step + 1]) for step in range(STEPS)]

    def why(self, step: int, anyway: bool) -> str:
        """What forbids a valve to be open in a step, or nothing."""
        if self.frost[step]:
            return "frost"
        if self.quiet[step]:
            return "quiet"
        if self.spent[step]:
            return "battery"
        if anyway:
            return ""
        if self.hold[step]:
            return "hold"
        return "rain" if self.rain[step] else ""


@given(weeks())
@settings(max_examples=60, phases=[Phase.explicit, Phase.reuse, Phase.generate])
def test_no_valve_is_open_while_its_lockout_stands(week: Week) -> None:
    bench = live(week)
    model = Model(week)
    by_hand = {(zone, step * STEP_S): how for step, (zone, _, how) in week.by_hand.items()}
    for zone in range(len(week.made.zones)):
        for opened_s, closed_s in spans(bench, zone):
            anyway = by_hand.get((zone, opened_s), False)
            first = opened_s // STEP_S
            for step in range(first, min((closed_s - 1) // STEP_S + 1, STEPS)):
                why = model.why(step, anyway)
                begins_s = max(opened_s, step * STEP_S)
                if why:  # a new reading is seen at the next look; a rule or a hold at once
                    delay_s = 0 if why in ("quiet", "hold") else WATCH_S
                    assert closed_s - begins_s <= delay_s, (why, begins_s, closed_s)
                    break
            if (zone, opened_s) not in by_hand:
                seen = {first, max(0, opened_s - WATCH_S) // STEP_S}  # now, or at the last look
                probe = week.made.zones[zone].probe
                assert not probe or any(week.ppt[zone][step] < 350 for step in seen), opened_s
                assert not all(model.low[step] for step in seen), opened_s


@given(weeks())
@settings(max_examples=25, phases=[Phase.explicit, Phase.reuse, Phase.generate])
def test_what_is_held_back_is_said_with_a_lockout_that_stood(week: Week) -> None:
    """Where nothing stands at all, nothing is held back."""
    week.by_hand = {}
    bench = live(week)
    model = Model(week)
    held = {"low_battery", "frost", "quiet", "hold", "rain", "wet_soil"}
    reasons = {e[2] for e in bench.events if e[0] in (CUT_SHORT, SKIPPED)}
    stood = {
        "low_battery": any(model.low),
        "frost": any(model.frost),
        "quiet": any(model.quiet) or bool(week.made.bans),
        "hold": any(model.hold),
        "rain": any(model.rain),
        "wet_soil": any(
            part.probe and any(one >= 350 for one in ppt)
            for part, ppt in zip(week.made.zones, week.ppt, strict=True)
        ),
    }
    for why in held & {WHY[reason] for reason in reasons}:
        assert stood[why], why


# A frost, beside a thermometer that falls silent, sticks and is heard again, hour by hour.

WORDS_MC = st.one_of(st.none(), st.sampled_from([-5000, 1000, 3000, 3200, 3300, 5000, 5300]))


def naive_frosts(said: list[int | None]) -> list[bool]:
    """Whether a frost stands after each hour's reading; days begin at each 24th.

    Nobody knows of a frost at boot, in a silence of three hours, and after one in a frost. A day
    says nothing new that has no two readings 0.3 degrees apart; seven of these on end in a frost
    end it, and none begins before there is something new. A reading after three hours of none is.
    """
    hub = utc_plan().hub
    frost, unknown, warm, silent, same_days = False, True, 0, 0, 0
    today: list[int] = []
    found = []
    for hour, mc in enumerate(said):
        if mc is None:
            silent += 1
            unknown = unknown or frost or silent >= 3
            warm = 0 if unknown else warm
        else:
            today.append(mc)
            if silent >= 3 or max(today) - min(today) >= 300:
                same_days = 0
            silent = 0
            if same_days < 7:
                cold = mc < hub.frost_off_mc
                warm = 0 if cold else warm + 1
                frost = frost or mc <= hub.frost_on_mc or (unknown and cold)
                frost = frost and warm <= 2  # warm for two hours
                unknown = False
        if hour and hour % 24 == 0:  # a midnight: that hour's reading is the last of its day
            if frost and (not today or max(today) - min(today) < 300):
                same_days += 1
                if same_days == 7:
                    frost, unknown, warm = False, True, 0
            today = []
        found.append(frost)
    return found


@given(st.lists(st.tuples(WORDS_MC, WORDS_MC, st.integers(1, 220)), min_size=1, max_size=12))
@settings(max_examples=150)
def test_a_frost_stands_as_a_naive_reading_of_its_rule_says(
    stretches: list[tuple[int | None, int | None, int]],
) -> None:
    said = [one for pair in stretches for one in (pair[:2] * pair[2])[: pair[2]]]
    bench = Bench(utc_plan(poll_s=HOUR_S, watch_s=HOUR_S, starts_min=(1439,)), START_S)
    found = []
    for hour, mc in enumerate(said):
        bench.now_s = hour * HOUR_S
        bench.seen.temp_mc = mc
        if not hour:
            bench.boot()
        bench.run_until(hour * HOUR_S)
        found.append(bench.runner.hub.lockouts.locked[FROST] != 0)
    assert found == naive_frosts(said)


# The cap and the longest run, whatever is asked.

ASKS = st.one_of(
    st.tuples(st.sampled_from([ASK_RUN, ASK_RUN_ANYWAY]), st.integers(0, 1), st.integers(1, 20000)),
    st.tuples(st.just(ASK_CHECK), st.integers(0, 1), st.sampled_from([(DRY,), (WET,), (FIRM,)])),
    st.tuples(st.just(ASK_SAMPLE), st.integers(0, 1), st.integers(0, 4)),
    st.tuples(st.sampled_from([ASK_TEST, ASK_STOP, ASK_CLEAR]), st.just(-1), st.just(0)),
    st.tuples(st.just(ASK_CLOCK), st.just(-1), st.integers(-7200, 7200)),
    st.tuples(st.just(ASK_PLAN), st.just(-1), st.sampled_from([300, 1200, 3600])),
)


def capped(cap_s: int, longest_s: int, run_s: int, metered: int) -> Plan:
    return utc_plan(
        2,
        (60, 360, 660, 960, 1260),
        run_s=run_s,
        supplies=[{"meter": metered}],
        zone={"cap_s": cap_s, "longest_s": longest_s, "share_pct": 150, "begin_um": 400000},
        poll_s=600,
        estimate=1,
        opening_um=65535,
    )


@given(
    st.integers(60, 9000),
    st.integers(60, 4000),
    st.integers(0, 1),
    st.lists(st.tuples(st.integers(0, 3 * DAY_S), ASKS), max_size=25),
)
@settings(max_examples=60)
def test_no_zone_passes_its_longest_run_or_its_cap(
    cap_s: int, longest_s: int, metered: int, asks: list[tuple[int, tuple[int, int, Any]]]
) -> None:
    bench: Piped = piped(capped(cap_s, longest_s, 1200, metered))
    for at_s, (what, zone, value) in sorted(asks, key=lambda ask: ask[0]):
        bench.run_until(at_s)
        now_s = bench.wall_s() or 0
        if what == ASK_CLOCK:
            value += now_s
        elif what == ASK_PLAN:
            value = capped(cap_s, longest_s, value, metered).pack()
        bench.asked = [(what, zone, value)]
        bench.runner.turn()
    bench.run_until(4 * DAY_S)
    for zone in range(2):
        runs = spans(bench, zone)
        assert all(closed_s - opened_s <= longest_s for opened_s, closed_s in runs)
        # The clock may have been set, so no stretch of 22 hours may hold more than two days' caps,
        # and the whole no more than a cap for each midnight passed.
        given_s = sum(closed_s - opened_s for opened_s, closed_s in runs)
        assert given_s <= 5 * cap_s
        if not any(what == ASK_CLOCK for _, (what, _, _) in asks):
            for day in range(5):
                ended = [b - a for a, b in runs if day * DAY_S <= b < (day + 1) * DAY_S]
                assert sum(ended) <= cap_s, day
