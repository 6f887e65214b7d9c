"""Commands that bring a hub onto a board: `bundle` and `flash`."""

from pathlib import Path
from typing import Annotated

import typer

from evenclay.tools.board.bundle import board_names
from evenclay.tools.cli.options import (
    Columns,
    Dates,
    DemandWeather,
    PropertyPath,
    Units,
    means_in,
)


def bundle(
    property_file: PropertyPath,
    board: Annotated[
        str,
        typer.Option(
            help=f"One of {', '.join(board_names())}; or the folder of your own, wherever it is."
        ),
    ],
    out: Annotated[Path, typer.Option(help="Folder for the bundle; made if need be.")],
    without: Annotated[
        list[str] | None,
        typer.Option(
            metavar="PART",
            help="A part that you do not have, left out of the plan: probe.ZONE, meter.SPIGOT, "
            "gauge, contact, thermometer or battery; repeatable.",
        ),
    ] = None,
    weather: DemandWeather = None,
    column: Columns = None,
    units: Units = "metric",
    dates: Dates = None,
) -> None:
    """Compile everything that a board needs into one folder.

    The core, the drivers, the board's pin map and the plan of a property; and what else it takes to
    copy it, install it by mip, or freeze it into firmware. next.txt in it says what to type next.

    What the property asks for and the pin map has no pin for is refused: more zones or spigots, a
    held valve for a latching one, a sensor. Wire it and name its pin, or leave it out.

    \b
    Examples:
        evenclay bundle --board rp2_pico_w house.toml --out out/bundle
        evenclay bundle --board ~/my_hub house.toml --without probe.east --out out/bundle
    """
    from evenclay.tools.board import bundle as bundles
    from evenclay.tools.board import wiring
    from evenclay.tools.property.compile import compile_house
    from evenclay.tools.property.property import load

    found = bundles.find(board)
    prop = wiring.without(load(property_file), without or ())
    mistakes = [] if found.pins is None else list(wiring.misfits(prop, found.pins))
    if mistakes:
        raise prop.source.error(mistakes)
    means = means_in(weather, column, units, dates, prop.site.latitude)
    plan = compile_house(prop, means).plan
    made = bundles.make(found, plan, (prop.site.units, *prop.supplies))
    bundles.write(made, plan, out)
    size = sum(len(data) for data in made.files.values())
    print(f"{out}: {len(made.files)} files, {size} bytes, plan crc {plan.crc:08x}\n")
    print((out / "next.txt").read_text("utf-8"), end="")


def flash(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A bundle.")],
    port: Annotated[
        str | None, typer.Option(help="Serial port of the board; else the only one on USB.")
    ] = None,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Show each step for an empty board, and touch none.")
    ] = False,
) -> None:
    """Copy a bundle to a board, check it there, and restart the board.

    A hub that runs there is stopped: its board restarts with every valve shut, and waits. Files of
    an older hub that the bundle does not have are removed; record and settings stay.

    \b
    Example:
        evenclay flash out/bundle --dry-run
        evenclay flash out/bundle
    """
    from evenclay.tools.board import bundle as bundles
    from evenclay.tools.board import flash as flashing

    made = bundles.read(folder)
    target: flashing.Target = flashing.Pretended()
    if not dry_run:
        target = flashing.Serial(port or flashing.find_port())
    flashing.flash(target, made, print)
