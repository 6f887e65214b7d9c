"""Hourly weather from daily: totals kept, extremes reached, a day's rain its own."""

import dataclasses
import datetime

import numpy as np
import pytest

from evenclay.sim.weather import et0, hourly
from evenclay.sim.weather.daily import Weather


def invented(days: int = 800, latitude_deg: float | None = 47.6) -> Weather:
    random = np.random.default_rng(5)
    tmin = random.normal(8.0, 6.0, days)
    return Weather(
        first_day=datetime.date(2019, 11, 3),
        rain_mm=np.where(random.random(days) < 0.4, random.gamma(0.8, 9.0, days), 0.0),
        tmin_c=tmin,
        tmax_c=tmin + random.gamma(4.0, 2.5, days),
        et0_mm=random.gamma(2.0, 1.5, days),
        latitude_deg=latitude_deg,
        notes=(),
    )


@pytest.mark.parametrize("latitude", [None, 0.0, 36.8, -34.9, 69.0, -80.0])
def test_daily_totals_and_extremes_are_kept(latitude: float | None) -> None:
    weather = invented(latitude_deg=latitude)
    hours = hourly.hourly(weather, 7)
    for values, totals in ((hours.rain_mm, weather.rain_mm), (hours.et0_mm, weather.et0_mm)):
        assert values.dtype == np.float64
        assert values.shape == (24 * weather.days,)
        assert np.all(values >= 0.0)
        np.testing.assert_allclose(values.reshape(-1, 24).sum(axis=1), totals, rtol=0, atol=1e-12)
    by_day = hours.temp_c.reshape(-1, 24)
    np.testing.assert_array_equal(by_day.min(axis=1), weather.tmin_c)
    np.testing.assert_array_equal(by_day.max(axis=1), weather.tmax_c)


def test_same_seed_same_hours_and_another_seed_others() -> None:
    weather = invented()
    one, again, other = (hourly.hourly(weather, seed) for seed in (3, 3, 4))
    np.testing.assert_array_equal(one.rain_mm, again.rain_mm)
    wet = weather.rain_mm > 0.0
    by_day, by_day_other = one.rain_mm.reshape(-1, 24)[wet], other.rain_mm.reshape(-1, 24)[wet]
    assert np.mean(np.any(by_day != by_day_other, axis=1)) > 0.99
    np.testing.assert_array_equal(one.temp_c, other.temp_c)
    np.testing.assert_array_equal(one.et0_mm, other.et0_mm)


def test_a_days_rain_does_not_depend_on_the_years_around_it() -> None:
    weather = invented()
    part = weather.span(datetime.date(2020, 2, 27), datetime.date(2020, 12, 31))
    start = (part.first_day - weather.first_day).days * 24
    whole = hourly.hourly(weather, 3)
    cut = hourly.hourly(part, 3)
    np.testing.assert_array_equal(cut.rain_mm, whole.rain_mm[start : start + 24 * part.days])
    np.testing.assert_array_equal(cut.et0_mm, whole.et0_mm[start : start + 24 * part.days])
    # The first night and the last evening look at a neighbour that the cut took away.
    inner = slice(24, 24 * part.days - 24)
    np.testing.assert_array_equal(
        cut.temp_c[inner], whole.temp_c[start : start + 24 * part.days][inner]
    )


def test_rain_pattern_scales_with_the_days_rain() -> None:
    weather = invented()
    double = dataclasses.replace(weather, rain_mm=2.0 * weather.rain_mm)
    np.testing.assert_allclose(
        hourly.hourly(double, 1).rain_mm, 2.0 * hourly.hourly(weather, 1).rain_mm, rtol=1e-9
    )


def test_rain_falls_in_showers_at_any_hour() -> None:
    shares = hourly.rain_shares(np.arange(700000, 740000), 11)
    np.testing.assert_allclose(shares.sum(axis=1), 1.0, atol=1e-12)
    wet_hours = (shares > 0.0).sum(axis=1)
    assert wet_hours.min() == 1
    assert 6.0 < wet_hours.mean() < 12.0
    assert 0.3 < shares.max(axis=1).mean() < 0.5
    # No hour is preferred: 1/24 each, within the noise of 40,000 days.
    np.testing.assert_allclose(shares.mean(axis=0), 1.0 / 24.0, atol=0.003)


def test_uniform_numbers_are_uniform() -> None:
    draws = hourly._uniform(np.arange(700000, 720000), 0, np.arange(20))
    assert draws.min() >= 0.0
    assert draws.max() < 1.0
    counts, _ = np.histogram(draws, bins=50, range=(0.0, 1.0))
    expected = draws.size / 50
    # Chi-squared with 49 degrees of freedom: 85.4 is its 99.9 % point.
    assert np.sum((counts - expected) ** 2) / expected < 85.4
    assert abs(np.corrcoef(draws[:, 0], draws[:, 1])[0, 1]) < 0.03
    assert abs(np.corrcoef(draws[:-1, 0], draws[1:, 0])[0, 1]) < 0.03


def test_coldest_at_sunrise_and_warmest_at_two() -> None:
    weather = invented()
    by_day = hourly.hourly(weather, 0).temp_c.reshape(-1, 24)
    np.testing.assert_array_equal(by_day[:, hourly.WARMEST_HOUR], weather.tmax_c)
    day_of_year = np.array([d.timetuple().tm_yday for d in every_day(weather)])
    sunrise = np.floor(12.0 - et0.daylight_hours(47.6, day_of_year) / 2.0).astype(int)
    np.testing.assert_array_equal(by_day[np.arange(weather.days), sunrise], weather.tmin_c)


def every_day(weather: Weather) -> list[datetime.date]:
    return [weather.first_day + datetime.timedelta(days=i) for i in range(weather.days)]


def test_no_evapotranspiration_in_the_dark_and_most_at_noon() -> None:
    day_of_year = np.array([172, 355])
    shares = hourly.sun_shares(47.6, day_of_year)
    hours = et0.daylight_hours(47.6, day_of_year)
    for row, daylight in zip(shares, hours, strict=True):
        assert np.sum(row > 0.0) == 2 * np.ceil(daylight / 2.0)
        assert row[11] == pytest.approx(row[12])
        assert row.argmax() in (11, 12)
    polar_night = hourly.sun_shares(80.0, np.array([355]))
    np.testing.assert_allclose(polar_night, 1.0 / 24.0)
