"""`evenclay propose`: the seasonal table and the shares that a house's strips ask for."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import product
from math import ceil, exp
from typing import Any

import numpy as np
import tomlkit
from tomlkit.items import AoT, Comment, Table, Whitespace

from controller.limits import CYCLES_MAX, RUN_LEAST_S
from controller.plan import ANY_DATE, BAN_HOURS, Plan
from sim.ground import Floats
from sim.house import House
from sim.pictures import MONTHS
from sim.proposal import (
    HALF_MONTHS,
    Kept,
    Need,
    begin_of,
    make_records,
    need_of,
    replayed,
    search,
)
from sim.segments import best_cut
from sim.weather import Weather
from tools.advice import DEMAND_MOST, taken_min
from tools.compile import clock, compile_house, trial_plan
from tools.property import Mistake, Property, Season, parse

HEADROOM = 1.2  # a run trimmed up so far still goes into the ground
# Hours to water in, night first: less is lost to the sun. Wider where the night is too short.
NIGHTS_MIN = ((20 * 60, 12 * 60), (18 * 60, 16 * 60), (14 * 60, 23 * 60))
DEMAND_SHARE = 0.7  # of the mean ET0 drains the rain bank where a search begins
REST_H = 4.0  # in which a hose drains between runs, about
DRY_MOST = 0.1  # of season days, although watered whenever it may be: the clay takes in too little
EVEN_WEIGHT = 0.2  # of the most need, added to each in weighing how far a row is from it


@dataclass(frozen=True)
class Draft:
    """A table before it is searched: half-months on which rows begin, and for each minutes on a day
    that may be watered at share 100 (0: closed) and demand [mm a day]; a share for each zone."""

    begins: tuple[int, ...]
    minutes: tuple[float, ...]
    demand_mm: tuple[float, ...]
    share_pct: tuple[float, ...]

    @property
    def open_rows(self) -> list[int]:
        """Rows that are not closed."""
        return [row for row, minutes in enumerate(self.minutes) if minutes > 0.0]

    def varied(self, numbers: Floats) -> "Draft":
        """The draft with minutes, demand and shares times the exponentials of some numbers: one for
        each open row's minutes, then for each one's demand, then for each zone's share."""
        factors = [exp(number) for number in numbers.tolist()]
        count = len(self.open_rows)
        minutes, demand_mm = list(self.minutes), list(self.demand_mm)
        for place, row in enumerate(self.open_rows):
            minutes[row] *= factors[place]
            demand_mm[row] *= factors[count + place]
        shares = tuple(
            share * factor
            for share, factor in zip(self.share_pct, factors[2 * count :], strict=True)
        )
        return Draft(self.begins, tuple(minutes), tuple(demand_mm), shares)

    def half_months(self, row: int) -> Any:
        """The half-months of a row."""
        following = self.begins[(row + 1) % len(self.begins)]
        length = (following - self.begins[row] - 1) % HALF_MONTHS + 1
        return (self.begins[row] + np.arange(length)) % HALF_MONTHS


def days_allowed(plan: Plan) -> float:
    """Share of days on which local rules allow watering, by weekday and date; not banned dates."""
    share = bin(plan.hub.weekdays).count("1") / 7
    return share if plan.hub.dates == ANY_DATE else share / 2


def windows_min(plan: Plan) -> list[tuple[int, int]]:
    """Start and length [min] of the stretches of the day to try, the one to prefer first."""
    free = np.ones(1440, dtype=bool)
    for ban in plan.bans:
        if ban.kind == BAN_HOURS:
            minutes = np.arange(ban.first, ban.first + ((ban.last - ban.first) % 1440 or 1440))
            free[minutes % 1440] = False
    found = [_longest(free & _mask(*night)) for night in NIGHTS_MIN] + [_longest(free)]
    return [window for place, window in enumerate(found) if window not in found[:place]]


def _mask(start: int, length: int) -> Any:
    mask = np.zeros(1440, dtype=bool)
    mask[np.arange(start, start + length) % 1440] = True
    return mask


def _longest(free: Any) -> tuple[int, int]:
    """Start and length of the longest stretch of free minutes around the day, at most 24 h."""
    if free.all():
        return 20 * 60, 1440
    best = (0, 0)
    for start in np.flatnonzero(free & ~np.roll(free, 1)):
        length = int(np.argmin(np.roll(free, -start)))
        best = max(best, (int(start), length), key=lambda window: window[1])
    return best


def minutes_of(tables: "Tables", need: Need) -> Floats:
    """Minutes on a day that may be watered that give the need: (24, zones)."""
    rates = np.array([strip.rate_mm_h for strip in tables.house.strips])
    a_day_mm = need.mm_d / days_allowed(tables.house.plan)
    runs = np.ceil(a_day_mm / (rates * tables.run_most_min / 60.0))
    return np.asarray(np.maximum(a_day_mm - runs * tables.filled_mm, 0.0) / rates * 60.0)


def draft_of(tables: "Tables", need: Need, rows: int) -> Draft:
    """Shares by what each zone needs over the year, and at most so many rows that follow it."""
    minutes = minutes_of(tables, need)
    by_zone = np.maximum(minutes.sum(axis=0), 1e-6)
    shares = np.clip(100.0 * by_zone / np.exp(np.log(by_zone).mean()), 12, 280)
    at_100 = minutes.sum(axis=1) / shares.sum() * 100.0
    least = 2 * RUN_LEAST_S / 60 / (shares.min() / 100.0)  # so that half the trim still runs
    cut = best_cut(_costs(at_100, least), rows)
    found, demands = [], []
    begins = cut.begins
    for place, first in enumerate(begins):
        length = (begins[(place + 1) % len(begins)] - first - 1) % HALF_MONTHS + 1
        halves = (first + np.arange(length)) % HALF_MONTHS
        level, _ = _level(at_100[halves], at_100.max(), least)
        found.append(level)
        demands.append(
            DEMAND_SHARE * float(np.mean([tables.et0_mm[half // 2] for half in halves.tolist()]))
        )
    return Draft(begins, tuple(found), tuple(demands), tuple(shares.tolist()))


def _level(wanted: Floats, most: float, least: float) -> tuple[float, float]:
    """The minutes of a row that stands for some half-months, 0 for closed, and how far it is off.

    Squares weigh by 1 / need: what a dry month misses by a minute is soon mended, a wet one's
    lasts.
    """
    weight = 1.0 / (wanted + EVEN_WEIGHT * most + 1e-9)
    level = float((weight * wanted).sum() / weight.sum())
    opened = float((weight * (wanted - level) ** 2).sum())
    closed = float((weight * wanted**2).sum())
    return (level, opened) if level >= least and opened < closed else (0.0, closed)


def _costs(wanted: Floats, least: float) -> Floats:
    """Costs of all stretches of the year, as best_cut takes them."""
    most = float(wanted.max())
    cost = np.zeros((HALF_MONTHS, HALF_MONTHS))
    for first, length in product(range(HALF_MONTHS), range(1, HALF_MONTHS + 1)):
        halves = (first + np.arange(length)) % HALF_MONTHS
        cost[first, length - 1] = _level(wanted[halves], most, least)[1]
    return cost


class Tables:
    """Makes seasons of drafts, so that every rule of `evenclay check` holds."""

    def __init__(
        self, prop: Property, house: House, et0_mm: Sequence[float], filled_mm: Floats
    ) -> None:
        """filled_mm: what a run of each zone gives besides its minutes' flow."""
        self.prop = prop
        self.house = house
        self.et0_mm = et0_mm
        self.filled_mm = filled_mm
        self._windows_min = windows_min(house.plan)
        # What of a run goes into the ground, and what a valve may stand open.
        self.run_most_min = np.array(
            [
                min(taken_min(prop, zone) / HEADROOM, zone.longest_s / 60)
                for zone in house.plan.zones
            ]
        )

    def property_of(self, draft: Draft) -> tuple[Property, Plan, list[Mistake]]:
        """The property with a draft's table and shares, its plan, and what breaks a rule in it.

        Cycles: the fewest whose runs go in. Where that does not fit, longer windows are tried.
        """
        zones = {
            name: zone.model_copy(update={"share": float(round(share))})
            for (name, zone), share in zip(self.prop.zones.items(), draft.share_pct, strict=True)
        }
        tries = [0] * len(draft.begins)
        while True:
            seasons = [self._season(draft, row, tries[row]) for row in range(len(draft.begins))]
            prop = self.prop.model_copy(update={"zones": zones, "seasons": seasons})
            plan, mistakes = trial_plan(prop, self.et0_mm)
            wrong = {int(mistake.path[1]) for mistake in mistakes if mistake.path[0] == "seasons"}
            if any(mistake.path[0] != "seasons" for mistake in mistakes):
                wrong |= set(draft.open_rows)  # a rest that does not fit, in whichever row
            more = [row for row in wrong if tries[row] + 1 < len(self._windows_min)]
            if not mistakes or not more:
                return prop, plan, mistakes
            for row in more:
                tries[row] += 1

    def plan_of(self, draft: Draft) -> Plan | None:
        """The plan of a draft, None if it breaks a rule."""
        if not all(10 <= round(share) <= 300 for share in draft.share_pct):
            return None
        _, plan, mistakes = self.property_of(draft)
        return None if mistakes else plan

    def _season(self, draft: Draft, row: int, window: int) -> Season:
        month, day = begin_of(draft.begins[row])
        begins = f"{month:02}-{day:02}"
        if not draft.minutes[row]:
            return Season.model_validate({"from": begins, "cycles": 0})
        runs = [draft.minutes[row] * round(share) / 100 for share in draft.share_pct]
        cycles = max(ceil(run / most) for run, most in zip(runs, self.run_most_min, strict=True))
        cycles = min(max(cycles, 1), CYCLES_MAX)
        start_min, length_min = self._windows_min[window]
        minutes = max(round(2 * draft.minutes[row] / cycles) / 2, 1.0)
        end_min = (start_min + length_min) % 1440
        if length_min == 1440:
            end_min = (start_min + 1439) % 1440
        return Season.model_validate(
            {
                "from": begins,
                "cycles": cycles,
                "minutes": minutes,
                "demand": round(max(draft.demand_mm[row], self._least_demand_mm(runs)), 1),
                "window": f"{clock(start_min)}-{clock(end_min)}",
            }
        )

    def _least_demand_mm(self, runs_min: Sequence[float]) -> float:
        """A demand under which the row's water would look like far too much of it, mm a day."""
        share = days_allowed(self.house.plan)
        return max(
            strip.rate_mm_h * run_min / 60 * share / strip.coefficient / DEMAND_MOST
            for strip, run_min in zip(self.house.strips, runs_min, strict=True)
        )


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
    minutes = minutes_of(tables, need)
    half = int(np.argmax(minutes.max(axis=1)))
    level = float(np.exp(np.log(np.maximum(minutes[half], 1e-6)).mean()))
    shares = tuple(np.clip(100.0 * minutes[half] / level, 10, 300).tolist())

    def tried(share: float) -> list[Mistake]:
        only = Draft((half,), (level * share,), (draft.demand_mm[0],), shares)
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


def written(text: str, prop: Property) -> str:
    """The owner's file with the seasons and shares of a property; comments elsewhere stay.

    Raises: ValueError if the file does not read back as that property.
    """
    document = tomlkit.parse(text)
    for name, zone in prop.zones.items():
        document["zones"][name]["share"] = round(zone.share)
    tables = [_season_items(season) for season in prop.seasons]
    old = document["seasons"]
    if isinstance(old, AoT):
        kept = _after_last(old[-1])
        new = tomlkit.aot()
        for place, items in enumerate(tables):
            table = tomlkit.table()
            for key, value in items.items():
                table.add(key, value)
            last = place == len(tables) - 1
            for item in kept if last else [tomlkit.nl()]:
                table.add(item)
            new.append(table)
        document["seasons"] = new
    else:
        array = tomlkit.array()
        for items in tables:
            inline = tomlkit.inline_table()
            inline.update(items)
            array.append(inline)
        document["seasons"] = array.multiline(True)
    return tomlkit.dumps(document)


def _after_last(table: Table) -> list[Comment | Whitespace]:
    """Comments and blank lines after the last key of a table: they speak of what follows."""
    kept: list[Comment | Whitespace] = []
    for key, item in table.value.body:
        if key is not None:
            kept = []
        elif isinstance(item, Comment | Whitespace):
            kept.append(item)
    return kept


def _season_items(season: Season) -> dict[str, Any]:
    items: dict[str, Any] = {"from": "{:02}-{:02}".format(*season.begins), "cycles": season.count}
    if season.count and season.minutes and season.window:
        items["minutes"] = int(season.minutes) if season.minutes % 1 == 0 else season.minutes
        items["window"] = "-".join(clock(minute) for minute in season.window)
        items["demand"] = season.demand
    return items


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
) -> Proposal:
    """Work out a plan on some records of weather. Raises: WeatherError for one of under a year."""
    tell("the years made ready")
    records = [r for weather in weathers for r in make_records(house, weather, seed)]
    filled_mm = records[0].brisk.filled_mm(REST_H)
    tables = Tables(prop, house, et0_mm, filled_mm)
    hours = min(windows_min(house.plan)[0][1] // 60, 12)
    need = need_of(records, share, hours)
    draft = draft_of(tables, need, rows)
    limits = tuple(limits_of(tables, draft, need))
    if limits:
        return Proposal(need, draft, tables, limits)
    told = -1

    def progress(tried: int, plans: int) -> None:
        nonlocal told
        if 10 * tried // plans > told:
            told = 10 * tried // plans
            tell(f"plans tried: {tried} of {plans}")

    numbers = search(
        records,
        [draft.half_months(row) for row in draft.open_rows],
        len(draft.open_rows),
        lambda found: tables.plan_of(draft.varied(found)),
        need.mm_d.mean(axis=0) * 365.25,
        seed,
        progress,
    )
    draft = draft.varied(numbers)
    found, _, mistakes = tables.property_of(draft)
    if mistakes:
        reason = f"{mistakes[0].found}; allowed: {mistakes[0].allowed}"
        return Proposal(
            need, draft, tables, (f"no table that was tried keeps the rules: {reason}",)
        )
    text = written(prop.source.text, found)
    tell("the plan replayed under the hub's own code")
    again = compile_house(parse(text, prop.source.name), et0_mm)
    kept = {name: replayed(records[0], again, name, seed) for name in ("hub", "calendar")}
    return Proposal(need, draft, tables, (), found, text, kept, tuple(records[0].span.notes))


def limits_of(tables: Tables, draft: Draft, need: Need) -> Iterator[str]:
    """Why no plan can hold the band, in a sentence each; none where one may."""
    limit = limit_of(tables, draft, need)
    half = int(np.argmax(need.mm_d.max(axis=1)))
    if limit is not None:
        month = MONTHS[limit.half_month // 2]
        part = "second" if limit.half_month % 2 else "first"
        depths = ", ".join(
            f"{strip.name} {depth:.1f}"
            for strip, depth in zip(
                tables.house.strips, need.mm_d[limit.half_month].tolist(), strict=True
            )
        )
        yield (
            f"in the {part} half of {month} the strips need, mm a day: {depths}; "
            f"no table gives more than {100 * limit.share:.0f} % of that: {limit.found}; "
            f"allowed is {limit.allowed}"
        )
        yield f"what would do: {'; or '.join(limit.remedies)}"
    for zone, (strip, dry) in enumerate(
        zip(tables.house.strips, need.dry_days.tolist(), strict=True)
    ):
        if dry > DRY_MOST:
            lost = strip.coefficient * tables.et0_mm[half // 2]
            yield (
                f"{strip.name}: the clay takes in too little: watered in every hour there is, it "
                f"is drier than its band on {100 * dry:.0f} % of season days; most it took was "
                f"{need.high_mm_d[:, zone].max():.1f} mm a day where {lost:.1f} evaporate, and its "
                f"hose gives {strip.rate_mm_h:.1f} mm an hour. What would do: a wider strip, "
                "mulch or shade, which lose less"
            )


def why(found: Proposal) -> list[str]:
    """Why each row is as it is, in figures, a line each."""
    assert found.prop is not None
    lines = []
    tables, draft = found.tables, found.draft
    for row, season in enumerate(found.prop.seasons):
        halves = draft.half_months(row)
        needs = found.need.mm_d[halves].mean(axis=0)
        until = begin_of(draft.begins[(row + 1) % len(draft.begins)])
        head = "{:02}-{:02} to before {:02}-{:02}: ".format(*season.begins, *until)
        if not season.count:
            lines.append(head + f"closed; the strips need at most {needs.max():.1f} mm a day")
            continue
        share = days_allowed(tables.house.plan)
        zones = []
        for zone, strip in enumerate(tables.house.strips):
            run_min = (season.minutes or 0.0) * round(draft.share_pct[zone]) / 100
            run_mm = strip.rate_mm_h * run_min / 60 + tables.filled_mm[zone]
            zones.append(f"{strip.name} {run_mm * season.count * share:.1f} for {needs[zone]:.1f}")
        window = season.window or (0, 0)
        length_min = (window[1] - window[0]) % 1440 or 1440
        lines.append(
            head + f"mm a day given for needed: {', '.join(zones)}; {season.count} x "
            f"{season.minutes:g} min in {clock(window[0])}-{clock(window[1])}, "
            f"{length_min / season.count / 60:.1f} h from cycle to cycle; rain bank drains "
            f"{season.demand:.1f} mm a day"
        )
    lines.append(
        f"a run of {found.minutes_taken:.0f} min at most goes in, with "
        f"{100 * HEADROOM - 100:.0f} % to spare for the trim"
    )
    return lines
