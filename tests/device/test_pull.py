"""`evenclay log` gets the log that a hub under MicroPython wrote, over a pseudo-terminal."""

import subprocess
from pathlib import Path

import pytest

from evenclay.tools.board import bundle as bundles
from evenclay.tools.board import flash
from evenclay.tools.log.items import Boot
from evenclay.tools.log.lines import read
from evenclay.tools.log.rerun import rerun
from tests import core
from tests.device.test_flash import BUSY, Wire, evenclay

PLAN = core.plan(2)


@pytest.fixture
def device(tmp_path: Path, micropython: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A device folder on which a hub has run twice and kept a log."""
    monkeypatch.setattr(flash, "SETTLE_S", 60.0)
    (tmp_path / "bundle").mkdir()
    bundles.write(bundles.make(bundles.find("desktop"), PLAN), PLAN, tmp_path / "bundle")
    folder = tmp_path / "bundle" / "device"
    for _ in range(2):
        said = subprocess.run(
            [micropython, "main.py"],
            cwd=folder,
            env={"MICROPYPATH": ":.frozen"},
            input="run 0 5 anyway\nstop\nquit\n",
            capture_output=True,
            text=True,
            check=True,
        )
        assert "valve 0: close" in said.stdout
    return folder


def test_a_log_is_pulled_and_the_hub_goes_on(
    device: Path, micropython: Path, tmp_path: Path
) -> None:
    (device.parent / "busy.py").write_text(BUSY)
    command = str(micropython)
    wire = Wire([[command, "../busy.py"], [command], [command, "main.py"]], device)
    try:
        status, said, told = evenclay("log", wire.port)
        wire.wait_for(b"valve 2: close")  # the hub runs again
    finally:
        wire.close()
    assert status == 0 and told.startswith("1 file, ") and " over 0.0" not in told
    items, plans = read(said, "hub.jsonl")
    assert set(plans) == {PLAN.crc}
    assert sum(isinstance(item, Boot) for item in items) == 2
    judged = list(rerun(items, plans))
    assert len(judged) >= 4
    assert all(one.rerun and not one.differs for one in judged)  # by CPython, of MicroPython's log


def test_a_board_without_a_log_is_one_line(micropython: Path, tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    wire = Wire([[str(micropython)]], tmp_path / "empty")
    try:
        status, said, told = evenclay("log", wire.port)
    finally:
        wire.close()
    assert (status, said) == (2, "") and told.count("\n") == 1 and "found no log" in told
