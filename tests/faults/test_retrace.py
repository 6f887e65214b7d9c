"""A simulated hub with faults and restarts, retraced by the command from the log on its flash."""

import csv
import json
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from typer.testing import CliRunner

from evenclay.boards.desktop.core import core_version
from evenclay.controller.civil import LocalTime, day_of
from evenclay.sim.house.devices import Devices
from evenclay.sim.house.faults import Fault, PowerCut, Trouble
from evenclay.sim.judge.policies import hub_of
from evenclay.sim.replay.life import Script, begin
from evenclay.sim.replay.stay import sky_of, stay_of
from evenclay.sim.weather.record import read
from evenclay.tools.cli import commands as cli
from evenclay.tools.log.items import LogError, items_of
from evenclay.tools.log.lines import lines_of
from evenclay.tools.log.lines import read as read_lines
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.demand import means_of
from evenclay.tools.property.property import load
from tests import logs
from tests.grounds import even_ground

DEMO = Path(__file__).parents[2] / "sim" / "demo"
PROPERTY, WEATHER = DEMO / "property.toml", DEMO / "weather.csv"
FIRST, LAST = date(2022, 6, 1), date(2022, 7, 31)
MOST_BYTES = 40960  # less than a board has, so that the oldest is soon forgotten
DAY_S = 86400


def go(_: Devices) -> None:
    """Power goes now."""
    raise PowerCut


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The log of the demo's hub over a summer: hub.jsonl, with bytes of a day beside it."""
    folder = tmp_path_factory.mktemp("hub")
    prop = load(PROPERTY)
    weather = read(WEATHER, latitude_deg=prop.site.latitude)
    house = compile_house(prop, means_of(weather, prop.site.latitude))
    sky, by_hour = sky_of(house, stay_of(weather, FIRST, LAST), 1)
    ground = even_ground(house, by_hour, sky.start_s)
    time = LocalTime(house.plan.hub)

    def at(month: int, day: int, hour: int) -> int:
        return time.wall_s(day_of(2022, month, day) * DAY_S + hour * 3600)

    actions: list[tuple[int, Callable[[Devices], None]]] = [
        (at(6, 9, 6) + 200, go),
        (at(6, 20, 3), lambda devices: devices.step_clock(-3000)),
        (at(7, 2, 1), go),
        (at(7, 20, 5), Devices.lose_clock),
        (at(7, 21, 9), lambda devices: devices.set_wall_s(devices.now_s)),
        (at(7, 25, 12), go),
    ]
    faults = [
        Fault(Trouble.BLOCKED, at(6, 12, 0), at(6, 14, 0), which=1),
        Fault(Trouble.DRIVER_RAISES, at(6, 25, 0), at(6, 26, 0), which=0),
        Fault(Trouble.SAVE_RAISES, at(7, 5, 0), at(7, 6, 0)),
        Fault(Trouble.THERMOMETER_SILENT, at(7, 10, 0), at(7, 12, 0)),
        Fault(Trouble.SAVE_LOST, at(7, 28, 0), at(7, 29, 0)),
    ]
    logged = logs.Logged(folder, MOST_BYTES, core_version())
    script = Script(actions, faults, drift_ppm=40, boot=logged.boot)
    life = begin(hub_of(house), ground, sky, 1, script)
    life.run(sky.start_s + 3600 * sky.hours)
    logged.recorders[-1].flush()
    assert [each.failed for each in logged.recorders if each.failed] == []
    lines = list(lines_of(items_of(logged.files())))
    path = folder / "hub.jsonl"
    path.write_text("\n".join(lines) + "\n", "utf-8")
    return path


def retrace(log: Path, *arguments: str) -> tuple[int, list[str], str]:
    options = [str(log), str(PROPERTY), "--weather", str(WEATHER), *arguments]
    done = CliRunner().invoke(cli.app, ["retrace", *options])
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    return done.exit_code, done.stdout.splitlines(), done.stderr


def test_every_decision_is_reproduced(log: Path) -> None:
    status, said, wrong = retrace(log)
    assert (status, wrong) == (0, "")
    assert said[-1].endswith("decisions, run again: none differs.")
    assert int(said[-1].split()[0]) == len(said) - 1 > 500


def test_the_log_forgets_the_oldest_and_goes_on_from_a_state(log: Path) -> None:
    first = json.loads(log.read_text("utf-8").splitlines()[0])
    assert first["what"] == "file" and first["number"] > 1 and first["state"]
    sizes = [path.stat().st_size for path in (log.parent / "log").iterdir()]
    assert len(sizes) == 8 and sum(sizes) <= MOST_BYTES


def test_one_changed_input_is_found(log: Path, tmp_path: Path) -> None:
    lines = log.read_text("utf-8").splitlines()
    half = len(lines) // 2
    warmth = [json.loads(line).get("seen", {}).get("temp_mc") or 0 for line in lines[half:]]
    place = half + warmth.index(max(warmth))
    changed = json.loads(lines[place])
    changed["seen"]["temp_mc"] += 9000
    spoilt = tmp_path / "spoilt.jsonl"
    spoilt.write_text("\n".join([*lines[:place], json.dumps(changed), *lines[place + 1 :]]))
    status, said, wrong = retrace(spoilt)
    assert (status, wrong) == (1, "")
    assert said[-1].startswith("The first decision that differs: the hub said ")
    assert "lacks" in said[-1] and said[-1].count("short of its target") == 2
    assert len(said) == len(retrace(log)[1])  # all are shown all the same


def test_the_report_has_what_a_log_can_tell(log: Path, tmp_path: Path) -> None:
    status, said, _ = retrace(log, "--out", str(tmp_path))
    assert status == 0 and said[-1] == f"The report: {tmp_path / 'report.html'}"
    with (tmp_path / "daily.csv").open() as file:
        rows = list(csv.DictReader(file))
    told = [json.loads(line) for line in (tmp_path / "decisions.jsonl").read_text().splitlines()]
    minutes = sum(float(row["minutes"]) for row in rows)
    seconds = sum(line["seconds"] for line in told if line["what"] in ("closed", "cut_short"))
    assert minutes == pytest.approx(seconds / 60, abs=0.005 * len(rows)) and minutes > 1000
    metered = {row["zone"] for row in rows if row["metered_litres"]}
    assert metered == {"front"}  # the other spigot has no meter, and no litres are made up
    assert all(row["lacks_mm"] and row["target_mm"] for row in rows if row["date"] == "2022-07-15")
    page = (tmp_path / "report.html").read_text("utf-8")
    assert "What a log cannot know" in page and "not metered" in page
    assert "movement" not in page.split("What a log cannot know")[0]


def test_another_plan_or_version_is_one_line(log: Path, tmp_path: Path) -> None:
    done = CliRunner().invoke(cli.app, ["retrace", str(log), str(PROPERTY)])
    assert done.exit_code == 0 and done.stderr.count("\n") == 1
    assert "which is not known here" in done.stderr  # without the weather it is another plan
    assert done.stdout.splitlines()[-1].startswith("Of ")
    text = log.read_text("utf-8")
    older = tmp_path / "older.jsonl"
    older.write_text(text.replace(f"{core_version():08x}", "12345678"), "utf-8")
    status, said, wrong = retrace(older)
    assert status == 0 and wrong.count("\n") == 1 and "12345678" in wrong
    assert said[-1].endswith("none differs.")
    older.write_text(text.replace(f"{core_version():08x}", "00000000"), "utf-8")
    status, said, wrong = retrace(older)
    assert status == 0 and wrong.count("\n") == 1
    assert wrong.startswith("The log does not tell which version of the code the hub ran")


@pytest.mark.parametrize("text", ["", "hello\n", '{"what": "turn"}\n', '{"what": "sun"}\n', "[]\n"])
def test_what_is_no_log_is_refused_in_one_line(text: str, tmp_path: Path) -> None:
    path = tmp_path / "hub.jsonl"
    path.write_text(text)
    status, said, wrong = retrace(path)
    assert (status, said) == (2, []) and wrong.count("\n") == 1 and "allowed" in wrong


TURN = {"what": "turn", "up_s": 0, "wall_s": None}
BOOT = {"what": "boot", "why": 18, "up_s": 0, "lost": False}
NOT_OF_A_LOG: list[dict[str, object]] = [
    {**TURN, "told": [[99, 0, 0, 0, 0, 0, 0, 0]]},
    {**TURN, "told": [[0, 12, 0, 0, 0, 0, 0, 0]]},
    {**TURN, "told": [[0, 0, 99, 0, 0, 0, 0, 0]]},
    {**TURN, "told": [[1, 0, 0, "x", 0, 0, 0, 0]]},
    {**TURN, "told": [[1, 0, 0, 0, 10**400, 0, 0, 0]]},
    {**TURN, "told": [[1, 0, 0, 0, 0, 0, 0, 10**12]]},
    {**TURN, "told": [[1, 0, 0]]},
    {**TURN, "told": 1},
    {**TURN, "crash": {"note": 1, "up_s": 0, "late_up_s": 0, "calls": 0}},
    {**TURN, "crash": {"note": "", "up_s": 0, "late_up_s": None, "calls": 0}},
    {**TURN, "crash": 1},
    {**TURN, "up_s": "x"},
    {**TURN, "wall_s": 10**12},
    {**TURN, "seen": [1]},
    {**TURN, "seen": {"done": 1}},
    {**TURN, "seen": {"meter_ml.9": 1}},
    {**TURN, "seen": {"temp_mc": "warm"}},
    {**TURN, "asked": [[2, 0, "long"]]},
    {**TURN, "asked": [[2]]},
    {**TURN, "failed": ["all"]},
    {**BOOT, "why": 200},
    {**BOOT, "up_s": None},
    {**BOOT, "note": 1},
    {**BOOT, "told": [[0, 0, 0, 0, 0, 0, 0, 0.5]]},
]


@pytest.mark.parametrize("line", [*map(json.dumps, NOT_OF_A_LOG), "[" * 50000])
def test_a_line_that_no_hub_writes_is_named(line: str) -> None:
    good = "\n".join(map(json.dumps, (TURN, BOOT, {**TURN, "told": [[0] * 8]})))
    assert len(read_lines(good, "hub.jsonl")[0]) == 3
    with pytest.raises(LogError, match=r"^hub\.jsonl:4: found .*, allowed a line"):
        read_lines(f"{good}\n{line}", "hub.jsonl")


def test_lines_read_back_are_the_items(log: Path) -> None:
    items, plans = read_lines(log.read_text("utf-8"), "hub.jsonl")
    files = {int(path.name): path.read_bytes() for path in (log.parent / "log").iterdir()}
    assert items == list(items_of(files)) and plans == {}


def test_a_log_is_read_out_of_a_folder(log: Path, tmp_path: Path) -> None:
    done = CliRunner().invoke(cli.app, ["log", str(log.parent)])
    assert done.exit_code == 0
    assert done.stdout == log.read_text("utf-8")
    done = CliRunner().invoke(cli.app, ["log", str(tmp_path)])
    assert (done.exit_code, done.stdout) == (2, "")
    assert done.stderr == (
        f"{tmp_path}: found no log in it, allowed the folder of a hub that has run with one\n"
    )
