"""The `evenclay` command, put together from the modules beside this one.

Results go to stdout, progress and errors to stderr. Exit status: 0, 1 where no plan can do what is
asked, 2 for bad input with one line a mistake, 130 after Ctrl-C. Only a defect of ours shows a
traceback.

A command imports what it needs by itself: pandas, numba and their like take longer than all that
--help and check do.
"""

import io
import sys
from collections.abc import Callable
from typing import Annotated

import typer

from evenclay.tools.cli.board import bundle, flash
from evenclay.tools.cli.errors import Group
from evenclay.tools.cli.handover import calendar, card, layout
from evenclay.tools.cli.log import log, retrace
from evenclay.tools.cli.plan import compare, invent, propose, sweep
from evenclay.tools.cli.property import check, compile_plan, demo
from evenclay.tools.cli.replay import replay
from evenclay.tools.cli.start import start, weather
from evenclay.tools.cli.watch import watch

_HELP = """Keep the clay around a house evenly moist: check a property file, replay a year of it.

A property is one TOML file: the site, the spigots, a zone a side of the house, and the seasons.
Answer questions to begin yours, or copy the demo's with its weather:

\b
    evenclay start house/property.toml
    evenclay demo house

See what a file asks for, and what to know before you lay a hose:

\b
    evenclay check house/property.toml

Replay it on weather, and open out/report.html:

\b
    evenclay replay house/property.toml --weather house/weather.csv --out out
"""
app = typer.Typer(
    cls=Group,
    help=_HELP,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


def _version(asked: bool) -> None:
    """Print the version and end, where it is asked for."""
    if asked:
        from importlib.metadata import version

        print(f"evenclay {version('evenclay')}")
        raise typer.Exit


@app.callback()
def _options_of_all_commands(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_version, is_eager=True, help="Show the version."),
    ] = False,
) -> None:
    pass


# In the order in which --help lists them.
COMMANDS: dict[str, Callable[..., None]] = {
    "start": start,
    "weather": weather,
    "demo": demo,
    "check": check,
    "calendar": calendar,
    "layout": layout,
    "card": card,
    "compile": compile_plan,
    "bundle": bundle,
    "flash": flash,
    "log": log,
    "retrace": retrace,
    "watch": watch,
    "replay": replay,
    "invent": invent,
    "propose": propose,
    "sweep": sweep,
    "compare": compare,
}
for name, command in COMMANDS.items():
    app.command(name)(command)


def main() -> None:
    """Entry point of the `evenclay` command."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a name the terminal cannot show is no error
    app()
