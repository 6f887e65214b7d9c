"""Ways of watering side by side on plausible grounds, over many years.

What is lived through in one go is a life: days of a record, or of years invented from it, again and
again until there are at least 26 years. Every way of watering begins it on the same settled ground.
All are judged from the earliest of their first watered days on. A record itself is dropped as soon
as it is summed up, since there are many.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from itertools import pairwise

import numpy as np

from evenclay.sim.ground.plausible import PlausibleGround, judged, middle
from evenclay.sim.house.house import House
from evenclay.sim.house.standing import SectionGround, sides_of, stand
from evenclay.sim.judge import informed, verdict
from evenclay.sim.judge.measures import (
    YEAR_DAYS,
    Measures,
    Place,
    Start,
    Sums,
    first_watered,
    measure_sums,
    sums_of,
)
from evenclay.sim.judge.weigh import place_on, record_of, start_of, targets_pf, yard_of
from evenclay.sim.judge.years import seed_of
from evenclay.sim.replay.life import Policy
from evenclay.sim.replay.lived import live
from evenclay.sim.replay.stay import Stay, stay_of, weather_of
from evenclay.sim.section import index_of
from evenclay.sim.types import Floats
from evenclay.sim.weather.daily import Weather, WeatherError
from evenclay.sim.weather.generator import fit, generate

NONE = "none"
YEARS = 26  # lived at least, so that 25 are left from the first watered day on
YEARS_MOST = 33  # in one life: a hub counts no more than 34 years of uptime
DAYS_LEAST = 365  # of a record
DRY = Policy(NONE, None, None)


@dataclass(frozen=True)
class Life:
    """Weather to live through.

    source: its name. index: Thornthwaite's, of the record. seed: of all chance. years: that it has
    at least; one less is judged.
    """

    source: str
    invented: bool
    stay: Stay
    index: float
    seed: int
    years: int

    @property
    def lived_years(self) -> int:
        """How many years it has."""
        return round(self.stay.weather.days / YEAR_DAYS)


def lives_of(
    house: House, source: str, record: Weather, invented: int, seed: int, years: int = YEARS
) -> list[Life]:
    """The lives of a record, then of so many years invented from it.

    years: that each life has at least. Raises: WeatherError for a record of less than a year.
    """
    if record.days < DAYS_LEAST:
        raise WeatherError(f"{source}: found {record.days} days, allowed at least a year")
    index = index_of(record, house.latitude_deg)
    lives = []
    days = _shared(record.days, round(YEARS_MOST * YEAR_DAYS))
    for first, until in days:
        begins, ends = (record.first_day + timedelta(days=day) for day in (first, until - 1))
        stay = stay_of(record, begins, ends, years)
        lives.append(Life(source, False, stay, index, seed, years))
    learnt = fit(record) if invented else None
    for part, (first, until) in enumerate(_shared(invented, YEARS_MOST)):
        assert learnt is not None
        made = generate(learnt, until - first, seed_of(seed, part))
        lives.append(Life(source, True, stay_of(made, years=years), index, seed, years))
    return lives


def _shared(count: int, most: int) -> list[tuple[int, int]]:
    """Years or days shared out to lives of nearly one length: from, until."""
    lives = -(-count // most)
    return list(pairwise([count * i // lives for i in range(lives + 1)])) if lives else []


def grounds_of(house: House, life: Life, count: int) -> list[PlausibleGround]:
    """The grounds on which ways of watering are judged; the first `count` of sixty-four."""
    return judged(sides_of(house), life.index, house.footing_m, count)


# Living. Each of these is a task for a process of its own.


@dataclass(frozen=True)
class Outcome:
    """What a way of watering made of one ground.

    sums: of its record, by its targets. litres: given, (days, zones). relief_pf: of informed.
    start: of `none`, what a young house began with; None: its own unwatered means.
    """

    sums: Sums
    litres: Floats
    relief_pf: float | None = None
    start: Start | None = None


def targets_of(house: House, life: Life) -> Floats:
    """Targets, (zones,): what the hub reckons by, or else the middle ground's levels less the
    usual relief."""
    if house.target_pf is not None:
        return np.array(house.target_pf)
    ground = middle(sides_of(house), life.index, house.footing_m)
    on = _live(house, life, ground, DRY)
    return targets_pf(house, on.standing, record_of(on).strip_pf)


def lived(
    house: House, life: Life, ground: PlausibleGround, policy: Policy, target_pf: Floats
) -> list[Outcome]:
    """Let a way of watering live on a ground; one outcome."""
    on = _live(house, life, ground, policy)
    place = place_on(house, ground)
    sums = sums_of(record_of(on), target_pf, place)
    start = None
    if policy.name == NONE:
        start = start_of(house, yard_of(on), life.stay.months, place)
    return [Outcome(sums, on.litres(), start=start)]


def _live(house: House, life: Life, ground: PlausibleGround, policy: Policy) -> SectionGround:
    sky, by_hour, climate = weather_of(house, life.stay, life.seed)
    standing = stand(house, ground, climate)
    on = SectionGround(standing, by_hour, sky.start_s)
    live(on, policy, sky, seed=life.seed)
    return on


def told(house: House, life: Life, ground: PlausibleGround) -> list[Outcome]:
    """Let informed live on a ground, once with each relief; an outcome for each."""
    sky, by_hour, climate = weather_of(house, life.stay, life.seed)
    standing = stand(house, ground, climate)
    dry = SectionGround(standing, by_hour, sky.start_s)
    live(dry, DRY, sky)
    unwatered, place = record_of(dry), place_on(house, ground)
    found = []
    for relief_pf in informed.RELIEFS_PF:
        target_pf = targets_pf(house, standing, unwatered.strip_pf, relief_pf)
        made = informed.live_informed(house, standing, by_hour, sky, target_pf, seed=life.seed)
        sums = sums_of(record_of(made.ground), target_pf, place)
        found.append(Outcome(sums, made.ground.litres(), relief_pf))
    return found


# Judging.


@dataclass(frozen=True)
class Judged:
    """A way of watering on one ground. relief_pf: of informed; None: no relief keeps its limits,
    so that it gives no water there. litres: of each judged year, all zones together."""

    measures: Measures
    litres: Floats
    relief_pf: float | None = None


def judge(life: Life, place: Place, ways: Mapping[str, Sequence[Outcome]]) -> dict[str, Judged]:
    """Judge every way that has lived on one ground; `none` is among them.

    Of informed the relief with the least unrest counts that keeps every limit.
    """
    every = [outcome for outcomes in ways.values() for outcome in outcomes]
    days = len(every[0].litres)
    least_days = int((life.years - 1) * YEAR_DAYS)
    first_day = min((first_watered(one.litres) for one in every if one.litres.any()), default=0)
    first_day = min(first_day, days - least_days)
    (dry,) = ways[NONE]

    def one(outcome: Outcome) -> Judged:
        measures = measure_sums(
            outcome.sums,
            dry.sums,
            place,
            first_day,
            start=dry.start,
            years_least=life.years - 1,
        )
        edges = [first_day + int(year * YEAR_DAYS) for year in range(measures.years + 1)]
        litres = [outcome.litres[a:b].sum() for a, b in pairwise(edges)]
        return Judged(measures, np.array(litres), outcome.relief_pf)

    found = {}
    for name, outcomes in ways.items():
        if name != informed.NAME:
            found[name] = one(outcomes[0])
            continue
        reliefs = {outcome.relief_pf or 0.0: one(outcome) for outcome in outcomes}
        best = verdict.best_relief({pf: each.measures for pf, each in reliefs.items()})
        found[name] = one(dry) if best is None else reliefs[best]
    return found
