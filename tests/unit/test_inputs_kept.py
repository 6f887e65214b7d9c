"""No command writes over a file that it reads; `start` and `layout --fix` alone change theirs."""

from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from evenclay.tools.cli import commands as cli
from evenclay.tools.cli.options import keep

MINE = "nothing that any command could read"
# By name of the file that a command would read and write, and the command. All else is missing, so
# what is refused here was refused before anything was read.
OVERWRITING = (
    ("own.csv", "invent --weather {mine} --out {mine}"),
    ("p.toml", "check {mine} --html {mine}"),
    ("own.csv", "check {other} --weather {mine} --html {mine}"),
    ("p.toml", "compile {mine} --out {mine}"),
    ("words", "compile {mine} --out {folder}/plan.0"),
    ("own.csv", "compile {other} --weather {mine} --out {mine}"),
    ("p.toml", "calendar {mine} --out {mine}"),
    ("calendar.ics", "calendar {mine}"),
    ("p.toml", "card {mine} --out {mine}"),
    ("card.html", "card {mine}"),
    ("card.pdf", "card {mine} --pdf"),
    ("layout.svg", "layout {mine}"),
    ("layout.png", "layout {mine} --out {folder} --fix"),
    ("property.toml", "propose {mine} --weather {other} --out {folder}"),
    ("proposal.json", "propose {other} --weather {mine} --out {folder}"),
    ("plan.png", "propose {mine} --weather {other} --out {folder}"),
    ("years.parquet", "sweep {other} {mine} --weather {other} --out {folder}"),
    ("sweep.json", "sweep {other} --weather {other} --weather {mine} --out {folder}"),
    ("compare.json", "compare {mine} --weather {other} --out {folder}"),
    ("years.csv", "compare {other} --weather {other} --weather {mine} --out {folder}"),
    ("compare.png", "compare {other} --plan {mine} --weather {other} --out {folder}"),
    ("before_after.json", "compare {other} {mine} --weather {other} --out {folder}"),
    ("before_after.html", "compare {mine} {other} --weather {other} --out {folder}"),
    ("daily.csv", "replay {other} --weather {mine} --out {folder}"),
    ("summary.json", "replay {mine} --weather {other} --out {folder}"),
    ("two/report.html", "replay two.toml one.toml {mine} --weather {other} --out {folder}/.."),
    ("decisions.jsonl", "retrace {mine} {other} --out {folder}"),
    ("daily.csv", "retrace {other} {other} --weather {mine} --out {folder}"),
    ("report.html", "retrace {other} {mine} --out {folder}"),
)
# `start` changes the file that it is given. `demo` and `bundle` fill folders, and the last three
# write no file. What `weather` keeps is tested with the service.
OTHERS = {"start", "weather", "demo", "bundle", "flash", "log", "watch"}


def run(*args: str) -> tuple[int, str, str]:
    """Exit status, stdout and stderr."""
    result = CliRunner().invoke(cli.app, list(args))
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.stdout, result.stderr


@pytest.mark.parametrize(("name", "command"), OVERWRITING)
def test_what_is_read_is_never_replaced(name: str, command: str, tmp_path: Path) -> None:
    mine = tmp_path / "house" / name
    mine.parent.mkdir(parents=True)
    mine.write_text(MINE, "utf-8")
    places = {"mine": str(mine), "folder": str(mine.parent), "other": str(tmp_path / "missing")}
    status, out, err = run(*(part.format(**places) for part in command.split(" ")))
    assert (status, out, err.count("\n")) == (2, "", 1), err
    option, found = err.split(": found ", 1)
    assert option == ("--html" if "--html" in command else "--out")
    assert (
        found.startswith(str(mine)[: -len(mine.name)].replace("/two/", "/")) and mine.name in found
    )
    assert ", which this command reads, allowed " in found
    assert mine.read_text("utf-8") == MINE
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == [mine]


def test_a_proposal_replaces_no_property_that_it_did_not_write(tmp_path: Path) -> None:
    """A folder of an earlier proposal has its figures beside it, and may be written again."""
    mine, own = tmp_path / "property.toml", ["propose", str(tmp_path / "missing.toml")]
    mine.write_text(MINE, "utf-8")
    asked = [*own, "--weather", str(tmp_path / "missing.csv"), "--out", str(tmp_path)]
    status, out, err = run(*asked)
    assert (status, out) == (2, "")
    assert (
        err == f"--out: found {mine} without proposal.json, allowed a folder without such a file\n"
    )
    (tmp_path / "proposal.json").write_text("{}", "utf-8")
    assert "missing.toml" in run(*asked)[2]  # which is what it comes to then
    assert mine.read_text("utf-8") == MINE


def test_every_command_is_thought_of() -> None:
    commands = set(typer.main.get_group(cli.app).commands)
    assert commands == {command.partition(" ")[0] for _, command in OVERWRITING} | OTHERS


def test_a_link_to_it_is_it(tmp_path: Path) -> None:
    mine, link = tmp_path / "mine", tmp_path / "link"
    mine.write_text(MINE, "utf-8")
    link.symlink_to(mine)
    for read, written in ((mine, link), (link, mine), (tmp_path / "x" / ".." / "mine", mine)):
        (tmp_path / "x").mkdir(exist_ok=True)
        with pytest.raises(typer.BadParameter, match="which this command reads"):
            keep([None, read], [tmp_path / "new", written])
    keep([mine, None], [tmp_path / "new", tmp_path / "x"])
