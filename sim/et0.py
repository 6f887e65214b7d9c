"""Extraterrestrial radiation and reference evapotranspiration from temperature alone."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

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
