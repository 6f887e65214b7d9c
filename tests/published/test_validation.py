"""The checks of sim/VALIDATION.md hold, and the page tells of all of them."""

import re
from pathlib import Path

import numpy as np
import pytest

from evenclay.sim.ground.textures import POND_MM
from evenclay.tools.dev.validation import climates, page, section
from evenclay.tools.dev.validation.figures import Check
from evenclay.tools.dev.validation.page import PAGE, PARTS, PICTURE
from evenclay.tools.dev.validation.ponding import LONG, SHORT, picture, ponding


@pytest.mark.parametrize("title", PARTS)
def test_checks_hold_and_stand_on_the_page(title: str) -> None:
    text = PAGE.read_text("utf-8")
    checks = list(PARTS[title]())
    assert len(checks) >= 3
    assert f"## {title}" in text
    for check in checks:
        assert check.holds, check
        start = f"| {check.what} | {check.source} |"
        rows = [line for line in text.splitlines() if line.startswith(start)]
        assert len(rows) == 1, "run make validation"
        ours = float(rows[0].split("|")[4])
        assert ours == pytest.approx(check.ours, rel=1e-3, abs=0.1 * check.allowed), rows[0]


def test_a_check_that_fails_or_is_missing_shows() -> None:
    off = Check("off", "nobody", 1.0, 2.0, 0.5)
    missing = Check("missing", "nobody", 1.0, float("nan"), 0.5)
    assert not off.holds and not missing.holds
    text = page.page({"Part": [off, missing]})
    assert text.count("**beyond**") == 2
    assert "## What has not been validated" in text
    assert "**beyond**" not in PAGE.read_text("utf-8")
    assert page.NOT_VALIDATED in PAGE.read_text("utf-8"), "run make validation"


def test_the_page_says_of_the_section_what_commands_and_tests_say() -> None:
    text = PAGE.read_text("utf-8")
    for part in (section.METHOD, section.REVIEWER, section.BARE):
        assert part in text, "run make validation"
    for row in [*climates.table(), *climates.reach_table()]:
        assert row in text.splitlines(), "run make validation"
    assert "**missed**" not in text
    for named in re.findall(r"`(tests/[a-z_/]+\.py)`", text):
        assert (PAGE.parents[1] / named).exists(), named


@pytest.mark.slow
def test_trials_on_the_page_are_those_of_the_commands() -> None:
    assert section.trials().strip() in PAGE.read_text("utf-8"), "run make validation"


@pytest.mark.parametrize("start_pf", [2.5, 3.0, 3.3])
@pytest.mark.parametrize("surface_mm_h", [1.0, 2.0, 5.0])
def test_a_long_run_ponds_and_runs_off_where_short_cycles_do_not(
    start_pf: float, surface_mm_h: float
) -> None:
    long, short = ponding(LONG, start_pf, surface_mm_h), ponding(SHORT, start_pf, surface_mm_h)
    assert long[-1, 0] == pytest.approx(short[-1, 0])  # the same water
    assert long[:, 1].max() == pytest.approx(POND_MM)
    assert long[-1, 2] > 4.0  # a quarter of it, beyond what can stand
    assert short[:, 1].max() < POND_MM
    assert short[-1, 2] == 0.0
    assert np.all(np.diff(long[:, 2]) >= 0.0)


def test_on_the_tightest_clay_short_cycles_lose_far_less() -> None:
    assert ponding(SHORT, 2.7, 0.5)[-1, 2] < 0.3 * ponding(LONG, 2.7, 0.5)[-1, 2]


def test_the_picture_is_drawn(tmp_path: Path) -> None:
    picture(tmp_path / "again.png")
    assert (tmp_path / "again.png").read_bytes()[:8] == PICTURE.read_bytes()[:8]
    assert PICTURE.stat().st_size > 10_000
