"""`evenclay weather`, against a server on this machine alone."""

import datetime
import json
import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import freezegun
import pytest
from typer.testing import CliRunner

from evenclay.sim.section.spin_up import folder
from evenclay.sim.weather.record import read
from evenclay.tools.cli.commands import app
from evenclay.tools.start import weather
from tests.unit.test_units import own_units_only

HEADER = """-BEGIN HEADER-
NASA/POWER Invented Source Native Resolution Daily Data
Dates (month/day/year): {start} through {end} in LST
Location: latitude {latitude} longitude {longitude}
elevation from an invented grid: Average for a cell = {height} meters
The value for missing source data that cannot be computed or is outside of the range: -999
Parameter(s):
PRECTOTCORR           Precipitation Corrected (mm/day)
T2M_MAX               Temperature at 2 Meters Maximum (C)
T2M_MIN               Temperature at 2 Meters Minimum (C)
RH2M                  Relative Humidity at 2 Meters (%)
WS2M                  Wind Speed at 2 Meters (m/s)
ALLSKY_SFC_SW_DWN     All Sky Surface Shortwave Downward Irradiance (MJ/m^2/day)
-END HEADER-
YEAR,DOY,PRECTOTCORR,T2M_MAX,T2M_MIN,RH2M,WS2M,ALLSKY_SFC_SW_DWN
"""


def record(query: dict[str, str], height: float = 700.0) -> str:
    """Invented weather in the service's layout; radiation comes six days late, the rest two."""
    first, last = [
        datetime.datetime.strptime(query[name], "%Y%m%d").date() for name in ("start", "end")
    ]
    south = float(query["latitude"]) < 0
    rows = []
    for number in range((last - first).days + 1):
        day = first + datetime.timedelta(days=number)
        warm = abs(day.month - 7) if south else 6 - abs(day.month - 7)
        left = (last - day).days
        values = [
            8.0 if number % 6 == 0 else 0.0,
            12 + 3 * warm,
            2 + 3 * warm,
            60,
            2.5,
            8 + 2 * warm,
        ]
        shown = [
            "-999" if left < (6 if name == 5 else 2) else f"{v}" for name, v in enumerate(values)
        ]
        rows.append(f"{day.year},{day:%j},{','.join(shown)}")
    return HEADER.format(**query, height=height) + "\n".join(rows) + "\n"


class Service(ThreadingHTTPServer):
    """Answers as `answers` says, one after another; then with records. It keeps what was asked."""

    daemon_threads = True

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), Handler)
        self.asked: list[dict[str, str]] = []
        self.answers: list[tuple[int, str]] = []
        self.url = f"http://127.0.0.1:{self.server_port}/daily"


class Handler(BaseHTTPRequestHandler):
    server: Service

    def do_GET(self) -> None:
        query = {key: value for key, [value] in parse_qs(urlsplit(self.path).query).items()}
        self.server.asked.append(query)
        status, text = self.server.answers.pop(0) if self.server.answers else (200, record(query))
        self.send_response(status)
        self.end_headers()
        self.wfile.write(text.encode())

    def log_message(self, *args: object) -> None:
        """Say nothing."""


@contextmanager
def serving(monkeypatch: pytest.MonkeyPatch, folder: Path) -> Iterator[Service]:
    """A service on this machine, an empty cache, and no waits between two attempts."""
    monkeypatch.setenv("EVENCLAY_CACHE", str(folder / "cache"))
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    monkeypatch.setattr(weather, "BACKOFF_S", 0.0)
    with Service() as found:
        thread = threading.Thread(target=found.serve_forever, args=(0.01,))
        thread.start()
        yield found
        found.shutdown()
        thread.join()


@pytest.fixture
def service(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[Service]:
    with serving(monkeypatch, tmp_path) as found:
        yield found


def run(*args: str) -> tuple[int, str, str]:
    """Exit status, stdout and stderr."""
    result = CliRunner().invoke(app, list(args))
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.stdout, result.stderr


@pytest.fixture
def house(tmp_path: Path) -> Path:
    file = tmp_path / "house" / "property.toml"
    options = ("--where", "76065", "--north", "40 ft", "--east", "30 ft")
    assert run("start", str(file), *options)[0] == 0
    return file


def fetch(house: Path, service: Service, *options: str) -> tuple[int, str, str]:
    return run("weather", str(house), "--service", service.url, *options)


@freezegun.freeze_time("2027-03-05")
def test_a_record_that_replay_reads(house: Path, service: Service) -> None:
    status, out, err = fetch(house, service, "--years", "3")
    assert status == 0, err
    (asked,) = service.asked
    assert (asked["start"], asked["end"]) == ("20240101", "20270304")
    assert (asked["latitude"], asked["longitude"]) == ("32.4757", "-96.9936")
    found = read(house.with_name("weather.csv"))
    assert found.first_day == datetime.date(2024, 1, 1)
    assert found.last_day == datetime.date(2027, 2, 26)  # radiation, the last that came
    assert found.solar_mj_m2 is not None and not any(found.solar_mj_m2 != found.solar_mj_m2)
    assert "evenclay replay" in out and "25 years long" in out
    assert "2297 ft above the sea" in out  # the cell; the house stands much lower
    own_units_only(out + err, "us", 40)


@freezegun.freeze_time("2027-03-05")
def test_a_day_s_record_is_fetched_once(house: Path, service: Service) -> None:
    for name in ("a.csv", "b.csv"):
        out = house.with_name(name)
        assert fetch(house, service, "--years", "1", "--out", str(out))[0] == 0
    assert len(service.asked) == 1
    assert house.with_name("a.csv").read_bytes() == house.with_name("b.csv").read_bytes()
    with freezegun.freeze_time("2027-03-06"):
        assert fetch(house, service, "--years", "1")[0] == 0
    assert len(service.asked) == 2
    assert len(list(folder().glob("weather-*"))) == 1


@pytest.mark.parametrize("options", [(), ("--out", "{folder}/gauge.csv")])
def test_a_record_of_one_s_own_is_kept(
    options: tuple[str, ...], house: Path, service: Service
) -> None:
    asked = [option.format(folder=house.parent) for option in options]
    out = Path(asked[-1]) if asked else house.with_name("weather.csv")
    out.write_text("date,rain mm,tmin C,tmax C\n", "utf-8")
    left, told, err = fetch(house, service, "--years", "1", *asked)
    assert (left, told, service.asked) == (2, "", [])
    assert err.startswith(f"--out: found {out}, which ") and err.count("\n") == 1
    assert "allowed" in err
    assert out.read_text("utf-8") == "date,rain mm,tmin C,tmax C\n"
    out.write_text(HEADER, "utf-8")
    assert fetch(house, service, "--years", "1", *asked)[0] == 0


def test_a_cache_that_cannot_be_written_costs_time_only(
    house: Path, service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("EVENCLAY_CACHE", str(house / "no folder"))
    for asked in (1, 2):
        status, _, err = fetch(house, service, "--years", "1")
        assert status == 0, err
        assert len(service.asked) == asked
    assert read(house.with_name("weather.csv")).days > 300


@freezegun.freeze_time("2027-03-05")
def test_a_damaged_cache_is_fetched_anew(house: Path, service: Service) -> None:
    assert fetch(house, service, "--years", "1")[0] == 0
    (kept,) = folder().glob("weather-*")
    whole = kept.read_bytes()
    for damaged in (b"", b"\xff\xfe", whole[: len(whole) // 9]):
        kept.write_bytes(damaged)
        assert fetch(house, service, "--years", "1")[0] == 0
        assert kept.read_bytes() == house.with_name("weather.csv").read_bytes() == whole


@pytest.mark.parametrize("service", ["http://[", "nowhere", "https://", "file:///etc/hosts", "["])
def test_an_address_that_is_none(service: str, house: Path) -> None:
    status, out, err = run("weather", str(house), "--service", service)
    assert (status, out) == (2, "")
    assert err.count("\n") == 1 and f'found "{service}", allowed one as https://' in err


def test_a_service_that_is_busy_is_asked_again(house: Path, service: Service) -> None:
    service.answers = [(503, ""), (429, ""), (500, "")]
    status, _, err = fetch(house, service, "--years", "1")
    assert status == 0, err
    assert len(service.asked) == 4


@pytest.mark.parametrize(
    ("status", "text", "said"),
    [
        (422, json.dumps({"detail": "no such place"}), "status 422: .*no such place"),
        (200, "<html>Sign in</html>", "no record: <html>"),
        (200, "", "no record"),
        (200, HEADER.replace("{", "").replace("}", ""), "without one whole day"),
        (503, "busy", "status 503|too many 503"),
    ],
)
def test_an_answer_that_is_none(
    status: int, text: str, said: str, house: Path, service: Service
) -> None:
    service.answers = [(status, text)] * 6
    out = house.with_name("weather.csv")
    out.write_text(HEADER, "utf-8")
    left, told, err = fetch(house, service, "--years", "1")
    line = err.splitlines()[-1]
    assert (left, told) == (2, "")
    assert re.search(said, line), line
    assert f"{service.url}?parameters=" in line and "browser" in line
    assert out.read_text("utf-8") == HEADER
    assert not list(folder().glob("weather-*"))


def test_without_a_network_the_address_is_told(house: Path, service: Service) -> None:
    """Nobody listens at the port after the server is gone."""
    url = service.url
    service.server_close()
    status, out, err = run("weather", str(house), "--service", url, "--years", "1")
    line = err.splitlines()[-1]
    assert (status, out) == (2, "") and "refused" in line and f"{url}?parameters=" in line
    assert "object at" not in line


def test_a_file_without_a_longitude(tmp_path: Path) -> None:
    assert run("demo", str(tmp_path))[0] == 0
    status, _, err = run("weather", str(tmp_path / "property.toml"))
    assert status == 2 and "site.longitude: found no longitude" in err and "evenclay start" in err
