"""The real hub in a simulated house, event by event, over whole years.

Time moves to whatever comes first: the hub's own wake, something from outside (an owner's check,
a clock step, a fault, a power cut) or the end. The ground is stepped in whole hours when someone
looks at it.
"""

import json
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date, timedelta
from functools import partial
from importlib.metadata import version
from pathlib import Path
from typing import NamedTuple

import numpy as np

from evenclay.controller import events
from evenclay.controller.civil import LocalTime, day_of
from evenclay.controller.limits import DAY_S
from evenclay.controller.plan import Plan
from evenclay.controller.ports import ASK_CHECK, FIRM
from evenclay.controller.runner import Runner
from evenclay.controller.words import WHY
from evenclay.sim import files
from evenclay.sim.ground.soil import BAND_M, TOP_M
from evenclay.sim.house.devices import NEVER_S, Devices, Fault, Heard, PowerCut
from evenclay.sim.house.house import House, Owner, Strip
from evenclay.sim.house.site import HOUR_S, START_PF, Dry, Floats, Ground, Sky, dry_of
from evenclay.sim.judge import held, policies
from evenclay.sim.judge.score import (
    HOURS,
    Score,
    Season,
    Under,
    judge,
    movement_difference_pct,
    movement_index_pct,
    season_of,
    swing_pf,
    under_slab,
    unevenness_pf,
)
from evenclay.sim.report import outputs
from evenclay.sim.report.outputs import Line
from evenclay.sim.report.report import page_of, year_of
from evenclay.sim.units import UNITS
from evenclay.sim.weather.hourly import Hourly, hourly
from evenclay.sim.weather.record import Weather, WeatherError

TURNS_MAX = 100  # turns in one second: more is a hub that asks to be woken at once for ever
OUTAGE_S = 30  # how long power is away after a cut that says nothing else
YEAR_DAYS = 365
CYCLE_DAYS = 10227  # 28 years: weekdays and leap days come again in the same order

Action = Callable[[Devices], None]


@dataclass(frozen=True)
class Script:
    """What happens to a house from outside, besides weather and the owner's checks.

    actions: (time, what is done to the devices). stepped: spans of time, (from, until), in which
    the hub is woken every second. Times are true UTC seconds since 2000-01-01.
    """

    actions: Sequence[tuple[int, Action]] = ()
    faults: Sequence[Fault] = ()
    stepped: Sequence[tuple[int, int]] = ()
    drift_ppm: int = 0
    outage_s: int = OUTAGE_S


NOTHING = Script()


class Felt(NamedTuple):
    """A strip at the owner's weekly check: what he reported (None: missed), and its band's pF."""

    at_s: int
    zone: int
    reading: int | None
    band_pf: float


class Life:
    """One hub in one house, from power-on to the end."""

    def __init__(self, plan: Plan, ground: Ground, sky: Sky, script: Script, seed: int) -> None:
        self.devices = Devices(
            plan, ground, sky, seed=seed, drift_ppm=script.drift_ppm, faults=script.faults
        )
        self.wakes = 0
        self.felt: list[Felt] = []
        self._plan, self._sky, self._seed = plan, sky, seed
        self._script = script
        self._runner: Runner | None = None  # None: without power
        self._wake_s = sky.start_s
        actions = list(script.actions)
        for fault in script.faults:
            actions += [(fault.start_s, Devices.turn_faults), (fault.end_s, Devices.turn_faults)]
        actions += [(from_s, _nothing) for from_s, _ in script.stepped]
        actions.append((NEVER_S, _nothing))
        self._actions = sorted(actions, key=lambda action: action[0])
        self._next = 0

    def check_by_hand(self, owner: Owner, from_s: int = 0) -> None:
        """Let an owner check every week from a time on. To be said before the life is run."""
        end_s = self._sky.start_s + HOUR_S * self._sky.hours
        times = policies.check_times(owner, self._plan, self._sky, end_s)
        check = partial(self._check, owner)
        self._actions += [(at_s, check) for at_s in times if at_s >= from_s]
        self._actions.sort(key=lambda action: action[0])

    def _check(self, owner: Owner, devices: Devices) -> None:
        """The owner pushes a blade into every strip and tells the hub; some weeks he does not."""
        ground = devices.ground
        devices.catch_up()
        random = np.random.default_rng([self._seed, devices.now_s])
        found = policies.readings(owner, ground.top_pf(), random)
        for zone, band_pf in enumerate(ground.band_pf()):
            reading = None if found is None else found[zone]
            self.felt.append(Felt(devices.now_s, zone, reading, band_pf))
            if reading is not None:
                devices.ask((ASK_CHECK, zone, (reading,)))

    def run(self, end_s: int) -> None:
        """Live until a time; may be called again with a later one."""
        devices = self.devices
        while True:
            action_s = self._actions[self._next][0]
            try:
                self._wakes(min(action_s, end_s))
                if action_s >= end_s:
                    devices.advance(end_s)
                    return
                devices.advance(action_s)
                self._act(action_s)
                self._turn(action_s)
            except PowerCut:
                devices.power_off()
                self._runner = None
                self._wake_s = devices.now_s + self._script.outage_s

    def counts(self) -> tuple[int, int, int]:
        """Wakes, saves and polls so far; polls only of the hub that was booted last."""
        polls = self._runner.hub.polls if self._runner else 0
        return self.wakes, self.devices.saves, polls

    def _act(self, at_s: int) -> None:
        while self._actions[self._next][0] <= at_s:
            self._next += 1
            self._actions[self._next - 1][1](self.devices)

    def _wakes(self, until_s: int) -> None:
        """Take the turns that are due before a time."""
        devices = self.devices
        turns = 0
        while (at_s := self._wake_s) < until_s:
            if at_s > devices.now_s:
                turns = 0
                devices.advance(at_s)
            elif (turns := turns + 1) > TURNS_MAX:
                raise RuntimeError(f"the hub wakes {TURNS_MAX} times in second {at_s}")
            self._turn(at_s)

    def _turn(self, at_s: int) -> None:
        if self._runner is None:
            if at_s < self._wake_s:
                return
            self.devices.power_on()
            self._runner = Runner(self.devices)
        self.wakes += 1
        up_s = self._runner.turn()
        hub = self._runner.hub
        # A look at a meter that stands still does nothing: a board's turns are so many, not ours.
        if up_s == hub.wake_s and not self.devices.meter_runs():
            up_s = hub.due_s
        wake_s = self.devices.at_up_s(up_s)
        self._wake_s = wake_s if wake_s > at_s else at_s
        if self._script.stepped:
            for from_s, until_s in self._script.stepped:
                if from_s <= at_s < until_s:
                    self._wake_s = min(self._wake_s, at_s + 1)


@dataclass(frozen=True)
class Lived:
    """What a policy left behind.

    devices: None where nobody waters. scored_s: where the scored days begin. wakes, saves, polls:
    the hub's, in the scored days; polls are the wakes that it asked for to read sensors.
    """

    ground: Ground
    devices: Devices | None
    scored_s: int
    felt: Sequence[Felt] = ()
    wakes: int = 0
    saves: int = 0
    polls: int = 0

    @property
    def heard(self) -> Sequence[Heard]:
        """The hub's events, spin-up included; none without a hub."""
        return self.devices.heard if self.devices else ()

    def scored_events(self, zone: int) -> list[tuple[int, ...]]:
        """A zone's events of the scored days."""
        return [h.event for h in self.heard if h.at_s >= self.scored_s and h.event[1] == zone]

    def judge(self, rain_mm: Floats, spin_up_days: int, season: Season | date) -> Score:
        """Judge what the policy did to the ground; `rain_mm` hourly, on open ground."""
        zones = len(self.ground.strips)
        days = len(rain_mm) // HOURS
        stood = held.rewetting(zones, self.heard, self.ground.start_s, days)
        return judge(self.ground, rain_mm, stood, spin_up_days, season)

    def hub_summary(self) -> Line:
        """The hub's own figures."""
        devices = self.devices
        return {
            "wakes": self.wakes,
            "saves": self.saves,
            "polls": self.polls,
            "most_open_at_once": devices.most_open_at_once if devices else 0,
            "boots": sum(h.event[0] == events.BOOT for h in self.heard),
            "checks": self.checks(),
        }

    def checks(self) -> Line:
        """What came of the owner's checks in the scored days, a strip and week each.

        `made`, `missed`; `off`: made while the band was too dry or too wet; `unfelt`: those among
        them whose reading did not say so.
        """
        felt = [one for one in self.felt if one.at_s >= self.scored_s]
        made = [one for one in felt if one.reading is not None]
        off = [one for one in made if policies.of_band(one.band_pf) != FIRM]
        unfelt = [one for one in off if policies.of_band(one.band_pf) != one.reading]
        return {
            "made": len(made),
            "missed": len(felt) - len(made),
            "off": len(off),
            "unfelt": len(unfelt),
        }


def live(
    house: House,
    policy: policies.Policy,
    sky: Sky,
    dry: Dry,
    *,
    seed: int = 1,
    script: Script = NOTHING,
    scored_days: int = 0,
) -> Lived:
    """Replay one policy over all the hours of the sky.

    scored_days: how many days at the end are scored; 0: all.
    """
    ground = Ground(house.strips, dry, sky.start_s)
    end_s = sky.start_s + HOUR_S * sky.hours
    scored_s = end_s - DAY_S * scored_days if scored_days else sky.start_s
    if policy.plan is None:
        ground.catch_up(end_s)
        return Lived(ground, None, scored_s)
    life = begin(policy, ground, sky, seed, script)
    life.run(scored_s)
    before = life.counts()
    life.run(end_s)
    life.devices.catch_up()
    counts = (after - start for start, after in zip(before, life.counts(), strict=True))
    return Lived(ground, life.devices, scored_s, life.felt, *counts)


def begin(
    policy: policies.Policy, ground: Ground, sky: Sky, seed: int, script: Script = NOTHING
) -> Life:
    """Put a policy's hub and its owner's checks into a house, ready to be run. It has a plan."""
    assert policy.plan is not None
    life = Life(policy.plan, ground, sky, script, seed)
    if policy.owner is not None:
        life.check_by_hand(policy.owner)
    return life


def _nothing(devices: Devices) -> None:
    """Only wake the hub."""


@dataclass(frozen=True)
class Span:
    """The weather a replay lives through: spin-up first, then the days that are scored.

    shift_days: how far the hub's calendar is ahead of the weather's own (0 or whole cycles of
    weekdays and leap years), since the hub's time begins in 2000.
    """

    weather: Weather
    spin_up_days: int
    shift_days: int
    notes: tuple[str, ...]

    @property
    def first_day(self) -> date:
        """The first scored day."""
        return self.weather.first_day + timedelta(days=self.spin_up_days)

    @property
    def scored_days(self) -> int:
        """How many days are scored."""
        return self.weather.days - self.spin_up_days


def span_of(weather: Weather, first: date | None = None, last: date | None = None) -> Span:
    """Choose spin-up and scored days.

    Without `first`, a record of more than a year gives its first year to the spin-up. The spin-up
    is the year before the first scored day; where the record does not hold it and a whole year is
    scored, that year's own weather stands in for it; for less than a year there is none.
    Raises: WeatherError for days that the record does not cover.
    """
    longer = weather.days > YEAR_DAYS + 1
    scored_first = first or (anniversary(weather.first_day, 1) if longer else weather.first_day)
    scored_last = last or weather.last_day
    if first is None and scored_last < scored_first:
        raise WeatherError(
            f"the last day, {scored_last}, is before {scored_first}, where the days that count "
            "begin: a record's first year is spin-up unless a first day is given"
        )
    scored = weather.span(scored_first, scored_last)
    before = (scored_first - weather.first_day).days
    if before >= YEAR_DAYS:
        spin_first = max(anniversary(scored_first, -1), weather.first_day)
        whole = weather.span(spin_first, scored.last_day)
        spin_up_days = (scored_first - spin_first).days
        note = f"spin-up, not scored: {spin_first} to {scored_first - timedelta(days=1)}"
    elif scored.days >= YEAR_DAYS:
        spin_up_days = min(scored.days, (anniversary(scored_first, 1) - scored_first).days)
        whole = _doubled(scored, spin_up_days)
        note = "spin-up, not scored: the first year's own weather, run once before it"
    else:
        whole, spin_up_days = scored, 0
        note = f"less than a year: no spin-up; the ground starts at pF {START_PF} everywhere"
    shift_days = 0
    while day_of(*_ymd(whole.first_day)) + shift_days < 2:
        shift_days += CYCLE_DAYS
    return Span(whole, spin_up_days, shift_days, (note, *weather.notes))


def _doubled(weather: Weather, days: int) -> Weather:
    """The first days of a record once more before it."""
    twice = [*range(days), *range(weather.days)]
    return weather.picked(weather.first_day - timedelta(days=days), twice)


def anniversary(day: date, years: int) -> date:
    """The same date some years later; 29 February becomes 1 March."""
    try:
        return day.replace(year=day.year + years)
    except ValueError:
        return date(day.year + years, 3, 1)


def _ymd(day: date) -> tuple[int, int, int]:
    return day.year, day.month, day.day


def climate(house: House, weather: Weather, span: Span, seed: int) -> Season:
    """Which of a span's scored days are season days, by the whole record's unwatered ground.

    The record's first year is spin-up; where that leaves less than a year, nothing is.
    """
    pf = dry_of(house.strips, hourly(weather, seed)).band_pf()
    spin_up_days = YEAR_DAYS if weather.days >= 2 * YEAR_DAYS else 0
    first_day = weather.first_day + timedelta(days=spin_up_days)
    return season_of(first_day, pf[spin_up_days:], span.first_day, span.scored_days)


def sky_of(house: House, span: Span, seed: int) -> tuple[Sky, Hourly]:
    """The hourly weather of a span, on the hub's time."""
    by_hour = hourly(span.weather, seed)
    day = day_of(*_ymd(span.weather.first_day)) + span.shift_days
    return Sky(by_hour, day * DAY_S - house.plan.hub.std_s), by_hour


def replay_house(
    house: House,
    weather: Weather,
    out_dir: Path,
    *,
    seed: int = 1,
    first: date | None = None,
    last: date | None = None,
    inputs: Mapping[str, str | None] | None = None,
    progress: Callable[[str, int, int], None] | None = None,
) -> dict[str, object]:
    """Replay a house under four policies and write the results; the summary is returned.

    weather: the whole record; see `span_of` for which days are scored. out_dir: a folder that
    exists. inputs: hashes of the files that house and weather came from, for the summary.
    progress: called with a policy's name, its number and how many there are, before each.
    Raises: WeatherError for days that the record does not cover.
    """
    span = span_of(weather, first, last)
    sky, by_hour = sky_of(house, span, seed)
    dry = dry_of(house.strips, by_hour)
    chosen = policies.policies(house)
    measured: dict[str, Line] = {}
    errors_mm = []
    season = climate(house, weather, span, seed)
    for number, policy in enumerate(chosen):
        if progress:
            progress(policy.name, number, len(chosen))
        lived = live(house, policy, sky, dry, seed=seed, scored_days=span.scored_days)
        judged = lived.judge(by_hour.rain_mm, span.spin_up_days, season)
        measured[policy.name] = _policy_summary(judged)
        errors_mm.append(lived.ground.mass_balance_error_mm)
    summary = {
        "schema": outputs.SCHEMA,
        "version": version("evenclay"),
        "seed": seed,
        "sha256": dict(inputs or {}),
        "weather": _weather_summary(span),
        "hub": lived.hub_summary(),
        "zones": _zones_summary(house, lived, judged),
        "policies": measured,
        "mass_balance_error_mm": float(f"{max(errors_mm):.1e}"),
        "notes": [*span.notes, judged.season.note, *_blade_note(lived.checks(), house)],
    }
    doubts = tuple(f"weather: {caution}" for caution in weather.cautions)
    house = replace(house, cautions=(*doubts, *house.cautions))
    _write(house, span, lived, judged, summary, out_dir)
    return summary


def _blade_note(checks: Line, house: House) -> list[str]:
    """What feeling the top alone costs, where anybody checked."""
    if not checks["made"]:
        return []
    units = UNITS[house.units]
    top, deep = units.shown(TOP_M[1], "near"), units.shown(BAND_M[1], "near")
    return [
        f"the owner's blade feels the top {top}, the band lies at "
        f"{units.number(BAND_M[0], 'near')} to {deep}: of "
        f"{checks['made']} readings {checks['off']} were taken while the band was too dry or too "
        f"wet, and {checks['unfelt']} of those did not say so"
    ]


def _weather_summary(span: Span) -> Line:
    scored = span.weather.span(span.first_day, span.weather.last_day)
    return {
        "rain_mm": round(float(scored.rain_mm.sum()), 1),
        "et0_mm": round(float(scored.et0_mm.sum()), 1),
        "first_day": scored.first_day.isoformat(),
        "last_day": scored.last_day.isoformat(),
        "cautions": list(scored.cautions),
    }


def _policy_summary(judged: Score) -> Line:
    unevenness = unevenness_pf(judged.days.pf, judged.season.days)
    return {
        "litres": round(float(judged.days.litres.sum()), 1),
        **judged.counts(),
        "unevenness_pf": rounded(unevenness, 3),
        "movement_difference_pct": rounded(movement_difference_pct(judged.days), 1),
        "minutes": round(float(judged.days.seconds.sum()) / 60.0, 1),
        **judged.counts("year_"),
    }


def rounded(value: float | None, places: int) -> float | None:
    return None if value is None else round(value, places)


def _zones_summary(house: House, lived: Lived, judged: Score) -> Line:
    """What the hub's policy came to, zone by zone."""
    days = judged.days
    swings_pf = swing_pf(days.pf)
    movements_pct, unders = movement_index_pct(days), under_slab(days)
    zones: Line = {}
    for zone, strip in enumerate(house.strips):
        heard = lived.scored_events(zone)
        skipped = Counter(WHY[event[2]] for event in heard if event[0] == events.SKIPPED)
        zones[strip.name] = {
            "runs": sum(event[0] == events.OPENED for event in heard),
            "minutes": round(float(days.seconds[:, zone].sum()) / 60.0, 1),
            "litres": round(float(days.litres[:, zone].sum()), 1),
            "skipped": dict(sorted(skipped.items())),
            **judged.counts(zone=zone),
            "runoff_litres": litres_of(days.runoff_mm[:, zone], strip),
            "bypass_litres": litres_of(days.bypass_mm[:, zone], strip),
            "swing_pf": round(float(swings_pf[zone]), 3),
            "movement_index_pct": rounded(movements_pct[zone], 1),
            "under_slab": _under_slab(unders[zone]),
            "runoff_rain_litres": litres_of(days.runoff_rain_mm[:, zone], strip),
            "bypass_rain_litres": litres_of(days.bypass_rain_mm[:, zone], strip),
            **judged.counts("year_", zone),
            "hose_l_h": round(strip.flow_l_h, 1),
            "hose_evenness": round(strip.evenness, 3),
            "season_days": int(judged.season.days[:, zone].sum()),
        }
    return zones


def _under_slab(unders: list[Under] | None) -> list[Line] | None:
    if unders is None:
        return None
    return [{name: round(value, 1) for name, value in asdict(under).items()} for under in unders]


def litres_of(days_mm: Floats, strip: Strip) -> float:
    """Litres of a strip's daily depths; never less than none, which rounding could make of it."""
    return max(round(float(days_mm.sum()) * strip.area_m2, 1), 0.0)


def _write(
    house: House, span: Span, lived: Lived, judged: Score, summary: Line, out_dir: Path
) -> None:
    calendar = outputs.Calendar(LocalTime(house.plan.hub), span.shift_days)
    start_s = lived.scored_s
    assert lived.devices is not None  # the hub is the last policy
    lines = outputs.decisions(house, calendar, lived.devices, start_s)
    days = len(judged.state)
    scored = span.weather.span(span.first_day, span.weather.last_day)
    rows = outputs.daily_rows(
        house,
        span.first_day,
        scored.rain_mm,
        scored.et0_mm,
        judged.days,
        judged.state,
        judged.season.days,
        held.hours(house.plan, lived.heard, start_s, days),
    )
    texts = {
        "decisions.jsonl": "".join(outputs.json_line(line) + "\n" for line in lines),
        "daily.csv": "".join(row + "\n" for row in rows),
        "summary.json": json.dumps(summary, ensure_ascii=False, indent=2) + "\n",
    }
    texts["report.html"] = page_of(year_of(texts, house))
    files.write({out_dir / name: text for name, text in texts.items()})
