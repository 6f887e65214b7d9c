"""Seasons made of what strips were given through the year."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from math import ceil

import numpy as np

from evenclay.controller.limits import RUN_LEAST_S, RUN_MAX_S
from evenclay.controller.plan import ANY_DATE, BAN_HOURS, Plan, RowPart
from evenclay.sim.calendar import clock
from evenclay.sim.house.house import House
from evenclay.sim.types import Bools, Floats, Ints
from evenclay.sim.weather.daily import Weather
from evenclay.tools.plan.proposal.year_cut import best_cut
from evenclay.tools.property.advice import DEMAND_LEAST, fills_min, taken_min
from evenclay.tools.property.compile import trial_plan
from evenclay.tools.property.demand import Means
from evenclay.tools.property.file.schedule import Season
from evenclay.tools.property.free_hours import longest_free
from evenclay.tools.property.plan_ranges import CYCLES_MAX
from evenclay.tools.property.property import Property

HALF_MONTHS, HALF_MONTH_DAYS = 24, 365.25 / 24
FROST_C, FROST_SHARE = -3.0, 0.05  # a half-month is closed where so many days fall below
CEILING_SHARE = 0.9  # a row gives what the strip needs in nine years of ten
# Hours to water in, night first: less is lost to the sun. Wider where the night is too short.
NIGHTS_MIN = ((20 * 60, 12 * 60), (18 * 60, 16 * 60), (14 * 60, 23 * 60), (20 * 60, 24 * 60))
ROOM = 0.9  # of the longest run that the clay takes in
LEAST_APART = 0.1  # neighbouring rows differ by a tenth at least
MISSED_COSTS = 1e4  # a minute that is needed and not given, beside one given beyond the need
SECONDS_CUT = 0.01  # what whole minutes, seconds and percents may take from that
SHARES_PCT = (10, 300)  # also of a strip that needs nothing: it lacks nothing, so it gets none


def half_months(weather: Weather) -> Ints:
    """Of each day, which of 24 half-months it lies in; the second begins on the 16th."""
    days = np.datetime64(weather.first_day) + np.arange(weather.days)
    months = days.astype("datetime64[M]")
    of_month = (days - months.astype("datetime64[D]")).astype(np.int64) + 1
    return np.asarray(2 * (months.astype(np.int64) % 12) + (of_month > 15))


def frosty(weather: Weather) -> Bools:
    """Half-months in which one day in twenty falls below -3 C, (24,)."""
    halves, cold = half_months(weather), weather.tmin_c < FROST_C
    shares = [float(cold[halves == half].mean()) for half in range(HALF_MONTHS)]
    return np.array(shares) >= FROST_SHARE


def rows_by_half(plan: Plan) -> list[RowPart]:
    """The row that holds in the middle of each half-month, 24 of them."""
    found = []
    for half in range(HALF_MONTHS):
        day = (half // 2 + 1, 23 if half % 2 else 8)
        begun = [row for row in plan.rows if (row.month, row.day) <= day]
        found.append(begun[-1] if begun else plan.rows[-1])
    return found


def closed_by_owner(plan: Plan) -> Bools:
    """Half-months in the middle of which the owner's own table is closed, (24,)."""
    return np.array([row.cycles == 0 for row in rows_by_half(plan)])


def ceilings_mm_d(given_mm: Sequence[Floats], weather: Weather) -> Floats:
    """What each strip was given a day in nine years of ten, in the middle of the grounds; smoothed.

    given_mm: of each ground, (days, zones). Returns (24, zones).
    """
    halves = half_months(weather)
    ends = np.flatnonzero(np.diff(halves)) + 1
    pieces = np.split(np.arange(len(halves)), ends)
    found = np.zeros((HALF_MONTHS, given_mm[0].shape[1]))
    for half in range(HALF_MONTHS):
        whole = [days for days in pieces if halves[days[0]] == half and len(days) > 7]
        if whole:
            by_year = np.array([[given[days].mean(axis=0) for days in whole] for given in given_mm])
            found[half] = np.median(np.quantile(by_year, CEILING_SHARE, axis=1), axis=0)
    around = np.stack([np.roll(found, 1, axis=0), found, np.roll(found, -1, axis=0)])
    return np.asarray(np.maximum(found, np.tensordot([0.25, 0.5, 0.25], around, axes=1)))


def days_allowed(plan: Plan) -> float:
    """Share of days on which local rules allow watering, by weekday and date; not banned dates."""
    share = bin(plan.hub.weekdays).count("1") / 7
    return share if plan.hub.dates == ANY_DATE else share / 2


def windows_min(plan: Plan) -> list[tuple[int, int]]:
    """Start and length [min] of the stretches of the day to try, the one to prefer first."""
    bans = [(ban.first, ban.last) for ban in plan.bans if ban.kind == BAN_HOURS]
    found = [longest_free(bans, *night) for night in NIGHTS_MIN]
    return list(dict.fromkeys(found))


@dataclass(frozen=True)
class Draft:
    """A table before it is written.

    begins: half-months on which rows begin. minutes: of each row, a day, at share 100; 0: closed.
    share_pct: of each zone.
    """

    begins: tuple[int, ...]
    minutes: tuple[float, ...]
    share_pct: tuple[int, ...]


def least_mm_d(prop: Property, house: House, means: Means) -> Floats:
    """Half of what each strip loses beyond its rain, (24, zones): a row that gave less could never
    make a dry spell good. The hub reckons, so it gives no more than is lacking."""
    months = np.arange(HALF_MONTHS) // 2
    et0_mm, rain_mm = (np.array(each)[months, None] for each in means)
    zones = list(prop.zones.values())
    coefficients = np.array([zone.coefficient for zone in zones])
    lost_mm = et0_mm * coefficients - rain_mm * np.array([zone.exposure for zone in zones])
    least = DEMAND_LEAST + SECONDS_CUT
    return np.asarray(least * np.maximum(lost_mm, 0.0) * days_allowed(house.plan))


def needed_mm_d(
    ceiling_mm_d: Floats, closed: Bools, prop: Property, house: House, means: Means
) -> Floats:
    """What rows are to give each strip a day, (24, zones); none in a closed half-month.

    Nor is there any where no strip would get a dose in the whole half-month: the hub gives nothing
    to a strip that lacks less, so in nine years of ten a row for it would open no valve.
    """
    needed = np.maximum(ceiling_mm_d, least_mm_d(prop, house, means))
    idle = (needed * HALF_MONTH_DAYS < house.plan.hub.dose_um / 1000.0).all(axis=1)
    return np.where((closed | idle)[:, None], 0.0, needed)


def draft_of(ceiling_mm_d: Floats, closed: Bools, house: House, rows: int) -> Draft:
    """The table of at most so many rows that stands over a need by as little as may be.

    A row gives the most that any of its half-months needs, so that it is safe by itself and enough.
    A closed half-month stays so: what too few rows cannot tell apart from it is closed with it.
    """
    rates = np.array([strip.rate_mm_h for strip in house.strips])
    minutes = ceiling_mm_d / days_allowed(house.plan) / rates * 60.0
    caps_min = np.array([zone.cap_s / 60.0 for zone in house.plan.zones])
    minutes = np.minimum(minutes, caps_min)
    most = minutes.max(axis=0)
    parts = most / most.max() if most.any() else np.ones(len(most))
    shares = np.clip(np.round(100.0 * parts), *SHARES_PCT).astype(int)
    at_100 = np.max(minutes / shares * 100.0, axis=1)
    at_100[closed] = 0.0
    begins = best_cut(_costs(at_100, closed), rows).begins
    levels = []
    for place, begin in enumerate(begins):
        following = begins[(place + 1) % len(begins)]
        length = (following - begin - 1) % HALF_MONTHS + 1
        halves = (begin + np.arange(length)) % HALF_MONTHS
        levels.append(0.0 if closed[halves].any() else float(at_100[halves].max()))
    return _merged(Draft(begins, tuple(levels), tuple(shares.tolist())))


def _costs(wanted: Floats, closed: Bools) -> Floats:
    """Costs of all stretches of the year: what a row at their most gives beyond each need.

    A stretch with a closed half-month in it is closed, so that it gives nothing: where there are
    rows enough, none with a need is ever taken.
    """
    cost = np.zeros((HALF_MONTHS, HALF_MONTHS))
    for first, length in product(range(HALF_MONTHS), range(1, HALF_MONTHS + 1)):
        halves = (first + np.arange(length)) % HALF_MONTHS
        over = float((wanted[halves].max() - wanted[halves]).sum())
        unmet = MISSED_COSTS * float(wanted[halves].sum())
        cost[first, length - 1] = unmet if closed[halves].any() else over
    return cost


def _merged(draft: Draft) -> Draft:
    """Without rows that differ by less than a tenth from the one before; the larger stays."""
    rows = list(zip(draft.begins, draft.minutes, strict=True))
    place = 0
    while len(rows) > 1 and place < len(rows):
        minutes, before = rows[place][1], rows[place - 1][1]
        larger = max(minutes, before)
        if larger - min(minutes, before) < LEAST_APART * larger or minutes == before:
            rows[place - 1] = (rows[place - 1][0], larger)
            del rows[place]
            place = 0
        else:
            place += 1
    return Draft(tuple([r[0] for r in rows]), tuple([r[1] for r in rows]), draft.share_pct)


def property_of(prop: Property, house: House, draft: Draft, means: Means) -> Property | None:
    """The property with a draft in it; None where no window holds it.

    Cycles: the fewest whose runs the clay takes in. Where they do not fit, longer windows are
    tried, then less water.
    """
    zones = {
        name: zone.model_copy(update={"share": float(share)})
        for (name, zone), share in zip(prop.zones.items(), draft.share_pct, strict=True)
    }
    base = prop.model_copy(update={"zones": zones})
    windows = windows_min(house.plan)
    taken = [min(ROOM * taken_min(prop, zone), zone.longest_s / 60.0) for zone in house.plan.zones]
    fills = [fills_min(prop, zone.name) for zone in house.plan.zones]
    tries, scale = [0] * len(draft.begins), [1.0] * len(draft.begins)
    for _ in range(200):
        seasons = [
            _season(draft, row, windows[tries[row]], scale[row], taken, fills)
            for row in range(len(draft.begins))
        ]
        found = base.model_copy(update={"seasons": seasons})
        plan, mistakes = trial_plan(found, means)
        if not mistakes:
            rows = {(row.month, row.day): row for row in plan.rows}
            told = [_with_means(season, rows[season.begins]) for season in seasons]
            return base.model_copy(update={"seasons": told})
        wrong = {int(each.path[1]) for each in mistakes if each.path[0] == "seasons"}
        for row in wrong or set(range(len(draft.begins))):
            if tries[row] + 1 < len(windows):
                tries[row] += 1
            else:
                scale[row] *= 0.95
        if min(scale) < 0.05:
            return None
    return None


def _with_means(season: Season, row: RowPart) -> Season:
    """A season that names the means it was judged by: a board's plan is made without the record."""
    means = {"demand": row.demand_um / 1000.0, "rain": row.rain_um / 1000.0}
    return season.model_copy(update=means)


def _season(
    draft: Draft,
    row: int,
    window: tuple[int, int],
    scale: float,
    taken: Sequence[float],
    fills: Sequence[float],
) -> Season:
    """A row as the file has it.

    taken: of each zone the longest run whose water the ground takes in. fills: the shortest run
    that its hose is worth filling for.
    """
    half = draft.begins[row]
    begins = f"{half // 2 + 1:02}-{16 if half % 2 else 1:02}"
    minutes = draft.minutes[row] * scale
    if not minutes:
        return Season.model_validate({"from": begins, "cycles": 0})
    runs = [minutes * share / 100.0 for share in draft.share_pct]
    cycles = max(ceil(run / most) for run, most in zip(runs, taken, strict=True))
    cycles = min(max(cycles, 1), CYCLES_MAX)
    least = [
        max(RUN_LEAST_S / 60.0, min(fill, most)) for fill, most in zip(fills, taken, strict=True)
    ]
    each_min = max(
        [minutes / cycles]
        + [100.0 * run / share for run, share in zip(least, draft.share_pct, strict=True)]
    )
    each_min = min(ceil(each_min - 1e-9), RUN_MAX_S / 60.0)
    start_min, length_min = window
    end_min = (start_min + min(length_min, 1439)) % 1440
    return Season.model_validate(
        {
            "from": begins,
            "cycles": cycles,
            "minutes": each_min,
            "window": f"{clock(start_min)}-{clock(end_min)}",
        }
    )
