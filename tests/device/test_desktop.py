"""The desktop board: a hub on real files, on both interpreters."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from evenclay.boards.console import parse
from evenclay.boards.desktop.ports import DesktopPorts
from evenclay.controller.ports import (
    ASK_CHECK,
    ASK_HOLD,
    ASK_RUN,
    ASK_RUN_ANYWAY,
    ASK_STOP,
    DRY,
    PLAN,
    RECORD,
    WET,
)
from evenclay.controller.runner import Runner
from tests import core
from tests.device.board import SOURCES

ROOT = Path(__file__).parents[2]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "plan.0").write_bytes(core.plan(2).pack())
    return tmp_path


def run_hub(command: list[str], folder: Path, typed: str) -> str:
    environment = {**os.environ, "MICROPYPATH": str(SOURCES), "PYTHONPATH": str(SOURCES)}
    done = subprocess.run(
        [*command, "-m", "evenclay.boards.desktop.main", str(folder)],
        input=typed,
        capture_output=True,
        text=True,
        env=environment,
        cwd=ROOT,
        check=False,
    )
    assert done.returncode in (0, 2), done.stderr
    return done.stdout


def test_a_hub_runs_on_the_desktop_and_keeps_its_record(folder: Path) -> None:
    first = run_hub([sys.executable], folder, "quit\n").splitlines()
    assert [line for line in first if "close" in line][:3] == [
        "valve 0: close",
        "valve 1: close",
        "valve 2: close",
    ]
    assert any("boot" in line and line.split()[-2] == "1" for line in first)
    again = run_hub([sys.executable], folder, "quit\n").splitlines()
    assert any("boot" in line and line.split()[-2] == "2" for line in again)


def test_micropython_goes_on_from_the_record_of_cpython(folder: Path, micropython: Path) -> None:
    run_hub([sys.executable], folder, "quit\n")
    lines = run_hub([str(micropython)], folder, "status\nquit\n").splitlines()
    assert any("boot" in line and line.split()[-2] == "2" for line in lines)


def test_no_plan_is_one_clear_line(tmp_path: Path) -> None:
    told = run_hub([sys.executable], tmp_path, "")
    assert told.count("\n") == 1 and "no plan to run" in told


def test_what_is_typed_is_understood_or_refused(folder: Path) -> None:
    said: list[str] = []
    ports = DesktopPorts(str(folder), 2, 1, said.append)
    assert ports.ask("check 1 dry wet") is None
    assert ports.ask("dance") is not None
    assert ports.ask("run 0") is not None
    assert ports.take_asked() == [(ASK_CHECK, 1, (DRY, WET))]
    assert parse("hold 2", 1000) == (ASK_HOLD, -1, 8200)
    assert parse("run 0 5", 0) == (ASK_RUN, 0, 300)
    assert parse("run 0 5 anyway", 0) == (ASK_RUN_ANYWAY, 0, 300)
    assert parse("stop", 0) == (ASK_STOP, -1, 0)


def test_what_is_written_is_read_back_by_another(folder: Path) -> None:
    ports = DesktopPorts(str(folder), 2, 1, lambda _: None)
    Runner(ports).turn()
    other = DesktopPorts(str(folder), 2, 1, lambda _: None)
    assert other.read(PLAN, 0) == (folder / "plan.0").read_bytes()
    assert other.read(RECORD, 0) or other.read(RECORD, 1)
    assert other.read(PLAN, 1) == b""
