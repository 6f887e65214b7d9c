"""Years of ours beside records and finer solutions: what no formula can be held against."""

import importlib.metadata
from calendar import month_name
from collections.abc import Iterator
from datetime import date
from functools import cache
from pathlib import Path

import numpy as np

from evenclay.sim.ground import soil, textures
from evenclay.sim.types import Floats
from evenclay.sim.weather import generator
from evenclay.sim.weather.hourly import hourly
from evenclay.sim.weather.record import Weather, read
from evenclay.sim.weather.statistics import compare_statistics
from evenclay.tools.dev.models import richards
from evenclay.tools.dev.models.dry_spells import longest_dry_each_year
from evenclay.tools.dev.validation_figures import Check

RICHARDSON = "Richardson 1981"
FINE = "Richards' equation on 100 cells, scipy"
ITSELF = "the columns themselves"
SUMMER = 1995  # from April to September
KS_CLAY = 2.0  # mm/h
KS_BRACKET = (0.5, 2.0, 5.0)  # published values of clay span this
BAND_PF = (2.5, 3.3)


def weather_generator() -> Iterator[Check]:
    """The matrices that make one day's weather follow from another's."""
    a, b = generator.matrices(generator.RICHARDSON_M0, generator.RICHARDSON_M1)
    for name, matrix, place, value in (
        ("A", a, (0, 0), 0.567),
        ("A", a, (1, 0), 0.253),
        ("B", b, (0, 0), 0.781),
        ("B", b, (2, 1), -0.341),
    ):
        what = f"{name}[{place[0] + 1},{place[1] + 1}] from M0 and M1"
        yield Check(what, RICHARDSON, value, float(matrix[place]), 2.5e-3)
    yield from invented_years("Tunis 1979-2002", tunis())
    yield from invented_years("Seattle 2012-2015", seattle())


MEASURES = {
    "rain_mm": ("rain", "mm"),
    "wet_days": ("wet days", "d"),
    "tmax_c": ("mean Tmax", "C"),
    "tmax_sd_c": ("deviation of Tmax", "C"),
    "tmin_c": ("mean Tmin", "C"),
    "tmin_sd_c": ("deviation of Tmin", "C"),
}


def invented_years(place: str, record: Weather) -> Iterator[Check]:
    """Compare 200 invented years with their record: each measure in the month farthest off.

    Three standard errors of the difference are allowed: of both spans of years, by how years differ
    in the invented ones.
    """
    made = generator.generate(generator.fit(record), 200, seed=1)
    rows = compare_statistics(record, made)
    source = f"the record, {place}"
    for measure, (word, unit) in MEASURES.items():
        row = max((r for r in rows if r.measure == measure), key=lambda r: abs(r.errors))
        what = f"200 years, {word} of {month_name[row.month]}, the month farthest off"
        yield Check(what, source, row.record, row.generated, 3.0 * row.standard_error, unit)
    for below_mm, word in ((generator.WET_MM + 1e-6, "without a wet day"), (1.0, "below 1 mm")):
        given, found = (longest_dry_each_year(w, below_mm) for w in (record, made))
        error = float(found.std()) * np.sqrt(1.0 / len(given) + 1.0 / len(found))
        what = f"200 years, longest spell of a year {word}, mean"
        means = float(given.mean()), float(found.mean())
        yield Check(what, source, *means, 3.0 * float(error), "d")


def carried(package: str, path: str, latitude_deg: float) -> Weather:
    """A record that a package carries."""
    file = importlib.metadata.distribution(package).locate_file(path)
    return read(Path(str(file)), latitude_deg=latitude_deg)


def tunis() -> Weather:
    """The record of Tunis that the package aquacrop carries."""
    return carried("aquacrop", "aquacrop/data/tunis_climate.txt", 36.8)


def seattle() -> Weather:
    """The record of Seattle that the package vega_datasets carries."""
    return carried("vega_datasets", "vega_datasets/_data/seattle-weather.csv", 47.6)


def summer(watered: float, year: int) -> Floats:
    """Return the forcing of one strip at Tunis for half a year, at 0.6 of ET0.

    watered: the share of ET0 that is given.
    Two cycles a day at 6.7 mm/h, as long as the day asks for.
    """
    by_hour = hourly(tunis().span(date(year, 4, 1), date(year, 9, 30)), 1)
    forcing = np.zeros((len(by_hour.rain_mm), soil.FORCINGS))
    forcing[:, soil.RAIN] = by_hour.rain_mm
    forcing[:, soil.PET] = 0.6 * by_hour.et0_mm
    if watered:
        day_mm = by_hour.et0_mm.reshape(-1, 24).sum(axis=1)
        for hour in (4, 6):
            forcing[hour::24, soil.IRRIGATION] = watered * day_mm / 2.0
            forcing[hour::24, soil.IRRIGATION_S] = np.rint(watered * day_mm / 2.0 / 6.7 * 3600.0)
    return forcing


def daily(band_pf: Floats) -> Floats:
    """Return daily means of hourly values, of one column or of several."""
    return np.asarray(band_pf.reshape(-1, 24, *band_pf.shape[1:]).mean(axis=1))


def in_band(daily_pf: Floats) -> int:
    """Days in the band."""
    return int(np.sum((daily_pf >= BAND_PF[0]) & (daily_pf <= BAND_PF[1])))


@cache
def beside_fine(watered: float, ks_mm_h: float, year: int = SUMMER) -> tuple[Floats, Floats]:
    """Daily pF of the band over that half-year: the column's, and the fine solution's."""
    forcing, start_pf = summer(watered, year), 2.6
    columns = soil.Columns(["clay"], ks_mm_h=[ks_mm_h], start_pf=start_pf, crack_share=0.0)
    ours = columns.run(forcing[:, None])[:, 0, soil.BAND_PF]
    fine = richards.run(textures.TEXTURES["clay"], ks_mm_h, forcing, start_pf, 100)
    return daily(ours), daily(fine.band_pf)


def columns_error() -> Iterator[Check]:
    """The columns against a fine solution, and against themselves with half the step."""
    for watered, word in ((0.0, "unwatered"), (0.36, "watered")):
        for ks in KS_BRACKET if watered else (KS_CLAY,):
            ours, fine = beside_fine(watered, ks)
            where = f"Tunis, April to September {SUMMER}, {word}, Ks {ks:g} mm/h: "
            rmse = float(np.sqrt(np.mean((ours - fine) ** 2)))
            yield Check(where + "RMSE of the daily mean", FINE, 0.0, rmse, 0.1, "pF")
            days = in_band(fine)
            yield Check(where + "days in band", FINE, days, in_band(ours), 0.03 * days, "d")
    (tunis_days, lost_mm), (half, _) = stepped(1.0), stepped(2.0)
    what = "three strips, Tunis 1979-2001, watered and not: days in band with half the step"
    yield Check(what, ITSELF, tunis_days, half, 0.01 * tunis_days, "d")
    yield Check("the same: water lost or made over 23 years", "none", 0.0, lost_mm, 1e-6, "mm")


def stepped(refine: float) -> tuple[int, float]:
    """Days in band of three strips, unwatered and watered, over 23 years; the balance's error."""
    by_hour = hourly(tunis().span(date(1979, 1, 1), date(2001, 12, 31)), 1)
    forcing = np.zeros((len(by_hour.rain_mm), 6, soil.FORCINGS))
    for zone, (exposure, coefficient) in enumerate(((1.0, 0.6), (0.5, 0.5), (1.0, 1.1))):
        for column in (zone, zone + 3):
            forcing[:, column, soil.RAIN] = by_hour.rain_mm * exposure
            forcing[:, column, soil.PET] = by_hour.et0_mm * coefficient
        for hour in (4, 6):
            forcing[hour::24, zone + 3, soil.IRRIGATION] = 1.5 * coefficient
            forcing[hour::24, zone + 3, soil.IRRIGATION_S] = 800.0 * coefficient
    columns = soil.Columns(["clay"] * 6, yard=[None] * 3 + [0, 1, 2], refine=refine)
    band_pf = columns.run(forcing)[:, :, soil.BAND_PF]
    return in_band(daily(band_pf)), columns.mass_balance_error_mm
