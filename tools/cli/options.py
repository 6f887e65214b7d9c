"""Options and arguments that several commands take, and what is read by them."""

import datetime
import os
from collections.abc import Iterable
from pathlib import Path
from tempfile import TemporaryFile
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from evenclay.tools.cli.output import tell

if TYPE_CHECKING:
    from evenclay.sim.weather.daily import Weather
    from evenclay.tools.property.demand import Means

PropertyPath = Annotated[Path, typer.Argument(metavar="PROPERTY", help="A property file (TOML).")]
PropertyPaths = Annotated[
    list[Path],
    typer.Argument(metavar="PROPERTY...", help="Property files (TOML); several: a line for each."),
]
Columns = Annotated[
    list[str] | None,
    typer.Option(
        "--column",
        metavar="WHAT=NAME",
        help="A column of the weather file under another name, such as rain=P_mm; repeatable. "
        "WHAT is one of date, year, month, day, doy, rain, tmin, tmax, et0, rh, rh_min, rh_max, "
        "dew, wind_2m, wind_10m, solar.",
    ),
]
Units = Annotated[
    Literal["metric", "us", "tenths"],
    typer.Option(
        help="Units of the weather file, where neither its format nor its headings say: mm and "
        "degrees C, inches and Fahrenheit, or tenths of mm and of degrees C.",
    ),
]
Dates = Annotated[
    Literal["mdy", "dmy"] | None,
    typer.Option(help="Order of dates such as 1/2/2019, where no date of the weather shows it."),
]
DemandWeather = Annotated[
    Path | None,
    typer.Option(
        help="Weather, as replay takes it: its mean evapotranspiration and rain "
        "become the seasons'."
    ),
]
WeatherFiles = Annotated[list[Path], typer.Option(help="Weather, as replay takes it; repeatable.")]
OutFolder = Annotated[Path, typer.Option(help="Folder for the results; made if need be.")]
# What a replay writes into its folder, and a retrace all but the first.
REPORTED = ("summary.json", "decisions.jsonl", "daily.csv", "report.html")
Seed = Annotated[int, typer.Option(min=0, max=2**31 - 1, help="Seed of all chance.")]
Processes = Annotated[
    int | None, typer.Option(min=1, help="Processes of this machine; else one a core.")
]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON for programs.")]


def check_folder(out: Path) -> None:
    """Refuse an --out that can be no folder to write into, before any long work.

    What is written makes the folder, so that work which fails leaves none behind.
    """
    there = next(place for place in (out, *out.absolute().parents) if os.path.lexists(place))
    if not there.is_dir():
        raise typer.BadParameter(f"found {there}, a file, allowed a folder", param_hint="--out")
    try:  # modes do not tell of a disk that is read only
        with TemporaryFile(dir=there):
            pass
    except OSError as error:
        found = f"found {there}, which takes no file ({error.strerror})"
        raise typer.BadParameter(f"{found}, allowed a folder", param_hint="--out") from None


def keep(read: Iterable[Path | None], written: Iterable[Path], option: str = "--out") -> None:
    """Refuse to write over a file that the command reads, before any long work.

    read: what is None is not named. option: by which the owner says where it is written.
    """
    inputs = [path for path in read if path is not None]
    for path in written:
        if any(_same(path, other) for other in inputs):
            message = f"found {path}, which this command reads, allowed another name or folder"
            raise typer.BadParameter(message, param_hint=option)


def _same(one: Path, other: Path) -> bool:
    """Whether two paths, or links, lead to one file that is there."""
    try:
        return one.samefile(other)
    except (OSError, ValueError):
        return False


def read_weather(
    path: Path,
    column: list[str] | None,
    units: str,
    dates: str | None,
    latitude_deg: float | None,
    *,
    days: "tuple[datetime.date | None, datetime.date | None]" = (None, None),
    least_days: int = 0,
    told: bool = True,
) -> "Weather":
    """Read a weather file as the command line says; print its cautions to stderr if `told`.

    least_days: a shorter record is refused by the command itself, so its cautions are not told.
    """
    from evenclay.sim.weather.record import NAMES, read
    from evenclay.tools.property.file.wording import printable

    names: dict[str, str] = {}
    for item in column or ():
        what, equals, name = item.partition("=")
        if what not in NAMES or not equals or not name:
            allowed = "WHAT=NAME with WHAT one of " + ", ".join(NAMES)
            raise typer.BadParameter(f'found "{item}", allowed {allowed}', param_hint="--column")
        names[what] = name
    found = read(
        path,
        columns=names,
        units=units,
        date_order=dates,
        latitude_deg=latitude_deg,
        first_day=days[0],
        last_day=days[1],
    )
    for caution in found.cautions if told and found.days >= least_days else ():
        tell(f"Caution: {printable(str(path))}: {printable(caution)}")
    return found


def means_in(
    weather: Path | None,
    column: list[str] | None,
    units: str,
    dates: str | None,
    latitude_deg: float,
) -> "Means | None":
    """The means of a weather file's months; None without a file."""
    from evenclay.tools.property.demand import means_of

    if weather is None:
        return None
    return means_of(read_weather(weather, column, units, dates, latitude_deg), latitude_deg)


def read_date(option: str, value: str | None) -> datetime.date | None:
    """Read the date of an option, None where none is given."""
    if value is None:
        return None
    try:
        return datetime.datetime.strptime(value, "%Y-%m-%d").date()
    except ValueError:
        message = f'found "{value}", allowed a date as 2021-01-31'
        raise typer.BadParameter(message, param_hint=option) from None
