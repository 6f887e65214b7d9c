"""Commands that hand something over: `calendar`, `layout` and `card`."""

from pathlib import Path
from typing import Annotated, Literal

import typer

from evenclay.sim import files
from evenclay.tools.cli.options import PropertyPath, keep
from evenclay.tools.cli.output import make_console, tell

LAYOUT_MM = (190.0, 240.0)  # the drawing fits on a sheet of A4 and of Letter


def calendar(
    property_file: PropertyPath,
    year: Annotated[
        int | None,
        typer.Option(
            min=2001,
            max=2099,
            help="The year; else the one whose dates come next.",
        ),
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
    keep their ids, also where titles or hours have changed, so most calendars replace them.

    \b
    Example:
        evenclay calendar house/property.toml --year 2027 --cycles
    """
    import datetime
    from collections import Counter

    from evenclay.tools.handover import calendar as calendars
    from evenclay.tools.property.compile import compile_house
    from evenclay.tools.property.property import load

    path = out or property_file.with_name("calendar.ics")
    keep([property_file], [path])
    house = compile_house(load(property_file))
    today = datetime.date.today()
    asked = year or today.year
    found = calendars.of_year(house, asked, cycles=cycles)
    if year is None and calendars.is_over(found, today):
        asked += 1
        found = calendars.of_year(house, asked, cycles=cycles)
    files.write({path: found.to_ical()})
    counts = Counter(str(event["summary"]) for event in found.events)
    named = {name: counts.pop(name, 0) for name in calendars.NAMES}
    words = ", ".join(f"{name}: {count}" for name, count in named.items())
    planned = f" Planned cycles: {counts.total()}." if cycles else ""
    print(f"Wrote {path} for {asked}. {words}.{planned}")


def layout(
    property_file: PropertyPath,
    out: Annotated[
        Path | None,
        typer.Option(help="Folder for layout.svg and layout.png; else the property file's own."),
    ] = None,
    fix: Annotated[
        bool, typer.Option("--fix", help="Write lengths and supplies into the file's zones.")
    ] = False,
) -> None:
    """Find where the hoses run, draw it to scale, and list what it takes.

    The file's [outline] says what the house looks like from above. No hose is longer or waters less
    evenly than its hydraulics allow. Pipe without holes is kept short; a metre of sleeve under
    paving counts as ten metres of it.

    \b
    Examples:
        evenclay layout house/property.toml
        evenclay layout house/property.toml --fix
    """
    from evenclay.tools.handover.layout import told
    from evenclay.tools.handover.layout.drawing import Sheet, figure_of, png_file, svg_file
    from evenclay.tools.handover.layout.layout import lay_out
    from evenclay.tools.handover.layout.written import written
    from evenclay.tools.property.property import load

    folder = out or property_file.parent
    svg, png = folder / "layout.svg", folder / "layout.png"
    keep([property_file], [svg, png])
    found = lay_out(load(property_file))
    text = written(found) if fix else None
    sheet = Sheet(found, *LAYOUT_MM, names=True)
    figure = figure_of(sheet)
    drawn: dict[Path, str | bytes] = {svg: svg_file(figure), png: png_file(figure)}
    if text is not None:
        drawn[property_file] = text
    files.write(drawn)
    told.show(found, make_console())
    most = _valves_most()
    if len(found.laid) > most:
        tell(
            f"Caution: this takes {len(found.laid)} valves, and the boards of Evenclay have at most"
            f" {most}: name more in VALVES of a pins.py of your own, or water fewer sides."
        )
    if sheet.unnamed:
        tell("Caution: the drawing has no room for all names; the tables tell which hose is whose.")
    print(f"Wrote {', '.join([str(path) for path in drawn])}.")


def _valves_most() -> int:
    """How many valves the largest of the boards that come with this project has."""
    from evenclay.tools.board.bundle import board_names, find

    maps = [find(name).pins for name in board_names()]
    return max(pins.count("VALVES") for pins in maps if pins is not None)


def card(
    property_file: PropertyPath,
    out: Annotated[
        Path | None,
        typer.Option(help="File for the page; else card.html beside the property file."),
    ] = None,
    paper: Annotated[
        Literal["a4", "letter"] | None,
        typer.Option(
            help="The paper; else letter where the property's units are US, a4 elsewhere."
        ),
    ] = None,
    pdf: Annotated[
        bool, typer.Option("--pdf", help="A PDF as well, by a browser of this machine.")
    ] = False,
) -> None:
    """Write the sheet that is left with the owner: one side of paper up to four zones.

    It shows where the hoses lie, what screws together at each spigot, what runs when, how to check
    the ground and what to tell the hub, and when to stop. The page prints from any browser. The
    file has a plan, as `evenclay propose` writes it.

    \b
    Example:
        evenclay card house/plan/property.toml --pdf
    """
    from evenclay.tools.handover.card.card import card_of
    from evenclay.tools.handover.card.printed import printed
    from evenclay.tools.property.file.mistakes import Mistake
    from evenclay.tools.property.property import load

    path = out or property_file.with_name("card.html")
    as_pdf = path.with_suffix(".pdf")
    keep([property_file], [path, as_pdf] if pdf else [path])
    prop = load(property_file)
    if not prop.reckons and prop.estimate.estimate != "off":
        allowed = (
            "the numbers of one, as `evenclay propose` writes them; or estimate = "
            '"off" for a hub that waters by the table alone'
        )
        raise prop.source.error([Mistake(("estimate",), "no plan yet", allowed)])
    text = card_of(prop, paper)
    files.write({path: text})
    print(f"Wrote {path}.")
    if pdf:
        files.write({as_pdf: printed(text)})
        print(f"Wrote {as_pdf}.")
