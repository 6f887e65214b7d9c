"""Heap of the core and a hub of 8 zones, on MicroPython's 64-bit build, from `.mpy` files."""

import subprocess
import tomllib
from pathlib import Path

import pytest

from evenclay.controller import plan as plans
from evenclay.controller.limits import ZONES_MAX
from evenclay.tools.board.size import BUDGET
from tests import core
from tests.device.board import fill

BARS = tomllib.loads(BUDGET.read_text("utf-8"))
YEARS = 10  # past a restart, and past the end of a board's small integers in 2034
YEARS_LONG = 50


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The core and the script that measures, compiled, and a plan of 8 zones."""
    made = fill(tmp_path_factory.mktemp("device"), "tests/device/memory.py")
    plan = core.plan(
        ZONES_MAX,
        supplies=[{}, {}],
        zone={"probe": 1, "sensor": 1, "demand_ppt": 3000, "begin_um": 400000},
        estimate=1,
        battery=1,
        bans=[(plans.BAN_HOURS, 840, 960)],
    )
    (made / "plan.0").write_bytes(plan.pack())
    return made


def measure(micropython: Path, folder: Path, heap_bytes: int, years: int) -> tuple[str, list[int]]:
    """What the script said last, and the live heap it printed, bytes."""
    done = subprocess.run(
        [
            micropython,
            "-X",
            f"heapsize={heap_bytes}",
            "-m",
            "tests.device.memory",
            "plan.0",
            str(years),
        ],
        cwd=folder,
        env={"MICROPYPATH": ""},
        capture_output=True,
        text=True,
        check=False,
    )
    lines = (done.stdout + done.stderr).splitlines()
    told = [line.split() for line in done.stdout.splitlines()]
    used = [int(words[-1 if words[0] == "booted" else 2]) for words in told if len(words) > 1]
    return lines[-1], used if done.returncode == 0 else []


BLOCK_BYTES = 32  # of the 64-bit build's heap


@pytest.mark.parametrize("years", [YEARS, pytest.param(YEARS_LONG, marks=pytest.mark.slow)])
def test_live_heap_grows_by_nothing_in_years(micropython: Path, folder: Path, years: int) -> None:
    last, used = measure(micropython, folder, 1 << 20, years)
    assert len(used) == 1 + years, last
    _, year, _, opened, saved = last.split()
    assert int(year) == years and int(opened) > 1000 * years and int(saved) > int(opened)
    # A collector that looks at every word may keep a block for one that only looks like a place.
    assert max(used[1:]) - min(used[1:]) <= BLOCK_BYTES, used
    assert used[0] <= BARS["most_heap_bytes"]["booted"]
    assert max(used) <= BARS["most_heap_bytes"]["after_a_year"]


def test_a_year_in_the_heap_of_a_small_board(micropython: Path, folder: Path) -> None:
    last, used = measure(micropython, folder, BARS["bars"]["year_heap_bytes"], 1)
    assert len(used) == 2, last
