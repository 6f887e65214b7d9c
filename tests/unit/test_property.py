"""Property files: what is read, and one clear line for each mistake."""

import importlib.resources
import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, get_args
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

from evenclay.controller.civil import LocalTime
from evenclay.controller.plan import HubPart
from evenclay.sim.units import METRIC, US
from evenclay.tools.cli.commands import app
from evenclay.tools.property import timezone
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.file.key_lines import line_of, path_at
from evenclay.tools.property.file.mistakes import PropertyError
from evenclay.tools.property.file.quantities import in_unit
from evenclay.tools.property.file.rules import Rule
from evenclay.tools.property.file.table import Table
from evenclay.tools.property.plan_ranges import NAME_BYTES
from evenclay.tools.property.property import Property, load, parse
from tests.unit.small_house import GOOD

DEMO = Path(__file__).parents[2] / "sim" / "demo" / "property.toml"

# Another zone, to be put in as often as a case needs it.
ZONE = """
[zones.{name}]
supply = "tap"
side = "north"
length = 2
hose = {{ kind = "porous", flow = 6, pressure = 75 }}
"""
SEASON = """
[[seasons]]
from = "{day}"
cycles = 0
"""
US_GOOD = (
    GOOD.replace("latitude = 33", 'latitude = 33\nunits = "us"')
    .replace("flow = 20\n", 'flow = "20 L/min"\n')
    .replace("length = 20", 'length = "20 m"')
    .replace("flow = 6, pressure = 75", 'flow = "6 L/h/m", pressure = "75 kPa"')
)
HOURS = [f"{hour:02}:00-{hour:02}:30" for hour in range(5)]
DATES = [f"0{month}-01 to 0{month}-02" for month in range(1, 5)]
WEST_HOSE = 'hose = { kind = "porous", flow = "0.6 gal/h/ft", pressure = "11 psi" }'

# name: (text that is replaced, by what, text on the line that must be named, key path, found)
BAD = {
    "neither flow nor bucket": (
        "flow = 6, ",
        "",
        'kind = "porous", pressure = 75',
        "zones.east.hose.flow",
        "found no flow",
    ),
    "a footing in the air": (
        "latitude = 33",
        "latitude = 33\nfooting = 0.1",
        "footing = 0.1",
        "site.footing",
        "found 0.1, allowed 0.2 to 3 m, as a number or with a unit",
    ),
    "a young house without its month": (
        "latitude = 33",
        "latitude = 33\nsettled = false",
        "[site]",
        "site.poured",
        "found no month, allowed the month it was poured in where settled = false",
    ),
    "a month without a young house": (
        "latitude = 33",
        'latitude = 33\npoured = "2021-05"',
        'poured = "2021-05"',
        "site.poured",
        "found settled = true beside it, allowed only with settled = false",
    ),
    "no month": (
        "latitude = 33",
        'latitude = 33\nsettled = false\npoured = "May 2021"',
        'poured = "May 2021"',
        "site.poured",
        'found "May 2021", allowed a year and month "YYYY-MM", such as "2021-05"',
    ),
    "a suction that no clay has": (
        "[supplies.tap]",
        "[soil]\ndeep_suction = 4000\n[supplies.tap]",
        "deep_suction = 4000",
        "soil.deep_suction",
        "found 4000, allowed 10 to 3000 kPa, as a number or with a unit, "
        'such as "250 kPa", or pF 2 to 4.5, as "pF 3.4"',
    ),
    "a pF that no clay has": (
        "[supplies.tap]",
        '[soil]\ndeep_suction = "pF 5"\n[supplies.tap]',
        'deep_suction = "pF 5"',
        "soil.deep_suction",
        'found "pF 5", allowed 10 to 3000 kPa',
    ),
    "a suction far down of one zone": (
        'side = "east"\n',
        'side = "east"\nsoil = { deep_suction = 250 }\n',
        "soil = { deep_suction = 250 }",
        "zones.east.soil.deep_suction",
        "found deep_suction here, allowed only in [soil]",
    ),
    "flow beside a bucket": (
        "flow = 6,",
        'flow = 6, bucket = { litres = 3, time = "5 min" },',
        "litres = 3",
        "zones.east.hose.bucket",
        "found flow beside it",
    ),
    "a bucket no such hose fills": (
        "flow = 6,",
        'bucket = { litres = 2000, time = "1 min" },',
        "litres = 2000",
        "zones.east.hose.bucket",
        "is more than the hose passes",
    ),
    "a bucket without its time": (
        "flow = 6,",
        "bucket = { litres = 3 },",
        "litres = 3",
        "zones.east.hose.bucket.time",
        "found no time",
    ),
    "a restrictor beside a bucket": (
        "flow = 6,",
        'restrictor = 1.5, bucket = { litres = 3, time = "5 min" },',
        "restrictor",
        "zones.east.hose.restrictor",
        "found a bucket test",
    ),
    "years of a hose gone by": (
        "flow = 6,",
        "flow = 6, years = -1,",
        "years = -1",
        "zones.east.hose.years",
        "found -1",
    ),
    "half of a soil's numbers": (
        "[supplies.tap]",
        "[soil]\nsaturation = 50\n[supplies.tap]",
        "[soil]",
        "soil",
        "found only some of them",
    ),
    "a soil that holds more when dry": (
        "[supplies.tap]",
        "[soil]\nsaturation = 50\nfield_capacity = 20\nwilting_point = 30\n[supplies.tap]",
        "[soil]",
        "soil",
        "found 50 %, 20 %, 30 %",
    ),
    "unit unknown": ('"75 ft"', '"75 fot"', "75 fot", "zones.west.length", "unknown unit fot"),
    "unit of another kind": ('"75 ft"', '"75 psi"', "75 psi", "zones.west.length", "not a length"),
    "unit without number": ('"75 ft"', '"ft"', '"ft"', "zones.west.length", "not a number and"),
    "unit that is a sum": ('"75 ft"', '"7 ft+9**9"', "9**9", "zones.west.length", "not a number"),
    "unit with an open end": ('"75 ft"', '"7 ft/"', "7 ft/", "zones.west.length", "unknown unit"),
    "too long": ("length = 20", "length = 9000", "9000", "zones.east.length", "found 9000,"),
    "not finite": ("length = 20", "length = nan", "nan", "zones.east.length", "found nan,"),
    "a truth for a length": ("length = 20", "length = true", "true", "zones.east.length", "true"),
    "a list for a length": ("length = 20", "length = [20]", "[20]", "zones.east.length", "[20]"),
    "a date for a length": (
        "= 20\nh",
        "= 2020-05-01\nh",
        "2020-",
        "zones.east.length",
        "2020-05-01",
    ),
    "a bare time": ("flow = 20", "gap = 30", "gap", "supplies.tap.gap", "found 30 (no unit)"),
    "a gap shorter than the valves' travel": (
        "flow = 20",
        'flow = 20\ngap = "10 s"\ntravel = "12 s"',
        "gap",
        "supplies.tap.gap",
        "found 10 s, allowed at least the valves' travel, 12 s",
    ),
    "a travel of minutes": (
        "flow = 20",
        'flow = 20\ntravel = "3 min"',
        "travel",
        "supplies.tap.travel",
        "allowed 0 to 2 min",
    ),
    "no latitude": ("latitude = 33\n", "", "[site]", "site.latitude", "found no latitude"),
    "no timezone": (
        'timezone = "America/Chicago"\n',
        "",
        "[site]",
        "site.timezone",
        "found no timezone",
    ),
    "latitude past the pole": ("= 33", "= 133", "133", "site.latitude", "found 133,"),
    "unknown time zone": (
        "America/Chicago",
        "America/Chikago",
        "Chikago",
        "site.timezone",
        "did you mean America/Chicago?",
    ),
    "time zone that climbs": ("America/Chicago", "../zones", "../", "site.timezone", "unknown"),
    "unknown key": ("latitude = 33", "latitude = 33\nlatitud = 1", "latitud =", "site.latitud", ""),
    "unknown table": ("[supplies.tap]", "[sight]\n[supplies.tap]", "[sight]", "sight", "unknown"),
    "site is no table": (GOOD, "site = 3\n" + GOOD[GOOD.index("[supp") :], "site", "site", "3"),
    "seasons is no list": (
        GOOD[GOOD.index("[[seas") :],
        "[seasons]\nx = 1\n",
        "[seasons]",
        "seasons",
        "found a table",
    ),
    "zones is a list": ("[zones.east]", "[[zones.east]]", "[[zones.east]]", "zones.east", "found"),
    "unknown side": ('side = "east"', 'side = "left"', "left", "zones.east.side", '"left"'),
    "a table in a list": (
        "latitude = 33",
        'latitude = 33\ntrees = [\n  { side = "west", height = 5, distance = 9 },\n'
        '  { side = "west", height = 5 }, # no distance\n]',
        "# no distance",
        "site.trees[2].distance",
        "found no distance",
    ),
    "a value in a table in a list": (
        "latitude = 33",
        'latitude = 33\ndownspouts = [\n  { side = "west", distance = "5 kg" },\n]',
        "5 kg",
        "site.downspouts[1].distance",
        "not a length",
    ),
    "unknown supply": (
        'supply = "tap"\nside = "east"',
        'supply = "tab"\nside = "east"',
        '"tab"',
        "zones.east.supply",
        'found "tab", allowed "tap"',
    ),
    "flow without its pressure": (
        ', pressure = "11 psi" }',
        " }",
        "0.6 gal",
        "zones.west.hose.pressure",
        "found no pressure",
    ),
    "no hose": (WEST_HOSE + "\n", "", "[zones.west]", "zones.west.hose", "found no hose"),
    "a zone's name not ASCII": (
        "[zones.east]",
        '[zones."\u00f6st"]',
        "\u00f6st",
        'zones."\u00f6st"',
        "ASCII",
    ),
    "a zone's name too long": (
        "[zones.east]",
        "[zones.easternmost-side]",
        "easternmost",
        "zones.easternmost-side",
        "found",
    ),
    "a zone twice": ("[zones.east]", "[zones.west]", None, "zones.west", "found it twice"),
    "a key twice": (
        " = 20\nhose",
        " = 20\nlength = 1\nhose",
        "th = 1",
        "zones.east.length",
        "it twice",
    ),
    "no such day": ('"05-01"', '"02-30"', "02-30", "seasons[1].from", "no such day"),
    "no day at all": ('"05-01"', '"Mai 1"', "Mai 1", "seasons[1].from", 'found "Mai 1"'),
    "seasons repeat": ('"11-01"', '"05-01"', None, "seasons[2].from", 'found "05-01"'),
    "a day in figures alone": (
        '"05-01"',
        '"5/1"',
        "5/1",
        "seasons[1].from",
        'found "5/1" (month or day first?)',
    ),
    "seasons repeat, the later day first": (
        GOOD[GOOD.index("[[seas") :],
        SEASON.format(day="06-01") + SEASON.format(day="05-01") + SEASON.format(day="06-01"),
        None,
        "seasons[3].from",
        'found "06-01" for two seasons',
    ),
    "too many cycles": ("cycles = 3", "cycles = 99", "99", "seasons[1].cycles", "found 99,"),
    "cycles missing": ("cycles = 3\n", "", "[[seasons]]", "seasons[1].cycles", "found no cycles"),
    "minutes missing": (
        "minutes = 10\n",
        "",
        "[[seasons]]",
        "seasons[1].minutes",
        "found no minutes",
    ),
    "window missing": (
        'window = "04:00-10:00"\n',
        "",
        "[[seasons]]",
        "seasons[1].window",
        "found no window",
    ),
    "window without length": (
        "04:00-10:00",
        "04:00-04:00",
        "04:00-04",
        "seasons[1].window",
        "04:00-04:00",
    ),
    "window past midnight": ("10:00", "25:00", "25:00", "seasons[1].window", "25:00"),
    "starts that descend": (
        'window = "04:00-10:00"',
        'starts = ["06:00", "05:00", "07:00"]',
        "starts",
        "seasons[1].starts",
        '"05:00" comes before',
    ),
    "starts that repeat": (
        'window = "04:00-10:00"',
        'starts = ["05:00", "05:00", "07:00"]',
        "starts",
        "seasons[1].starts",
        '"05:00" stands twice',
    ),
    "starts of another count": (
        'window = "04:00-10:00"',
        'starts = ["05:00", "07:00"]',
        "cycles = 3",
        "seasons[1].cycles",
        "found 3, allowed 2",
    ),
    "minutes in a closed season": (
        "cycles = 0",
        "cycles = 0\nminutes = 5",
        "minutes = 5",
        "seasons[2].minutes",
        "closed",
    ),
    "minutes and litres": (
        "minutes = 10",
        "minutes = 10\nlitres = 50",
        "litres",
        "seasons[1].litres",
        "found minutes beside it",
    ),
    "litres without a meter": (
        "minutes = 10",
        "litres = 50",
        "litres",
        "seasons[1].litres",
        "supplies.tap has no meter",
    ),
    "cycles do not fit": (
        "04:00-10:00",
        "04:00-05:00",
        "minutes = 10",
        "seasons[1].minutes",
        "one cycle of all zones, with gaps, takes 21 min, allowed at most 20 min",
    ),
    "cycles run into the next day's": (
        GOOD[GOOD.index("cycles = 3") : GOOD.index('[[seasons]]\nfrom = "11')],
        'cycles = 2\nminutes = 10\nwindow = "20:00-19:00"\n[[seasons]]\nfrom = "10-01"\n'
        'starts = ["06:00"]\nminutes = 10\n',
        'window = "20',
        "seasons[1].window",
        "found a last cycle at 07:30 of the next day, allowed one before 06:00",
    ),
    "rest longer than between cycles": (
        "length = 20",
        "length = 20\nrest = '2 h'",
        "rest",
        "zones.east.rest",
        "found 120 min, allowed at most 110 min: the season from 05-01 begins a cycle every 120",
    ),
    "run longer than the longest": (
        "length = 20",
        'length = 20\nlongest_run = "8 min"',
        "minutes = 10",
        "seasons[1].minutes",
        "a run in zones.east takes 10 min, allowed at most its longest_run, 8 min",
    ),
    "day longer than the cap": (
        "length = 20",
        'length = 20\ncap = "20 min"\nlongest_run = "20 min"',
        "minutes = 10",
        "seasons[1].minutes",
        "3 cycles give zones.east 30 min a day, allowed at most its cap, 20 min",
    ),
    "run shorter than a hose needs": (
        GOOD,
        GOOD.replace("minutes = 10", "minutes = 2").replace("= 20\nhose", "= 20\nshare = 30\nhose"),
        "minutes = 2",
        "seasons[1].minutes",
        "a run in zones.east takes 36 s",
    ),
    "longest run above the cap": (
        "length = 20",
        'length = 20\ncap = "20 min"\nlongest_run = "30 min"',
        "longest_run",
        "zones.east.longest_run",
        "found 30 min",
    ),
    "more flow than the supply gives": (
        "flow = 20\n",
        "flow = 2.5\n",
        'length = "75 ft"',
        "zones.west.length",
        "at most what the supply gives, 2.5 L/min",
    ),
    "too many zones": (
        "[[seasons]]",
        "".join([ZONE.format(name=f"n{i}") for i in range(7)]) + "[[seasons]]",
        "[zones.n6]",
        "zones.n6",
        "one of 9 zones",
    ),
    "too many seasons": (
        "[[seasons]]",
        "".join([SEASON.format(day=f"01-{i + 1:02}") for i in range(23)]) + "[[seasons]]",
        None,
        "seasons[25]",
        "one of 25 seasons",
    ),
    "no season at all": (GOOD[GOOD.index("[[seas") :], "", "[site]", "seasons", "found no seasons"),
    "probe limit without a probe": (
        "length = 20",
        "length = 20\nwet_limit = 33",
        "wet_limit",
        "zones.east.wet_limit",
        "only with a probe",
    ),
    "a probe that no board reads": (
        "length = 20",
        'length = 20\nprobe = "resistive"',
        "resistive",
        "zones.east.probe",
        'found "resistive", allowed true, false or "suction"',
    ),
    "probe limits upside down": (
        "length = 20",
        "length = 20\nprobe = true\nwet_limit = 20\nwet_release = 21",
        "wet_release = 21",
        "zones.east.wet_release",
        "found 21.0 %, allowed at most wet_limit, 20.0 %",
    ),
    "a zone that is heard through itself": (
        "length = 20",
        'length = 20\nprobe = true\nsensor = "west"',
        "sensor",
        "zones.east.sensor",
        'found "west" beside a probe, allowed only without one of its own',
    ),
    "a zone that is heard through no probe": (
        "length = 20",
        'length = 20\nsensor = "west"',
        "sensor",
        "zones.east.sensor",
        'found "west", allowed none, since no zone has a probe',
    ),
    "an estimate without its numbers": (
        "[supplies.tap]",
        '[estimate]\nestimate = "on"\nyard = { demand = 1, top = 25, top_share = 0.5, '
        "freely = 3, end = 4.4, hold = 150, level = 3.7 }\n"
        "[zones.west.ground]\ndemand = 1\ntop = 25\ntop_share = 0.5\nfreely = 3\nend = 4.4\n"
        "hold = 150\nlevel_pf = 3.7\ntarget_pf = 3.7\nbeside = 0\n[supplies.tap]",
        "[zones.east]",
        "zones.east.ground",
        "found no ground, allowed a table with numbers as `evenclay propose` writes them",
    ),
    "a target that is drier than its level": (
        "[supplies.tap]",
        "[zones.west.ground]\ndemand = 1\ntop = 25\ntop_share = 0.5\nfreely = 3\nend = 4.4\n"
        "hold = 150\nlevel_pf = 3.7\ntarget_pf = 3.8\nbeside = 0\n[supplies.tap]",
        "target_pf",
        "zones.west.ground.target_pf",
        "found 3.8, allowed at most level_pf, 3.7",
    ),
    "ground that gives nothing before it gives less": (
        "[supplies.tap]",
        "[estimate]\nyard = { demand = 1, top = 25, top_share = 0.5, freely = 3, end = 3, "
        "hold = 150, level = 3.7 }\n[supplies.tap]",
        "yard",
        "estimate.yard.end",
        "found 3, allowed more than freely, 3",
    ),
    "a trim of before": (
        "[supplies.tap]",
        "[trim]\nstep = 10\n[supplies.tap]",
        "[trim]",
        "trim",
        "found a key that has gone, allowed none: the hub reckons what each strip lacks",
    ),
    "a re-wetting of before": (
        "[supplies.tap]",
        "[rewet]\ndays = 10\n[supplies.tap]",
        "[rewet]",
        "rewet",
        "allowed none: [estimate] opening says how fast",
    ),
    "a rain bank of before": (
        "[supplies.tap]",
        "[lockouts.rain]\nlock_floor = 5\n[supplies.tap]",
        "lock_floor",
        "lockouts.rain.lock_floor",
        "allowed none: rain goes into what the hub reckons",
    ),
    "a dry limit of before": (
        "length = 20",
        "length = 20\nprobe = true\ndry_limit = 30",
        "dry_limit",
        "zones.east.dry_limit",
        "allowed none: a probe that reads dry moves what the hub reckons",
    ),
    "eaves twice": (
        "length = 20",
        "length = 20\neaves = 0.5\nrain_exposure = 50",
        "rain_exposure",
        "zones.east.rain_exposure",
        "found eaves beside it",
    ),
    "roof far too big": (
        "length = 20",
        "length = 1\ndownspout_roof = 90",
        "downspout_roof",
        "zones.east.downspout_roof",
        "90 m^2",
    ),
    "frost released too soon": (
        "[supplies.tap]",
        "[lockouts.frost]\nbelow = 4\nabove = '38 degF'\n[supplies.tap]",
        "above",
        "lockouts.frost.above",
        "found 3.333 C, allowed more than below, 4 C",
    ),
    "a check that no hand does": (
        "[supplies.tap]",
        '[owner]\ncheck = "taste"\n[supplies.tap]',
        "taste",
        "owner.check",
        'found "taste", allowed "blade", "sample", "both"',
    ),
    "no weekday left": (
        "[supplies.tap]",
        "[lockouts.quiet]\nallowed_weekdays = []\n[supplies.tap]",
        "allowed_weekdays",
        "lockouts.quiet.allowed_weekdays",
        "at least one",
    ),
    "a weekday of another language": (
        "[supplies.tap]",
        '[lockouts.quiet]\nallowed_weekdays = ["mon", "die"]\n[supplies.tap]',
        "allowed_weekdays",
        "lockouts.quiet.allowed_weekdays",
        '"die" will not do',
    ),
    "too many bans": (
        "[supplies.tap]",
        f"[lockouts.quiet]\nbanned_hours = {HOURS}\nbanned_dates = {DATES}\n[supplies.tap]",
        "[lockouts.quiet]",
        "lockouts.quiet",
        "found 9 bans",
    ),
    "battery reserve above opening": (
        "[supplies.tap]",
        "[lockouts.battery]\nopen_above = 11\nreserve = 12\n[supplies.tap]",
        "reserve",
        "lockouts.battery.reserve",
        "found 12 V",
    ),
    "a line that is no TOML": (
        "length = 20",
        "length 20",
        "length 20",
        "zones.east.length",
        'length without "=", allowed length = 20',
    ),
    "a text that does not end": (
        '"A house"',
        '"A house  # ours',
        '"A house',
        "site.name",
        '"A house, where a quote is missing, allowed "A house"',
    ),
    "a text that does not begin": (
        'side = "west"',
        'side = west"',
        'west"',
        "zones.west.side",
        'west", where a quote is missing, allowed "west"',
    ),
    "a text without quotes": (
        'side = "west"',
        "side = west",
        "= west",
        "zones.west.side",
        'found west without quotes, allowed "west"',
    ),
    "a text without quotes in a table": (
        'kind = "porous", flow = 6',
        "kind = porous, flow = 6",
        "= porous",
        "zones.east.hose.kind",
        'found porous without quotes, allowed "porous"',
    ),
    "a quote missing in a table": (
        'kind = "porous", flow = 6',
        'kind = "porous, flow = 6',
        '"porous,',
        "zones.east.hose",
        "where a quote is missing",
    ),
    "a quantity without quotes": (
        "length = 20",
        "length = 20 ft",
        "20 ft",
        "zones.east.length",
        'found 20 ft without quotes, allowed "20 ft"',
    ),
    "curly quotes": (
        '"A house"',
        "\u201cA house\u201d",
        "A house",
        "site.name",
        'found curly quotes, allowed straight ones: "A house"',
    ),
    "a decimal comma": (
        "length = 20",
        "length = 20,5",
        "20,5",
        "zones.east.length",
        "20,5 with a comma, allowed a point: 20.5",
    ),
    "a flag as another language has it": (
        "length = 20",
        "length = 20\nprobe = True",
        "True",
        "zones.east.probe",
        "found True, allowed true",
    ),
    "a number with a 0 in front": ("= 33", "= 033", "033", "site.latitude", "no 0 in front: 33"),
    "a zone's name with a space": (
        "[zones.west]",
        "[zones.west side]",
        "west side",
        'zones."west side"',
        'allowed [zones."west side"] or [zones.west-side]',
    ),
    "a bracket that does not close": (
        "[zones.west]",
        "[zones.west",
        "[zones.west",
        "zones.west",
        "found [ without its ], allowed [zones.west]",
    ),
    "a key of two words": (
        "length = 20",
        "hose length = 20",
        "hose length",
        "zones.east",
        'found a key of several words, "hose length", allowed one word, such as hose_length',
    ),
    "a table over two lines": (
        '{ kind = "porous", flow = 6',
        '{ kind = "porous",\n  flow = 6',
        None,
        "zones.east.hose",
        "all of { ... } on one line",
    ),
    "a list that does not end": (
        "latitude = 33",
        'latitude = 33\ntrees = [\n  { side = "west", height = 5, distance = 9 },',
        "trees",
        "site.trees",
        "does not end",
    ),
    "a text over lines that does not end": (
        '"A house"',
        '"""A house"',
        "A house",
        "site.name",
        "TOML (",
    ),
    "a line break in a name": ('"A house"', '"A\\nhouse"', "A\\n", "site.name", '"A\\nhouse"'),
    "an endless number": (
        "length = 20",
        "length = " + "9" * 5000,
        "9999",
        "zones.east.length",
        "thousands",
    ),
    "an endless number in another base": (
        "length = 20",
        "length = 0x" + "F" * 4000,
        "0xFFFF",
        "zones.east.length",
        "a number too long to show",
    ),
    "an endless number before a fraction": (
        "length = 20",
        f'length = "{"9" * 5000} 1/2 in"',
        "9999",
        "zones.east.length",
        "999... (not a number and a unit)",
    ),
    "a long number before a fraction": (
        "length = 20",
        'length = "5000000001 1/2 in"',
        "5000000001",
        "zones.east.length",
        "5000000001 1/2 in",
    ),
    "endless nesting": (
        "length = 20",
        "length = " + "[" * 2000 + "]" * 2000,
        "[[[[",
        "zones.east.length",
        "deep",
    ),
}


def run(*args: str) -> tuple[int, list[str], str]:
    """Exit status, lines on stderr, and stdout of a command."""
    result = CliRunner().invoke(app, list(args))
    assert result.exception is None or isinstance(result.exception, SystemExit)
    assert "Traceback" not in result.output
    return result.exit_code, result.stderr.splitlines(), result.stdout


@pytest.mark.parametrize("name", BAD)
def test_bad_file(name: str, tmp_path: Path) -> None:
    old, new, line_text, key, found = BAD[name]
    assert old in GOOD
    text = GOOD.replace(old, new, 1)
    file = tmp_path / "house.toml"
    file.write_text(text, encoding="utf-8")
    status, lines, out = run("check", str(file))
    assert status == 2
    assert out == ""
    assert len(lines) == 1, lines
    head, path, said = lines[0].removeprefix(str(file)).split(": ", 2)
    assert path == key
    assert said.startswith("found ")
    assert ", allowed " in said
    assert found in said
    if line_text is not None:
        number = 1 + next(i for i, line in enumerate(text.split("\n")) if line_text in line)
        assert head == f":{number}"


def test_the_second_of_two_is_named(tmp_path: Path) -> None:
    file = tmp_path / "house.toml"
    file.write_text(GOOD.replace("[zones.east]", "[zones.west]"))
    _, lines, _ = run("check", str(file))
    assert lines[0].startswith(f"{file}:15: zones.west: found it twice")


def test_every_mistake_is_listed_once_in_order(tmp_path: Path) -> None:
    file = tmp_path / "house.toml"
    text = GOOD.replace("75 ft", "75 fot").replace("cycles = 3", "cycles = 99").replace("33", "133")
    file.write_text(text)
    status, lines, _ = run("check", str(file))
    assert status == 2
    keys = [line.split(": ")[1] for line in lines]
    assert keys == ["site.latitude", "zones.west.length", "seasons[1].cycles"]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (None, "No such file"),
        (b"name = '\xff'\n", "not UTF-8"),
        (b"#" * 70000, "more than 65536 bytes"),
    ],
)
def test_unreadable_file(content: bytes | None, said: str, tmp_path: Path) -> None:
    file = tmp_path / "house.toml"
    if content is not None:
        file.write_bytes(content)
    status, lines, out = run("check", str(file))
    assert (status, len(lines), out) == (2, 1, "")
    assert said in lines[0]


def test_directory(tmp_path: Path) -> None:
    status, lines, _ = run("check", str(tmp_path))
    assert status == 2
    assert lines == [f"{tmp_path}: found no property file: Is a directory"]


def test_25_lines_are_enough() -> None:
    lines = [line for line in GOOD.splitlines() if line]
    assert len(lines) <= 25
    compile_house(parse(GOOD, "house.toml"))


def test_byte_order_mark_and_dos_lines(tmp_path: Path) -> None:
    file = tmp_path / "house.toml"
    file.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    prop = load(file)
    assert prop.site.name == "A house" and "\r" not in prop.source.text
    assert prop.source.as_file(prop.source.text) == GOOD.replace("\n", "\r\n")


def test_nearest_key_is_suggested() -> None:
    with pytest.raises(PropertyError) as error:
        parse(GOOD.replace("length = 20", "lenght = 20\nlength = 20"), "f")
    assert error.value.lines == [
        "f:18: zones.east.lenght: found an unknown key, allowed length (the nearest known key)"
    ]


@pytest.mark.parametrize(
    ("text", "unit", "number"),
    [
        ("75 ft", "m", 22.86),
        ("25 psi", "kPa", 172.369),
        ("0.6 gal/h/ft", "L/h/m", 7.4515),  # 3.785411784 L, 0.3048 m
        ("10 min", "min", 10),
        ("2 h", "min", 120),
        ("68 degF", "degC", 20),
        ("300 ft2", "m^2", 27.871),
        ("4 gpm", "L/min", 15.1416),
        ("35%", "%", 35),
        ("36 F", "degC", 2.2222),
        ("36\u00b0F", "degC", 2.2222),
        ("36 degrees F", "degC", 2.2222),
        ("2 C", "degC", 2),
        ("35 ft 6 in", "m", 10.8204),
        ("35'", "m", 10.668),
        ("35' 6\"", "m", 10.8204),
        ("35\u2032 6\u2033", "m", 10.8204),
        ('16"', "m", 0.4064),
        ("1 h 30 min", "min", 90),
        ("1/2 in", "mm", 12.7),
        ("1 1/2 in", "mm", 38.1),
        ("123456789 1/2 in", "in", 123456789.5),
        ('5/8"', "mm", 15.875),
        (".5 in", "mm", 12.7),
        ("0.8 gpm/100ft", "L/h/m", 5.96128),  # 181.6998 L/h over 30.48 m
        ("0.8 gpm per 100 ft", "L/h/m", 5.96128),
        ("0.8 gpm/100'", "L/h/m", 5.96128),
        ("1 ccf", "L", 2831.685),  # 100 ft3
        ("25 PSI", "kPa", 172.369),
        ("4 Gal/Min", "L/min", 15.1416),
        ("75 kpa", "kPa", 75),
    ],
)
def test_units(text: str, unit: str, number: float) -> None:
    assert in_unit(text, unit) == pytest.approx(number, rel=1e-4)


@pytest.mark.parametrize(
    "text", ["7 ft 9 psi", "20 F", "7 ft*9**9**9**9", "7 ft 6", "ft", "1/0 in"]
)
def test_no_length(text: str) -> None:
    with pytest.raises(ValueError, match=r"not a |unknown unit"):
        in_unit(text, "m")


@pytest.mark.parametrize("value", [0.0, 4.0, 12.34])
def test_both_ways(value: float) -> None:
    """What is shown in US units is read back as the same, to the digits shown."""
    for kind, unit in (("length", "m"), ("depth", "mm"), ("pressure", "kPa"), ("area", "m^2")):
        assert in_unit(US.shown(value, kind, ".9g"), unit) == pytest.approx(value, rel=1e-6)
        assert METRIC.of(value, kind) == value


def said_as(old: str, new: str) -> Property:
    assert old in GOOD
    return parse(GOOD.replace(old, new, 1), "house.toml")


@pytest.mark.parametrize(
    ("text", "minutes"),
    [
        ("9 pm-6 am", (1260, 360)),
        ("9pm - 6am", (1260, 360)),
        ("9:30 p.m. to 6 a.m.", (1290, 360)),
        ("12 am-12 pm", (0, 720)),
        ("midnight-noon", (0, 720)),
        ("21:00\u201306:00", (1260, 360)),
        ("4:00-10:00", (240, 600)),
    ],
)
def test_hours_as_people_write_them(text: str, minutes: tuple[int, int]) -> None:
    assert said_as("04:00-10:00", text).seasons[0].window == minutes


@pytest.mark.parametrize("text", ["9-6", "13 pm-6 am", "0 am-6 am", "9 pm", "9 pm-9 pm", "9 pm-6"])
def test_no_hours(text: str) -> None:
    with pytest.raises(PropertyError, match='such as "20:00-06:00" or "8 pm-6 am"'):
        said_as("04:00-10:00", text)


@pytest.mark.parametrize("text", ["June 1", "Jun. 1", "june 1st", "1 June", "1st of June", "06-01"])
def test_days_as_people_write_them(text: str) -> None:
    assert said_as('"05-01"', f'"{text}"').seasons[0].begins == (6, 1)
    banned = f'[lockouts.quiet]\nbanned_dates = ["{text} to August 31"]\n[supplies.tap]'
    assert said_as("[supplies.tap]", banned).lockouts.quiet.banned_dates == (((6, 1), (8, 31)),)


def test_words_as_people_write_them() -> None:
    assert said_as('side = "west"', 'side = " West"').zones["west"].side == "west"
    assert said_as('kind = "porous"', 'kind = "Soaker hose"').zones["west"].hose.kind == "porous"
    soil = said_as("[supplies.tap]", '[soil]\ntexture = "Silty_Clay"\n[supplies.tap]').soil
    assert soil.texture == "silty clay"
    cover = said_as("length = 20", 'length = 20\ncover = "Hot Wall"').zones["east"].cover
    assert cover == "hot wall"
    week = '[owner]\nweekday = "Sunday"\n[lockouts.quiet]\nallowed_weekdays = ["Mon", "Thursday"]'
    prop = said_as("[supplies.tap]", f"{week}\n[supplies.tap]")
    assert (prop.owner.weekday, prop.lockouts.quiet.allowed_weekdays) == ("sun", ("mon", "thu"))
    water = said_as("[supplies.tap]", '[water]\nprice = 6\nper = "CCF"\n[supplies.tap]').water
    assert water.price_m3 == pytest.approx(6 / 2.831684659)


def test_seasons_in_any_order_are_one_year(tmp_path: Path) -> None:
    """A southern year begins in spring; a mistake still names the line it stands on."""
    head, seasons = GOOD[: GOOD.index("[[seas")], GOOD[GOOD.index("[[seas") :]
    first, second = ["[[seasons]]" + part for part in seasons.split("[[seasons]]")[1:]]
    ordered, turned = head + first + "\n" + second, head + second + "\n" + first
    props = [parse(text, "house.toml") for text in (ordered, turned)]
    assert props[0].seasons == props[1].seasons
    assert [season.begins for season in props[1].seasons] == [(5, 1), (11, 1)]
    packed = [compile_house(prop).plan.pack() for prop in props]
    assert packed[0] == packed[1]
    file = tmp_path / "house.toml"
    file.write_text(turned.replace("minutes = 10", "minutes = 120"))
    status, lines, _ = run("check", str(file))
    number = 1 + turned.split("\n").index("minutes = 10")
    assert status == 2 and len(lines) == 1
    assert lines[0].startswith(f"{file}:{number}: seasons[2].minutes: found 120 min")


# Every key of a property that holds a quantity which the US measures otherwise.
BARE = (
    ("latitude = 33", "latitude = 33\nfall = 1", "site.fall", "1 in"),
    ('"20 L/min"', "4", "supplies.tap.flow", "4 gal/min"),
    ('"75 ft"', "35", "zones.west.length", "35 ft"),
    ('"11 psi"', "11", "zones.west.hose.pressure", "11 psi"),
    ('"0.6 gal/h/ft"', "0.6", "zones.west.hose.flow", "0.6 gal/h/ft"),
    ('"75 ft"', '"75 ft"\nslab_distance = 16', "zones.west.slab_distance", "16 in"),
    ('"75 ft"', '"75 ft"\ndownspout_roof = 300', "zones.west.downspout_roof", "300 ft2"),
    ("cycles = 0", "cycles = 0\ndemand = 0.2", "seasons[2].demand", "0.2 in/d"),
    (
        "[supplies.tap]",
        "[lockouts.frost]\nbelow = 36\n[supplies.tap]",
        "lockouts.frost.below",
        "36",
    ),
    (
        "[supplies.tap]",
        "[lockouts.rain]\nskip = 0.1\n[supplies.tap]",
        "lockouts.rain.skip",
        "0.1 in",
    ),
)


@pytest.mark.parametrize(("old", "new", "key", "wanted"), BARE)
def test_a_bare_number_in_a_us_file_is_asked_for_its_unit(
    old: str, new: str, key: str, wanted: str
) -> None:
    assert old in US_GOOD
    with pytest.raises(PropertyError) as error:
        parse(US_GOOD.replace(old, new, 1), "house.toml")
    (line,) = [line for line in error.value.lines if f": {key}: " in line]
    assert "(no unit), allowed a text with its unit where units = " in line
    assert f'"{wanted}' in line


def test_what_is_the_same_everywhere_takes_a_bare_number_in_a_us_file() -> None:
    zone = 'length = "75 ft"\nshare = 120\ncover = 0.7'
    assert parse(US_GOOD.replace('length = "75 ft"', zone), "f").zones["west"].share == 120


@pytest.mark.parametrize(
    ("old", "new", "metric", "us"),
    [
        (
            '"75 ft"',
            '"2 in"',
            "1 to 300 m, as a number",
            '3.3 to 980 ft, with its unit, such as "75 ft"',
        ),
        ('"11 psi"', '"99 F"', 'such as "75 kPa"', 'such as "11 psi"'),
        (', pressure = "11 psi"', "", "20 to 500 kPa", "3 to 72 psi"),
        ('"20 L/min"', '"0.5 L/min"', "supply gives, 0.5 L/min", "supply gives, 0.132 gal/min"),
        (
            "[supplies.tap]",
            '[lockouts.frost]\nbelow = "40 F"\nabove = "38 F"\n[supplies.tap]',
            "found 3.333 C, allowed more than below, 4.444 C",
            "found 38 F, allowed more than below, 40 F",
        ),
    ],
)
def test_a_message_speaks_in_the_units_of_the_file(
    old: str, new: str, metric: str, us: str
) -> None:
    texts = US_GOOD.replace('units = "us"', 'units = "metric"'), US_GOOD
    for text, said, not_said in zip(texts, (metric, us), (us, metric), strict=True):
        with pytest.raises(PropertyError) as error:
            compile_house(parse(text.replace(old, new), "house.toml"))
        assert said in str(error.value) and not_said not in str(error.value)


def test_limits_that_a_us_file_is_told_are_allowed_and_plain() -> None:
    told = 0
    for model in Table.__subclasses__():
        for name, field in model.model_fields.items():
            rules = [getattr(item, "func", None) for item in field.metadata]
            for found in [rule for rule in rules if isinstance(rule, Rule)]:
                rule = found.of("us")
                limits = re.match(r"(-?[\d.]+) to (-?[\d.]+) (\S+), with its unit", rule.allowed)
                if limits is None or rule is found:  # it is measured alike everywhere
                    continue
                told += 1
                for limit in limits.groups()[:2]:
                    rule.read(f"{limit} {limits[3]}")  # raises where it is refused
                    digits = limit.lstrip("-").replace(".", "").strip("0")
                    assert len(digits) <= 2, (model, name, limit)
    assert told >= 20


def test_lines_of_lists_and_dotted_keys() -> None:
    text = "a.b = 1\n[[s]]\nx = [\n 1,\n 2]\n[s.t]\ny = '''\n[no]\n'''\n[[s]]\nz = {k = 1}\n"
    assert line_of(text, ("a", "b")) == 1
    assert line_of(text, ("s", 0)) == 2
    assert line_of(text, ("s", 0, "x", 0)) == 4
    assert line_of(text, ("s", 0, "x", 1)) == 5
    assert line_of(text, ("s", 0, "t", "y")) == 7
    assert line_of(text, ("s", 1)) == 10
    assert line_of(text, ("s", 1, "z", "k")) == 11
    assert line_of(text, ("s", 1, "missing")) == 10
    assert line_of(text, ("nothing",)) == 1
    assert path_at(text, 8) == ("s", 0, "t", "y")


# Rules from the zones' files in the pinned tzdata package.
@pytest.mark.parametrize(
    ("text", "fields"),
    [
        ("JST-9", (32400, 32400, 0)),
        ("<-03>3", (-10800, -10800, 0)),
        ("CST6CDT,M3.2.0,M11.1.0", (-21600, -18000, 1, 3, 2, 0, 7200, 11, 1, 0, 7200)),
        ("IST-1GMT0,M10.5.0,M3.5.0/1", (3600, 0, 1, 10, 5, 0, 7200, 3, 5, 0, 3600)),
        ("<-02>2<-01>,M3.5.0/-1,M10.5.0/0", (-7200, -3600, 1, 3, 5, 0, -3600, 10, 5, 0, 0)),
        ("EET-2EEST,M3.4.4/50,M10.4.4/50", (7200, 10800, 1, 3, 4, 4, 180000, 10, 4, 4, 180000)),
        (
            "<+1245>-12:45<+1345>,M9.5.0/2:45,M4.1.0/3:45",
            (45900, 49500, 1, 9, 5, 0, 9900, 4, 1, 0, 13500),
        ),
    ],
)
def test_rule(text: str, fields: tuple[int, ...]) -> None:
    names = ["std_s", "dst_s", "dst", "on_month", "on_week", "on_weekday", "on_s"]
    names += ["off_month", "off_week", "off_weekday", "off_s"]
    got = timezone.parse_rule(text)
    assert tuple([got[name] for name in names])[: len(fields)] == fields


@pytest.mark.parametrize("text", ["", "CST6CDT", "CST6CDT,J60,J300", "CST6CDT,59,299", "6", "CST"])
def test_rule_of_another_form(text: str) -> None:
    with pytest.raises(ValueError, match="not a rule of months and weeks"):
        timezone.parse_rule(text)


def hub_in(name: str) -> HubPart:
    return compile_house(parse(GOOD.replace("America/Chicago", name), "f")).plan.hub


@pytest.mark.parametrize("name", ["America/Chicago", "Europe/Dublin", "Australia/Lord_Howe"])
def test_local_time_is_the_zone_s(name: str) -> None:
    local, zone = LocalTime(hub_in(name)), ZoneInfo(name)
    epoch = datetime(2000, 1, 1, tzinfo=UTC)
    for hours in range(0, 2 * 8766, 5):
        at = datetime(2030, 1, 1, tzinfo=UTC) + timedelta(hours=hours)
        offset = at.astimezone(zone).utcoffset()
        assert offset is not None
        wall_s = int((at - epoch).total_seconds())
        assert local.local_s(wall_s) - wall_s == offset.total_seconds()
    assert timezone.law_note(name, hub_in(name)) is None


def test_a_law_that_is_not_one_rule_is_said() -> None:
    # Gaza's clock follows the lunar calendar up to 2086 in the zone's file.
    note = timezone.law_note("Asia/Gaza", hub_in("Asia/Gaza"))
    assert note is not None
    assert "cannot be put in one rule" in note


def test_every_known_zone_has_a_rule() -> None:
    text = importlib.resources.files("tzdata").joinpath("zones").read_text()
    assert len(text.split()) > 400
    for name in text.split():
        assert timezone.read_name(name) == name


def clean(text: str) -> Property | None:
    """Read and compile a text: a property, or None with nothing but clean error lines."""
    try:
        prop = parse(text, "house.toml")
        compile_house(prop)
    except PropertyError as error:
        lines = error.lines
    else:
        return prop
    assert lines
    for line in lines:
        assert line.startswith("house.toml:")
        assert line.isprintable()
        assert ": found " in line
        assert ", allowed " in line
        assert "makes no plan" not in line  # the plan's own check has nothing left to find
    return None


DEMO_TEXT = DEMO.read_text(encoding="utf-8")
DEMO_LINES = DEMO_TEXT.split("\n")
VALUES = st.one_of(
    st.integers(-(10**6), 10**6).map(str),
    st.floats(allow_nan=True).map(lambda value: repr(value).replace("e", "E")),
    st.sampled_from(
        ["true", "''", "[]", "{}", "[[1]]", "'0 min'", "'4 h'", "'99 m'", "'12-31'", "1979-05-27"]
    ),
    st.sampled_from(["0x" + "F" * 4000, "[0x" + "F" * 4000 + "]", "'" + "9" * 400 + " 1/2 in'"]),
    st.text(max_size=NAME_BYTES).map(lambda value: "'" + value + "'"),
)


@given(data=st.data())
def test_damaged_files_give_clean_errors(data: st.DataObject) -> None:
    lines = list(DEMO_LINES)
    for _ in range(data.draw(st.integers(1, 3))):
        at = data.draw(st.integers(0, len(lines) - 1))
        how = data.draw(st.sampled_from(["delete", "value", "swap", "cut", "copy"]))
        if how == "delete":
            lines.pop(at)
        elif how == "value":
            lines[at] = lines[at].partition("=")[0] + "= " + data.draw(VALUES)
        elif how == "swap":
            other = data.draw(st.integers(0, len(lines) - 1))
            lines[at], lines[other] = lines[other], lines[at]
        elif how == "copy":
            lines.insert(at, lines[at])
        else:
            lines[at] = lines[at][: data.draw(st.integers(0, 20))]
        if not lines:
            return
    clean("\n".join(lines))


@given(end=st.integers(0, len(DEMO_TEXT)))
def test_truncated_files_give_clean_errors(end: int) -> None:
    clean(DEMO_TEXT[:end])


VALUE_LINES = [i for i, line in enumerate(DEMO_LINES) if "= " in line and not line.startswith("#")]


@given(at=st.sampled_from(VALUE_LINES), value=VALUES)
def test_any_value_at_any_key_gives_clean_errors(at: int, value: str) -> None:
    lines = list(DEMO_LINES)
    lines[at] = lines[at].partition("=")[0] + "= " + value
    clean("\n".join(lines))


def tables_in(kind: Any) -> Iterator[type[Table]]:
    """The tables that a type is made of."""
    if isinstance(kind, type) and issubclass(kind, Table):
        yield kind
    for part in get_args(kind):
        yield from tables_in(part)


def keys_of(table: type[Table], but: set[type[Table]]) -> Iterator[str]:
    """The keys of a table and of those inside it, without those that have a heading."""
    for name, info in table.model_fields.items():
        yield info.alias or name
        for inner in tables_in(info.annotation):
            if inner not in but:
                yield from keys_of(inner, but)


def test_the_demo_names_every_key_where_its_table_stands() -> None:
    """As the README promises: its comments show all that a file may say."""
    tables = {
        name: table
        for name, info in Property.model_fields.items()
        for table in tables_in(info.annotation)
    }
    lockouts = tables.pop("lockouts").model_fields
    tables |= {
        f"lockouts.{name}": table
        for name, info in lockouts.items()
        for table in tables_in(info.annotation)
    }
    for name, table in tables.items():
        blocks = [
            block
            for block in DEMO.read_text("utf-8").split("\n\n")
            if re.search(rf"^(# )?\[+{re.escape(name)}[].]", block, re.MULTILINE)
        ]
        told = re.sub(r"(?m)^(# )?\[.*$", "", "\n".join(blocks))  # a heading names no key
        for key in keys_of(table, set(tables.values())):
            assert re.search(rf"\b{key}\b", told), f"the demo's [{name}] does not name {key}"


def test_what_the_demo_shows_as_a_comment_may_be_said() -> None:
    demo = DEMO.read_text("utf-8")
    words, start, tables = demo.partition("[site]")
    said, count = re.subn(r"(?m)^# (?=[a-z_]+ = |\[[a-z.]+\]$)", "", tables)
    assert count > 10
    assert parse(words + start + said, "demo") != parse(demo, "demo")
