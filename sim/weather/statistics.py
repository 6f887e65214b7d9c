"""Monthly statistics of generated weather beside those of the record it was fitted to."""

from dataclasses import dataclass

import numpy as np

from evenclay.sim.types import Floats
from evenclay.sim.weather.daily import Weather
from evenclay.sim.weather.generator import MONTHS_A_YEAR, WET_MM, months_and_days

MEASURES = ("rain_mm", "wet_days", "tmax_c", "tmax_sd_c", "tmin_c", "tmin_sd_c")


@dataclass(frozen=True)
class Compared:
    """One measure of one month [1..12]: of the record, of the generated years, and the standard
    error of their difference (sampling of both, by the years' spread in the generated ones; 0
    where these do not differ, as one year alone does not)."""

    month: int
    measure: str
    record: float
    generated: float
    standard_error: float

    @property
    def errors(self) -> float:
        """The difference in standard errors; to be asked only where that is not 0."""
        return (self.generated - self.record) / self.standard_error


def compare_statistics(record: Weather, generated: Weather) -> tuple[Compared, ...]:
    """Monthly statistics of generated years beside the record's, whole months only.

    rain_mm and wet_days: mean of a month. tmax_c, tmin_c: mean of its days; _sd: their deviation
    in all years together.
    """
    ours, theirs = by_month(generated), by_month(record)
    rows = []
    for month in range(1, MONTHS_A_YEAR + 1):
        for measure in MEASURES:
            given, made = theirs[month, measure], ours[month, measure]
            if not given.size:
                continue
            error = float(np.std(made)) * np.sqrt(1.0 / len(made) + 1.0 / len(given))
            found, wanted = float(np.mean(made)), float(np.mean(given))
            if measure.endswith("_sd_c"):  # the years' mean squares, until here
                found, wanted = np.sqrt(found), np.sqrt(wanted)
                error = error / (2.0 * found)
            rows.append(Compared(month, measure, wanted, found, float(error)))
    return tuple(rows)


def by_month(weather: Weather) -> dict[tuple[int, str], Floats]:
    """For each month and measure one value a year: totals, means, or mean squares."""
    month, _ = months_and_days(weather.first_day, weather.days)
    starts = np.flatnonzero(np.diff(month, prepend=-1))
    ends = np.append(starts[1:], weather.days)
    lengths = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
    found: dict[tuple[int, str], list[float]] = {}
    means = {
        (m, name): values[month == m].mean()
        for m in set(month.tolist())
        for name, values in (("tmax", weather.tmax_c), ("tmin", weather.tmin_c))
    }
    for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
        m = int(month[start])
        if end - start < lengths[m]:
            continue
        rain = weather.rain_mm[start:end]
        values = {"rain_mm": float(rain.sum()), "wet_days": float((rain > WET_MM).sum())}
        for name, series in (("tmax", weather.tmax_c), ("tmin", weather.tmin_c)):
            days = series[start:end]
            values[f"{name}_c"] = float(days.mean())
            values[f"{name}_sd_c"] = float(((days - means[m, name]) ** 2).mean())
        for measure, value in values.items():
            found.setdefault((m + 1, measure), []).append(value)
    return {
        (m, measure): np.array(found.get((m, measure), []))
        for m in range(1, MONTHS_A_YEAR + 1)
        for measure in MEASURES
    }
