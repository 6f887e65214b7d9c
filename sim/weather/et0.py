"""Radiation and reference evapotranspiration: from temperature alone, or Penman-Monteith."""

import numpy as np
from numpy.typing import ArrayLike

from evenclay.sim.types import Floats

SOLAR_CONSTANT_MJ_M2_MIN = 0.0820  # FAO-56, eq. 21
MM_PER_MJ_M2 = 0.408  # FAO-56, eq. 20: the water that a MJ/m2 evaporates


def solar_declination_rad(day_of_year: ArrayLike) -> Floats:
    """Solar declination [rad] on a day of the year [1..366].

    Source: Allen et al. 1998, FAO-56, eq. 24.
    """
    day = np.asarray(day_of_year, dtype=np.float64)
    return np.asarray(0.409 * np.sin(2.0 * np.pi * day / 365.0 - 1.39))


def sunset_hour_angle_rad(latitude_deg: float, day_of_year: ArrayLike) -> Floats:
    """Sunset hour angle [rad, 0..pi]; 0 in the polar night, pi in the polar day.

    Source: FAO-56, eq. 25.
    """
    declination = solar_declination_rad(day_of_year)
    cosine = -np.tan(np.radians(latitude_deg)) * np.tan(declination)
    return np.asarray(np.arccos(np.clip(cosine, -1.0, 1.0)))


def extraterrestrial_radiation_mj_m2(latitude_deg: float, day_of_year: ArrayLike) -> Floats:
    """Extraterrestrial radiation Ra [MJ/m2/d].

    latitude_deg: -90..90, south negative. day_of_year: 1..366, any shape.
    Source: FAO-56, eq. 21-25.
    """
    day = np.asarray(day_of_year, dtype=np.float64)
    latitude = np.radians(latitude_deg)
    declination = solar_declination_rad(day)
    sunset = sunset_hour_angle_rad(latitude_deg, day)
    inverse_distance = 1.0 + 0.033 * np.cos(2.0 * np.pi * day / 365.0)
    daily = sunset * np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(
        declination
    ) * np.sin(sunset)
    scale = 24.0 * 60.0 / np.pi * SOLAR_CONSTANT_MJ_M2_MIN
    return np.asarray(np.maximum(scale * inverse_distance * daily, 0.0))


def daylight_hours(latitude_deg: float, day_of_year: ArrayLike) -> Floats:
    """Hours of daylight N [h, 0..24]. Source: FAO-56, eq. 34."""
    return np.asarray(24.0 / np.pi * sunset_hour_angle_rad(latitude_deg, day_of_year))


def hargreaves_mm(
    tmin_c: ArrayLike, tmax_c: ArrayLike, latitude_deg: float, day_of_year: ArrayLike
) -> Floats:
    """Reference evapotranspiration of a day [mm/d], never negative.

    tmin_c, tmax_c: the day's extremes [deg C]; a reversed pair counts as no range.
    Source: FAO-56, eq. 52 (Hargreaves & Samani 1985), with Ra as water by 0.408.
    """
    low = np.asarray(tmin_c, dtype=np.float64)
    high = np.asarray(tmax_c, dtype=np.float64)
    radiation_mm = MM_PER_MJ_M2 * extraterrestrial_radiation_mj_m2(latitude_deg, day_of_year)
    daily_range = np.sqrt(np.maximum(high - low, 0.0))
    et0_mm = 0.0023 * ((high + low) / 2.0 + 17.8) * daily_range * radiation_mm
    return np.asarray(np.maximum(et0_mm, 0.0))


# Penman-Monteith, a day at a time. Functions below are named after what they return; all take
# scalars or arrays of any shapes that fit each other.

KRS_INLAND, KRS_COAST = 0.16, 0.19  # FAO-56, eq. 50
WIND_UNKNOWN_M_S = 2.0  # FAO-56, chapter 3: the mean over some 2000 stations
ALBEDO = 0.23  # of the reference grass, FAO-56, eq. 38
OVERCAST = 0.3  # least of solar over clear-sky radiation that counts
STEFAN_BOLTZMANN_MJ = 4.903e-9  # MJ/K4/m2/d, FAO-56, eq. 39


def pressure_kpa(elevation_m: float) -> float:
    """Air pressure [kPa] at an elevation [m]. Source: FAO-56, eq. 7."""
    return float(101.3 * ((293.0 - 0.0065 * elevation_m) / 293.0) ** 5.26)


def psychrometric_kpa_c(elevation_m: float) -> float:
    """Psychrometric constant [kPa/deg C]. Source: FAO-56, eq. 8."""
    return 0.000665 * pressure_kpa(elevation_m)


def saturation_vapour_kpa(temp_c: ArrayLike) -> Floats:
    """Saturation vapour pressure [kPa] at a temperature [deg C]. Source: FAO-56, eq. 11."""
    temp = np.asarray(temp_c, dtype=np.float64)
    return np.asarray(0.6108 * np.exp(17.27 * temp / (temp + 237.3)))


def vapour_slope_kpa_c(temp_c: ArrayLike) -> Floats:
    """Slope of the saturation vapour pressure [kPa/deg C]. Source: FAO-56, eq. 13."""
    temp = np.asarray(temp_c, dtype=np.float64)
    return np.asarray(4098.0 * saturation_vapour_kpa(temp) / (temp + 237.3) ** 2)


def vapour_from_humidity_kpa(
    tmin_c: ArrayLike, tmax_c: ArrayLike, rh_min_pct: ArrayLike, rh_max_pct: ArrayLike
) -> Floats:
    """Actual vapour pressure [kPa] from the day's extremes. Source: FAO-56, eq. 17.

    With a daily mean of relative humidity for both, this is eq. 19.
    """
    at_night = saturation_vapour_kpa(tmin_c) * np.asarray(rh_max_pct, dtype=np.float64)
    at_noon = saturation_vapour_kpa(tmax_c) * np.asarray(rh_min_pct, dtype=np.float64)
    return np.asarray((at_night + at_noon) / 200.0)


def wind_at_2m_m_s(wind_m_s: ArrayLike, height_m: float) -> Floats:
    """Wind speed at 2 m from one measured at height_m [m, above 0.1]. Source: FAO-56, eq. 47."""
    wind = np.asarray(wind_m_s, dtype=np.float64)
    return np.asarray(wind * 4.87 / np.log(67.8 * height_m - 5.42))


def solar_from_sunshine_mj_m2(
    sunshine_h: ArrayLike, daylight_h: ArrayLike, ra: ArrayLike
) -> Floats:
    """Solar radiation [MJ/m2/d] from hours of sun and Ra [MJ/m2/d]. Source: FAO-56, eq. 35."""
    part = np.asarray(sunshine_h, dtype=np.float64) / np.asarray(daylight_h, dtype=np.float64)
    return np.asarray((0.25 + 0.50 * part) * np.asarray(ra, dtype=np.float64))


def solar_from_range_mj_m2(
    tmin_c: ArrayLike, tmax_c: ArrayLike, ra: ArrayLike, krs: float = KRS_INLAND
) -> Floats:
    """Solar radiation [MJ/m2/d] from the day's range of temperature. Source: FAO-56, eq. 50."""
    low = np.asarray(tmin_c, dtype=np.float64)
    span = np.maximum(np.asarray(tmax_c, dtype=np.float64) - low, 0.0)
    extraterrestrial = np.asarray(ra, dtype=np.float64)
    return np.asarray(np.minimum(krs * np.sqrt(span), 0.75) * extraterrestrial)


def clear_sky_mj_m2(ra: ArrayLike, elevation_m: float) -> Floats:
    """Solar radiation [MJ/m2/d] under a clear sky. Source: FAO-56, eq. 37."""
    return np.asarray((0.75 + 2e-5 * elevation_m) * np.asarray(ra, dtype=np.float64))


def net_radiation_mj_m2(
    tmin_c: ArrayLike, tmax_c: ArrayLike, vapour_kpa: ArrayLike, solar: ArrayLike, clear: ArrayLike
) -> Floats:
    """Net radiation of the reference grass [MJ/m2/d]. Source: FAO-56, eq. 38-40.

    solar, clear: measured and clear-sky solar radiation [MJ/m2/d]. Their ratio is held to 0.3..1,
    as in ASCE-EWRI 2005, eq. 18 (from memory): below 0.26 clouds would warm the grass. In the polar
    night, which has no ratio, the sky counts as overcast.
    """
    measured = np.asarray(solar, dtype=np.float64)
    most = np.asarray(clear, dtype=np.float64)
    ratio = np.where(most > 1e-6, measured / np.maximum(most, 1e-6), OVERCAST)
    cloud = 1.35 * np.clip(ratio, OVERCAST, 1.0) - 0.35
    kelvin4 = [(np.asarray(t, dtype=np.float64) + 273.16) ** 4 for t in (tmin_c, tmax_c)]
    moist = 0.34 - 0.14 * np.sqrt(np.asarray(vapour_kpa, dtype=np.float64))
    longwave = STEFAN_BOLTZMANN_MJ * (kelvin4[0] + kelvin4[1]) / 2.0 * moist * cloud
    return np.asarray((1.0 - ALBEDO) * measured - longwave)


def combination_mm(
    energy_mj_m2: ArrayLike,
    temp_c: ArrayLike,
    wind_2m_m_s: ArrayLike,
    deficit_kpa: ArrayLike,
    slope_kpa_c: ArrayLike,
    gamma_kpa_c: ArrayLike,
) -> Floats:
    """Reference evapotranspiration of a day [mm/d], never negative. Source: FAO-56, eq. 6.

    energy_mj_m2: net radiation less what warms the soil. deficit_kpa: es - ea.
    """
    slope = np.asarray(slope_kpa_c, dtype=np.float64)
    gamma = np.asarray(gamma_kpa_c, dtype=np.float64)
    wind = np.asarray(wind_2m_m_s, dtype=np.float64)
    drying = gamma * 900.0 / (np.asarray(temp_c, dtype=np.float64) + 273.0) * wind
    top = MM_PER_MJ_M2 * slope * np.asarray(energy_mj_m2, dtype=np.float64)
    top = top + drying * np.asarray(deficit_kpa, dtype=np.float64)
    return np.asarray(np.maximum(top / (slope + gamma * (1.0 + 0.34 * wind)), 0.0))


def penman_monteith_mm(
    tmin_c: ArrayLike,
    tmax_c: ArrayLike,
    latitude_deg: float,
    day_of_year: ArrayLike,
    *,
    elevation_m: float = 0.0,
    vapour_kpa: ArrayLike = np.nan,
    wind_2m_m_s: ArrayLike = np.nan,
    solar_mj_m2: ArrayLike = np.nan,
) -> Floats:
    """Reference evapotranspiration of a day [mm/d] by FAO-56 Penman-Monteith.

    tmin_c, tmax_c: the day's extremes [deg C]. vapour_kpa: actual vapour pressure; wind_2m_m_s:
    mean wind at 2 m; solar_mj_m2: solar radiation. NaN is missing, day by day: then the dew point
    stands at Tmin, the wind at 2 m/s, and radiation follows the day's range of temperature.
    Source: Allen et al. 1998, FAO-56, eq. 6 and chapter 3 ("missing climatic data").
    """
    low, high = np.asarray(tmin_c, dtype=np.float64), np.asarray(tmax_c, dtype=np.float64)
    ra = extraterrestrial_radiation_mj_m2(latitude_deg, day_of_year)
    vapour = np.asarray(vapour_kpa, dtype=np.float64)
    vapour = np.where(np.isnan(vapour), saturation_vapour_kpa(low), vapour)
    wind = np.asarray(wind_2m_m_s, dtype=np.float64)
    wind = np.where(np.isnan(wind), WIND_UNKNOWN_M_S, wind)
    solar = np.asarray(solar_mj_m2, dtype=np.float64)
    solar = np.where(np.isnan(solar), solar_from_range_mj_m2(low, high, ra), solar)
    net = net_radiation_mj_m2(low, high, vapour, solar, clear_sky_mj_m2(ra, elevation_m))
    mean = (low + high) / 2.0
    saturated = (saturation_vapour_kpa(low) + saturation_vapour_kpa(high)) / 2.0
    deficit = np.maximum(saturated - vapour, 0.0)
    slope = vapour_slope_kpa_c(mean)
    return combination_mm(net, mean, wind, deficit, slope, psychrometric_kpa_c(elevation_m))
