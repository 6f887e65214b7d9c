"""The command `replay`."""

import datetime
import json
import sys
from contextlib import contextmanager
from dataclasses import dataclass, replace
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from evenclay.sim import files
from evenclay.tools.cli.options import (
    AsJson,
    Columns,
    Dates,
    OutFolder,
    Processes,
    PropertyPath,
    Seed,
    Units,
    check_folder,
    read_date,
    read_weather,
)
from evenclay.tools.cli.output import make_console

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from evenclay.sim.ground.plausible import PlausibleGround
    from evenclay.sim.house.house import House
    from evenclay.sim.report.results import Spread
    from evenclay.sim.report.ways import Figures
    from evenclay.sim.weather.record import Weather


def replay(
    property_file: PropertyPath,
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
    processes: Processes = None,
    as_json: AsJson = False,
) -> None:
    """Replay a property on daily weather.

    The hub's own code decides, beside three other ways of watering in the same weather. The house
    begins settled, without water, in the climate of the whole record.

    Writes summary.json, decisions.jsonl, daily.csv and report.html into the folder of --out. The
    same command gives the same results.

    \b
    Example, one year of a longer record:
        evenclay replay house.toml --weather town.csv --out out --from 2021-01-01 --to 2021-12-31
    """
    from evenclay.tools.property.advice import cautions
    from evenclay.tools.property.compile import compile_house
    from evenclay.tools.property.demand import means_of
    from evenclay.tools.property.property import load

    prop = load(property_file)
    first_day, last_day = read_date("--from", first), read_date("--to", last)
    if first_day and last_day and first_day > last_day:
        message = f"found {first_day}, after {last_day}; allowed is --from on or before --to"
        raise typer.BadParameter(message, param_hint="--from, --to")
    days = (first_day, last_day)
    record = read_weather(weather, column, units, dates, prop.site.latitude, days=days)
    house = compile_house(prop, means_of(record, prop.site.latitude))
    house = replace(house, cautions=tuple(cautions(prop, house.plan)))
    check_folder(out)
    inputs = {"property": files.sha256(property_file), "weather": files.sha256(weather)}
    asked = Asked(seed, first_day, last_day, grounds, processes)
    summary = _replay(house, record, out, asked, inputs)
    if as_json:
        print(json.dumps(summary, indent=2))
    else:
        _show(summary, house.units, out)


@dataclass(frozen=True)
class Asked:
    """What the command line asks of a replay. processes: None: one a core."""

    seed: int
    first: datetime.date | None
    last: datetime.date | None
    grounds: int | None
    processes: int | None


def _replay(
    house: "House",
    weather: "Weather",
    out: Path,
    asked: Asked,
    inputs: dict[str, str | None],
) -> dict[str, Any]:
    """Run the engine, with its progress on stderr; it writes the outputs."""
    from evenclay.sim.report.results import replay_house

    def progress(way: str, number: int, count: int) -> None:
        print(f"{number + 1} of {count}: {way}", file=sys.stderr)

    with _spreading(asked) as spread:
        return replay_house(
            house,
            weather,
            out,
            seed=asked.seed,
            first=asked.first,
            last=asked.last,
            grounds=asked.grounds,
            inputs=inputs,
            progress=progress,
            spread=spread,
        )


@contextmanager
def _spreading(asked: Asked) -> "Iterator[Spread]":
    """What lives on many grounds: processes side by side, with their progress on stderr."""
    from evenclay.tools.plan.workers import cores, counting, processes

    if asked.grounds is None:
        yield map
        return
    with processes(min(asked.processes or cores(), asked.grounds)) as (pool, count):
        for _ in range(count):  # each makes itself ready while this one lives on the middle ground
            pool.submit(import_module, "evenclay.sim.report.ways")

        def spread(
            task: "Callable[[PlausibleGround], Figures]", grounds: "Sequence[PlausibleGround]"
        ) -> "Iterator[Figures]":
            with counting("grounds") as tell:
                for done, found in enumerate(pool.map(task, grounds), 1):
                    tell(done, len(grounds))
                    yield found

        yield spread


def _show(summary: dict[str, Any], units: str, out: Path) -> None:
    """Print what the watering does, the ways side by side, and where the results are."""
    from rich.table import Table

    from evenclay.sim.report.sentences import first_sentence
    from evenclay.sim.report.year import middle_of
    from evenclay.sim.units import UNITS
    from evenclay.tools import tables

    shown = UNITS[units]
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
    console.print(first_sentence(summary).replace("\N{NO-BREAK SPACE}", " "))
    console.print(
        f"{weather['first_day']} to {weather['last_day']}: "
        f"{shown.number(weather['rain_mm'], 'total')} {shown.word('depth')} of rain, "
        f"{shown.number(weather['et0_mm'], 'total')} of reference evapotranspiration."
    )
    tables.show(table, console)
    many = (
        f"; the middle of {summary['grounds']} grounds, and what eight of ten lie between"
        if summary["grounds"]
        else ""
    )
    console.print(f"Unrest, movement and tilt: left alone is 100. Soaked days: more, a year{many}.")
    print(f"The report: {out / 'report.html'}")


def _text(value: Any) -> str:
    """A figure as the table has it, with two more where it is of many grounds."""
    if isinstance(value, dict):
        if value["p50"] is None:
            return "-"
        low, middle, high = (f"{value[name]:.0f}" for name in ("p10", "p50", "p90"))
        return middle if low == high else f"{middle} ({low}-{high})"
    return "-" if value is None else f"{value:.0f}"
