"""The drawing of who imports whom: what it leaves out, and that the page has it as it is."""

import subprocess
import sys
from graphlib import CycleError
from pathlib import Path

import pytest

from evenclay.tools.dev import graph

PAGE = Path(__file__).parents[2] / "DEVELOPERS.md"
SOURCES = Path(sys.prefix) / "src"  # the package as one folder of links, which make lays
LEAST_ARROWS = 10


def test_what_is_reached_by_another_way_is_not_drawn() -> None:
    pairs = {("tools", "sim"), ("sim", "core"), ("tools", "core"), ("boards", "core")}
    assert graph.direct(pairs) == pairs - {("tools", "core")}


def test_folders_that_import_each_other_are_refused() -> None:
    with pytest.raises(CycleError):
        graph.direct({("sim.judge", "sim.replay"), ("sim.replay", "sim.judge")})


def test_only_the_place_between_the_marks_changes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(graph, "arrows", lambda: {("boards", "controller")})
    around = "before\n<!-- import graph -->\n{}<!-- end of import graph -->\nafter\n"
    drawn = "```mermaid\nflowchart TD\n    boards --> controller\n```\n"
    assert graph.page(around.format("an older drawing\n")) == around.format(drawn)
    assert graph.page(around.format("")) == around.format(drawn)


def test_the_page_has_the_drawing() -> None:
    """Out of date? `make graph` draws it anew.

    Another interpreter draws it, which finds the package in the folder of links: this one has
    imported the package from the repository's folders already.
    """
    program = (
        "import sys; from evenclay.tools.dev import graph; "
        "sys.stdout.write(graph.page(graph.PAGE.read_text('utf-8')))"
    )
    drawn = subprocess.run(
        [sys.executable, "-c", program],
        env={"PYTHONPATH": str(SOURCES), "PYTHONUTF8": "1"},
        capture_output=True,
        encoding="utf-8",
        check=False,
    )
    assert drawn.returncode == 0, drawn.stderr
    assert drawn.stdout.count(" --> ") >= LEAST_ARROWS
    assert drawn.stdout == PAGE.read_text("utf-8")
