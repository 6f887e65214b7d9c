"""Commands about a property file: `demo`, `check` and `compile`."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from evenclay.sim import files
from evenclay.tools.board.bundle import ROOT
from evenclay.tools.cli.errors import each
from evenclay.tools.cli.options import (
    AsJson,
    Columns,
    Dates,
    DemandWeather,
    PropertyPath,
    PropertyPaths,
    Units,
    keep,
    means_in,
    read_weather,
)
from evenclay.tools.cli.output import make_console

if TYPE_CHECKING:
    from evenclay.tools.property.check import Check

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
    property_files: PropertyPaths,
    weather: DemandWeather = None,
    column: Columns = None,
    units: Units = "metric",
    dates: Dates = None,
    html: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write it as a page for a browser, too.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Show what a property file asks for, and what to know first.

    What runs when; minutes, litres and mm a day for each zone; hours a day for each spigot; water
    and cost a month; then the cautions, the most serious on top. Nothing is held back here. A file
    with mistakes gives one line for each instead. Several files give one line each.

    \b
    Examples:
        evenclay check house/property.toml --html house/check.html
        evenclay check houses/*.toml
    """
    from evenclay.tools.property.check import as_json as plain
    from evenclay.tools.property.check import line, show

    def found(path: Path) -> "Check":
        return _checked(path, weather, column, units, dates)

    def one(path: Path) -> int:
        said = found(path)
        text = json.dumps({"file": str(path)} | plain(said)) if as_json else f"{path}: {line(said)}"
        print(text, flush=True)
        return 0

    if len(property_files) > 1:
        if html is not None:
            message = f"found {len(property_files)} property files, allowed one for a page"
            raise typer.BadParameter(message, param_hint="--html")
        each(property_files, one)
        return
    if html is not None:
        keep([property_files[0], weather], [html], "--html")
    said = found(property_files[0])
    if html is not None:
        from evenclay.tools.handover.check_page import page_of

        files.write({html: page_of(said)})
    if as_json:
        print(json.dumps(plain(said), indent=2))
        return
    show(said, make_console())
    if html is not None:
        print(f"The page: {html}")


def _checked(
    path: Path, weather: Path | None, column: Columns, units: Units, dates: Dates
) -> "Check":
    """What there is to say of one property."""
    from evenclay.tools.property.check import check as check_property
    from evenclay.tools.property.compile import compile_house
    from evenclay.tools.property.demand import means_of
    from evenclay.tools.property.property import load

    prop = load(path)
    if weather is None:
        return check_property(prop, compile_house(prop))
    record = read_weather(weather, column, units, dates, prop.site.latitude, told=False)
    house = compile_house(prop, means_of(record, prop.site.latitude))
    return check_property(prop, house, str(weather), record.cautions)


def compile_plan(
    property_file: PropertyPath,
    out: Annotated[Path, typer.Option(help="File for the plan, such as hub/plan.0.")],
    weather: DemandWeather = None,
    column: Columns = None,
    units: Units = "metric",
    dates: Dates = None,
) -> None:
    """Compile a property into the plan that a hub obeys.

    Beside the plan comes `words`, what the hub's console says: the units and the names of the
    spigots are the property's. The two belong together.

    \b
    Example, and a hub on this machine that obeys it:
        evenclay compile house/property.toml --out hub/plan.0
        python -m evenclay.boards.desktop.main hub
    """
    from evenclay.tools.board.bundle import words
    from evenclay.tools.property.compile import compile_house
    from evenclay.tools.property.property import load

    if not out.name:
        raise typer.BadParameter(f"found {out}, a folder, allowed a file", param_hint="--out")
    beside = out.with_name("words")
    if out == beside:
        message = "found words, allowed another name: so is the file called that comes beside it"
        raise typer.BadParameter(message, param_hint="--out")
    keep([property_file, weather], [out, beside])
    prop = load(property_file)
    means = means_in(weather, column, units, dates, prop.site.latitude)
    house = compile_house(prop, means)
    data = house.plan.pack()
    files.write({out: data, beside: words((prop.site.units, *prop.supplies))})
    print(f"{out}: {len(data)} bytes, {len(house.plan.zones)} zones, crc {house.plan.crc:08x}")
    print(f"{beside}: what its console says")
