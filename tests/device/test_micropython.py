"""The core on MicroPython: every module imports, and a scripted year is the same to the byte."""

import subprocess
import sys
from pathlib import Path

import pytest

from controller.events import WHAT, WHY
from tests.device import scripted_year

ROOT = Path(__file__).parents[2]
MODULES = sorted(
    "controller" if path.stem == "__init__" else f"controller.{path.stem}"
    for path in (ROOT / "controller").glob("*.py")
)
GOLDEN = ROOT / "tests" / "golden" / "year.txt"
# What must have happened in the year, or the traces agree on too little.
HAPPENED = {
    ("alarm", "burst"),
    ("alarm", "no_flow"),
    ("alarm", "supply_no_flow"),
    ("cleared", "burst"),
    ("cleared", "driver"),
    ("alarm", "driver"),
    ("alarm", "store"),
    ("alarm", "clock"),
    ("boot", "power"),
    ("boot", "crash"),
    ("cleared", "broken"),
    ("closed", "done"),
    ("cut_short", "power"),
    ("cut_short", "owner"),
    ("learned", "test"),
    ("locked", "closed_season"),
    ("locked", "frost"),
    ("locked", "hold"),
    ("locked", "lost_clock"),
    ("locked", "low_battery"),
    ("locked", "rain"),
    ("locked", "wet_soil"),
    ("opened", "manual"),
    ("opened", "planned"),
    ("opened", "test"),
    ("refused", "bad_plan"),
    ("skipped", "clock"),
    ("skipped", "power"),
    ("skipped", "quiet"),
    ("skipped", "rain"),
    ("trimmed", "automatic"),
    ("trimmed", "check"),
}


def run(micropython: Path, *arguments: str) -> str:
    """What a program prints on MicroPython; 8 MB of heap is a hard cap."""
    done = subprocess.run(
        [micropython, "-X", "heapsize=8m", *arguments],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
    return done.stdout


@pytest.fixture(scope="session")
def version(micropython: Path) -> str:
    """The interpreter, for the record."""
    return run(micropython, "-c", "import sys; print(sys.version, sys.implementation._machine)")


@pytest.fixture(scope="module")
def cpython_year() -> str:
    lines: list[str] = []
    scripted_year.year(lines.append)
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize("module", MODULES)
def test_a_module_imports_alone(micropython: Path, module: str) -> None:
    assert run(micropython, "-c", f"import {module}; print({module!r})").strip() == module


def test_there_are_as_many_modules_as_the_core_has() -> None:
    assert len(MODULES) >= 18
    assert {"controller", "controller.hub", "controller.runner"} <= set(MODULES)


def test_the_year_is_the_same_on_both(micropython: Path, version: str, cpython_year: str) -> None:
    print(f"CPython {sys.version}; MicroPython {version}")
    trace = run(micropython, "-m", "tests.device.scripted_year")
    assert trace.isascii()
    for number, (here, there) in enumerate(
        zip(cpython_year.splitlines(), trace.splitlines(), strict=False), 1
    ):
        assert here == there, f"line {number}"
    assert trace == cpython_year


def test_the_year_is_the_golden_one(cpython_year: str) -> None:
    """Changed on purpose? `make golden`, and say why in the commit."""
    expected = GOLDEN.read_text(encoding="ascii")
    for number, (here, there) in enumerate(
        zip(scripted_year.golden(cpython_year).splitlines(), expected.splitlines(), strict=False), 1
    ):
        assert here == there, f"line {number} of the golden trace"
    assert scripted_year.golden(cpython_year) == expected


def test_the_year_has_enough_in_it(cpython_year: str) -> None:
    events = [line.split() for line in cpython_year.splitlines() if line.startswith("event ")]
    happened = {(WHAT[int(event[1])], WHY[int(event[3])]) for event in events}
    assert happened >= HAPPENED, HAPPENED - happened
    walls = [int(event[8]) for event in events if event[8] != "-1"]
    assert min(walls) < 2**30 < max(walls)  # over the end of a board's small integers
    assert cpython_year.count("\ncut ") == len(scripted_year.CUTS)
