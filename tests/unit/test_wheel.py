"""The wheel: what an owner who installs it needs is in it."""

import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
WANTED = {"sim/demo/property.toml", "sim/demo/weather.csv", "sim/report.html.j2"}


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
        assert wheel.read(f"sim/{name}") == (ROOT / "sim" / name).read_bytes()
    folders = ("boards", "controller", "sim", "tools")
    sources = [path for folder in folders for path in (ROOT / folder).rglob("*.py")]
    assert len(sources) > 100
    assert names >= {path.relative_to(ROOT).as_posix() for path in sources}


def test_every_dependency_says_its_oldest_version(wheel: zipfile.ZipFile) -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    assert len(project["dependencies"]) > 10
    for wish in project["dependencies"]:
        assert ">=" in wish, wish
    (name,) = [name for name in wheel.namelist() if name.endswith("/METADATA")]
    told = wheel.read(name).decode()
    assert all(f"Requires-Dist: {wish}\n" in told for wish in project["dependencies"])
