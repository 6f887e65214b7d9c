"""The conformance kit's pytest face, on the desktop's ports in simulated time.

To prove ports of your own: copy `desktop_rig` and the first test, and make your own rig. The same
kit runs on the template board, and on boards with planted defects, in `drivers/conformance.py`.
"""

import os
import re
import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING

import pytest

from evenclay.boards import conformance, port_checks
from evenclay.boards.desktop import ports as desktop
from evenclay.boards.desktop import rig as desktop_module
from evenclay.boards.port_checks import NOON_S
from evenclay.boards.rigs import NotShown
from evenclay.controller.ports import PLAN, RECORD
from evenclay.controller.words import WHAT, WHY

if TYPE_CHECKING:
    from evenclay.controller.ports import Ports

from tests.device.board import SOURCES

ROOT = Path(__file__).parents[2]
CHECKS = port_checks.checks()
# A desktop turns no valve, has no sensor and no watchdog, and its clock is not the hub's.
NOT_SHOWN = {
    "clock",
    "closed_at_boot",
    "deadline",
    "failing_clock",
    "failing_driver_is_reported",
    "failing_sensors",
    "leak",
    "moving_sensors",
    "valves",
    "watchdog",
}


class Torn(BaseException):
    """Power went in a write."""


class Rig(desktop_module.Rig):
    """The desktop's rig, with a machine clock and a file system that can be tampered with."""

    def __init__(self) -> None:
        super().__init__()
        self.now_s = 1000
        self.clock_s = 0
        self.made: desktop.DesktopPorts | None = None
        self.time = SimpleNamespace(
            time=lambda: 1782907200.0 - 1000 + self.now_s + self.clock_s,
            monotonic_ns=lambda: self.now_s * 1000000000,
        )

    def boot(self, power_cut: bool) -> "Ports":
        made = super().boot(power_cut)
        assert isinstance(made, desktop.DesktopPorts)
        self.made = made
        return made

    def wait(self, seconds: int) -> None:
        self.now_s += seconds

    def utc_s(self) -> int:
        return NOON_S - 1000 + self.now_s

    def step_clock(self, seconds: int) -> None:
        self.clock_s += seconds

    def fail(self, what: str, valve: int) -> None:
        if what != "write":
            raise NotShown("fail " + what)

        def full(*_: object) -> None:
            raise OSError("no space left")

        self._store_writes(full)

    def cut_in_write(self, size: int) -> None:
        def torn(slot: int, copy: int, data: bytes) -> None:
            name = "plan" if slot == PLAN else "record"
            Path(f"{desktop_module.FOLDER}/{name}.{copy}").write_bytes(data[:size])
            raise Torn

        self._store_writes(torn)

    def _store_writes(self, write: object) -> None:
        assert self.made is not None
        self.made._store.write = write  # type: ignore[method-assign, assignment]


@pytest.fixture
def desktop_rig(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Rig:
    monkeypatch.chdir(tmp_path)
    rig = Rig()
    monkeypatch.setattr(desktop, "time", rig.time)
    return rig


def failed(rig: Rig) -> list[str]:
    """Names of the checks that a rig fails."""
    return [name for name, check in CHECKS if conformance.judge(check, rig)[0] is False]


@pytest.mark.parametrize(("name", "check"), CHECKS, ids=[name for name, _ in CHECKS])
def test_desktop_conforms(name: str, check: "port_checks.Check", desktop_rig: Rig) -> None:
    passed, told = conformance.judge(check, desktop_rig)
    if name in NOT_SHOWN:
        assert passed is None and told
    else:
        assert passed is True, told


def test_uptime_taken_from_the_machine_clock_is_caught(
    desktop_rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(desktop, "now_ms", lambda: int(desktop_rig.time.time() * 1000))
    check = dict(CHECKS)["uptime_and_a_stepped_clock"]
    passed, told = conformance.judge(check, desktop_rig)
    assert passed is False and "uptime moved by -86400 s" in told


def test_a_clock_thirty_years_ahead_is_caught(
    desktop_rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It counts from 1970 where the core counts from 2000, and nobody can set it."""
    monkeypatch.setattr(desktop, "EPOCH_S", 0)
    assert failed(desktop_rig) == ["set_clock"]


def test_a_clock_that_cannot_be_set_nor_compared_is_not_shown(
    desktop_rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    def unknown() -> int:
        raise NotShown("utc_s")

    monkeypatch.setattr(desktop_rig, "utc_s", unknown)
    assert conformance.judge(dict(CHECKS)["set_clock"], desktop_rig) == (None, "utc_s")


def test_the_rig_of_the_desktop_reads_the_true_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    rig = desktop_module.Rig()
    for at_s in (0.0, 1782907200.0, 1835484799.0):
        told = SimpleNamespace(gmtime=lambda at_s=at_s: time.gmtime(at_s))
        monkeypatch.setattr(desktop_module, "time", told)
        assert rig.utc_s() == at_s - 946684800


def test_verdicts_come_last_and_few_events_before_them(desktop_rig: Rig) -> None:
    said: list[str] = []
    assert conformance.prove(desktop_rig, said.append)
    assert said[: len(CHECKS)] == [f"begins    {name}" for name, _ in CHECKS]
    verdicts = said[len(CHECKS) : -1]
    assert [re.split(r" +", line.rstrip())[0] for line in verdicts] == [
        "not" if name in NOT_SHOWN else "ok" for name, _ in CHECKS
    ]
    assert said[-1].startswith(f"{len(CHECKS) - len(NOT_SHOWN)} ok, 0 failed, ")
    port_checks.check_report(desktop_rig)
    assert desktop_rig.made is not None
    events = desktop_rig.made.heard()
    assert {WHAT[event[0]] for event in events} == set(WHAT)
    assert {WHY[event[2]] for event in events} == set(WHY)
    assert len(events) < 60


def test_plan_and_record_are_put_back(desktop_rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(desktop_rig, "leave", lambda: None)  # else nothing is left to look at
    ports = desktop_rig.boot(False)
    places = [(slot, copy) for slot in (PLAN, RECORD) for copy in (0, 1)]
    for slot, copy in places:
        ports.write(slot, copy, b"mine %d %d" % (slot, copy))
    said: list[str] = []
    conformance.prove(desktop_rig, said.append)
    for slot, copy in places:
        assert desktop_rig.boot(False).read(slot, copy) == b"mine %d %d" % (slot, copy)
    assert not any("put back" in line for line in said)

    def full(*_: object) -> None:
        raise OSError("no space left")

    monkeypatch.setattr(desktop.DesktopPorts, "write", full)
    conformance.prove(desktop_rig, said.append)
    assert any("could not be put back" in line for line in said)


class Quit(BaseException):
    """Somebody breaks it off."""


def test_the_desktop_s_folder_is_gone_however_it_ends(
    desktop_rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert conformance.prove(desktop_rig, lambda _: None)
    assert os.listdir() == []
    monkeypatch.setattr(desktop, "EPOCH_S", 0)
    assert not conformance.prove(desktop_rig, lambda _: None)
    assert os.listdir() == []

    def quit_at_first(_said: str) -> None:
        assert os.listdir() == [desktop_module.FOLDER]
        raise Quit

    with pytest.raises(Quit):
        conformance.prove(desktop_rig, quit_at_first)
    assert os.listdir() == []

    def refused(_folder: str) -> None:
        raise PermissionError

    monkeypatch.setattr(os, "mkdir", refused)
    assert not conformance.prove(desktop_rig, lambda _: None)


def test_a_store_that_forgets_the_other_copy_is_caught(
    desktop_rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = desktop_rig.cut_in_write

    def both(size: int) -> None:
        real(size)
        for copy in (0, 1):
            Path(f"{desktop_module.FOLDER}/record.{copy}").write_bytes(b"")

    monkeypatch.setattr(desktop_rig, "cut_in_write", both)
    passed, told = conformance.judge(dict(CHECKS)["torn_write"], desktop_rig)
    assert passed is False and "lost after a torn write" in told


RIG = """
from evenclay.boards.rigs import Rig as Base
from evenclay.boards.desktop import ports as desktop

desktop.now_ms = lambda: 5000

class Rig(Base):
    def boot(self, power_cut):
        ports = desktop.DesktopPorts(".", self.zones, self.supplies, lambda line: None)
        {defect}
        return ports
"""


@pytest.mark.parametrize(
    ("defect", "status", "last"),
    [
        ("pass", 0, r"\d+ ok, 0 failed, 1\d not shown, on {}"),
        (
            "ports.take_asked = lambda: [(4, -1, 0)]",
            1,
            r"\d+ ok, [1-9] failed, \d+ not shown, on {}",
        ),
    ],
    ids=["sound", "defect"],
)
@pytest.mark.parametrize("interpreter", ["cpython", "micropython"])
def test_the_command(
    defect: str, status: int, last: str, interpreter: str, micropython: Path, tmp_path: Path
) -> None:
    (tmp_path / "my_rig.py").write_text(RIG.format(defect=defect), encoding="ascii")
    command = sys.executable if interpreter == "cpython" else str(micropython)
    path = f"{tmp_path}:{SOURCES}:.frozen"
    done = subprocess.run(
        [command, "-m", "evenclay.boards.conformance", "my_rig"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": path, "MICROPYPATH": path},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == status, done.stdout + done.stderr
    assert re.match(last.format(interpreter), done.stdout.splitlines()[-1])


def test_no_rig_is_one_clear_line(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "evenclay.boards.conformance", "nothing_here"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    assert done.stdout.count("\n") == 1 and "no rig" in done.stdout
