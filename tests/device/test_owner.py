"""What log, console, light and button cost on a 32-bit board, against the bars."""

import subprocess
import tomllib
from pathlib import Path

import pytest

from evenclay.tools.board import size
from tests.device import owner
from tests.device.wasm import Wasm

BARS = tomllib.loads(size.BUDGET.read_text("utf-8"))
# Of a whole look, instructions of the 32-bit build; `drivers/steps.py` takes one to be 12 ms.
LINE_MOST = 1_300_000
LOAD_MOST = 3_900_000  # of one that loads a module; there 40 ms
SMALL_BYTES = BARS["bars"]["year_heap_bytes"]
THRESHOLD_BYTES = 8192  # a board collects after so many
LONG_BYTES = 160 * 1024  # for words twice as long


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return owner.compiled(tmp_path_factory.mktemp("compiled"))


def test_what_an_owner_has_fits_beside_the_hub(wasm: Wasm, folder: Path) -> None:
    found = owner.measure(wasm, folder)
    mpy = sum(size.sizes("boards/log boards/talk").values())
    print(
        f"log, console, light and button: {mpy} bytes of .mpy;"
        f" heap {found.rest} bytes while nobody talks, {found.peak} in the midst of an answer"
    )
    assert found.rest <= BARS["most_owner_heap_bytes"]["rest"]
    assert found.rest < found.peak <= BARS["most_owner_heap_bytes"]["peak"]


def test_what_is_left_out_takes_nothing(wasm: Wasm, folder: Path) -> None:
    neither, log, both = (
        owner.loaded(wasm, folder, *parts)
        for parts in ((False, False), (True, False), (True, True))
    )
    assert neither == 0 < log < both


def test_a_turn_with_nothing_to_do_leaves_nothing_more_for_a_log(wasm: Wasm, folder: Path) -> None:
    assert owner.early(wasm, folder, log=True) <= owner.early(wasm, folder, log=False)


@pytest.mark.parametrize("typed", ["status", "log 64", "why zone 3"])
def test_no_look_at_the_console_takes_long(wasm: Wasm, folder: Path, typed: str) -> None:
    words, verbs, *lines = owner.looks(wasm, folder, typed, 7)
    print(f"{typed}: {words} and {verbs} instructions to load, {lines} for the lines")
    assert max(words, verbs) <= LOAD_MOST
    assert max(lines) <= LINE_MOST


@pytest.mark.parametrize("days", [30, pytest.param(365, marks=pytest.mark.slow)])
def test_a_hub_that_is_talked_to_fits_a_small_board(wasm: Wasm, folder: Path, days: int) -> None:
    """All that lives, on 32 bits, is never more than the heap has, less what waits to be collected.

    What one turn leaves behind cannot be collected here, so the heap itself is larger.
    """
    code = owner.year(days, owner.AT, collects=True)
    found = owner.figures(wasm.run(code, {"compiled": folder}, heap="512k").text)
    print(f"{days} days: {found}")
    assert found["said"][0] > 10 * days and found["opened"][0] > days
    assert found["most"][0] <= SMALL_BYTES - THRESHOLD_BYTES


@pytest.mark.parametrize("days", [30, pytest.param(365, marks=pytest.mark.slow)])
def test_a_hub_that_is_talked_to_lives_in_little_heap(
    micropython: Path, folder: Path, days: int
) -> None:
    """With a collector that works while code runs, in as much heap as 128 KiB are on 32 bits."""
    code = "import gc\ngc.threshold(8192)\n" + owner.year(days, ".", collects=False)
    done = subprocess.run(
        [micropython, "-X", f"heapsize={LONG_BYTES}", "-c", code],
        cwd=folder,
        env={"MICROPYPATH": ""},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    found = owner.figures(done.stdout)
    print(f"{days} days in {LONG_BYTES} bytes on 64 bits: {found}")
    assert found["said"][0] > 10 * days and found["opened"][0] > days
