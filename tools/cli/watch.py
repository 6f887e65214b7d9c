"""The command `watch`."""

import queue
import sys
import threading
import time
from pathlib import Path
from typing import Annotated

import typer

from evenclay.tools.cli.options import (
    Columns,
    Dates,
    PropertyPath,
    Seed,
    Units,
    read_date,
    read_weather,
)
from evenclay.tools.cli.output import tell

LOOK_S = 0.2  # between two looks at the house while nobody types


def watch(
    property_file: PropertyPath,
    weather: Annotated[
        Path | None,
        typer.Option(
            help="Weather, as replay takes it; without it, the demo's, which is invented."
        ),
    ] = None,
    speed: Annotated[
        float,
        typer.Option(min=1, max=1e6, help="Seconds in the house for each second here; 1: real."),
    ] = 600,
    first: Annotated[
        str | None, typer.Option("--from", metavar="DATE", help="First day, such as 2021-06-01.")
    ] = None,
    seed: Seed = 1,
    column: Columns = None,
    units: Units = "metric",
    dates: Dates = None,
) -> None:
    """Play with a hub before you own one: its console, its light and its button.

    The hub is the real one; house, valves and ground are simulated. Type what you would type on the
    board's console, and it answers. Its light is a line that is printed when it changes.

    \b
    Example, an hour in six seconds, from a day of June on:
        evenclay watch house/property.toml --weather house/weather.csv --from 2022-06-01
    """
    from evenclay.sim.replay.stay import stay_of
    from evenclay.sim.section import index_of
    from evenclay.tools.board import watch as engine
    from evenclay.tools.board.bundle import ROOT
    from evenclay.tools.property.compile import compile_house
    from evenclay.tools.property.demand import means_of
    from evenclay.tools.property.property import load

    prop = load(property_file)
    first_day = read_date("--from", first)
    if weather is None:
        weather = ROOT / "sim" / "demo" / "weather.csv"
        tell("The weather is invented: the demo's, of no place on Earth.")
    record = read_weather(weather, column, units, dates, prop.site.latitude)
    house = compile_house(prop, means_of(record, prop.site.latitude))
    stay = stay_of(record, first_day)
    tell("The ground settles under the house; the first time takes a minute.")
    life, end_s = engine.move_in(house, stay, index_of(record, prop.site.latitude), seed)
    names = (prop.site.units, *prop.supplies)
    watched = engine.Watch(life, end_s, names, speed, time.monotonic, print)
    print(engine.HELP)
    lines = _lines()
    while not watched.ended:
        try:
            line = lines.get(timeout=LOOK_S)
        except queue.Empty:
            watched.go_on()
            continue
        watched.go_on()
        if line is None:
            break
        if not watched.ended:
            watched.typed(line)


def _lines() -> "queue.SimpleQueue[str | None]":
    """Lines that are typed, as they come; None at their end."""
    lines: queue.SimpleQueue[str | None] = queue.SimpleQueue()

    def read() -> None:
        for line in sys.stdin:
            lines.put(line.strip())
        lines.put(None)

    threading.Thread(target=read, daemon=True).start()
    return lines
