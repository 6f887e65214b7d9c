"""Many years of several ways of watering, side by side, as tables and files.

The work is cut into small tasks for processes: a policy in a life, a search of the oracle for one
zone at one price, and at last the oracle's answer to each policy.
"""

from collections.abc import Callable, Sequence
from concurrent.futures import Executor, as_completed
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from evenclay.sim.house.house import House
from evenclay.sim.judge import compare, oracle
from evenclay.sim.judge.compare import Least, Life, Outcome
from evenclay.sim.judge.policies import bare_plan, compared, probed, scaled_plan
from evenclay.sim.replay.life import Policy
from evenclay.sim.weather.record import Weather
from evenclay.tools.plan.workers import Progress, SweepError, Tell
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.demand import mean_et0_mm
from evenclay.tools.property.file.mistakes import PropertyError
from evenclay.tools.property.property import Property

SCALED = "calendar_scaled"
SCALED_TO = "hub_checked"  # the hub whose litres the scaled calendar gets
SCALED_TIMES = 2  # caps and whole seconds keep the first try from being exact


@dataclass(frozen=True)
class Job:
    """A life, the house that lives it, and the mean ET0 of its climate's months, mm a day."""

    house: House
    life: Life
    et0_mm: Sequence[float]


@dataclass
class Side:
    """A policy in all lives; least: the oracle's answers, where it was asked."""

    name: str
    outcomes: list[Outcome]
    least: list[Least] = field(default_factory=list)


def jobs_of(
    prop: Property, records: Sequence[tuple[str, Weather]], years: int, seed: int
) -> list[Job]:
    """Every life of every record. years: to be invented after each.

    Raises: WeatherError for a record of less than a year, SweepError for one that comes twice.
    """
    _refuse_twice("--weather", [name for name, _ in records])
    jobs = []
    for name, record in records:
        et0_mm = mean_et0_mm(record, prop.site.latitude)
        house = probed(compile_house(prop, et0_mm))
        lives = compare.lives_of(house, name, record, years, seed)
        jobs += [Job(house, life, et0_mm) for life in lives]
    return jobs


def _refuse_twice(what: str, names: Sequence[str]) -> None:
    """Refuse a name that comes twice: its results could not be told apart."""
    for name in names:
        if names.count(name) > 1:
            raise SweepError(f"{what}: found {name} twice, allowed each once")


def policies_of(job: Job, others: Sequence[Property]) -> list[Policy]:
    """Return the policies for a job: those of its house, and two for each other file of the house.

    Raises: PropertyError where one is of another house, SweepError where one comes twice.
    """
    found = list(compared(job.house))
    for name, prop in zip(plan_names(others), others, strict=True):
        other = compile_house(prop, job.et0_mm)
        names, allowed = ([strip.name for strip in one.strips] for one in (other, job.house))
        if names != allowed:
            line = f"found zones {', '.join(names)}, allowed those of the house: "
            raise PropertyError([f"{prop.source.name}: {line}{', '.join(allowed)}"])
        hub = "hub_probes" if any(zone.probe for zone in other.plan.zones) else "hub_checked"
        found.append(Policy(f"calendar {name}", bare_plan(other.plan), None))
        found.append(Policy(f"{hub} {name}", other.plan, job.house.owner))
    return found


def plan_names(others: Sequence[Property]) -> list[str]:
    """Name each file by its stem, with as many folders before it as it takes to tell them apart.

    Raises: SweepError for a file that comes twice.
    """
    paths = [Path(prop.source.name).resolve() for prop in others]
    _refuse_twice("--plan", [str(path) for path in paths])
    bare = [path.with_suffix("").parts for path in paths]

    def name(path: Path, parts: tuple[str, ...]) -> str:
        for length in range(1, len(parts)):
            tail = parts[-length:]
            if [other[-length:] for other in bare].count(tail) == 1:
                return "/".join(tail)
        return path.name  # another's differs by its suffix alone

    return [name(*pair) for pair in zip(paths, bare, strict=True)]


@dataclass(frozen=True)
class _Task:
    """Something to do in a life: a function of its house, the life and what else it takes."""

    job: Job
    function: Callable[..., Any]
    arguments: tuple[Any, ...] = ()


class _Work:
    """Hands tasks to processes, and tells how far they are; a task counts its life's years."""

    def __init__(self, executor: Executor, years: int, tell: Tell) -> None:
        self._executor = executor
        self._progress = Progress(years, 0, tell)

    def do(self, tasks: Sequence[_Task]) -> list[Any]:
        """What the tasks give, in their order."""
        futures = {
            self._executor.submit(task.function, task.job.house, task.job.life, *task.arguments): n
            for n, task in enumerate(tasks)
        }
        for future in as_completed(futures):
            future.result()
            self._progress.add(len(tasks[futures[future]].job.life.years))
        return [future.result() for future in futures]


def run(
    jobs: Sequence[Job],
    others: Sequence[Property],
    ask_oracle: bool,
    executor: Executor,
    tell: Tell,
) -> list[Side]:
    """Let every policy live every life, and ask the oracle; the oracle's own side comes last."""
    by_job = [policies_of(job, others) for job in jobs]
    names = [policy.name for policy in by_job[0]]
    asked = [
        (job, zone) for job in (jobs if ask_oracle else ()) for zone in range(len(job.house.strips))
    ]
    searches = [
        _Task(job, compare.search, (zone, price_mm))
        for job, zone in asked
        for price_mm in oracle.PRICES_MM
    ]
    each = len(names) + SCALED_TIMES
    each += (len(searches) + len(asked)) // len(jobs) + len(names) + 2 if ask_oracle else 0
    work = _Work(executor, each * sum(len(job.life.years) for job in jobs), tell)
    living = [
        _Task(job, compare.lived, (policies[n],))
        for n in range(len(names))
        for job, policies in zip(jobs, by_job, strict=True)
    ]
    found = work.do(searches + living)
    lived = _in_lists(found[len(searches) :], len(jobs))
    sides = [Side(name, outcomes) for name, outcomes in zip(names, lived, strict=True)]
    sides.insert(names.index("calendar_checked") + 1, _scaled(jobs, sides, work))
    if ask_oracle:
        ways = _in_lists(found[: len(searches)], len(oracle.PRICES_MM))
        known = work.do(
            [
                _Task(job, compare.known, (zone, of_zone))
                for (job, zone), of_zone in zip(asked, ways, strict=True)
            ]
        )
        sides.append(_ask(jobs, sides, _in_lists(known, len(jobs[0].house.strips)), work))
    return sides


def _in_lists(items: Sequence[Any], length: int) -> list[list[Any]]:
    """Divide items into lists of one length."""
    return [list(items[first : first + length]) for first in range(0, len(items), length)]


def _scaled(jobs: Sequence[Job], sides: Sequence[Side], work: _Work) -> Side:
    """The bare calendar with every run scaled so that it gives what the hub gave."""
    of = {side.name: side for side in sides}
    wanted = sum(outcome.litres.sum() for outcome in of[SCALED_TO].outcomes)
    side, share = of["calendar"], 1.0
    for _ in range(SCALED_TIMES):
        given = sum(outcome.litres.sum() for outcome in side.outcomes)
        share *= wanted / given if given else 1.0
        plans = [scaled_plan(bare_plan(job.house.plan), share) for job in jobs]
        policies = [Policy(SCALED, plan, None) for plan in plans]
        tasks = [
            _Task(job, compare.lived, (policy,)) for job, policy in zip(jobs, policies, strict=True)
        ]
        side = Side(SCALED, work.do(tasks))
    return side


def _ask(
    jobs: Sequence[Job], sides: Sequence[Side], known: Sequence[list[oracle.Known]], work: _Work
) -> Side:
    """Give each side the oracle's answers; what the oracle reaches itself is a side of its own.

    known: of each life, for each zone.
    """
    tasks = [
        _Task(job, compare.answer, (outcome, zones))
        for side in sides
        for job, outcome, zones in zip(jobs, side.outcomes, known, strict=True)
    ]
    tasks += [_Task(job, compare.reached, (zones,)) for job, zones in zip(jobs, known, strict=True)]
    *answers, reached = _in_lists(work.do(tasks), len(jobs))
    for side, least in zip(sides, answers, strict=True):
        side.least = least
    return Side("oracle", reached)
