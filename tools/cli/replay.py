"""The command `replay`."""

import datetime
import json
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from evenclay.sim import files
from evenclay.tools.cli.options import (
    AsJson,
    Columns,
    Dates,
    OutFolder,
    PropertyPath,
    Seed,
    Units,
    check_folder,
    read_date,
    read_weather,
)
from evenclay.tools.cli.output import make_console

if TYPE_CHECKING:
    from evenclay.sim.house.house import House
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
    as_json: AsJson = False,
) -> None:
    """Replay a property on daily weather.

    The hub's own code decides, beside three other policies on the same weather.

    Writes summary.json, decisions.jsonl, daily.csv and report.html into the folder of --out. The
    same command gives the same results.

    \b
    Example, one year of a longer record:
        evenclay replay house.toml --weather town.csv --out out --from 2021-01-01 --to 2021-12-31
    """
    from evenclay.tools.property.advice import cautions
    from evenclay.tools.property.compile import compile_house
    from evenclay.tools.property.demand import mean_et0_mm
    from evenclay.tools.property.property import load

    prop = load(property_file)
    first_day, last_day = read_date("--from", first), read_date("--to", last)
    if first_day and last_day and first_day > last_day:
        message = f"found {first_day}, after {last_day}; allowed is --from on or before --to"
        raise typer.BadParameter(message, param_hint="--from, --to")
    days = (first_day, last_day)
    record = read_weather(weather, column, units, dates, prop.site.latitude, days=days)
    house = compile_house(prop, mean_et0_mm(record, prop.site.latitude))
    house = replace(house, cautions=tuple(cautions(prop, house.plan)))
    check_folder(out)
    inputs = {"property": files.sha256(property_file), "weather": files.sha256(weather)}
    summary = _replay(house, record, out, seed, first_day, last_day, inputs)
    if as_json:
        print(json.dumps(summary, indent=2))
    else:
        _show(summary, house.units, out)


def _replay(
    house: "House",
    weather: "Weather",
    out: Path,
    seed: int,
    first_day: datetime.date | None,
    last_day: datetime.date | None,
    inputs: dict[str, str | None],
) -> dict[str, Any]:
    """Run the engine, with its progress on stderr; it writes the outputs."""
    from evenclay.sim.report.results import replay_house

    def progress(policy: str, number: int, count: int) -> None:
        print(f"{number + 1} of {count}: {policy}", file=sys.stderr)

    return replay_house(
        house,
        weather,
        out,
        seed=seed,
        first=first_day,
        last=last_day,
        inputs=inputs,
        progress=progress,
    )


def _show(summary: dict[str, Any], units: str, out: Path) -> None:
    """Print the policies side by side and where the results are."""
    from rich.table import Table

    from evenclay.sim.units import UNITS
    from evenclay.tools import tables

    shown = UNITS[units]
    days = ("days_in_band", "days_dry", "days_wet", "days_rain_wet", "days_rewetting")
    table = Table()
    table.add_column("policy", no_wrap=True)
    for name in (shown.word("volume"), *days, "unevenness, pF"):
        heading = name.removeprefix("days_").replace("_", " ")
        table.add_column(heading.replace("rewetting", "re-wet"), justify="right")
    for policy, measured in summary["policies"].items():
        uneven = measured["unevenness_pf"]
        table.add_row(
            policy.replace("_", ", "),
            shown.number(measured["litres"], "volume"),
            *(f"{measured[name]:,}" for name in days),
            "-" if uneven is None else f"{uneven:.2f}",
        )
    weather = summary["weather"]
    console = make_console()
    console.print(
        f"{weather['first_day']} to {weather['last_day']}: "
        f"{shown.number(weather['rain_mm'], 'total')} {shown.word('depth')} of rain, "
        f"{shown.number(weather['et0_mm'], 'total')} of reference evapotranspiration."
    )
    tables.show(table, console)
    console.print("Season days, all zones added; rain wet: wetter than the band by rain alone.")
    print(f"The report: {out / 'report.html'}")
