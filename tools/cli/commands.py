"""The `evenclay` command.

Results go to stdout, progress and errors to stderr. Exit status: 0, 1 where no plan can do what is
asked, 2 for bad input with one line a mistake, 130 after Ctrl-C. Only a defect of ours shows a
traceback.

A command imports what it needs by itself: pandas, numba and their like take longer than all that
--help and check do.
"""

import datetime
import io
import json
import shutil
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer
from typer.core import TyperGroup

from evenclay.sim import files
from evenclay.tools.board.bundle import ROOT, board_names
from evenclay.tools.board.pin_map import DeviceError
from evenclay.tools.plan import compare_summary, compare_tables, sweep_summary

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console

    from evenclay.sim.house.house import House
    from evenclay.sim.weather.record import Weather

NO_PLAN = 1
BAD_INPUT = 2
INTERRUPTED = 130
_DEMO = ("property.toml", "weather.csv")
YEAR_DAYS = 365  # what propose, compare and invent need at least

_HELP = """Keep the clay around a house evenly moist: check a property file, replay a year of it.

A property is one TOML file: the site, the spigots, a zone a side of the house, and the seasons.
Begin with a copy of the demo's, whose comments explain every block, and of its weather:

\b
    evenclay demo house

See what a file asks for, and what to know before you lay a hose:

\b
    evenclay check house/property.toml

Replay it on weather, and open out/report.html:

\b
    evenclay replay house/property.toml --weather house/weather.csv --out out
"""


class _Group(TyperGroup):
    """The one place where what a user can cause becomes one line and an exit status."""

    def main(self, *args: Any, **extra: Any) -> Any:
        extra["standalone_mode"] = False
        try:
            status = super().main(*args, **extra)
        except (OSError, typer.TyperException, typer.Abort, ValueError) as error:
            status = _status(error)
        except KeyboardInterrupt:
            status = INTERRUPTED
        sys.exit(status or 0)


def _status(error: Exception) -> int:
    """Print an error of the user's in one line and return the exit status; raise any other."""
    if isinstance(error, typer.Abort):
        return INTERRUPTED
    from evenclay.tools.property.file.mistakes import PropertyError
    from evenclay.tools.property.file.wording import printable

    if isinstance(error, OSError):
        name = "" if error.filename is None else f"{printable(str(error.filename))}: "
        lines = [name + (error.strerror or str(error))]
    elif isinstance(error, PropertyError):
        lines = error.lines
    elif isinstance(error, typer.TyperException):
        lines = [f"{printable(_message(error)).rstrip('.')}; see the --help of the command"]
    elif _is_refusal(error):
        lines = [printable(str(error))]
    else:
        raise error
    for line in lines:
        print(line, file=sys.stderr)
    return BAD_INPUT


def _message(error: Exception) -> str:
    """What a usage error says, with the option it is about."""
    return str(error.format_message()) if hasattr(error, "format_message") else str(error)


def _is_refusal(error: Exception) -> bool:
    """Whether an error is one line for the user."""
    from evenclay.sim.weather.record import WeatherError
    from evenclay.tools.plan.workers import SweepError

    return isinstance(error, DeviceError | SweepError | WeatherError)


app = typer.Typer(
    cls=_Group,
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
def _evenclay(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_version, is_eager=True, help="Show the version."),
    ] = False,
) -> None:
    pass


PropertyPath = Annotated[Path, typer.Argument(metavar="PROPERTY", help="A property file (TOML).")]
Columns = Annotated[
    list[str] | None,
    typer.Option(
        "--column",
        metavar="WHAT=NAME",
        help="A column of the weather file under another name, such as rain=P_mm; repeatable. "
        "WHAT is one of date, year, month, day, doy, rain, tmin, tmax, et0, rh, rh_min, rh_max, "
        "dew, wind_2m, wind_10m, solar.",
    ),
]
Units = Annotated[
    Literal["metric", "us", "tenths"],
    typer.Option(
        help="Units of the weather file, where neither its format nor its headings say: mm and "
        "degrees C, inches and Fahrenheit, or tenths of mm and of degrees C.",
    ),
]
Dates = Annotated[
    Literal["mdy", "dmy"] | None,
    typer.Option(help="Order of dates such as 1/2/2019, where no date of the weather shows it."),
]
DemandWeather = Annotated[
    Path | None,
    typer.Option(help="Weather, as replay takes it: its mean ET0 becomes the seasons' demand."),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON for programs.")]


@app.command()
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


@app.command()
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
    from evenclay.tools.property.demand import mean_et0_mm
    from evenclay.tools.property.property import load

    prop = load(property_file)
    name, et0_mm = None, None
    doubts: tuple[str, ...] = ()
    if weather is not None:
        record = _weather(weather, column, units, dates, prop.site.latitude, told=False)
        name, et0_mm = str(weather), mean_et0_mm(record, prop.site.latitude)
        doubts = record.cautions
    found = check_property(prop, compile_house(prop, et0_mm), name, doubts)
    if as_json:
        print(json.dumps(plain(found), indent=2))
    else:
        show(found, _console())


@app.command("compile")
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
    et0_mm = _mean_et0_mm(weather, column, units, dates, prop.site.latitude)
    house = compile_house(prop, et0_mm)
    data = house.plan.pack()
    files.write({out: data})
    print(f"{out}: {len(data)} bytes, {len(house.plan.zones)} zones, crc {house.plan.crc:08x}")


@app.command()
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
    from evenclay.tools.board import fitting
    from evenclay.tools.property.compile import compile_house
    from evenclay.tools.property.property import load

    found = bundles.find(board)
    prop = fitting.without(load(property_file), without or ())
    mistakes = [] if found.pins is None else list(fitting.misfits(prop, found.pins))
    if mistakes:
        raise prop.source.error(mistakes)
    et0_mm = _mean_et0_mm(weather, column, units, dates, prop.site.latitude)
    plan = compile_house(prop, et0_mm).plan
    made = bundles.make(found, plan)
    bundles.write(made, plan, out)
    size = sum(len(data) for data in made.files.values())
    print(f"{out}: {len(made.files)} files, {size} bytes, plan crc {plan.crc:08x}\n")
    print((out / "next.txt").read_text("utf-8"), end="")


@app.command()
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


@app.command()
def replay(
    property_file: PropertyPath,
    weather: Annotated[
        Path,
        typer.Option(
            help="Weather: a daily CSV, GHCN-Daily (.dly, by station or access CSV), NASA POWER "
            "daily, or EPW."
        ),
    ],
    out: Annotated[Path, typer.Option(help="Folder for the results; made if need be.")],
    seed: Annotated[int, typer.Option(min=0, max=2**31 - 1, help="Seed of all chance.")] = 1,
    first: Annotated[
        str | None, typer.Option("--from", metavar="DATE", help="First day, such as 2021-01-01.")
    ] = None,
    last: Annotated[
        str | None, typer.Option("--to", metavar="DATE", help="Last day, included.")
    ] = None,
    column: Columns = None,
    units: Units = "metric",
    dates: Dates = None,
    as_json: AsJson = False,
) -> None:
    """Replay a property on daily weather.

    The hub's own code decides, beside three other policies on the same weather.

    Writes summary.json, decisions.jsonl, daily.csv and report.html into the folder of --out. The
    same command gives the same results.

    \b
    Example, one year of a longer record:
        evenclay replay house.toml --weather town.csv --out out --from 2021-01-01 --to 2021-12-31
    """
    from evenclay.tools.property.advice import cautions
    from evenclay.tools.property.compile import compile_house
    from evenclay.tools.property.demand import mean_et0_mm
    from evenclay.tools.property.property import load

    prop = load(property_file)
    first_day, last_day = _date("--from", first), _date("--to", last)
    if first_day and last_day and first_day > last_day:
        message = f"found {first_day}, after {last_day}; allowed is --from on or before --to"
        raise typer.BadParameter(message, param_hint="--from, --to")
    days = (first_day, last_day)
    record = _weather(weather, column, units, dates, prop.site.latitude, days=days)
    house = compile_house(prop, mean_et0_mm(record, prop.site.latitude))
    house = replace(house, cautions=tuple(cautions(prop, house.plan)))
    _folder(out)
    inputs = {"property": files.sha256(property_file), "weather": files.sha256(weather)}
    summary = _replay(house, record, out, seed, first_day, last_day, inputs)
    if as_json:
        print(json.dumps(summary, indent=2))
    else:
        _show(summary, house.units, out)


@app.command()
def invent(
    weather: Annotated[Path, typer.Option(help="The record to learn from, as replay takes it.")],
    out: Annotated[Path, typer.Option(metavar="FILE", help="The daily CSV to write.")],
    years: Annotated[int, typer.Option(min=1, max=90, help="How many years.")] = 30,
    seed: Annotated[int, typer.Option(min=0, max=2**31 - 1, help="Seed of all chance.")] = 1,
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

    Example:

    \b
        evenclay invent --weather town.csv --latitude 32.4 --years 40 --out invented.csv
    """
    from evenclay.sim.weather.generator import compare_statistics, fit, generate
    from evenclay.tools import tables
    from evenclay.tools.plan import invented_weather as tool

    record = _weather(weather, column, units, dates, latitude, least_days=YEAR_DAYS)
    made = generate(fit(record), years, seed)
    files.write({out: tool.csv_of(made)})
    compared = compare_statistics(record, made)
    if as_json:
        print(json.dumps(tool.as_json(compared), indent=2))
        return
    console = _console()
    tables.show(tool.table_of(compared), console)
    most = max(abs(row.errors) for row in compared)
    console.print(f"Furthest apart: {most:.1f} standard errors of the difference.")
    console.print(f"{years} years written to {out}")


@app.command()
def propose(
    property_file: PropertyPath,
    weather: Annotated[
        list[Path] | None, typer.Option(help="Weather, as replay takes it; repeatable.")
    ] = None,
    climate: Annotated[
        Path | None,
        typer.Option(help="Instead: a record, to plan on years invented with its habits."),
    ] = None,
    out: Annotated[
        Path | None, typer.Option(help="Folder for property.toml and plan.png; made if need be.")
    ] = None,
    rows: Annotated[int, typer.Option(min=1, max=24, help="Rows at most, closed ones too.")] = 6,
    share: Annotated[
        float,
        typer.Option(min=0.5, max=1.0, help="Share of years whose need is met at first."),
    ] = 0.75,
    seed: Annotated[int, typer.Option(min=0, max=2**31 - 1, help="Seed of all chance.")] = 1,
    column: Columns = None,
    units: Units = "metric",
    dates: Dates = None,
) -> None:
    """Work out the seasonal table from weather, soil and hoses.

    First the water that each strip needs, half-month by half-month; then the table of at most
    --rows rows that follows it best, with the zones' shares, as the clay takes it in, within your
    local rules, caps and supplies; then plans near it are tried on the simulated house, for days in
    band. No search is judged by every third year, which is held out; how the plan does there is
    shown, and why each row is as it is.

    With --out: property.toml, your file with new seasons and shares, limits of its soil probes,
    step and limits of the trim where the owner checks, and the rain bank's figures where there is a
    gauge; and plan.png. Look at them, then put the file in the place of yours. Exit status 1, and
    no file, where no plan can give what is needed: what limits it is said, and what would do.

    \b
    Examples:
        evenclay propose house.toml --weather town.csv --out out/plan
        evenclay propose house.toml --climate town.csv --rows 4 --out out/plan
    """
    from evenclay.tools.plan import workers
    from evenclay.tools.plan.proposal import propose as tool
    from evenclay.tools.plan.proposal.page import drawn, show
    from evenclay.tools.property.compile import compile_house
    from evenclay.tools.property.demand import mean_et0_mm
    from evenclay.tools.property.property import load

    prop = load(property_file)
    if bool(weather) == bool(climate):
        raise typer.BadParameter(
            "found both or none, allowed one", param_hint="--weather, --climate"
        )
    if climate is not None:
        record = _weather(climate, column, units, dates, prop.site.latitude, least_days=YEAR_DAYS)
        records = [tool.invented(record, seed)]
    else:
        records = [
            _weather(path, column, units, dates, prop.site.latitude, least_days=YEAR_DAYS)
            for path in weather or ()
        ]
    et0_mm = mean_et0_mm(records[0], prop.site.latitude)
    house = compile_house(prop, et0_mm)
    with workers.counting("plans tried") as tried:
        found = tool.propose(
            prop, house, records, et0_mm, rows=rows, share=share, seed=seed, tell=_tell, tried=tried
        )
    console = _console()
    if found.text is None:
        console.print("No plan that was found holds the band, so none is written:")
        for line in found.limits:
            console.print(f"- {line}")
        raise typer.Exit(NO_PLAN)
    show(found, console)
    if out is not None:
        _folder(out)
        files.write({out / "property.toml": found.text, out / "plan.png": drawn(found)})
        print(f"The property: {out / 'property.toml'}; the picture: {out / 'plan.png'}")


@app.command()
def sweep(
    property_files: Annotated[
        list[Path], typer.Argument(metavar="PROPERTY...", help="Property files, one or more.")
    ],
    weather: Annotated[list[Path], typer.Option(help="Weather, as replay takes it; repeatable.")],
    out: Annotated[Path, typer.Option(help="Folder for the results; made if need be.")],
    vary: Annotated[
        list[str] | None,
        typer.Option(
            metavar="PATH=VALUES",
            help="A value of the property and what to put there: values divided by commas, or "
            "FIRST..LAST..STEP; repeatable, for every combination.",
        ),
    ] = None,
    years: Annotated[
        int, typer.Option(min=0, max=10_000, help="Years to invent a seed; 0: the record's own.")
    ] = 0,
    seeds: Annotated[int, typer.Option(min=1, max=10_000, help="How many seeds.")] = 1,
    seed: Annotated[int, typer.Option(min=0, max=2**31 - 1, help="The first of them.")] = 1,
    processes: Annotated[
        int | None, typer.Option(min=1, help="Processes of this machine; else one a core.")
    ] = None,
    scheduler: Annotated[
        str | None, typer.Option(metavar="ADDRESS", help="A Dask scheduler, instead of processes.")
    ] = None,
    column: Columns = None,
    units: Units = "metric",
    dates: Dates = None,
    as_json: AsJson = False,
) -> None:
    """Replay variants of a property over many years and seeds, on all cores or a cluster.

    Every variant lives through every weather and seed under the hub. DIR/years.parquet gets a row
    for each year and zone. Stopped and started again, the same command goes on where it was.

    A path is written as in a message of check; * stands for every zone, spigot or list item.

    \b
    Examples, with two soils, 1,000 invented years, and five shares under two plans:
        evenclay sweep house.toml --weather town.csv --out out --vary 'soil.texture=clay,silty clay'
        evenclay sweep house.toml --weather town.csv --out out --years 50 --seeds 20
        evenclay sweep a.toml b.toml --weather town.csv --out out --vary 'zones.*.share=60..140..20'
    """
    from evenclay.tools import tables
    from evenclay.tools.plan import sweep as sweeping
    from evenclay.tools.plan import workers
    from evenclay.tools.property.property import load

    props = [load(path) for path in property_files]
    asked = sweeping.ask(
        props,
        vary or (),
        [str(path) for path in weather],
        lambda name, latitude_deg: _weather(Path(name), column, units, dates, latitude_deg),
        range(seed, seed + seeds),
        years,
    )
    _folder(out)
    if scheduler is None:
        working = workers.processes(processes or workers.cores())
    else:
        working = workers.cluster(scheduler)
    with working as (executor, count):
        found = sweeping.run(asked, out, executor, count, _tell)
    rows = sweep_summary.summary(found, asked.paths)
    if as_json:
        print(json.dumps(rows.to_dicts(), indent=2))
        return
    tables.show(sweep_summary.table_of(rows, asked.paths, props[0].site.units), _console())
    for note in sweep_summary.notes(asked):
        print(note)
    print(f"A row for each year and zone: {out / sweeping.RESULT}")


@app.command()
def compare(
    property_file: PropertyPath,
    weather: Annotated[list[Path], typer.Option(help="Weather, as replay takes it; repeatable.")],
    out: Annotated[Path, typer.Option(help="Folder for the results; made if need be.")],
    plan: Annotated[
        list[Path] | None,
        typer.Option(help="Another property file of the same house, for its plan; repeatable."),
    ] = None,
    years: Annotated[
        int, typer.Option(min=0, max=90, help="Years to invent from each record, besides its own.")
    ] = 0,
    seed: Annotated[int, typer.Option(min=0, max=2**31 - 1, help="Seed of all chance.")] = 1,
    with_oracle: Annotated[
        bool,
        typer.Option(
            "--oracle/--no-oracle", help="Ask for the least water too: minutes for ten years."
        ),
    ] = True,
    processes: Annotated[
        int | None, typer.Option(min=1, help="Processes of this machine; else one a core.")
    ] = None,
    column: Columns = None,
    units: Units = "metric",
    dates: Dates = None,
    as_json: AsJson = False,
) -> None:
    """Set ways of watering side by side over many years, and beside the least water there could be.

    No watering; one usual calendar; the property's own seasons bare, checked by hand each week, and
    scaled to the hub's water; the hub by rain, by rain and weekly checks, by soil probes, and
    trimming itself; and an oracle, which knows soil and weather to come.

    Writes compare.json, years.csv (a row for each policy, year and zone) and compare.png.

    \b
    Example:
        evenclay compare house.toml --weather town.csv --years 30 --out out/compare
    """
    import polars as pl

    from evenclay.sim.units import UNITS
    from evenclay.tools import tables
    from evenclay.tools.plan import compare as comparing
    from evenclay.tools.plan import workers
    from evenclay.tools.plan.compare_picture import drawn
    from evenclay.tools.property.property import load

    prop = load(property_file)
    others = [load(path) for path in plan or ()]
    records = [
        (str(path), _weather(path, column, units, dates, prop.site.latitude, least_days=YEAR_DAYS))
        for path in weather
    ]
    jobs = comparing.jobs_of(prop, records, years, seed)
    _folder(out)
    with workers.processes(processes or workers.cores()) as (executor, _):
        sides = comparing.run(jobs, others, with_oracle, executor, _tell)
    found = compare_summary.summary(jobs, sides)
    shown = UNITS[prop.site.units]
    text = json.dumps(found, indent=2)
    files.write(
        {
            out / "compare.json": text + "\n",
            out / "years.csv": pl.DataFrame(compare_summary.rows_of(jobs, sides)).write_csv(),
            out / "compare.png": drawn(jobs, sides, found, shown),
        }
    )
    if as_json:
        print(text)
        return
    console = _console()
    for table in compare_tables.tables_of(found, shown):
        tables.show(table, console)
    for note in found["notes"]:
        console.print(note)
    print(f"The picture: {out / 'compare.png'}")


def _folder(out: Path) -> None:
    """Make the folder of --out."""
    if out.exists() and not out.is_dir():
        raise typer.BadParameter(f"found {out}, a file, allowed a folder", param_hint="--out")
    out.mkdir(parents=True, exist_ok=True)


def _tell(line: str) -> None:
    print(line, file=sys.stderr, flush=True)


def _replay(
    house: "House",
    weather: "Weather",
    out: Path,
    seed: int,
    first_day: datetime.date | None,
    last_day: datetime.date | None,
    inputs: dict[str, str | None],
) -> dict[str, Any]:
    """Run the engine, with its progress on stderr; it writes the outputs."""
    from evenclay.sim.replay.replay import replay_house

    def progress(policy: str, number: int, count: int) -> None:
        print(f"{number + 1} of {count}: {policy}", file=sys.stderr)

    return replay_house(
        house,
        weather,
        out,
        seed=seed,
        first=first_day,
        last=last_day,
        inputs=inputs,
        progress=progress,
    )


def _show(summary: dict[str, Any], units: str, out: Path) -> None:
    """Print the policies side by side and where the results are."""
    from rich.table import Table

    from evenclay.sim.units import UNITS
    from evenclay.tools import tables

    shown = UNITS[units]
    days = ("days_in_band", "days_dry", "days_wet", "days_rain_wet", "days_rewetting")
    table = Table()
    table.add_column("policy", no_wrap=True)
    for name in (shown.word("volume"), *days, "unevenness, pF"):
        heading = name.removeprefix("days_").replace("_", " ")
        table.add_column(heading.replace("rewetting", "re-wet"), justify="right")
    for policy, measured in summary["policies"].items():
        uneven = measured["unevenness_pf"]
        table.add_row(
            policy.replace("_", ", "),
            shown.number(measured["litres"], "volume"),
            *(f"{measured[name]:,}" for name in days),
            "-" if uneven is None else f"{uneven:.2f}",
        )
    weather = summary["weather"]
    console = _console()
    console.print(
        f"{weather['first_day']} to {weather['last_day']}: "
        f"{shown.number(weather['rain_mm'], 'total')} {shown.word('depth')} of rain, "
        f"{shown.number(weather['et0_mm'], 'total')} of reference evapotranspiration."
    )
    tables.show(table, console)
    console.print("Season days, all zones added; rain wet: wetter than the band by rain alone.")
    print(f"The report: {out / 'report.html'}")


def _weather(
    path: Path,
    column: list[str] | None,
    units: str,
    dates: str | None,
    latitude_deg: float | None,
    *,
    days: "tuple[datetime.date | None, datetime.date | None]" = (None, None),
    least_days: int = 0,
    told: bool = True,
) -> "Weather":
    """Read a weather file as the command line says, and tell its cautions where they are `told`.

    least_days: a shorter record is refused by the command itself, so its cautions are not told.
    """
    from evenclay.sim.weather.record import NAMES, read

    names: dict[str, str] = {}
    for item in column or ():
        what, equals, name = item.partition("=")
        if what not in NAMES or not equals or not name:
            allowed = "WHAT=NAME with WHAT one of " + ", ".join(NAMES)
            raise typer.BadParameter(f'found "{item}", allowed {allowed}', param_hint="--column")
        names[what] = name
    found = read(
        path,
        columns=names,
        units=units,
        date_order=dates,
        latitude_deg=latitude_deg,
        first_day=days[0],
        last_day=days[1],
    )
    from evenclay.tools.property.file.wording import printable

    for caution in found.cautions if told and found.days >= least_days else ():
        _tell(f"Caution: {printable(str(path))}: {printable(caution)}")
    return found


def _mean_et0_mm(
    weather: Path | None,
    column: list[str] | None,
    units: str,
    dates: str | None,
    latitude_deg: float,
) -> "Sequence[float] | None":
    """Mean ET0 of each month in a weather file, mm a day; None without a file."""
    from evenclay.tools.property.demand import mean_et0_mm

    if weather is None:
        return None
    return mean_et0_mm(_weather(weather, column, units, dates, latitude_deg), latitude_deg)


def _date(option: str, value: str | None) -> datetime.date | None:
    if value is None:
        return None
    try:
        return datetime.datetime.strptime(value, "%Y-%m-%d").date()
    except ValueError:
        message = f'found "{value}", allowed a date as 2021-01-31'
        raise typer.BadParameter(message, param_hint=option) from None


def _console() -> "Console":
    """A console that takes names as they are, and breaks no sentence where it is no terminal."""
    from rich.console import Console

    plain = not sys.stdout.isatty()
    width = shutil.get_terminal_size().columns if plain else None
    return Console(markup=False, highlight=False, emoji=False, soft_wrap=plain, width=width)


def main() -> None:
    """Entry point of the `evenclay` command."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a name the terminal cannot show is no error
    app()
