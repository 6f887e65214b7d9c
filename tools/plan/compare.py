"""Many years of several ways of watering, side by side, as tables and files.

The work is cut into small tasks for processes: a policy in a life, a search of the oracle for one
zone at one price, and at last the oracle's answer to each policy.
"""

from collections.abc import Callable, Sequence
from concurrent.futures import Executor, as_completed
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from rich.table import Table

from evenclay.controller.plan import NO_RAIN_SENSOR
from evenclay.sim.house.house import House
from evenclay.sim.house.site import Floats
from evenclay.sim.judge import compare, oracle
from evenclay.sim.judge.compare import Least, Life, Outcome
from evenclay.sim.judge.policies import Policy, bare_plan, compared, probed, scaled_plan
from evenclay.sim.judge.score import DRY, IN_BAND, RAIN_WET, REWETTING, STATES, WET, unevenness_pf
from evenclay.sim.replay.replay import rounded
from evenclay.sim.report.outputs import Line
from evenclay.sim.units import Units
from evenclay.sim.weather.record import Weather
from evenclay.tools.plan.workers import Progress, SweepError, Tell
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.demand import mean_et0_mm
from evenclay.tools.property.file.mistakes import PropertyError
from evenclay.tools.property.property import Property

SCHEMA = 2
SCALED = "calendar_scaled"
SCALED_TO = "hub_checked"  # the hub whose litres the scaled calendar gets
SCALED_TIMES = 2  # caps and whole seconds keep the first try from being exact
NAMES = {
    "none": "no watering",
    "reference": "reference calendar",
    "calendar": "own calendar",
    "calendar_checked": "own, checked weekly",
    SCALED: "own, scaled to hub's",
    "hub_rain": "hub: rain",
    "hub_checked": "hub: rain, checks",
    "hub_probes": "hub: probes, checks",
    "hub_auto": "hub: probes, own trim",
    "oracle": "oracle, all it can",
}
# What the hub may use: times the oracle's water, or so much more where that is little. Ours.
MOST_TIMES = {"hub_checked": 1.25, "hub_probes": 1.15, "hub_auto": 1.15}
LITTLE_MM, MOST_MORE_MM = 150.0, 40.0  # a year
SAME_PF = 0.005  # a difference of unevenness that is none
KEPT_SHARE, KEPT_OF_ORACLE, KEPT_WORST_YEAR = 0.95, 0.97, 0.85


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
    _once("--weather", [name for name, _ in records])
    jobs = []
    for name, record in records:
        et0_mm = mean_et0_mm(record, prop.site.latitude)
        house = probed(compile_house(prop, et0_mm))
        lives = compare.lives_of(house, name, record, years, seed)
        jobs += [Job(house, life, et0_mm) for life in lives]
    return jobs


def _once(what: str, names: Sequence[str]) -> None:
    """Refuse a name that comes twice: what is told of them could not be told apart."""
    for name in names:
        if names.count(name) > 1:
            raise SweepError(f"{what}: found {name} twice, allowed each once")


def policies_of(job: Job, others: Sequence[Property]) -> list[Policy]:
    """What lives a job's life: the ways of the house, and of the plans of other files of it.

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
    """What tells files apart: the stem of each, with as many folders before it as that takes.

    Raises: SweepError for a file that comes twice.
    """
    paths = [Path(prop.source.name).resolve() for prop in others]
    _once("--plan", [str(path) for path in paths])
    bare = [path.with_suffix("").parts for path in paths]

    def name(path: Path, parts: tuple[str, ...]) -> str:
        for length in range(1, len(parts)):
            tail = parts[-length:]
            if [other[-length:] for other in bare].count(tail) == 1:
                return "/".join(tail)
        return path.name  # another's differs by its suffix alone

    return [name(*pair) for pair in zip(paths, bare, strict=True)]


# Doing it.


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
    lived = _parts(found[len(searches) :], len(jobs))
    sides = [Side(name, outcomes) for name, outcomes in zip(names, lived, strict=True)]
    sides.insert(names.index("calendar_checked") + 1, _scaled(jobs, sides, work))
    if ask_oracle:
        ways = _parts(found[: len(searches)], len(oracle.PRICES_MM))
        known = work.do(
            [
                _Task(job, compare.known, (zone, of_zone))
                for (job, zone), of_zone in zip(asked, ways, strict=True)
            ]
        )
        sides.append(_ask(jobs, sides, _parts(known, len(jobs[0].house.strips)), work))
    return sides


def _parts(items: Sequence[Any], length: int) -> list[list[Any]]:
    """Items in lists of a length."""
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
    *answers, reached = _parts(work.do(tasks), len(jobs))
    for side, least in zip(sides, answers, strict=True):
        side.least = least
    return Side("oracle", reached)


# What came of it.


@dataclass(frozen=True)
class Shares:
    """How a policy kept the band: shares of the days that are judged.

    Season days are judged, but for those that rain alone made wet or that were declared re-wetting.
    """

    years: list[float]  # NaN for a year without a day to judge
    zones: list[float]
    dry: float
    wet: float


def shares_of(jobs: Sequence[Job], outcomes: Sequence[Outcome]) -> Shares:
    """Judge a policy over all lives."""
    counts = np.array([_counts(outcome, year) for outcome, year in _years(jobs, outcomes)])
    years = [_share(of_year.sum(axis=1), IN_BAND) for of_year in counts]
    total = counts.sum(axis=0)
    zones = [_share(total[:, zone], IN_BAND) for zone in range(total.shape[1])]
    house = total.sum(axis=1)
    return Shares(years, zones, _share(house, DRY), _share(house, WET))


def _years(jobs: Sequence[Job], outcomes: Sequence[Outcome]) -> list[tuple[Outcome, slice]]:
    """Every year of every life: its outcome, and which days of it."""
    lives = zip(jobs, outcomes, strict=True)
    return [(outcome, year) for job, outcome in lives for year in job.life.years]


def _counts(outcome: Outcome, days: slice) -> Any:
    """Season days in each state (states x zones)."""
    state, season = outcome.state[days], outcome.season[days]
    return np.stack([(season & (state == code)).sum(axis=0) for code in range(len(STATES))])


def _share(counts: Any, code: int) -> float:
    judged = counts.sum() - counts[RAIN_WET] - counts[REWETTING]
    return float(counts[code] / judged) if judged else float("nan")


def litres_of(jobs: Sequence[Job], outcomes: Sequence[Outcome]) -> list[float]:
    """Water of every year, over all zones."""
    return [float(outcome.litres[year].sum()) for outcome, year in _years(jobs, outcomes)]


def rows_of(jobs: Sequence[Job], sides: Sequence[Side]) -> list[Line]:
    """A row for each policy, year and zone."""
    rows = []
    for side in sides:
        for number, (job, outcome) in enumerate(zip(jobs, side.outcomes, strict=True)):
            for year, days in enumerate(job.life.years):
                counts = _counts(outcome, days)
                uneven = unevenness_pf(outcome.pf[days], outcome.season[days])
                for zone, strip in enumerate(job.house.strips):
                    found = {
                        f"days_{name}": int(counts[code, zone]) for code, name in enumerate(STATES)
                    }
                    rows.append(
                        {
                            "policy": side.name,
                            "weather": job.life.source,
                            "invented": int(job.life.invented),
                            "life": number + 1,
                            "year": job.life.first_year + year,
                            "zone": strip.name,
                            "season_days": int(counts[:, zone].sum()),
                            **found,
                            "litres": round(float(outcome.litres[days, zone].sum()), 1),
                            "used_mm": round(float(outcome.used_mm[days, zone].sum()), 1),
                            "unevenness_pf": rounded(uneven, 3),
                        }
                    )
    return rows


def summary(jobs: Sequence[Job], sides: Sequence[Side]) -> Line:
    """All policies over the years of the records, and over the invented ones."""
    found: Line = {"schema": SCHEMA, "notes": _notes(jobs, bool(sides[0].least))}
    for kind, invented in (("recorded", False), ("invented", True)):
        chosen = [n for n, job in enumerate(jobs) if job.life.invented == invented]
        if chosen:
            some = [jobs[n] for n in chosen]
            parts = [
                Side(
                    side.name,
                    [side.outcomes[n] for n in chosen],
                    [side.least[n] for n in chosen] if side.least else [],
                )
                for side in sides
            ]
            found[kind] = {
                "years": sum(len(job.life.years) for job in some),
                "policies": {part.name: _summary(some, part, parts) for part in parts},
            }
    return found


def _notes(jobs: Sequence[Job], asked: bool) -> list[str]:
    notes = [
        "In band, dry, wet: percent of the season days, without those that rain alone made wet and "
        "declared re-wetting. In brackets the quartiles of the years.",
        "The reference calendar is common practice, no source.",
    ]
    if asked:
        notes.append(
            "Oracle: the least water found by a search that knows soil and weather to come, for as "
            "many good days of every zone in all years of a life together: in band, or wetter by "
            "rain alone. There may be better. The bound follows from a balance of water and lies "
            "low."
        )
    if jobs[0].house.plan.hub.rain_kind == NO_RAIN_SENSOR:
        notes.append("The property has no rain sensor, so its hub has none here.")
    if any(job.life.invented for job in jobs):
        notes.append(
            "Invented years come from a generator, which understates droughts of several years: "
            "their worst years are too mild."
        )
    for job in {job.life.source: job for job in reversed(jobs) if not job.life.invented}.values():
        record = job.life.span.weather
        notes += [f"{job.life.source}: {note}" for note in (*record.cautions, *record.notes)]
    return notes


def _summary(jobs: Sequence[Job], side: Side, sides: Sequence[Side]) -> Line:
    shares = shares_of(jobs, side.outcomes)
    strips = jobs[0].house.strips
    found: Line = {
        "in_band_pct": _spread([100.0 * share for share in shares.years], 1),
        "zones_in_band_pct": {
            strip.name: _percent(share) for strip, share in zip(strips, shares.zones, strict=True)
        },
        "dry_pct": _percent(shares.dry),
        "wet_pct": _percent(shares.wet),
        "litres": _spread(litres_of(jobs, side.outcomes), 0),
        "unevenness_pf": rounded(_unevenness(side.outcomes), 3),
    }
    if side.least:
        all_it_can = next(s for s in sides if s.name == "oracle").outcomes
        keeps = keeps_band(shares, shares_of(jobs, all_it_can))
        found["oracle"] = _against(jobs, side, keeps)
    return found


def _against(jobs: Sequence[Job], side: Side, keeps: bool) -> Line:
    """A policy's water beside the oracle's for as many good days: mm a year over all strips."""
    own_mm = _mm_of(jobs, side.outcomes)
    least_mm = _mm_of(jobs, [least.outcome for least in side.least])
    own, least = float(own_mm.mean()), float(least_mm.mean())
    possible = _possible_mm(jobs, side.least)
    uneven = _unevenness([one.outcome for one in side.least])
    wet = least_mm > 0.0
    found: Line = {
        "used_mm": round(own, 1),
        "least_mm": round(least, 1),
        "times": round(own / least, 3) if least > 0.0 else None,
        "times_of_years": _spread((own_mm[wet] / least_mm[wet]).tolist(), 3),
        "more_mm": round(own - least, 1),
        "possible_mm": round(possible, 1),
        "gap_pct": round(100.0 * (1.0 - possible / least), 1) if least > 0.0 else None,
        "unevenness_pf": rounded(uneven, 3),
        "own_schedules": sum(one.own for one in side.least),
        "keeps_band": keeps,
    }
    most = MOST_TIMES.get(side.name.split(" ")[0])
    if most is not None:
        close = own <= least + MOST_MORE_MM if least < LITTLE_MM else own <= most * least
        found["most_times"] = most
        found["equally_even"] = (uneven or 0.0) <= (_unevenness(side.outcomes) or 0.0) + SAME_PF
        found["meets"] = close if keeps else None
    return found


def keeps_band(shares: Shares, reached: Shares) -> bool:
    """Whether a policy keeps every zone in band, or nearly as often as the oracle can."""
    zones = zip(shares.zones, reached.zones, strict=True)
    enough = all(
        share >= min(KEPT_SHARE, KEPT_OF_ORACLE * most) for share, most in zones if most == most
    )
    return enough and min([s for s in shares.years if s == s], default=1.0) >= KEPT_WORST_YEAR


def _mm_of(jobs: Sequence[Job], outcomes: Sequence[Outcome]) -> Floats:
    """Water of every year, corrected for storage, as depth over all strips together."""
    area_m2 = np.array([strip.area_m2 for strip in jobs[0].house.strips])
    years = [outcome.used_mm[year].sum(axis=0) for outcome, year in _years(jobs, outcomes)]
    return np.asarray(np.array(years) @ area_m2 / area_m2.sum())


def _possible_mm(jobs: Sequence[Job], least: Sequence[Least]) -> float:
    """The bound of all lives, as depth over all strips together, a year."""
    area_m2 = np.array([strip.area_m2 for strip in jobs[0].house.strips])
    total_mm = np.sum([one.possible_mm for one in least], axis=0)
    return float(total_mm @ area_m2 / area_m2.sum() / sum(len(job.life.years) for job in jobs))


def _unevenness(outcomes: Sequence[Outcome]) -> float | None:
    pf = np.concatenate([outcome.pf for outcome in outcomes])
    return unevenness_pf(pf, np.concatenate([outcome.season for outcome in outcomes]))


def _spread(values: Sequence[float], places: int) -> Line | None:
    """Least, quartiles and most of the values that are known."""
    known = [value for value in values if value == value]
    if not known:
        return None
    names = ("least", "quarter", "median", "three_quarters", "most")
    found = np.percentile(known, (0, 25, 50, 75, 100)).tolist()
    return {name: round(value, places) for name, value in zip(names, found, strict=True)}


def _percent(share: float) -> float | None:
    return round(100.0 * share, 1) if share == share else None


# Telling it.


def name_of(policy: str) -> str:
    """A policy as a reader knows it."""
    first, _, rest = policy.partition(" ")
    return f"{NAMES[first]}; {rest}" if rest else NAMES[first]


def tables_of(found: Line, shown: Units) -> list[Table]:
    """How the band was kept, and the oracle beside it, for each kind of years."""
    tables = []
    for kind in ("recorded", "invented"):
        if kind in found:
            title = f"{found[kind]['years']} {kind} years"
            policies = found[kind]["policies"]
            tables.append(_band_table(title, policies, shown))
            asked = {name: line for name, line in policies.items() if "oracle" in line}
            if asked:
                tables.append(_least_table(title, asked, shown))
    return tables


def _table(title: str, headings: Sequence[str], whole: Sequence[str]) -> Table:
    """A table to be filled; whole: headings of columns that are never broken."""
    table = Table(title=title, title_justify="left")
    table.add_column("policy")
    for heading in headings:
        longest = max(len(word) for word in heading.split())
        table.add_column(heading, justify="right", no_wrap=heading in whole, min_width=longest)
    return table


def _band_table(title: str, policies: dict[str, Line], shown: Units) -> Table:
    water = f"{shown.word('volume')} a year"
    headings = ("in band, %", "worst year", "worst zone", "dry", "wet", water, "uneven, pF")
    table = _table(f"{title}: season days in band", headings, ("in band, %", water))
    for name, line in policies.items():
        kept, used = line["in_band_pct"], line["litres"]
        zones = [value for value in line["zones_in_band_pct"].values() if value is not None]
        table.add_row(
            name_of(name),
            _middle(kept, lambda pct: f"{pct:.0f}"),
            _text(kept and kept["least"], 0),
            _text(min(zones, default=None), 0),
            _text(line["dry_pct"], 0),
            _text(line["wet_pct"], 0),
            _middle(used, lambda litres: shown.number(litres, "volume")),
            _text(line["unevenness_pf"], 2),
        )
    return table


def _middle(spread: Line | None, text: Callable[[float], str]) -> str:
    """The median, and the quartiles behind it."""
    if spread is None:
        return "-"
    return f"{text(spread['median'])} {_quartiles(spread, text)}"


def _quartiles(spread: Line | None, text: Callable[[float], str]) -> str:
    return f"({text(spread['quarter'])}-{text(spread['three_quarters'])})" if spread else ""


def _least_table(title: str, policies: dict[str, Line], shown: Units) -> Table:
    water = (f"{shown.word('total')} a year", "oracle", "times", "bound (gap)")
    headings = (*water, "keeps band", "within")
    whole = ("oracle", "times", "bound (gap)")
    table = _table(f"{title}: the oracle, for as many good days", headings, whole)
    for name, line in policies.items():
        found = line["oracle"]
        quartiles = _quartiles(found["times_of_years"], lambda times: f"{times:.2f}")
        table.add_row(
            name_of(name),
            shown.number(found["used_mm"], "total"),
            shown.number(found["least_mm"], "total") + "*" * (found["own_schedules"] > 0),
            f"{_text(found['times'], 2)} {quartiles}",
            f"{shown.number(found['possible_mm'], 'total')} ({_text(found['gap_pct'], 0)} %)",
            "yes" if found["keeps_band"] else "no",
            _within(found),
        )
    if any(line["oracle"]["own_schedules"] for line in policies.values()):
        table.caption = "*: in a life at least nothing better was found than the policy's own runs"
        table.caption_justify = "left"
    return table


def _within(found: Line) -> str:
    """Whether a hub is within what it may use; a dash where it has not kept the band, and nothing
    for ways that are held to no such bar."""
    if "most_times" not in found:
        return ""
    if found["meets"] is None:
        return "-"
    return ("yes" if found["meets"] else "no") + ("" if found["equally_even"] else ", less even")


def _text(value: float | None, places: int) -> str:
    return "-" if value is None else f"{round(value, places) + 0.0:,.{places}f}"  # no minus zero
