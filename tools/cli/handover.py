"""Commands that hand something over to programs of other makers: `calendar`."""

from pathlib import Path
from typing import Annotated

import typer

from evenclay.sim import files
from evenclay.tools.cli.options import PropertyPath


def calendar(
    property_file: PropertyPath,
    year: Annotated[
        int | None, typer.Option(min=2001, max=2099, help="The year; else this one.")
    ] = None,
    cycles: Annotated[
        bool, typer.Option("--cycles", help="Every planned cycle of the year as well.")
    ] = False,
    out: Annotated[
        Path | None,
        typer.Option(help="File for it; else calendar.ics beside the property file."),
    ] = None,
) -> None:
    """Write a year's dates for a calendar: opening, closing and weekly checks, with reminders.

    The file is iCalendar, which most calendars open. Written again for the same year, its events
    have the same names, so most calendars replace them.

    \b
    Example:
        evenclay calendar house/property.toml --year 2027 --cycles
    """
    import datetime
    from collections import Counter

    from evenclay.tools.handover import calendar as calendars
    from evenclay.tools.property.compile import compile_house
    from evenclay.tools.property.property import load

    house = compile_house(load(property_file))
    asked = year or datetime.date.today().year
    found = calendars.of_year(house, asked, cycles=cycles)
    path = out or property_file.with_name("calendar.ics")
    files.write({path: found.to_ical()})
    counts = Counter(str(event["summary"]) for event in found.events)
    named = {name: counts.pop(name, 0) for name in calendars.NAMES}
    words = ", ".join(f"{name}: {count}" for name, count in named.items())
    print(f"Wrote {path} for {asked}. {words}. Planned cycles: {counts.total()}.")
