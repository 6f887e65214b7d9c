"""Ways of watering side by side over many years, and how much water the oracle would have needed.

What is lived through in one go is a life: a year of spin-up and at most LIFE_YEARS whole years
after it, of a record or of years invented from it. Every policy lives through the same lives, under
one seed each, from the same start.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from itertools import pairwise

import numpy as np

from evenclay.sim.calendar import HOURS
from evenclay.sim.ground import soil
from evenclay.sim.house.columns import Columns, dry_of
from evenclay.sim.house.house import House
from evenclay.sim.house.site import PER_LITRE
from evenclay.sim.judge import oracle
from evenclay.sim.judge.band_measures import unevenness_pf
from evenclay.sim.judge.score import good, judge
from evenclay.sim.judge.season import Season, climate
from evenclay.sim.judge.years import scored_years, seed_of, whole_years
from evenclay.sim.replay.life import Lived, Policy, live
from evenclay.sim.replay.span import Span, sky_of, span_of
from evenclay.sim.types import Bools, Codes, Floats
from evenclay.sim.weather.formats.cells import WeatherError
from evenclay.sim.weather.generator import fit, generate
from evenclay.sim.weather.record import Weather

LIFE_YEARS = 12  # all hours of a life are held at once, and lives are shared among processes
PLAYED_MOST = 4  # tries; each asks for what the one before it lacked


@dataclass(frozen=True)
class Life:
    """Years to live through. source: the weather's name. season: days x zones that are judged."""

    source: str
    invented: bool
    span: Span
    season: Bools
    seed: int

    @property
    def years(self) -> list[slice]:
        """The scored days of each year."""
        first = self.span.first_day
        begins = whole_years(first, self.span.scored_days)
        return [slice((a - first).days, (b - first).days) for a, b in pairwise(begins)]

    @property
    def first_year(self) -> int:
        """The name of its first scored year."""
        return self.span.first_day.year


def lives_of(house: House, source: str, record: Weather, invented: int, seed: int) -> list[Life]:
    """The lives of a record's own whole years after its first, then of so many invented ones.

    Season days are the record's for all of them. Raises: WeatherError for less than a year.
    """
    begins = scored_years(record)
    if not begins:
        raise WeatherError(f"{source}: found {record.days} days, allowed at least a year")
    spans = []
    for first, until in _shared(len(begins) - 1):
        spans.append(span_of(record, begins[first], begins[until] - timedelta(days=1)))
    own = len(spans)
    if invented:
        learnt = fit(record)
        for part, (first, until) in enumerate(_shared(invented)):
            spans.append(span_of(generate(learnt, until - first + 1, seed_of(seed, part))))
    return [
        Life(source, number >= own, span, climate(house, record, span, seed).days, seed)
        for number, span in enumerate(spans)
    ]


def _shared(years: int) -> list[tuple[int, int]]:
    """Years shared out to lives of nearly one length: from, until."""
    lives = -(-years // LIFE_YEARS)
    return list(pairwise([years * i // lives for i in range(lives + 1)])) if lives else []


@dataclass(frozen=True)
class Outcome:
    """What a policy made of a life: scored days x zones.

    used_mm: what passed the valve, over its strip, less what the strip's ground held more at the
    day's end than at its beginning; what went under the slab counts as held.
    """

    pf: Floats
    state: Codes
    season: Bools
    litres: Floats
    used_mm: Floats

    def good_days(self) -> list[int]:
        """Season days of each zone in the band, or wetter by rain's doing alone."""
        return [int(n) for n in (self.season & good(self.state)).sum(axis=0)]

    def unevenness_pf(self) -> float | None:
        """Of the whole house, over all years."""
        return unevenness_pf(self.pf, self.season)


def lived(house: House, life: Life, policy: Policy) -> Outcome:
    """Let a policy live."""
    sky, by_hour = sky_of(house, life.span, life.seed)
    dry = dry_of(house.strips, by_hour)
    made = live(
        Columns(house.strips, dry, sky.start_s),
        policy,
        sky,
        seed=life.seed,
        scored_days=life.span.scored_days,
    )
    return outcome_of(life, made, by_hour.rain_mm)


def outcome_of(life: Life, made: Lived[Columns], rain_mm: Floats) -> Outcome:
    """Judge what was lived. rain_mm: hourly, on open ground."""
    strips, spin_up_days = made.ground.strips, life.span.spin_up_days
    score = judge(made, rain_mm, spin_up_days, Season(life.season, ""))
    area_m2 = np.array([strip.area_m2 for strip in strips])
    scored = slice(HOURS * spin_up_days, None)
    given = made.ground.forcing[scored, len(strips) :]
    result = made.ground.results[scored, len(strips) :]
    came_mm = given[:, :, soil.RAIN] + given[:, :, soil.IRRIGATION] / (PER_LITRE * area_m2)
    gone_mm = result[:, :, : soil.INFILTRATION].sum(axis=2) - result[:, :, soil.UNDER_SLAB]
    gained_mm = (came_mm - gone_mm).reshape(-1, HOURS, len(strips)).sum(axis=1)
    litres = score.days.litres
    return Outcome(score.days.pf, score.state, life.season, litres, litres / area_m2 - gained_mm)


# The oracle.


@dataclass(frozen=True)
class Least:
    """The oracle's answer to a policy in one life.

    own: nothing better than the policy's own schedule was found, which is then the answer.
    possible_mm: water of each zone, corrected, below which nothing can go.
    """

    outcome: Outcome
    own: bool
    possible_mm: Floats


class _Setting:
    """A life as the oracle sees it."""

    def __init__(self, house: House, life: Life) -> None:
        self.house, self.life = house, life
        self.sky, self.by_hour = sky_of(house, life.span, life.seed)
        self.dry = dry_of(house.strips, self.by_hour)
        rain_mm = self.by_hour.rain_mm
        self.zones = oracle.zones_of(house, self.sky, self.dry, rain_mm, life.season)

    def play(self, ways: Sequence[oracle.Way]) -> Outcome:
        """Play a way for each zone on the real valves."""
        doses = [way.dose for way in ways]
        ground, devices = oracle.play(self.house, self.sky, self.dry, self.zones, doses)
        made = Lived(ground, devices, self.sky.start_s)
        return outcome_of(self.life, made, self.by_hour.rain_mm)


def search(house: House, life: Life, zone: int, price_mm: float) -> oracle.Way:
    """The cheapest way of one zone through a life, at one price of a good day."""
    return oracle.search(_Setting(house, life).zones[zone], price_mm, oracle.WAYS)


def known(house: House, life: Life, zone: int, ways: Sequence[oracle.Way]) -> oracle.Known:
    """What is known of a zone once its ways are found, the dearest last."""
    return oracle.known(_Setting(house, life).zones[zone], ways)


def reached(house: House, life: Life, zones: Sequence[oracle.Known]) -> Outcome:
    """What the oracle reaches where water is no matter. zones: what is known of each."""
    return _Setting(house, life).play([zone.ways[-1] for zone in zones])


def answer(house: House, life: Life, policy: Outcome, zones: Sequence[oracle.Known]) -> Least:
    """The least water found that gives every zone as many good season days as a policy did.

    zones: what is known of each.
    """
    possible = [zone.bound_mm[days] for zone, days in zip(zones, policy.good_days(), strict=True)]
    found = _found(_Setting(house, life), policy, zones)
    area_m2 = np.array([strip.area_m2 for strip in house.strips])
    if found is None or ((found.used_mm - policy.used_mm) @ area_m2).sum() > 0.0:
        return Least(policy, True, np.array(possible))
    return Least(found, False, np.array(possible))


def _found(setting: _Setting, policy: Outcome, zones: Sequence[oracle.Known]) -> Outcome | None:
    """Play schedules until one has as many good days as the policy; None where there is none."""
    days = np.array(policy.good_days())
    asked = days
    for _ in range(PLAYED_MOST):
        every = zip(setting.zones, zones, asked.tolist(), strict=True)
        ways = [oracle.least(zone, known.ways, count) for zone, known, count in every]
        outcome = setting.play(ways)
        short = days - outcome.good_days()
        if np.all(short <= 0):
            return outcome
        asked = asked + np.maximum(short, 0)
    return None
