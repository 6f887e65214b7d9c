"""The weekly check as a closed loop: an owner with a blade, the hub's trim, and a wrong plan.

On single columns, by which `propose` searches, and with the fitted blade that belongs to them.

A plan that is right for its site by construction: every month gives back its mean ET0 times the
strip's coefficient, scaled to the level that holds the band best; the hub holds back for rain. From
that plan, or 30 % lower or 40 % higher, an owner begins to check when the dry season begins, after
a year in which nobody did. He misses one week in five and misjudges one strip in ten.

`python -m tests.trimming` prints the table of sim/TRIALS.md.
"""

import importlib.metadata
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cache
from pathlib import Path
from unittest.mock import patch

import numpy as np

from evenclay.controller import events
from evenclay.controller.limits import DAY_S
from evenclay.sim.calendar import HOUR_S
from evenclay.sim.house import columns
from evenclay.sim.house.columns import Columns, dry_of
from evenclay.sim.house.house import House, Owner
from evenclay.sim.judge.score import IN_BAND, RAIN_WET, judge
from evenclay.sim.replay.life import Life, Lived, Policy, begin
from evenclay.sim.replay.span import sky_of, span_of
from evenclay.sim.types import Codes
from evenclay.sim.weather.record import Weather, read
from tests.houses import make_house, row

ZONES = ((1.0, 0.6), (0.5, 0.5), (1.0, 1.1))  # rain and ET0: open ground, under eaves, a hot wall
OWNER = Owner(hour=18, misses_pct=20.0, misjudges_pct=10.0)
OPENS, CLOSES = (4, 1), (10, 31)  # of the dry season
LEARNT_DAYS = 70  # ten weeks
STARTS_PCT = (70, 140)
LEVELS_PCT = (70, 80, 90, 100, 110)
RATE_MM_H = 80.0 / (20.0 * 0.6)  # of tests.houses' strips
CYCLE_S = 900  # about
DEMO = Path(__file__).parents[1] / "sim" / "demo" / "weather.csv"


@dataclass(frozen=True)
class Place:
    """A record and its local standard time. Latitudes: the demo's own; Tunis's is assumed."""

    name: str
    timezone: str
    utc_h: int
    latitude_deg: float
    years: tuple[int, ...]


# Tunis: the record in the package aquacrop, which serves as a carrier of the file only.
PLACES = {
    "demo": Place("demo", "America/Chicago", -6, 32.4, (2018, 2019, 2020, 2021, 2022)),
    "Tunis": Place("Tunis", "Africa/Tunis", 1, 36.8, (1982, 1985, 1988, 1991, 1994, 1997)),
}


@cache
def record(place: str) -> Weather:
    file = DEMO
    if place == "Tunis":
        package = importlib.metadata.distribution("aquacrop")
        file = Path(str(package.locate_file("aquacrop/data/tunis_climate.txt")))
    return read(file, latitude_deg=PLACES[place].latitude_deg)


def house(place: str, level_pct: int) -> House:
    """Three strips on one spigot, watered at night by a row a month."""
    weather = record(place)
    days = [weather.first_day + timedelta(days=day) for day in range(weather.days)]
    month = np.array([day.month for day in days])
    rows = []
    for number in range(1, 13):
        et0_mm = float(weather.et0_mm[month == number].mean())
        need_s = 3600.0 * et0_mm * ZONES[0][1] / RATE_MM_H
        cycles = max(1, round(need_s / CYCLE_S))
        run_s = round(need_s / cycles)
        at = {"month": number, "day": 1, "start_min": 1320, "length_min": 600}
        rows.append(row(**at, cycles=cycles, run_s=run_s, demand_um=round(1000 * et0_mm)))
    offset_s = 3600 * PLACES[place].utc_h
    made = make_house(
        zones=len(ZONES),
        hub={"std_s": offset_s, "dst_s": offset_s, "dst": 0, "rewet_days": 0},
        each_zone=[
            {
                "share_pct": round(level_pct * coefficient / ZONES[0][1]),
                "exposure_pct": round(100 * exposure),
                "demand_pct": round(100 * coefficient),
                "rest_s": 0,
            }
            for exposure, coefficient in ZONES
        ],
        rows=rows,
        timezone=PLACES[place].timezone,
    )
    strips = [
        replace(strip, exposure=exposure, coefficient=coefficient)
        for strip, (exposure, coefficient) in zip(made.strips, ZONES, strict=True)
    ]
    return replace(made, strips=tuple(strips))


@dataclass(frozen=True)
class Outcome:
    """One year: the states of its dry season, days x zones, and the trims after ten weeks [%]."""

    state: Codes
    trim_pct: tuple[int, ...]

    @property
    def late(self) -> float:
        """Share in band of the days and zones after ten weeks, without those wet by rain alone."""
        return _kept(self.state[LEARNT_DAYS:])

    @property
    def at_ten_weeks(self) -> float:
        """The same of the week before and the week after."""
        return _kept(self.state[LEARNT_DAYS - 7 : LEARNT_DAYS + 7])


def _kept(state: Codes) -> float:
    return float((state == IN_BAND).sum() / (state != RAIN_WET).sum())


def season(place: str, year: int, level_pct: int, owner: Owner | None, seed: int = 1) -> Outcome:
    """Live through a year after one of spin-up; an owner checks from the dry season on."""
    made = house(place, level_pct)
    span = span_of(record(place), date(year, 1, 1), date(year, 12, 31))
    sky, by_hour = sky_of(made, span, seed)
    ground = Columns(made.strips, dry_of(made.strips, by_hour), sky.start_s)
    life = begin(Policy("hub", made.plan, None), ground, sky, seed)
    opens, closes = (date(year, *day) - span.first_day for day in (OPENS, CLOSES))
    opens_s = sky.start_s + DAY_S * (span.spin_up_days + opens.days)
    if owner is not None:
        life.check_by_hand(owner, opens_s)
    end_s = sky.start_s + HOUR_S * sky.hours
    life.run(end_s)
    life.devices.catch_up()
    lived = Lived(ground, life.devices, sky.start_s)
    judged = judge(lived, by_hour.rain_mm, span.spin_up_days, span.first_day)
    trims_pct = _trims_pct(life, opens_s + DAY_S * LEARNT_DAYS)
    return Outcome(judged.state[opens.days : closes.days + 1], trims_pct)


def _trims_pct(life: Life, at_s: int) -> tuple[int, ...]:
    found = [100] * len(ZONES)
    for item in life.devices.heard:
        if item.event[0] == events.TRIMMED and item.at_s <= at_s:
            found[item.event[1]] = item.event[3]
    return tuple(found)


@dataclass(frozen=True)
class Years:
    """The mean of some years. level: what the zones give after ten weeks, of the right plan's."""

    late: float
    at_ten_weeks: float
    level: tuple[float, ...]


def years(
    place: str, some: tuple[int, ...], right_pct: int, start_pct: int, owner: Owner | None
) -> Years:
    """From a start in percent of the right plan."""
    found = [season(place, year, right_pct * start_pct // 100, owner) for year in some]
    trims = np.mean([one.trim_pct for one in found], axis=0) * start_pct / 10_000.0
    return Years(
        float(np.mean([one.late for one in found])),
        float(np.mean([one.at_ten_weeks for one in found])),
        tuple(trims.tolist()),
    )


def right_level_pct(place: str, some: tuple[int, ...]) -> int:
    """The level that holds the band best, after ten weeks, where nobody checks."""
    late = {level: years(place, some, level, 100, None).late for level in LEVELS_PCT}
    return max(LEVELS_PCT, key=lambda level: late[level])


@contextmanager
def coarse_hand() -> Iterator[None]:
    """An owner who tells dry from 50 kPa on and wet below 3: all that a careless push shows."""
    with patch.multiple(columns, BLADE_DRY_PF=2.7, BLADE_WET_PF=1.5):
        yield


@contextmanager
def whole_depth() -> Iterator[None]:
    """An owner who feels the mean of the whole band, and keeps to its middle half."""
    with (
        patch.multiple(columns, BLADE_DRY_PF=3.1, BLADE_WET_PF=2.7),
        patch.object(Columns, "top_pf", Columns.band_pf),
    ):
        yield


def main() -> None:
    """Print the table."""
    print("| place | from | owner | in band after ten weeks | zones' level at ten weeks |")
    print("|---|---|---|---|---|")
    for name, place in PLACES.items():
        right_pct = right_level_pct(name, place.years)
        for start_pct in (100, *STARTS_PCT):
            for who, feels in (
                ("nobody checks", None),
                ("feels the top 0.3 m", None),
                ("the same, coarsely", coarse_hand),
                ("feels the whole band", whole_depth),
            ):
                owner = None if who == "nobody checks" else OWNER
                if feels is None:
                    found = years(name, place.years, right_pct, start_pct, owner)
                else:
                    with feels():
                        found = years(name, place.years, right_pct, start_pct, owner)
                levels = ", ".join(f"{100 * level:.0f} %" for level in found.level)
                late = f"{100 * found.late:.0f} %"
                print(f"| {name} | {start_pct} % | {who} | {late} | {levels} |", flush=True)


if __name__ == "__main__":
    main()
