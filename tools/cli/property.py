"""Commands about a property file: `demo`, `check` and `compile`."""

import json
from pathlib import Path
from typing import Annotated

import typer

from evenclay.sim import files
from evenclay.tools.board.bundle import ROOT
from evenclay.tools.cli.options import (
    AsJson,
    Columns,
    Dates,
    DemandWeather,
    PropertyPath,
    Units,
    means_in,
    read_weather,
)
from evenclay.tools.cli.output import make_console

_DEMO = ("property.toml", "weather.csv")


def demo(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder; made if need be.")],
) -> None:
    """Copy the demo property and its weather into a folder, to begin with.

    \b
    Example:
        evenclay demo house
    """
    copies = {folder / name: (ROOT / "sim" / "demo" / name).read_bytes() for name in _DEMO}
    for path in copies:
        if path.exists():
            message = f"found {path}, allowed a folder without it"
            raise typer.BadParameter(message, param_hint="DIR")
    files.write(copies)
    for path in copies:
        print(path)


def check(
    property_file: PropertyPath,
    weather: DemandWeather = None,
    column: Columns = None,
    units: Units = "metric",
    dates: Dates = None,
    as_json: AsJson = False,
) -> None:
    """Show what a property file asks for, and what to know first.

    What runs when; minutes, litres and mm a day for each zone; hours a day for each spigot; water
    and cost a month; then the cautions, the most serious on top. Nothing is held back here. A file
    with mistakes gives one line for each instead.

    \b
    Example:
        evenclay check house/property.toml
    """
    from evenclay.tools.property.check import as_json as plain
    from evenclay.tools.property.check import check as check_property
    from evenclay.tools.property.check import show
    from evenclay.tools.property.compile import compile_house
    from evenclay.tools.property.demand import means_of
    from evenclay.tools.property.property import load

    prop = load(property_file)
    name, means = None, None
    doubts: tuple[str, ...] = ()
    if weather is not None:
        record = read_weather(weather, column, units, dates, prop.site.latitude, told=False)
        name, means = str(weather), means_of(record, prop.site.latitude)
        doubts = record.cautions
    found = check_property(prop, compile_house(prop, means), name, doubts)
    if as_json:
        print(json.dumps(plain(found), indent=2))
    else:
        show(found, make_console())


def compile_plan(
    property_file: PropertyPath,
    out: Annotated[Path, typer.Option(help="File for the plan, such as hub/plan.0.")],
    weather: DemandWeather = None,
    column: Columns = None,
    units: Units = "metric",
    dates: Dates = None,
) -> None:
    """Compile a property into the plan that a hub obeys.

    \b
    Example, and a hub on this machine that obeys it:
        evenclay compile house/property.toml --out hub/plan.0
        python -m evenclay.boards.desktop.main hub
    """
    from evenclay.tools.property.compile import compile_house
    from evenclay.tools.property.property import load

    prop = load(property_file)
    means = means_in(weather, column, units, dates, prop.site.latitude)
    house = compile_house(prop, means)
    data = house.plan.pack()
    files.write({out: data})
    print(f"{out}: {len(data)} bytes, {len(house.plan.zones)} zones, crc {house.plan.crc:08x}")
