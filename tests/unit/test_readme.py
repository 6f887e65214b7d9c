"""The README at the top: what it tells to type can be typed, and what it shows is there."""

import re
import shlex
from pathlib import Path

import pytest
from typer.testing import CliRunner

from evenclay.tools.cli.commands import COMMANDS, app

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "README.md").read_text("utf-8")
BLOCKS = re.findall(r"^```\n(.*?)^```$", PAGE, flags=re.DOTALL | re.MULTILINE)
LINES = [line for block in BLOCKS for line in block.splitlines()]
TYPED = [line for line in LINES if line.partition(" ")[0].rpartition("/")[2] == "evenclay"]


def test_enough_is_found() -> None:
    assert len(TYPED) >= 11
    named = {line.split()[1] for line in TYPED}
    assert {"start", "check", "weather", "propose", "replay", "calendar", "compare"} <= named
    assert {"layout", "card"} <= named


@pytest.mark.parametrize("line", TYPED)
def test_what_is_typed_is_a_command_with_its_options(line: str) -> None:
    _, command, *rest = shlex.split(line)
    assert command in COMMANDS
    told = CliRunner().invoke(app, [command, "--help"]).stdout
    options = [part for part in rest if part.startswith("--")]
    assert all(re.search(rf"{option}\b", told) for option in options)


def test_pictures_and_pages_are_there() -> None:
    pictures = re.findall(r"!\[[^]]+\]\(([^)]+)\)", PAGE)
    pages = re.findall(r"`((?:\w+/)*\w+\.md)`", PAGE)
    assert len(pictures) >= 5 and len(pages) >= 5
    assert not [name for name in (*pictures, *pages) if not (ROOT / name).exists()]


def test_every_command_stands_in_the_table() -> None:
    rows = re.findall(r"^\| (`evenclay [^|]+) \|", PAGE, flags=re.MULTILINE)
    named = {word for row in rows for word in re.findall(r"\w+", row)}
    assert set(COMMANDS) <= named
