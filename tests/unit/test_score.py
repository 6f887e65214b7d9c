"""Scoring against small series made by hand."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from evenclay.sim.calendar import HOUR_S
from evenclay.sim.ground import soil
from evenclay.sim.house.columns import Columns, dry_of
from evenclay.sim.house.house import Strip
from evenclay.sim.judge import band_measures as measures
from evenclay.sim.judge import score
from evenclay.sim.judge.days import Days, days_of, top_wet
from evenclay.sim.judge.score import DRY, IN_BAND, RAIN_WET, WET
from evenclay.sim.judge.season import Season, season_of
from evenclay.sim.weather.hourly import Hourly


def days_like(pf: list[float], **values: list[float]) -> Days:
    """One zone's days; what is not given is 0."""
    zeros = np.zeros((len(pf), 1))
    columns = {name: np.array(value, dtype=np.float64)[:, None] for name, value in values.items()}
    top_wet = columns.pop("top_wet", zeros).astype(np.bool_)
    names = set(Days.__dataclass_fields__) - {"pf", "top_wet"}
    arrays = {name: columns.get(name, zeros) for name in names}
    return Days(pf=np.array(pf)[:, None], top_wet=top_wet, **arrays)


def states(days: Days) -> list[int]:
    found: list[int] = score.states(days)[:, 0].tolist()
    return found


def test_the_band_includes_both_its_limits() -> None:
    assert states(days_like([2.49, 2.5, 3.3, 3.31])) == [RAIN_WET, IN_BAND, IN_BAND, DRY]


def test_wet_is_the_waterers_doing_for_five_days() -> None:
    litres = [0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0]
    assert states(days_like([2.0] * 7, litres=litres)) == [RAIN_WET] + [WET] * 5 + [RAIN_WET]


def test_a_top_that_stays_wet_counts_only_where_water_was_given() -> None:
    top_wet = [1.0] * 3
    assert states(days_like([3.0] * 3, top_wet=top_wet)) == [IN_BAND] * 3
    assert states(days_like([3.0] * 3, top_wet=top_wet, litres=[1.0, 0.0, 0.0])) == [WET] * 3


def test_irrigation_that_runs_off_makes_a_day_wet() -> None:
    days = days_like([3.0, 3.0, 3.5], litres=[9.0] * 3, runoff_mm=[0.1, 0.2, 0.2])
    assert states(days) == [IN_BAND, WET, WET]


def test_top_wet_begins_48_hours_after_rain_and_ends_once_dry() -> None:
    rain_mm = np.zeros(120)
    rain_mm[10] = 1.0
    top_pf = np.full((120, 1), 1.9)
    wet = top_wet(top_pf, rain_mm)[:, 0]
    assert np.flatnonzero(wet).tolist() == list(range(59, 120))
    top_pf[70] = 2.0
    wet = top_wet(top_pf, rain_mm)[:, 0]
    assert np.flatnonzero(wet).tolist() == list(range(59, 70))
    assert not top_wet(top_pf, np.zeros(120)).any()
    assert not top_wet(np.full((120, 1), 2.1), rain_mm).any()


def unwatered(first: date, last: date, dry: list[tuple[date, date]]) -> np.ndarray:
    """pF 3.0 but for spans in which it is 3.5; two zones, only the second ever dry."""
    dates = [first + timedelta(days=i) for i in range((last - first).days + 1)]
    pf = [3.5 if any(a <= day <= b for a, b in dry) else 3.0 for day in dates]
    return np.stack((np.full(len(pf), 3.0), pf), axis=1)


def season_dates(first: date, season: Season) -> list[date]:
    """The second zone's season; the first, never dry, has none."""
    assert not season.days[:, 0].any()
    return [first + timedelta(days=int(i)) for i in np.flatnonzero(season.days[:, 1])]


def test_season_is_the_dry_half_months_and_15_days_either_way() -> None:
    first, last = date(2013, 1, 1), date(2016, 12, 31)
    pf = unwatered(first, last, [(date(2014, 7, 10), date(2014, 7, 12))])
    found = season_dates(first, season_of(first, pf, first, len(pf)))
    for year in range(2013, 2017):
        of_year = [day for day in found if day.year == year]
        assert (of_year[0], of_year[-1]) == (date(year, 6, 16), date(year, 7, 30))
        assert len(of_year) == 45


def test_one_dry_year_in_five_is_no_season() -> None:
    first, last = date(2012, 1, 1), date(2016, 12, 31)
    pf = unwatered(first, last, [(date(2014, 7, 10), date(2014, 7, 12))])
    assert season_dates(first, season_of(first, pf, first, len(pf))) == []


def test_season_wraps_over_the_new_year() -> None:
    first, last = date(2013, 7, 1), date(2014, 6, 30)
    pf = unwatered(first, last, [(date(2014, 1, 1), date(2014, 1, 2))])
    season = season_of(first, pf, first, len(pf))
    found = season_dates(first, season)
    assert (found[0], found[-1]) == (date(2013, 12, 17), date(2014, 1, 30))
    assert "one dry year" in season.note


def test_a_long_climate_marks_the_days_of_one_later_year() -> None:
    first, last = date(2009, 1, 1), date(2012, 12, 31)
    pf = unwatered(first, last, [(date(2010, 7, 10), date(2010, 7, 12))])
    season = season_of(first, pf, date(2013, 1, 1), 365)
    found = season_dates(date(2013, 1, 1), season)
    assert (found[0], found[-1]) == (date(2013, 6, 16), date(2013, 7, 30))


def test_every_day_of_a_short_record_counts() -> None:
    season = season_of(date(2013, 7, 1), np.full((100, 2), 2.0), date(2013, 7, 1), 100)
    assert season.days.all() and "not known" in season.note


def test_unevenness_is_the_95th_percentile_of_the_span_between_zones() -> None:
    pf = np.zeros((101, 3))
    pf[:, 1] = np.arange(101) / 100.0
    pf[:, 2] = -0.5
    everyday = np.ones((101, 3), dtype=np.bool_)
    one_zone = np.zeros((101, 3), dtype=np.bool_)
    one_zone[:21, 1] = True
    assert measures.unevenness_pf(pf, everyday) == pytest.approx(1.45)
    assert measures.unevenness_pf(pf, one_zone) == pytest.approx(0.69)
    assert measures.unevenness_pf(pf, ~everyday) is None


def test_swing_is_a_yearly_figure() -> None:
    year = np.linspace(2.0, 3.0, 365)
    pf = np.concatenate((year, year + 1.0, np.full(100, 9.0)))[:, None]
    assert measures.swing_pf(pf)[0] == pytest.approx(0.9)
    assert measures.swing_pf(year[:101, None])[0] == pytest.approx(0.9 * 100 / 364)


def test_counts_are_of_season_days_or_of_the_year() -> None:
    state = np.array([[IN_BAND, DRY], [WET, DRY], [RAIN_WET, IN_BAND]], dtype=np.int8)
    season = Season(np.array([[True, False], [False, False], [True, True]]), "")
    judged = score.Score(days_like([3.0] * 3), state, season)
    assert judged.counts() == {
        "days_in_band": 2,
        "days_dry": 0,
        "days_wet": 0,
        "days_rain_wet": 1,
    }
    assert judged.counts("year_", 1)["year_days_dry"] == 2


def test_movement_is_the_change_of_weighted_suction_in_percent_of_the_unwatered() -> None:
    year = np.linspace(0.0, 2.0 * np.pi, 365)
    wave = np.concatenate((np.cos(year), 0.5 * np.cos(year)))  # two years: 2.0 and 1.0 pF of change
    zeros = np.zeros((730, 2))
    days = replace(
        days_like([0.0] * 730),
        pf=zeros,
        movement_pf=np.stack((0.3 * wave, 0.6 * wave), axis=1),
        movement_pf_unwatered=np.stack((wave, 0.9 * wave), axis=1),
    )
    np.testing.assert_allclose(measures.seasonal_change_pf(days.movement_pf_unwatered), [1.5, 1.35])
    assert measures.movement_index_pct(days) == pytest.approx([30.0, 100.0 * 0.6 / 0.9], rel=1e-3)
    # Watered, the two move 0.3 of a wave apart; unwatered 0.1.
    assert measures.movement_difference_pct(days) == pytest.approx(300.0, rel=1e-3)
    assert measures.movement_index_pct(days.during(slice(366, None))) == [None, None]
    assert measures.movement_difference_pct(days.during(slice(366, None))) is None


def test_under_the_slab_stands_beside_its_strip() -> None:
    """On the strip's own scale: what its edge and its middle feel, watered and not."""
    wave = np.cos(np.linspace(0.0, 2.0 * np.pi, 365))
    cells = np.linspace(0.5, 0.1, soil.CELLS)
    unwatered = wave[:, None, None] * cells
    days = replace(
        days_like([3.0] * 365),
        movement_pf_unwatered=wave[:, None],
        under_pf=0.4 * unwatered,
        under_pf_unwatered=unwatered,
    )
    (found,) = measures.under_slab(days)
    assert found is not None
    assert [under.m for under in found] == soil.cell_middles_m()
    np.testing.assert_allclose([u.unwatered_change_pct for u in found], 100.0 * cells, rtol=1e-6)
    np.testing.assert_allclose([u.change_pct for u in found], 40.0 * cells, rtol=1e-6)
    assert measures.under_slab(replace(days, under_pf=np.nan * unwatered)) == [None]  # a basement
    assert measures.under_slab(days.during(slice(1, None))) == [None]  # less than a year


def test_movement_of_ground_that_never_changes_has_no_percent() -> None:
    assert measures.movement_index_pct(days_like([3.0] * 365)) == [None]
    assert measures.movement_difference_pct(days_like([3.0] * 365)) is None


def test_days_keep_no_hours_in_memory() -> None:
    """A view of one hour in every day would keep all hours of a sweep's years."""
    hours = Hourly(*np.ones((3, 48)))
    strips = [Strip("one", 0, 20.0, 0.5, 80.0, 1.0, 1.0)]
    ground = Columns(strips, dry_of(strips, hours), 0)
    ground.catch_up(48 * HOUR_S)
    days = days_of(ground, hours.rain_mm)
    np.testing.assert_allclose(days.pf_end, ground.results[23::24, 1:, soil.BAND_PF])
    for name in Days.__dataclass_fields__:
        for held in (ground.results, ground.under_pf, ground.forcing, ground.passed):
            assert not np.shares_memory(getattr(days, name), held), name
