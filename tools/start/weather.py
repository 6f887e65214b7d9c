"""A daily record for a place from NASA POWER, a public service whose files `replay` reads.

The address and its words are from memory, and nobody has tried them from here: a refusal says what
the service answered, and names the address for a browser.
"""

import datetime
import hashlib
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING
from urllib.parse import urlencode, urlsplit

from evenclay.sim import files
from evenclay.sim.section.spin_up import folder
from evenclay.sim.units import UNITS
from evenclay.sim.weather.daily import Weather, WeatherError
from evenclay.sim.weather.formats import power
from evenclay.sim.weather.record import read
from evenclay.tools.property.file.place import Site
from evenclay.tools.property.file.wording import printable, shown

if TYPE_CHECKING:
    import requests

SERVICE = "https://power.larc.nasa.gov/api/temporal/daily/point"  # from memory
PARAMETERS = ("PRECTOTCORR", "T2M_MAX", "T2M_MIN", "RH2M", "WS2M", "ALLSKY_SFC_SW_DWN")
FIRST_YEAR = 1984  # from when radiation is there; from memory
MISSING = -999.0  # the service's own mark
CONNECT_S, READ_S = 10.0, 120.0  # it works for a minute before it answers; common sense, no source
RETRIES, BACKOFF_S = 4, 2.0  # waits of 0, 4, 8 and 16 seconds
RETRIED = (429, 500, 502, 503, 504)  # busy, or broken for a moment
ENOUGH_YEARS = 25  # as long as plans are judged
DAYS_A_YEAR = 365.25
HEIGHT_OFF_M = 300.0  # two degrees of temperature: common sense, no source
PIECE_BYTES = 65536
MOST_BYTES = 20_000_000  # forty years are a tenth of it


def address(
    service: str, latitude: float, longitude: float, first: datetime.date, last: datetime.date
) -> str:
    """The address of a record: typed into a browser it gives the same file.

    Raises: WeatherError where `service` is no address.
    """
    try:
        parts = urlsplit(service)
        named = parts.scheme in ("http", "https") and bool(parts.hostname)
    except ValueError:
        named = False
    if not named:
        raise WeatherError(
            f"address of the service: found {shown(service)}, allowed one as https://HOST/PATH"
        )
    asked = {
        "parameters": ",".join(PARAMETERS),
        "community": "AG",
        "latitude": f"{latitude:g}",
        "longitude": f"{longitude:g}",
        "start": f"{first:%Y%m%d}",
        "end": f"{last:%Y%m%d}",
        "format": "CSV",
        "time-standard": "LST",
    }
    return f"{service}?{urlencode(asked, safe=',')}"


def span(years: int, today: datetime.date) -> tuple[datetime.date, datetime.date]:
    """First and last day of so many whole years and what there is of this one."""
    first = datetime.date(max(FIRST_YEAR, today.year - years), 1, 1)
    return first, today - datetime.timedelta(days=1)


def refuse_own(path: Path) -> None:
    """Refuse to write a record in the place of a file that is none of the service's.

    Raises: WeatherError; OSError where the file cannot be read.
    """
    if not path.is_file():
        return
    with open(path, "rb") as file:
        first = file.readline(len(power.BEGIN) + 2)
    if first.strip() != power.BEGIN.encode():
        found = f"--out: found {printable(str(path))}, which did not come from this service"
        raise WeatherError(f"{found}, allowed another name or folder")


def record(where: str, out: Path) -> tuple[str, Weather]:
    """The record of an address: its text, and what `replay` reads in it. It is kept for the day.

    A cache that cannot be read or written costs time only.
    out: where it shall go, for the line that says what to do without a network.
    Raises: WeatherError with one line.
    """
    kept = _kept(where)
    with suppress(OSError):
        text = kept.read_text("utf-8", "replace")
        with suppress(WeatherError):  # a kept one that was damaged is fetched anew
            return text, _found(text)
    text = trimmed(_fetched(where, out))
    try:
        found = _found(text)
    except WeatherError as error:
        raise _refusal(where, out, str(error)) from None
    with suppress(OSError):
        files.write({kept: text}, counted=False)
        for older in kept.parent.glob(f"{kept.name.rpartition('-')[0]}-*"):
            if older != kept:
                older.unlink(missing_ok=True)
    return text, found


def _found(text: str) -> Weather:
    """What `replay` reads in the text of a record. Raises: WeatherError."""
    with TemporaryDirectory() as folder_name:
        path = Path(folder_name) / "record.csv"
        path.write_text(text, "utf-8")
        try:
            return read(path)
        except WeatherError as error:
            raise WeatherError(str(error).replace(str(path), "what it gave")) from None


def _kept(where: str) -> Path:
    """Where a record is kept: one for each place and span, of which the newest stays."""
    start, _, end = where.partition("&end=")
    digest = hashlib.sha256(start.encode()).hexdigest()[:32]
    return folder() / f"weather-{digest}-{end[:8]}.csv"


def trimmed(text: str) -> str:
    """A record without the days at its end on which something is missing: they come later.

    Raises: WeatherError where it is no such file.
    """
    lines = text.splitlines()
    ends = [number for number, line in enumerate(lines) if line.strip() == power.END]
    if not lines or lines[0].strip() != power.BEGIN or not ends:
        raise WeatherError(f"an answer that is no record: {printable(text[:200])}")
    body = ends[0] + 2
    while len(lines) > body and _lacks(lines[-1]):
        lines.pop()
    if len(lines) == body:
        raise WeatherError("a record without one whole day")
    return "\n".join(lines) + "\n"


def _lacks(row: str) -> bool:
    """Whether a day's row is empty, or lacks a value."""
    return not row.strip() or any(_number(cell) == MISSING for cell in row.split(","))


def _number(cell: str) -> float:
    try:
        return float(cell)
    except ValueError:
        return MISSING


def _fetched(where: str, out: Path) -> str:
    """What the service answers. Raises: WeatherError with one line."""
    import requests

    try:
        with (
            _session() as session,
            session.get(where, timeout=(CONNECT_S, READ_S), stream=True) as answer,
        ):
            text = _read(answer)
            if not answer.ok:
                raise WeatherError(f"status {answer.status_code}: {printable(text[:200])}")
        trimmed(text)
        return text
    except requests.RequestException as error:
        raise _refusal(where, out, _reason(error)) from None
    except WeatherError as error:
        raise _refusal(where, out, str(error)) from None


def _session() -> "requests.Session":
    """A session that asks again where the service is busy or the line breaks."""
    import requests
    from requests.adapters import HTTPAdapter
    from urllib3.util import Retry

    again = Retry(
        RETRIES, backoff_factor=BACKOFF_S, status_forcelist=RETRIED, raise_on_status=False
    )
    session = requests.Session()
    for scheme in ("https://", "http://"):
        session.mount(scheme, HTTPAdapter(max_retries=again))
    return session


def _read(answer: "requests.Response") -> str:
    """The whole answer, with what came so far on stderr where that is a terminal."""
    from rich import progress
    from rich.console import Console

    console = Console(stderr=True, highlight=False)
    parts = (
        progress.SpinnerColumn(),
        progress.TextColumn("weather"),
        progress.DownloadColumn(),
        progress.TimeElapsedColumn(),
    )
    data = bytearray()
    with progress.Progress(
        *parts, console=console, transient=True, disable=not console.is_terminal
    ) as shown:
        total = int(answer.headers.get("Content-Length", 0)) or None
        task = shown.add_task("weather", total=total)
        for piece in answer.iter_content(PIECE_BYTES):
            data += piece
            shown.advance(task, len(piece))
            if len(data) > MOST_BYTES:
                raise WeatherError(f"more than {MOST_BYTES} bytes")
    return data.decode("utf-8", "replace")


def _reason(error: Exception) -> str:
    """The innermost reason of a failed request, without the objects that Python shows."""
    text = str(getattr(error.args[0] if error.args else error, "reason", error))
    return text.rpartition(">: ")[2].rpartition("): ")[2]


def _refusal(where: str, out: Path, reason: str) -> WeatherError:
    """The one line of a record that did not come."""
    return WeatherError(
        f"no weather from {urlsplit(where).netloc}: {printable(reason).rstrip('.')}; open this "
        f"address in a browser, and save what it gives as {out}: {where}"
    )


def told(text: str, found: Weather, site: Site) -> Iterator[str]:
    """What a record holds, in the units of the house, and how it differs from the place."""
    units = UNITS[site.units]
    years = found.days / DAYS_A_YEAR
    rain = units.shown(float(found.rain_mm.sum()) / years, "total")
    yield (
        f"{found.first_day} to {found.last_day}, {years:.1f} years: {rain} of rain a year. These "
        "are estimates for a grid cell, not a gauge's; a storm may be missed."
    )
    if years < ENOUGH_YEARS:
        yield f"A record should be {ENOUGH_YEARS} years long, so that it has wet and dry years."
    cell_m = power.elevation_m(text.partition(power.END)[0])
    if cell_m is None or site.elevation is None:
        return
    if abs(cell_m - site.elevation) > HEIGHT_OFF_M:
        cell, house = [units.shown(m, "height") for m in (cell_m, site.elevation)]
        yield (
            f"The cell lies {cell} above the sea on the mean and the house {house}: the record's "
            "temperatures are of the cell's height. A gauge's record would do better."
        )
