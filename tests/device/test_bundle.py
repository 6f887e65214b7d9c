"""A bundle of each board: whole, the same each time, and importable by MicroPython."""

import json
import os
import re
import shutil
import subprocess
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from evenclay.boards.desktop.core import core_version
from evenclay.controller.plan import unpack
from evenclay.tools.board import bundle as bundles
from evenclay.tools.board.pin_map import DeviceError
from evenclay.tools.cli import commands as cli
from tests import core
from tests.device.board import HEAP, SOURCES

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "sim" / "demo" / "property.toml"
BOARDS = bundles.board_names()
# Imports every module of a bundle, on the stand-in for a board's hardware.
IMPORTS = """
import sys
if %r:
    import fake_machine
    fake_machine.power_on()  # of any port: nothing is touched by an import
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
    bundles.write(bundles.make(bundles.find(board), plan), plan, out)
    return out


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """Give the bundle of a board, which all tests share and none changes."""
    return cache(lambda board: make(board, tmp_path_factory.mktemp(board) / "out"))


def own_module(board: str) -> str:
    """What a board has to have."""
    return "main" if board == bundles.DESKTOP else "pins"


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
def test_every_module_of_a_bundle_imports(
    board: str, made: Callable[[str], Path], micropython: Path
) -> None:
    device = made(board) / "device"
    modules = [
        path.removesuffix(".mpy").removesuffix("/__init__").replace("/", ".")
        for path in files(device)
        if path.endswith(".mpy")
    ]
    if board == bundles.DESKTOP:
        for name in ("common", "ports"):  # for boards with a `machine`
            modules.remove(f"evenclay.boards.{name}")
    assert len(modules) >= 20 and f"evenclay.boards.{board}.{own_module(board)}" in modules
    script = IMPORTS % (board != bundles.DESKTOP, modules)
    done = subprocess.run(
        [micropython, "-c", script],
        cwd=device,
        env={**os.environ, "MICROPYPATH": f":.frozen:{ROOT / 'tests' / 'device'}"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.split() == modules


@pytest.mark.parametrize("board", BOARDS)
def test_the_same_sources_give_the_same_bytes(
    board: str, made: Callable[[str], Path], tmp_path: Path
) -> None:
    assert files(made(board)) == files(make(board, tmp_path / "second"))


@pytest.mark.parametrize("board", BOARDS)
def test_lists_name_every_file(board: str, made: Callable[[str], Path]) -> None:
    out = made(board)
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
    core_files = {f"evenclay/controller/{p.stem}.mpy" for p in (ROOT / "controller").glob("*.py")}
    drivers = {
        f"evenclay/boards/drivers/{p.stem}.mpy" for p in (ROOT / "boards" / "drivers").glob("*.py")
    }
    own = f"evenclay/boards/{board}/{own_module(board)}.mpy"
    assert core_files | drivers | {own, "main.py"} <= set(device)
    assert [path for path in device if path.endswith(".py")] == ["main.py"]


@pytest.mark.parametrize("board", BOARDS)
def test_the_manifest_freezes_all_but_the_plan(board: str, made: Callable[[str], Path]) -> None:
    """By the names and arguments of MicroPython's own tools/manifestfile.py."""
    out = made(board)
    frozen: list[str] = []
    included: list[str] = []

    def freeze_mpy(path: str, script: Any = None, opt: Any = None) -> None:
        frozen.extend(p for p in files(out / path) if p.endswith(".mpy"))

    def module(module_path: str, base_path: str = ".", opt: Any = None) -> None:
        assert (out / base_path / module_path).exists()
        frozen.append(module_path)

    names = {"include": included.append, "freeze_mpy": freeze_mpy, "module": module}
    exec((out / "manifest.py").read_text("utf-8"), names)
    assert sorted(frozen) == sorted(set(files(out / "device")) - {"hub/plan.0", "hub/words"})
    assert len(included) == 1 and included[0].startswith("$(PORT_DIR)/")


def test_frozen_modules_are_found_by_the_name_in_the_file(made: Callable[[str], Path]) -> None:
    device = files(made("esp32") / "device")
    for path, data in device.items():
        if path.endswith(".mpy"):
            assert data[0:2] == b"M\x06"  # bytecode of version 6
            assert data[2] == 0 and data[3] == 31  # of no architecture; small ints of 31 bits
            assert path.replace(".mpy", ".py").encode() in data


FAILS = """from far import (
    FAR,
)
from evenclay.controller import const

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


def test_a_traceback_names_the_line_of_the_source(micropython: Path, tmp_path: Path) -> None:
    texts = {
        "fails.py": FAILS,
        "far.py": "from evenclay.controller import const\nFAR = const(10)\n",
    }
    for name, text in texts.items():
        (tmp_path / name).write_text(text)
    compiled = tmp_path / "compiled"
    compiled.mkdir()
    for path, data in bundles.compile_all(texts).items():
        (compiled / path).write_bytes(data)
    told = []
    for folder in (tmp_path, compiled):
        done = subprocess.run(
            [micropython, "-c", "import fails"],
            cwd=folder,
            env={**os.environ, "MICROPYPATH": f":{SOURCES}"},
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
    (out / "device" / "evenclay" / "controller" / "stale.mpy").write_bytes(b"")
    (out / "device" / "hub" / "plan.1").write_bytes(b"a plan that came over the hub itself")
    assert evenclay(*arguments)[0] == 0
    assert files(out) == before
    (out / "device" / "hub" / "log").mkdir()
    for name in ("record.0", "note.0", "log/7"):  # of a hub that ran there
        (out / "device" / "hub" / name).write_bytes(b"of the hub")
    assert evenclay(*arguments)[0] == 0
    kept = {f"device/hub/{name}": b"of the hub" for name in ("record.0", "note.0", "log/7")}
    assert files(out) == before | kept
    assert len(unpack(before["device/hub/plan.0"]).zones) == 4


def test_next_steps_name_the_folder_of_the_plan_and_its_gap(made: Callable[[str], Path]) -> None:
    text = (made("rp2_pico_w") / "next.txt").read_text("utf-8")
    assert "evenclay flash . --dry-run" in text
    assert "device/hub/ is then copied to /hub:" in text
    assert "more than 30 s after the start" in text  # the demo's gap; at 30 s it is still refused


def test_next_steps_begin_with_what_finds_the_commands(made: Callable[[str], Path]) -> None:
    """The first line to type puts the commands on the PATH, so that the others are found."""
    for board in ("rp2_pico_w", "desktop"):
        text = (made(board) / "next.txt").read_text("utf-8")
        lines = [line.strip() for line in text.splitlines() if line.startswith("    ")]
        assert lines[0].startswith("export PATH=")
        commands = set(re.findall(r"evenclay|mpremote|micropython", " ".join(lines[1:])))
        assert commands
        for command in commands:
            done = subprocess.run(
                ["sh", "-c", f"{lines[0]} && command -v {command}"],
                capture_output=True,
                text=True,
                check=False,
            )
            assert done.returncode == 0, command


def wrong(*arguments: str) -> list[str]:
    """The lines that a command refused with."""
    status, said, told = evenclay("bundle", *arguments)
    assert (status, said) == (2, "")
    return told.splitlines()


def test_what_a_user_gets_wrong_is_one_line(tmp_path: Path) -> None:
    out = str(tmp_path / "out")
    (told,) = wrong("--board", "drivers", str(DEMO), "--out", out)
    assert "allowed desktop, esp32" in told and "or a folder with a pins.py" in told
    assert not Path(out).exists()
    (tmp_path / "mine.txt").write_text("mine")
    (told,) = wrong("--board", "desktop", str(DEMO), "--out", str(tmp_path))
    assert "other files" in told
    assert files(tmp_path) == {"mine.txt": b"mine"}


def test_what_does_not_compile_is_one_line() -> None:
    for text in ("def f(a, /):\n    return a\n", "VALVES = (1,\n"):  # no MicroPython; no Python
        with pytest.raises(DeviceError, match=r"^[^\n]*pins.py[^\n]*SyntaxError[^\n]*$"):
            bundles.compile_all({"pins.py": text})


# A board outside the package.


@pytest.fixture
def my_hub(tmp_path: Path) -> Path:
    """The template, copied as the guide says, and given to pins of its own."""
    folder = tmp_path / "anywhere" / "my_hub"
    shutil.copytree(ROOT / "boards" / "template", folder)
    pins = folder / "pins.py"
    text = pins.read_text("utf-8").replace("VALVES = (16, 17)", "VALVES = (21, (22, 23))")
    pins.write_text(text, "utf-8")
    return folder


def test_a_board_without_a_log_gets_nothing_of_it(my_hub: Path) -> None:
    pins = my_hub / "pins.py"
    text = pins.read_text("utf-8")
    logs = {f"evenclay/boards/log/{p.name}" for p in (ROOT / "boards" / "log").glob("*.py")}
    assert len(logs) == 4 and logs <= set(bundles.sources(bundles.find(str(my_hub))))
    pins.write_text(text.replace("LOG_BYTES = 65536", "LOG_BYTES = 0"), "utf-8")
    assert not logs & set(bundles.sources(bundles.find(str(my_hub))))
    pins.write_text(text.replace("LOG_BYTES = 65536", "LOG_BYTES = 99"), "utf-8")
    with pytest.raises(DeviceError, match="LOG_BYTES: found 99, allowed 0 for no log, or a whole"):
        bundles.find(str(my_hub))


def test_the_start_names_the_version_of_the_core(my_hub: Path) -> None:
    core_crc = core_version()
    made = bundles.make(bundles.find(str(my_hub)), core.plan(2))
    assert f"run(pins, core=0x{core_crc:08x})\n".encode() in made.files["main.py"]


SMALL = """
[site]
name = "small"
timezone = "America/Chicago"
latitude = 32
[supplies.tap]
[[seasons]]
from = "03-01"
cycles = 1
minutes = 10
window = "20:00-22:00"
"""
ZONE = """
[zones.%s]
supply = "%s"
side = "west"
length = 20
valve = "%s"
hose = { kind = "porous", flow = 4, pressure = 75 }
"""
TWO = SMALL + ZONE % ("a", "tap", "held") + ZONE % ("b", "tap", "latching")


def written(tmp_path: Path, text: str) -> str:
    file = tmp_path / "house.toml"
    file.write_text(text, "utf-8")
    return str(file)


def test_a_board_may_lie_anywhere(my_hub: Path, tmp_path: Path, micropython: Path) -> None:
    out = tmp_path / "out"
    house = written(tmp_path, TWO)
    status, _, told = evenclay("bundle", "--board", str(my_hub), house, "--out", str(out))
    assert (status, told) == (0, "")
    assert {"evenclay/boards/my_hub/pins.mpy", "main.py", "hub/plan.0"} <= set(
        files(out / "device")
    )
    ran = booted(out / "device", "my_hub", "esp32", micropython, 130)
    assert {zone for zone, _, _ in ran["runs"]} == {0, 1}


def test_a_folder_that_cannot_be_a_board_is_one_line(my_hub: Path, tmp_path: Path) -> None:
    house, out = written(tmp_path, TWO), str(tmp_path / "out")
    for name in ("my-hub", "drivers", "common", "class", "2nd"):
        (told,) = wrong("--board", str(my_hub.rename(my_hub.parent / name)), house, "--out", out)
        assert f"found a folder called {name}, allowed letters, digits and _" in told
        (my_hub.parent / name).rename(my_hub)
    (my_hub / "part.py").write_bytes(b"# \xff")
    (told,) = wrong("--board", str(my_hub), house, "--out", out)
    assert "part.py: found bytes that are not UTF-8" in told
    assert not Path(out).exists()


# What is bundled runs.


def booted(device: Path, board: str, port: str, micropython: Path, minutes: int) -> dict[str, Any]:
    """Boot a bundle from its own files, and let it run from 19:50 of an evening of July."""
    done = subprocess.run(
        [micropython, *HEAP, "-m", "fake_machine.bundled_day", board, port, str(minutes)],
        cwd=device,
        stdin=subprocess.DEVNULL,
        env={**os.environ, "MICROPYPATH": f"{device}:.frozen:{ROOT / 'tests' / 'device'}"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr
    found: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    found["alarms"] = [line for line in done.stdout.splitlines() if "ALARM" in line]
    return found


# Probes that a board has no pin for: each converter has so many inputs.
LACKS = {
    ("rp2_pico_w", "rp2"): ("probe.north", "probe.front"),
    ("esp32", "esp32"): ("probe.east", "probe.north", "probe.front"),
}


@pytest.mark.parametrize(
    ("board", "port"),
    [("rp2_pico_w", "rp2"), pytest.param("esp32", "esp32", marks=pytest.mark.slow)],
)
def test_the_demo_waters_both_spigots_for_a_night(
    board: str, port: str, tmp_path: Path, micropython: Path
) -> None:
    """A short one over midnight: each hour takes a second or two."""
    out = tmp_path / "out"
    # Each run is the table's: a hub that reckons would begin with strips that lack nothing.
    text = DEMO.read_text("utf-8").replace("[estimate]\n", '[estimate]\nestimate = "off"\n')
    text = text.replace('window = "20:00-10:00"', 'window = "20:00-01:00"')
    arguments = ["--board", board, str(written(tmp_path, text)), "--out", str(out)]
    told = wrong(*arguments)
    assert [line.split("--without ")[1] for line in told] == list(LACKS[board, port])
    assert not out.exists()
    for part in LACKS[board, port]:
        arguments += ["--without", part]
    assert evenclay("bundle", *arguments)[0] == 0
    ran = booted(out / "device", board, port, micropython, 315)
    assert ran["faults"] == [] and ran["open"] == []
    # July: three cycles a night of 17 minutes, by each zone's share; the last has the other spigot.
    plan = unpack((out / "device" / "hub" / "plan.0").read_bytes())
    assert [part.supply for part in plan.zones] == [0, 0, 0, 1]
    for zone, watered in enumerate(plan.zones):
        took_s = [took for number, _, took in ran["runs"] if number == zone]
        assert len(took_s) == 3, (zone, ran["runs"])
        wanted_s = 17 * 60 * watered.share_pct / 100
        assert all(abs(took - wanted_s) <= 4 for took in took_s)
    assert ran["alarms"] == []


FOUR_SPIGOTS = SMALL.replace("[supplies.tap]", "".join(f"[supplies.t{n}]\n" for n in range(4)))


@pytest.mark.parametrize("board", ["rp2_pico_w", "esp32"])
def test_four_spigots_on_a_map_of_two_are_refused(board: str, tmp_path: Path) -> None:
    text = FOUR_SPIGOTS + "".join(ZONE % (f"z{n}", f"t{n}", "latching") for n in range(4))
    house, out = written(tmp_path, text), tmp_path / "out"
    (told,) = wrong("--board", board, house, "--out", str(out))
    assert (
        told.startswith(f"{house}:") and "supplies.t2: found 4 supplies, allowed at most 2" in told
    )
    assert not out.exists()
