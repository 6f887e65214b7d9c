"""Several property files in one command, a line each; and what a plan is required to keep."""

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

from evenclay.sim.report import results
from evenclay.sim.report.ways import MEASURED
from evenclay.tools.cli.commands import app
from evenclay.tools.plan import required
from evenclay.tools.plan.workers import SweepError
from tests.sweeps import HOUSE

WEATHER = Path(__file__).parents[2] / "sim" / "demo" / "weather.csv"
DAYS = ("--weather", str(WEATHER), "--from", "2021-05-01", "--to", "2021-05-20")


def run(*args: str) -> tuple[int, str, str]:
    """Exit status, stdout and stderr."""
    result = CliRunner().invoke(app, list(args))
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.stdout, result.stderr


@pytest.fixture(autouse=True)
def no_pages(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing here looks into a page; to draw one takes seconds."""
    monkeypatch.setattr(results, "page_of", lambda *_: "a page")


@pytest.fixture
def houses(tmp_path: Path) -> list[str]:
    """Two that will do under one name, a bad one between them, and one that is not there."""
    files = [tmp_path / name for name in ("a/house.toml", "bad.toml", "none.toml", "b/house.toml")]
    for file in files:
        file.parent.mkdir(exist_ok=True)
        file.write_text(HOUSE if file.stem == "house" else "[site]\nname = 3\n", "utf-8")
    files[2].unlink()
    return list(map(str, files))


def test_check_has_a_line_for_each(houses: list[str]) -> None:
    status, out, err = run("check", *houses)
    assert status == 2
    first, second = out.splitlines()
    assert first.startswith(f"{houses[0]}: ") and second.startswith(f"{houses[3]}: ")
    assert "at most" in first and "cautions, first: " in first
    bad, missing = err.splitlines()
    assert bad.startswith(f"{houses[1]}:1: ") and bad.endswith("more in this file)")
    assert missing.startswith(f"{houses[2]}: found no property file")
    assert run("check", houses[0], houses[3])[0] == 0
    status, out, _ = run("check", *houses, "--json")
    found = [json.loads(line) for line in out.splitlines()]
    assert [one["file"] for one in found] == [houses[0], houses[3]] and status == 2
    alone = json.loads(run("check", houses[0], "--json")[1])
    assert alone == {key: value for key, value in found[0].items() if key != "file"}


def test_a_page_is_of_one_house(houses: list[str], tmp_path: Path) -> None:
    page = tmp_path / "check.html"
    status, out, err = run("check", houses[0], houses[3], "--html", str(page))
    assert (status, out, err.count("\n")) == (2, "", 1) and "--html" in err
    assert not page.exists()


def test_replay_has_a_folder_and_a_line_for_each(houses: list[str], tmp_path: Path) -> None:
    out_dir = tmp_path / "out"
    args = ("replay", *houses, *DAYS, "--out", str(out_dir))
    status, out, err = run(*args, "--require", "litres<1")
    assert status == 2  # a bad file counts more than a plan that does not keep what is asked
    pages = [out_dir / name / "house" / "report.html" for name in ("a", "b")]
    assert [line.rsplit(": ", 1)[1] for line in out.splitlines()] == list(map(str, pages))
    assert all(page.exists() for page in pages)
    assert err.count(": not kept: litres is ") == 2
    assert run(*args[:2], *args[4:], "--require", "litres<1")[0] == 1
    status, out, _ = run(*args[:2], *args[4:], "--json")
    found = [json.loads(line) for line in out.splitlines()]
    assert status == 0 and [one.pop("file") for one in found] == [houses[0], houses[3]]
    assert found[0] == json.loads((pages[0].with_name("summary.json")).read_text("utf-8"))


def test_one_file_twice_is_refused(houses: list[str], tmp_path: Path) -> None:
    args = ("replay", houses[0], houses[0], *DAYS, "--out", str(tmp_path / "out"))
    status, out, err = run(*args)
    assert (status, out, err.count("\n")) == (2, "", 1)
    assert err.startswith("PROPERTY: found ") and "twice" in err


def test_a_requirement_of_one_house(houses: list[str], tmp_path: Path) -> None:
    args = ("replay", houses[0], *DAYS, "--out", str(tmp_path / "out"), "--require")
    status, out, err = run(
        *args, "minutes>0", "--require", "unrest<70", "--require", "litres > 1e9"
    )
    assert status == 1 and "The report: " in out
    (line,) = [line for line in err.splitlines() if "not kept" in line]
    assert line.startswith(f"{houses[0]}: not kept: unrest_pct is not known, required < 70; litres")
    assert run(*args, "minutes>0")[0] == 0


@pytest.mark.parametrize(
    ("text", "grounds", "said"),
    [
        ("unrest", (), "MEASURE<NUMBER"),
        ("", (), "MEASURE<NUMBER"),
        ("unrest=70", (), "one of <, <=, >, >="),
        ("calm<70", (), "a measure of days_on_target, "),
        ("unrest<much", (), "a number behind <"),
        ("unrest<nan", (), "a number behind <"),
        ("unrest.p50<70", (), "only with --grounds"),
        ("unrest.p95<70", ("--grounds", "2"), ".p10, .p50 or .p90"),
    ],
)
def test_nonsense_is_one_line_before_any_work(
    text: str, grounds: tuple[str, ...], said: str, houses: list[str], tmp_path: Path
) -> None:
    out_dir = tmp_path / "out"
    args = ("replay", houses[0], *DAYS, "--out", str(out_dir), *grounds)
    status, out, err = run(*args, "--require", text)
    assert (status, out, err.count("\n")) == (2, "", 1), err
    assert f'--require: found "{text}", allowed ' in err and said in err
    assert not out_dir.exists()


signs = st.sampled_from(["<", "<=", ">", ">="])
numbers = st.integers(-200, 200)


def summary_of(name: str, value: Any) -> dict[str, Any]:
    return {"policies": {"hub": {name: value}, "none": {name: 1e9}}}


@given(st.sampled_from([*MEASURED, "litres"]), signs, numbers, st.lists(numbers, min_size=3))
def test_a_bound_is_kept_as_python_compares(
    name: str, sign: str, bound: int, found: list[int]
) -> None:
    for value in found:
        (one,) = required.read([f"{name}{sign}{bound}"], many=False)
        failed = one.failed(summary_of(name, float(value)))
        assert (failed is None) == eval(f"{value} {sign} {bound}")
        assert failed is None or f"{name} is {value:g}, required {sign} {bound}" == failed
    low, middle, high = sorted(found)[:3]
    over = summary_of(name, {"p10": low, "p50": middle, "p90": high})
    (usual,) = required.read([f"{name}{sign}{bound}"], many=True)
    less_favourable = high if sign.startswith("<") else low
    assert (usual.failed(over) is None) == eval(f"{less_favourable} {sign} {bound}")
    (chosen,) = required.read([f"{name}.p50 {sign} {bound}"], many=True)
    assert (chosen.failed(over) is None) == eval(f"{middle} {sign} {bound}")


def test_short_names_and_what_is_not_known() -> None:
    names = {"unrest": "unrest_pct", "soaked": "days_soaked", "litres": "litres"}
    for short, name in names.items():
        (one,) = required.read([f" {short} <= 70 % "], many=False)
        assert (one.measure, one.bound) == (name, 70)
        assert "not known" in (one.failed(summary_of(name, None)) or "")
    with pytest.raises(SweepError, match="--require"):
        required.read(["pct<3"], many=False)
