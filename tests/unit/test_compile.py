"""From property to plan and house: numbers, defaults, and the arithmetic of a usual calendar."""

from dataclasses import replace
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

from evenclay.controller.agenda import PER_DAY, Agenda
from evenclay.controller.civil import day_of
from evenclay.controller.plan import BAN_DATES, BAN_HOURS, GAUGE, Plan, unpack
from evenclay.sim.ground.feel import classes
from evenclay.sim.ground.textures import CM_PER_KPA, TEXTURES, pf_of_kpa
from evenclay.sim.house import hoses
from evenclay.sim.house.house import House, run_s
from evenclay.sim.house.standing import sides_of
from evenclay.sim.weather.daily import WeatherError
from evenclay.sim.weather.et0 import extraterrestrial_radiation_mj_m2
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.conflicts import tag_of
from evenclay.tools.property.cycles import cycle_min
from evenclay.tools.property.demand import (
    Means,
    guessed,
    guessed_et0_mm,
    means_of,
    season_days,
    sun_um,
)
from evenclay.tools.property.file.mistakes import PropertyError
from evenclay.tools.property.plan_ranges import RANGES
from evenclay.tools.property.property import load, parse
from tests.unit.small_house import GOOD, reckoning

DEMO = Path(__file__).parents[2] / "sim" / "demo"
FLAT = Means([4.0] * 12, [1.5] * 12)

# Common practice, no source: a check of the arithmetic, not a recommendation.
USUAL_SEASONS = """\
[[seasons]]
from = "05-01"
cycles = 3
minutes = 10
window = "04:00-10:00"
[[seasons]]
from = "07-01"
cycles = 4
minutes = 15
window = "03:00-11:00"
[[seasons]]
from = "09-16"
cycles = 3
minutes = 10
window = "04:00-10:00"
[[seasons]]
from = "11-01"
cycles = 0
"""
HEAD = GOOD[: GOOD.index("[[seasons]]")]


def house_of(*changes: tuple[str, str]) -> House:
    text = GOOD
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    return compile_house(parse(text, "house.toml"), FLAT)


def zone_with(line: str) -> dict[str, int]:
    """Fields of zone east with one more line."""
    zone = house_of(("length = 20\n", f"length = 20\n{line}\n")).plan.zones[1]
    return {name: getattr(zone, name) for name in RANGES[type(zone)]}


def test_usual_calendar() -> None:
    plan = compile_house(parse(HEAD + USUAL_SEASONS, "house.toml"), FLAT).plan
    # 2023-01-01 to 2023-12-31: 365 days, no lockout.
    first, last = day_of(2023, 1, 1), day_of(2023, 12, 31)
    agenda = Agenda(plan)
    cycles = minutes = without = 0
    starts = []
    for day in range(first, last + 1):
        row = agenda.row_of(day)
        cycles += row.cycles
        minutes += row.cycles * row.run_s // 60
        without += row.cycles == 0
        for cycle in range(row.cycles):
            starts.append(agenda.start_wall_s(day * PER_DAY + cycle))
    assert (cycles, minutes, without) == (629, 7830, 181)
    assert len(set(starts)) == 629
    assert starts == sorted(starts)


def test_usual_calendar_walked_by_next_after() -> None:
    plan = compile_house(parse(HEAD + USUAL_SEASONS, "house.toml"), FLAT).plan
    agenda = Agenda(plan)
    seen = set()
    number = day_of(2023, 1, 1) * PER_DAY - 1
    for day in range(day_of(2023, 1, 1), day_of(2024, 1, 1)):
        while True:
            following = agenda.next_after(number, day - 2)  # it looks two days ahead
            if following < 0:
                break
            seen.add(following)
            number = following
    assert len(seen) == 629


def test_zone_numbers() -> None:
    west, east = house_of().plan.zones
    # 0.6 gal/h/ft is 7.4515 L/h/m; over 75 ft = 22.86 m that is 170.34 L/h.
    assert west.flow_ml_min == 2839
    assert west.rate_um_h == 12419  # over 0.6 m
    assert east.flow_ml_min == 2000
    assert east.rate_um_h == 10000
    assert (east.share_pct, east.rest_s, east.cap_s, east.longest_s) == (100, 1800, 7200, 3600)
    assert (east.exposure_pct, east.held, east.probe, east.sensor) == (100, 0, 0, 0)


@pytest.mark.parametrize(
    ("line", "field", "value"),
    [
        ("eaves = 0.2", "exposure_pct", 100),
        ("eaves = 0.3", "exposure_pct", 50),
        ("eaves = 0.6", "exposure_pct", 50),
        ("eaves = 0.7", "exposure_pct", 20),
        ("rain_exposure = 35", "exposure_pct", 35),
        ("downspout_roof = 60", "exposure_pct", 600),  # 60 m2 onto 12 m2, and its own rain
        ('valve = "held"', "held", 1),
        ('share = "130 %"', "share_pct", 130),
        ('rest = "1 h"', "rest_s", 3600),
        ("probe = true", "probe", 1),
        ('probe = "suction"', "probe", 1),
        ("probe = true", "sensor", 2),
    ],
)
def test_zone_key(line: str, field: str, value: int) -> None:
    assert zone_with(line)[field] == value


@pytest.mark.parametrize(
    ("line", "coefficient"),
    [
        ('cover = "hot wall"', 1.1),
        ('cover = "planted, shaded"', 0.6),
        ('cover = "planted, morning sun"\npaved = true', 0.9),
        ('cover = "lawn"', 0.8),
        ("cover = 0.75", 0.75),
    ],
)
def test_what_a_cover_loses(line: str, coefficient: float) -> None:
    strip = house_of(("length = 20\n", f"length = 20\n{line}\n")).strips[1]
    assert strip.coefficient == pytest.approx(coefficient)


def test_a_probe_shows_the_middle_ground_s_content() -> None:
    """By hand: clay of Carsel & Parrish 1988 holds .2697 at pF 4.2, .3477 at 2.5, and .0478 a pF
    at 3.3. The middle ground holds .09 there, so .2697 + .09 / .0478 x .0780 = .4165 at pF 2.5; so
    .0864 less with each pF, and .4597 at pF 2."""
    values = zone_with("probe = true")
    assert values["full_ppt"] == 460
    assert values["per_pf_ppt"] == 86
    for name, suction_pf in (("wet_ppt", 2.5), ("wet_off_ppt", 2.6)):
        by_line = values["full_ppt"] - values["per_pf_ppt"] * (suction_pf - 2.0)
        assert values[name] == pytest.approx(by_line, abs=1)
    # Two standard errors: 0.08 m3/m3 of the line's 0.086 a pF, 0.4 pF of a suction sensor.
    suction = zone_with('probe = "suction"')
    assert [each["error_mpf"] for each in (values, suction)] == [pytest.approx(926, abs=1), 400]
    given = zone_with("probe = true\nwet_limit = 40\nwet_release = 38.5")
    assert (given["wet_ppt"], given["wet_off_ppt"]) == (400, 385)


def reckoned(*changes: tuple[str, str]) -> House:
    """The house with numbers to reckon by."""
    text = reckoning(GOOD)
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return compile_house(parse(text, "house.toml"), FLAT)


def test_numbers_of_the_estimate_by_hand() -> None:
    """140 mm a pF: the target of pF 3.5 lacks 1.5 x 140 = 210 mm, where it begins; the yard 255."""
    house = reckoned()
    hub, zone = house.plan.hub, house.plan.zones[1]
    assert (hub.estimate, hub.yard_lack_um, hub.yard_hold_um) == (1, 255_000, 150_000)
    assert (hub.yard_top_um, hub.yard_top_ppt, hub.yard_demand_ppt) == (25_000, 500, 1400)
    assert (hub.yard_freely_um, hub.yard_end_um) == (150_000, 360_000)
    assert (zone.begin_um, zone.target_um, zone.hold_um) == (210_000, 210_000, 140_000)
    assert (zone.top_um, zone.top_ppt, zone.demand_ppt) == (20_000, 550, 1600)
    assert (zone.freely_um, zone.end_um, zone.beside_ppm) == (168_000, 350_000, 12_000)
    assert (house.relief_pf, house.target_pf) == (0.3, (3.5, 3.5))


def test_one_probe_speaks_for_two_zones() -> None:
    heard = reckoned(
        ('length = "75 ft"', 'length = "75 ft"\nprobe = true'),
        ("length = 20", 'length = 20\nsensor = "west"'),
    )
    assert [(zone.probe, zone.sensor) for zone in heard.plan.zones] == [(1, 1), (0, 1)]


def test_classes_of_a_sample_lie_at_the_texture_s_borders() -> None:
    zone = reckoned().plan.zones[0]
    borders = [zone.class1_um, zone.class2_um, zone.class3_um, zone.class4_um]
    assert borders == sorted(borders, reverse=True)
    for place, border_um in enumerate(borders):
        border_pf = 2.0 + border_um / zone.hold_um
        clay = TEXTURES["clay"]
        around = classes([border_pf + 0.001, border_pf - 0.001], clay)
        assert around.tolist() == [place, place + 1]
    assert 2.0 + zone.class4_um / zone.hold_um == pytest.approx(pf_of_kpa(33.0), abs=1e-3)


def test_who_does_not_reckon_has_no_numbers_in_the_plan() -> None:
    off = reckoned(("[estimate]\n", '[estimate]\nestimate = "off"\n'))
    assert off.plan.hub.estimate == 0 and off.plan.zones[0].hold_um == 0
    assert (off.relief_pf, off.target_pf) == (None, None)


@pytest.mark.parametrize("latitude", [-60, 0, 33, 60])
def test_the_sun_is_that_of_published_radiation(latitude: float) -> None:
    """Source: FAO-56 table 2.6 by its equation 21; 2.45 MJ evaporate a millimetre."""
    found = sun_um(latitude)
    assert len(found) == 24 and all(0 < each < 20_000 for each in found)
    of_year = [1 + 365 * (part + 0.5) / 24 for part in range(24)]
    expected = extraterrestrial_radiation_mj_m2(latitude, np.array(of_year)) / 2.45
    assert found == pytest.approx((1000 * expected).tolist(), rel=1e-3)


@pytest.mark.parametrize("check", ["blade", "sample", "both"])
def test_what_an_owner_checks_with(check: str) -> None:
    assert house_of().owner.check == "blade"
    made = house_of(("[supplies.tap]", f'[owner]\ncheck = "{check}"\n[supplies.tap]'))
    assert made.owner.check == check


def test_hub_numbers() -> None:
    hub = house_of().plan.hub
    assert (hub.std_s, hub.dst_s, hub.dst) == (-21600, -18000, 1)
    assert (hub.rain_skip_um, hub.dose_um, hub.opening_um) == (2000, 3000, 8000)
    assert (hub.estimate, hub.yard_hold_um, hub.yard_lack_um) == (0, 0, 0)
    assert (hub.open_max, hub.weekdays, hub.frost, hub.battery) == (1, 127, 0, 0)


def test_lockouts_arrive() -> None:
    plan = house_of(
        (
            "[supplies.tap]",
            """[lockouts.rain]
sensor = "gauge"
[lockouts.frost]
thermometer = true
below = "35.6 degF"
[lockouts.quiet]
allowed_weekdays = ["mon", "sun"]
allowed_dates = "odd"
banned_hours = ["22:00-03:00"]
banned_dates = ["12-24 to 01-02"]
[lockouts.battery]
open_above = 11.5
reserve = "11 V"
[supplies.tap]""",
        )
    ).plan
    hub = plan.hub
    assert (hub.rain_kind, hub.frost, hub.frost_on_mc, hub.frost_off_mc) == (GAUGE, 1, 2000, 5000)
    assert (hub.weekdays, hub.dates) == (0b1000001, 1)
    assert (hub.battery, hub.battery_open_mv, hub.battery_reserve_mv) == (1, 11500, 11000)
    assert [(ban.kind, ban.first, ban.last) for ban in plan.bans] == [
        (BAN_HOURS, 1320, 180),
        (BAN_DATES, 12 * 32 + 24, 32 + 2),
    ]


def test_window_over_midnight_and_starts() -> None:
    row = house_of(("04:00-10:00", "22:00-04:00")).plan.rows[0]
    assert [row.start_min_of(cycle) for cycle in range(3)] == [1320, 1440, 1560]
    row = house_of(('cycles = 3\nminutes = 10\nwindow = "04:00-10:00"', STARTS)).plan.rows[0]
    assert (row.cycles, row.starts_min, row.run_s) == (2, (300, 480), 450)
    assert house_of(("04:00-10:00", "00:00-24:00")).plan.rows[0].length_min == 1440


STARTS = 'starts = ["05:00", "08:00"]\nminutes = 7.5'


def test_litres_are_bounded_in_time() -> None:
    plan = house_of(("flow = 20", "flow = 20\nmeter = true"), ("minutes = 10", "litres = 30")).plan
    row = plan.rows[0]
    assert row.run_ml == 30000
    # The slower hose gives 2 L a minute: 15 minutes, and half as long again.
    assert row.run_s == 1350
    assert run_s(plan, 0, plan.zones[1]) == 900


def test_demand() -> None:
    et0_mm = [float(month) for month in range(1, 13)]
    means = Means(et0_mm, [each / 4.0 for each in et0_mm])
    rows = compile_house(parse(GOOD, "house.toml"), means).plan.rows
    # May to October by their days; November to April wraps over the new year.
    summer = (31 * 5 + 30 * 6 + 31 * 7 + 31 * 8 + 30 * 9 + 31 * 10) / 184
    winter = (30 * 11 + 31 * 12 + 31 * 1 + 28 * 2 + 31 * 3 + 30 * 4) / 181
    assert rows[0].demand_um == round(1000 * summer)
    assert rows[1].demand_um == round(1000 * winter)
    assert rows[0].rain_um == pytest.approx(rows[0].demand_um / 4, abs=1)
    assert [row.rain_um for row in house_of().plan.rows] == [1500, 1500]
    given = house_of(("minutes = 10", 'minutes = 10\nrain = "0.1 in/d"'))
    assert [row.rain_um for row in given.plan.rows] == [2540, 1500]
    assert (
        house_of(("minutes = 10", "minutes = 10\ndemand = '0.2 in/d'")).plan.rows[0].demand_um
        == 5080
    )


def test_guess_follows_the_sun() -> None:
    north, south = guessed_et0_mm(35), guessed_et0_mm(-35)
    assert max(north) == max(north[5:7])
    assert max(south) == max([*south[:1], *south[11:]])
    assert all(0 <= value < 9 for latitude in (-66, 0, 66) for value in guessed_et0_mm(latitude))


def test_season_days_cover_the_year() -> None:
    days = season_days(parse(GOOD, "house.toml"))
    assert [len(months) for months in days] == [184, 181]


@pytest.mark.parametrize("open_at_once", [1, 2])
def test_one_cycle_of_two_supplies(open_at_once: int) -> None:
    plan = house_of(
        ("[zones.west]", "[supplies.well]\ngap = '2 min'\n[zones.west]"),
        ('supply = "tap"\nside = "east"', 'supply = "well"\nside = "east"'),
        ("[[seasons]]", f"[hub]\nopen_at_once = {open_at_once}\n[[seasons]]"),
    ).plan
    # 10 min and 0.5 min beside 10 min and 2 min.
    assert cycle_min(plan, 0) == pytest.approx(22.5 if open_at_once == 1 else 12)


@pytest.mark.parametrize(
    ("keys", "gap_s", "travel_s"),
    [
        ("", 30, 0),
        ("\ntravel = '12 s'", 30, 12),
        ("\ntravel = '45 s'", 45, 45),
        ("\ntravel = '45 s'\ngap = '45 s'", 45, 45),
        ("\ntravel = '12 s'\ngap = '2 min'", 120, 12),
    ],
)
def test_a_gap_is_at_least_the_valves_travel(keys: str, gap_s: int, travel_s: int) -> None:
    (supply,) = house_of(("flow = 20", "flow = 20" + keys)).plan.supplies
    assert (supply.gap_s, supply.travel_s) == (gap_s, travel_s)


def test_tags_are_stable_and_apart() -> None:
    assert tag_of("west") == 0xD1E2  # the low half of its CRC-32
    assert house_of().plan.zones[0].tag == tag_of("west")
    names = [f"z{number}" for number in range(2000)]
    one, other = next(pair for pair in combinations(names, 2) if tag_of(pair[0]) == tag_of(pair[1]))
    with pytest.raises(PropertyError) as error:
        house_of(("[zones.west]", f"[zones.{one}]"), ("[zones.east]", f"[zones.{other}]"))
    (line,) = error.value.lines
    assert line.startswith(f"house.toml:15: zones.{other}: ")
    assert f"zones.{one}" in line


def test_house() -> None:
    house = house_of(("[[seasons]]", "[water]\nprice = 8\nper = '1000 gal'\n[[seasons]]"))
    assert [strip.name for strip in house.strips] == ["west", "east"]
    # Of 10 mm/h by its rating, friction and the supply leave a little less.
    assert 9.8 < house.strips[1].rate_mm_h < 9.9
    assert house.strips[1].hose_l == pytest.approx(2.53, abs=0.01)
    assert 0.9 < house.strips[1].evenness < 1.0
    assert house.supplies == ("tap",)
    assert house.water_price_m3 == pytest.approx(8 / 3.785411784)


def test_plan_survives_packing() -> None:
    plan = compile_house(load(DEMO / "property.toml")).plan
    again = unpack(plan.pack())
    assert again.crc == plan.crc
    assert again.zones[0].name == "west"
    assert len(again.rows) == 7


def test_demo_is_what_it_says() -> None:
    house = compile_house(load(DEMO / "property.toml"))
    plan: Plan = house.plan
    assert len(plan.zones) == 4
    assert len(plan.supplies) == 2
    assert sum([zone.probe for zone in plan.zones]) == 4
    assert [supply.meter for supply in plan.supplies] == [0, 1]
    assert plan.rows[-1].cycles == 0
    assert (plan.hub.rain_kind, plan.hub.frost) == (GAUGE, 1)


def test_demo_weather() -> None:
    from evenclay.sim.demo.make_weather import rows
    from evenclay.sim.weather.record import read

    written = (DEMO / "weather.csv").read_text(encoding="utf-8").splitlines()
    assert written[0] == "date,rain_mm,tmin_c,tmax_c"
    assert written[1:] == [",".join(row) for row in rows()]
    weather = read(DEMO / "weather.csv", latitude_deg=32.4)
    assert weather.days == 2191
    et0_mm, rain_mm = means_of(weather, 32.4)
    assert max(et0_mm) == max(et0_mm[5:8])
    assert sum(rain_mm) / 12 == pytest.approx(weather.rain_mm.mean(), rel=0.02)
    assert guessed(32.4).rain_mm == [0.0] * 12
    assert (weather.tmin_c < 0).sum() in range(5, 60)


def test_means_that_no_climate_has_are_refused_by_what_they_are_of() -> None:
    from evenclay.sim.weather.record import read

    weather = read(DEMO / "weather.csv", latitude_deg=32.4)
    inches = replace(weather, rain_mm=weather.rain_mm * 25.4)
    with pytest.raises(WeatherError, match=r"found \d+ mm of rain a day .* of [A-Z]\w\w, allowed"):
        means_of(inches, 32.4)


@pytest.mark.parametrize(
    "table",
    [
        "[hub]\nopen_at_once = 4\npoll = '1 min'\nwatch = '0.2 min'",
        "[hub]\npoll = '1 h'\nwatch = '10 min'",
        "[estimate]\nestimate = 'off'\nrelief = 0\ndose = 0.5\nopening = 1",
        "[estimate]\nestimate = 'off'\nrelief = 0.8\ndose = 20\nopening = 20",
        "[lockouts.rain]\nskip = 0\ndrying_time = '0 h'",
        "[lockouts.rain]\nskip = 20\ndrying_time = '10 days'",
        "[lockouts.frost]\nbelow = -20\nabove = -19\nhold = '0 h'",
        "[lockouts.frost]\nbelow = 15\nabove = 20\nhold = '12 h'",
        "[lockouts.battery]\nopen_above = 60\nreserve = 1",
        "[supplies.other]\nflow = 200\ngap = '1 h'\ntravel = '2 min'\npressure = 1000",
        "[supplies.other]\nflow = 0.5\ngap = '0 s'\npressure = 10",
    ],
)
def test_what_the_file_allows_the_plan_takes(table: str) -> None:
    house_of(("[[seasons]]", f"{table}\n[[seasons]]"))


EAST_HOSE = 'length = 20\nhose = { kind = "porous", flow = 6, pressure = 75 }'


def east_with(hose: str) -> House:
    return house_of(
        (EAST_HOSE, f'length = 20\nhose = {{ kind = "porous", {hose}, pressure = 75 }}')
    )


def test_a_bucket_test_stands_for_a_flow_figure() -> None:
    """20 L in 10 minutes are 120 L/h, which 6 L/h a metre is over 20 m; friction is in the test."""
    sold, measured = east_with("flow = 6"), east_with('bucket = { litres = 20, time = "10 min" }')
    assert measured.plan.zones[1].flow_ml_min == sold.plan.zones[1].flow_ml_min == 2000
    assert sold.strips[1].flow_l_h < measured.strips[1].flow_l_h
    assert measured.strips[1].flow_l_h == pytest.approx(120.0, rel=0.02)  # the spigot's own loss
    assert [side.flow_measured for side in sides_of(measured)] == [False, True]
    assert not any(side.flow_measured for side in sides_of(sold))


def test_a_washer_left_in_and_the_years_take_flow() -> None:
    new = east_with("flow = 6").strips[1]
    held_back = east_with('flow = 6, restrictor = "1.5 mm"').strips[1]
    old = east_with("flow = 6, years = 3").strips[1]
    assert held_back.flow_l_h < 0.9 * new.flow_l_h and held_back.hose_years is None
    assert old.hose_years == 3.0
    assert old.flow_l_h == pytest.approx(new.flow_l_h * hoses.left_open(3.0), rel=0.02)


def test_soil_of_an_owner_s_own_numbers_and_of_one_zone() -> None:
    measured = "[soil]\nsaturation = 52\nfield_capacity = 41\nwilting_point = 27\n[supplies.tap]"
    house = house_of(
        ("[supplies.tap]", measured),
        ("length = 20\n", 'length = 20\nsoil = { texture = "loam" }\n'),
    )
    clay, loam = (strip.texture for strip in house.strips)
    for kpa, content in ((0.0, 0.52), (33.0, 0.41), (1500.0, 0.27)):
        assert clay.water_content(kpa * CM_PER_KPA) == pytest.approx(content, abs=1e-6)
    assert clay.ks_mm_h == TEXTURES["clay"].ks_mm_h and clay.cracks
    assert loam == TEXTURES["loam"]


@pytest.mark.parametrize("written", ['"pF 3.4"', '"3.4 pF"', "246.3", '"246.3 kPa"', '"35.72 psi"'])
def test_what_a_house_stands_on(written: str) -> None:
    more = 'latitude = 33\nfooting = "20 in"\nsettled = false\npoured = "2021-05"'
    text = GOOD.replace("latitude = 33", more)
    text = text.replace("[supplies.tap]", f"[soil]\ndeep_suction = {written}\n[supplies.tap]")
    house = compile_house(parse(text, "house.toml"))
    assert house.footing_m == pytest.approx(0.508)
    assert house.poured_month == 5
    assert house.deep_pf == pytest.approx(3.4, abs=1e-3)


def test_what_nobody_says_of_a_house_is_not_known() -> None:
    house = compile_house(parse(GOOD, "house.toml"))
    assert (house.footing_m, house.deep_pf, house.poured_month) == (None, None, None)
