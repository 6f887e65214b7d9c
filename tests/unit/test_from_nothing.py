"""From nothing to a report and a calendar, as somebody does who has only a ZIP code or an airport.

No unit but the house's own stands in anything that is told.
"""

import json
from collections.abc import Iterator
from pathlib import Path

import freezegun
import pytest

from evenclay.tools.cli.commands import COMMANDS
from tests.unit.test_fetch import Service, run, serving
from tests.unit.test_units import own_units_only, words

US = ("--where", "76065", "--north", "40 ft", "--east", "30 ft", "--clay", "black clay")
SOUTH = ("--where", "ADL", "--north", "12 m", "--east", "9 m", "--built", "2024-02")


@pytest.fixture
def service(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[Service]:
    with serving(monkeypatch, tmp_path) as found:
        yield found


@pytest.mark.parametrize(("options", "units"), [(US, "us"), (SOUTH, "metric")])
def test_from_nothing(
    options: tuple[str, ...], units: str, tmp_path: Path, service: Service
) -> None:
    file, out = tmp_path / "house" / "property.toml", tmp_path / "house" / "out"
    record = file.with_name("weather.csv")
    days = ("--from", "2026-12-01", "--to", "2027-01-10")
    if units == "us":
        days = ("--from", "2026-05-01", "--to", "2026-06-10")
    steps = (
        ("start", str(file), *options),
        ("weather", str(file), "--service", service.url, "--years", "1"),
        ("check", str(file), "--weather", str(record)),
        ("replay", str(file), "--weather", str(record), "--out", str(out), *days),
        ("calendar", str(file), "--year", "2027", "--cycles"),
    )
    told = ""
    for step in steps:
        assert step[0] in COMMANDS
        with freezegun.freeze_time("2027-03-05"):
            status, text, errors = run(*step)
        assert status == 0, errors
        own_units_only(text + errors, units, 10)
        told += text
    own_units_only(told, units, 500)
    own_units_only(words((out / "report.html").read_text("utf-8")), units, 1000)
    own_units_only(file.with_name("calendar.ics").read_text("utf-8"), units, 1000)
    zones = json.loads((out / "summary.json").read_text("utf-8"))["zones"]
    assert all(zone["litres"] > 0 for zone in zones.values())  # it is summer there
