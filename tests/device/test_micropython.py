"""The core on MicroPython: every module imports, and a scripted year and many random weeks are the
same to the byte on CPython, on the unix build (64-bit) and on a 32-bit build. There the core is
compiled as a bundle holds it; the year is run from the sources, too.
"""

import subprocess
from pathlib import Path

import pytest

from evenclay.controller.words import WHAT, WHY
from tests.device import random_weeks, scripted_year
from tests.device.board import SOURCES, fill
from tests.device.wasm import Wasm

ROOT = Path(__file__).parents[2]
MODULES = sorted(
    "evenclay.controller" if path.stem == "__init__" else f"evenclay.controller.{path.stem}"
    for path in (ROOT / "controller").glob("*.py")
)
GOLDEN = ROOT / "tests" / "golden" / "year.txt"
GOLDEN_WEEKS = ROOT / "tests" / "golden" / "weeks.txt"
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
    ("alarm", "trouble"),
    ("cleared", "trouble"),
    ("closed", "done"),
    ("cut_short", "power"),
    ("cut_short", "owner"),
    ("learned", "test"),
    ("locked", "closed_season"),
    ("locked", "frost"),
    ("locked", "hold"),
    ("locked", "lost_clock"),
    ("locked", "low_battery"),
    ("locked", "wet_soil"),
    ("opened", "manual"),
    ("opened", "planned"),
    ("opened", "test"),
    ("refused", "bad_plan"),
    ("skipped", "clock"),
    ("skipped", "power"),
    ("skipped", "quiet"),
    ("corrected", "check"),
    ("corrected", "sample"),
    ("lacks", "ok"),
    ("skipped", "enough"),
}
# In the weeks, each at least once: most of the year's, and what random owners and faults add.
HAPPENED_IN_WEEKS = HAPPENED - {("alarm", "burst"), ("cleared", "burst")} | {
    ("alarm", "leak"),
    ("alarm", "probe"),
    ("alarm", "stale"),
    ("boot", "crash"),
    ("closed", "litres"),
    ("cut_short", "lost_clock"),
    ("cut_short", "plan"),
    ("cut_short", "rain"),
    ("locked", "rain"),
    ("skipped", "rain"),
    ("refused", "quiet"),
    ("refused", "unknown"),
    ("skipped", "low_battery"),
    ("skipped", "rest"),
}


def run(micropython: Path, *arguments: str, folder: Path = ROOT) -> str:
    """What a program prints on MicroPython; 8 MB of heap is a hard cap."""
    done = subprocess.run(
        [micropython, "-X", "heapsize=8m", *arguments],
        cwd=folder,
        env={"MICROPYPATH": f":{SOURCES}" if folder == ROOT else ""},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
    return done.stdout


@pytest.fixture(scope="module")
def bundled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The core and the programs that trace it, as a bundle holds them."""
    programs = ["tests/core.py", "tools/property/plan_ranges.py"]
    programs += ["tests/device/scripted_year.py", "tests/device/random_weeks.py"]
    return fill(tmp_path_factory.mktemp("bundled"), *programs)


@pytest.fixture(scope="module")
def cpython_year() -> str:
    lines: list[str] = []
    scripted_year.year(lines.append)
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize("module", MODULES)
def test_a_module_imports_alone(micropython: Path, bundled: Path, module: str) -> None:
    for folder in (ROOT, bundled):
        code = f"import {module}; print({module!r})"
        assert run(micropython, "-c", code, folder=folder).strip() == module


def test_there_are_as_many_modules_as_the_core_has() -> None:
    assert len(MODULES) >= 18
    assert {"evenclay.controller", "evenclay.controller.hub", "evenclay.controller.runner"} <= set(
        MODULES
    )


def same(trace: str, expected: str) -> None:
    """Two traces are the same to the byte; says where they part."""
    here, there = expected.splitlines(), trace.splitlines()
    for number, (ours, theirs) in enumerate(zip(here, there, strict=False)):
        assert ours == theirs, "\n".join(["they part after:", *here[max(0, number - 5) : number]])
    assert trace == expected


def test_the_year_is_the_same_on_the_unix_build(micropython: Path, cpython_year: str) -> None:
    same(run(micropython, "-m", "tests.device.scripted_year"), cpython_year)


def test_the_year_is_the_same_bundled(micropython: Path, bundled: Path, cpython_year: str) -> None:
    same(run(micropython, "-m", "tests.device.scripted_year", folder=bundled), cpython_year)


def test_the_year_is_the_same_on_32_bits(wasm: Wasm, bundled: Path, cpython_year: str) -> None:
    code = "from tests.device import scripted_year\nscripted_year.year(print)\n"
    same(wasm.run(code, {"bundled": bundled}).text, cpython_year)


@pytest.fixture(scope="module")
def cpython_weeks() -> list[str]:
    return [random_weeks.traced(seed) for seed in range(random_weeks.WEEKS)]


def kinds(week: str) -> set[tuple[str, str]]:
    """The faults and events of a week's trace."""
    lines = [line.split() for line in week.splitlines()]
    faults = {("fault", line[2]) for line in lines if line[0] == "fault"}
    events = [line for line in lines if line[0] == "event"]
    return faults | {(WHAT[int(event[1])], WHY[int(event[3])]) for event in events}


def lacking(weeks: list[str], of: range) -> list[int]:
    """A week for each kind of fault and event that some weeks lack."""
    found = []
    met = set().union(*[kinds(weeks[seed]) for seed in of])
    for seed, week in enumerate(weeks):
        if not kinds(week) <= met:
            found.append(seed)
            met |= kinds(week)
    return found


def some(first: int, every: int) -> range:
    return range(first % every, random_weeks.WEEKS, every)


QUICK = 5
EVERY = pytest.mark.parametrize("every", [QUICK, pytest.param(1, marks=pytest.mark.slow)])


@EVERY
def test_random_weeks_are_the_same_on_the_unix_build(
    micropython: Path, bundled: Path, cpython_weeks: list[str], every: int
) -> None:
    of = some(1, every)
    seeds = [*of, *lacking(cpython_weeks, of)]
    program = ("-m", "tests.device.random_weeks", *[str(seed) for seed in seeds])
    expected = "".join([cpython_weeks[seed] for seed in seeds])
    same(run(micropython, *program, folder=bundled), expected)


@EVERY
def test_random_weeks_are_the_same_on_32_bits(
    wasm: Wasm, bundled: Path, cpython_weeks: list[str], every: int
) -> None:
    of = some(0, every)
    for seeds in (of, *[range(seed, seed + 1) for seed in lacking(cpython_weeks, of)]):
        code = (
            "from tests.device import random_weeks\n"
            f"for seed in {seeds}:\n"
            "    sys.stdout.write(random_weeks.traced(seed))\n"
            "    gc.collect()\n"
        )
        expected = "".join([cpython_weeks[seed] for seed in seeds])
        same(wasm.run(code, {"bundled": bundled}).text, expected)


def test_random_weeks_are_the_golden_ones(cpython_weeks: list[str]) -> None:
    """Changed on purpose? `make golden`, and say why in the commit."""
    found = [random_weeks.golden(seed, text) for seed, text in enumerate(cpython_weeks)]
    assert "".join(found) == GOLDEN_WEEKS.read_text(encoding="ascii")


def test_random_weeks_have_enough_in_them(cpython_weeks: list[str]) -> None:
    assert random_weeks.WEEKS >= 300
    met = set().union(*[kinds(week) for week in cpython_weeks])
    assert {name for what, name in met if what == "fault"} == set(random_weeks.FAULTS)
    assert met >= HAPPENED_IN_WEEKS, HAPPENED_IN_WEEKS - met
    for first in (0, 1):  # each interpreter has weeks that pass the end of a board's small integers
        weeks = [cpython_weeks[seed] for seed in some(first, QUICK)]
        spans = walls([line.split() for week in weeks for line in week.splitlines()])
        assert len([1 for least, most in spans if least < 2**30 < most]) >= 9


def walls(lines: list[list[str]]) -> list[tuple[int, int]]:
    """Of each week, the least and the greatest wall time that an event bears."""
    found: list[list[int]] = []
    for line in lines:
        if line[0] == "week":
            found.append([2**30])
        elif line[0] == "event" and line[8] != "-1":
            found[-1].append(int(line[8]))
    return [(min(week), max(week)) for week in found]


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
