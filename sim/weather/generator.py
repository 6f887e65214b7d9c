"""Invented weather with a record's habits: a stochastic generator in the manner of WGEN.

Rain: wet and dry days by a first-order Markov chain, amounts by a gamma law, both month by month.
Temperature: means and deviations as waves over the year, those of Tmax apart for wet and dry days;
what remains of Tmax and Tmin follows a first-order process of both together.
Sources: Richardson 1981, Water Resour. Res. 17(1):182-190; Richardson & Wright 1984, WGEN,
USDA-ARS ARS-8; the gamma law's fit: Thom 1958, Mon. Weather Rev. 86:117-122.
Beyond WGEN: the waves have HARMONICS terms instead of one, because one misses some months' mean by
more than a degree; the correlations are the record's own where it is long enough; and an old dry
spell ends less often than a young one, as records have it (in Tunis by a sixth, in Seattle by a
third), without which the longest dry spells come out shorter still; and on a wet day between dry
ones it rains less than amid wet ones (0.6 of it in Tunis, 0.4 in Seattle; so found by Buishand
1978, J. Hydrol. 36:295-308, from memory), without which years and wet spells differ less still.

What generators of this kind understate: how far years differ in rain (Tunis's by a quarter), so
wet years and droughts of many months; long spells of drizzle at most (Seattle's four years have 81
days below 1 mm; one in fifty of four generated years has, while spells without any wet day are of
the right length); the heaviest storms (the gamma law's tail is light); hot spells that last.
"""

import datetime
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenclay.sim.types import Floats, Ints
from evenclay.sim.weather import et0
from evenclay.sim.weather.daily import Weather, WeatherError

WET_MM = 0.254  # a day with more is wet: 0.01 in, as WGEN has it (from memory)
LEAST_WET_MM = 0.3  # the first tenth above it, for gamma draws that would fall below
FRESH_DAYS = 3  # of a dry spell, in which rain comes back oftener than later
MONTHS_A_YEAR = 12
HARMONICS = 3
MEAN_YEAR_DAYS = 365.2425
FEW_WET_DAYS = 10  # of a month in all years: then its amounts are taken as exponential
LEAST_DAYS = 365
OWN_MATRICES_DAYS = 3 * 365  # shorter records lend no correlations: Richardson's stand in
LEAST_RANGE_C = 0.1  # between Tmin and Tmax
LEAST_DEVIATION_C = 0.3
NOTHING = 1e-6  # of a deviation or a correlation: rounding alone leaves less
FIRST_YEAR = 2001

# Correlations of (Tmax, Tmin, radiation), of the same day and of one day to the next, and the
# matrices that follow from them. Source: Richardson 1981; Richardson & Wright 1984. The first two
# are from memory; they give the printed A and B to 0.0025. Misprinted copies of B are about.
RICHARDSON_M0 = ((1.0, 0.633, 0.186), (0.633, 1.0, -0.193), (0.186, -0.193, 1.0))
RICHARDSON_M1 = ((0.621, 0.445, 0.087), (0.563, 0.674, -0.100), (0.015, -0.091, 0.251))
RICHARDSON_A = ((0.567, 0.086, -0.002), (0.253, 0.504, -0.050), (-0.006, -0.039, 0.244))
RICHARDSON_B = ((0.781, 0.0, 0.0), (0.328, 0.637, 0.0), (0.238, -0.341, 0.873))

Row = tuple[float, ...]


@dataclass(frozen=True)
class Climate:
    """All that the generator keeps of a record.

    By month (12 values): wet_after_wet, wet_after_dry [0..1]; rain_shape, rain_scale_mm of the
    gamma law; et0_factor, the record's ET0 over Hargreaves'. dry_spell_factor: wet_after_dry is
    multiplied by the first in a dry spell's first FRESH_DAYS days, by the second later.
    beside_factor: what the law gives is multiplied by the value for 0, 1 or 2 wet days beside it.
    As waves (1 + 2 HARMONICS terms: constant, cosine and sine of each harmonic): tmax_dry_c,
    tmax_wet_c, tmin_c, and their variances, same names with _var. a, b: 2 x 2, row by row, of
    (Tmax, Tmin).
    """

    latitude_deg: float
    days: float  # of the record it was fitted to
    wet_after_wet: Row
    wet_after_dry: Row
    dry_spell_factor: Row
    beside_factor: Row
    rain_shape: Row
    rain_scale_mm: Row
    et0_factor: Row
    tmax_dry_c: Row
    tmax_wet_c: Row
    tmin_c: Row
    tmax_dry_var: Row
    tmax_wet_var: Row
    tmin_var: Row
    a: Row
    b: Row


def matrices(m0: ArrayLike, m1: ArrayLike) -> tuple[Floats, Floats]:
    """A and B of the process x[i] = A x[i-1] + B e[i] from its lag-0 and lag-1 correlations.

    B is lower triangular. Source: Matalas 1967, as Richardson 1981, eq. 9-10, uses it.
    """
    now, before = np.asarray(m0, dtype=np.float64), np.asarray(m1, dtype=np.float64)
    a = before @ np.linalg.inv(now)
    return a, np.asarray(np.linalg.cholesky(now - a @ before.T))


def gamma_fit(amounts: Floats) -> tuple[float, float]:
    """Shape and scale of a gamma law, by Thom's approximation of the greatest likelihood.

    amounts: above 0. The mean is kept. Few or equal amounts: shape 1 (exponential).
    Source: Thom 1958.
    """
    mean = float(np.mean(amounts)) if len(amounts) else 1.0
    spread = float(np.log(mean) - np.mean(np.log(amounts))) if len(amounts) else 0.0
    if len(amounts) < FEW_WET_DAYS or spread <= 0.0:
        return 1.0, mean
    shape = (1.0 + np.sqrt(1.0 + 4.0 * spread / 3.0)) / (4.0 * spread)
    return float(shape), float(mean / shape)


def fit(weather: Weather) -> Climate:
    """Fit a climate to a record of at least a year; ten and more are better.

    Raises: WeatherError for a record that is too short or without latitude.
    """
    if weather.days < LEAST_DAYS:
        raise WeatherError(f"{weather.days} days of weather; a fit needs at least {LEAST_DAYS}")
    if weather.latitude_deg is None:
        raise WeatherError("a fit needs the latitude, for ET0: give it")
    month, day_of_year = months_and_days(weather.first_day, weather.days)
    wet = weather.rain_mm > WET_MM
    after_wet, after_dry = _transitions(wet, month)
    beside_factor, laws = _amounts(weather.rain_mm, wet, month)
    waves = _waves(weather, wet, day_of_year)
    a, b = _correlations(weather, wet, day_of_year, waves)
    return Climate(
        latitude_deg=weather.latitude_deg,
        days=weather.days,
        wet_after_wet=after_wet,
        wet_after_dry=after_dry,
        dry_spell_factor=_dry_spell_factor(wet, np.array(after_dry)[month]),
        beside_factor=beside_factor,
        rain_shape=tuple(shape for shape, _ in laws),
        rain_scale_mm=tuple(scale for _, scale in laws),
        et0_factor=_et0_factor(weather, weather.latitude_deg, month, day_of_year),
        a=tuple(a.reshape(-1).tolist()),
        b=tuple(b.reshape(-1).tolist()),
        **waves,
    )


def generate(climate: Climate, years: int, seed: int, first_year: int = FIRST_YEAR) -> Weather:
    """Whole years of weather from 1 January of first_year on, the same for the same seed.

    More years of one seed begin with the same days. ET0 is Hargreaves' times the fit's factor.
    Raises: WeatherError for years or dates out of range.
    """
    if years < 1 or first_year < 1 or first_year + years > datetime.MAXYEAR:
        raise WeatherError(f"{years} years from {first_year}: allowed are dates of the calendar")
    first_day = datetime.date(first_year, 1, 1)
    days = (datetime.date(first_year + years, 1, 1) - first_day).days
    month, day_of_year = months_and_days(first_day, days)
    chain, amount, air = (np.random.default_rng(s) for s in np.random.SeedSequence(seed).spawn(3))
    # One day beyond the last, a January's, for what lies beside the last.
    wet = _chain(climate, np.append(month, 0), chain.random(days + 2))
    beside, wet = _wet_beside(wet)[:-1], wet[:-1]
    drawn = amount.standard_gamma(np.array(climate.rain_shape)[month])
    drawn = drawn * np.array(climate.beside_factor)[beside]
    drawn = np.maximum(drawn * np.array(climate.rain_scale_mm)[month], LEAST_WET_MM)
    rain_mm = np.where(wet, drawn, 0.0)
    left_max, left_min = _process(climate, air.standard_normal((days, 2)))
    tmax_wet = _wave(climate.tmax_wet_c, day_of_year)
    tmax_wet = tmax_wet + left_max * _deviation(climate.tmax_wet_var, day_of_year)
    tmax_dry = _wave(climate.tmax_dry_c, day_of_year)
    tmax_dry = tmax_dry + left_max * _deviation(climate.tmax_dry_var, day_of_year)
    tmax_c = np.where(wet, tmax_wet, tmax_dry)
    tmin_c = _wave(climate.tmin_c, day_of_year)
    tmin_c = tmin_c + left_min * _deviation(climate.tmin_var, day_of_year)
    tmin_c = np.minimum(tmin_c, tmax_c - LEAST_RANGE_C)
    by_range = et0.hargreaves_mm(tmin_c, tmax_c, climate.latitude_deg, day_of_year)
    return Weather(
        first_day=first_day,
        rain_mm=rain_mm,
        tmin_c=tmin_c,
        tmax_c=tmax_c,
        et0_mm=by_range * np.array(climate.et0_factor)[month],
        latitude_deg=climate.latitude_deg,
        notes=(
            f"invented weather: {years} years, seed {seed}, by Richardson's generator fitted to "
            f"{climate.days:g} days; long droughts and wet years are rarer in it than in truth",
        ),
    )


def dates_from(first_day: datetime.date, days: int) -> NDArray[np.datetime64]:
    return np.asarray(np.datetime64(first_day, "D") + np.arange(days))


def months_and_days(first_day: datetime.date, days: int) -> tuple[Ints, Ints]:
    """Month [0..11] and day of the year [1..366] of each day."""
    dates = dates_from(first_day, days)
    month = dates.astype("datetime64[M]").astype(np.int64) % MONTHS_A_YEAR
    year_starts = dates.astype("datetime64[Y]").astype("datetime64[D]")
    return month, np.asarray((dates - year_starts).astype(np.int64) + 1)


def _transitions(wet: NDArray[np.bool_], month: Ints) -> tuple[Row, Row]:
    """Chance of a wet day after a wet and after a dry one, by the day's month.

    Where a month never has a wet (or never a dry) day before, the chance is its share of wet days:
    else the dry day with which a month of daily rain may begin would last for all of it.
    """
    before, now, of = wet[:-1], wet[1:], month[1:]
    share = [float(now[of == m].mean()) for m in range(MONTHS_A_YEAR)]
    rows = []
    for state in (True, False):
        counted = [now[(of == m) & (before == state)] for m in range(MONTHS_A_YEAR)]
        rows.append(
            tuple(float(days.mean()) if len(days) else share[m] for m, days in enumerate(counted))
        )
    return rows[0], rows[1]


def _dry_spell_factor(wet: NDArray[np.bool_], chance: Floats) -> Row:
    """How much oftener, than by the month alone, a young and an old dry spell ends in a wet day.

    chance: of a wet day after a dry one, by month, for each day.
    """
    age = 0
    ages = []
    for before in wet[:-1].tolist():
        age = 0 if before else age + 1
        ages.append(age)
    after = np.array(ages)
    factors = []
    for chosen in ((after > 0) & (after <= FRESH_DAYS), after > FRESH_DAYS):
        expected = float(chance[1:][chosen].sum())
        factors.append(float(wet[1:][chosen].sum()) / expected if expected > 0.0 else 1.0)
    return tuple(factors)


def _wet_beside(wet: NDArray[np.bool_]) -> Ints:
    """How many of the days before and after each are wet [0..2]; beyond the ends all are dry."""
    beside = np.zeros(len(wet), dtype=np.int64)
    beside[1:] += wet[:-1]
    beside[:-1] += wet[1:]
    return beside


def _amounts(
    rain_mm: Floats, wet: NDArray[np.bool_], month: Ints
) -> tuple[Row, list[tuple[float, float]]]:
    """Factor of an amount by how many wet days lie beside it, and each month's gamma law without
    it. A month's mean is kept."""
    of_month = [wet & (month == m) for m in range(MONTHS_A_YEAR)]
    means = np.array([rain_mm[days].mean() if days.any() else 1.0 for days in of_month])
    beside = _wet_beside(wet)
    relative = rain_mm / means[month]
    chosen = [relative[wet & (beside == count)] for count in range(3)]
    factors = np.array([v.mean() if len(v) >= FEW_WET_DAYS else 1.0 for v in chosen])
    laws = []
    for days in of_month:
        factor = factors[beside[days]]
        shape, scale = gamma_fit(rain_mm[days] / factor)
        if len(factor):
            scale = float(rain_mm[days].mean() / (shape * factor.mean()))
        laws.append((shape, scale))
    return tuple(factors.tolist()), laws


def _terms(day_of_year: Ints) -> Floats:
    """Constant, cosines and sines of the year, a column each."""
    angle = 2.0 * np.pi * (day_of_year - 0.5) / MEAN_YEAR_DAYS
    columns = [np.ones(len(angle))]
    for harmonic in range(1, HARMONICS + 1):
        columns += [np.cos(harmonic * angle), np.sin(harmonic * angle)]
    return np.stack(columns, axis=1)


def _wave(row: Row, day_of_year: Ints) -> Floats:
    return np.asarray(_terms(day_of_year) @ np.array(row))


def _deviation(row: Row, day_of_year: Ints) -> Floats:
    return np.asarray(np.sqrt(np.maximum(_wave(row, day_of_year), LEAST_DEVIATION_C**2)))


def _fitted(values: Floats, day_of_year: Ints) -> Row:
    """The wave nearest to values in least squares; with few values a lower one."""
    terms = _terms(day_of_year)
    count = max(n for n in (1, 3, terms.shape[1]) if n == 1 or len(values) >= 20 * n)
    row = np.zeros(terms.shape[1])
    if len(values):
        row[:count] = np.linalg.lstsq(terms[:, :count], values, rcond=None)[0]
    return tuple(row.tolist())


def _waves(weather: Weather, wet: NDArray[np.bool_], day_of_year: Ints) -> dict[str, Row]:
    """Means and variances over the year. Without a wet (or dry) day its wave is the other's."""
    every = np.ones(weather.days, dtype=np.bool_)
    parts = {
        "tmax_dry": (weather.tmax_c, ~wet if (~wet).any() else every),
        "tmax_wet": (weather.tmax_c, wet if wet.any() else every),
        "tmin": (weather.tmin_c, every),
    }
    waves: dict[str, Row] = {}
    for name, (values, chosen) in parts.items():
        days = day_of_year[chosen]
        waves[name + "_c"] = _fitted(values[chosen], days)
        left = values[chosen] - _wave(waves[name + "_c"], days)
        waves[name + "_var"] = _fitted(left**2, days)
    return waves


def _correlations(
    weather: Weather, wet: NDArray[np.bool_], day_of_year: Ints, waves: dict[str, Row]
) -> tuple[Floats, Floats]:
    """A and B of what the waves leave of Tmax and Tmin; Richardson's where the record lends none:
    it is short, or one of the two never differs, or both always do alike."""
    pair = slice(0, 2)
    lent = matrices(np.array(RICHARDSON_M0)[pair, pair], np.array(RICHARDSON_M1)[pair, pair])
    if weather.days < OWN_MATRICES_DAYS:
        return lent
    by_state = [
        (weather.tmax_c - _wave(waves[f"tmax_{s}_c"], day_of_year))
        / _deviation(waves[f"tmax_{s}_var"], day_of_year)
        for s in ("wet", "dry")
    ]
    left_min = weather.tmin_c - _wave(waves["tmin_c"], day_of_year)
    left_min = left_min / _deviation(waves["tmin_var"], day_of_year)
    left = np.stack((np.where(wet, *by_state), left_min))
    spread = left.std(axis=1, keepdims=True)
    if spread.min() < NOTHING:
        return lent
    left = (left - left.mean(axis=1, keepdims=True)) / spread
    m0 = left @ left.T / left.shape[1]
    m1 = left[:, 1:] @ left[:, :-1].T / (left.shape[1] - 1)
    return lent if abs(m0[0, 1]) > 1.0 - NOTHING else matrices(m0, m1)


def _et0_factor(weather: Weather, latitude_deg: float, month: Ints, day_of_year: Ints) -> Row:
    by_range = et0.hargreaves_mm(weather.tmin_c, weather.tmax_c, latitude_deg, day_of_year)
    factors = []
    for m in range(MONTHS_A_YEAR):
        ours, theirs = weather.et0_mm[month == m].sum(), by_range[month == m].sum()
        factors.append(float(ours / theirs) if theirs > 0.0 else 1.0)
    return tuple(factors)


def _chain(climate: Climate, month: Ints, draws: Floats) -> NDArray[np.bool_]:
    """Wet days; the day before the first is wet as often as January's are in the long run."""
    to_wet, stays_wet = climate.wet_after_dry[0], climate.wet_after_wet[0]
    wet_share = to_wet / max(1.0 + to_wet - stays_wet, 1e-12)
    fresh, old = climate.dry_spell_factor
    dry_days = int(draws[0] >= wet_share)
    days = []
    for m, draw in zip(month.tolist(), draws[1:].tolist(), strict=True):
        chance = climate.wet_after_wet[m]
        if dry_days:
            chance = climate.wet_after_dry[m] * (fresh if dry_days <= FRESH_DAYS else old)
        wet = draw < chance
        dry_days = 0 if wet else dry_days + 1
        days.append(wet)
    return np.array(days, dtype=np.bool_)


def _process(climate: Climate, noise: Floats) -> tuple[Floats, Floats]:
    """What the waves leave of Tmax and Tmin, in standard deviations."""
    a11, a12, a21, a22 = climate.a
    b11, b12, b21, b22 = climate.b
    x = y = 0.0
    rows = []
    for e, f in noise.tolist():
        x, y = (
            a11 * x + a12 * y + b11 * e + b12 * f,
            a21 * x + a22 * y + b21 * e + b22 * f,
        )
        rows.append((x, y))
    both = np.array(rows)
    return both[:, 0], both[:, 1]
