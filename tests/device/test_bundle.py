"""A bundle of each board: whole, the same each time, and importable by MicroPython."""

import json
import os
import subprocess
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from controller.plan import unpack
from tests import core
from tools import bundle as bundles
from tools import cli

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "sim" / "demo" / "property.toml"
BOARDS = bundles.board_names()
FAKE_PORTS = {"rp2_pico_w": "rp2", "esp32": "esp32", "template": "esp32", "desktop": None}
# Imports every module of a bundle, on the stand-in for a board's hardware.
IMPORTS = """
import sys
port = %r
if port:
    import fake_machine
    fake_machine.power_on(port)
for name in %r:
    __import__(name)
    module = sys.modules[name]
    assert module.__file__.endswith(".mpy"), module.__file__
    print(name)
"""


def make(board: str, out: Path) -> Path:
    """A bundle with a plan of two zones."""
    plan = core.plan(2)
    out.mkdir()
    bundles.write(bundles.make(board, plan), plan, out)
    return out


def files(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def evenclay(*arguments: str) -> tuple[int, str, str]:
    done = CliRunner().invoke(cli.app, list(arguments))
    assert done.exception is None or isinstance(done.exception, SystemExit)
    return done.exit_code, done.stdout, done.stderr


def test_every_board_is_found() -> None:
    assert set(BOARDS) >= {"desktop", "esp32", "rp2_pico_w", "template"}


@pytest.mark.parametrize("board", BOARDS)
def test_every_module_of_a_bundle_imports(board: str, tmp_path: Path, micropython: Path) -> None:
    device = make(board, tmp_path / "out") / "device"
    modules = [
        path.removesuffix(".mpy").removesuffix("/__init__").replace("/", ".")
        for path in files(device)
        if path.endswith(".mpy")
    ]
    if board == bundles.DESKTOP:
        modules.remove("boards.common")  # for boards with a `machine`
    assert len(modules) >= 20 and f"boards.{board}.main" in modules
    script = IMPORTS % (FAKE_PORTS[board], modules)
    done = subprocess.run(
        [micropython, "-c", script],
        cwd=device,
        env={**os.environ, "MICROPYPATH": f":.frozen:{ROOT / 'tests' / 'device'}"},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.split() == modules


@pytest.mark.parametrize("board", BOARDS)
def test_the_same_sources_give_the_same_bytes(board: str, tmp_path: Path) -> None:
    first, second = make(board, tmp_path / "first"), make(board, tmp_path / "second")
    assert files(first) == files(second)


@pytest.mark.parametrize("board", BOARDS)
def test_lists_name_every_file(board: str, tmp_path: Path) -> None:
    out = make(board, tmp_path / "out")
    device = files(out / "device")
    listed = json.loads((out / "files.json").read_text("utf-8"))
    assert {entry["path"]: entry["bytes"] for entry in listed["files"]} == {
        path: len(data) for path, data in device.items()
    }
    assert [entry["sha256"] for entry in listed["files"]] == [
        bundles.sha256(data) for data in device.values()
    ]
    package = json.loads((out / "package.json").read_text("utf-8"))
    assert package == {"urls": [[path, f"device/{path}"] for path in device]}
    assert bundles.read(out) == bundles.Bundle(board, "hub", device)
    assert unpack(device["hub/plan.0"]).crc == core.plan(2).crc
    core_files = {f"controller/{p.stem}.mpy" for p in (ROOT / "controller").glob("*.py")}
    drivers = {f"boards/drivers/{p.stem}.mpy" for p in (ROOT / "boards" / "drivers").glob("*.py")}
    assert core_files | drivers | {f"boards/{board}/main.mpy", "main.py"} <= set(device)
    assert [path for path in device if path.endswith(".py")] == ["main.py"]


@pytest.mark.parametrize("board", BOARDS)
def test_the_manifest_freezes_all_but_the_plan(board: str, tmp_path: Path) -> None:
    """By the names and arguments of MicroPython's own tools/manifestfile.py."""
    out = make(board, tmp_path / "out")
    frozen: list[str] = []
    included: list[str] = []

    def freeze_mpy(path: str, script: Any = None, opt: Any = None) -> None:
        frozen.extend(p for p in files(out / path) if p.endswith(".mpy"))

    def module(module_path: str, base_path: str = ".", opt: Any = None) -> None:
        assert (out / base_path / module_path).exists()
        frozen.append(module_path)

    names = {"include": included.append, "freeze_mpy": freeze_mpy, "module": module}
    exec((out / "manifest.py").read_text("utf-8"), names)
    assert sorted(frozen) == sorted(set(files(out / "device")) - {"hub/plan.0"})
    assert len(included) == 1 and included[0].startswith("$(PORT_DIR)/")


def test_frozen_modules_are_found_by_the_name_in_the_file(tmp_path: Path) -> None:
    device = files(make("esp32", tmp_path / "out") / "device")
    for path, data in device.items():
        if path.endswith(".mpy"):
            assert data[0:2] == b"M\x06"  # bytecode of version 6
            assert data[2] == 0 and data[3] == 31  # of no architecture; small ints of 31 bits
            assert path.replace(".mpy", ".py").encode() in data


FAILS = """from far import (
    FAR,
)
from controller._const import const

NEAR = const(
    2
)


def fail(x):
    # Some lines further down.
    return [
        1,
        x // (FAR - NEAR * 5),
    ]


fail(1)
"""


def test_a_traceback_names_the_line_of_the_source(
    micropython: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    texts = {"fails.py": FAILS, "far.py": "from controller._const import const\nFAR = const(10)\n"}
    for name, text in texts.items():
        (tmp_path / name).write_text(text)
    monkeypatch.setattr(bundles, "ROOT", tmp_path)
    compiled = tmp_path / "compiled"
    compiled.mkdir()
    for path, data in bundles.compile_all(tmp_path / name for name in texts).items():
        (compiled / path).write_bytes(data)
    told = []
    for folder in (tmp_path, compiled):
        done = subprocess.run(
            [micropython, "-c", "import fails"],
            cwd=folder,
            env={**os.environ, "MICROPYPATH": f":{ROOT}"},
            capture_output=True,
            text=True,
            check=False,
        )
        told.append(done.stdout + done.stderr)
    assert 'File "fails.py", line 15, in fail\nZeroDivisionError' in told[0]
    assert told[1] == told[0]


@pytest.mark.parametrize("command", ["bundle", "flash"])
def test_help_shows_an_example(command: str) -> None:
    status, said, _ = evenclay(command, "--help")
    assert status == 0 and f"evenclay {command} " in said.partition("Example")[2]


def test_the_command_writes_a_bundle_over_an_older_one(tmp_path: Path) -> None:
    out = tmp_path / "new" / "bundle"
    arguments = ("bundle", "--board", "desktop", str(DEMO), "--out", str(out))
    status, said, wrong = evenclay(*arguments)
    assert (status, wrong) == (0, "")
    assert "cd device && micropython main.py" in said
    before = files(out)
    (out / "device" / "controller" / "stale.mpy").write_bytes(b"")
    assert evenclay(*arguments)[0] == 0
    assert files(out) == before
    assert len(unpack(before["device/hub/plan.0"]).zones) == 4


def test_next_steps_name_the_folder_of_the_plan(tmp_path: Path) -> None:
    text = (make("rp2_pico_w", tmp_path / "out") / "next.txt").read_text("utf-8")
    assert "evenclay flash . --dry-run" in text
    assert "device/hub/plan.0 is then copied to /hub:" in text


def test_what_a_user_gets_wrong_is_one_line(tmp_path: Path) -> None:
    def wrong(*arguments: str) -> str:
        status, _, told = evenclay("bundle", *arguments)
        assert status == 2 and told.count("\n") == 1
        return told

    out = str(tmp_path / "out")
    assert "allowed desktop, esp32" in wrong("--board", "drivers", str(DEMO), "--out", out)
    assert "found 3 VALVES" in wrong("--board", "esp32", str(DEMO), "--out", out)
    assert not Path(out).exists()
    (tmp_path / "mine.txt").write_text("mine")
    assert "other files" in wrong("--board", "desktop", str(DEMO), "--out", str(tmp_path))
    assert files(tmp_path) == {"mine.txt": b"mine"}


def test_what_does_not_compile_is_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bundles, "ROOT", tmp_path)
    broken = tmp_path / "pins.py"
    for text in ("def f(a, /):\n    return a\n", "VALVES = (1,\n"):  # no MicroPython; no Python
        broken.write_text(text)
        with pytest.raises(bundles.DeviceError, match=r"^[^\n]*pins.py[^\n]*SyntaxError[^\n]*$"):
            bundles.compile_all([broken])
    with pytest.raises(bundles.DeviceError, match=r"^pins.py: [^\n]*$"):
        bundles._pin_map(broken)
    for text, told in (
        ("VALVES = range(4)", "malformed"),
        ("FOLDER = '/hub'", "no VALVES"),
        ("VALVES = (1,)\nFOLDER = '/'", "FOLDER: allowed"),
    ):
        broken.write_text(text)
        with pytest.raises(bundles.DeviceError, match=f"pins.py: .*{told}"):
            bundles._pin_map(broken)
