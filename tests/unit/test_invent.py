"""`evenclay invent`: a file that can be replayed, and the statistics beside the record's."""

import json
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from evenclay.sim.weather import generator
from evenclay.sim.weather import record as weather
from evenclay.sim.weather.statistics import MEASURES
from evenclay.tools.cli import commands as cli
from evenclay.tools.plan import invented_weather

WEATHER = Path(__file__).parents[2] / "sim" / "demo" / "weather.csv"


def run(*args: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(cli.app, ["invent", *args])
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result.exit_code, result.stdout, result.stderr


def test_a_file_to_replay_and_a_table(tmp_path: Path) -> None:
    out = tmp_path / "invented.csv"
    args = ("--weather", str(WEATHER), "--latitude", "32.4", "--years", "6", "--out", str(out))
    status, shown, errors = run(*args)
    assert (status, errors) == (0, "")
    assert "Jul" in shown
    assert "standard errors" in shown
    record = weather.read(out)
    made = generator.generate(generator.fit(weather.read(WEATHER, latitude_deg=32.4)), 6, 1)
    assert record.days == made.days == 2191
    np.testing.assert_allclose(record.rain_mm, made.rain_mm, atol=0.005)
    np.testing.assert_allclose(record.et0_mm, made.et0_mm, atol=0.005)
    assert out.read_text(encoding="utf-8").startswith("# invented weather: 6 years, seed 1")
    first = out.read_bytes()
    assert run(*args, "--seed", "1")[0] == 0
    assert out.read_bytes() == first
    assert run(*args, "--seed", "2")[0] == 0
    assert out.read_bytes() != first


def test_json(tmp_path: Path) -> None:
    out = tmp_path / "invented.csv"
    args = ("--weather", str(WEATHER), "--latitude", "32.4", "--out", str(out), "--json")
    status, shown, _ = run(*args)
    rows = json.loads(shown)
    assert status == 0
    assert len(rows) == 12 * len(MEASURES)
    assert set(rows[0]) == {"month", "measure", "record", "generated", "standard_error"}
    assert set(invented_weather.HEADINGS) == set(MEASURES)


def test_the_table_speaks_the_units_that_were_asked_for(tmp_path: Path) -> None:
    out = tmp_path / "invented.csv"
    args = ("--weather", str(WEATHER), "--latitude", "32.4", "--years", "6", "--out", str(out))
    tables = {}
    for units in ("metric", "us"):
        status, shown, _ = run(*args, "--units", units)  # the demo's headings say its own
        assert status == 0
        tables[units] = shown.split("Furthest")[0], out.read_bytes()
    (metric, written), (us, same) = tables.values()
    assert written == same
    assert "mm" in metric and " C " in metric
    assert " in " in us and " F " in us and "mm" not in us and " C " not in us

    rows = json.loads(run(*args, "--units", "us", "--json")[1])
    january = {row["measure"]: row["record"] for row in rows if row["month"] == 1}
    row = next(line for line in us.splitlines() if " Jan " in line)
    assert [float(cell) for cell in row.split("│")[3:-1]] == [
        pytest.approx(january["rain_mm"] / 25.4, abs=0.005),
        pytest.approx(january["wet_days"], abs=0.05),
        pytest.approx(january["tmax_c"] * 1.8 + 32, abs=0.05),
        pytest.approx(january["tmax_sd_c"] * 1.8, abs=0.05),
        pytest.approx(january["tmin_c"] * 1.8 + 32, abs=0.05),
        pytest.approx(january["tmin_sd_c"] * 1.8, abs=0.05),
    ]


def test_one_year_has_no_standard_error(tmp_path: Path) -> None:
    out = tmp_path / "invented.csv"
    args = ("--weather", str(WEATHER), "--latitude", "32", "--years", "1", "--out", str(out))
    status, shown, errors = run(*args)
    assert (status, errors) == (0, "")
    assert "Jul" in shown and "standard errors" not in shown
    assert {row["standard_error"] for row in json.loads(run(*args, "--json")[1])} == {None}


@pytest.mark.parametrize("swing_c", [0, 8])
def test_temperatures_that_never_differ_are_no_nan(swing_c: int, tmp_path: Path) -> None:
    """Both stay the same for years, or both always move alike: the record lends no matrices."""
    record, out = tmp_path / "record.csv", tmp_path / "invented.csv"
    days = np.datetime64("2001-01-01") + np.arange(5 * 365)
    air = np.random.default_rng(1).integers(0, swing_c + 1, len(days))
    rows = [
        f"{day},{n % 5},{10 + c},{20 + c}" for n, (day, c) in enumerate(zip(days, air, strict=True))
    ]
    record.write_text("\n".join(["date,rain_mm,tmin_c,tmax_c", *rows]) + "\n", "utf-8")
    args = ("--weather", str(record), "--latitude", "32", "--years", "2", "--out", str(out))
    status, _, errors = run(*args)
    assert status == 0
    assert all(line.startswith("Caution: ") for line in errors.splitlines()), errors
    made = weather.read(out)
    assert made.days == 730 and 8 < made.tmin_c.mean() < 18 + swing_c


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("--weather", "absent.csv", "--out", "x.csv"), "absent.csv: cannot be read"),
        (
            ("--weather", str(WEATHER), "--out", "x.csv"),
            "needs the latitude: give it by --latitude",
        ),
        (("--weather", str(WEATHER), "--out", "x.csv", "--latitude", "99"), "allowed are -90 to"),
        (("--weather", str(WEATHER), "--out", "x.csv", "--years", "0"), "--years"),
        (
            ("--weather", str(WEATHER), "--latitude", "30", "--out", f"{WEATHER}/x.csv"),
            "weather.csv/x.csv: Not a directory",
        ),
    ],
)
def test_bad_input_is_one_line(args: tuple[str, ...], said: str) -> None:
    status, shown, errors = run(*args)
    assert (status, shown) == (2, "")
    assert said in errors
    assert len(errors.splitlines()) == 1
