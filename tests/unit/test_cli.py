"""The command line: help that teaches, exit statuses, one line for what a user can cause."""

import hashlib
import json
import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import Executor, ThreadPoolExecutor
from contextlib import contextmanager
from importlib.metadata import version
from pathlib import Path

import pytest
from typer.testing import CliRunner

from evenclay.sim import files
from evenclay.sim.report import results
from evenclay.sim.units import METRIC
from evenclay.sim.weather.record import read
from evenclay.tools.cli import commands as cli
from evenclay.tools.cli.options import REPORTED
from evenclay.tools.plan import compare as comparing
from evenclay.tools.plan import compare_summary, sweep, workers
from evenclay.tools.plan.compare_picture import drawn
from evenclay.tools.property import property as property_files
from evenclay.tools.property.property import parse
from tests import sweeps
from tests.unit.test_propose import short_weather

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "sim" / "demo" / "property.toml"
WEATHER = ROOT / "sim" / "demo" / "weather.csv"


def run(*args: str) -> tuple[int, str, str]:
    """Exit status, stdout and stderr of the command in this process."""
    result = CliRunner().invoke(cli.app, list(args))
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result.exit_code, result.stdout, result.stderr


def start(*args: str, stdout: int = subprocess.PIPE) -> "subprocess.Popen[str]":
    """The command in a process of its own."""
    return subprocess.Popen(
        [sys.executable, "-m", "evenclay.tools.cli", *args],
        cwd=ROOT,
        stdout=stdout,
        stderr=subprocess.PIPE,
        text=True,
        # Where these tests run in the background, Ctrl-C is ignored.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )


def test_help_teaches() -> None:
    status, out, err = run("--help")
    assert (status, err) == (0, "")
    assert "evenclay demo house" in out
    assert "evenclay check house/property.toml" in out
    assert "evenclay replay house/property.toml --weather house/weather.csv --out out" in out


@pytest.mark.parametrize("command", ["check", "replay", "invent", "propose", "sweep", "compare"])
def test_help_of_commands(command: str) -> None:
    status, out, _ = run(command, "--help")
    assert status == 0
    assert "Example" in out
    assert "--column WHAT=NAME" in out
    assert "--units" in out and "--dates" in out


def test_the_demo_s_copy_is_checked_and_never_overwritten(tmp_path: Path) -> None:
    house = tmp_path / "new" / "house"
    status, out, err = run("demo", str(house))
    assert (status, err) == (0, "")
    assert out.splitlines() == [str(house / name) for name in ("property.toml", "weather.csv")]
    assert (house / "weather.csv").read_bytes() == WEATHER.read_bytes()
    args = ("check", str(house / "property.toml"), "--weather", str(house / "weather.csv"))
    assert run(*args)[0] == 0
    (house / "property.toml").write_text("mine", "utf-8")
    (house / "weather.csv").unlink()
    status, out, err = run("demo", str(house))
    assert (status, out) == (2, "")
    assert err.startswith(f"DIR: found {house / 'property.toml'}, allowed")
    assert err.count("\n") == 1
    assert [path.read_text("utf-8") for path in house.iterdir()] == ["mine"]


def test_a_bar_on_a_terminal_and_lines_elsewhere(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    shown = []
    monkeypatch.setenv("FORCE_COLOR", "1")  # by which any stream is a terminal
    for _ in range(2):
        with workers.counting("plans tried") as tried:
            for done in range(41):
                tried(done, 40)
        shown.append(capsys.readouterr().err)
        monkeypatch.delenv("FORCE_COLOR", raising=False)
    bar, lines = shown
    assert "plans tried" in bar and "40/40" in bar and "left" in bar and "\x1b[" in bar
    assert "plans tried: " not in bar
    assert len(lines.splitlines()) == 11
    assert lines.splitlines()[0] == "plans tried: 0 of 40"
    assert lines.splitlines()[-1] == "plans tried: 40 of 40"


def test_tables_fit_80_columns_and_sentences_are_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("COLUMNS", raising=False)
    monkeypatch.setattr(os, "get_terminal_size", lambda *_: os.terminal_size((0, 0)))  # none
    lines = run("check", str(DEMO))[1].splitlines()
    tables = [line for line in lines if line[0] in "┏┃┡│├└"]
    assert len(tables) > 50 and max(map(len, tables)) <= 80
    assert not any("…" in line or "Left out" in line for line in lines)
    assert any("stuck-open valve cannot be noticed" in line for line in lines)
    monkeypatch.setenv("COLUMNS", "50")
    lines = run("check", str(DEMO))[1].splitlines()
    assert max(len(line) for line in lines if line[0] in "┏┃┡│├└") <= 50
    assert any(line.startswith("Left out, since 50 columns do not hold it: ") for line in lines)


def test_version() -> None:
    assert run("--version") == (0, f"evenclay {version('evenclay')}\n", "")


# What takes long to import; what --help and check may need of it.
HEAVY = {"jinja2", "matplotlib", "numba", "numpy", "pandas", "pint", "polars", "pydantic"}
HEAVY |= {"rich", "scipy.optimize", "tomlkit", "cma", "multiprocessing", "distributed", "mpremote"}
HEAVY |= {"airportsdata", "icalendar", "requests", "tzfpy", "zipcodes"}


@pytest.mark.parametrize(
    ("args", "needs"),
    [
        (("--help",), set()),
        (("check", "--help"), {"pydantic"}),  # by which typer reads arguments
        (("start", "--help"), {"pydantic"}),
        (("--version",), set()),
        (("check", str(DEMO)), {"numpy", "pint", "pydantic", "rich"}),
        (("check", "none.toml"), {"numpy", "pydantic", "rich"}),
    ],
)
def test_a_command_imports_what_it_needs(args: tuple[str, ...], needs: set[str]) -> None:
    """So that nobody waits for what another command needs."""
    script = (
        "import atexit, sys\nfrom evenclay.tools.cli import main\n"
        f"atexit.register(lambda: print(*{HEAVY!r} & sys.modules.keys(), file=sys.stderr))\nmain()"
    )
    # Without the installed packages that pint would look into, where a developer has them.
    done = subprocess.run(
        [sys.executable, "-c", f"import sys\nsys.modules['dask'] = None\n{script}", *args],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert set(done.stderr.splitlines()[-1].split()) <= needs, done.stderr


SWEEP = ("sweep", str(DEMO), "--weather", str(WEATHER), "--out", "out")
REPLAY = ("replay", str(DEMO), "--weather", str(WEATHER), "--out", "out")


@pytest.mark.parametrize(
    ("args", "said"),
    [
        ((*REPLAY, "--grounds", "0"), '--grounds: found "0", allowed a whole number, 1 to 64'),
        (("chek",), "No such command 'chek'"),
        (("check",), "Missing argument 'PROPERTY...'"),
        (("compile", "a", "b", "--out", "c"), "unexpected extra argument"),
        (("compile", str(DEMO), "--out", "."), "--out: found ., a folder, allowed a file"),
        (("compile", str(DEMO), "--out", "/"), "--out: found /, a folder, allowed a file"),
        (("check", str(DEMO), "--bogus"), "No such option: --bogus"),
        (("check", str(DEMO), "--weather", "none.csv"), "none.csv: "),
        (("check", str(DEMO), "--weather", str(DEMO)), "property.toml"),
        (("check", "none\nsuch.toml"), "none\\nsuch.toml: found no property file"),
        (("replay", str(DEMO)), "Missing option '--weather'"),
        ((*REPLAY, "--from", "2021-02-30"), '--from: found "2021-02-30", allowed a date'),
        ((*REPLAY, "--to", "tomorrow"), '--to: found "tomorrow"'),
        (
            (*REPLAY, "--from", "2021-02-02", "--to", "2021-02-01"),
            "found 2021-02-02, after 2021-02-01; allowed is --from on or before --to",
        ),
        ((*REPLAY, "--to", "2016-05-01"), "2017-01-01"),
        ((*REPLAY, "--units", "imperial"), 'found "imperial", allowed metric, us, tenths'),
        ((*REPLAY, "--dates", "ymd"), 'found "ymd", allowed mdy, dmy'),
        ((*REPLAY, "--seed", "x"), '--seed: found "x", allowed a whole number, 0 to 2147483647'),
        ((*REPLAY, "--column", "rein=P"), 'found "rein=P", allowed WHAT=NAME'),
        ((*REPLAY, "--column", "rain=P_mm"), "weather.csv"),
        (("sweep", str(DEMO), "--out", "out"), "Missing option '--weather'"),
        ((*SWEEP, "--out", str(DEMO)), "property.toml, a file"),
        ((*REPLAY, "--processes", "0"), 'found "0", allowed a whole number from 1 on'),
        ((*SWEEP, "--seeds", "0"), "--seeds: found"),
        ((*SWEEP, "--vary", "soil.texture"), "allowed PATH=VALUE"),
        ((*SWEEP, "--vary", "soil.texture=cley"), 'found "cley", allowed "sand", '),
        ((*SWEEP, "--vary", "zones.wst.share=90"), "allowed zones.west, zones.east"),
        ((*SWEEP, "--vary", "hub.poll=1 h", "--vary", "hub.poll=2 h"), "hub.poll twice"),
        ((*SWEEP, str(DEMO)), f"found {DEMO} twice"),
        (("sweep", str(DEMO), "--weather", "none.csv", "--out", "out"), "none.csv: "),
        (("replay", "none.toml", "--weather", str(WEATHER), "--out", "out"), "none.toml: found no"),
        (
            ("replay", str(DEMO), "--weather", str(WEATHER), "--out", str(DEMO)),
            "property.toml, a file",
        ),
        (
            ("replay", str(DEMO), "--weather", str(WEATHER), "--out", f"{DEMO}/in/out"),
            f"found {DEMO}, a file, allowed a folder",
        ),
    ],
)
def test_bad_input_is_one_line(args: tuple[str, ...], said: str) -> None:
    status, out, err = run(*args)
    assert status == 2
    of_names = err.startswith(("Missing ", "No such command", "No such option", "Got unexpected"))
    assert err.endswith("; see the --help of the command\n") == of_names
    assert out == ""
    assert said in err
    assert len(err.splitlines()) == 1
    assert "Traceback" not in err


def test_alone_it_shows_its_commands() -> None:
    status, out, err = run()
    assert (status, out) == (2, "")
    assert all(re.search(rf"^  {name} ", err, re.MULTILINE) for name in cli.COMMANDS)


def test_a_port_that_is_none_is_told_by_the_name_of_its_argument(tmp_path: Path) -> None:
    port = str(tmp_path / "none")
    status, out, err = run("log", port)
    assert (status, out, err.count("\n")) == (2, "", 1)
    assert err.startswith(f"PORT: found {port} (failed to access), allowed the serial port of a ")
    assert "or the folder in which a hub" in err


@pytest.mark.skipif(not Path("/proc/self").exists(), reason="there is no folder of the system's")
@pytest.mark.parametrize("command", ["replay", "compare", "sweep"])
def test_a_folder_that_takes_nothing_is_told_before_the_work(command: str) -> None:
    status, out, err = run(command, str(DEMO), "--weather", str(WEATHER), "--out", "/proc/new/out")
    assert (status, out) == (2, "")
    assert err.startswith("--out: found /proc, which takes no file (")
    assert len(err.splitlines()) == 1


def test_a_defect_of_ours_is_not_hidden(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise ValueError("ours")

    monkeypatch.setattr(property_files, "load", broken)
    result = CliRunner().invoke(cli.app, ["check", str(DEMO)])
    assert isinstance(result.exception, ValueError)


def test_ctrl_c_says_in_a_line_what_is_left(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(property_files, "load", interrupted)
    nothing = "\nStopped; nothing was written.\n"
    assert run("check", str(DEMO)) == (130, "", nothing)
    status, _, err = run(*SWEEP)
    not_begun = "no part of it was done; the same command begins where this one did"
    assert (status, err) == (130, f"\nStopped; {not_begun}.\n")

    def half_done(*_: object) -> None:
        files.write({sweep._part_path(tmp_path, 0): "done"})
        raise KeyboardInterrupt

    monkeypatch.setattr(property_files, "load", half_done)
    status, _, err = run(*SWEEP)
    assert (status, err) == (130, "\nStopped; the same command goes on where it was.\n")

    def written_then_interrupted(*_: object) -> None:
        files.write({tmp_path / "one": "done"})
        raise KeyboardInterrupt

    monkeypatch.setattr(property_files, "load", written_then_interrupted)
    for _ in range(2):
        status, _, err = run("check", str(DEMO))
        assert (status, err) == (130, "\nStopped; what was written before stays.\n")
    monkeypatch.setattr(property_files, "load", interrupted)
    assert run("check", str(DEMO)) == (130, "", nothing)  # each command counts for itself


def test_replay_writes_all_and_says_where(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    out_dir = tmp_path / "new" / "out"
    args = ("replay", str(DEMO), "--weather", str(WEATHER), "--out", str(out_dir))
    status, out, err = run(*args, "--from", "2021-07-01", "--to", "2021-07-14")
    assert status == 0
    assert "2021-07-01 to 2021-07-14" in out
    assert f"The report: {out_dir / 'report.html'}" in out
    assert "not sure to help" not in out
    assert "4 of 4: hub" in err
    written = {path.name for path in out_dir.iterdir()}
    assert written == set(REPORTED)
    monkeypatch.setattr(results, "page_of", lambda *_: "not drawn again")
    status, out, _ = run(*args, "--from", "2021-07-01", "--to", "2021-07-14", "--json")
    assert status == 0
    summary = json.loads(out)
    assert summary == json.loads((out_dir / "summary.json").read_text(encoding="utf-8"))
    assert (summary["seed"], summary["version"]) == (1, version("evenclay"))
    assert summary["sha256"] == {
        "property": hashlib.sha256(DEMO.read_bytes()).hexdigest(),
        "weather": hashlib.sha256(WEATHER.read_bytes()).hexdigest(),
    }


def test_replay_says_first_that_a_plan_is_not_sure_to_help(tmp_path: Path) -> None:
    path = tmp_path / "left.toml"
    text = DEMO.read_text("utf-8").replace("[estimate]\n", '[estimate]\nverdict = "leave"\n')
    path.write_text(text, encoding="utf-8")
    args = ("replay", str(path), "--weather", str(WEATHER), "--out", str(tmp_path / "out"))
    status, out, _ = run(*args, "--from", "2021-07-01", "--to", "2021-07-05")
    said, told = (
        " ".join(out.split()),
        "Leave the house as it is: judged on many grounds, this plan is",
    )
    assert status == 0 and said.startswith(told)


@contextmanager
def one_thread(_: int) -> Iterator[tuple[Executor, int]]:
    """What does tasks one by one in this process."""
    with ThreadPoolExecutor(1) as executor:
        yield executor, 1


def test_replay_on_many_grounds_side_by_side(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In real processes and in this one, which draws no page; how many live on the grounds changes
    no figure.
    """
    monkeypatch.setattr(workers, "processes", one_thread)
    monkeypatch.setattr(results, "page_of", lambda *_: "a page")
    house = tmp_path / "small.toml"
    house.write_text(sweeps.HOUSE, encoding="utf-8")
    days = ("--from", "2021-05-01", "--to", "2022-04-30")
    for count in ("1", "2"):
        out_dir = tmp_path / count
        args = ("replay", str(house), "--weather", str(WEATHER), "--out", str(out_dir), *days)
        grounds = ("--grounds", "2", "--processes", count)
        if count == "1":
            status, out, err = run(*args, *grounds)
        else:
            process = start(*args, *grounds)
            out, err = process.communicate()
            status = process.returncode
        assert status == 0, err
        assert "grounds: 2 of 2" in err
        assert " on eight of ten plausible grounds)" in out
        assert "the middle of 2 grounds" in out
        lines = [line for line in out.splitlines() if line[0] in "┏┃┡│├└"]
        assert len(lines) >= 8 and max(map(len, lines)) <= 80
    summaries = [(tmp_path / count / "summary.json").read_bytes() for count in ("1", "2")]
    assert summaries[0] == summaries[1]
    assert json.loads(summaries[0])["grounds"] == 2


def test_sweep_on_processes(tmp_path: Path) -> None:
    """In a real process, since its workers begin by importing what started them."""
    house = tmp_path / "small.toml"
    house.write_text(sweeps.HOUSE, encoding="utf-8")
    weather = str(short_weather(tmp_path))
    args = ("sweep", str(house), "--weather", weather, "--out", str(tmp_path / "new" / "out"))
    more = ("--vary", "estimate.dose=5..10..5", "--processes", "1")
    process = start(*args, *more)
    out, err = process.communicate()
    assert process.returncode == 0, err
    assert err.splitlines()[0] == "4 years to live through"
    assert err.splitlines()[-1] == "4 of 4 years"
    assert f"A row for each year and zone: {tmp_path / 'new' / 'out' / 'years.parquet'}" in out
    assert " dose " in out and "Invented" not in out
    status, out, err = run(*args, *more, "--json")
    assert (status, err) == (0, "4 years to live through, 4 of them done before\n")
    rows = json.loads(out)
    assert [row["estimate.dose"] for row in rows] == [5, 10]
    assert all(0.0 < row["unrest_pct"] < 200.0 and row["years"] == 2 for row in rows)
    status, out, err = run(*args, "--years", "3")
    assert (status, out) == (2, "")
    assert "found another sweep, with other variants and years; allowed" in err
    assert len(err.splitlines()) == 1


def test_compare_on_processes(tmp_path: Path) -> None:
    """The same answer from this process and from two others, and the files beside it."""
    prop = parse(sweeps.HOUSE, "small.toml")
    weather = read(short_weather(tmp_path), latitude_deg=prop.site.latitude)
    made = []
    for others in (one_thread, workers.processes):
        jobs = comparing.jobs_of(prop, [("two", weather)], 0, 1, years=2)
        with others(2) as (executor, _):
            found = comparing.run(jobs, [], 2, executor, lambda line: None)
        whole = compare_summary.summary(found, 1, "0")
        rows = compare_summary.rows_of(found)
        made.append((json.dumps(whole), rows, drawn(whole, METRIC)))
    assert made[0] == made[1]


def test_real_process_good_and_bad(tmp_path: Path) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text("[site]\nname = 3\n")
    good, wrong = start("check", str(DEMO)), start("check", str(bad))
    out, err = good.communicate()
    assert (good.returncode, err) == (0, "")
    assert "Cotter house, Marl Hollow" in out
    out, err = wrong.communicate()
    assert (wrong.returncode, out) == (2, "")
    lines = err.splitlines()
    assert f"{bad}:2: site.name: found 3, allowed a text of 1 to 60 printable characters" in lines
    assert len(lines) == 6  # and timezone, latitude, supplies, zones, seasons are missing
    assert "Traceback" not in err


def test_real_process_interrupted(tmp_path: Path) -> None:
    if not hasattr(os, "mkfifo"):
        pytest.skip("no named pipes here")
    pipe = tmp_path / "house.toml"
    os.mkfifo(pipe)
    process = start("check", str(pipe))
    with open(pipe, "w"):  # opens once the command reads, and then keeps it waiting
        process.send_signal(signal.SIGINT)
        _, err = process.communicate()
    assert process.returncode == 130
    assert err == "\nStopped; nothing was written.\n"


def test_real_process_with_a_closed_pipe() -> None:
    reader, writer = os.pipe()
    process = start("check", str(DEMO), stdout=writer)
    os.close(writer)
    os.close(reader)
    _, err = process.communicate()
    assert process.returncode == 1
    assert "Traceback" not in err
