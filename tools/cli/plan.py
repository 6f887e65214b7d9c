"""Commands about many years: `invent`, `propose`, `sweep` and `compare`."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from evenclay.sim import files
from evenclay.tools.cli.errors import NO_PLAN
from evenclay.tools.cli.options import (
    AsJson,
    Columns,
    Dates,
    OutFolder,
    Processes,
    PropertyPath,
    Seed,
    Units,
    WeatherFiles,
    check_folder,
    keep,
    read_weather,
)
from evenclay.tools.cli.output import make_console, tell

if TYPE_CHECKING:
    from concurrent.futures import Executor
    from contextlib import AbstractContextManager

    import polars as pl

    from evenclay.sim.types import Line
    from evenclay.sim.weather.daily import Weather
    from evenclay.tools.plan.compare import Found
    from evenclay.tools.plan.proposal.propose import Proposal
    from evenclay.tools.plan.sweep import Sweep

YEAR_DAYS = 365  # what invent and compare need at least
PROPOSED = ("property.toml", "proposal.json", "plan.png")
COMPARED = ("compare.json", "years.csv", "compare.png")
CHANGED = ("before_after.json", "before_after.html")
Vary = Annotated[
    list[str] | None,
    typer.Option(
        metavar="PATH=VALUES",
        help="A value of the property and what to put there: values divided by commas, or "
        "FIRST..LAST..STEP; repeatable, for every combination.",
    ),
]


def invent(
    weather: Annotated[Path, typer.Option(help="The record to learn from, as replay takes it.")],
    out: Annotated[Path, typer.Option(metavar="FILE", help="The daily CSV to write.")],
    years: Annotated[int, typer.Option(min=1, max=90, help="How many years.")] = 30,
    seed: Seed = 1,
    latitude: Annotated[
        float | None, typer.Option(help="Degrees, where the record does not say.")
    ] = None,
    column: Columns = None,
    units: Units = "metric",
    dates: Dates = None,
    as_json: AsJson = False,
) -> None:
    """Invent years of weather with a record's habits, to replay more years than were measured.

    Rain and temperatures follow the record's months by Richardson's generator; their statistics
    are shown beside the record's. Wet years, long droughts and great storms come out too rare.

    With --units us the table is in inches and Fahrenheit, whatever the file's headings say. The
    years are written in mm and degrees C, and their headings say so.

    Example:

    \b
        evenclay invent --weather town.csv --latitude 32.4 --years 40 --out invented.csv
    """
    from evenclay.sim.units import METRIC, US
    from evenclay.sim.weather.generator import fit, generate
    from evenclay.sim.weather.statistics import compare_statistics
    from evenclay.tools import tables
    from evenclay.tools.plan import invented_weather as tool

    keep([weather], [out])
    record = read_weather(weather, column, units, dates, latitude, least_days=YEAR_DAYS)
    made = generate(fit(record), years, seed)
    files.write({out: tool.csv_of(made)})
    compared = compare_statistics(record, made)
    if as_json:
        print(json.dumps(tool.as_json(compared), indent=2))
        return
    console = make_console()
    shown = US if units == "us" else METRIC
    tables.show(tool.table_of(compared, shown), console)
    apart = [abs(row.errors) for row in compared if row.standard_error]
    if apart:
        console.print(f"Furthest apart: {max(apart):.1f} standard errors of the difference.")
    console.print(f"{years} years written to {out}")


def propose(
    property_file: PropertyPath,
    weather: Annotated[Path, typer.Option(help="Weather, as replay takes it.")],
    out: Annotated[
        Path | None,
        typer.Option(
            help="Folder for property.toml, proposal.json and plan.png; made if need be. No "
            "property file of your own may stand in it."
        ),
    ] = None,
    rows: Annotated[int, typer.Option(min=2, max=24, help="Rows at most, closed ones too.")] = 8,
    grounds: Annotated[
        int,
        typer.Option(min=1, max=64, help="Grounds to judge the plan on, none of them searched."),
    ] = 32,
    seed: Seed = 1,
    processes: Processes = None,
    column: Columns = None,
    units: Units = "metric",
    dates: Dates = None,
) -> None:
    """Work out how wet to keep the ground, and the seasonal table, from weather, soil and hoses.

    The hub's own model of the ground is fitted to the middle ground; three reliefs, by which strips
    are kept wetter than their own level, are lived on sixteen plausible grounds; and the table
    gives what the strips were given there in nine years of ten. The plan is then judged on
    other grounds, in the last third of the record.

    With --out: property.toml, your file with seasons, shares and the numbers of the estimate;
    proposal.json, all figures; and plan.png. Where watering is not sure to help, the verdict is to
    leave the house, and what limits it is said. Exit status 1, and no file, where no table fits.

    \b
    Example:
        evenclay propose house.toml --weather town.csv --out out/plan
    """
    from evenclay.tools.plan.proposal import propose as tool
    from evenclay.tools.property.property import load

    if out is not None:
        plan, figures, picture = (out / name for name in PROPOSED)
        keep([property_file, weather], [plan, figures, picture])
        if plan.exists() and not figures.exists():  # somebody's own file
            message = f"found {plan} without {figures.name}, allowed a folder without such a file"
            raise typer.BadParameter(message, param_hint="--out")
    prop = load(property_file)
    (record,) = _read_years([weather], column, units, dates, prop.site.latitude)
    if out is not None:
        check_folder(out)
    with _workers(processes) as (executor, _):
        found = tool.propose(
            prop,
            str(weather),
            record,
            rows=rows,
            grounds=grounds,
            seed=seed,
            executor=executor,
            tell=tell,
        )
    _tell_proposal(found, out)


def _tell_proposal(found: "Proposal | None", out: Path | None) -> None:
    """Show what was found and write it into the folder of --out, or exit where no table fits."""
    from evenclay.tools.plan.proposal.page import as_json, drawn, show

    console = make_console()
    if found is None:
        console.print("No table fits your windows, caps and supplies, so none is written.")
        raise typer.Exit(NO_PLAN)
    show(found, console)
    if out is not None:
        said = json.dumps(as_json(found), indent=2) + "\n"
        paths = [out / name for name in PROPOSED]
        files.write(dict(zip(paths, (found.text, said, drawn(found)), strict=True)))
        print(f"The property: {paths[0]}; the picture: {paths[2]}")


def sweep(
    property_files: Annotated[
        list[Path], typer.Argument(metavar="PROPERTY...", help="Property files, one or more.")
    ],
    weather: WeatherFiles,
    out: OutFolder,
    vary: Vary = None,
    years: Annotated[
        int, typer.Option(min=0, max=10_000, help="Years to invent a seed; 0: the record's own.")
    ] = 0,
    seeds: Annotated[int, typer.Option(min=1, max=10_000, help="How many seeds.")] = 1,
    seed: Annotated[int, typer.Option(min=0, max=2**31 - 1, help="The first of them.")] = 1,
    grounds: Annotated[
        int | None,
        typer.Option(min=1, max=64, help="Plausible grounds; the middle one alone without."),
    ] = None,
    processes: Processes = None,
    scheduler: Annotated[
        str | None, typer.Option(metavar="ADDRESS", help="A Dask scheduler, instead of processes.")
    ] = None,
    column: Columns = None,
    units: Units = "metric",
    dates: Dates = None,
    as_json: AsJson = False,
) -> None:
    """Replay variants of a property over many years and seeds, on all cores or a cluster.

    Every variant lives through every weather and seed under the hub, beside the same ground left
    alone. DIR/years.parquet gets a row for each year and zone. Stopped and started again, the same
    command goes on where it was.

    A path is written as in a message of check; * stands for every zone, spigot or list item.

    \b
    Examples, with two soils, 1,000 invented years, and five shares under two plans:
        evenclay sweep house.toml --weather town.csv --out out --vary 'soil.texture=clay,silty clay'
        evenclay sweep house.toml --weather town.csv --out out --years 50 --seeds 20
        evenclay sweep a.toml b.toml --weather town.csv --out out --vary 'zones.*.share=60..140..20'
    """
    from evenclay.tools.plan import sweep as sweeping
    from evenclay.tools.plan import sweep_summary
    from evenclay.tools.property.property import load

    results = [out / name for name in (sweeping.RESULT, sweeping.DEFINITION)]
    keep([*property_files, *weather], results)
    props = [load(path) for path in property_files]
    asked = sweeping.ask(
        props,
        vary or (),
        [str(path) for path in weather],
        lambda name, latitude_deg: read_weather(Path(name), column, units, dates, latitude_deg),
        range(seed, seed + seeds),
        years,
        grounds or 0,
    )
    check_folder(out)
    with _workers(processes, scheduler) as (executor, count):
        found = sweeping.run(asked, out, executor, count, tell)
    rows = sweep_summary.summary(found, asked.paths)
    if as_json:
        print(json.dumps(rows.to_dicts(), indent=2))
        return
    _show_sweep(asked, rows, props[0].site.units)
    print(f"A row for each year and zone: {results[0]}")


def _workers(
    processes: int | None, scheduler: str | None = None
) -> "AbstractContextManager[tuple[Executor, int]]":
    """The processes of this machine, or the workers of a cluster where a scheduler is named."""
    from evenclay.tools.plan import workers

    if scheduler is None:
        return workers.processes(processes or workers.cores())
    return workers.cluster(scheduler)


def _show_sweep(asked: "Sweep", rows: "pl.DataFrame", units: str) -> None:
    """Print a sweep's table and what to know of its figures."""
    from evenclay.tools import tables
    from evenclay.tools.plan import sweep_summary

    tables.show(sweep_summary.table_of(rows, asked.paths, units), make_console())
    for note in sweep_summary.notes(asked):
        print(note)


def compare(
    property_files: Annotated[
        list[Path],
        typer.Argument(
            metavar="PROPERTY [AFTER]", help="A property file; with a second one, before and after."
        ),
    ],
    weather: WeatherFiles,
    out: OutFolder,
    plan: Annotated[
        list[Path] | None,
        typer.Option(help="Another property file of the same house, for its plan; repeatable."),
    ] = None,
    grounds: Annotated[
        int, typer.Option(min=1, max=64, help="Plausible grounds; powers of two are most even.")
    ] = 16,
    years: Annotated[
        int, typer.Option(min=0, max=90, help="Years to invent from each record, besides its own.")
    ] = 0,
    seed: Seed = 1,
    processes: Processes = None,
    column: Columns = None,
    units: Units = "metric",
    dates: Dates = None,
    as_json: AsJson = False,
) -> None:
    """Set ways of watering side by side on many plausible grounds, over 26 years at least.

    Nobody knows the clay under a house, so every way lives on all grounds: no watering; one usual
    calendar; the property's own seasons bare; the hub by what it reckons alone, with a sample a
    week, with one soil probe, and with a probe in each zone; and informed, the same hub told the
    truth each day. Expect some minutes for each ground.

    Writes compare.json, years.csv (a row for each way, ground and year) and compare.png.

    Two property files of one house are compared as before and after: what changed in the file, and
    what that changes, by the hub as each file has it. Writes before_after.html and
    before_after.json.

    \b
    Examples:
        evenclay compare house.toml --weather town.csv --grounds 16 --out out/compare
        evenclay compare house.toml new.toml --weather town.csv --out out/change
    """
    from evenclay.tools.plan import compare as comparing
    from evenclay.tools.plan.before_after import judged
    from evenclay.tools.property.property import load

    if len(property_files) > 2:
        message = f"found {len(property_files)} property files, allowed one, or two: before, after"
        raise typer.BadParameter(message, param_hint="PROPERTY")
    if len(property_files) == 2 and plan:
        message = "found it beside two property files, allowed beside one"
        raise typer.BadParameter(message, param_hint="--plan")
    results = CHANGED if len(property_files) == 2 else COMPARED
    keep([*property_files, *weather, *(plan or ())], [out / name for name in results])
    props = [load(path) for path in property_files]
    others = [load(path) for path in plan or ()]
    records = _read_years(weather, column, units, dates, props[0].site.latitude)
    named = list(zip(map(str, weather), records, strict=True))
    check_folder(out)
    if len(props) == 2:
        with _workers(processes) as (executor, _):
            change = judged.live(props, named, years, grounds, seed, executor, tell)
        _tell_change(change, out, as_json)
        return
    jobs = comparing.jobs_of(props[0], named, years, seed)
    with _workers(processes) as (executor, _):
        found = comparing.run(jobs, others, grounds, executor, tell)
    _tell_comparison(found, seed, props[0].site.units, out, as_json)


def _tell_change(found: "Line", out: Path, as_json: bool) -> None:
    """Write what a change does into the folder of --out, and print it."""
    from evenclay.tools import tables
    from evenclay.tools.plan.before_after import page
    from evenclay.tools.plan.before_after.judged import SIDES, verdict_of

    text = json.dumps(found, indent=2, ensure_ascii=False)
    numbers, path = [out / name for name in CHANGED]
    files.write({numbers: text + "\n", path: page.page_of(found)})
    if as_json:
        print(text)
        return
    console = make_console()
    for weather in found["weathers"]:
        console.print(f"{page.period_of(found, weather)}. {verdict_of(found, weather)}")
        tables.show(page.table_of(found, weather), console)
        if any(weather[side]["broken"] for side in SIDES):
            console.print("!: a limit is broken.")
    print(f"The page: {path}")


def _tell_comparison(lives: "list[Found]", seed: int, units: str, out: Path, as_json: bool) -> None:
    """Write a comparison into the folder of --out, and print it."""
    from importlib.metadata import version

    import polars as pl

    from evenclay.sim.units import UNITS
    from evenclay.tools import tables
    from evenclay.tools.plan import compare_summary, compare_tables
    from evenclay.tools.plan.compare_picture import drawn

    found = compare_summary.summary(lives, seed, version("evenclay"))
    shown = UNITS[units]
    text = json.dumps(found, indent=2)
    rows = pl.DataFrame(compare_summary.rows_of(lives)).write_csv()
    paths = [out / name for name in COMPARED]
    files.write(dict(zip(paths, (text + "\n", rows, drawn(found, shown)), strict=True)))
    if as_json:
        print(text)
        return
    console = make_console()
    for weather in found["weathers"]:
        for table in compare_tables.tables_of(found, weather, shown):
            tables.show(table, console)
        for line in compare_tables.sentences_of(weather):
            console.print(line)
    for note in (compare_tables.KEY, *found["notes"]):
        console.print(note)
    print(f"The picture: {paths[2]}")


def _read_years(
    paths: list[Path], column: Columns, units: Units, dates: Dates, latitude_deg: float
) -> "list[Weather]":
    """Read weather files, each of which has to hold a year at least."""
    return [
        read_weather(path, column, units, dates, latitude_deg, least_days=YEAR_DAYS)
        for path in paths
    ]
