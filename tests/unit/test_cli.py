"""The command line: help that teaches, exit statuses, one line for what a user can cause."""

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from tests import sweeps
from tools import cli

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
        [sys.executable, "-m", "tools.cli", *args],
        cwd=ROOT,
        stdout=stdout,
        stderr=subprocess.PIPE,
        text=True,
    )


def test_help_teaches() -> None:
    status, out, err = run("--help")
    assert (status, err) == (0, "")
    assert "evenclay check sim/demo/property.toml" in out
    assert "evenclay replay sim/demo/property.toml --weather sim/demo/weather.csv --out out" in out


@pytest.mark.parametrize("command", ["check", "replay", "invent", "sweep", "compare", "propose"])
def test_help_of_commands(command: str) -> None:
    status, out, _ = run(command, "--help")
    assert status == 0
    assert "Example" in out
    assert "--column WHAT=NAME" in out


SWEEP = ("sweep", str(DEMO), "--weather", str(WEATHER), "--out", "out")
REPLAY = ("replay", str(DEMO), "--weather", str(WEATHER), "--out", "out")


@pytest.mark.parametrize(
    ("args", "said"),
    [
        ((), "Missing command"),
        (("chek",), "No such command 'chek'"),
        (("check",), "Missing argument 'PROPERTY'"),
        (("check", "a", "b"), "unexpected extra argument"),
        (("check", str(DEMO), "--bogus"), "No such option: --bogus"),
        (("check", str(DEMO), "--weather", "none.csv"), "none.csv: "),
        (("check", str(DEMO), "--weather", str(DEMO)), "property.toml"),
        (("check", "none\nsuch.toml"), "none\\nsuch.toml: found no property file"),
        (("replay", str(DEMO)), "Missing option '--weather'"),
        ((*REPLAY, "--from", "2021-02-30"), '--from: found "2021-02-30", allowed a date'),
        ((*REPLAY, "--to", "tomorrow"), '--to: found "tomorrow"'),
        ((*REPLAY, "--seed", "x"), "--seed"),
        ((*REPLAY, "--column", "rein=P"), 'found "rein=P", allowed WHAT=NAME'),
        ((*REPLAY, "--column", "rain=P_mm"), "weather.csv"),
        (("sweep", str(DEMO), "--out", "out"), "Missing option '--weather'"),
        ((*SWEEP, "--out", str(DEMO)), "property.toml, a file"),
        ((*SWEEP, "--seeds", "0"), "--seeds"),
        ((*SWEEP, "--vary", "soil.texture"), "allowed PATH=VALUE"),
        ((*SWEEP, "--vary", "soil.texture=cley"), 'found "cley", allowed "sand", '),
        ((*SWEEP, "--vary", "zones.wst.share=90"), "allowed zones.west, zones.east"),
        ((*SWEEP, "--vary", "trim.step=5", "--vary", "trim.step=10"), "trim.step twice"),
        ((*SWEEP, str(DEMO)), f"found {DEMO} twice"),
        (("sweep", str(DEMO), "--weather", "none.csv", "--out", "out"), "none.csv: "),
        (("replay", "none.toml", "--weather", str(WEATHER), "--out", "out"), "none.toml: found no"),
        (
            ("replay", str(DEMO), "--weather", str(WEATHER), "--out", str(DEMO)),
            "property.toml, a file",
        ),
        (("replay", str(DEMO), "--weather", str(WEATHER), "--out", f"{DEMO}/out"), "Not a dir"),
    ],
)
def test_bad_input_is_one_line(args: tuple[str, ...], said: str) -> None:
    status, out, err = run(*args)
    assert status == 2
    assert out == ""
    assert said in err
    assert len(err.splitlines()) == 1
    assert "Traceback" not in err


def test_a_defect_of_ours_is_not_hidden(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise ValueError("ours")

    monkeypatch.setattr(cli, "load", broken)
    result = CliRunner().invoke(cli.app, ["check", str(DEMO)])
    assert isinstance(result.exception, ValueError)


def test_ctrl_c_is_quiet(monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(cli, "load", interrupted)
    assert run("check", str(DEMO)) == (130, "", "")


def test_replay_writes_all_and_says_where(tmp_path: Path) -> None:
    out_dir = tmp_path / "new" / "out"
    args = ("replay", str(DEMO), "--weather", str(WEATHER), "--out", str(out_dir))
    status, out, err = run(*args, "--from", "2021-07-01", "--to", "2021-07-14")
    assert status == 0
    assert "2021-07-01 to 2021-07-14" in out
    assert f"The report: {out_dir / 'report.html'}" in out
    assert "4 of 4: hub" in err
    written = {path.name for path in out_dir.iterdir()}
    assert {"summary.json", "decisions.jsonl", "daily.csv", "report.html"} <= written
    status, out, _ = run(*args, "--from", "2021-07-01", "--to", "2021-07-14", "--json")
    assert status == 0
    assert json.loads(out) == json.loads((out_dir / "summary.json").read_text(encoding="utf-8"))


def test_sweep_on_processes(tmp_path: Path) -> None:
    """In a real process, since its workers begin by importing what started them."""
    house = tmp_path / "small.toml"
    house.write_text(sweeps.HOUSE, encoding="utf-8")
    args = ("sweep", str(house), "--weather", str(WEATHER), "--out", str(tmp_path / "new" / "out"))
    more = ("--vary", "trim.step=5..10..5", "--processes", "1")
    process = start(*args, *more)
    out, err = process.communicate()
    assert process.returncode == 0, err
    assert err.splitlines()[0] == "10 years to live through"
    assert err.splitlines()[-1] == "10 of 10 years; 0:00:00 left"
    assert f"A row for each year and zone: {tmp_path / 'new' / 'out' / 'years.parquet'}" in out
    assert " step " in out and "Invented" not in out
    process = start(*args, *more, "--json")
    out, err = process.communicate()
    assert (process.returncode, err) == (0, "10 years to live through, 10 of them done before\n")
    rows = json.loads(out)
    assert [row["trim.step"] for row in rows] == [5, 10]
    assert all(0.0 < row["in_band_pct"] < 100.0 and row["years"] == 5 for row in rows)
    process = start(*args, "--years", "3")
    out, err = process.communicate()
    assert (process.returncode, out) == (2, "")
    assert "found another sweep, with other variants and years; allowed" in err
    assert len(err.splitlines()) == 1


def test_compare_on_processes(tmp_path: Path) -> None:
    """The same answer from one process and from two, and the files beside it."""
    house, weather = tmp_path / "small.toml", tmp_path / "two.csv"
    house.write_text(sweeps.HOUSE, encoding="utf-8")
    lines = WEATHER.read_text(encoding="utf-8").splitlines()
    weather.write_text("\n".join(lines[: 1 + 365 + 366]), encoding="utf-8")
    printed = []
    for count in (1, 2):
        out_dir = tmp_path / str(count)
        args = ("compare", str(house), "--weather", str(weather), "--out", str(out_dir))
        process = start(*args, "--no-oracle", "--json", "--processes", str(count))
        out, err = process.communicate()
        assert process.returncode == 0, err
        assert err.splitlines()[0] == "10 years to live through"
        assert err.splitlines()[-1] == "10 of 10 years; 0:00:00 left"
        assert out == (out_dir / "compare.json").read_text(encoding="utf-8")
        rows = (out_dir / "years.csv").read_text(encoding="utf-8").splitlines()
        assert len(rows) == 1 + 9
        assert (out_dir / "compare.png").stat().st_size > 10_000
        printed.append((out, rows))
    assert printed[0] == printed[1]
    policies = json.loads(printed[0][0])["recorded"]["policies"]
    assert policies["none"]["litres"]["most"] == 0.0
    litres = {name: line["litres"]["median"] for name, line in policies.items()}
    assert litres["calendar_scaled"] != litres["calendar"]
    assert litres["calendar_scaled"] == pytest.approx(litres["hub_checked"], rel=0.02)


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
    assert err == ""


def test_real_process_with_a_closed_pipe() -> None:
    reader, writer = os.pipe()
    process = start("check", str(DEMO), stdout=writer)
    os.close(writer)
    os.close(reader)
    _, err = process.communicate()
    assert process.returncode == 1
    assert "Traceback" not in err
