"""A life of a house under its hub, judged as a whole and year by year, and held in little memory.

The hub and the ground go on from year to year as they do in a replay. What a year left behind is
summed up as soon as it is over, and its hours are let go.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from evenclay.controller import events
from evenclay.sim.calendar import HOUR_S, HOURS
from evenclay.sim.ground.plausible import PlausibleGround
from evenclay.sim.house.devices import Heard
from evenclay.sim.house.house import House
from evenclay.sim.house.standing import SectionGround, Standing, by_day, stand
from evenclay.sim.judge import measures, policies, strip
from evenclay.sim.judge.measures import Measures, Place, Record, Start, Sums
from evenclay.sim.judge.weigh import place_on, record_of, start_of, targets_pf, yard_of
from evenclay.sim.replay.life import begin
from evenclay.sim.replay.stay import Stay, sky_of
from evenclay.sim.types import Floats, Line
from evenclay.sim.weather.hourly import Hourly, hourly

PART_BITS = 32  # of one seed, the lives after the first draw on from here
SETTLED_SEED = 1  # of the hours in which a house settles: the same for all lives


def seed_of(seed: int, part: int) -> int:
    """The seed of one seed's lives, counted from 0; the first life's is the seed itself."""
    return seed + (part << PART_BITS)


def rows_of(house: House, ground: PlausibleGround, stay: Stay, seed: int) -> list[Line]:
    """Live through the whole years of a stay under the hub: a row for each year and zone, in order.

    A row holds the `year`, counted from 0, the `zone`, and what sim/README.md lists of a sweep.
    """
    sky, by_hour = sky_of(house, stay, seed)
    years = measures.years_of(stay.weather.days)
    parts = [by_hour.part(HOURS * year.start, HOURS * year.stop) for year in years]
    standing = stand(house, ground, hourly(stay.climate, SETTLED_SEED))
    place = place_on(house, ground)
    dry = _unwatered(house, standing, place, parts, stay, sky.start_s)
    target_pf = dry.target_pf if house.target_pf is None else np.array(house.target_pf)
    on = SectionGround(standing, parts[0], sky.start_s)
    life = begin(policies.hub_of(house), on, sky, seed)
    sums, given = [], []
    for number, part in enumerate(parts):
        if number:
            on.go_on(part)
        life.run(on.start_s + HOUR_S * len(part.rain_mm))
        life.devices.catch_up()
        record = record_of(on)
        sums.append(measures.sums_of(record, target_pf, place))
        given.append(_given(on, record, target_pf, place, life.devices.heard))
        life.devices.heard.clear()
    wet = measures.joined(sums)
    whole = _of_life(measures.measure_sums(wet, dry.sums, place, 0, start=dry.start, years_least=1))
    rows = []
    for number, (year, judged) in enumerate(zip(years, _judged(wet, dry.sums, place), strict=True)):
        sky_mm = {
            "rain_mm": round(float(stay.weather.rain_mm[year].sum()), 1),
            "et0_mm": round(float(stay.weather.et0_mm[year].sum()), 1),
        }
        for strip_, of_hub, of_ground in zip(house.strips, given[number], judged, strict=True):
            names = {"year": number, "zone": strip_.name}
            rows.append(names | of_hub | of_ground | sky_mm | whole)
    return rows


class _Unwatered(NamedTuple):
    """The same ground left alone. target_pf: of each zone by its levels, (zones,)."""

    sums: Sums
    start: Start | None
    target_pf: Floats


def _unwatered(
    house: House,
    standing: Standing,
    place: Place,
    parts: Sequence[Hourly],
    stay: Stay,
    start_s: int,
) -> _Unwatered:
    on = SectionGround(standing, parts[0], start_s)
    no_target_pf = np.full(len(house.strips), np.nan)
    sums, strip_pf, yard_pf = [], [], []
    for number, part in enumerate(parts):
        if number:
            on.go_on(part)
        on.catch_up(on.start_s + HOUR_S * len(part.rain_mm))
        record = record_of(on)
        sums.append(measures.sums_of(record, no_target_pf, place))
        strip_pf.append(record.strip_pf)
        yard_pf.append(yard_of(on))
    months = stay.months[: sum(len(each) for each in yard_pf)]
    return _Unwatered(
        measures.joined(sums),
        start_of(house, np.concatenate(yard_pf), months, place),
        targets_pf(house, standing, np.concatenate(strip_pf)),
    )


def _given(
    on: SectionGround, record: Record, target_pf: Floats, place: Place, heard: Sequence[Heard]
) -> list[Line]:
    """What the hub gave and told in a year, of each zone; alarms of no zone count for each."""
    runs = Counter(item.event[1] for item in heard if item.event[0] == events.OPENED)
    alarms, of_house = alarms_of(heard, len(on.strips))
    minutes, litres = by_day(on.seconds).sum(axis=0) / 60.0, on.litres().sum(axis=0)
    drier, wetter = strip.off_target(record.strip_pf, target_pf, place.edges_m)
    found = []
    for zone, one in enumerate(on.strips):
        off_mm = {
            name: float(on.days.water[depth][:, zone].sum())
            for name, depth in (
                ("runoff_litres", "water_runoff_mm"),
                ("runoff_rain_litres", "rain_runoff_mm"),
            )
        }
        found.append(
            {
                "runs": runs[zone],
                "minutes": round(float(minutes[zone]), 1),
                "litres": round(float(litres[zone]), 1),
                **{name: max(round(mm * one.area_m2, 1), 0.0) for name, mm in off_mm.items()},
                "days_dry": int(drier[:, zone].sum()),
                "days_wet": int(wetter[:, zone].sum()),
                "alarms": alarms[zone],
                "house_alarms": of_house,
            }
        )
    return found


def alarms_of(heard: Sequence[Heard], zones: int) -> tuple[list[int], int]:
    """Alarms raised for each zone, and for none: for the hub or a spigot."""
    of = [item.event[1] for item in heard if item.event[0] == events.ALARM]
    by_zone = [of.count(zone) for zone in range(zones)]
    return by_zone, len(of) - sum(by_zone)


def _judged(wet: Sums, dry: Sums, place: Place) -> Iterator[list[Line]]:
    """What became of the ground in each year, of each zone; tilt is the whole house's."""
    changed, unchanged = measures.change(wet.edge, place), measures.change(dry.edge, place)
    for number, year in enumerate(measures.years_of(len(wet.edge))):
        house = {
            "tilt_pf_m": round(float(changed.tilt[number]), 4),
            "tilt_unwatered_pf_m": round(float(unchanged.tilt[number]), 4),
        }
        yield [
            {
                "days_on_target": int(wet.on_target[year, zone].sum()),
                "days_soaked": int(wet.soaked[year, zone].sum()),
                "days_soaked_unwatered": int(dry.soaked[year, zone].sum()),
                "movement_pf_m": round(float(changed.movement[number, zone]), 4),
                "movement_unwatered_pf_m": round(float(unchanged.movement[number, zone]), 4),
                **house,
            }
            for zone in range(wet.edge.shape[1])
        ]


OF_LIFE = ("unrest_pct", "tilt_pct", "tilt_added_pct", "excursion_pct", "days_soaked")


def _of_life(found: Measures) -> Line:
    """The measures of a whole life, as every row of it has them; None where one has no meaning."""
    values = {name: float(getattr(found, name)) for name in OF_LIFE}
    return {
        f"life_{name}": None if np.isnan(value) else round(value, 1)
        for name, value in values.items()
    }
