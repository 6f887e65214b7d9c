"""Commands that one begins with: `start` and `weather`."""

from collections.abc import Callable
from inspect import Parameter, Signature
from pathlib import Path
from typing import Annotated

import typer

from evenclay.sim import files
from evenclay.tools.cli.errors import NO_PLAN
from evenclay.tools.cli.options import PropertyPath
from evenclay.tools.cli.output import make_console, tell
from evenclay.tools.start.questions import QUESTIONS


def _with_questions(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command an option for each question, in the order in which they are asked."""
    given = [
        Parameter(
            question.key.replace("-", "_"),
            Parameter.KEYWORD_ONLY,
            default=None,
            annotation=Annotated[
                str | None,
                typer.Option(f"--{question.key}", help=question.help, metavar="ANSWER"),
            ],
        )
        for question in QUESTIONS
    ]
    path = Parameter("property_file", Parameter.POSITIONAL_OR_KEYWORD, annotation=PropertyPath)
    # The command's options are made by the table of questions; type checkers know of no such name.
    command.__signature__ = Signature([path, *given])  # type: ignore[attr-defined]
    return command


@_with_questions
def start(property_file: Path, **options: str | None) -> None:
    """Begin a property file by questions, or change answers in one.

    Without options it asks; what stands in brackets is taken where you only press Enter. With
    options it asks nothing: what they do not say is as the file has it, or as is usual, and you are
    told. A file that is there keeps its comments, and all that you do not change.

    \b
    Examples:
        evenclay start house/property.toml
        evenclay start house/property.toml --where 76065 --north "40 ft" --east "30 ft"
        evenclay start house/property.toml --clay "black clay"
    """
    from evenclay.tools.property.property import load, parse
    from evenclay.tools.start import closing, guide

    before = load(property_file) if property_file.exists() else None
    answers = {key.replace("_", "-"): value for key, value in options.items() if value is not None}
    try:
        given = guide.gather(answers, before)
    except guide.Moving:
        print(closing.STOP)
        raise typer.Exit(NO_PLAN) from None
    text, rows = guide.file_of(given, str(property_file), before)
    files.write({property_file: before.source.as_file(text) if before else text})
    console = make_console()
    console.print(f"Wrote {property_file}.")
    for typed, answer in given.read:
        console.print(f"Read {typed} as {answer}.")
    assumed = closing.assumed(given.texts, given.assumed, given.fresh, rows)
    parts = (
        ("What changed in it:", closing.changes(before, text)),
        ("Assumed, since nobody said it:", assumed),
        (
            "What each of these hoses gives now:",
            closing.hoses(given.texts, before, parse(text, "")),
        ),
        ("Measure with a bucket and a watch:", closing.measures(given.texts, property_file)),
        ("Type next:", closing.next_steps(given.texts, property_file)),
    )
    for heading, lines in parts:
        found = list(lines)
        if found:
            console.print(f"\n{heading}")
        for line in found:
            console.print(f"  - {line}" if heading != "Type next:" else f"  {line}")


def weather(
    property_file: PropertyPath,
    out: Annotated[
        Path | None,
        typer.Option(help="File for the record; else weather.csv beside the property file."),
    ] = None,
    years: Annotated[
        int, typer.Option(min=1, max=60, help="Whole years, besides what there is of this one.")
    ] = 30,
    service: Annotated[
        str | None,
        typer.Option(
            envvar="EVENCLAY_WEATHER_SERVICE",
            help="Address of the service, where NASA POWER's daily one has moved.",
        ),
    ] = None,
) -> None:
    """Fetch a record of daily weather for the place of a property.

    It comes from NASA POWER, which estimates the weather of every place on land by grid cells; a
    gauge in your town is better where there is one. Without a network you are told the address to
    open in a browser. A record that was fetched today is taken from a cache.

    \b
    Example:
        evenclay weather house/property.toml
    """
    import datetime

    from evenclay.tools.property.file.mistakes import Mistake
    from evenclay.tools.property.property import load
    from evenclay.tools.start import closing
    from evenclay.tools.start import weather as records

    prop = load(property_file)
    site = prop.site
    if site.longitude is None:
        allowed = f"degrees; say where it stands: evenclay start {property_file} --where ..."
        raise prop.source.error([Mistake(("site", "longitude"), "no longitude", allowed)])
    path = out or property_file.with_name("weather.csv")
    records.refuse_own(path)
    first, last = records.span(years, datetime.date.today())
    where = records.address(service or records.SERVICE, site.latitude, site.longitude, first, last)
    tell(f"Asking for {first} to {last}; the service may work for a minute.")
    text, found = records.record(where, path)
    files.write({path: text})
    for line in records.told(text, found, site):
        print(line)
    print(f"Wrote {path}. Type next:")
    for line in closing.planning(property_file, path):
        print(f"  {line}")
