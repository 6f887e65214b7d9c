"""The parts of a replay: spans, the owner's rounds, policies, hours held back, lines."""

from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from evenclay.controller import events
from evenclay.controller.civil import LocalTime, day_of
from evenclay.controller.plan import BAN_HOURS, BanPart, unpack
from evenclay.controller.ports import DRY, FIRM, WET
from evenclay.sim.house import owner as by_hand
from evenclay.sim.house.devices import Devices, Heard
from evenclay.sim.house.faults import Fault, PowerCut, Trouble
from evenclay.sim.house.house import Owner, Report
from evenclay.sim.house.site import Sky
from evenclay.sim.judge import policies
from evenclay.sim.replay.life import Life, Script
from evenclay.sim.replay.stay import stay_in, stay_of
from evenclay.sim.report import held, outputs
from evenclay.sim.weather.daily import Weather, WeatherError
from evenclay.sim.weather.hourly import Hourly
from tests import decisions
from tests.grounds import even_ground
from tests.houses import UTC, make_house, row, still_weather

DAY_S = 86400
GUIDE = Path(__file__).parents[2] / "sim" / "README.md"


def record(first: date, last: date) -> Weather:
    days = (last - first).days + 1
    still = np.zeros(days)
    return Weather(first, np.arange(days, dtype=np.float64), still, still, still, 40.0, ("n",))


def test_a_stay_is_the_days_asked_for_after_the_whole_record() -> None:
    whole = record(date(2012, 1, 1), date(2015, 12, 31))
    stay = stay_of(whole, date(2013, 6, 1), date(2013, 8, 31))
    assert (stay.weather.first_day, stay.weather.days) == (date(2013, 6, 1), 92)
    before = (date(2013, 6, 1) - date(2012, 1, 1)).days
    assert stay.climate.days == whole.days and stay.climate.rain_mm[0] == before
    assert stay.climate.rain_mm[-1] == before - 1
    assert stay.notes == ("n",)
    with pytest.raises(WeatherError):
        stay_of(whole, date(2013, 6, 1), date(2016, 1, 1))


@pytest.mark.parametrize("begins", [date(2012, 1, 1), date(2012, 7, 1), date(2011, 3, 2)])
def test_other_weather_is_lived_after_the_records_own_climate(begins: date) -> None:
    climate = record(begins, date(2015, 12, 31))
    lived = record(date(2001, 1, 1), date(2003, 12, 31))
    stay = stay_in(lived, climate)
    assert stay.weather is lived and stay.asked_days == lived.days
    first = begins + timedelta(days=int(stay.climate.rain_mm[0]))
    assert (first.month, first.day) == (1, 1)
    assert sorted(stay.climate.rain_mm) == list(range(climate.days))


def test_an_old_record_is_lived_under_later_dates_with_the_same_weekdays() -> None:
    stay = stay_of(record(date(1967, 1, 1), date(1969, 12, 31)))
    shifted = day_of(1967, 1, 1) + stay.shift_days
    assert shifted >= 2 and stay.shift_days % 7 == 0
    assert shifted == day_of(1967 + 56, 1, 1)
    assert stay_of(record(date(2000, 1, 3), date(2000, 6, 1))).shift_days == 0


def sky_from(day: date, by_hour: Hourly) -> Sky:
    return Sky(by_hour, DAY_S * day_of(day.year, day.month, day.day))


def checks(rain_days: set[int], owner: Owner, days: int = 21, **values: int) -> list[datetime]:
    rain_mm = np.zeros(24 * days)
    for day in rain_days:
        rain_mm[24 * day + 12] = 3.0
    sky = sky_from(date(2024, 5, 6), Hourly(rain_mm, np.zeros(24 * days), np.zeros(24 * days)))
    house = make_house(hub=UTC, rows=[row(**values)])
    times = by_hand.check_times(owner, house.plan, sky, sky.start_s + DAY_S * days)
    return [datetime(2000, 1, 1) + timedelta(seconds=at_s) for at_s in times]


def test_owner_checks_weekly_at_his_hour_or_before_the_first_cycle() -> None:
    saturday = Owner(weekday=5, hour=7)
    late = checks(set(), saturday, start_min=600)
    assert late == [datetime(2024, 5, day, 7) for day in (11, 18, 25)]
    early = checks(set(), saturday, start_min=300)
    assert early == [datetime(2024, 5, day, 4, 30) for day in (11, 18, 25)]


def test_owner_waits_a_day_after_rain_and_stays_away_in_the_closed_season() -> None:
    saturday = Owner(weekday=5, hour=7)
    assert checks({4, 5}, saturday, start_min=600) == [
        datetime(2024, 5, 13, 7),  # rain on Friday and Saturday noon
        datetime(2024, 5, 18, 7),
        datetime(2024, 5, 25, 7),
    ]
    assert checks(set(), saturday, cycles=0) == []


def test_owner_samples_in_the_first_twelve_weeks_whatever_the_season() -> None:
    """What the hub learns of a strip's lasting error it learns before any water falls."""
    sampler = Owner(checks=True, check="sample", weekday=5, hour=7)
    first = datetime(2024, 5, 11, 7)
    assert checks(set(), sampler, 200, cycles=0) == [first + timedelta(weeks=w) for w in range(12)]
    assert checks(set(), replace(sampler, checks=False), 200, cycles=0) == []


def saying(*found: Report) -> by_hand.Felt:
    """Hands that find what they are told to."""
    return lambda check, random: list(found)


SAID = [Report(DRY, 0), Report(FIRM, 2), Report(WET, 4)] * 2


def test_an_owner_who_misses_weeks_and_misjudges_strips() -> None:
    random = np.random.default_rng(1)
    sound, careless = Owner(), Owner(misses_pct=20.0, misjudges_pct=10.0)
    felt = saying(*SAID)
    assert by_hand.reports(sound, felt, random) == SAID
    weeks = [by_hand.reports(careless, felt, random) for _ in range(4000)]
    made = [week for week in weeks if week is not None]
    assert len(made) / len(weeks) == pytest.approx(0.8, abs=0.03)
    for strip, (blade, sample) in enumerate(SAID):
        wrong = [week[strip] for week in made if week[strip] != SAID[strip]]
        assert len(wrong) / len(made) == pytest.approx(0.1, abs=0.03)
        assert {one.blade for one in wrong} == ({DRY, WET} if blade == FIRM else {FIRM})
        beside = {0: {1}, 2: {1, 3}, 4: {3}}
        assert sample is not None and {one.sample for one in wrong} == beside[sample]


def test_who_checks_with_one_thing_says_nothing_of_the_other() -> None:
    random = np.random.default_rng(2)
    never_right = Owner(misjudges_pct=100.0)
    assert by_hand.reports(never_right, saying(Report(DRY)), random) == [Report(FIRM)]
    assert by_hand.reports(never_right, saying(Report(sample=0)), random) == [Report(sample=1)]


def test_four_policies_share_table_hoses_and_caps() -> None:
    ban = BanPart({"kind": BAN_HOURS, "first": 600, "last": 1200})
    house = make_house(
        hub={"weekdays": 1, "estimate": 1, "battery": 1},
        each_zone=[{"probe": 1, "sensor": 1}, {"probe": 1, "sensor": 2}],
        bans=[ban],
    )
    house = replace(house, owner=Owner(checks=False))
    found = {policy.name: policy for policy in policies.policies(house)}
    assert list(found) == ["none", "calendar", "hub_alone", "hub"]
    assert found["none"].plan is None
    assert found["hub"].plan is house.plan and found["hub"].owner is None
    alone = found["hub_alone"].plan
    assert alone is not None and alone.hub is house.plan.hub and alone.bans == [ban]
    assert not any(zone.probe or zone.sensor for zone in alone.zones)
    assert found["hub_alone"].owner is None
    bare = found["calendar"].plan
    assert bare is not None
    bare = unpack(bare.pack())
    hub = bare.hub
    assert not bare.bans and (hub.weekdays, hub.dates, hub.rain_kind) == (127, 0, 0)
    assert (hub.frost, hub.battery, hub.estimate) == (0, 0, 0)
    for mine, other in zip(bare.zones, house.plan.zones, strict=True):
        assert mine.probe == mine.sensor == 0 and other.probe == 1
        for name in ("cap_s", "rest_s", "longest_s", "share_pct", "supply", "tag"):
            assert getattr(mine, name) == getattr(other, name)
    assert [vars(r) for r in bare.rows] == [vars(r) for r in house.plan.rows]


def test_nothing_follows_from_a_check_where_nothing_is_reckoned() -> None:
    for reckons in (0, 1):
        house = make_house(hub={"estimate": reckons}, owner=Owner(check="both"))
        assert (policies.hub_of(house).owner is house.owner) is bool(reckons)


def heard(at_s: int, what: int, zone: int, why: int, value: int = 0) -> Heard:
    return Heard(at_s, (what, zone, why, value, 0, 1, 0, 0), 0)


def test_hours_held_back_are_the_time_between_edges() -> None:
    plan = make_house(zones=3, hub=UTC, supplies=[{}, {}]).plan
    hour = 3600
    story = [
        heard(20 * hour, events.LOCKED, 1, events.RAIN),
        heard(30 * hour, events.RELEASED, 1, events.RAIN),
        heard(40 * hour, events.LOCKED, -1, events.FROST),
        heard(41 * hour, events.BOOT, -1, events.POWER),
        heard(42 * hour, events.ALARM, 8, events.SUPPLY_NO_FLOW),
        heard(43 * hour, events.ALARM, 1, events.PROBE),  # an alarm that shuts nothing
    ]
    hours = held.hours(plan, story, 0, 2)
    rain, frost, fault = (
        held.REASONS.index(why) for why in (events.RAIN, events.FROST, events.FAULT)
    )
    assert hours[:, :, rain].tolist() == [[0.0, 4.0, 0.0], [0.0, 6.0, 0.0]]
    assert hours[:, :, frost].tolist() == [[0.0] * 3, [1.0] * 3]
    assert hours[:, :, fault].tolist() == [[0.0] * 3, [6.0, 0.0, 6.0]]
    assert hours.sum() == 4 + 6 + 3 + 12


def test_hours_before_the_first_day_are_cut_off() -> None:
    plan = make_house(zones=1, hub=UTC).plan
    story = [heard(-5000, events.LOCKED, 0, events.WET_SOIL)]
    hours = held.hours(plan, story, 0, 1)
    assert hours[0, 0].tolist() == [24.0 if why == events.WET_SOIL else 0.0 for why in held.REASONS]


def test_quiet_hours_follow_the_rules_of_the_date() -> None:
    ban = BanPart({"kind": BAN_HOURS, "first": 22 * 60, "last": 6 * 60})
    plan = make_house(zones=1, hub=UTC | {"weekdays": 0b0111111}, bans=[ban]).plan
    start_s = DAY_S * day_of(2024, 5, 11)  # a Saturday
    quiet = held.hours(plan, [], start_s, 3)[:, 0, held.REASONS.index(events.QUIET)]
    assert quiet.tolist() == [8.0, 24.0, 8.0]


@pytest.mark.parametrize(
    "at", ["2023-03-12T07:59:59", "2023-03-12T08:00:00", "2023-11-05T06:30:00"]
)
def test_shown_time_is_that_of_the_zone(at: str) -> None:
    utc = datetime.fromisoformat(at + "+00:00")
    at_s = int((utc - datetime.fromisoformat("2000-01-01T00:00:00+00:00")).total_seconds())
    calendar = outputs.Calendar(LocalTime(make_house().plan.hub), 0)
    assert calendar.iso(at_s) == utc.astimezone(ZoneInfo("America/Chicago")).isoformat()
    shifted = outputs.Calendar(LocalTime(make_house().plan.hub), 10227)
    assert shifted.iso(at_s) == calendar.iso(at_s).replace("2023", "1995")


def life(script: Script, days: int = 3, **values: int) -> Life:
    house = make_house(hub=UTC, rows=[row(cycles=4, start_min=0, length_min=1440)], zone=values)
    by_hour = still_weather(days)
    sky = sky_from(date(2024, 5, 6), by_hour)
    ground = even_ground(house, by_hour, sky.start_s)
    return Life(house.plan, ground, sky, script, 0)


def go(devices: Devices) -> None:
    """Power goes now."""
    raise PowerCut


def test_power_comes_back_after_the_outage_and_the_hub_boots() -> None:
    start_s = DAY_S * day_of(2024, 5, 6)
    run_s = start_s + 6 * 3600
    script = Script([(run_s + 300, go)], outage_s=120)
    alive = life(script)
    alive.run(run_s + 3600)
    story = [(h.at_s - run_s, h.event[0], h.event[2]) for h in alive.devices.heard]
    assert (0, events.OPENED, events.PLANNED) in story
    assert (420, events.BOOT, events.POWER) in story
    assert (420, events.CUT_SHORT, events.POWER) in story
    assert alive.devices.given[0] == 80_000 * 420  # it latches: open until the boot


def test_the_guide_cuts_power_as_it_says() -> None:
    (line,) = [t.strip() for t in GUIDE.read_text("utf-8").splitlines() if "script = Script" in t]
    made: dict[str, Script] = {}
    at_s = DAY_S * day_of(2024, 5, 6) + 6 * 3600
    exec(line, {"Script": Script, "at_s": at_s}, made)
    alive = life(made["script"])
    alive.run(at_s + 3600)
    boots = [h.at_s for h in alive.devices.heard if h.event[0] == events.BOOT]
    assert boots == [at_s - 6 * 3600, at_s + made["script"].outage_s]


def test_a_replay_may_stop_and_go_on() -> None:
    one, two = life(Script()), life(Script())
    end_s = one.devices.now_s + 2 * DAY_S
    one.run(end_s)
    for at_s in range(two.devices.now_s, end_s + 1, 7777):
        two.run(at_s)
    two.run(end_s)
    assert one.devices.heard == two.devices.heard
    assert len(one.devices.heard) > 10


def test_a_stuck_valve_overlaps_in_fact_though_the_hub_cannot_know() -> None:
    start_s = DAY_S * day_of(2024, 5, 6)
    stuck = Fault(Trouble.STUCK_OPEN, start_s + 4000, start_s + DAY_S, which=1)
    alive = life(Script(faults=[stuck]))
    alive.run(start_s + DAY_S)
    assert alive.devices.most_open_on_supply == 2
    sound = life(Script())
    sound.run(start_s + DAY_S)
    assert sound.devices.most_open_on_supply == 1


@pytest.mark.parametrize("flow_l_h", [60.0, 1200.0])
def test_a_stuck_valve_behind_a_meter_is_found_in_minutes(flow_l_h: float) -> None:
    """Sensors are read every three hours; the meter is looked at as soon as it moves."""
    house = make_house(
        hub=UTC | {"poll_s": 3 * 3600},
        supplies=[{"meter": 1}],
        rows=[row(cycles=1, start_min=0, length_min=1440)],
        strip={"flow_l_h": flow_l_h},
    )
    by_hour = still_weather(1)
    sky = sky_from(date(2024, 5, 6), by_hour)
    ground = even_ground(house, by_hour, sky.start_s)
    stuck_s = sky.start_s + 12 * 3600 + 777
    faults = [Fault(Trouble.STUCK_OPEN, stuck_s, stuck_s + DAY_S, which=1)]
    alive = Life(house.plan, ground, sky, Script(faults=faults), 0)
    alive.run(stuck_s - 1)
    quiet_wakes = alive.wakes
    alive.run(stuck_s + 3 * 3600)
    found_s = [h.at_s for h in alive.devices.heard if h.event[:3:2] == (events.ALARM, events.LEAK)]
    litre_s = round(3600 / flow_l_h)
    assert len(found_s) == 1 and found_s[0] - stuck_s <= max(litre_s + 60, 120)
    assert quiet_wakes < 60, "a meter that stands still wakes nobody"


PLAN = {name: {"supply": "tap", "cap_s": 1000, "gap_s": 30} for name in ("a", "b")}


def told(zone: str, minute: int, second: int, what: str, seconds: int) -> decisions.Line:
    at = f"2024-05-06T05:{minute:02d}:{second:02d}-05:00"
    return {"at": at, "zone": zone, "what": what, "seconds": seconds, "litres": 1.0}


@pytest.mark.parametrize(
    ("b_opens", "b_seconds", "good"),
    [
        ((10, 30), 600, True),
        ((10, 29), 600, False),  # gap
        ((9, 0), 600, False),  # overlap
        ((10, 30), 1001, False),  # cap
    ],
)
def test_the_checker_of_decisions_sees_what_is_wrong(
    b_opens: tuple[int, int], b_seconds: int, good: bool
) -> None:
    closes_s = 60 * b_opens[0] + b_opens[1] + b_seconds
    lines = [
        told("a", 0, 0, "opened", 600),
        told("a", 10, 0, "closed", 600),
        told("b", *b_opens, "opened", b_seconds),
        told("b", *divmod(closes_s, 60), "closed", b_seconds),
    ]
    lines.sort(key=lambda line: str(line["at"]))
    if good:
        assert len(decisions.verify(PLAN, lines)) == 2
    else:
        with pytest.raises(AssertionError):
            decisions.verify(PLAN, lines)
