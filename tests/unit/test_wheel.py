"""The wheel: what an owner who installs it needs is in it."""

import os
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest
from packaging.requirements import Requirement

from tests import core

ROOT = Path(__file__).parents[2]
TEMPLATES = [
    path.relative_to(ROOT).as_posix()
    for folder in ("sim", "tools")
    for path in (ROOT / folder).rglob("*.j2")
]
WANTED = {
    "evenclay/py.typed",
    "evenclay/sim/demo/property.toml",
    "evenclay/sim/demo/weather.csv",
    *(f"evenclay/{path}" for path in TEMPLATES),
}
assert len(TEMPLATES) >= 9
# A board's step, by an interpreter that sees nothing but itself and the wheel.
STEP = """
import sys
sys.path.insert(0, sys.argv[1])
from evenclay.controller.hub import Hub
from evenclay.controller.plan import unpack
from evenclay.controller.ports import CLOSE, Seen
with open(sys.argv[2], "rb") as file:
    plan = unpack(file.read())
hub = Hub(plan, None)
commands = hub.step(0, None, Seen(len(plan.zones), len(plan.supplies)))
assert [command[0] for command in commands].count(CLOSE) >= len(plan.zones), commands
print("stepped")
"""
COMMAND = """
import sys
sys.path.insert(0, sys.argv.pop(1))
from evenclay.tools.cli import main
main()
"""


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> zipfile.ZipFile:
    """Built from a copy of what git keeps, or would."""
    place = tmp_path_factory.mktemp("wheel")
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        check=False,
    )
    if listed.returncode:
        pytest.skip("no git here")
    for name in listed.stdout.decode().split("\0"):
        if (ROOT / name).is_file() and not name.startswith("tests/"):
            copy = place / "source" / name
            copy.parent.mkdir(parents=True, exist_ok=True)
            copy.write_bytes((ROOT / name).read_bytes())
    options = ("--no-deps", "--no-index", "--no-build-isolation", "--disable-pip-version-check")
    command = [sys.executable, "-m", "pip", "wheel", "-q", *options, "-w", str(place)]
    subprocess.run([*command, str(place / "source")], check=True, capture_output=True)
    (made,) = place.glob("*.whl")
    return zipfile.ZipFile(made)


def test_the_demo_and_every_module_are_in_it(wheel: zipfile.ZipFile) -> None:
    names = set(wheel.namelist())
    assert names >= WANTED
    for name in ("demo/property.toml", "demo/weather.csv"):
        assert wheel.read(f"evenclay/sim/{name}") == (ROOT / "sim" / name).read_bytes()
    folders = ("boards", "controller", "sim", "tools")
    sources = [path for folder in folders for path in (ROOT / folder).rglob("*.py")]
    sources.remove(ROOT / "sim" / "demo" / "make_weather.py")  # made the demo's record, once
    assert len(sources) > 100
    assert names >= {f"evenclay/{path.relative_to(ROOT).as_posix()}" for path in sources}


def test_every_dependency_says_its_oldest_version(wheel: zipfile.ZipFile) -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    assert project["dependencies"] == []  # of the core and the boards
    desk = project["optional-dependencies"]["desk"]
    assert len(desk) > 10
    for wish in desk:
        assert ">=" in wish, wish
    (name,) = [name for name in wheel.namelist() if name.endswith("/METADATA")]
    told = [
        Requirement(line.removeprefix("Requires-Dist: "))
        for line in wheel.read(name).decode().splitlines()
        if line.startswith("Requires-Dist: ") and 'extra == "desk"' in line
    ]
    wished = [Requirement(wish) for wish in desk]
    assert sorted((one.name, str(one.specifier)) for one in told) == sorted(
        (one.name, str(one.specifier)) for one in wished
    )


def test_it_installs_one_name(wheel: zipfile.ZipFile) -> None:
    tops = {name.split("/")[0] for name in wheel.namelist()}
    assert {top for top in tops if not top.endswith(".dist-info")} == {"evenclay"}


@pytest.fixture(scope="module")
def unpacked(wheel: zipfile.ZipFile, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("unpacked")
    wheel.extractall(folder)
    return folder


def alone(script: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Run a script by an interpreter that sees no installed package."""
    command = [sys.executable, "-I", "-S", "-c", script, *arguments]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def test_the_core_steps_without_any_dependency(unpacked: Path, tmp_path: Path) -> None:
    file = tmp_path / "plan.0"
    file.write_bytes(core.plan(2).pack())
    done = alone(STEP, str(unpacked), str(file))
    assert (done.stdout, done.stderr) == ("stepped\n", "")


def test_the_command_of_the_core_alone_says_what_to_install(unpacked: Path) -> None:
    done = alone(COMMAND, str(unpacked), "check", "house.toml")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.count("\n") == 1 and "pip install 'evenclay[desk]'" in done.stderr


def test_a_users_own_file_is_typed_by_it(unpacked: Path, tmp_path: Path) -> None:
    file = tmp_path / "mine.py"
    file.write_text("from evenclay.controller.plan import unpack\nreveal_type(unpack(b''))\n")
    done = subprocess.run(
        [
            sys.executable,
            "-m",
            "mypy",
            "--strict",
            "--follow-imports=silent",  # as of an installed package, errors of its own are not told
            "--cache-dir",
            str(tmp_path / "cache"),
            str(file),
        ],
        env={**os.environ, "MYPYPATH": str(unpacked)},
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert 'Revealed type is "evenclay.controller.plan.Plan"' in done.stdout
