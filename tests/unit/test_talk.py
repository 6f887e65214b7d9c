"""What a hub answers to typed lines: in plain words, within 80 columns, and within bounds."""

import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

from evenclay.boards.log import recorder
from evenclay.boards.talk import state, verbs
from evenclay.boards.talk import words as talk_words
from evenclay.boards.talk.verbs import answer
from evenclay.boards.talk.words import Desk, folded
from evenclay.controller import events, ports
from evenclay.controller.limits import RUN_LEAST_S, RUN_MAX_S, SUPPLIES_MAX, ZONES_MAX
from evenclay.controller.words import WHAT, WHY
from evenclay.tools.board.bundle import words as bundled
from evenclay.tools.board.watch import texts
from evenclay.tools.cli import commands as cli
from evenclay.tools.property.conflicts import name_mistakes
from evenclay.tools.property.property import load
from tests.bench import DAY_S, HOUR_S, MIN_S, START_S, booted, utc_plan
from tests.core import Bench, row

WELL, HOLDING, NEEDS_YOU, NO_CLOCK = range(4)  # what `state` returns
WIDTH = 80
CODE = re.compile(r"_|[{}<>]|\d{6,}|None|True|False|-1\b")
LINE = texts(("metric", "back"))
VERBS = tuple(LINE(76 + number).split()[0].rstrip(":") for number in range(14))


def desk_of(bench: Bench, names: tuple[str, ...] = ("metric", "back")) -> Desk:
    """A desk at which a bench's hub is asked; its zones are called `west wall` and `z1`."""

    def give(asked: Any) -> list[tuple[int, ...]]:
        before = len(bench.events)
        bench.asked = [asked]
        bench.runner.turn()
        return bench.events[before:]

    for zone, part in enumerate(bench.runner.hub.plan.zones):
        part.name = f"z{zone}" if zone else "west wall"
    return Desk(bench.runner, bench.up_s, give, bench.seen, texts(names), None)


def said(desk: Desk, line: str) -> list[str]:
    """The answer to a line; each of its lines is fit for a person."""
    lines = list(answer(desk, line))
    assert lines, line
    for text in lines:
        assert len(text) <= WIDTH and not CODE.search(text), text
    return lines


def watered(zones: int = 2, **changes: Any) -> tuple[Bench, Desk]:
    bench = booted(utc_plan(zones, estimate=1, **changes))
    bench.runner.hub.record.lack_um[:] = [60000] * zones
    bench.runner.hub.record.filling = 0
    return bench, desk_of(bench)


# The texts.


def test_each_code_and_each_command_has_its_line() -> None:
    last = talk_words._UNITS
    assert LINE(last) == "metric" and LINE(last + 1) == "back" and LINE(last + 2) == ""
    assert len(WHY) == talk_words._SAID - talk_words._WHY
    assert len(WHAT) == verbs._DO - talk_words._SAID
    assert verbs._DO_CLOCK - verbs._DO == verbs._SUPPLY_NO_FLOW - verbs._NO_FLOW + 1
    assert (verbs._NO_FLOW, verbs._SUPPLY_NO_FLOW) == (events.NO_FLOW, events.SUPPLY_NO_FLOW)
    assert verbs._DO_BROKEN - verbs._DO == events.BROKEN - events.NO_FLOW
    assert (verbs._ANYWAY_LEAST, verbs._ANYWAY_MOST) == (events.LOST_CLOCK, events.WET_SOIL)
    assert verbs._RUN_MOST_MIN == RUN_MAX_S // 60
    assert (verbs._RUN_LEAST_S, verbs._ZONES_MAX) == (RUN_LEAST_S, ZONES_MAX)
    assert (recorder._ZONES_MAX, recorder._SUPPLIES_MAX) == (ZONES_MAX, SUPPLIES_MAX)
    helped = [LINE(verbs._HELP + number).split()[0].rstrip(":") for number in range(verbs._HELPS)]
    assert helped == list(VERBS) and len(set(helped)) == 14
    assert LINE(verbs._UNKNOWN).startswith("I do not know") and LINE(verbs._RESTS).startswith(
        "After"
    )
    asks = LINE(talk_words.ASKS).split()
    for name in (
        "HOLD",
        "CHECK",
        "RUN",
        "STOP",
        "CLEAR",
        "CLOCK",
        "PLAN",
        "TEST",
        "SAMPLE",
        "RAIN",
    ):
        assert asks[getattr(ports, "ASK_" + name)] == name.lower()


def test_a_bundle_has_the_same_lines_all_equally_long() -> None:
    data = bundled(("us", "front", "back"))
    lines = [data[at : at + WIDTH].decode().rstrip() for at in range(0, len(data), WIDTH)]
    assert {len(data[at : at + WIDTH]) for at in range(0, len(data), WIDTH)} == {WIDTH}
    assert lines[:-3] == [LINE(number) for number in range(talk_words._UNITS)]
    assert lines[-3:] == ["us", "front", "back"]


@given(
    st.integers(0, len(WHAT) - 1),
    st.integers(0, len(WHY) - 1),
    st.integers(-1, ZONES_MAX + 3),
    st.integers(-600000, 600000),
    st.integers(0, 300000),
    st.sampled_from([-1, START_S, START_S - 400 * DAY_S]),
    st.sampled_from([("us", "front"), ("metric",)]),
)
def test_every_event_is_a_sentence(
    what: int, why: int, zone: int, value: int, ml: int, wall_s: int, names: tuple[str, ...]
) -> None:
    bench = booted(utc_plan(2))
    desk = desk_of(bench, names)
    event = (what, zone, why, value, ml, 1, 7, wall_s)
    text = desk.told(event)
    assert not re.search(r"[_{}<>]|None|%", text)
    assert all(len(line) <= WIDTH for line in folded(text))


@given(st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=300))
def test_a_text_is_folded_with_nothing_lost(text: str) -> None:
    lines = list(folded(text))
    assert all(len(line) <= WIDTH for line in lines)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")


def test_an_empty_line_is_answered_with_what_this_hub_is_and_lacks() -> None:
    bench, desk = watered()
    hello = "Type help to see what you may type. I water west wall, z1"
    assert said(desk, "") == [hello]
    desk.power_pin = False
    lacks = "Nothing tells me that power fails: a valve that is open then stays open."
    assert said(desk, "") == [hello, lacks]
    for part in bench.runner.hub.plan.zones:
        part.held = 1  # shuts by itself
    assert said(desk, "") == [hello]


# Whatever is typed.

TYPED = st.lists(
    st.one_of(
        st.sampled_from(
            [*VERBS, "help", "west", "west wall", "z1", "anyway", "dry", "wet", "days", "h"]
        ),
        st.sampled_from(["mm", "inch", "2026-07-01", "24:00", "-1", "1e9", "nan", "inf", "0", "3"]),
        st.integers(-10, 10**12).map(str),
        st.text(max_size=12),
    ),
    max_size=6,
).map(" ".join)


@given(st.lists(TYPED, min_size=1, max_size=5), st.booleans())
def test_any_line_has_an_answer_that_fits(lines: list[str], clock: bool) -> None:
    bench = booted(utc_plan(2, estimate=1), START_S if clock else None)
    desk = desk_of(bench)
    for line in lines:
        if line.strip():
            found = list(answer(desk, line))
            assert found and all(len(text) <= WIDTH for text in found)
            bench.run_until(bench.now_s + MIN_S)
    bench.runner.hub.guard.verify(bench.now_s)


def test_what_is_only_asked_changes_nothing() -> None:
    bench, desk = watered()
    bench.run_until(6 * HOUR_S + MIN_S)
    before = (bench.runner.hub.record.pack(), list(bench.events), list(bench.calls))
    bench.runner.hub.record.seq -= 1
    for line in ("status", "why z1", "log 999", "alarms", "clock", "help", "hold", "run z9 5", "?"):
        said(desk, line)
    assert before == (bench.runner.hub.record.pack(), bench.events, bench.calls)


# What is asked for.


def test_bounds_of_what_is_asked_for() -> None:
    bench, desk = watered()
    for line in (
        "hold 0 days",
        "hold 91 days",
        "hold 2161 h",
        "hold 4015 days",
        "hold 5 years",
        "run z1 0",
        "run z1 241",
        "run z1 5 please",
        "rain 300 mm",
        "rain -1 mm",
        "rain nan mm",
        "rain 3 l",
        "sample z1 5",
        "check z1 damp",
        "check z1",
        "sample z1",
        "log many",
        "stop now",
        "clock 2026-02-30 06:30",
        "clock 2026-05-01 24:00",
        "clock 2024-05-01 06:00",
        "clock noon",
    ):
        like = said(desk, line)
        assert like[0] == "I understand it like this:", line
        assert like[1].startswith(line.split()[0]) and len(like) <= 3
    assert bench.told(events.ACCEPTED) == []
    for line in ("run", "run z9 5", "why", "check west dry", "clear z9"):
        assert said(desk, line) == ["Which zone? One of: west wall, z1"], line


def test_names_with_spaces_and_capitals() -> None:
    _, desk = watered()
    assert said(desk, "CHECK West Wall wet")[0].endswith("wetter than thought, by your check")


def test_a_name_that_looks_like_a_number_is_a_name() -> None:
    bench, desk = watered(4)
    names = ("north", "north 2", "2", "5 5")
    for part, name in zip(bench.runner.hub.plan.zones, names, strict=True):
        part.name = name
    bench.run_until(HOUR_S)
    for line, zone in (
        ("run north 2 7 anyway", "north 2"),
        ("run north  3 anyway", "north"),
        ("run 2 4 anyway", "2"),
        ("run 5 5 5 anyway", "5 5"),
    ):
        assert f"{zone}: open for {line.split()[-2]} min" in said(desk, line)[0]
        said(desk, "stop")
        bench.run_until(bench.now_s + HOUR_S)
    # What could be north and its two minutes is the zone of that name, and the example says so.
    for line, example in (
        ("run north 2", "run north 2 5: minutes"),
        ("sample north 2", "sample north 2 2: from"),
        ("check 5 5", "check 5 5 dry: what"),
        ("run 2", "run 2 5: minutes"),
    ):
        like = said(desk, line)
        assert like[0] == "I understand it like this:" and like[1].startswith(example), like
    assert said(desk, "run 5 2") == ["Which zone? One of: north, north 2, 2, 5 5"]


def test_a_refusal_says_why_and_what_may_be_done() -> None:
    bench, desk = watered(weekdays=1 << 1)  # Tuesdays only
    bench.run_until(30 * MIN_S)
    assert said(desk, "hold 12 h")[-1].endswith("no water until 12:30")
    refused = said(desk, "run z1 5")
    assert refused[0].startswith("Not done: ")
    bench, desk = watered()
    bench.run_until(30 * MIN_S)
    said(desk, "hold 12 h")
    assert said(desk, "run z1 5") == [
        "Not done: on hold",
        "With anyway at its end it goes against that.",
    ]
    assert said(desk, "run z1 5 anyway") == ["00:30 z1: open for 5 min, by hand"]
    assert said(desk, "run west wall 5 anyway") == ["Not done: another run comes first"] or said(
        desk, "run west wall 5 anyway"
    )[0].startswith("Not done: another valve is open")


def test_the_clock_is_local_and_its_answer_names_the_next_cycle() -> None:
    bench = booted(utc_plan(2, std_s=-21600, dst_s=-18000, dst=1), None)
    desk = desk_of(bench)
    assert said(desk, "clock")[0].startswith("The clock is not set.")
    set_ = said(desk, "clock 2026-07-01 05:00")
    assert set_[-2:] == ["Wed 1 Jul 2026, 05:00 here, -5.0 h from UTC", "Next cycle: 06:00"]
    assert bench.wall_s() == START_S + 365 * DAY_S + 10 * HOUR_S
    # The hour that summer time skips: the first valid moment after it.
    assert said(desk, "clock 2026-03-08 02:30")[-2].startswith("Sun 8 Mar 2026, 03:00 here, -5.0 h")
    assert said(desk, "clock 2026-12-01 12:00")[-2].endswith("12:00 here, -6.0 h from UTC")


@pytest.mark.parametrize(
    ("now", "next_"),
    [
        ("2026-10-31 05:00", "06:00"),
        ("2026-10-31 06:00", "Mon 15 Mar 2027 06:00"),  # the season's last has begun
        ("2026-11-01 00:00", "Mon 15 Mar 2027 06:00"),
        ("2027-12-31 23:59", "Wed 15 Mar 2028 06:00"),  # before a leap day
        ("2028-03-12 12:00", "Wed 15 Mar 2028 06:00"),
        ("2028-03-15 05:59", "06:00"),
    ],
)
def test_in_winter_the_clock_names_the_first_cycle_of_spring(now: str, next_: str) -> None:
    rows = [row(3, 15, starts_min=(360,)), row(11, 1, 0)]
    bench = booted(utc_plan(2, rows=rows), None)
    desk = desk_of(bench)
    assert said(desk, "clock " + now)[-1] == "Next cycle: " + next_
    assert said(desk, "clock")[-1] == "Next cycle: " + next_
    bench.run_until(bench.now_s + MIN_S)
    closed = int(now[5:7]) >= 11 or now[:10] == "2028-03-12"
    for zone in ("west wall", "z1"):
        (outlook,) = [line for line in said(desk, "status") if line.startswith(zone)]
        assert outlook.startswith(f"{zone}: not now, closed season" if closed else f"{zone}: ")
        assert "fine" not in outlook


def test_a_hub_that_never_waters_says_so() -> None:
    desk = desk_of(booted(utc_plan(2, rows=[row(1, 1, 0)])))
    assert said(desk, "clock")[-1] == "Next cycle: closed season"


def test_a_clock_that_is_moved_by_years_tells_what_was_skipped_once() -> None:
    bench, desk = watered(4)
    bench.run_until(5 * HOUR_S)
    lines = said(desk, "clock 2031-07-01 05:00")
    assert len(lines) == len(set(lines)) < 15
    assert "05:00 not watered: the clock was moved" in lines
    assert "2025 to 2099" in " ".join(said(desk, "clock 2024-05-01 06:00"))


def test_rain_by_the_owners_gauge_in_either_unit() -> None:
    bench, desk = watered()
    assert said(desk, "rain 12 mm") == ["Done."]
    assert bench.runner.hub.record.rain_today_um == 12000
    assert said(desk, "rain 0.5 inch") == ["Done."]
    assert bench.runner.hub.record.rain_today_um == 12700
    assert "rain: 0.0 mm" in said(desk, "status")  # what the board's own gauge shows


def test_status_and_why_show_what_a_zone_waits_for() -> None:
    bench, desk = watered()
    bench.run_until(5 * HOUR_S)
    assert "west wall: next 06:00, 10 min; today given 0 s; lacks 24.0 mm" in said(desk, "status")
    bench.run_until(6 * HOUR_S + MIN_S)
    now = said(desk, "status")
    assert "west wall: open, 9 min left; today given 0 s; lacks 24.0 mm" in now
    assert "z1: not now, another valve is open; today given 0 s; lacks 24.0 mm" in now
    why = said(desk, "why west wall")
    assert why[0] == "06:00 west wall: open for 10 min, as planned"
    bench.runner.hub.record.lack_um[1] = 30000
    bench.run_until(7 * HOUR_S)
    assert said(desk, "why z1")[1] == "Now: next 12:00, it has enough"
    assert said(desk, "log 1") == ["06:10 z1: not watered: it has enough"]


def test_while_a_spigot_rests_no_valve_is_said_to_be_open() -> None:
    bench, desk = watered(supplies=[{"gap_s": 90}])
    bench.run_until(6 * HOUR_S + 10 * MIN_S + 30)  # the first run is over, and the second waits
    assert not bench.open_since
    assert "z1: not now, the spigot still rests" in "\n".join(said(desk, "status"))


def test_us_units() -> None:
    bench = booted(utc_plan(2, estimate=1))
    bench.seen.battery_mv = 7400
    desk = desk_of(bench, ("us", "back"))
    bench.runner.hub.record.lack_um[:] = [60000, 60000]
    status = said(desk, "status")
    assert any(line.endswith("lacks 0.94 inch") for line in status)
    assert "temp: 59.0 F" in status and "battery: 7.40 V" in status


# What comes from the property.

DEMO = Path(__file__).parents[2] / "sim" / "demo" / "property.toml"


def test_a_compiled_plan_has_its_words_beside_it(tmp_path: Path) -> None:
    out = tmp_path / "plan.0"
    done = CliRunner().invoke(cli.app, ["compile", str(DEMO), "--out", str(out)])
    assert (done.exit_code, len(done.stdout.splitlines())) == (0, 2)
    prop = load(DEMO)
    assert (tmp_path / "words").read_bytes() == bundled((prop.site.units, *prop.supplies))
    taken = CliRunner().invoke(cli.app, ["compile", str(DEMO), "--out", str(tmp_path / "words")])
    assert taken.exit_code == 2 and "another name" in taken.stderr


def test_zones_that_are_typed_alike_are_refused() -> None:
    prop = load(DEMO)
    zone = next(iter(prop.zones.values()))
    for names, count in (
        (("west", "West"), 1),
        (("north 2", "North  2"), 1),
        (("2", "north 2"), 0),
    ):
        alike = prop.model_copy(update={"zones": dict.fromkeys(names, zone)})
        found = [mistake for mistake in name_mistakes(alike) if "typed" in mistake.found]
        assert len(found) == count, names


# Alarms, the light, and a hub that rests.


def alarmed(why: int, zone: int = -1) -> Desk:
    bench, desk = watered()
    bench.runner.hub.faults.tell(events.ALARM, zone, why, 0)
    return desk


@pytest.mark.parametrize(
    "why", [*range(events.NO_FLOW, events.SUPPLY_NO_FLOW + 1), events.CLOCK, 48]
)
def test_every_alarm_says_what_to_do(why: int) -> None:
    desk = alarmed(why, ZONES_MAX if why == events.SUPPLY_NO_FLOW else 1)
    alarm, do = said(desk, "alarms")
    who = "spigot back" if why == events.SUPPLY_NO_FLOW else "z1"
    assert alarm == f"ALARM, {who}: {LINE(why)}"
    assert do.startswith("  ") and do.strip()
    assert state(desk.runner, desk.up_s()) == NEEDS_YOU


def test_the_light_shows_one_of_four() -> None:
    bench, desk = watered()
    assert state(bench.runner, bench.up_s()) == WELL
    said(desk, "hold 2 h")
    assert state(bench.runner, bench.up_s()) == HOLDING
    assert state(booted(utc_plan(), None).runner, 0) == NO_CLOCK
    closed = booted(utc_plan(rows=[row(1, 1, 0)]))
    assert state(closed.runner, 0) == HOLDING
    low = Bench(utc_plan(battery=1), START_S)
    low.seen.battery_mv = 6000
    low.boot()
    low.run_until(0)
    assert state(low.runner, 0) == NEEDS_YOU
    bench.runner.failed(RuntimeError("a bug"))
    assert state(bench.runner, bench.up_s()) == NEEDS_YOU


def test_a_hub_that_rests_says_so_and_takes_nothing() -> None:
    bench, desk = watered()
    bench.runner.failed(RuntimeError("a bug"))
    assert said(desk, "run z1 5")[0].startswith("After an error every valve stays shut")
    assert bench.asked == []
    assert said(desk, "alarms") == [
        "ALARM, an error in the program",
        "  Keep what log says, and report it. Then: clear",
        "  Errors within a day: 1. Each shut every valve, and the hub began anew",
        "   (RuntimeError: a bug)",
    ]
