"""From a property to what runs: the hub's plan, and the house the simulator takes."""

from collections.abc import Sequence
from math import ceil

from evenclay.controller import plan as plans
from evenclay.controller.limits import RUN_MAX_S
from evenclay.controller.plan import (
    BanPart,
    HubPart,
    Plan,
    PlanError,
    RowPart,
    SupplyPart,
    ZonePart,
)
from evenclay.sim.house.house import House, Owner
from evenclay.tools.property.conflicts import (
    name_mistakes,
    season_mistakes,
    season_order_mistakes,
    tag_of,
    zone_mistakes,
)
from evenclay.tools.property.cycles import LITRES_BOUND
from evenclay.tools.property.demand import guessed_et0_mm, season_days
from evenclay.tools.property.file.mistakes import Mistake
from evenclay.tools.property.file.place import Zone
from evenclay.tools.property.file.schedule import WEEKDAYS, Season
from evenclay.tools.property.piping import strip_of
from evenclay.tools.property.plan_ranges import check_plan
from evenclay.tools.property.property import Property
from evenclay.tools.property.timezone import rule

# Suctions, in cm of water, that stand for "wet enough", a little drier, and "too dry".
WET_CM = 10**2.5
WET_OFF_CM = 10**2.6
DRY_CM = 10**3.2
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
    mistakes = list(name_mistakes(prop)) + list(season_order_mistakes(prop))
    if mistakes:
        raise prop.source.error(mistakes)
    plan = _plan(prop, et0)
    mistakes = list(zone_mistakes(prop, plan)) + list(season_mistakes(prop, plan))
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
        strips=tuple([strip_of(prop, name, zone) for name, zone in prop.zones.items()]),
        supplies=tuple(prop.supplies),
        water_price_m3=prop.water.price_m3,
        currency=prop.water.currency,
        owner=Owner(
            prop.owner.checks,
            WEEKDAYS.index(prop.owner.weekday),
            prop.owner.hour,
            prop.owner.misses,
            prop.owner.misjudges,
            prop.owner.check,
        ),
        footing_m=prop.site.footing,
        deep_pf=prop.soil.deep_suction,
        poured_month=prop.site.poured[1] if prop.site.poured else None,
    )


def trial_plan(prop: Property, et0_mm: Sequence[float]) -> tuple[Plan, list[Mistake]]:
    """Compile a plan on trial; also return what does not fit in its seasons.

    The property differs from one that was compiled before in no more than seasons, shares, trim,
    rain bank and limits of probes. A plan with mistakes must not be used.
    """
    plan = _plan(prop, et0_mm)
    return plan, list(season_mistakes(prop, plan))


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
        "probe": int(bool(zone.probe)),
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
