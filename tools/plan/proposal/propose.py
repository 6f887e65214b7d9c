"""`evenclay propose`: the seasonal table that a house's strips ask for, and why."""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from math import ceil

import numpy as np

from evenclay.sim.calendar import MONTHS
from evenclay.sim.house.house import House
from evenclay.sim.judge.brisk import Brisk
from evenclay.sim.judge.proposal import (
    YEARS_MOST,
    Kept,
    Need,
    Record,
    Records,
    begin_of,
    need_of,
    records_of,
    replayed,
)
from evenclay.sim.judge.search import THREADS, Task, balanced, plans_of, search
from evenclay.sim.types import Floats
from evenclay.sim.weather.generator import fit, generate
from evenclay.sim.weather.record import Weather
from evenclay.tools.plan.proposal.draft import (
    HEADROOM,
    SHARES_PCT,
    Draft,
    Tables,
    days_allowed,
    draft_of,
    minutes_of,
    windows_min,
)
from evenclay.tools.plan.proposal.written import written
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.cycles import clock
from evenclay.tools.property.file.mistakes import Mistake
from evenclay.tools.property.file.schedule import Season
from evenclay.tools.property.property import Property, parse

REST_H = 4.0  # in which a hose drains between runs, about
POOR_PCT = 60.0  # of season days in band: a plan that keeps fewer in any zone is not worth a file
DRY_MOST = 0.1  # of season days, although watered whenever it may be: the clay takes in too little
SLOW = 3.0  # times its need that clay should pass on in a day: below, depth follows weeks later
FIRST_SHARE = 0.6  # of the plans are tried before rows are moved
HOURS_MOST = 12  # a day, in which the need is given


@dataclass(frozen=True)
class Limit:
    """Why no plan gives what is needed: how much of the need one can give, what stops it, in the
    words of `evenclay check` with its figures, and what would do."""

    half_month: int
    share: float
    found: str
    allowed: str
    remedies: tuple[str, ...]


def limit_of(tables: Tables, draft: Draft, need: Need) -> Limit | None:
    """What keeps every plan from giving the need of the driest half-month; None if nothing does."""
    minutes = minutes_of(tables, need.mm_d)
    half = int(np.argmax(minutes.max(axis=1)))
    level = float(np.exp(np.log(np.maximum(minutes[half], 1e-6)).mean()))
    shares = tuple(np.clip(100.0 * minutes[half] / level, *SHARES_PCT).tolist())

    def tried(share: float) -> list[Mistake]:
        only = Draft((half,), (level * share,), draft.demand, shares, wet_pct=draft.wet_pct)
        return tables.property_of(only)[2]

    mistakes = tried(1.0)
    if not mistakes:
        return None
    low, high = 0.0, 1.0
    for _ in range(12):
        middle = (low + high) / 2
        if tried(middle):
            high = middle
        else:
            low = middle
    first = mistakes[0]
    return Limit(
        half, low, first.found, first.allowed, tuple(_remedies(tables, minutes[half], low))
    )


def _remedies(tables: Tables, minutes: Floats, share: float) -> Iterator[str]:
    plan, allowed = tables.house.plan, days_allowed(tables.house.plan)
    short = [
        (zone.name, needed)
        for zone, needed in zip(plan.zones, minutes.tolist(), strict=True)
        if needed > zone.cap_s / 60
    ]
    if short:
        yield "a cap of " + ", ".join(f"{needed:.0f} min ({name})" for name, needed in short)
    if allowed < 1.0 and allowed / max(share, 1e-9) <= 1.0:
        yield f"{ceil(7 * allowed / share)} days a week instead of {7 * allowed:.3g}"
    rate = 1.0 / max(share, 1e-9)
    yield f"hoses that give {rate:.2g} times as much, where the clay takes it, or more spigots"


@dataclass(frozen=True)
class Proposal:
    """What was found: the property with its new table and shares, the file's new text, why, and how
    it keeps the clay under the real hub, by policy and then by `searched` and `held out` years.

    prop, text: None where no plan can give what is needed; then limits say why.
    """

    need: Need
    draft: Draft
    tables: Tables
    limits: tuple[str, ...]
    prop: Property | None = None
    text: str | None = None
    kept: dict[str, dict[str, Kept]] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    @property
    def minutes_taken(self) -> float:
        """The longest run of any zone that goes in at full headroom."""
        return float(self.tables.run_most_min.min())


def propose(
    prop: Property,
    house: House,
    weathers: Sequence[Weather],
    et0_mm: Sequence[float],
    *,
    rows: int,
    share: float,
    seed: int,
    tell: Callable[[str], None],
    tried: Callable[[int, int], None],
) -> Proposal:
    """Work out a plan on some records of weather. Raises: WeatherError for one of under a year.

    tell: takes what is done next; tried: how many plans were tried, and of how many.
    """
    tell("the years made ready")
    records = records_of(house, weathers, seed)
    brisks = [Brisk(house, record.span, seed) for record in records.searched]
    tables = Tables(prop, house, et0_mm, brisks[0].filled_mm(REST_H))
    hours = min(windows_min(house.plan)[0][1] // 60, HOURS_MOST)
    need = need_of(records.searched, brisks, share, hours)
    draft = draft_of(tables, need, rows)
    limits = tuple(limits_of(tables, draft, need))
    if limits:
        return Proposal(need, draft, tables, limits)
    best = _searched(tables, need, draft, (records.searched, brisks), seed, tried)
    found, _, mistakes = tables.property_of(best)
    if mistakes:
        reason = f"{mistakes[0].found}; allowed: {mistakes[0].allowed}"
        limits = (f"no table that was tried keeps the rules: {reason}",)
        return Proposal(need, best, tables, limits)
    text = written(prop.source.text, found)
    tell("the plan replayed under the hub's own code")
    found = parse(text, prop.source.name)  # as rounded for the file
    again = compile_house(found, et0_mm)
    recorded = records.searched[: len(weathers)]
    kept = {"hub": {"searched": replayed(recorded, again, "hub", seed)}}
    if records.held_out:
        # Under a seed of their own: other hours of rain, and probes that read a little otherwise.
        kept["hub"]["held out"] = replayed(records.held_out, again, "hub", seed + 1)
        kept["calendar"] = {"held out": replayed(records.held_out, again, "calendar", seed + 1)}
    else:
        kept["calendar"] = {"searched": replayed(recorded, again, "calendar", seed)}
    limits = tuple(_poor(tables, need, kept["hub"]["searched"]))
    if limits:
        return Proposal(need, best, tables, limits)
    notes = tuple(_notes(records))
    return Proposal(need, best, tables, (), found, text, kept, notes)


def invented(record: Weather, seed: int) -> Weather:
    """As many years as are looked at, with a record's habits."""
    return generate(fit(record), YEARS_MOST + 1, seed)


def _searched(
    tables: Tables,
    need: Need,
    draft: Draft,
    years: tuple[Sequence[Record], Sequence[Brisk]],
    seed: int,
    tried: Callable[[int, int], None],
) -> Draft:
    """The best draft found: all numbers, then where rows begin, then all numbers once more."""

    def task_of(draft: Draft) -> Task:
        return Task(
            *years,
            lambda numbers: tables.plan_of(draft.varied(numbers)),
            draft.spreads,
            [draft.half_months(row) for row in draft.open_rows],
            need.mm_d.mean(axis=0) * 365.25,
            tables.house.owner.checks,
        )

    task = task_of(draft)
    plans = plans_of(task)
    first = round(FIRST_SHARE * plans)
    begin = balanced(task)
    draft = draft.varied(search(task, begin, first, seed, lambda count: tried(count, plans)))
    draft = _moved(task, tables, draft)
    task = task_of(draft)
    begin = np.zeros(len(draft.spreads))
    return draft.varied(
        search(task, begin, plans - first, seed, lambda count: tried(first + count, plans))
    )


def _moved(task: Task, tables: Tables, draft: Draft) -> Draft:
    """Let each row begin a half-month earlier or later where that is better."""
    least = task.loss_of(tables.plan_of(draft))
    with ThreadPoolExecutor(THREADS) as pool:
        for number in range(len(draft.begins)):
            moved = [m for m in (draft.shifted(number, halves) for halves in (-1, 1)) if m]
            losses = list(pool.map(task.loss_of, [tables.plan_of(m) for m in moved]))
            if losses and min(losses) < least:
                least, draft = min(losses), moved[int(np.argmin(losses))]
    return draft


def _notes(records: Records) -> Iterator[str]:
    """What a reader should know of the years."""
    for name, some in (("searched", records.searched), ("held out", records.held_out)):
        parts = [", ".join(map(str, record.names)) for record in some]
        if name == "searched" and records.invented:
            parts[-1] = f"{len(some[-1].years)} years invented with their habits"
        yield f"years {name}: {'; '.join(parts) or 'none: the record is too short'}"
    if records.held_out:
        yield "held out: with other hours of rain and other pieces of probe than in the search"


def limits_of(tables: Tables, draft: Draft, need: Need) -> Iterator[str]:
    """Why no plan can hold the band, in a sentence each; none where one may."""
    units = tables.units
    limit = limit_of(tables, draft, need)
    half = int(np.argmax(need.mm_d.max(axis=1)))
    if limit is not None:
        month = MONTHS[limit.half_month // 2]
        part = "second" if limit.half_month % 2 else "first"
        depths = ", ".join(
            f"{strip.name} {units.number(depth, 'depth')}"
            for strip, depth in zip(
                tables.house.strips, need.mm_d[limit.half_month].tolist(), strict=True
            )
        )
        yield (
            f"in the {part} half of {month} the strips need, {units.word('depth')} a day: "
            f"{depths}; no table gives more than {100 * limit.share:.0f} % of that: {limit.found}; "
            f"allowed is {limit.allowed}"
        )
        yield f"what would do: {'; or '.join(limit.remedies)}"
    for zone, (strip, dry) in enumerate(
        zip(tables.house.strips, need.dry_days.tolist(), strict=True)
    ):
        if dry > DRY_MOST:
            lost = units.number(strip.coefficient * tables.et0_mm[half // 2], "depth")
            took = units.shown(float(need.high_mm_d[:, zone].max()), "depth")
            yield (
                f"{strip.name}: the clay takes in too little: watered in every hour there is, it "
                f"is drier than its band on {100 * dry:.0f} % of season days; most it took was "
                f"{took} a day where {lost} evaporate, and its hose gives "
                f"{units.shown(strip.rate_mm_h, 'depth')} an hour. What would do: a wider strip, "
                "mulch or shade, which lose less"
            )


def _poor(tables: Tables, need: Need, kept: Kept) -> Iterator[str]:
    """Why the best plan tried is not worth having, a sentence for each zone it fails; else none."""
    for zone, strip in enumerate(tables.house.strips):
        if kept.zones[zone] >= POOR_PCT:
            continue
        yield (
            f"{strip.name}: the best plan tried keeps it in band on {kept.zones[zone]:.0f} % of "
            f"season days (too dry {kept.dry[zone]:.0f} %, too wet {kept.wet[zone]:.0f} %)"
        )
        needs_mm = float(need.mm_d[:, zone].max())
        soil = tables.prop.zones[strip.name].soil or tables.prop.soil
        ks_mm_h = soil.hydraulics.ks_mm_h
        if 24.0 * ks_mm_h < SLOW * needs_mm:
            units = tables.units
            a_day, needed, given = [
                units.number(mm, "depth") for mm in (24.0 * ks_mm_h, needs_mm, strip.rate_mm_h)
            ]
            yield (
                f"{strip.name}: what limits it is the clay: once wet it passes on "
                f"{units.shown(ks_mm_h, 'depth', '.2g')} an hour, {a_day} a day, where {needed} a "
                f"day are needed, and its hose gives {given} an hour, so that a run of over "
                f"{tables.run_most_min[zone]:.0f} min runs off. What would do: mulch or shade, "
                "which lose less, or ground that takes in more"
            )


def why(found: Proposal) -> list[str]:
    """Why each row and share is as it is, in figures, a line each."""
    assert found.prop is not None
    units = found.tables.units
    lines = [_why_row(found, row, season) for row, season in enumerate(found.prop.seasons)]
    years_mm = found.need.mm_d.mean(axis=0) * 365.25
    for zone, strip in enumerate(found.tables.house.strips):
        lines.append(
            f"{strip.name}: share {found.prop.zones[strip.name].share:.0f} %; it needs "
            f"{units.shown(float(years_mm[zone]), 'total')} a year, and its hose gives "
            f"{units.shown(strip.rate_mm_h, 'depth')} an hour"
        )
    trim, rain = found.prop.trim, found.prop.lockouts.rain
    if found.draft.trim_pct:
        lines.append(
            f"a weekly check moves a zone's trim by {trim.step} points, within {trim.least} to "
            f"{trim.most} %; the hub's own trim is off, since two work against each other"
        )
    if found.draft.rain_mm:
        lines.append(
            f"of a day's rain all but {units.shown(rain.skip, 'depth')} counts, up to "
            f"{units.shown(rain.most, 'depth')} in the bank; more than a day's demand in it, or "
            f"than {units.shown(rain.lock_floor, 'depth')}, holds water back"
        )
    probed = {name: zone.wet_limit for name, zone in found.prop.zones.items() if zone.probe}
    if probed:
        limits = ", ".join(f"{name} {limit} %" for name, limit in probed.items())
        lines.append(
            f"soil probes hold water back from so much by volume on: {limits}; the table may "
            "give more than is needed, and a zone whose probe fails gets that: mend it soon"
        )
    lines.append(
        f"a run of {found.minutes_taken:.0f} min at most goes in, with "
        f"{100 * HEADROOM - 100:.0f} % to spare for the trim"
    )
    return lines


def _why_row(found: Proposal, row: int, season: Season) -> str:
    tables, draft, units = found.tables, found.draft, found.tables.units
    needs = found.need.mm_d[draft.half_months(row)].mean(axis=0)
    until = begin_of(draft.begins[(row + 1) % len(draft.begins)])
    head = "{:02}-{:02} to before {:02}-{:02}: ".format(*season.begins, *until)
    if not season.count:
        most = units.shown(float(needs.max()), "depth")
        return head + f"closed; the strips need at most {most} a day"
    times = season.count * days_allowed(tables.house.plan)
    zones = []
    for zone, strip in enumerate(tables.house.strips):
        run_min = (season.minutes or 0.0) * round(draft.share_pct[zone]) / 100
        run_mm = strip.rate_mm_h * run_min / 60 + tables.filled_mm[zone]
        given, needed = [units.number(mm, "depth") for mm in (run_mm * times, needs[zone])]
        zones.append(f"{strip.name} {given} for {needed}")
    window = season.window or (0, 0)
    length_min = (window[1] - window[0]) % 1440 or 1440
    return (
        head
        + f"{units.word('depth')} a day given for needed: {', '.join(zones)}; {season.count} x "
        f"{season.minutes:g} min in {clock(window[0])}-{clock(window[1])}, "
        f"{length_min / season.count / 60:.1f} h from cycle to cycle; rain bank drains "
        f"{units.shown(season.demand or 0.0, 'depth')} a day"
    )
