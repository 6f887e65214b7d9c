"""Open ground under grass in climates from wet to dry, beside what engineers publish.

Records: Seattle's from the package vega_datasets (NOAA); Tunis, Cambridge, Champion (Nebraska),
Cordoba (Argentina) and Hyderabad from aquacrop, a carrier of the files only; the demo's is
invented. No file holds its latitude: those below are assumed.

Depth of seasonal change: AS 2870-2011, table 2.5, by Thornthwaite's index: 1.5 m above +10, 1.8
above -5, 2.3 above -15, 3.0 above -25, 4.0 above -40. These are envelopes for design over many
years, and deeper the drier the climate. A yearly wave goes the other way: its depth hangs on alpha
alone, and its swing at the surface is greatest where both rain and drought come every year.

Suction far down: `usual_suction_pf`, drawn with Thornthwaite's own potential. Where the air is so
dry that reference evapotranspiration is twice his potential (Cordoba), ground is drier than the
curve; in wet climates the section has no drain but its own tight clay and is wetter than it.
"""

import datetime
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray

from evenclay.sim.section import (
    LAYOUT,
    Ground,
    Zone,
    index_of,
    open_ground_pf,
    usual_suction_pf,
)
from evenclay.sim.weather import hourly
from evenclay.sim.weather import record as weather
from tests.published.test_real_weather import package_file

Floats = NDArray[np.float64]

LATITUDES = {
    "demo": 32.4,
    "seattle": 47.6,
    "tunis": 36.8,
    "cambridge": 52.2,
    "champion": 40.4,
    "cordoba": -31.4,
    "hyderabad": 17.4,
}
GROUNDS = {
    "tight": Ground(alpha_cm2_s=0.0003, matrix_mm_d=0.05, surface_mm_h=0.5),
    "middle": Ground(),
    "free": Ground(alpha_cm2_s=0.003, matrix_mm_d=5.0, surface_mm_h=50.0),
}
LEAST_PF = 0.2  # change that counts


@cache
def record(place: str) -> weather.Weather:
    latitude = LATITUDES[place]
    if place == "demo":
        return weather.read("sim/demo/weather.csv", latitude_deg=latitude)
    if place == "seattle":
        path = package_file("vega_datasets", "vega_datasets/_data/seattle-weather.csv")
        return weather.read(path, latitude_deg=latitude)
    path = package_file("aquacrop", f"aquacrop/data/{place}_climate.txt")
    return _of_columns(path, latitude)


def _of_columns(path: Path, latitude_deg: float) -> weather.Weather:
    """A file of day, month, year, Tmin, Tmax, rain and ET0, whatever it calls them."""
    table = pd.read_csv(path, sep=r"\s+")
    day, month, year, tmin, tmax, rain, et0 = (table.iloc[:, i].to_numpy(float) for i in range(7))
    assert np.all(np.isfinite([tmin, tmax, rain, et0]))
    return weather.Weather(
        first_day=datetime.date(int(year[0]), int(month[0]), int(day[0])),
        rain_mm=rain,
        tmin_c=tmin,
        tmax_c=tmax,
        et0_mm=et0,
        latitude_deg=latitude_deg,
        notes=(),
    )


def index_at(place: str) -> float:
    return index_of(record(place), LATITUDES[place])


@cache
def open_ground(place: str, ground: str) -> tuple[float, float, float]:
    """pF at 6 m; depth at which the yearly range, and that of the whole record, is below 0.2 pF."""
    hours = hourly.hourly(record(place), 1)
    mean, pf = open_ground_pf(GROUNDS[ground], Zone(), hours.rain_mm, hours.et0_mm, 12)
    swollen = np.maximum(pf, 2.0)
    years = len(pf) // 365
    yearly = np.ptp(swollen[: 365 * years].reshape(years, 365, -1), axis=1).mean(axis=0)
    return float(mean[-1]), depth_m(yearly), depth_m(np.ptp(swollen, axis=0))


def depth_m(ranges: Floats) -> float:
    """Where a range that falls with depth passes LEAST_PF."""
    more = np.flatnonzero(ranges > LEAST_PF)
    k = int(more[-1]) if len(more) else 0
    if k == LAYOUT.layers - 1:
        return LAYOUT.edges_m[-1]
    low, high = LAYOUT.middles_m[k], LAYOUT.middles_m[k + 1]
    return float(np.interp(LEAST_PF, [ranges[k + 1], ranges[k]], [high, low]))


@pytest.mark.parametrize("place", ["demo", "hyderabad", "tunis", "champion"])
def test_semi_arid_ground_comes_to_the_suction_that_engineers_expect(place: str) -> None:
    assert -35.0 < index_at(place) < -15.0
    expected = usual_suction_pf(index_at(place))
    assert open_ground(place, "middle")[0] == pytest.approx(expected, abs=0.4)


@pytest.mark.parametrize(("place", "side"), [("cordoba", 1.0), ("cambridge", -1.0)])
def test_where_the_curve_is_missed_it_is_known_which_way(place: str, side: float) -> None:
    off = open_ground(place, "middle")[0] - usual_suction_pf(index_at(place))
    assert 0.4 < side * off < 1.0


@pytest.mark.parametrize(
    ("place", "table_m", "ground"),
    [("demo", 2.3, "middle"), ("cordoba", 1.8, "tight"), ("cordoba", 1.8, "middle")],
)
def test_depth_of_seasonal_change_is_within_a_third_of_the_table(
    place: str, table_m: float, ground: str
) -> None:
    assert -16.0 < index_at(place) < 10.0
    assert open_ground(place, ground)[1] == pytest.approx(table_m, rel=1.0 / 3.0)


def test_freer_ground_feels_the_year_deeper() -> None:
    for place in ("demo", "cordoba"):
        yearly = [open_ground(place, ground)[1] for ground in GROUNDS]
        whole = [open_ground(place, ground)[2] for ground in GROUNDS]
        assert yearly == sorted(yearly) and yearly[0] < 0.75 * yearly[2]
        assert all(more >= once for more, once in zip(whole, yearly, strict=True))


def test_wet_ground_stays_wet_far_down() -> None:
    assert index_at("seattle") > 50.0
    assert all(open_ground("seattle", ground)[0] < 2.5 for ground in GROUNDS)
