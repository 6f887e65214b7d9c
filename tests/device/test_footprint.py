"""What a hub costs on a 32-bit board, against the bars, and the guide's table."""

import re
from pathlib import Path

import pytest

from tests.device import footprint
from tests.device.footprint import AFTER_S, BEFORE_S, Footprint
from tests.device.wasm import Wasm

GUIDE = Path(__file__).parents[2] / "controller" / "README.md"
HEAP_MOST = 72 * 1024  # core and hub with 8 zones
IDLE_MOST = 64
IDLE_FOUND = {BEFORE_S: 0, AFTER_S: 64}  # when it was last looked at: nothing grows unseen
DRIFT_PCT = 5  # of the guide's table


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return footprint.compiled(tmp_path_factory.mktemp("compiled"))


@pytest.fixture(scope="module")
def eight(wasm: Wasm, folder: Path) -> dict[int, Footprint]:
    return {wall_s: footprint.measure(wasm, folder, 8, wall_s) for wall_s in IDLE_FOUND}


def test_core_and_hub_fit_a_small_board(eight: dict[int, Footprint], wasm: Wasm) -> None:
    for found in eight.values():
        assert found.boot <= found.full
        assert found.code + found.full <= HEAP_MOST


@pytest.mark.parametrize("wall_s", list(IDLE_FOUND), ids=["before 2034", "after 2034"])
def test_an_idle_wake_allocates_little(
    eight: dict[int, Footprint], wasm: Wasm, wall_s: int
) -> None:
    assert eight[wall_s].idle <= IDLE_MOST


def test_an_idle_wake_allocates_no_more_than_it_did(
    eight: dict[int, Footprint], wasm: Wasm
) -> None:
    for wall_s, most in IDLE_FOUND.items():
        assert eight[wall_s].idle <= most


def test_the_guide_has_the_figures(wasm: Wasm, folder: Path) -> None:
    """Out of date? `python -m tests.device.footprint` prints the table anew."""
    text = GUIDE.read_text("utf-8")
    measured = footprint.table(wasm, folder)
    title, rule = measured.splitlines()[:2]
    told = text[text.index(title) :].split("\n\n")[0]
    assert told.splitlines()[1] == rule
    here = [int(number) for number in re.findall(r"\d+", told)]
    there = [int(number) for number in re.findall(r"\d+", measured)]
    assert len(here) == len(there)
    for ours, theirs in zip(here, there, strict=True):
        assert abs(ours - theirs) <= theirs * DRIFT_PCT // 100 + 1, (ours, theirs)
