"""The desktop board: a hub on real files, on both interpreters."""

import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from evenclay.boards.desktop import core as desk_core
from evenclay.boards.desktop.ports import DesktopPorts
from evenclay.controller.journal import newest, unpack_record
from evenclay.controller.ports import PLAN, RECORD
from evenclay.controller.runner import Runner
from evenclay.tools.board import bundle
from evenclay.tools.log.items import File, items_of
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


def boots(folder: Path) -> int:
    """How often the hub of a folder has booted, by its newest record."""
    kept = [path.read_bytes() for path in sorted(folder.glob("record.*"))]
    record = unpack_record(newest([*kept, b""][:2]))
    assert record is not None
    boots: int = record.boots
    return boots


def test_a_hub_runs_on_the_desktop_and_keeps_its_record(folder: Path) -> None:
    first = run_hub([sys.executable], folder, "quit\n").splitlines()
    assert [line for line in first if "close" in line][:3] == [
        "valve 0: close",
        "valve 1: close",
        "valve 2: close",
    ]
    assert boots(folder) == 1
    assert any("started: power was off" in line for line in first)
    run_hub([sys.executable], folder, "quit\n")
    assert boots(folder) == 2


def test_micropython_goes_on_from_the_record_of_cpython(folder: Path, micropython: Path) -> None:
    run_hub([sys.executable], folder, "quit\n")
    told = run_hub([str(micropython)], folder, "status\nbutton\nquit\n")
    assert boots(folder) == 2
    assert "The light: " in told and "No alarm stands." in told and "you asked: stop" in told


def test_a_hub_without_words_says_that_it_speaks_metric(folder: Path, micropython: Path) -> None:
    for interpreter in (sys.executable, str(micropython)):
        told = run_hub([interpreter], folder, "clock\nhelp\nquit\n").splitlines()
        (line,) = [line for line in told if line.startswith(f"{folder}/words: ")]
        assert "speaks of mm and C" in line
        (folder / "words").write_bytes(bundle.words(("us", "back")))
        worded = run_hub([interpreter], folder, "clock\nhelp\nquit\n")
        assert "/words" not in worded and worded.count("check ") == 1  # its lines are found
        (folder / "words").unlink()


def test_the_log_names_the_version_of_the_sources(folder: Path, micropython: Path) -> None:
    for interpreter in (sys.executable, str(micropython)):
        run_hub([interpreter], folder, "quit\n")
        files = {int(path.name): path.read_bytes() for path in (folder / "log").iterdir()}
        cores = {item.core for item in items_of(files) if isinstance(item, File)}
        assert cores == {desk_core.core_version()} != {0}
        shutil.rmtree(folder / "log")


def test_the_version_follows_the_sources_and_not_the_ends_of_their_lines(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(desk_core, "CONTROLLER", str(tmp_path))
    assert desk_core.core_version() == 0  # as in a bundle, which has no sources
    found = []
    for text in ("a = 1\nb = 2\n", "a = 1\r\nb = 2\r\n", "a = 1\nb = 3\n"):
        (tmp_path / "hub.py").write_text(text, "utf-8", newline="")
        found.append(desk_core.core_version())
    assert found[0] == found[1] != found[2]
    (tmp_path / "hub.py").rename(tmp_path / "bub.py")
    assert desk_core.core_version() not in found
    monkeypatch.setattr(desk_core, "CONTROLLER", str(tmp_path / "nowhere"))
    assert desk_core.core_version() == 0


def test_ctrl_c_is_as_good_as_quit(folder: Path) -> None:
    with subprocess.Popen(
        [sys.executable, "-m", "evenclay.boards.desktop.main", str(folder)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(SOURCES), "PYTHONUNBUFFERED": "1"},
        # Where these tests run in the background, it is ignored.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    ) as hub:
        assert hub.stdout is not None
        for line in hub.stdout:
            if line.startswith("The light: "):
                break
        hub.send_signal(signal.SIGINT)
        told, failed = hub.communicate()
    assert (hub.returncode, failed) == (0, "")
    assert [line for line in told.splitlines() if line][-3:] == [
        f"valve {valve}: close" for valve in range(3)
    ]


def test_no_plan_is_one_clear_line(tmp_path: Path) -> None:
    told = run_hub([sys.executable], tmp_path, "")
    assert told.count("\n") == 1 and "no plan to run" in told


@pytest.mark.parametrize("bad", [b"", b"torn", None])
def test_a_hub_starts_from_the_copy_of_the_plan_that_is_good(
    bad: bytes | None, folder: Path, micropython: Path
) -> None:
    """As after a power cut while a plan was written; the good copy has other counts."""
    if bad is None:
        (folder / "plan.0").unlink()
    else:
        (folder / "plan.0").write_bytes(bad)
    (folder / "plan.1").write_bytes(core.plan(3, supplies=[{}, {}]).pack())
    for times, interpreter in enumerate((sys.executable, str(micropython)), 1):
        told = run_hub([interpreter], folder, "status\nquit\n")
        assert "no plan" not in told and "valve 4: close" in told and "valve 5" not in told
        assert boots(folder) == times


def test_a_hub_has_a_valve_for_each_of_the_larger_copy(folder: Path) -> None:
    """Before the record names a plan, either copy may come into force."""
    (folder / "plan.1").write_bytes(core.plan(1).pack())
    assert "valve 2: close" in run_hub([sys.executable], folder, "quit\n")


def test_what_is_written_is_read_back_by_another(folder: Path) -> None:
    ports = DesktopPorts(str(folder), 2, 1, lambda _: None)
    Runner(ports).turn()
    other = DesktopPorts(str(folder), 2, 1, lambda _: None)
    assert other.read(PLAN, 0) == (folder / "plan.0").read_bytes()
    assert other.read(RECORD, 0) or other.read(RECORD, 1)
    assert other.read(PLAN, 1) == b""
