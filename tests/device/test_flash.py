"""Copying a bundle: over a pseudo-terminal to MicroPython's unix build, and what a cut leaves."""

import json
import os
import pty
import select
import subprocess
import sys
import threading
import tty
from collections.abc import Iterator
from pathlib import Path

import pytest
from typer.testing import CliRunner

from evenclay.tools.board import bundle as bundles
from evenclay.tools.board import flash
from evenclay.tools.board.pin_map import DeviceError
from evenclay.tools.cli import commands as cli
from tests import core

# Stands in for a hub that runs: Ctrl-C restarts the board, as in boards/common.py.
BUSY = 'import sys\nwhile sys.stdin.read(1) != "\\x03":\n    pass\nprint("service")\n'
MACHINE = "import sys\n\n\ndef reset():\n    sys.exit()\n"


class Wire:
    """A serial port whose far end is a process; when that ends, the next of `boots` is started."""

    def __init__(self, boots: list[list[str]], folder: Path) -> None:
        (folder.parent / "port").mkdir()
        (folder.parent / "port" / "machine.py").write_text(MACHINE)
        self.told = b""  # all that the far end said
        self._tells = threading.Condition()
        self._boots = boots
        self._folder = folder
        self._host, self._host_end = pty.openpty()
        self._device, self._device_end = pty.openpty()
        for end in (self._host_end, self._device_end):
            tty.setraw(end)
        self.port = os.ttyname(self._host_end)
        self._quits = False
        self.ended = 0
        self._thread = threading.Thread(target=self._carry)
        self._thread.start()

    def _boot(self) -> "subprocess.Popen[bytes]":
        return subprocess.Popen(
            self._boots[min(self.ended, len(self._boots) - 1)],
            stdin=self._device_end,
            stdout=self._device_end,
            stderr=self._device_end,
            cwd=self._folder,
            env={**os.environ, "MICROPYPATH": f":.frozen:{self._folder.parent / 'port'}"},
        )

    def _carry(self) -> None:
        process = self._boot()
        while not self._quits:
            for ready in select.select([self._host, self._device], [], [], 0.05)[0]:
                data = os.read(ready, 4096)
                if ready == self._device:
                    with self._tells:
                        self.told += data
                        self._tells.notify_all()
                os.write(self._host if ready == self._device else self._device, data)
            if process.poll() is not None:
                self.ended += 1
                process = self._boot()
        process.kill()
        process.wait()
        for end in (self._host, self._host_end, self._device, self._device_end):
            os.close(end)

    def wait_for(self, text: bytes) -> None:
        """Wait until the far end has said something."""
        with self._tells:
            self._tells.wait_for(lambda: text in self.told)

    def close(self) -> None:
        self._quits = True
        self._thread.join()


@pytest.fixture(autouse=True)
def patient(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever answers at all is waited for, however busy the machine is."""
    monkeypatch.setattr(flash, "SETTLE_S", 60.0)


@pytest.fixture
def bundle(tmp_path: Path) -> Path:
    plan = core.plan(2)
    folder = tmp_path / "bundle"
    folder.mkdir()
    bundles.write(bundles.make(bundles.find("desktop"), plan), plan, folder)
    return folder


@pytest.fixture
def device(tmp_path: Path) -> Path:
    """A device folder with an older hub on it, and files that are none of the hub's."""
    folder = tmp_path / "device"
    for path, text in {
        "main.py": "print('old')",
        "boot.py": "",
        "controller/hub.py": "raise SystemError('stale')",
        "controller/meter/__init__.py": "raise SystemError('stale')",
        "boards/old_board/pins.mpy": "stale",
        "hub/plan.1": "an older plan",
        "hub/record.0": "kept",
        "lib/own.py": "kept",
    }.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_text(text)
    return folder


@pytest.fixture
def wire(device: Path, micropython: Path) -> Iterator[Wire]:
    """A hub that runs; then a board that waits; then one that runs what was copied."""
    (device.parent / "busy.py").write_text(BUSY)
    command = str(micropython)
    made = Wire([[command, "../busy.py"], [command], [command, "main.py"]], device)
    yield made
    made.close()


def evenclay(*arguments: str) -> tuple[int, str, str]:
    done = CliRunner().invoke(cli.app, list(arguments))
    assert done.exception is None or isinstance(done.exception, SystemExit)
    return done.exit_code, done.stdout, done.stderr


def files(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


def test_a_running_hub_is_stopped_and_replaced(bundle: Path, device: Path, wire: Wire) -> None:
    status, said, wrong = evenclay("flash", str(bundle), "--port", wire.port)
    assert (status, wrong) == (0, "")
    wire.wait_for(b"valve 2: close")  # the copied hub runs
    assert wire.told.startswith(b"service") and wire.ended == 2
    found = files(device)
    kept = {"boot.py": b"", "hub/record.0": b"kept", "lib/own.py": b"kept"}
    # What the hub that runs has written.
    written = {path for path in found if path.startswith(("hub/record.1", "hub/log/"))}
    assert {p: d for p, d in found.items() if p not in written | {"hub/record.0"}} == {
        **files(bundle / "device"),
        **{p: d for p, d in kept.items() if p != "hub/record.0"},
    }
    lines = said.splitlines()
    for path in ("controller/hub.py", "controller/meter", "boards/old_board", "hub/plan.1"):
        assert f"remove {path}" in lines
    assert lines[0].startswith("stop the hub") and lines[-1] == "restart"


def test_the_same_again_copies_nothing_but_the_start(
    bundle: Path, device: Path, micropython: Path, tmp_path: Path
) -> None:
    wire = Wire([[str(micropython)]], device)
    try:
        assert evenclay("flash", str(bundle), "--port", wire.port)[0] == 0
        status, said, _ = evenclay("flash", str(bundle), "--port", wire.port)
    finally:
        wire.close()
    assert status == 0
    assert [line for line in said.splitlines() if line.startswith("copy")] == [
        f"copy main.py: {len((bundle / 'device' / 'main.py').read_bytes())} bytes"
    ]
    assert said.count("keep ") == len(files(bundle / "device")) - 1


def test_a_mip_package_installs(
    bundle: Path, tmp_path: Path, micropython: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "empty"
    folder.mkdir()
    wire = Wire([[str(micropython)]], folder)
    try:
        install = ("resume", "mip", "install", "--target=.", "package.json")
        done = subprocess.run(
            [sys.executable, "-m", "mpremote", "connect", wire.port, *install],
            cwd=bundle,
            capture_output=True,
            text=True,
            check=False,
        )
    finally:
        wire.close()
    assert done.returncode == 0, done.stdout + done.stderr
    assert files(folder) == files(bundle / "device")


def test_a_dry_run_shows_what_an_empty_board_gets(
    bundle: Path, tmp_path: Path, micropython: Path
) -> None:
    folder = tmp_path / "empty"
    folder.mkdir()
    wire = Wire([[str(micropython)]], folder)
    try:
        _, said, _ = evenclay("flash", str(bundle), "--port", wire.port)
        before = files(folder)
        assert evenclay("flash", str(bundle), "--port", wire.port, "--dry-run") == (0, said, "")
        assert files(folder) == before
    finally:
        wire.close()
    assert said.count("copy ") == len(before)


class Cut(flash.Pretended):
    """A board with an older hub, whose cable comes off at the n-th change; or that mishears."""

    def __init__(self, changes: int, mishears: str = "") -> None:
        super().__init__()
        self.there = self._files
        self.there.update({"main.py": "old", "controller": "dir", "controller/hub.py": "old"})
        self._left = changes
        self._mishears = mishears
        self.restarted = False

    def _change(self) -> None:
        self._left -= 1
        if self._left < 0:
            raise DeviceError("cable")

    def remove(self, path: str, is_dir: bool) -> None:
        self._change()
        super().remove(path, is_dir)

    def make_dir(self, path: str) -> None:
        self._change()
        super().make_dir(path)

    def copy(self, path: str, data: bytes) -> None:
        self._change()
        super().copy(path, data + b"?" if path == self._mishears else data)

    def restart(self) -> None:
        self.restarted = True


def test_a_board_cut_off_at_any_change_runs_no_half_hub(bundle: Path) -> None:
    made = bundles.read(bundle)
    whole = {path: bundles.sha256(data) for path, data in made.files.items()}
    for changes in range(1, 1000):
        board = Cut(changes)
        try:
            flash.flash(board, made, lambda _: None)
        except DeviceError:
            assert not board.restarted and "main.py" not in board.there
            continue
        break
    assert changes > len(whole)  # it was cut before each of them
    assert {p: kind for p, kind in board.there.items() if kind != "dir"} == whole


@pytest.mark.parametrize("path", ["evenclay/controller/runner.mpy", "hub/plan.0", "main.py"])
def test_what_arrives_otherwise_is_not_started(bundle: Path, path: str) -> None:
    board = Cut(1000, mishears=path)
    with pytest.raises(DeviceError, match=path):
        flash.flash(board, bundles.read(bundle), lambda _: None)
    assert not board.restarted
    assert path == "main.py" or "main.py" not in board.there


def test_what_a_user_gets_wrong_is_one_line(bundle: Path, tmp_path: Path) -> None:
    def wrong(*arguments: str) -> str:
        status, _, told = evenclay("flash", *arguments)
        assert status == 2 and told.count("\n") == 1
        return told

    assert "failed to access" in wrong(str(bundle), "--port", str(tmp_path / "none"))
    assert "no whole bundle" in wrong(str(tmp_path))
    listing = bundle / "files.json"
    whole = listing.read_text("utf-8")
    listed = json.loads(whole)
    rest = [entry for entry in listed["files"] if entry["path"] != "main.py"]
    damaged: list[object] = [{**listed, "files": rest}, {**listed, "hub": 5}, [], {"files": [1]}]
    for changed in damaged:
        listing.write_text(json.dumps(changed), "utf-8")
        assert "no whole bundle" in wrong(str(bundle), "--dry-run")
    listing.write_text(whole, "utf-8")
    (bundle / "device" / "main.py").write_text("changed")
    assert "main.py is not as it was bundled" in wrong(str(bundle), "--dry-run")


def test_a_port_where_nothing_answers_is_one_line(
    bundle: Path, device: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(flash, "SETTLE_S", 0.2)
    wire = Wire([["sleep", "60"]], device)
    try:
        status, _, told = evenclay("flash", str(bundle), "--port", wire.port)
    finally:
        wire.close()
    assert status == 2 and "no MicroPython answers" in told and told.count("\n") == 1
