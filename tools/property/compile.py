"""From a property to what runs: the hub's plan, and the house the simulator takes."""

from binascii import crc32
from collections.abc import Iterator, Sequence
from datetime import timedelta
from itertools import pairwise
from math import ceil, cos, inf, pi, sqrt
from typing import TYPE_CHECKING

from evenclay.controller import plan as plans
from evenclay.controller.civil import date_of, day_of
from evenclay.controller.limits import ROWS_MAX, RUN_LEAST_S, RUN_MAX_S, SUPPLIES_MAX, ZONES_MAX
from evenclay.controller.plan import (
    BanPart,
    HubPart,
    Plan,
    PlanError,
    RowPart,
    SupplyPart,
    ZonePart,
)
from evenclay.sim.house import hoses
from evenclay.sim.house.house import House, Owner, Strip
from evenclay.sim.units import UNITS
from evenclay.sim.weather.et0 import extraterrestrial_radiation_mj_m2
from evenclay.tools.property.plan_rules import RANGES, check_plan
from evenclay.tools.property.property import WEEKDAYS, Mistake, Property, Season, Zone
from evenclay.tools.property.timezone import rule

if TYPE_CHECKING:
    from evenclay.sim.weather.record import Weather  # pandas: only for its type here

# Suctions, in cm of water, that stand for "wet enough", a little drier, and "too dry".
WET_CM = 10**2.5
WET_OFF_CM = 10**2.6
DRY_CM = 10**3.2

LITRES_BOUND = 1.5  # a run that asks for litres may take so much longer than its hose should need
YEAR = 2001  # any year of 365 days

_RAIN_KINDS = {"none": plans.NO_RAIN_SENSOR, "gauge": plans.GAUGE, "contact": plans.CONTACT}
_DATES = {"any": plans.ANY_DATE, "odd": plans.ODD_DATES, "even": plans.EVEN_DATES}
_AUTO = {"off": plans.AUTO_OFF, "down": plans.AUTO_DOWN, "both": plans.AUTO_BOTH}


def compile_house(prop: Property, et0_mm_by_month: Sequence[float] | None = None) -> House:
    """Return the house of a property; its plan is packed, so its `crc` is known.

    et0_mm_by_month: mean reference evapotranspiration in mm a day, January first, for seasons
    that name no demand; None: a rough guess from latitude. `cautions` is left empty.

    Raises:
        PropertyError: the parts of the property do not fit each other, or no plan can be made.
    """
    et0 = guessed_et0_mm(prop.site.latitude) if et0_mm_by_month is None else et0_mm_by_month
    mistakes = list(_names(prop)) + list(_order(prop))
    if mistakes:
        raise prop.source.error(mistakes)
    plan = _plan(prop, et0)
    mistakes = list(_zones_fit(prop, plan)) + list(_seasons_fit(prop, plan))
    if mistakes:
        raise prop.source.error(mistakes)
    try:
        check_plan(plan)
        plan.pack()
    except PlanError as error:
        mistake = Mistake((), f"what makes no plan ({error})", "what the hub accepts")
        raise prop.source.error([mistake]) from None
    return House(
        name=prop.site.name,
        timezone=prop.site.timezone,
        latitude_deg=prop.site.latitude,
        units=prop.site.units,
        plan=plan,
        strips=tuple([_strip(prop, name, zone) for name, zone in prop.zones.items()]),
        supplies=tuple(prop.supplies),
        water_price_m3=prop.water.price_m3,
        currency=prop.water.currency,
        owner=Owner(
            prop.owner.checks,
            WEEKDAYS.index(prop.owner.weekday),
            prop.owner.hour,
            prop.owner.misses,
            prop.owner.misjudges,
        ),
    )


def trial_plan(prop: Property, et0_mm: Sequence[float]) -> tuple[Plan, list[Mistake]]:
    """Return the plan of a property that differs from one that was compiled before in no more than
    seasons, shares, trim, rain bank and limits of probes, and what does not fit in its seasons:
    with mistakes it must not be used."""
    plan = _plan(prop, et0_mm)
    return plan, list(_seasons_fit(prop, plan))


def tag_of(name: str) -> int:
    """Return a zone's stable number, 1 to 65535, from its name alone."""
    return crc32(name.encode()) & 0xFFFF or 1


def guessed_et0_mm(latitude_deg: float) -> list[float]:
    """Return a rough reference evapotranspiration in mm a day for each month, January first.

    Hargreaves with a mean temperature and a daily range of 12 degrees guessed from latitude alone;
    only good until a weather file is at hand. No source for the guess.
    """
    south = latitude_deg < 0
    found = []
    for month in range(1, 13):
        of_year = day_of(YEAR, month, 15) - day_of(YEAR, 1, 1) + 1
        warmest = 20 if south else 202
        season = cos(2 * pi * (of_year - warmest) / 365)
        temp_c = 28 - 0.008 * latitude_deg**2 + 0.3 * abs(latitude_deg) * season
        ra_mm = 0.408 * float(extraterrestrial_radiation_mj_m2(latitude_deg, of_year))
        found.append(max(0.0, 0.0023 * (temp_c + 17.8) * sqrt(12) * ra_mm))
    return found


def season_days(prop: Property) -> list[list[int]]:
    """Return for each season the months of its days over 365 days, one entry a day."""
    begins = [season.begins for season in prop.seasons]
    months: list[list[int]] = [[] for _ in begins]
    for day in range(day_of(YEAR, 1, 1), day_of(YEAR + 1, 1, 1)):
        _, month, of_month = date_of(day)
        held = [i for i, begin in enumerate(begins) if begin <= (month, of_month)]
        months[held[-1] if held else -1].append(month)
    return months


def _names(prop: Property) -> Iterator[Mistake]:
    """What names do not fit: supplies, zones, and their counts."""
    for what, group, most in (
        ("supplies", list(prop.supplies), SUPPLIES_MAX),
        ("zones", list(prop.zones), ZONES_MAX),
    ):
        if not group:
            yield Mistake((what,), "none", f"1 to {most}")
        if len(group) > most:
            yield Mistake((what, group[most]), f"one of {len(group)} {what}", f"1 to {most}")
    tags: dict[int, str] = {}
    for name, zone in prop.zones.items():
        if zone.supply not in prop.supplies:
            known = ", ".join([f'"{supply}"' for supply in prop.supplies]) or "a supply"
            yield Mistake(("zones", name, "supply"), f'"{zone.supply}"', known)
        other = tags.setdefault(tag_of(name), name)
        if other != name:
            found = f"a name with the same number as zones.{other}"
            yield Mistake(("zones", name), found, "another name for one of the two")


def _order(prop: Property) -> Iterator[Mistake]:
    """Seasons that are none, too many, or twice."""
    count = len(prop.seasons)
    if not count:
        yield Mistake(("seasons",), "none", f"1 to {ROWS_MAX}")
    if count > ROWS_MAX:
        yield Mistake(("seasons", ROWS_MAX), f"one of {count} seasons", f"1 to {ROWS_MAX}")
    for index in range(1, count):
        before, here = prop.seasons[index - 1].begins, prop.seasons[index].begins
        if here == before:
            found = f'"{here[0]:02}-{here[1]:02}" for two seasons'
            yield Mistake(("seasons", index, "from"), found, "a day of its own for each")


def _plan(prop: Property, et0_mm: Sequence[float]) -> Plan:
    names = list(prop.supplies)
    zones = []
    for name, zone in prop.zones.items():
        values = _zone_values(prop, zone)
        values["tag"] = tag_of(name)
        values["supply"] = names.index(zone.supply)
        zones.append(ZonePart(values | {"name": name}))
    supplies = [
        SupplyPart(
            {
                "flow_ml_min": round((supply.flow or 0) * 1000),
                "gap_s": round(max(supply.gap, supply.travel) * 60),
                "travel_s": round(supply.travel * 60),
                "meter": int(supply.meter),
                "master": int(supply.master_valve),
            }
        )
        for supply in prop.supplies.values()
    ]
    slowest = min([zone.flow_ml_min for zone in zones])
    rows = [
        _row(season, months, et0_mm, slowest)
        for season, months in zip(prop.seasons, season_days(prop), strict=True)
    ]
    return Plan(_hub(prop), supplies, zones, rows, _bans(prop))


def _hub(prop: Property) -> HubPart:
    rain, frost, quiet, battery = (
        prop.lockouts.rain,
        prop.lockouts.frost,
        prop.lockouts.quiet,
        prop.lockouts.battery,
    )
    values = rule(prop.site.timezone)
    values.update(
        open_max=min(prop.hub.open_at_once, len(prop.supplies)),
        poll_s=round(prop.hub.poll * 60),
        watch_s=round(prop.hub.watch * 60),
        frost=int(frost.thermometer),
        frost_on_mc=round(frost.below * 1000),
        frost_off_mc=round(frost.above * 1000),
        frost_hold_s=round(frost.hold * 60),
        rain_kind=_RAIN_KINDS[rain.sensor],
        rain_skip_um=round(rain.skip * 1000),
        rain_cap_um=round(rain.most * 1000),
        drain_floor_um=round(rain.drain_floor * 1000),
        lock_floor_um=round(rain.lock_floor * 1000),
        dry_after_s=round(rain.drying_time * 60),
        weekdays=sum([1 << WEEKDAYS.index(day) for day in quiet.allowed_weekdays]),
        dates=_DATES[quiet.allowed_dates],
        battery=int(battery is not None),
        battery_open_mv=round(battery.open_above * 1000) if battery else 0,
        battery_reserve_mv=round(battery.reserve * 1000) if battery else 0,
        trim_step_pct=prop.trim.step,
        trim_least_pct=prop.trim.least,
        trim_most_pct=prop.trim.most,
        trim_gap_days=prop.trim.gap_days,
        auto_trim=_AUTO[prop.trim.auto],
        rewet_pct=prop.rewet.most,
        rewet_um=round(prop.rewet.depth * 1000),
        rewet_days=prop.rewet.days,
        rewet_hold_days=prop.rewet.after_hold_days,
    )
    return HubPart(values)


def _zone_values(prop: Property, zone: Zone) -> dict[str, int]:
    texture = (zone.soil or prop.soil).hydraulics

    def ppt(given_pct: float | None, default_ppt: int) -> int:
        return default_ppt if given_pct is None else round(10 * given_pct)

    wet, off, dry = [
        round(1000 * float(texture.water_content(suction_cm)))
        for suction_cm in (WET_CM, WET_OFF_CM, DRY_CM)
    ]
    wet_ppt = ppt(zone.wet_limit, wet)
    return {
        "share_pct": round(zone.share),
        "rest_s": round(zone.rest * 60),
        "cap_s": round(zone.cap * 60),
        "longest_s": round(zone.longest_run * 60),
        "flow_ml_min": round(zone.flow_l_h * 1000 / 60),
        "rate_um_h": round(1000 * zone.flow_l_h / (zone.length * zone.width)),
        "exposure_pct": round(100 * zone.exposure),
        "demand_pct": round(100 * zone.coefficient),
        "held": int(zone.valve == "held"),
        "probe": int(zone.probe),
        "wet_ppt": wet_ppt,
        "wet_off_ppt": ppt(zone.wet_release, wet_ppt - (wet - off)),
        "dry_ppt": ppt(zone.dry_limit, dry),
    }


def _row(
    season: Season, months: list[int], et0_mm: Sequence[float], slowest_ml_min: int
) -> RowPart:
    demand_mm = season.demand
    if demand_mm is None:
        demand_mm = sum([et0_mm[month - 1] for month in months]) / max(1, len(months))
    run_s = round((season.minutes or 0) * 60)
    run_ml = round((season.litres or 0) * 1000)
    if run_ml:
        needed_s = run_ml * 60 / max(1, slowest_ml_min)
        run_s = min(RUN_MAX_S, ceil(needed_s * LITRES_BOUND))
    first, last = season.window or (0, 0)
    values = {
        "month": season.begins[0],
        "day": season.begins[1],
        "cycles": season.count,
        "run_s": run_s,
        "run_ml": run_ml,
        "demand_um": round(1000 * demand_mm),
        "start_min": first,
        "length_min": (last - first) % 1440 or 1440 if season.window else 0,
    }
    return RowPart(values | {"starts_min": season.starts or ()})


def _bans(prop: Property) -> list[BanPart]:
    quiet = prop.lockouts.quiet
    bans = [
        BanPart({"kind": plans.BAN_HOURS, "first": first, "last": last})
        for first, last in quiet.banned_hours
    ]
    for first_day, last_day in quiet.banned_dates:
        first, last = [month * 32 + day for month, day in (first_day, last_day)]
        bans.append(BanPart({"kind": plans.BAN_DATES, "first": first, "last": last}))
    return bans


def hose_of(zone: Zone) -> hoses.Hose:
    """The hose of a zone, as the simulator takes it, by its rating or the owner's bucket test.

    Raises: ValueError for more water than such a hose could pass.
    """
    hose = hoses.Hose(
        length_m=zone.length,
        flow_l_h_m=zone.flow_l_h / zone.length,
        rated_kpa=zone.hose.pressure,
        exponent=hoses.EXPONENTS[zone.hose.kind],
        diameter_mm=zone.hose.diameter,
        rise_m=zone.rise,
    )
    if zone.hose.bucket is not None:
        bucket = zone.hose.bucket
        hose = hoses.calibrated(hose, bucket.litres, bucket.time, hose.rated_kpa)
    return hose if zone.hose.years is None else hoses.aged(hose, zone.hose.years)


def spigot_of(prop: Property, zone: Zone) -> hoses.Spigot:
    """What feeds a zone's hose; a supply that nobody measured gives enough at its rating."""
    supply = prop.supplies[zone.supply]
    still_kpa = supply.pressure or zone.hose.pressure
    return hoses.Spigot(still_kpa, supply.flow or inf, restrictor_mm=zone.hose.restrictor)


def _strip(prop: Property, name: str, zone: Zone) -> Strip:
    hose = hose_of(zone)
    found = hoses.fed(hose, spigot_of(prop, zone))
    return Strip(
        name=name,
        supply=list(prop.supplies).index(zone.supply),
        length_m=zone.length,
        width_m=zone.width,
        flow_l_h=found.flow_l_h,
        evenness=found.evenness,
        hose_l=hose.volume_l,
        drain_l_h=hoses.drain_l_h(hose),
        coefficient=zone.coefficient,
        exposure=zone.exposure,
        texture=(zone.soil or prop.soil).hydraulics,
        hose_years=zone.hose.years,
        slab_m=None if prop.site.foundation == "basement" else zone.slab_distance,
        probe=zone.probe,
    )


def _zones_fit(prop: Property, plan: Plan) -> Iterator[Mistake]:
    """Zones that want more than their supply or the plan's numbers can give."""
    units = UNITS[prop.site.units]
    most = {name: high for name, (_, high) in RANGES[ZonePart].items()}
    for part, (name, zone) in zip(plan.zones, prop.zones.items(), strict=True):
        where = ("zones", name)
        gives_ml_min = plan.supplies[part.supply].flow_ml_min or most["flow_ml_min"]
        try:
            hose_of(zone)
        except ValueError:  # a rule keeps the test's figures above 0: the flow is too much
            flow = units.shown(zone.flow_l_h, "hose flow")
            at = units.shown(zone.hose.pressure, "pressure")
            found = f"a test in which {flow} is more than the hose passes at {at}"
            yield Mistake((*where, "hose", "bucket"), found, "what was measured")
            continue
        if part.flow_ml_min > gives_ml_min:
            length = units.shown(zone.length, "length")
            wants = units.shown(zone.flow_l_h / 60, "supply flow")
            found = f"{length} of hose that wants {wants}"
            gives = units.shown(gives_ml_min / 1000, "supply flow")
            allowed = f"at most what the supply gives, {gives}"
            yield Mistake((*where, "length"), found, allowed)
        if part.exposure_pct > most["exposure_pct"]:
            roof = units.shown(zone.downspout_roof, "area")
            found = f"{roof} onto a strip of {units.shown(zone.length * zone.width, 'area')}"
            yield Mistake((*where, "downspout_roof"), found, "at most 49 times the strip")
        if part.probe and not part.dry_ppt < part.wet_off_ppt <= part.wet_ppt:
            dry, off, wet = part.dry_ppt / 10, part.wet_off_ppt / 10, part.wet_ppt / 10
            found = f"{dry:.1f}, {off:.1f}, {wet:.1f} % for dry_limit, wet_release, wet_limit"
            yield Mistake((*where, "probe"), found, "dry_limit < wet_release <= wet_limit")


def _seasons_fit(prop: Property, plan: Plan) -> Iterator[Mistake]:
    """Seasons whose runs do not fit their day, at most one mistake each, and rests that do not."""
    rested: set[str] = set()
    for index, season in enumerate(prop.seasons):
        if not season.count:
            continue
        mistake = (
            _litres_unmetered(prop, plan, index)
            or _run_wrong(prop, plan, index)
            or _cycles_crowded(prop, plan, index)
        )
        if mistake is not None:
            yield mistake
            continue
        step_min = min([end - start for start, end in _spacing_min(plan, index)])
        for part in plan.zones:
            needed_min = (run_s(plan, index, part) + part.rest_s) / 60
            if part.name not in rested and needed_min > step_min:
                rested.add(part.name)
                found = f"{part.rest_s / 60:g} min"
                most_min = max(0.0, step_min - run_s(plan, index, part) / 60)
                allowed = (
                    f"at most {most_min:.4g} min: "
                    f"{_season(prop, index)} begins a cycle every {step_min:g} min"
                )
                yield Mistake(("zones", part.name, "rest"), found, allowed)


def run_s(plan: Plan, index: int, zone: ZonePart) -> float:
    """Seconds that a zone's run is expected to take in a season, at trim 100 %."""
    row = plan.rows[index]
    if row.run_ml:
        return row.run_ml * 60 / max(1, zone.flow_ml_min) * zone.share_pct / 100
    return row.run_s * zone.share_pct / 100


def _season(prop: Property, index: int) -> str:
    """A season by its first day: a proposal's stands on no line of the file."""
    return "the season from {:02}-{:02}".format(*prop.seasons[index].begins)


def _asked(prop: Property, index: int) -> tuple[str, str]:
    """The key that says how much a season gives, and its value in words."""
    season = prop.seasons[index]
    if season.litres is not None:
        return "litres", UNITS[prop.site.units].shown(season.litres, "volume", ".4g")
    return "minutes", "%g min" % (season.minutes or 0)


def _litres_unmetered(prop: Property, plan: Plan, index: int) -> Mistake | None:
    if prop.seasons[index].litres is None:
        return None
    for zone in prop.zones.values():
        if not prop.supplies[zone.supply].meter:
            found = _asked(prop, index)[1]
            allowed = f"minutes, since supplies.{zone.supply} has no meter"
            return Mistake(("seasons", index, "litres"), found, allowed)
    return None


def _run_wrong(prop: Property, plan: Plan, index: int) -> Mistake | None:
    """A run too short or too long for one of the zones, or a day past its cap."""
    key, asked = _asked(prop, index)
    cycles = plan.rows[index].cycles
    for zone in plan.zones:
        one_s = run_s(plan, index, zone)
        day_s = one_s * cycles
        if one_s < RUN_LEAST_S:
            took = f"a run in zones.{zone.name} takes {one_s:.3g} s"
            allowed = f"at least {RUN_LEAST_S} s, for the hose to fill"
        elif one_s > zone.longest_s:
            took = f"a run in zones.{zone.name} takes {one_s / 60:.4g} min"
            allowed = f"at most its longest_run, {zone.longest_s / 60:g} min"
        elif day_s > zone.cap_s:
            took = f"{cycles} cycles give zones.{zone.name} {day_s / 60:.4g} min a day"
            allowed = f"at most its cap, {zone.cap_s / 60:g} min a day"
        else:
            continue
        return Mistake(("seasons", index, key), f"{asked}: {took}", allowed)
    return None


def _cycles_crowded(prop: Property, plan: Plan, index: int) -> Mistake | None:
    """A cycle whose runs, one after another, do not end before the next cycle."""
    row, count = plan.rows[index], len(plan.rows)
    last_min = row.start_min_of(row.cycles - 1) - 1440
    for other in (index, (index + 1) % count):
        if plan.rows[other].cycles and last_min >= plan.rows[other].start_min_of(0):
            first_min = plan.rows[other].start_min_of(0)
            found = f"a last cycle at {clock(last_min)} of the next day"
            allowed = f"one before {clock(first_min)}, that day's first ({_season(prop, other)})"
            return Mistake(("seasons", index, "window"), found, allowed)
    open_min = min([end - start for start, end in slots_min(plan, index)])
    needed_min = cycle_min(plan, index)
    if needed_min <= open_min:
        return None
    key, asked = _asked(prop, index)
    found = f"{asked}: one cycle of all zones, with gaps, takes {needed_min:.4g} min"
    allowed = f"at most {open_min:g} min, until the next cycle or the end of the window"
    return Mistake(("seasons", index, key), found, allowed)


def clock(minute: int) -> str:
    """Return a minute of the day, or of the next one, as "HH:MM"."""
    return f"{minute // 60 % 24:02}:{minute % 60:02}"


def cycle_min(plan: Plan, index: int, trim_pct: int = 100) -> float:
    """Minutes one cycle of all zones takes at most, gaps included.

    A supply's zones run one after another; supplies run beside each other as far as `open_max`
    allows, each taken as a whole by the place that is free first.
    """
    row = plan.rows[index]
    places_s = [0.0] * plan.hub.open_max
    for number, supply in enumerate(plan.supplies):
        total_s = 0.0
        for zone in plan.zones:
            if zone.supply == number:
                one_s = run_s(plan, index, zone) * (LITRES_BOUND if row.run_ml else 1)
                total_s += min(zone.longest_s, one_s * trim_pct / 100) + supply.gap_s
        places_s.sort()
        places_s[0] += total_s
    return max(places_s) / 60


def _spacing_min(plan: Plan, index: int) -> Iterator[tuple[int, int]]:
    """Each cycle's start and the next cycle's in the same season, in minutes from midnight.

    On the one day a season gives way to the next, runs that do not fit are left out by the hub.
    """
    row = plan.rows[index]
    starts = [row.start_min_of(cycle) for cycle in range(row.cycles)]
    yield from pairwise([*starts, starts[0] + 1440])


def slots_min(plan: Plan, index: int) -> Iterator[tuple[int, int]]:
    """The time each cycle has, in minutes from the day's midnight: until the next, or the end."""
    for cycle, (first, last) in enumerate(_spacing_min(plan, index)):
        yield first, min(plan.rows[index].end_min_of(cycle), last)


def mean_et0_mm(weather: "Weather", latitude_deg: float) -> list[float]:
    """Return the mean ET0 of a record in mm a day for each month, January first.

    A month the record does not have is guessed from latitude.
    """
    found = guessed_et0_mm(latitude_deg)
    days = [weather.first_day + timedelta(days=day) for day in range(weather.days)]
    for month in range(1, 13):
        values = [float(weather.et0_mm[i]) for i, day in enumerate(days) if day.month == month]
        if values:
            found[month - 1] = sum(values) / len(values)
    return found
