"""From a property to what runs: the hub's plan, and the house the simulator takes."""

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
from evenclay.sim.ground.feel import borders_pf
from evenclay.sim.ground.retention import plan_line
from evenclay.sim.house.house import House, Owner
from evenclay.tools.property.conflicts import (
    estimate_mistakes,
    name_mistakes,
    season_mistakes,
    season_order_mistakes,
    tag_of,
    zone_mistakes,
)
from evenclay.tools.property.cycles import LITRES_BOUND
from evenclay.tools.property.demand import Means, guessed, season_days, sun_um
from evenclay.tools.property.file.estimate import FULL_PF, Terms
from evenclay.tools.property.file.mistakes import Mistake
from evenclay.tools.property.file.place import Zone
from evenclay.tools.property.file.schedule import WEEKDAYS, Season
from evenclay.tools.property.piping import strip_of
from evenclay.tools.property.plan_ranges import check_plan
from evenclay.tools.property.property import Property
from evenclay.tools.property.timezone import rule

WET_PF, WET_OFF_PF = 2.5, 2.6  # where a probe says that it is wet enough, and not any more
# How far a finding moves what the hub reckons, and how fast it learns what a strip takes.
# Chosen on grounds that are searched, at two places: see sim/TRIALS.md.
SAMPLE_GAIN_PCT, SENSOR_GAIN_PCT = 20, 50
LEARN_PPT, WHOLE_MPF = 10, 100
# What may be read too wet for good: two standard errors of a suction sensor, which is also how far
# the middle ground's levels are off, and of a capacitive probe (sim/ground/uncertain.py).
LASTING_PF, LASTING_PPT = 0.4, 80
_RAIN_KINDS = {"none": plans.NO_RAIN_SENSOR, "gauge": plans.GAUGE, "contact": plans.CONTACT}
_DATES = {"any": plans.ANY_DATE, "odd": plans.ODD_DATES, "even": plans.EVEN_DATES}


def compile_house(prop: Property, means: Means | None = None) -> House:
    """Return the house of a property; its plan is packed, so its `crc` is known.

    means: of the climate, for seasons that name no demand or no rain; None: a rough guess from
    latitude, and no rain. `cautions` is left empty.

    Raises:
        PropertyError: the parts of the property do not fit each other, or no plan can be made.
    """
    mistakes = [
        mistake
        for look in (name_mistakes, season_order_mistakes, estimate_mistakes)
        for mistake in look(prop)
    ]
    if mistakes:
        raise prop.source.error(mistakes)
    plan = _plan(prop, guessed(prop.site.latitude) if means is None else means)
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
        relief_pf=prop.estimate.relief if prop.reckons else None,
        target_pf=_targets_pf(prop),
        verdict=prop.estimate.verdict,
    )


def _targets_pf(prop: Property) -> tuple[float, ...] | None:
    """What each zone is kept at by what the hub reckons; None where it does not."""
    if not prop.reckons:
        return None
    return tuple([zone.ground.target_pf for zone in prop.zones.values() if zone.ground])


def _plan(prop: Property, means: Means) -> Plan:
    names = list(prop.supplies)
    zones = []
    for name, zone in prop.zones.items():
        values = _zone_values(prop, zone)
        values["tag"] = tag_of(name)
        values["supply"] = names.index(zone.supply)
        values["sensor"] = _sensor(prop, name, zone)
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
        _row(season, months, means, slowest)
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
        dry_after_s=round(rain.drying_time * 60),
        weekdays=sum([1 << WEEKDAYS.index(day) for day in quiet.allowed_weekdays]),
        dates=_DATES[quiet.allowed_dates],
        battery=int(battery is not None),
        battery_open_mv=round(battery.open_above * 1000) if battery else 0,
        battery_reserve_mv=round(battery.reserve * 1000) if battery else 0,
        **_estimate(prop),
    )
    return HubPart(values | {"sun_um": sun_um(prop.site.latitude)})


def _estimate(prop: Property) -> dict[str, int]:
    """The hub's own part of the estimate; the yard's terms are 0 where it does not reckon."""
    estimate = prop.estimate
    yard = estimate.yard if prop.reckons else None
    return {
        "estimate": int(prop.reckons),
        "dose_um": round(1000 * estimate.dose),
        "opening_um": round(1000 * estimate.opening),
        "yard_lack_um": _lack_um(yard.level, yard) if yard else 0,
        "sample_gain_pct": SAMPLE_GAIN_PCT,
        "sensor_gain_pct": SENSOR_GAIN_PCT,
        "learn_ppt": LEARN_PPT,
        "whole_mpf": WHOLE_MPF,
        **{f"yard_{name}": value for name, value in _terms(yard).items()},
    }


def _terms(store: Terms | None) -> dict[str, int]:
    """A store's terms as the plan has them; all 0 where there is none."""
    if store is None:
        names = ("demand_ppt", "top_um", "top_ppt", "freely_um", "end_um", "hold_um")
        return dict.fromkeys(names, 0)
    return {
        "demand_ppt": round(1000 * store.demand),
        "top_um": round(1000 * store.top),
        "top_ppt": round(1000 * store.top_share),
        "freely_um": _lack_um(store.freely, store),
        "end_um": _lack_um(store.end, store),
        "hold_um": round(1000 * store.hold),
    }


def _lack_um(suction_pf: float, store: Terms) -> int:
    """What a store lacks at a pF."""
    return round(1000 * store.hold * max(suction_pf - FULL_PF, 0))


def _sensor(prop: Property, name: str, zone: Zone) -> int:
    """1 + the place of the zone whose probe speaks for a zone; 0: none does."""
    heard = name if zone.probe else zone.sensor
    return 0 if heard is None else 1 + list(prop.zones).index(heard)


def _zone_values(prop: Property, zone: Zone) -> dict[str, int]:
    line = plan_line((zone.soil or prop.soil).hydraulics)

    def ppt(given_pct: float | None, default_ppt: int) -> int:
        return default_ppt if given_pct is None else round(10 * given_pct)

    wet, off = [round(float(line.ppt(suction_pf))) for suction_pf in (WET_PF, WET_OFF_PF)]
    wet_ppt = ppt(zone.wet_limit, wet)
    return {
        **_ground_values(prop, zone),
        "share_pct": round(zone.share),
        "rest_s": round(zone.rest * 60),
        "cap_s": round(zone.cap * 60),
        "longest_s": round(zone.longest_run * 60),
        "flow_ml_min": round(zone.flow_l_h * 1000 / 60),
        "rate_um_h": round(1000 * zone.flow_l_h / (zone.length * zone.width)),
        "exposure_pct": round(100 * zone.exposure),
        "held": int(zone.valve == "held"),
        "probe": int(bool(zone.probe)),
        "wet_ppt": wet_ppt,
        "wet_off_ppt": ppt(zone.wet_release, wet_ppt - (wet - off)),
        "full_ppt": round(line.full_ppt),
        "per_pf_ppt": round(line.per_pf_ppt),
        "error_mpf": _error_mpf(zone, line.per_pf_ppt),
    }


def _error_mpf(zone: Zone, per_pf_ppt: float) -> int:
    """What a zone's probe, or a sample where it has none, may read too wet for good."""
    capacitive = zone.probe and zone.probe != "suction"
    return round(1000.0 * (LASTING_PPT / per_pf_ppt if capacitive else LASTING_PF))


def _ground_values(prop: Property, zone: Zone) -> dict[str, int]:
    """What the hub reckons a zone's ground by; all 0 where it does not."""
    ground = zone.ground if prop.reckons else None
    classes = [f"class{number}_um" for number in range(1, 5)]
    if ground is None:
        names = ("beside_ppm", "begin_um", "target_um", *classes)
        return _terms(None) | dict.fromkeys(names, 0)
    texture = (zone.soil or prop.soil).hydraulics
    borders = [_lack_um(border_pf, ground) for border_pf in borders_pf(texture)]
    return {
        **_terms(ground),
        "beside_ppm": round(1_000_000 * ground.beside),
        "begin_um": _lack_um(
            ground.target_pf, ground
        ),  # nothing is given before it is known to dry
        "target_um": _lack_um(ground.target_pf, ground),
        **dict(zip(classes, borders, strict=True)),
    }


def _row(season: Season, months: list[int], means: Means, slowest_ml_min: int) -> RowPart:
    demand_mm, rain_mm = [
        sum([by_month[month - 1] for month in months]) / max(1, len(months))
        if given_mm is None
        else given_mm
        for given_mm, by_month in ((season.demand, means.et0_mm), (season.rain, means.rain_mm))
    ]
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
        "rain_um": round(1000 * rain_mm),
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


def trial_plan(prop: Property, means: Means) -> tuple[Plan, list[Mistake]]:
    """Compile a plan on trial; also return what does not fit in its zones and seasons.

    The property differs from one that was compiled before in no more than seasons and shares. A
    plan with mistakes must not be used.
    """
    plan = _plan(prop, means)
    return plan, list(zone_mistakes(prop, plan)) + list(season_mistakes(prop, plan))
