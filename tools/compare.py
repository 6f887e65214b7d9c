"""Many years of several ways of watering, side by side, as tables and files.

The work is cut into small tasks for processes: a policy in a life, a search of the oracle for one
zone at one price, and at last the oracle's answer to each policy.
"""

import csv
import io
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, Future
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from rich.table import Table

from sim import compare, oracle
from sim.compare import Least, Life, Outcome
from sim.house import House
from sim.outputs import Line
from sim.policies import Policy, bare_plan, compared, probed, scaled_plan
from sim.report import Units
from sim.score import DRY, IN_BAND, RAIN_WET, REWETTING, STATES, WET, unevenness_pf
from sim.weather import Weather, WeatherError
from tools.compile import compile_house, mean_et0_mm
from tools.property import Property, PropertyError

Tell = Callable[[str], None]
Made = TypeVar("Made")

SCHEMA = 1
SCALED = "calendar_scaled"
SCALED_TO = "hub_checked"  # the hub whose litres the scaled calendar gets
SCALED_TIMES = 2  # caps and whole seconds keep the first try from being exact
NAMES = {
    "none": "no watering",
    "reference": "usual calendar",
    "calendar": "calendar",
    "calendar_checked": "calendar, checked",
    SCALED: "calendar, scaled",
    "hub_rain": "hub, rain",
    "hub_checked": "hub, rain, checked",
    "hub_probes": "hub, probes, checked",
    "hub_auto": "hub, probes, own trim",
    "oracle": "oracle",
}
# What the hub may use: times the oracle's water, or so much more where that is little. Ours.
MOST_TIMES = {"hub_checked": 1.25, "hub_probes": 1.15, "hub_auto": 1.15}
LITTLE_MM, MOST_MORE_MM = 150.0, 40.0  # a year
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
    prop: Property, records: Sequence[tuple[str, Weather]], invented: int, seed: int
) -> list[Job]:
    """Every life of every record. Raises: WeatherError for a record of less than a year."""
    jobs = []
    for name, record in records:
        et0_mm = mean_et0_mm(record, prop.site.latitude)
        house = probed(compile_house(prop, et0_mm))
        lives = compare.lives_of(house, name, record, invented, seed)
        if not any(not life.invented for life in lives):
            raise WeatherError(f"{name}: found {record.days} days, allowed at least a year")
        jobs += [Job(house, life, et0_mm) for life in lives]
    return jobs


def plans_of(job: Job, others: Sequence[Property]) -> list[Policy]:
    """The tables of other files of the same house: bare, and through the hub with checks.

    Raises: PropertyError where it is another house.
    """
    found = []
    for prop in others:
        other = compile_house(prop, job.et0_mm)
        stem = Path(prop.source.name).stem
        names = [[strip.name for strip in one.strips] for one in (job.house, other)]
        if names[0] != names[1]:
            line = f"found zones {', '.join(names[1])}, allowed those of the house: "
            raise PropertyError([f"{prop.source.name}: {line}{', '.join(names[0])}"])
        checked = next(policy for policy in compared(other) if policy.name == SCALED_TO)
        found.append(Policy(f"calendar {stem}", bare_plan(other.plan), None))
        found.append(Policy(f"{SCALED_TO} {stem}", checked.plan, job.house.owner))
    return found


# Doing it.


class _Work:
    """Hands tasks to processes and tells how many are done."""

    def __init__(self, executor: Executor, total: int, tell: Tell) -> None:
        self._executor, self._total, self._tell = executor, total, tell
        self._done = 0

    def submit(self, what: str, task: Callable[..., Made], *arguments: Any) -> "Future[Made]":
        future = self._executor.submit(task, *arguments)
        future.add_done_callback(lambda done: self._say(what, done))
        return future

    def _say(self, what: str, future: "Future[Any]") -> None:
        if not future.cancelled() and future.exception() is None:
            self._done += 1
            self._tell(f"{self._done} of {self._total}: {what}")


def run(
    jobs: Sequence[Job],
    others: Sequence[Property],
    ask_oracle: bool,
    executor: Executor,
    tell: Tell,
) -> list[Side]:
    """Let every policy live every life, and ask the oracle; the oracle's own side comes last."""
    house = jobs[0].house
    names = [policy.name for policy in [*compared(house), *plans_of(jobs[0], others)]]
    zones, prices = range(len(house.strips)), oracle.PRICES_MM
    lived = len(jobs) * (len(names) + SCALED_TIMES)
    asked = len(jobs) * (len(zones) * len(prices) + len(names) + 2) if ask_oracle else 0
    work = _Work(executor, lived + asked, tell)

    def live(policies: Sequence[Policy]) -> "list[Future[Outcome]]":
        return [
            work.submit(f"{policy.name}, {_named(job)}", compare.lived, job.house, job.life, policy)
            for job, policy in zip(jobs, policies, strict=True)
        ]

    by_job = [[*compared(job.house), *plans_of(job, others)] for job in jobs]
    living = [live([policies[n] for policies in by_job]) for n in range(len(names))]
    searching = [
        [
            [
                work.submit(
                    f"oracle, {strip.name} at {price:g} mm a day, {_named(job)}",
                    compare.search,
                    job.house,
                    job.life,
                    zone,
                    price,
                )
                for price in prices
            ]
            for zone, strip in enumerate(job.house.strips)
        ]
        for job in (jobs if ask_oracle else ())
    ]
    sides = [
        Side(name, [future.result() for future in futures])
        for name, futures in zip(names, living, strict=True)
    ]
    sides.insert(names.index("calendar_checked") + 1, _scaled(jobs, sides, live))
    if ask_oracle:
        ways = [[[one.result() for one in zone] for zone in job] for job in searching]
        sides.append(_ask(jobs, sides, ways, work))
    return sides


def _named(job: Job) -> str:
    life = job.life
    first, last = life.first_year, life.first_year + len(life.years) - 1
    return f"{Path(life.source).name}, {'invented ' if life.invented else ''}{first}-{last}"


def _scaled(
    jobs: Sequence[Job],
    sides: Sequence[Side],
    live: "Callable[[Sequence[Policy]], list[Future[Outcome]]]",
) -> Side:
    """The bare calendar with every run scaled so that it gives what the hub gave."""
    of = {side.name: side for side in sides}
    wanted = sum(outcome.litres.sum() for outcome in of[SCALED_TO].outcomes)
    side, share = of["calendar"], 1.0
    for _ in range(SCALED_TIMES):
        given = sum(outcome.litres.sum() for outcome in side.outcomes)
        share *= wanted / given if given else 1.0
        plans = [scaled_plan(bare_plan(job.house.plan), share) for job in jobs]
        futures = live([Policy(SCALED, plan, None) for plan in plans])
        side = Side(SCALED, [future.result() for future in futures])
    return side


def _ask(
    jobs: Sequence[Job],
    sides: Sequence[Side],
    ways: Sequence[Sequence[Sequence[oracle.Way]]],
    work: _Work,
) -> Side:
    """The oracle's answer to each policy that waters, and what it reaches itself."""
    reaching = [
        work.submit(f"oracle, {_named(job)}", compare.reached, job.house, job.life, found)
        for job, found in zip(jobs, ways, strict=True)
    ]
    answering = [
        [
            work.submit(
                f"oracle for {side.name}, {_named(job)}",
                compare.answer,
                job.house,
                job.life,
                outcome,
                found,
            )
            for job, outcome, found in zip(jobs, side.outcomes, ways, strict=True)
        ]
        for side in sides
    ]
    for side, futures in zip(sides, answering, strict=True):
        side.least = [future.result() for future in futures]
    return Side("oracle", [future.result() for future in reaching])


# What came of it.


@dataclass(frozen=True)
class Shares:
    """How a policy kept the band: shares of the days that are judged, and water, year by year.

    Season days are judged, but for those that rain alone made wet or that were declared re-wetting.
    """

    years: list[float]  # NaN for a year without a day to judge
    zones: list[float]
    dry: float
    wet: float
    litres: list[float]


def shares_of(jobs: Sequence[Job], outcomes: Sequence[Outcome]) -> Shares:
    """Judge a policy over all lives."""
    years, litres = [], []
    totals = np.zeros((len(STATES), outcomes[0].state.shape[1]))
    for job, outcome in zip(jobs, outcomes, strict=True):
        for year in job.life.years:
            counts = _counts(outcome, year)
            totals += counts
            years.append(_share(counts.sum(axis=1), IN_BAND))
            litres.append(float(outcome.litres[year].sum()))
    house = totals.sum(axis=1)
    zones = [_share(totals[:, zone], IN_BAND) for zone in range(totals.shape[1])]
    return Shares(years, zones, _share(house, DRY), _share(house, WET), litres)


def _counts(outcome: Outcome, days: slice) -> Any:
    """Season days in each state (states x zones)."""
    state, season = outcome.state[days], outcome.season[days]
    return np.stack([(season & (state == code)).sum(axis=0) for code in range(len(STATES))])


def _share(counts: Any, code: int) -> float:
    judged = counts.sum() - counts[RAIN_WET] - counts[REWETTING]
    return float(counts[code] / judged) if judged else float("nan")


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
                            "unevenness_pf": _rounded(uneven, 3),
                        }
                    )
    return rows


def summary(jobs: Sequence[Job], sides: Sequence[Side]) -> Line:
    """All policies over the years of the records, and over the invented ones."""
    found: Line = {"schema": SCHEMA, "notes": _notes(jobs)}
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


def _notes(jobs: Sequence[Job]) -> list[str]:
    notes = [
        "In band, dry, wet: percent of the season days, without those that rain alone made wet and "
        "declared re-wetting; the median year and, in brackets, the quartiles.",
        "Oracle: the least water found by a search that knows soil and weather to come, for as "
        "many days in band in every zone; it is no proof that there is nothing better. The bound "
        "is proved by a balance of water and lies low.",
    ]
    if any(job.life.invented for job in jobs):
        notes.append(
            "Invented years come from a generator, which understates droughts of several years: "
            "their worst years are too mild."
        )
    for note in jobs[0].life.span.notes:
        notes.append(f"{jobs[0].life.source}: {note}")
    return notes


def _summary(jobs: Sequence[Job], side: Side, sides: Sequence[Side]) -> Line:
    shares = shares_of(jobs, side.outcomes)
    years = [share for share in shares.years if share == share]
    strips = jobs[0].house.strips
    found: Line = {
        "in_band_pct": _spread([100.0 * share for share in years], 1),
        "zones_in_band_pct": {
            strip.name: _rounded(100.0 * share, 1)
            for strip, share in zip(strips, shares.zones, strict=True)
        },
        "dry_pct": _rounded(100.0 * shares.dry, 1),
        "wet_pct": _rounded(100.0 * shares.wet, 1),
        "litres": _spread(shares.litres, 0),
        "unevenness_pf": _rounded(_unevenness(side.outcomes), 3),
    }
    if side.least:
        reached = shares_of(jobs, next(s for s in sides if s.name == "oracle").outcomes)
        found["oracle"] = _against(jobs, side, shares, reached)
    return found


def _against(jobs: Sequence[Job], side: Side, shares: Shares, reached: Shares) -> Line:
    """A policy's water beside the oracle's for the same days: mm a year over all strips."""
    own_mm = _mm_a_year(jobs, [outcome.used_mm for outcome in side.outcomes])
    least_mm = _mm_a_year(jobs, [least.outcome.used_mm for least in side.least])
    possible_mm = _mm_a_year(jobs, [least.possible_mm for least in side.least])
    uneven = _unevenness([least.outcome for least in side.least])
    own_uneven = _unevenness(side.outcomes)
    found: Line = {
        "used_mm": round(own_mm, 1),
        "least_mm": round(least_mm, 1),
        "times": _rounded(own_mm / least_mm if least_mm > 0.0 else None, 3),
        "more_mm": round(own_mm - least_mm, 1),
        "possible_mm": round(possible_mm, 1),
        "gap_pct": _rounded(100.0 * (1.0 - possible_mm / least_mm) if least_mm > 0.0 else None, 1),
        "unevenness_pf": _rounded(uneven, 3),
        "own_schedules": sum(least.own for least in side.least),
        "keeps_band": keeps_band(shares, reached),
    }
    if side.name in MOST_TIMES:
        found["most_times"] = MOST_TIMES[side.name]
        even = uneven is None or own_uneven is None or uneven <= own_uneven + compare.SAME_PF
        found["equally_even"] = even
        little = least_mm < LITTLE_MM
        close = (
            own_mm <= least_mm + MOST_MORE_MM if little else found["times"] <= MOST_TIMES[side.name]
        )
        found["meets"] = close if found["keeps_band"] else None
    return found


def keeps_band(shares: Shares, reached: Shares) -> bool:
    """Whether a policy keeps every zone in band, or nearly as often as the oracle can."""
    zones = zip(shares.zones, reached.zones, strict=True)
    enough = all(
        share >= min(KEPT_SHARE, KEPT_OF_ORACLE * most) for share, most in zones if most == most
    )
    return enough and min([s for s in shares.years if s == s], default=1.0) >= KEPT_WORST_YEAR


def _mm_a_year(jobs: Sequence[Job], zones_mm: Sequence[Any]) -> float:
    """Depth over all strips together, a year."""
    area_m2 = np.array([strip.area_m2 for strip in jobs[0].house.strips])
    years = sum(len(job.life.years) for job in jobs)
    return float(sum(mm @ area_m2 for mm in zones_mm) / area_m2.sum() / years)


def _unevenness(outcomes: Sequence[Outcome]) -> float | None:
    pf = np.concatenate([outcome.pf for outcome in outcomes])
    return unevenness_pf(pf, np.concatenate([outcome.season for outcome in outcomes]))


def _spread(values: Sequence[float], places: int) -> Line | None:
    if not values:
        return None
    low, quarter, median, three, high = np.percentile(values, (0, 25, 50, 75, 100)).tolist()
    names = ("least", "quarter", "median", "three_quarters", "most")
    both = zip(names, (low, quarter, median, three, high), strict=True)
    return {name: round(value, places) for name, value in both}


def _rounded(value: float | None, places: int) -> float | None:
    return None if value is None or value != value else round(value, places)


# Telling it.


def name_of(policy: str) -> str:
    """A policy as a reader knows it."""
    first, _, rest = policy.partition(" ")
    return f"{NAMES[first]} of {rest}" if rest else NAMES[first]


def tables_of(found: Line, shown: Units) -> list[tuple[str, Table]]:
    """How the band was kept, and the oracle beside it, for each kind of years."""
    tables = []
    for kind in ("recorded", "invented"):
        if kind in found:
            title = f"{found[kind]['years']} {kind} years"
            policies = found[kind]["policies"]
            tables.append((title, _band_table(policies, shown)))
            if any("oracle" in line for line in policies.values()):
                tables.append((f"{title}: the oracle for the same days", _least_table(policies)))
    return tables


def _band_table(policies: dict[str, Line], shown: Units) -> Table:
    table = Table()
    table.add_column("policy", no_wrap=True)
    for heading in (
        "in band, %",
        "worst year",
        "worst zone",
        "dry",
        "wet",
        f"{shown.volume} a year",
        "uneven, pF",
    ):
        table.add_column(heading, justify="right")
    for name, line in policies.items():
        kept, used = line["in_band_pct"], line["litres"]
        zones = [value for value in line["zones_in_band_pct"].values() if value is not None]
        table.add_row(
            name_of(name),
            _middle(kept, lambda pct: f"{pct:.0f}"),
            "-" if kept is None else f"{kept['least']:.0f}",
            _text(min(zones, default=None), 0),
            _text(line["dry_pct"], 0),
            _text(line["wet_pct"], 0),
            _middle(used, shown.litres),
            _text(line["unevenness_pf"], 2),
        )
    return table


def _middle(spread: Line | None, text: Callable[[float], str]) -> str:
    """The median, and the quartiles behind it."""
    if spread is None:
        return "-"
    low, high = text(spread["quarter"]), text(spread["three_quarters"])
    return f"{text(spread['median'])} ({low}-{high})"


def _least_table(policies: dict[str, Line]) -> Table:
    table = Table()
    table.add_column("policy", no_wrap=True)
    for heading in (
        "mm a year",
        "oracle's",
        "times",
        "bound",
        "gap, %",
        "uneven, pF",
        "oracle's",
        "keeps band",
        "within",
    ):
        table.add_column(heading, justify="right")
    for name, line in policies.items():
        if "oracle" in line:
            found = line["oracle"]
            table.add_row(
                name_of(name),
                _text(found["used_mm"], 0),
                _text(found["least_mm"], 0) + "*" * (found["own_schedules"] > 0),
                _text(found["times"], 2),
                _text(found["possible_mm"], 0),
                _text(found["gap_pct"], 0),
                _text(line["unevenness_pf"], 2),
                _text(found["unevenness_pf"], 2),
                "yes" if found["keeps_band"] else "no",
                _within(found),
            )
    return table


def _within(found: Line) -> str:
    """Whether a hub is within what it may use; a dash where it has not kept the band."""
    if "most_times" not in found:
        return ""
    if found["meets"] is None:
        return "-"
    return ("yes" if found["meets"] else "no") + ("" if found["equally_even"] else ", less even")


def _text(value: float | None, places: int) -> str:
    return "-" if value is None else f"{value:,.{places}f}"


def csv_lines(rows: Sequence[Line]) -> str:
    """The rows as CSV."""
    text = io.StringIO()
    writer = csv.DictWriter(text, rows[0].keys(), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()
