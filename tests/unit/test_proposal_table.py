"""Tables made of what strips were given: rows, shares, windows, and the file that says them."""

import re
from datetime import date, timedelta
from functools import cache

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from evenclay.controller.plan import BAN_HOURS, BanPart, Plan
from evenclay.sim.house.house import House
from evenclay.sim.types import Bools, Floats
from evenclay.sim.weather.daily import Weather
from evenclay.tools.plan.proposal import table
from evenclay.tools.plan.proposal.table import HALF_MONTHS, Draft, draft_of, property_of
from evenclay.tools.plan.proposal.written import written
from evenclay.tools.property.advice import cautions, fills_min
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.demand import Means
from evenclay.tools.property.property import Property, parse
from tests.houses import make_house
from tests.unit.small_house import GOOD, reckoning

ROWS = st.integers(2, 24)
MEANS = Means([4.0] * 12, [1.0] * 12)


@cache
def small() -> Property:
    return parse(reckoning(GOOD), "small.toml")


@cache
def small_house() -> House:
    return compile_house(small(), MEANS)


def needs() -> st.SearchStrategy[Floats]:
    """What two strips need a day in each half-month [mm]: seasons, or anything at all."""
    level = st.floats(0.0, 12.0).map(lambda mm: round(mm, 2))
    years = st.lists(level, min_size=2 * HALF_MONTHS, max_size=2 * HALF_MONTHS)
    return years.map(lambda values: np.array(values).reshape(HALF_MONTHS, 2))


def closed_halves() -> st.SearchStrategy[Bools]:
    """A winter, or winters as they come."""
    winters = st.tuples(st.integers(0, 23), st.integers(0, 12)).map(
        lambda drawn: np.isin(np.arange(24), (drawn[0] + np.arange(drawn[1])) % 24)
    )
    any_ = st.lists(st.booleans(), min_size=24, max_size=24).map(np.array)
    return st.one_of(winters, any_)


def by_half(draft: Draft) -> Floats:
    """Minutes at share 100 of each half-month."""
    found = np.zeros(HALF_MONTHS)
    for half in range(HALF_MONTHS):
        begun = [row for row, begin in enumerate(draft.begins) if begin <= half]
        found[half] = draft.minutes[begun[-1] if begun else -1]
    return found


def wanted_min(ceiling: Floats, house: House) -> Floats:
    """What each strip needs a day, (24, zones), up to its cap."""
    rates = np.array([strip.rate_mm_h for strip in house.strips])
    caps = np.array([zone.cap_s / 60.0 for zone in house.plan.zones])
    return np.asarray(np.minimum(ceiling / rates * 60.0, caps))


@settings(max_examples=40)
@given(needs(), closed_halves(), ROWS)
def test_a_draft_is_closed_where_it_must_be_and_its_rows_are_few_and_apart(
    ceiling: Floats, closed: Bools, rows: int
) -> None:
    ceiling[closed] = 0.0
    draft = draft_of(ceiling, closed, small_house(), rows)
    assert 1 <= len(draft.begins) == len(draft.minutes) <= rows
    assert list(draft.begins) == sorted(set(draft.begins))
    assert not by_half(draft)[closed].any()
    for row, minutes in enumerate(draft.minutes):
        before = draft.minutes[row - 1]
        if len(draft.minutes) > 1:
            assert abs(minutes - before) >= 0.1 * max(minutes, before) - 1e-9
            assert minutes != before


def winters_fit(closed: Bools, rows: int) -> bool:
    """Whether there are as many rows as stretches that are open or closed."""
    return int(np.count_nonzero(closed != np.roll(closed, 1))) <= rows


@settings(max_examples=40)
@given(needs(), closed_halves(), ROWS)
def test_every_row_gives_what_each_of_its_half_months_needs(
    ceiling: Floats, closed: Bools, rows: int
) -> None:
    ceiling[closed] = 0.0
    house = small_house()
    draft = draft_of(ceiling, closed, house, rows)
    given_min = by_half(draft)[:, None] * np.array(draft.share_pct) / 100.0
    wanted = wanted_min(ceiling, house)
    assert all(10 <= share <= 100 for share in draft.share_pct)
    if winters_fit(closed, rows):
        assert np.all(given_min >= wanted - 1e-6)
    else:  # what no row is left for stays closed
        assert np.all((given_min >= wanted - 1e-6) | (given_min == 0.0))


def test_a_share_says_what_the_sunny_side_needs_more() -> None:
    ceiling = np.zeros((HALF_MONTHS, 2))
    ceiling[8:18] = (4.0, 2.0)
    draft = draft_of(ceiling, np.zeros(24, bool), small_house(), 8)
    rates = [strip.rate_mm_h for strip in small_house().strips]
    assert draft.begins == (8, 18) and draft.minutes[1] == 0.0
    longest, shortest = max(draft.share_pct), min(draft.share_pct)
    assert longest == 100
    times = sorted((4.0 / rates[0], 2.0 / rates[1]))
    assert shortest == pytest.approx(100.0 * times[0] / times[1], abs=0.6)


# Frost, and what was given.


def weather_of(tmin_c: Floats, first: date = date(2001, 1, 1)) -> Weather:
    still = np.zeros(len(tmin_c))
    return Weather(first, still, tmin_c, tmin_c + 10.0, still, 33.0, ())


def test_one_day_in_twenty_below_three_degrees_of_frost_closes_a_half_month() -> None:
    """Of the sixteen years' 240 days of 1-15 March, 12 are one in twenty."""
    first, last = date(2001, 1, 1), date(2016, 12, 31)
    days = [first + timedelta(days=day) for day in range((last - first).days + 1)]
    march = [i for i, day in enumerate(days) if day.month == 3 and day.day <= 15]
    assert len(march) == 240
    for cold_days, cold_c, closed in ((12, -3.1, True), (11, -3.1, False), (240, -3.0, False)):
        tmin_c = np.full(len(days), 5.0)
        tmin_c[march[:cold_days]] = cold_c
        found = table.frosty(weather_of(tmin_c))
        assert found.tolist() == [closed and half == 4 for half in range(24)]


def test_the_second_half_of_a_month_begins_on_the_16th() -> None:
    halves = table.half_months(weather_of(np.zeros(366), date(2004, 1, 1)))
    ends = np.flatnonzero(np.diff(halves)).tolist()
    begins = [date(2004, 1, 1) + timedelta(days=day + 1) for day in ends]
    assert halves[0] == 0 and halves[-1] == 23 and len(begins) == 23
    assert {day.day for day in begins} == {1, 16}


def test_a_ceiling_is_what_is_given_in_nine_half_months_of_ten() -> None:
    years = 10
    weather = weather_of(np.zeros(365 * years + 3))
    halves = table.half_months(weather)
    year = np.array([(weather.first_day + timedelta(days=day)).year for day in range(weather.days)])
    given_mm = np.zeros((weather.days, 1))
    given_mm[halves == 12, 0] = (year[halves == 12] - 2000).astype(float)  # 1 to 10 mm a day
    found = table.ceilings_mm_d([given_mm], weather)
    assert found[12, 0] == pytest.approx(9.1)  # linear between the ninth and the tenth
    assert found[11, 0] == found[13, 0] == pytest.approx(9.1 / 4.0)  # smoothed, never down
    assert not found[14:].any() and not found[:11].any()
    twice = table.ceilings_mm_d([given_mm, given_mm], weather)
    assert found[12, 0] <= twice[12, 0] <= 10.0


# Windows.


def test_windows_keep_out_of_quiet_hours_and_the_night_comes_first() -> None:
    plan = make_house().plan
    assert table.windows_min(plan)[0] == (1200, 720)
    ban = BanPart({"kind": BAN_HOURS, "first": 600, "last": 1260})
    quiet = Plan(plan.hub, plan.supplies, plan.zones, plan.rows, [ban])
    found = table.windows_min(quiet)
    assert found[0] == (1260, 660)
    for start, length in found:
        minutes = (start + np.arange(length)) % 1440
        assert not ((minutes >= 600) & (minutes < 1260)).any() and 0 < length <= 1440
    assert len(found) == len(set(found))


def test_days_allowed_are_by_weekdays_and_dates() -> None:
    assert table.days_allowed(make_house().plan) == 1.0
    assert table.days_allowed(make_house(hub={"weekdays": 0b0010010}).plan) == pytest.approx(2 / 7)
    assert table.days_allowed(make_house(hub={"dates": 1}).plan) == 0.5


# The file.


@settings(max_examples=8)
@given(needs(), closed_halves(), ROWS)
def test_what_is_written_is_a_property_with_the_draft_and_writing_again_changes_nothing(
    ceiling: Floats, closed: Bools, rows: int
) -> None:
    ceiling[closed] = 0.0
    house = small_house()
    draft = draft_of(ceiling, closed, house, rows)
    planned = property_of(small(), house, draft, MEANS)
    if planned is None:
        return
    text = written(small().source.text, planned)
    again = parse(text, "small.toml")
    assert [s.begins for s in again.seasons] == [s.begins for s in planned.seasons]
    assert [(s.count, s.minutes, s.window) for s in again.seasons] == [
        (s.count, s.minutes, s.window) for s in planned.seasons
    ]
    assert again.zones == planned.zones and again.estimate == planned.estimate
    assert written(text, again) == text
    plan = compile_house(again, MEANS).plan
    begun = {(r.month, r.day): r.cycles for r in plan.rows}
    for row, begin in enumerate(draft.begins):
        cycles = begun[begin // 2 + 1, 16 if begin % 2 else 1]
        assert (cycles == 0) == (draft.minutes[row] == 0.0)


@settings(max_examples=10, phases=(Phase.generate,))
@given(needs(), closed_halves(), ROWS, st.sampled_from((1.0, 0.03, 0.002)))
def test_a_proposal_has_no_row_that_check_cautions_against(
    ceiling: Floats, closed: Bools, rows: int, part: float
) -> None:
    """However little a half-month needs. A window that cannot hold it is told as no table."""
    house = small_house()
    wanted = table.needed_mm_d(part * ceiling, closed, small(), house, MEANS)
    planned = property_of(small(), house, draft_of(wanted, closed, house, rows), MEANS)
    assert planned is not None or part == 1.0
    if planned is not None and part < 1.0:
        said = cautions(planned, compile_house(planned, MEANS).plan)
        assert not [
            line
            for line in said
            if "season from" in line or "seasons: " in line or "to fill" in line
        ], said


@settings(max_examples=40)
@given(needs(), closed_halves(), st.sampled_from((1.0, 0.1, 0.02, 0.0)), st.floats(0.0, 4.0))
def test_a_half_month_without_a_dose_needs_no_row(
    ceiling: Floats, closed: Bools, part: float, rain_mm: float
) -> None:
    """The hub waits until a strip lacks a dose, 3 mm: 0.197 mm a day of 15.2 days."""
    means = Means([2.0] * 12, [rain_mm] * 12)
    least = table.least_mm_d(small(), small_house(), means)
    found = table.needed_mm_d(part * ceiling, closed, small(), small_house(), means)
    both = np.maximum(part * ceiling, least)
    for half in range(HALF_MONTHS):
        if closed[half] or max(both[half]) < 0.197:
            assert not found[half].any()
        elif max(both[half]) > 0.198:
            assert found[half].tolist() == both[half].tolist()


def test_a_season_opens_with_the_first_half_month_that_has_a_dose() -> None:
    """A little less in the half-months beside winter makes no row of short runs."""
    means = Means([1.0] * 12, [2.0] * 12)  # rain enough: nothing is lost beyond it
    ceiling = np.full((HALF_MONTHS, 2), 0.19)
    ceiling[8:18] = 4.0
    closed = np.isin(np.arange(HALF_MONTHS), (22, 23, 0, 1, 2, 3))
    needed = table.needed_mm_d(ceiling, closed, small(), small_house(), means)
    assert draft_of(needed, closed, small_house(), 8).begins == (8, 18)
    ceiling[6:8] = 0.2
    needed = table.needed_mm_d(ceiling, closed, small(), small_house(), means)
    assert draft_of(needed, closed, small_house(), 8).begins == (6, 8, 18)


def test_the_shortest_run_is_worth_filling_the_hose_for_and_a_minute_long() -> None:
    ceiling = np.zeros((HALF_MONTHS, 2))
    ceiling[8:18] = (0.02, 0.002)
    draft = draft_of(ceiling, np.zeros(24, bool), small_house(), 8)
    planned = property_of(small(), small_house(), draft, MEANS)
    assert planned is not None
    for name, zone in planned.zones.items():
        runs = [one.minutes * zone.share / 100 for one in planned.seasons if one.minutes]
        assert runs and min(runs) >= max(1.0, fills_min(planned, name)) - 0.02


COMMENTED = """\
# First of all.
[site]
name = "A house"   # its name
timezone = "America/Chicago"
latitude = 33
units = "us"

[supplies.tap]
flow = "5 gal/min"

# The west is hot.
[zones.west]
supply = "tap"   # the only one
side = "west"
share = 120   # of the minutes
length = "75 ft"

# How its hose was measured.
[zones.west.hose]
kind = "porous"
flow = "0.6 gal/h/ft"   # by bucket
pressure = "11 psi"

# The east is not.
[zones.east]
supply = "tap"
side = "east"
length = "60 ft"
hose = { kind = "porous", flow = "0.6 gal/h/ft", pressure = "11 psi" }

# When to water.
[[seasons]]
from = "05-01"
cycles = 3
minutes = 10
window = "04:00-10:00"
[[seasons]]
from = "11-01"
cycles = 0

# What holds back.
[lockouts.frost]
below = "33 F"   # near freezing
"""


def planned_of(text: str) -> Property:
    """A property with a table that waters in summer, and with the ground of the small one."""
    prop = parse(text, "it.toml")
    house = compile_house(prop, MEANS)
    ceiling = np.zeros((HALF_MONTHS, 2))
    ceiling[8:14], ceiling[14:20] = 2.0, 4.0
    draft = draft_of(ceiling, np.zeros(24, bool), house, 8)
    ground = {name: zone.ground for name, zone in small().zones.items()}
    zones = {
        name: zone.model_copy(update={"ground": ground[name]}) for name, zone in prop.zones.items()
    }
    estimate = prop.estimate.model_copy(update={"relief": 0.2, "yard": small().estimate.yard})
    knows = prop.model_copy(update={"zones": zones, "estimate": estimate})
    planned = property_of(knows, house, draft, MEANS)
    assert planned is not None
    return planned


SUB_TABLES = reckoning(COMMENTED)  # the ground as tables of their own, after all others
ESTIMATE_FIRST = """\
[estimate]
estimate = "off"   # for now

"""


@pytest.mark.parametrize(
    "text",
    [COMMENTED, SUB_TABLES, ESTIMATE_FIRST + COMMENTED, GOOD, reckoning(GOOD)],
    ids=["comments", "sub-tables", "estimate first", "plain", "plain sub-tables"],
)
def test_what_an_owner_wrote_stays_and_what_is_new_is_read_back(text: str) -> None:
    planned = planned_of(text)
    once = written(text, planned)
    again = parse(once, "it.toml")
    assert again.site == planned.site and again.supplies == planned.supplies
    assert list(again.zones) == list(planned.zones)
    for name, zone in planned.zones.items():
        read = again.zones[name]
        assert read.share == zone.share and read.hose == zone.hose
        assert read.ground is not None and zone.ground is not None
        for key, value in zone.ground.model_dump().items():
            assert getattr(read.ground, key) == pytest.approx(value, abs=0.02), key
    assert again.estimate.relief == 0.2 and again.estimate.estimate is None
    assert compile_house(again, MEANS).plan.hub.estimate == 1
    assert [season.begins for season in again.seasons] == [s.begins for s in planned.seasons]
    # Every comment stays, and its place among the others.
    gone = [] if "for now" not in text else ["# for now"]
    comments = [c for c in re.findall(r"#.*", text) if c not in gone]
    assert re.findall(r"#.*", once) == comments
    assert written(once, again) == once


def test_a_comment_stays_before_what_it_speaks_of() -> None:
    lines = written(COMMENTED, planned_of(COMMENTED)).splitlines()
    for comment, line in (
        ("# The west is hot.", "[zones.west]"),
        ("# The east is not.", "[zones.east]"),
        ("# When to water.", "[[seasons]]"),
        ("# What holds back.", "[lockouts.frost]"),
    ):
        assert lines[lines.index(comment) + 1] == line
    depths = [line for line in lines if line.startswith("ground = ")]
    assert len(depths) == 2 and all(line.count(' in"') == 2 for line in depths)
