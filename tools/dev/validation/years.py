"""Invented years beside the records that they were learnt from."""

import importlib.metadata
from calendar import month_name
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from evenclay.sim.weather import generator
from evenclay.sim.weather.daily import Weather
from evenclay.sim.weather.record import read
from evenclay.sim.weather.statistics import compare_statistics
from evenclay.tools.dev.models.dry_spells import longest_dry_each_year
from evenclay.tools.dev.validation.figures import Check

RICHARDSON = "Richardson 1981"


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
