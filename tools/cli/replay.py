"""The command `replay`, of one property or several."""

import datetime
import json
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from evenclay.sim import files
from evenclay.tools.cli.errors import NO_PLAN, each
from evenclay.tools.cli.options import (
    REPORTED,
    AsJson,
    Columns,
    Dates,
    OutFolder,
    Processes,
    PropertyPaths,
    Seed,
    Units,
    check_folder,
    keep,
    read_date,
    read_weather,
)
from evenclay.tools.cli.output import make_console, tell

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from evenclay.sim.ground.plausible import PlausibleGround
    from evenclay.sim.report.results import Spread
    from evenclay.sim.report.ways import Figures
    from evenclay.tools.plan.required import Requirement
    from evenclay.tools.property.property import Property


def replay(
    property_files: PropertyPaths,
    weather: Annotated[
        Path,
        typer.Option(
            help="Weather: a daily CSV, GHCN-Daily (.dly, by station or access CSV), NASA POWER "
            "daily, or EPW."
        ),
    ],
    out: OutFolder,
    seed: Seed = 1,
    first: Annotated[
        str | None, typer.Option("--from", metavar="DATE", help="First day, such as 2021-01-01.")
    ] = None,
    last: Annotated[
        str | None, typer.Option("--to", metavar="DATE", help="Last day, included.")
    ] = None,
    column: Columns = None,
    units: Units = "metric",
    dates: Dates = None,
    grounds: Annotated[
        int | None,
        typer.Option(
            min=1,
            max=64,
            metavar="N",
            help="Judge on so many plausible grounds, 1 to 64, instead of the middle one; "
            "16 and 64 cover them most evenly.",
        ),
    ] = None,
    require: Annotated[
        list[str] | None,
        typer.Option(
            metavar="MEASURE<NUMBER",
            help="What the hub has to keep, by a measure of summary.json, such as unrest<70 or "
            "days_on_target>=200; repeatable. With --grounds the less favourable tenth counts, "
            "unless unrest.p50<70 names another. Exit status 1 where one is not kept.",
        ),
    ] = None,
    processes: Processes = None,
    as_json: AsJson = False,
) -> None:
    """Replay a property on daily weather.

    The hub's own code decides, beside three other ways of watering in the same weather. The house
    begins settled, without water, in the climate of the whole record.

    Writes summary.json, decisions.jsonl, daily.csv and report.html into the folder of --out. The
    same command gives the same results. Of several properties each has a folder of its own there,
    and a line; one that will not do is told, and the others are still replayed.

    \b
    Examples, one year of a longer record, and ten houses in one town:
        evenclay replay house.toml --weather town.csv --out out --from 2021-01-01 --to 2021-12-31
        evenclay replay houses/*.toml --weather town.csv --out out --require 'unrest<85'
    """
    from evenclay.tools.plan import required
    from evenclay.tools.plan.names import names_of

    first_day, last_day = read_date("--from", first), read_date("--to", last)
    if first_day and last_day and first_day > last_day:
        message = f"found {first_day}, after {last_day}; allowed is --from on or before --to"
        raise typer.BadParameter(message, param_hint="--from, --to")
    requirements = required.read(require or (), many=grounds is not None)
    check_folder(out)
    reading = Reading(weather, column, units, dates)
    asked = Asked(reading, seed, first_day, last_day, grounds, processes, requirements, as_json)
    folders = {property_files[0]: out}
    if len(property_files) > 1:
        names = names_of("PROPERTY", list(map(str, property_files)))
        folders = {path: out / name for path, name in zip(property_files, names, strict=True)}
    results = [folder / name for folder in folders.values() for name in REPORTED]
    keep([*property_files, weather], results)
    if len(property_files) == 1:
        raise typer.Exit(_one(property_files[0], out, asked))
    each(property_files, lambda path: _one(path, folders[path], asked, alone=False))


@dataclass(frozen=True)
class Reading:
    """How the command line says that the weather is read."""

    path: Path
    column: list[str] | None
    units: str
    dates: str | None


@dataclass(frozen=True)
class Asked:
    """What the command line asks of a replay. processes: None: one a core."""

    reading: Reading
    seed: int
    first: datetime.date | None
    last: datetime.date | None
    grounds: int | None
    processes: int | None
    requirements: "list[Requirement]"
    as_json: bool


def _one(path: Path, out: Path, asked: Asked, *, alone: bool = True) -> int:
    """Replay one property into a folder, print what came of it, and return the exit status.

    alone: whether it is the only one, so that there is room for more than a line.
    """
    from evenclay.tools.property.property import load

    if not alone:
        tell(f"{path}:")
    prop = load(path)
    summary = _replayed(prop, out, asked)
    if asked.as_json:
        text = json.dumps(summary, indent=2) if alone else json.dumps({"file": str(path)} | summary)
        print(text, flush=True)
    elif alone:
        _show(summary, prop, out)
    else:
        print(f"{path}: {_line(summary, prop.site.units)}: {out / 'report.html'}", flush=True)
    failed = [one for each in asked.requirements if (one := each.failed(summary))]
    if failed:
        tell(f"{path}: not kept: {'; '.join(failed)}")
    return NO_PLAN if failed else 0


def _replayed(prop: "Property", out: Path, asked: Asked) -> dict[str, Any]:
    """Run the engine, with its progress on stderr; it writes the outputs."""
    from evenclay.sim.report.results import replay_house
    from evenclay.tools.handover.layout.in_report import drawing_of
    from evenclay.tools.property.advice import cautions
    from evenclay.tools.property.compile import compile_house
    from evenclay.tools.property.demand import means_of

    latitude_deg, read = prop.site.latitude, asked.reading
    days = (asked.first, asked.last)
    hashes = {"property": Path(prop.source.name), "weather": read.path}
    record = read_weather(read.path, read.column, read.units, read.dates, latitude_deg, days=days)
    house = compile_house(prop, means_of(record, latitude_deg))
    with _spreading(asked) as spread:
        drawn = replace(house, cautions=tuple(cautions(prop, house.plan)), drawing=drawing_of(prop))
        return replay_house(
            drawn,
            record,
            out,
            seed=asked.seed,
            first=asked.first,
            last=asked.last,
            grounds=asked.grounds,
            inputs={name: files.sha256(path) for name, path in hashes.items()},
            progress=lambda way, number, count: tell(f"{number + 1} of {count}: {way}"),
            spread=spread,
        )


@contextmanager
def _spreading(asked: Asked) -> "Iterator[Spread]":
    """What lives on many grounds: processes side by side, with their progress on stderr."""
    from evenclay.tools.plan.workers import cores, counting, processes

    if asked.grounds is None:
        yield map
        return
    with processes(min(asked.processes or cores(), asked.grounds)) as (pool, _):

        def spread(
            task: "Callable[[PlausibleGround], Figures]", grounds: "Sequence[PlausibleGround]"
        ) -> "Iterator[Figures]":
            with counting("grounds") as count_them:
                for done, found in enumerate(pool.map(task, grounds), 1):
                    count_them(done, len(grounds))
                    yield found

        yield spread


def _show(summary: dict[str, Any], prop: "Property", out: Path) -> None:
    """Print what the watering does, the ways side by side, and where the results are."""
    from rich.table import Table

    from evenclay.sim.report.sentences import headline
    from evenclay.sim.report.year import middle_of
    from evenclay.sim.units import UNITS
    from evenclay.tools import tables
    from evenclay.tools.property.advice import leaves

    shown = UNITS[prop.site.units]
    table = Table()
    table.add_column("way", no_wrap=True)
    for name in ("unrest", "movement", "tilt", "soaked days", shown.word("volume")):
        table.add_column(name, justify="right")
    for way, found in summary["policies"].items():
        table.add_row(
            way.replace("_", ", "),
            *(_text(found[f"{name}_pct"]) for name in ("unrest", "movement", "tilt")),
            _text(found["days_soaked"]),
            shown.number(middle_of(found["litres"]), "volume"),
        )
    weather = summary["weather"]
    console = make_console()
    said = headline(summary, bool(leaves(prop)))
    console.print(said.replace("\N{NO-BREAK SPACE}", " "))
    console.print(
        f"{weather['first_day']} to {weather['last_day']}: "
        f"{shown.number(weather['rain_mm'], 'total')} {shown.word('depth')} of rain, "
        f"{shown.number(weather['et0_mm'], 'total')} {shown.word('depth')} of reference "
        "evapotranspiration."
    )
    tables.show(table, console)
    many = (
        f"; the middle of {summary['grounds']} grounds, and what eight of ten lie between"
        if summary["grounds"]
        else ""
    )
    console.print(f"Unrest, movement and tilt: left alone is 100. Soaked days: more, a year{many}.")
    print(f"The report: {out / 'report.html'}")


def _line(summary: dict[str, Any], units: str) -> str:
    """What a replay came to, in a line: unrest and water of the hub."""
    from evenclay.sim.report.year import middle_of
    from evenclay.sim.units import UNITS

    hub = summary["policies"]["hub"]
    water = UNITS[units].shown(middle_of(hub["litres"]), "volume")
    return f"unrest {_text(hub['unrest_pct'])}, where left alone is 100; {water}"


def _text(value: Any) -> str:
    """A figure as the table has it, with two more where it is of many grounds."""
    if isinstance(value, dict):
        if value["p50"] is None:
            return "-"
        low, middle, high = (f"{value[name]:.0f}" for name in ("p10", "p50", "p90"))
        return middle if low == high else f"{middle} ({low}-{high})"
    return "-" if value is None else f"{value:.0f}"
