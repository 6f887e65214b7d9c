"""What a comparison found: its measures over all years, as plain data and as rows."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from evenclay.controller.plan import NO_RAIN_SENSOR
from evenclay.sim.judge.band_measures import rounded, unevenness_pf
from evenclay.sim.judge.compare import Least, Outcome
from evenclay.sim.judge.score import DRY, IN_BAND, RAIN_WET, REWETTING, STATES, WET
from evenclay.sim.types import Floats, Line
from evenclay.tools.plan.compare import Job, Side

SCHEMA = 2
# What the hub may use: times the oracle's water, or so much more where that is little. Ours.
MOST_TIMES = {"hub_checked": 1.25, "hub_probes": 1.15, "hub_auto": 1.15}
LITTLE_MM, MOST_MORE_MM = 150.0, 40.0  # a year
SAME_PF = 0.005  # a difference of unevenness that is none
KEPT_SHARE, KEPT_OF_ORACLE, KEPT_WORST_YEAR = 0.95, 0.97, 0.85


@dataclass(frozen=True)
class Shares:
    """How a policy kept the band: shares of the days that are judged.

    Season days are judged, but for those that rain alone made wet or that were declared re-wetting.
    """

    years: list[float]  # NaN for a year without a day to judge
    zones: list[float]
    dry: float
    wet: float


def shares_of(jobs: Sequence[Job], outcomes: Sequence[Outcome]) -> Shares:
    """Judge a policy over all lives."""
    counts = np.array([_counts(outcome, year) for outcome, year in _years(jobs, outcomes)])
    years = [_share(of_year.sum(axis=1), IN_BAND) for of_year in counts]
    total = counts.sum(axis=0)
    zones = [_share(total[:, zone], IN_BAND) for zone in range(total.shape[1])]
    house = total.sum(axis=1)
    return Shares(years, zones, _share(house, DRY), _share(house, WET))


def _years(jobs: Sequence[Job], outcomes: Sequence[Outcome]) -> list[tuple[Outcome, slice]]:
    """Every year of every life: its outcome, and which days of it."""
    lives = zip(jobs, outcomes, strict=True)
    return [(outcome, year) for job, outcome in lives for year in job.life.years]


def _counts(outcome: Outcome, days: slice) -> Any:
    """Season days in each state (states x zones)."""
    state, season = outcome.state[days], outcome.season[days]
    return np.stack([(season & (state == code)).sum(axis=0) for code in range(len(STATES))])


def _share(counts: Any, code: int) -> float:
    judged = counts.sum() - counts[RAIN_WET] - counts[REWETTING]
    return float(counts[code] / judged) if judged else float("nan")


def litres_of(jobs: Sequence[Job], outcomes: Sequence[Outcome]) -> list[float]:
    """Water of every year, over all zones."""
    return [float(outcome.litres[year].sum()) for outcome, year in _years(jobs, outcomes)]


def rows_of(jobs: Sequence[Job], sides: Sequence[Side]) -> list[Line]:
    """A row for each policy, year and zone."""
    rows = []
    for side in sides:
        for number, (job, outcome) in enumerate(zip(jobs, side.outcomes, strict=True)):
            for year, days in enumerate(job.life.years):
                counts = _counts(outcome, days)
                uneven = unevenness_pf(outcome.pf[days], outcome.season[days])
                for zone, strip in enumerate(job.house.strips):
                    found = {
                        f"days_{name}": int(counts[code, zone]) for code, name in enumerate(STATES)
                    }
                    rows.append(
                        {
                            "policy": side.name,
                            "weather": job.life.source,
                            "invented": int(job.life.invented),
                            "life": number + 1,
                            "year": job.life.first_year + year,
                            "zone": strip.name,
                            "season_days": int(counts[:, zone].sum()),
                            **found,
                            "litres": round(float(outcome.litres[days, zone].sum()), 1),
                            "used_mm": round(float(outcome.used_mm[days, zone].sum()), 1),
                            "unevenness_pf": rounded(uneven, 3),
                        }
                    )
    return rows


def summary(jobs: Sequence[Job], sides: Sequence[Side]) -> Line:
    """All policies over the years of the records, and over the invented ones."""
    found: Line = {"schema": SCHEMA, "notes": _notes(jobs, bool(sides[0].least))}
    for kind, invented in (("recorded", False), ("invented", True)):
        chosen = [n for n, job in enumerate(jobs) if job.life.invented == invented]
        if chosen:
            some = [jobs[n] for n in chosen]
            parts = [
                Side(
                    side.name,
                    [side.outcomes[n] for n in chosen],
                    [side.least[n] for n in chosen] if side.least else [],
                )
                for side in sides
            ]
            found[kind] = {
                "years": sum(len(job.life.years) for job in some),
                "policies": {part.name: _summary(some, part, parts) for part in parts},
            }
    return found


def _notes(jobs: Sequence[Job], asked: bool) -> list[str]:
    notes = [
        "In band, dry, wet: percent of the season days, without those that rain alone made wet and "
        "declared re-wetting. In brackets the quartiles of the years.",
        "The reference calendar is common practice, no source.",
    ]
    if asked:
        notes.append(
            "Oracle: the least water found by a search that knows soil and weather to come, for as "
            "many good days of every zone in all years of a life together: in band, or wetter by "
            "rain alone. There may be better. The bound follows from a balance of water and lies "
            "low."
        )
    if jobs[0].house.plan.hub.rain_kind == NO_RAIN_SENSOR:
        notes.append("The property has no rain sensor, so its hub has none here.")
    if any(job.life.invented for job in jobs):
        notes.append(
            "Invented years come from a generator, which understates droughts of several years: "
            "their worst years are too mild."
        )
    for job in {job.life.source: job for job in reversed(jobs) if not job.life.invented}.values():
        record = job.life.span.weather
        notes += [f"{job.life.source}: {note}" for note in (*record.cautions, *record.notes)]
    return notes


def _summary(jobs: Sequence[Job], side: Side, sides: Sequence[Side]) -> Line:
    shares = shares_of(jobs, side.outcomes)
    strips = jobs[0].house.strips
    found: Line = {
        "in_band_pct": _spread([100.0 * share for share in shares.years], 1),
        "zones_in_band_pct": {
            strip.name: _percent(share) for strip, share in zip(strips, shares.zones, strict=True)
        },
        "dry_pct": _percent(shares.dry),
        "wet_pct": _percent(shares.wet),
        "litres": _spread(litres_of(jobs, side.outcomes), 0),
        "unevenness_pf": rounded(_unevenness(side.outcomes), 3),
    }
    if side.least:
        all_it_can = next(s for s in sides if s.name == "oracle").outcomes
        keeps = keeps_band(shares, shares_of(jobs, all_it_can))
        found["oracle"] = _against(jobs, side, keeps)
    return found


def _against(jobs: Sequence[Job], side: Side, keeps: bool) -> Line:
    """A policy's water beside the oracle's for as many good days: mm a year over all strips."""
    own_mm = _mm_of(jobs, side.outcomes)
    least_mm = _mm_of(jobs, [least.outcome for least in side.least])
    own, least = float(own_mm.mean()), float(least_mm.mean())
    possible = _possible_mm(jobs, side.least)
    uneven = _unevenness([one.outcome for one in side.least])
    wet = least_mm > 0.0
    found: Line = {
        "used_mm": round(own, 1),
        "least_mm": round(least, 1),
        "times": round(own / least, 3) if least > 0.0 else None,
        "times_of_years": _spread((own_mm[wet] / least_mm[wet]).tolist(), 3),
        "more_mm": round(own - least, 1),
        "possible_mm": round(possible, 1),
        "gap_pct": round(100.0 * (1.0 - possible / least), 1) if least > 0.0 else None,
        "unevenness_pf": rounded(uneven, 3),
        "own_schedules": sum(one.own for one in side.least),
        "keeps_band": keeps,
    }
    most = MOST_TIMES.get(side.name.split(" ")[0])
    if most is not None:
        close = own <= least + MOST_MORE_MM if least < LITTLE_MM else own <= most * least
        found["most_times"] = most
        found["equally_even"] = (uneven or 0.0) <= (_unevenness(side.outcomes) or 0.0) + SAME_PF
        found["meets"] = close if keeps else None
    return found


def keeps_band(shares: Shares, reached: Shares) -> bool:
    """Whether a policy keeps every zone in band, or nearly as often as the oracle can."""
    zones = zip(shares.zones, reached.zones, strict=True)
    enough = all(
        share >= min(KEPT_SHARE, KEPT_OF_ORACLE * most) for share, most in zones if most == most
    )
    return enough and min([s for s in shares.years if s == s], default=1.0) >= KEPT_WORST_YEAR


def _mm_of(jobs: Sequence[Job], outcomes: Sequence[Outcome]) -> Floats:
    """Water of every year, corrected for storage, as depth over all strips together."""
    area_m2 = np.array([strip.area_m2 for strip in jobs[0].house.strips])
    years = [outcome.used_mm[year].sum(axis=0) for outcome, year in _years(jobs, outcomes)]
    return np.asarray(np.array(years) @ area_m2 / area_m2.sum())


def _possible_mm(jobs: Sequence[Job], least: Sequence[Least]) -> float:
    """The bound of all lives, as depth over all strips together, a year."""
    area_m2 = np.array([strip.area_m2 for strip in jobs[0].house.strips])
    total_mm = np.sum([one.possible_mm for one in least], axis=0)
    return float(total_mm @ area_m2 / area_m2.sum() / sum(len(job.life.years) for job in jobs))


def _unevenness(outcomes: Sequence[Outcome]) -> float | None:
    pf = np.concatenate([outcome.pf for outcome in outcomes])
    return unevenness_pf(pf, np.concatenate([outcome.season for outcome in outcomes]))


def _spread(values: Sequence[float], places: int) -> Line | None:
    """Least, quartiles and most of the values that are known."""
    known = [value for value in values if value == value]
    if not known:
        return None
    names = ("least", "quarter", "median", "three_quarters", "most")
    found = np.percentile(known, (0, 25, 50, 75, 100)).tolist()
    return {name: round(value, places) for name, value in zip(names, found, strict=True)}


def _percent(share: float) -> float | None:
    return round(100.0 * share, 1) if share == share else None
