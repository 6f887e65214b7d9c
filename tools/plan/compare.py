"""Many years of several ways of watering on many grounds, in tasks for processes.

A task is a way of watering in one life on one ground; informed, with all its reliefs, is one too.
"""

from collections.abc import Callable, Sequence
from concurrent.futures import Executor, as_completed
from dataclasses import dataclass, replace
from typing import Any

from evenclay.sim.ground.plausible import PlausibleGround
from evenclay.sim.house.house import House
from evenclay.sim.judge import compare, informed
from evenclay.sim.judge.compare import Judged, Life, Outcome
from evenclay.sim.judge.policies import bare_plan, compared, hub_of, probed
from evenclay.sim.judge.weigh import place_on
from evenclay.sim.replay.life import Policy
from evenclay.sim.types import Floats
from evenclay.sim.weather.daily import Weather
from evenclay.tools.plan.names import names_of, refuse_twice
from evenclay.tools.plan.workers import Progress, Tell
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.demand import Means, means_of
from evenclay.tools.property.file.mistakes import PropertyError
from evenclay.tools.property.property import Property


@dataclass(frozen=True)
class Job:
    """A life, the house that lives it, and the means of its climate's months."""

    house: House
    life: Life
    means: Means


@dataclass(frozen=True)
class Found:
    """What came of one life. target_pf: of each zone. grounds: ways by name, a ground each."""

    job: Job
    target_pf: Floats
    grounds: Sequence[dict[str, Judged]]


def jobs_of(
    prop: Property,
    records: Sequence[tuple[str, Weather]],
    invented: int,
    seed: int,
    years: int = compare.YEARS,
) -> list[Job]:
    """Every life of every record. invented: years after each. years: that a life has at least.

    Raises: WeatherError for a record of less than a year, SweepError for one that comes twice.
    """
    refuse_twice("--weather", [name for name, _ in records])
    jobs = []
    for name, record in records:
        means = means_of(record, prop.site.latitude)
        house = probed(compile_house(prop, means))
        lives = compare.lives_of(house, name, record, invented, seed, years)
        jobs += [Job(house, life, means) for life in lives]
    return jobs


def policies_of(job: Job, others: Sequence[Property]) -> list[Policy]:
    """Return the policies for a job: those of its house, and two for each other file of the house:
    its table bare, and its hub as it stands.

    Raises: PropertyError where one is of another house, SweepError where one comes twice.
    """
    found = list(compared(job.house))
    names = names_of("--plan", [prop.source.name for prop in others])
    for name, prop in zip(names, others, strict=True):
        other = compile_house(prop, job.means)
        zones, allowed = ([strip.name for strip in one.strips] for one in (other, job.house))
        if zones != allowed:
            line = f"found zones {', '.join(zones)}, allowed those of the house: "
            raise PropertyError([f"{prop.source.name}: {line}{', '.join(allowed)}"])
        found.append(Policy(f"calendar {name}", bare_plan(other.plan), None))
        found.append(replace(hub_of(other), name=f"hub {name}"))
    return found


@dataclass(frozen=True)
class _Task:
    """A way of watering in a life on a ground: a function of its house, its life and the rest."""

    number: int  # of the life and ground that it belongs to
    way: str
    job: Job
    function: Callable[..., Any]
    arguments: tuple[Any, ...]

    @property
    def years(self) -> int:
        """How many it lives through."""
        times = len(informed.RELIEFS_PF) if self.way == informed.NAME else 1
        return times * self.job.life.lived_years


def run(
    jobs: Sequence[Job],
    others: Sequence[Property],
    grounds: int,
    executor: Executor,
    tell: Tell,
    *,
    as_it_stands: bool = False,
) -> list[Found]:
    """Let every way of watering live every life on so many grounds, and judge it.

    as_it_stands: no watering and the hub of each house as it stands, and nothing else.
    Raises: as `policies_of`, before anything is lived.
    """
    by_job = [
        [compare.DRY, hub_of(job.house)] if as_it_stands else policies_of(job, others)
        for job in jobs
    ]
    targets = [executor.submit(compare.targets_of, job.house, job.life) for job in jobs]
    cases: list[tuple[Job, PlausibleGround]] = []
    tasks: list[_Task] = []
    for job, policies, target in zip(jobs, by_job, targets, strict=True):
        for ground in compare.grounds_of(job.house, job.life, grounds):
            number = len(cases)
            if not as_it_stands:  # the longest first
                tasks.append(_Task(number, informed.NAME, job, compare.told, (ground,)))
            for policy in policies:
                arguments = (ground, policy, target.result())
                tasks.append(_Task(number, policy.name, job, compare.lived, arguments))
            cases.append((job, ground))
    judged = _do(tasks, cases, executor, tell)
    return [
        Found(job, target.result(), judged[place * grounds : (place + 1) * grounds])
        for place, (job, target) in enumerate(zip(jobs, targets, strict=True))
    ]


def _do(
    tasks: Sequence[_Task],
    cases: Sequence[tuple[Job, PlausibleGround]],
    executor: Executor,
    tell: Tell,
) -> list[dict[str, Judged]]:
    """What each case comes to; outcomes are dropped as soon as all of a case's are there."""
    progress = Progress(sum(task.years for task in tasks), 0, tell)
    waiting: dict[int, dict[str, list[Outcome]]] = {}
    order = {number: [t.way for t in tasks if t.number == number] for number in range(len(cases))}
    judged: dict[int, dict[str, Judged]] = {}
    futures = {
        executor.submit(task.function, task.job.house, task.job.life, *task.arguments): task
        for task in tasks
    }
    for future in as_completed(list(futures)):
        task = futures.pop(future)
        ways = waiting.setdefault(task.number, {})
        ways[task.way] = future.result()
        progress.add(task.years)
        names = order[task.number]
        if len(ways) == len(names):
            job, ground = cases[task.number]
            names.sort(key=lambda name: name == informed.NAME)  # it comes last
            inorder = {name: ways[name] for name in names}
            judged[task.number] = compare.judge(job.life, place_on(job.house, ground), inorder)
            del waiting[task.number]
    return [judged[number] for number in range(len(cases))]
