"""Weather that was read wrong or is of little use, a caution each; and climates that are right."""

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from evenclay.sim.units import UNITS
from evenclay.sim.weather import doubts
from evenclay.sim.weather import record as weather
from evenclay.tools.cli import commands as cli
from tests.unit.test_units import own_units_only

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "sim" / "demo" / "property.toml"

# Latitude, elevation, means of the coldest and the warmest month, mean range of a day, rain a year
# and rainy days a year. Rounded, from memory.
CLIMATES = {
    "Singapore": (1.4, 15, 26.5, 28.5, 7, 2100, 170),
    "Quito": (-0.2, 2850, 13.5, 14.5, 11, 1000, 150),
    "Djibouti": (11.6, 10, 25.5, 36.0, 8, 130, 25),
    "Bangalore": (13.0, 920, 21.0, 28.0, 11, 970, 80),
    "Mumbai": (19.1, 10, 24.0, 30.5, 8, 2200, 110),
    "Hanoi": (21.0, 10, 16.5, 29.5, 7, 1700, 140),
    "Kuwait": (29.4, 50, 12.5, 38.5, 14, 115, 25),
    "San Antonio": (29.5, 240, 11.0, 29.5, 12, 820, 85),
    "Waco": (31.6, 150, 8.0, 30.0, 12, 900, 80),
    "Phoenix": (33.4, 340, 13.5, 35.0, 14, 190, 35),
    "Perth": (-31.9, 20, 13.0, 25.0, 11, 730, 105),
    "Las Vegas": (36.1, 600, 8.5, 34.0, 13, 105, 25),
    "San Francisco": (37.8, 20, 10.5, 17.5, 8, 500, 70),
    "Ponta Delgada": (37.7, 70, 14.0, 22.5, 5, 1000, 150),
    "Melbourne": (-37.8, 30, 10.0, 21.0, 10, 600, 140),
    "Denver": (39.7, 1600, 0.0, 23.5, 16, 380, 90),
    "Harbin": (45.8, 140, -18.5, 23.0, 11, 530, 105),
    "Seattle": (47.6, 40, 5.0, 19.0, 8, 950, 155),
    "London": (51.5, 20, 5.0, 18.5, 8, 600, 150),
    "Torshavn": (62.0, 50, 3.5, 11.0, 4, 1300, 260),
    "Yakutsk": (62.0, 100, -38.0, 19.5, 10, 240, 90),
    "Fairbanks": (64.8, 135, -22.0, 17.0, 12, 290, 100),
}


def record(place: str, days: int = 730, elevation: bool = True) -> pd.DataFrame:
    """Days of a climate from 1 January 2001 on, the same each time."""
    latitude, _, cold, warm, a_day, rain_mm, wet_days = CLIMATES[place]
    rng = np.random.default_rng(7)
    index = pd.date_range("2001-01-01", periods=days)
    peak = 200 if latitude >= 0 else 18
    wave = np.cos(2 * np.pi * (index.day_of_year.to_numpy() - peak) / 365.25)
    mean = (cold + warm) / 2 + (warm - cold) / 2 * wave + rng.normal(0, 2, days)
    half = np.maximum(1.0, rng.normal(a_day, a_day / 4, days)) / 2
    wet = rng.random(days) < wet_days / 365
    rain = np.where(wet, rng.gamma(0.8, rain_mm / wet_days / 0.8, days), 0.0)
    values = {"rain": rain, "tmin": mean - half, "tmax": mean + half}
    return pd.DataFrame({key: np.round(v, 1) for key, v in values.items()}, index=index)


@pytest.mark.parametrize("place", CLIMATES)
@pytest.mark.parametrize("elevation", [True, False])
def test_a_climate_that_is_right_is_not_doubted(place: str, elevation: bool) -> None:
    latitude, height, *_ = CLIMATES[place]
    assert doubts.of(record(place), latitude, height if elevation else None) == []


def changed(
    **how: Callable[[pd.DataFrame], "pd.Series[float]"],
) -> Callable[[pd.DataFrame], pd.DataFrame]:
    return lambda daily: daily.assign(**how)


def as_us(daily: pd.DataFrame) -> pd.DataFrame:
    """Values in inches and Fahrenheit, which nobody converted back."""
    return daily.assign(
        rain=(daily["rain"] / 25.4).round(2),
        tmin=daily["tmin"] * 1.8 + 32,
        tmax=daily["tmax"] * 1.8 + 32,
    )


WINTER = slice("2001-12-01", "2002-02-28")
WRONG: dict[str, tuple[str, Callable[[pd.DataFrame], pd.DataFrame], str]] = {
    "rain in inches": (
        "Waco",
        changed(rain=lambda d: (d["rain"] / 25.4).round(2)),
        "looks like US units read as metric; --units us reads a file so",
    ),
    "rain in inches of a wet town": (
        "Seattle",
        changed(rain=lambda d: (d["rain"] / 25.4).round(2)),
        "looks like US units read as metric",
    ),
    "rain in tenths": (
        "Waco",
        changed(rain=lambda d: (d["rain"] * 10).round()),
        "looks like tenths read as wholes; --units tenths reads them",
    ),
    "rain in mm read as inches": (
        "London",
        changed(rain=lambda d: d["rain"] * 25.4),
        "looks like metric units read as US ones",
    ),
    "no rain": ("Waco", changed(rain=lambda d: 0.0 * d["rain"]), "no rain on any of its 730 days"),
    "a dry year": (
        "Waco",
        changed(rain=lambda d: d["rain"].where(d.index < "2002", 0.0)),
        "on: missing rain written as 0?",
    ),
    "the same rain": ("Waco", changed(rain=lambda d: 2.0 + 0.0 * d["rain"]), "same rain on 730"),
    "constant": (
        "Waco",
        changed(tmin=lambda d: 0.0 * d["tmin"] + 10, tmax=lambda d: 0.0 * d["tmax"] + 24),
        "the same temperatures on 730 days from 2001-01-01 on",
    ),
    "stuck": (
        "Waco",
        lambda d: d.drop(d.index[40:60]).reindex(d.index).ffill(),
        "the same temperatures on 21 days from 2001-02-09 on",
    ),
    "constant Tmin": (
        "Waco",
        changed(tmin=lambda d: 0.0 * d["tmin"] - 15),
        "the same Tmin on all of its 730 days",
    ),
    "three weeks": ("Waco", lambda d: d.iloc[:21], "only 21 days of weather"),
    "Fahrenheit that fits": (
        "Denver",
        lambda d: as_us(d).loc[WINTER],
        "far warmer than latitude 39.7 has: US units read as metric, or another place?",
    ),
    "Celsius read as Fahrenheit": (
        "Waco",
        changed(tmin=lambda d: (d["tmin"] - 32) / 1.8, tmax=lambda d: (d["tmax"] - 32) / 1.8),
        "far colder than latitude 31.6 has: metric units read as US ones",
    ),
    "ET0 in inches": (
        "Waco",
        changed(et0=lambda d: (d["tmax"] - d["tmin"]) / 80),
        "its ET0 is 0.0",
    ),
}


@pytest.mark.parametrize("fault", WRONG)
def test_a_record_read_wrong_is_a_caution(fault: str) -> None:
    place, change, said = WRONG[fault]
    latitude, height, *_ = CLIMATES[place]
    found = doubts.of(change(record(place)), latitude, height)
    assert any(said in line for line in found), found
    assert all("\n" not in line for line in found)
    for units in UNITS:  # it stands on pages of either
        own_units_only(" ".join(found), units, 5)


@pytest.mark.parametrize(
    ("place", "latitude", "said"),
    [
        ("Waco", -31.6, "warm in the winter of latitude -31.6: is the latitude's sign right"),
        ("Perth", 31.9, "warm in the winter of latitude 31.9"),
        ("Harbin", 3.0, "far colder than latitude 3 has"),
        ("Waco", 3.0, "more of a winter and summer than latitude 3 has"),
        ("Singapore", 39.0, "less of a winter and summer than latitude 39 has"),
        ("Singapore", 52.0, "far warmer than latitude 52 has"),
    ],
)
def test_weather_of_another_place(place: str, latitude: float, said: str) -> None:
    found = doubts.of(record(place), latitude, 0.0)
    assert len(found) == 1 and said in found[0]


def test_without_a_latitude_only_the_values_are_judged() -> None:
    assert doubts.of(record("Waco"), None, None) == []


def write(path: Path, daily: pd.DataFrame) -> Path:
    daily.rename_axis("date").to_csv(path)
    return path


@pytest.fixture
def dry(tmp_path: Path) -> Path:
    """Four hundred days that an owner of the demo house could have, but for their rain."""
    daily = record("Waco", 400).assign(rain=0.0)
    return write(tmp_path / "dry.csv", daily)


def run(*args: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(cli.app, list(args))
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result.exit_code, result.stdout, result.stderr


def test_check_lists_cautions_of_the_weather_first(dry: Path) -> None:
    status, out, err = run("check", str(DEMO), "--weather", str(dry), "--json")
    assert (status, err) == (0, "")
    assert json.loads(out)["cautions"][0].startswith(f"{dry}: no rain on any of its 400 days")


def test_replay_tells_cautions_and_reports_them(dry: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    args = ("replay", str(DEMO), "--weather", str(dry), "--out", str(out))
    status, _, err = run(*args, "--from", "2001-06-01", "--to", "2001-06-30")
    assert status == 0
    assert err.startswith(f"Caution: {dry}: no rain on any of its 400 days")
    said = json.loads((out / "summary.json").read_text())["weather"]["cautions"]
    assert said == list(weather.read(dry, latitude_deg=32.4).cautions)
    assert "Weather: no rain on any of its 400 days" in (out / "report.html").read_text()


def test_replay_goes_on_beside_a_long_gap(tmp_path: Path) -> None:
    daily = record("Waco", 90)
    path = write(tmp_path / "gap.csv", daily.drop(daily.index[40:60]))
    args = ("replay", str(DEMO), "--weather", str(path), "--out", str(tmp_path / "out"))
    status, _, err = run(*args)
    assert status == 2
    assert "rain missing for 20 days, 2001-02-10 to 2001-03-01; allowed are gaps of 7" in err
    assert "such as 2001-01-01 to 2001-02-09, the longest (replay takes its days by --from" in err
    assert len(err.splitlines()) == 1
    status, out, err = run(*args, "--from", "2001-03-05")
    assert status == 0
    assert "\n2001-03-05 to 2001-03-31: " in out


def test_other_commands_tell_cautions(dry: Path, tmp_path: Path) -> None:
    told = f"Caution: {dry}: no rain on any of its 400 days"
    plan = tmp_path / "plan.0"
    assert told in run("compile", str(DEMO), "--weather", str(dry), "--out", str(plan))[2]
    out = tmp_path / "invented.csv"
    args = ("invent", "--weather", str(dry), "--latitude", "31.6", "--years", "1")
    assert told in run(*args, "--out", str(out))[2]
