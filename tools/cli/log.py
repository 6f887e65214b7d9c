"""Commands for a hub's log: `log` gets it off the board, `retrace` runs the core on it again."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from evenclay.sim import files
from evenclay.tools.cli.options import (
    REPORTED,
    Columns,
    Dates,
    DemandWeather,
    PropertyPath,
    Units,
    check_folder,
    keep,
    means_in,
)
from evenclay.tools.cli.output import tell

if TYPE_CHECKING:
    from evenclay.sim.house.house import House

DIFFERS = 1


def log(
    port: Annotated[
        str | None,
        typer.Argument(
            metavar="PORT",
            help="Serial port of the board, else the only one on USB; or the folder in which a hub "
            "on this machine keeps its log.",
        ),
    ] = None,
) -> None:
    """Get a hub's log off its board, as lines of JSON.

    A hub that runs is stopped: its board restarts with every valve shut, hands the log over, and
    restarts. So do this while nothing is being watered. A hub on this machine goes on: name its
    folder.

    \b
    Examples:
        evenclay log /dev/ttyACM0 > hub.jsonl
        evenclay log hub > hub.jsonl
    """
    from evenclay.controller.limits import DAY_S
    from evenclay.tools.board.flash import find_port
    from evenclay.tools.log.items import Turn, items_of
    from evenclay.tools.log.lines import lines_of
    from evenclay.tools.log.pull import in_folder, pull

    if port and Path(port).is_dir():
        found, plans = in_folder(Path(port))
    else:
        found, plans = pull(port or find_port("PORT"))
    items = list(items_of(found))
    for line in lines_of(items, plans):
        print(line)
    size = sum(map(len, found.values()))
    clock = [item.wall_s for item in items if isinstance(item, Turn) and item.wall_s is not None]
    days = (clock[-1] - clock[0]) / DAY_S if clock else 0.0
    a_day = f", {size / days:.0f} a day" if days >= 1 else ""
    many = "1 file" if len(found) == 1 else f"{len(found)} files"
    over = f" over {days:.1f} days{a_day}" if days >= 0.05 else ""
    tell(f"{many}, {size} bytes{over}")


def retrace(
    log_file: Annotated[Path, typer.Argument(metavar="LOG", help="What `evenclay log` printed.")],
    property_file: PropertyPath,
    out: Annotated[
        Path | None,
        typer.Option(help="Folder for decisions.jsonl, daily.csv and report.html of these days."),
    ] = None,
    without: Annotated[
        list[str] | None,
        typer.Option(metavar="PART", help="A part left out of the plan, as in bundle; repeatable."),
    ] = None,
    weather: DemandWeather = None,
    column: Columns = None,
    units: Units = "metric",
    dates: Dates = None,
) -> None:
    """Run a hub's own code again on its log, and show each decision with its reason.

    The hub's log holds what it was told. Told the same, it has to decide the same: the first
    decision that differs is named, and the exit status is 1. Where the board ran another plan than
    the property's, or another version of the code, one line says so.

    \b
    Example:
        evenclay retrace hub.jsonl house.toml --out out
    """
    from evenclay.boards.desktop.core import core_version
    from evenclay.tools.board import wiring
    from evenclay.tools.log.lines import read
    from evenclay.tools.log.retrace import retraced
    from evenclay.tools.property.compile import compile_house
    from evenclay.tools.property.property import load

    if out is not None:
        keep([log_file, property_file, weather], [out / name for name in REPORTED])
    items, plans = read(log_file.read_text("utf-8", "replace"), str(log_file))
    prop = wiring.without(load(property_file), without or ())
    means = means_in(weather, column, units, dates, prop.site.latitude)
    house: House = compile_house(prop, means)
    if out is not None:
        check_folder(out)
    found = retraced(items, plans, house, core_version())
    for line in found.lines:
        print(line)
    for note in found.notes:
        tell(note)
    print(found.verdict)
    if out is not None:
        from evenclay.tools.log.page import files_of  # draws, which takes long to import

        files.write({out / name: text for name, text in files_of(found).items()})
        print(f"The report: {out / 'report.html'}")
    if found.differs:
        sys.exit(DIFFERS)
