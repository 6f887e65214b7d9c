"""Many years, seeds and variants of a property, replayed on all cores or on a cluster.

A *life* is what is lived through in one go: one variant, one weather, one seed, one ground, at most
LIFE_YEARS years on ground that has settled in the record's climate. Longer spans are cut into
lives, always at the same years. A *task* is a batch of whole lives, BATCH_YEARS or more. So where
tasks begin and end, who works on them and how often the sweep is stopped cannot change a figure.

Each finished task is a file in DIR/parts, written whole or not at all. Started again, a sweep does
the tasks that have none. Only the process that was started writes there.
"""

import hashlib
import io
import json
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, wait
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache, cached_property
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from evenclay.sim import files
from evenclay.sim.ground.plausible import PlausibleGround, judged, middle
from evenclay.sim.house.house import House
from evenclay.sim.house.standing import sides_of
from evenclay.sim.judge.measures import years_of
from evenclay.sim.judge.years import OF_LIFE, rows_of, seed_of
from evenclay.sim.replay.stay import Stay, stay_in, stay_of
from evenclay.sim.section import index_of
from evenclay.sim.types import Line
from evenclay.sim.weather.daily import Hours, Weather
from evenclay.sim.weather.generator import Climate, fit, generate
from evenclay.tools.plan.names import names_of
from evenclay.tools.plan.variants import Change, changes_of, read_vary, varied
from evenclay.tools.plan.workers import Progress, SweepError, Tell
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.demand import means_of
from evenclay.tools.property.property import Property, parse

LIFE_YEARS = 25  # that measures are taken over; a hub counts no more than 34 years of uptime
BATCH_YEARS = 25
YEAR_DAYS = 365  # of a record, at least
WAITING = 2  # tasks handed out for each worker; the rest stay here
CODE = ("controller", "sim", "tools")
DataType = type[pl.DataType]
RESULT, DEFINITION, PARTS = "years.parquet", "sweep.json", "parts"
KEYS = ("variant", "property", "weather", "seed", "ground", "life", "year", "zone")
NUMBERS = ("variant", "seed", "ground", "life", "year")
MEASURES: dict[str, DataType] = {
    "runs": pl.Int64,
    "minutes": pl.Float64,
    "litres": pl.Float64,
    "runoff_litres": pl.Float64,
    "runoff_rain_litres": pl.Float64,
    "alarms": pl.Int64,
    "days_on_target": pl.Int64,
    "days_dry": pl.Int64,
    "days_wet": pl.Int64,
    "days_soaked": pl.Int64,
    "days_soaked_unwatered": pl.Int64,
    "movement_pf_m": pl.Float64,
    "movement_unwatered_pf_m": pl.Float64,
    # Of the whole house.
    "tilt_pf_m": pl.Float64,
    "tilt_unwatered_pf_m": pl.Float64,
    "house_alarms": pl.Int64,
    "rain_mm": pl.Float64,
    "et0_mm": pl.Float64,
    **{f"life_{name}": pl.Float64 for name in OF_LIFE},
}


@dataclass(frozen=True)
class Record:
    """A weather file as it was read, and what a generator learnt from it (None: not asked)."""

    name: str
    weather: Weather
    climate: Climate | None

    @cached_property
    def digest(self) -> str:
        """A hash of all that is in the record."""
        hasher = hashlib.sha256()
        _add_to_hash(hasher, self.weather)
        return hasher.hexdigest()


@dataclass(frozen=True)
class Variant:
    """A property file with some values changed. number: from 1."""

    number: int
    file: str
    text: str
    changes: tuple[Change, ...]

    @property
    def values(self) -> dict[str, int | float | str]:
        """What was changed, by path, as the result shows it."""
        return {change.text: change.shown for change in self.changes}

    def prop(self) -> Property:
        """The property. Raises: PropertyError."""
        return varied(parse(self.text, self.file), self.changes)

    def house(self, record: Record) -> House:
        """The house under a record's climate. Raises: PropertyError."""
        prop = self.prop()
        return compile_house(prop, means_of(record.weather, prop.site.latitude))


@dataclass(frozen=True)
class Life:
    """Years lived through in one go. first, last: days of the record; None: invented years.

    ground: 0 for the middle one, else the number of a plausible one. part: of its seed's years, the
    how manieth life from 0. year: the first one's name; years: how many.
    """

    variant: Variant
    record: Record
    seed: int
    ground: int
    part: int
    year: int
    years: int
    first: date | None = None
    last: date | None = None

    @property
    def chance(self) -> int:
        """The seed of this life's weather and sensors; the first life's is the seed itself."""
        return seed_of(self.seed, self.part)

    def stay(self) -> Stay:
        """The weather that is lived through, after the house has settled in the record's."""
        if self.first is not None:
            return stay_of(self.record.weather, self.first, self.last)
        assert self.record.climate is not None
        made = generate(self.record.climate, self.years, self.chance)
        return stay_in(made, self.record.weather)

    def ground_of(self, house: House) -> PlausibleGround:
        """The ground under the house."""
        index = index_of(self.record.weather, house.latitude_deg)
        around = (sides_of(house), index, house.footing_m)
        return judged(*around, self.ground)[-1] if self.ground else middle(*around)


@dataclass(frozen=True)
class Sweep:
    """What is asked for. years: invented years for each seed; 0: the record's own. grounds: so many
    plausible ones; 0: the middle one alone."""

    variants: tuple[Variant, ...]
    records: dict[tuple[str, float], Record]  # by file and latitude
    weathers: tuple[str, ...]
    seeds: range
    years: int
    grounds: int = 0
    batch_years: int = BATCH_YEARS

    @cached_property
    def tasks(self) -> list[tuple[Life, ...]]:
        """The lives in their order, in batches."""
        tasks, batch = [], []
        for life in self._lives():
            batch.append(life)
            if sum(one.years for one in batch) >= self.batch_years:
                tasks.append(tuple(batch))
                batch = []
        return [*tasks, tuple(batch)] if batch else tasks

    def _lives(self) -> Iterator[Life]:
        for variant in self.variants:
            latitude_deg = variant.prop().site.latitude
            for name in self.weathers:
                record = self.records[name, latitude_deg]
                for seed in self.seeds:
                    for ground in range(1, self.grounds + 1) if self.grounds else (0,):
                        yield from _lives(variant, record, seed, ground, self.years)

    @property
    def paths(self) -> list[str]:
        """The paths of the values that are varied."""
        return list(self.variants[0].values)

    @property
    def columns(self) -> dict[str, DataType]:
        """Name and type of every column of the result."""
        keys: dict[str, DataType] = dict.fromkeys(KEYS, pl.String)
        keys |= dict.fromkeys(NUMBERS, pl.Int64)
        types = {int: pl.Int64, float: pl.Float64, str: pl.String}
        paths = {name: types[type(value)] for name, value in self.variants[0].values.items()}
        first = {name: keys[name] for name in ("variant", "property")}
        rest = {name: keys[name] for name in KEYS if name not in first}
        return first | paths | rest | MEASURES

    def definition(self) -> dict[str, Any]:
        """All that the result depends on, as plain data."""
        return {
            "schema": 2,
            "code": code_digest(),
            "variants": [
                {"file": v.file, "sha256": _sha256(v.text.encode()), "values": v.values}
                for v in self.variants
            ],
            "weather": [
                {"file": name, "latitude": latitude, "sha256": record.digest}
                for (name, latitude), record in self.records.items()
            ],
            "seeds": [self.seeds[0], self.seeds[-1]],
            "years": self.years,
            "grounds": self.grounds,
            "batch_years": self.batch_years,
        }


def ask(
    props: Sequence[Property],
    vary: Sequence[str],
    weathers: Sequence[str],
    read: Callable[[str, float], Weather],
    seeds: range,
    years: int,
    grounds: int = 0,
) -> Sweep:
    """Put a sweep together, every variant checked as its file would be.

    props: as loaded. vary: PATH=VALUES each. read: gives a weather file at a latitude.
    Raises: PropertyError, SweepError, WeatherError.
    """
    names_of("PROPERTY", [prop.source.name for prop in props])
    names_of("--weather", weathers)
    combined = changes_of([read_vary(option) for option in vary])
    variants: list[Variant] = []
    records: dict[tuple[str, float], Record] = {}
    for prop in props:
        for changes in combined:
            variant = Variant(len(variants) + 1, prop.source.name, prop.source.text, changes)
            latitude_deg = variant.prop().site.latitude
            for name in weathers:
                if (name, latitude_deg) not in records:
                    record = read(name, latitude_deg)
                    if record.days < YEAR_DAYS:
                        found = f"{name}: found {record.days} days"
                        raise SweepError(f"{found}, allowed at least a year")
                    learnt = fit(record) if years else None
                    records[name, latitude_deg] = Record(name, record, learnt)
                variant.house(records[name, latitude_deg])  # the compiler refuses more
            variants.append(variant)
    return Sweep(tuple(variants), records, tuple(weathers), seeds, years, grounds)


def _lives(variant: Variant, record: Record, seed: int, ground: int, years: int) -> Iterator[Life]:
    """All lives of one variant, weather, seed and ground, of LIFE_YEARS each but for the last."""
    whole = years_of(record.weather.days)
    first_day = record.weather.first_day
    for part, done in enumerate(range(0, years or len(whole), LIFE_YEARS)):
        until = min(done + LIFE_YEARS, years or len(whole))
        if years:
            yield Life(variant, record, seed, ground, part, done + 1, until - done)
            continue
        first, last = whole[done].start, whole[until - 1].stop - 1
        days = [first_day + timedelta(days=day) for day in (first, last)]
        name = first_day.year + done
        yield Life(variant, record, seed, ground, part, name, until - done, *days)


def live_through(task: Sequence[Life], code: str) -> list[Line]:
    """Do one task: a row for each year and zone. code: what `code_digest` must be here."""
    if code != code_digest():
        raise SweepError("a worker runs another version of evenclay than the one that asks")
    rows = []
    for life in task:
        house = life.variant.house(life.record)
        names = {
            "variant": life.variant.number,
            "property": life.variant.file,
            **life.variant.values,
            "weather": life.record.name,
            "seed": life.seed,
            "ground": life.ground,
            "life": life.part + 1,
        }
        for row in rows_of(house, life.ground_of(house), life.stay(), life.chance):
            rows.append({**names, **row, "year": life.year + row["year"]})
    return rows


@cache
def code_digest() -> str:
    """Return a hash of all code that a sweep runs."""
    root = Path(__file__).parents[2]
    files = sorted(path for folder in CODE for path in (root / folder).rglob("*.py"))
    return _sha256(b"".join([path.read_bytes() for path in files]))


def _add_to_hash(hasher: "hashlib._Hash", value: object) -> None:
    """Add a value to a hash, and where it is a record all that is in it."""
    if isinstance(value, np.ndarray):
        hasher.update(value.tobytes())
    elif isinstance(value, Weather | Hours):
        for part in vars(value).values():
            _add_to_hash(hasher, part)
    else:
        hasher.update(repr(value).encode())


def _sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def run(sweep: Sweep, out: Path, executor: Executor, workers: int, tell: Tell) -> pl.DataFrame:
    """Do the tasks that are not done yet, and write the whole result into out / RESULT.

    out: a folder, made if need be. Raises: SweepError where it holds another sweep.
    """
    _claim(sweep, out)
    tasks = sweep.tasks
    frames = [_read_part(_part_path(out, number)) for number in range(len(tasks))]
    missing = [number for number, frame in enumerate(frames) if frame is None]
    years = [sum(life.years for life in task) for task in tasks]
    progress = Progress(sum(years), sum(years) - sum(years[n] for n in missing), tell)
    columns = sweep.columns
    running: dict[Future[list[Line]], int] = {}
    while missing or running:
        while missing and len(running) < WAITING * workers:
            number = missing.pop(0)
            running[executor.submit(live_through, tasks[number], code_digest())] = number
        for future in wait(running, return_when=FIRST_COMPLETED).done:
            number = running.pop(future)
            frame = pl.DataFrame(future.result(), schema=columns, strict=False)
            _write(frame, _part_path(out, number))
            frames[number] = frame
            progress.add(years[number])
    whole = pl.concat([frame for frame in frames if frame is not None], rechunk=True)
    _write(whole, out / RESULT)
    return whole


def _claim(sweep: Sweep, out: Path) -> None:
    """Write into a folder which sweep it holds. Raises SweepError where it holds another."""
    mine = sweep.definition()
    path = out / DEFINITION
    if path.exists():
        try:
            found = json.loads(path.read_text("utf-8"))
        except ValueError:
            found = {}
        if found != mine:
            held = found if isinstance(found, dict) else {}
            keys = [key for key in mine if held.get(key) != mine[key]]
            raise SweepError(
                f"{out}: found another sweep, with other {' and '.join(keys)}; allowed a new "
                "folder, or the same command and code as before"
            )
    files.write({path: json.dumps(mine, indent=1) + "\n"})


def _part_path(out: Path, number: int) -> Path:
    return out / PARTS / f"{number + 1:05}.parquet"


def _read_part(path: Path) -> pl.DataFrame | None:
    """A finished task's rows; None where it is not there, or not whole."""
    try:
        return pl.read_parquet(path)
    except (OSError, pl.exceptions.PolarsError):
        return None


def _write(frame: pl.DataFrame, path: Path) -> None:
    data = io.BytesIO()
    frame.write_parquet(data)
    files.write({path: data.getvalue()})
