"""Ground in climates from wet to dry: what engineers publish, and what ours does.

Records: Seattle's from the package vega_datasets (NOAA); Tunis, Cambridge, Champion (Nebraska),
Cordoba (Argentina) and Hyderabad from aquacrop, a carrier of the files only; the demo's is
invented. No file holds its latitude: those below are assumed.
"""

import datetime
from dataclasses import replace
from functools import cache
from importlib.metadata import distribution
from pathlib import Path

import numpy as np
import pandas as pd

from evenclay.sim.ground.plausible import seasonal_depth_m, usual_suction_pf
from evenclay.sim.section import LAYOUT, Ground, Zone, index_of, settled
from evenclay.sim.section.layout import EDGE, INSIDE, STRIP, YARD, Layout
from evenclay.sim.types import Floats
from evenclay.sim.weather.daily import Weather
from evenclay.sim.weather.hourly import hourly
from evenclay.sim.weather.record import read

LATITUDES = {
    "seattle": 47.6,
    "cambridge": 52.2,
    "cordoba": -31.4,
    "demo": 32.4,
    "hyderabad": 17.4,
    "champion": 40.4,
    "tunis": 36.8,
}
GROUNDS = {
    "tight": Ground(alpha_cm2_s=0.0003, matrix_mm_d=0.05, surface_mm_h=0.5),
    "middle": Ground(),
    "free": Ground(alpha_cm2_s=0.003, matrix_mm_d=5.0, surface_mm_h=50.0),
}
INSIDE_M = (0.5, 3.0)  # between what the yard stirs and what is held far down
WITHIN_PF = 0.4  # of the curve
LEAST_PF = 0.2  # change that counts
REACH_PF = 0.1  # change that an edge distance ends at: El-Garhy & Wray 2004 (abstract)
DEMO = Path(__file__).parents[3] / "sim" / "demo" / "weather.csv"


@cache
def record(place: str) -> Weather:
    """The record of a place."""
    latitude = LATITUDES[place]
    if place == "demo":
        return read(DEMO, latitude_deg=latitude)
    if place == "seattle":
        found = distribution("vega_datasets").locate_file("vega_datasets/_data/seattle-weather.csv")
        return read(Path(str(found)), latitude_deg=latitude)
    found = distribution("aquacrop").locate_file(f"aquacrop/data/{place}_climate.txt")
    return _of_columns(Path(str(found)), latitude)


def _of_columns(path: Path, latitude_deg: float) -> Weather:
    """A file of day, month, year, Tmin, Tmax, rain and ET0, whatever it calls them."""
    table = pd.read_csv(path, sep=r"\s+")
    day, month, year, tmin, tmax, rain, et0 = (table.iloc[:, i].to_numpy(float) for i in range(7))
    assert np.all(np.isfinite([tmin, tmax, rain, et0]))
    return Weather(
        first_day=datetime.date(int(year[0]), int(month[0]), int(day[0])),
        rain_mm=rain,
        tmin_c=tmin,
        tmax_c=tmax,
        et0_mm=et0,
        latitude_deg=latitude_deg,
        notes=(),
    )


def index_at(place: str) -> float:
    """Thornthwaite's moisture index of a place."""
    return index_of(record(place), LATITUDES[place])


@cache
def usual_pf(place: str) -> float:
    """pF that is usual with the climate of a place: held 6 m down."""
    return usual_suction_pf(index_at(place))


@cache
def inside_pf(place: str, ground: str) -> float:
    """Mean pF under mid-house at 0.5-3 m, a lawn around the house, unwatered."""
    hours = hourly(record(place), 1)
    deep_pf = usual_pf(place)
    house = settled(GROUNDS[ground], [Zone()], hours.rain_mm, hours.et0_mm, deep_pf=deep_pf)
    pf = house.section.live(hours.rain_mm, hours.et0_mm).pf[:, 0, INSIDE]
    return float(pf.mean(axis=0, dtype=np.float64) @ LAYOUT.mean(*INSIDE_M))


@cache
def open_ground(place: str, ground: str) -> tuple[float, float, float]:
    """Mean pF at 0.5-3 m; depth at which the yearly range, and the record's, is below 0.2 pF."""
    hours = hourly(record(place), 1)
    alone = Layout(LAYOUT.edges_m, (YARD, STRIP, EDGE), (1.0, 1.0, 1.0))
    yard = Zone(slab_m=None, yard_reach_m=0.0, width_m=1.0)
    clay = replace(GROUNDS[ground], layout=alone)
    weather = hours.rain_mm, hours.et0_mm
    pf = settled(clay, [yard], *weather, deep_pf=usual_pf(place)).section.live(*weather).pf
    swollen = np.maximum(pf[:, 0, YARD], 2.0)
    years = len(pf) // 365
    yearly = np.ptp(swollen[: 365 * years].reshape(years, 365, -1), axis=1).mean(axis=0)
    mean = float(pf[:, 0, YARD].mean(axis=0, dtype=np.float64) @ LAYOUT.mean(*INSIDE_M))
    return mean, depth_m(yearly), depth_m(np.ptp(swollen, axis=0))


def depth_m(ranges: Floats) -> float:
    """Where a range that falls with depth passes LEAST_PF."""
    more = np.flatnonzero(ranges > LEAST_PF)
    k = int(more[-1]) if len(more) else 0
    if k == LAYOUT.layers - 1:
        return LAYOUT.edges_m[-1]
    low, high = LAYOUT.middles_m[k], LAYOUT.middles_m[k + 1]
    return float(np.interp(LEAST_PF, [ranges[k + 1], ranges[k]], [high, low]))


@cache
def reach_m(ground: str) -> tuple[float, float]:
    """How far in from the slab's edge any layer below the footing changes by 0.1 pF, at Tunis: in
    a year, and over the whole record."""
    hours = hourly(record("tunis"), 1)
    clay = GROUNDS[ground]
    deep_pf = usual_pf("tunis")
    section = settled(clay, [Zone()], hours.rain_mm, hours.et0_mm, deep_pf=deep_pf).section
    days = len(hours.rain_mm) // 24
    pf = np.empty((days, LAYOUT.columns, LAYOUT.layers), np.float32)
    lived = section.hours(hours.rain_mm, hours.et0_mm)
    room = section.room(days)
    for day in range(days):
        section.go_on(lived, 24 * day, 24 * (day + 1), room)
        pf[day] = section.pf()[0]
    slab = np.flatnonzero(np.array(LAYOUT.places) >= 2)
    below = np.array(LAYOUT.edges_m[:-1]) >= clay.footing_m
    swollen = np.maximum(pf[:, slab][:, :, below], 2.0)
    widths = np.array(LAYOUT.widths_m)[slab]
    in_m = np.cumsum(widths) - widths / 2.0
    years = days // 365
    yearly = np.ptp(swollen[: 365 * years].reshape(years, 365, *swollen.shape[1:]), axis=1)
    found = []
    for ranges in (yearly.mean(axis=0).max(axis=1), np.ptp(swollen, axis=0).max(axis=1)):
        falls = np.log(np.minimum.accumulate(ranges))
        found.append(float(np.interp(-np.log(REACH_PF), -falls, in_m)))
    return found[0], found[1]


def table() -> list[str]:
    """The middle ground in every climate as a Markdown table."""
    lines = [
        "| place | index | usual pF | inside, 0.5-3 m | open ground, 0.5-3 m |"
        " yearly change below 0.2 pF from | whole record | AS 2870's table |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for place in LATITUDES:
        index = index_at(place)
        inside, usual = inside_pf(place, "middle"), usual_pf(place)
        open_pf, yearly_m, record_m = open_ground(place, "middle")
        missed = " **missed**" if abs(inside - usual) > WITHIN_PF else ""
        cells = [place.capitalize(), f"{index:.0f}", f"{usual:.1f}", f"{inside:.1f}{missed}"]
        cells += [f"{open_pf:.1f}"]
        cells += [f"{depth:.1f} m" for depth in (yearly_m, record_m, seasonal_depth_m(index))]
        lines.append(f"| {' | '.join(cells)} |")
    return lines


def reach_table() -> list[str]:
    """How far in change reaches, by ground."""
    lines = ["| ground | in a year | over the whole record |", "|---|---|---|"]
    for ground in GROUNDS:
        year_m, record_m = reach_m(ground)
        lines.append(f"| {ground} | {year_m:.1f} m | {record_m:.1f} m |")
    return lines


if __name__ == "__main__":
    print("\n".join([*table(), "", *reach_table()]))
