"""What an owner should know before water runs: cautions, the most serious first."""

from collections.abc import Iterator
from dataclasses import replace
from math import inf

from evenclay.controller import events
from evenclay.controller.plan import (
    ANY_DATE,
    BAN_HOURS,
    CONTACT,
    GAUGE,
    NO_RAIN_SENSOR,
    Plan,
    ZonePart,
)
from evenclay.sim.ground.textures import POND_MM
from evenclay.sim.house import hoses
from evenclay.sim.house.house import can_hold, run_s
from evenclay.sim.units import UNITS, Units
from evenclay.tools.property.demand import season_days
from evenclay.tools.property.file.place import SIDES
from evenclay.tools.property.piping import hose_of, spigot_of
from evenclay.tools.property.property import Property
from evenclay.tools.property.timezone import law_note

# Source: International Residential Code R401.3: 6 in over the first 10 ft (a fall of 5 %).
FALL_LEAST_M, FALL_OVER_M = 0.1524, 3.048
# Common practice, no source: water let go nearer than 5 ft soaks the same strip.
DOWNSPOUT_LEAST_M = 1.52
SLAB_LEAST_M, SLAB_USUAL_M = 0.30, 0.45  # common practice, no source
POROUS_RATED_KPA, POROUS_MOST_KPA = (70.0, 80.0), 90.0  # above, it gives too much or bursts
PRESSURE_OFF = 0.25  # a supply that differs so much from a hose's rating gives another flow
FLOW_LEAST = 0.8  # of a hose's rated flow: less, and its minutes mean something else
SUPPLY_MOST = 0.8  # of a supply's flow that one hose may take: common practice, no source
FILL_MOST = 0.25  # of a run in which the hose only fills: common practice, no source
DEMAND_LEAST, DEMAND_MOST = 0.5, 1.5  # of what the strip loses: outside, minutes or hose are off
SEASONS_LEAST = 4  # common practice, no source
HOLDS = {
    events.RAIN: "rain",
    events.WET_SOIL: "wet soil",
    events.FROST: "frost",
    events.QUIET: "local rules",
}


def cautions(prop: Property, plan: Plan) -> list[str]:
    """Return one line a caution, the most serious first. None of them stops a plan."""
    found: list[str] = []
    for part in (
        _judged,
        _sides,
        _unanswered,
        _ground,
        _hoses,
        _worn,
        _along,
        _devices,
        _table,
        _unmeasured,
    ):
        found.extend(part(prop, plan))
    return found


def held_by(plan: Plan) -> str:
    """What of weather, ground and rules can hold water back here, in words; '' for nothing."""
    named = [HOLDS[reason] for reason in can_hold(plan) if reason in HOLDS]
    return " and ".join([part for part in (", ".join(named[:-1]), *named[-1:]) if part])


def leaves(prop: Property) -> str:
    """What a plan says of itself that was judged not sure to help; '' of any other."""
    if prop.estimate.verdict != "leave":
        return ""
    return (
        "this plan was judged on many grounds, and is not sure to help: leave the house as it is, "
        "or learn more of its ground first"
    )


def _judged(prop: Property, plan: Plan) -> Iterator[str]:
    if told := leaves(prop):
        yield told


def _sides(prop: Property, plan: Plan) -> Iterator[str]:
    dry = [side for side in SIDES if side not in [zone.side for zone in prop.zones.values()]]
    if dry:
        meant = set(dry) <= set(prop.site.dry_sides or ())
        yield (
            f"one-sided watering: no zone on the {' and '.join(dry)} side"
            f"{' (left dry on purpose)' if meant else ''}; clay that is wet on one side moves "
            f"unevenly: {'ask an engineer first' if meant else 'water every side or none'}"
        )
    for side in prop.site.dry_sides or ():
        if side not in dry:
            yield f"the {side} side is among dry_sides of [site], but a zone waters it"


def _ground(prop: Property, plan: Plan) -> Iterator[str]:
    site, units = prop.site, _units(prop)
    if site.fall is not None and site.fall < FALL_LEAST_M - 1e-6:
        yield (
            f"the ground falls {units.shown(site.fall, 'fall')} over the first "
            f"{units.shown(FALL_OVER_M, 'length', '.2g')}, less than "
            f"{units.shown(FALL_LEAST_M, 'fall')} (IRC R401.3): rain stays at the house; mend this "
            "before watering"
        )
    if site.foundation in ("basement", "crawl space"):
        yield f"a {site.foundation}: water beside it can come in; ask an engineer first"
    if site.slope_or_wall:
        yield "a slope or retaining wall: water can loosen it; ask an engineer first"
    if site.septic_field:
        yield "a septic field: keep hoses off it; ask whoever looks after it first"
    for spout in site.downspouts or ():
        near = [name for name, zone in prop.zones.items() if zone.side == spout.side]
        if near and spout.distance < DOWNSPOUT_LEAST_M:
            away = units.shown(spout.distance, "distance")
            yield (
                f"a downspout ends {away} from the house on the {spout.side} side, "
                f"at zone {', '.join(near)}: lead its water further away"
            )
    for name, zone in prop.zones.items():
        if zone.downspout_roof:
            times = zone.exposure
            yield f"a downspout ends in zone {name}: the strip gets {times:.0f} times the rain"
    for tree in site.trees or ():
        if tree.distance < tree.height:
            away, high = [units.shown(m, "distance") for m in (tree.distance, tree.height)]
            yield (
                f"a tree on the {tree.side} side stands {away} away and is {high} high: nearer "
                "than its height, its roots dry the clay under the house; ask first"
            )


def _units(prop: Property) -> Units:
    return UNITS[prop.site.units]


def _hoses(prop: Property, plan: Plan) -> Iterator[str]:
    units = _units(prop)
    low, high = units.number(SLAB_LEAST_M, "near"), units.shown(SLAB_USUAL_M, "near")
    for name, zone in prop.zones.items():
        if zone.slab_distance < SLAB_LEAST_M:
            yield (
                f"zone {name}: the hose lies {units.shown(zone.slab_distance, 'near')} from the "
                f"slab; {low} to {high} is usual"
            )
        gives, rated = prop.supplies[zone.supply].pressure, zone.hose.pressure
        at = max(rated, gives or 0)
        if zone.hose.kind == "porous" and at > POROUS_MOST_KPA:
            least = units.number(POROUS_RATED_KPA[0], "pressure", ".2g")
            most = units.shown(POROUS_RATED_KPA[1], "pressure", ".2g")
            yield (
                f"zone {name}: {units.shown(at, 'pressure')} is too much for porous hose, rated "
                f"{least} to {most}"
            )
        elif gives is not None and abs(gives - rated) > PRESSURE_OFF * rated:
            yield (
                f"zone {name}: supply {zone.supply} gives {units.shown(gives, 'pressure')}, "
                f"but the hose's flow is for {units.shown(rated, 'pressure')}"
            )


def _worn(prop: Property, plan: Plan) -> Iterator[str]:
    """How much of a hose's flow a washer at its inlet and its years of use take away."""
    units = _units(prop)
    for name, zone in prop.zones.items():
        hose, spigot = hose_of(zone), spigot_of(prop, zone)
        if spigot.restrictor_mm is not None:
            found = hoses.fed(hose, spigot)
            without = hoses.fed(hose, replace(spigot, restrictor_mm=None))
            left_kpa = units.number(found.start_kpa, "pressure")
            left_l_h = units.number(found.flow_l_h, "hose flow")
            yield (
                f"zone {name}: a restrictor with a hole of "
                f"{units.shown(spigot.restrictor_mm, 'bore')} leaves {left_kpa} of "
                f"{units.shown(without.start_kpa, 'pressure')} and {left_l_h} of "
                f"{units.shown(without.flow_l_h, 'hose flow')}: take it out, or measure with it in"
            )
        if zone.hose.years:
            left_pct = 100 * hoses.left_open(zone.hose.years)
            yield (
                f"zone {name}: after {zone.hose.years:.4g} years of use the hose may give "
                f"{left_pct:.0f} % of its flow (an estimate): measure it with a bucket"
            )


def _along(prop: Property, plan: Plan) -> Iterator[str]:
    """What comes out along each hose, and whether its supply can keep up."""
    units = _units(prop)
    for part, (name, zone) in zip(plan.zones, prop.zones.items(), strict=True):
        supply = prop.supplies[zone.supply]
        hose = hose_of(zone)
        start_kpa = supply.pressure or hose.rated_kpa
        found = hoses.fed(hose, spigot_of(prop, zone))
        where = (
            f"{units.shown(hose.diameter_mm, 'bore')} inside, "
            f"fed at {units.shown(start_kpa, 'pressure')}"
        )
        if hose.rise_m:
            rise = units.shown(abs(hose.rise_m), "length")
            where += f", its end {rise} {'up' if hose.rise_m > 0 else 'down'}"
        if found.evenness < hoses.EVEN_ENOUGH:
            longest_m = hoses.longest_run_m(hose, start_kpa)
            yield (
                f"zone {name}: {units.shown(hose.length_m, 'length')} of hose water unevenly "
                f"({where}): least "
                f"{100 * found.evenness:.0f} % of the most, at the end "
                f"{100 * found.end_to_start:.0f} % of the start; up to "
                f"{units.shown(longest_m, 'length', '.0f')} laid alike keep 90 %"
            )
        if found.flow_l_h < FLOW_LEAST * zone.flow_l_h:
            yield (
                f"zone {name}: the hose gives {units.shown(found.flow_l_h, 'hose flow')} ({where}) "
                f"where its rating means {units.number(zone.flow_l_h, 'hose flow')}: measure it "
                "with a bucket and enter that flow"
            )
        if supply.flow is not None and zone.flow_l_h / 60 > SUPPLY_MOST * supply.flow:
            wants = units.number(zone.flow_l_h / 60, "supply flow", ".1f")
            gives = units.shown(supply.flow, "supply flow", ".1f")
            yield (
                f"zone {name} wants {wants} of the {gives} that supply {zone.supply} gives: "
                "so near its limit the pressure falls; use less hose"
            )
        yield from _filling(units, plan, part, hose, supply.flow)


def _filling(
    units: Units,
    plan: Plan,
    part: ZonePart,
    hose: hoses.Hose,
    supply_l_min: float | None,
) -> Iterator[str]:
    """A hose that spends much of each run on being filled, so that its end gets too little."""
    runs = [run_s(plan, index, part) for index, row in enumerate(plan.rows) if row.cycles]
    if supply_l_min is None or not runs:
        return
    fill_s = hose.volume_l / supply_l_min * 60
    if min(runs) < fill_s / FILL_MOST:
        yield (
            f"zone {part.name}: the hose takes {fill_s:.0f} s to fill "
            f"({units.shown(hose.volume_l, 'hose volume')}) of runs of {min(runs):.0f} s: its end "
            "gets less; use fewer, longer cycles"
        )


def _devices(prop: Property, plan: Plan) -> Iterator[str]:
    for name, supply in prop.supplies.items():
        if name not in [zone.supply for zone in prop.zones.values()]:
            yield f"supply {name} feeds no zone"
        elif not supply.meter and not supply.master_valve:
            yield (
                f"supply {name} has neither meter nor master valve: "
                "a stuck-open valve cannot be noticed"
            )
    yield from _senses(plan)
    note = law_note(prop.site.timezone, plan.hub)
    if note:
        yield note


def _senses(plan: Plan) -> Iterator[str]:
    """What the hub does not know for want of a gauge or a thermometer."""
    reckons = plan.hub.estimate
    if plan.hub.rain_kind == NO_RAIN_SENSOR:
        does = "reckons by each season's mean rain" if reckons else "waters through rain"
        yield f"no rain sensor: the hub {does}"
    if plan.hub.rain_kind == CONTACT:
        does = "a drizzle counts as a storm does"
        if reckons:
            does = "the hub reckons by each season's mean rain"
        yield f"a rain contact tells wet from dry, not how much: {does}"
    if not plan.hub.frost:
        more = ", and reckons by each season's mean demand" if reckons else ""
        yield f"no thermometer: the hub does not know frost{more}"
    if reckons and plan.hub.rain_kind != GAUGE and not any(row.rain_um for row in plan.rows):
        yield (
            "no season has rain, so the hub reckons with none: name weather, or each season's rain"
        )


def _table(prop: Property, plan: Plan) -> Iterator[str]:
    allowed = bin(plan.hub.weekdays).count("1")
    if allowed < 7:
        yield (
            f"local rules allow {allowed} of 7 days: the figures above are a day's, and a week's "
            f"water is {allowed} times as much, not 7"
        )
    if plan.hub.dates != ANY_DATE:
        yield "local rules allow every other date: a week's water is about half of 7 days'"
    if len(plan.rows) < SEASONS_LEAST and not plan.hub.estimate:
        yield (
            f"{len(plan.rows)} seasons: fewer than {SEASONS_LEAST} follow the year poorly "
            "(common practice)"
        )
    days = season_days(prop)
    for index, row in enumerate(plan.rows):
        if row.cycles and days[index]:
            where = f"season from {row.month:02}-{row.day:02}: "
            for text in (
                *_banned(plan, index),
                *_soil(prop, plan, index),
            ):
                yield where + text


def _banned(plan: Plan, index: int) -> Iterator[str]:
    """Cycles that local rules never let start, and days of the week that they never do."""
    row = plan.rows[index]
    starts = [row.start_min_of(cycle) % 1440 for cycle in range(row.cycles)]
    never = 0
    for start in starts:
        for ban in plan.bans:
            lasts_min = ban.last - ban.first + (1440 if ban.first > ban.last else 0)
            if ban.kind == BAN_HOURS and (start - ban.first) % 1440 < lasts_min:
                never += 1
                break
    if never:
        yield f"{never} of {row.cycles} cycles begin in banned hours and never run"


def _soil(prop: Property, plan: Plan, index: int) -> Iterator[str]:
    """Water that the ground cannot take in a cycle, and days far from what the strip loses."""
    row, units = plan.rows[index], _units(prop)
    over, far = [], []
    for zone in plan.zones:
        run_h = run_s(plan, index, zone) / 3600
        cycle_mm = zone.rate_um_h / 1000 * run_h
        most_min = taken_min(prop, zone)
        if 60 * run_h > most_min:
            takes_mm = zone.rate_um_h / 1000 * most_min / 60
            given, taken = [units.number(mm, "depth") for mm in (cycle_mm, takes_mm)]
            over.append(f"{zone.name}: {given} where {taken} go in, at most {most_min:.0f} min")
        lost_mm = row.demand_um / 1000 * prop.zones[zone.name].coefficient
        most = DEMAND_MOST
        if plan.hub.estimate:  # a ceiling may be high, and stands for what rain does not give
            lost_mm -= row.rain_um / 1000 * prop.zones[zone.name].exposure
            most = inf
        day_mm = cycle_mm * row.cycles
        if lost_mm > 0 and not DEMAND_LEAST <= day_mm / lost_mm <= most:
            given, lost = [units.number(mm, "depth") for mm in (day_mm, lost_mm)]
            far.append(f"{zone.name}: {given} for {lost}")
    unit = units.word("depth")
    if over:
        yield f"more {unit} a cycle than the ground takes, use shorter cycles: {'; '.join(over)}"
    if far:
        rain = "beyond their rain" if plan.hub.estimate else "rain apart"
        yield f"{unit} a day far from what the strips lose, {rain}: {'; '.join(far)}"


def taken_min(prop: Property, zone: ZonePart) -> float:
    """Longest run [min] whose water the ground takes in or holds on top; infinite where any."""
    takes_mm_h = (prop.zones[zone.name].soil or prop.soil).hydraulics.ks_mm_h
    rate_mm_h = zone.rate_um_h / 1000
    return 60 * POND_MM / (rate_mm_h - takes_mm_h) if rate_mm_h > takes_mm_h else inf


# What an owner is asked about the place, in words, and the key of `[site]` with the answer.
ASKED = {
    "fall": "how far the ground falls away from the house",
    "downspouts": "where downspouts end",
    "trees": "which trees stand near",
    "foundation": "what the house stands on",
    "slope_or_wall": "whether there is a slope or a retaining wall",
    "septic_field": "whether there is a septic field",
}


def _unanswered(prop: Property, plan: Plan) -> Iterator[str]:
    missing = [
        f"{asked} (site.{name})"
        for name, asked in ASKED.items()
        if getattr(prop.site, name) is None
    ]
    if missing:
        yield f"not answered: {'; '.join(missing)}"


def _unmeasured(prop: Property, plan: Plan) -> Iterator[str]:
    missing = [
        f"the {key} of supply {name} (supplies.{name}.{key})"
        for name, supply in prop.supplies.items()
        for key in ("flow", "pressure")
        if getattr(supply, key) is None
    ]
    if missing:
        yield f"not measured: {'; '.join(missing)}"


def fills_min(prop: Property, name: str) -> float:
    """Shortest run [min] in most of which a zone's hose is full; 0 where nobody knows the flow."""
    zone = prop.zones[name]
    flow_l_min = prop.supplies[zone.supply].flow
    return 0.0 if flow_l_min is None else hose_of(zone).volume_l / flow_l_min / FILL_MOST
