"""A hub's log through whatever goes wrong: the core, run again on it, decides the same."""

from dataclasses import replace
from pathlib import Path

import pytest

from evenclay.boards.log.packed import name_code, rooms
from evenclay.boards.log.ring import Ring
from evenclay.controller.events import ALARM, BOOT, LEAK, OPENED, TROUBLE
from evenclay.controller.ports import ASK_CLEAR, ASK_CLOCK, ASK_RUN
from evenclay.tools.log.frames import entries
from evenclay.tools.log.items import File, Gap, Item, Turn, items_of
from evenclay.tools.log.rerun import field_names, rerun
from tests import core
from tests.device.random_weeks import WEEKS
from tests.logs import Logged, bench_of, week_of

DAY_S = 86400
SMALL = 8 * 2700  # a ring whose files are soon full, so that there are many states to go on from
QUICK = (36, 47, 95)  # weeks with crashes, leaks, cuts and silent consoles
START_S = core.wall(2027, 6, 15)


def assert_repeats(seed: int, folder: Path, monkeypatch: pytest.MonkeyPatch) -> int:
    """A week is decided again alike, from each file of its log on. Returns how many begin so."""
    logged = week_of(Logged(folder, SMALL), seed, monkeypatch)
    assert [each.failed for each in logged.recorders if each.failed] == []
    files = logged.files()
    begun = 0
    for first in sorted(files):
        items = list(items_of({number: files[number] for number in files if number >= first}))
        judged = logged.judged(items)
        assert [one for one in judged if one.differs] == [], f"week {seed} from file {first}"
        begun += (
            isinstance(items[0], File) and bool(items[0].state) and any(j.rerun for j in judged)
        )
        gaps = sum(isinstance(item, Gap) for item in items)
        if not gaps:
            assert all(one.rerun for one in judged) or first > min(files)
    return begun


@pytest.mark.parametrize("seed", QUICK)
def test_a_random_week_is_decided_again_alike(
    seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert assert_repeats(seed, tmp_path, monkeypatch) >= 1


def test_a_file_that_somebody_else_left_in_the_log_s_folder_stops_no_log(tmp_path: Path) -> None:
    """Such as those that a desktop puts into each folder that it shows."""
    for name in (".DS_Store", "1.bak", "notes"):
        (tmp_path / name).write_bytes(b"not of the log")
    ring = Ring(str(tmp_path), SMALL)
    ring.begin(b"first")
    ring.add(b"second")
    assert Ring(str(tmp_path), SMALL).resume() == b"first"
    assert sorted(path.name for path in tmp_path.iterdir()) == [".DS_Store", "1", "1.bak", "notes"]


@pytest.mark.slow
def test_every_random_week_is_decided_again_alike(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun = 0
    for seed in range(WEEKS):
        folder = tmp_path / str(seed)
        folder.mkdir()
        begun += assert_repeats(seed, folder, monkeypatch)
    assert begun > 1000


def lived(folder: Path, days: int = 3, every_s: int = 0) -> tuple[Logged, core.Bench]:
    """Some days of a bench with two zones, of which an owner waters one by hand."""
    logged = Logged(folder)
    bench = bench_of(logged, core.plan(2, estimate=1), START_S)
    bench.boot()
    for day in range(days):
        bench.seen.temp_mc = 14000 + 700 * day
        bench.run_until(day * DAY_S + 7 * 3600, every_s)
        bench.seen.temp_mc = 31000 - 900 * day
        bench.asked = [(ASK_RUN, day % 2, 300)]
        bench.run_until((day + 1) * DAY_S, every_s)
    logged.recorders[-1].flush()
    return logged, bench


def test_the_log_says_what_was_reported(tmp_path: Path) -> None:
    logged, bench = lived(tmp_path)
    assert [one.told for one in logged.judged()] == bench.events
    assert len(bench.told(OPENED)) > 5


def test_turns_in_which_nothing_happens_are_left_out(tmp_path: Path) -> None:
    for name in ("due", "always"):
        (tmp_path / name).mkdir()
    due, _ = lived(tmp_path / "due", days=1)
    always, _ = lived(tmp_path / "always", days=1, every_s=30)
    assert [one.told for one in due.judged()] == [one.told for one in always.judged()]
    turns = [sum(isinstance(i, Turn) for i in each.items()) for each in (due, always)]
    assert turns[1] <= turns[0] + 4


def changed(items: list[Item], place: int, name: str, value: int) -> list[Item]:
    turn = items[place]
    assert isinstance(turn, Turn)
    return [*items[:place], replace(turn, seen={**turn.seen, name: value}), *items[place + 1 :]]


def test_one_changed_input_names_the_first_decision_that_differs(tmp_path: Path) -> None:
    logged, _ = lived(tmp_path)
    items = logged.items()
    warm = [n for n, item in enumerate(items) if isinstance(item, Turn) and "temp_mc" in item.seen]
    judged = logged.judged(changed(items, warm[1], "temp_mc", 39000))
    first = next(one for one in judged if one.differs)
    assert first.told is not None and first.found is not None
    turn = items[warm[1]]
    assert isinstance(turn, Turn) and turn.up_s is not None and first.told[6] > turn.up_s
    before = judged[: judged.index(first)]
    assert before and all(one.rerun and one.told == one.found for one in before)
    assert not any(one.rerun for one in judged[judged.index(first) + 1 :])


@pytest.mark.parametrize("fails", ["begin", "add", "resume"])
def test_a_log_that_cannot_be_written_changes_nothing(
    fails: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "good").mkdir()
    (tmp_path / "bad").mkdir()
    _, good = lived(tmp_path / "good")
    plain = getattr(Ring, fails)
    count = 0

    def raises(ring: Ring, *arguments: bytes) -> object:
        nonlocal count
        count += 1
        if fails != "add" or count % 5 == 0:
            raise OSError(28)
        return plain(ring, *arguments)

    monkeypatch.setattr(Ring, fails, raises)
    logged, bad = lived(tmp_path / "bad")
    assert bad.calls == good.calls and bad.events == good.events
    assert "28" in str(logged.recorders[0].failed)
    assert not any(one.differs for one in logged.judged())
    if fails == "add":  # it goes on where it can
        assert any(one.rerun for one in logged.judged()[5:])


def test_a_leak_does_not_wash_the_log_away(tmp_path: Path) -> None:
    logged = Logged(tmp_path)
    plan = core.plan(2, supplies=[{"meter": 1}])
    bench = bench_of(logged, plan, START_S)
    bench.seen.meter_ml[0] = 0
    bench.boot()
    bench.run_until(3600)
    before = sum(map(len, logged.files().values()))
    for up_s in range(3601, 2 * DAY_S, 11):  # a look every few seconds, as a board's loop takes
        bench.seen.meter_ml[0] = 170 * up_s
        bench.now_s = up_s
        bench.runner.turn()
    bench.asked = [(ASK_CLEAR, -1, 0)]
    bench.run_until(5 * DAY_S)
    logged.recorders[0].flush()
    assert sum(map(len, logged.files().values())) - before < 6000
    judged = logged.judged()
    assert [one for one in judged if one.differs] == []
    assert (ALARM, LEAK) in [(one.told[0], one.told[2]) for one in judged if one.told and one.rerun]
    assert 1 <= sum(isinstance(item, Gap) for item in logged.items()) <= 3
    assert judged[-1].rerun and not all(one.rerun for one in judged)  # the gap has an end


def test_a_clock_that_cannot_be_set_is_refused_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    logged = Logged(tmp_path)
    bench = bench_of(logged, core.plan(1), None)

    def fails(_: int) -> None:
        raise OSError(5)

    monkeypatch.setattr(bench, "set_wall_s", fails)
    bench.boot()
    bench.run_until(100)
    bench.asked = [(ASK_CLOCK, -1, START_S)]
    bench.run_until(200)
    logged.recorders[0].flush()
    assert [one.told for one in logged.judged() if not one.differs] == bench.events


def test_a_jitter_of_the_clock_is_not_written_and_a_step_is(tmp_path: Path) -> None:
    logged = Logged(tmp_path)
    bench = bench_of(logged, core.plan(1), START_S)
    bench.boot()
    bench.run_until(100)
    recorder = logged.recorders[0]
    recorder.flush()
    sizes = []
    for moved_s in (1, -1, 0, 45, 400, -3600):
        bench.offset_s = START_S + moved_s
        bench.now_s += 10
        bench.runner.turn()
        recorder.flush()
        sizes.append(len(logged.items()))
    assert len(set(sizes[:3])) == 1 and sizes[2] < sizes[3] < sizes[4] < sizes[5]
    assert not any(one.differs for one in logged.judged())


def test_what_a_file_lacks_at_its_end_changes_nothing_before(tmp_path: Path) -> None:
    logged, _ = lived(tmp_path)
    (number,) = logged.files()
    data = logged.files()[number]
    whole, good = entries(data, number)
    assert good and len(whole) > 10
    for length in range(len(data)):
        found, good = entries(data[:length], number)
        assert found == whole[: len(found)] and not (good and len(found) == len(whole))
        spoilt = data[:length] + bytes([data[length] ^ 64]) + data[length + 1 :]
        if length >= 7:
            found, good = entries(spoilt, number)
            assert not good and found == whole[: len(found)]


def test_a_state_names_each_field_by_a_number_of_its_own() -> None:
    bench = core.Bench(core.plan(2, supplies=[{"meter": 1}], zone={"probe": 1}), START_S)
    hub = bench.boot().hub
    found = rooms(hub)
    known = [type(room).__name__ for room in found]
    assert known.count("Probe") == 2 and known.count("Meter") == 1
    least = {"Hub", "Clock", "Days", "Estimates", "Faults", "Guard", "Lockouts", "Record", "Runs"}
    assert least <= set(known)
    for room in found:
        names = field_names(room)
        assert len({name_code(name) for name in names}) == len(names)


def test_a_log_under_another_plan_is_not_run_again(tmp_path: Path) -> None:
    logged, bench = lived(tmp_path, days=1)
    judged = list(rerun(logged.items(), {}))
    assert [one.told for one in judged] == bench.events
    assert not any(one.rerun or one.differs for one in judged)


def test_a_crash_with_a_valve_that_does_not_shut_is_decided_again_alike(tmp_path: Path) -> None:
    logged = Logged(tmp_path)
    bench = bench_of(logged, core.plan(2), START_S)
    bench.boot()
    bench.run_until(200)
    bench.asked = [(ASK_RUN, 0, 600)]
    bench.run_until(300)
    hub = bench.runner.hub
    bench.broken = {(0, "close")}
    hub.step = None  # every call of it raises
    bench.now_s = 310
    while bench.now_s < 380:  # it rests, and tries to close the valve
        bench.now_s = max(bench.runner.turn(), bench.now_s + 1)
    bench.broken = set()
    bench.run_until(DAY_S)
    logged.recorders[0].flush()
    assert len(bench.told(BOOT)) == 2 and bench.told(ALARM, TROUBLE)
    judged = logged.judged()
    assert [one.told for one in judged] == bench.events
    assert all(one.rerun and not one.differs for one in judged)
