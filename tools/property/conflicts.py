"""Parts of a property that do not fit each other: each is a mistake, with its place in the file."""

from binascii import crc32
from collections.abc import Iterator

from evenclay.controller.limits import RUN_LEAST_S, SUPPLIES_MAX, ZONES_MAX
from evenclay.controller.plan import Plan, RowPart, ZonePart
from evenclay.sim.calendar import clock
from evenclay.sim.house.house import run_s
from evenclay.sim.units import UNITS
from evenclay.tools.property.cycles import cycle_min, slots_min, spacing_min
from evenclay.tools.property.file.estimate import Terms
from evenclay.tools.property.file.key_lines import KeyPath
from evenclay.tools.property.file.mistakes import Mistake
from evenclay.tools.property.piping import hose_of
from evenclay.tools.property.plan_ranges import RANGES
from evenclay.tools.property.property import Property


def tag_of(name: str) -> int:
    """Return a zone's stable number, 1 to 65535, from its name alone."""
    return crc32(name.encode()) & 0xFFFF or 1


def name_mistakes(prop: Property) -> Iterator[Mistake]:
    """Mistakes in the names of supplies and zones, and in how many of them there are."""
    for what, group, most in (
        ("supplies", list(prop.supplies), SUPPLIES_MAX),
        ("zones", list(prop.zones), ZONES_MAX),
    ):
        if not group:
            yield Mistake((what,), "none", f"1 to {most}")
        if len(group) > most:
            yield Mistake((what, group[most]), f"one of {len(group)} {what}", f"1 to {most}")
    known = ", ".join([f'"{supply}"' for supply in prop.supplies]) or "a supply"
    for name in prop.outline.spigots if prop.outline is not None else ():
        if name not in prop.supplies:
            yield Mistake(("outline", "spigots", name), "no such supply", known)
    tags: dict[int, str] = {}
    typed: dict[str, str] = {}
    for name, zone in prop.zones.items():
        if zone.supply not in prop.supplies:
            yield Mistake(("zones", name, "supply"), f'"{zone.supply}"', known)
        other = tags.setdefault(tag_of(name), name)
        if other != name:
            found = f"a name with the same number as zones.{other}"
            yield Mistake(("zones", name), found, "another name for one of the two")
        other = typed.setdefault(" ".join(name.lower().split()), name)
        if other != name:
            found = f"a name that is typed on the console as zones.{other} is"
            yield Mistake(("zones", name), found, "another name for one of the two")


def estimate_mistakes(prop: Property) -> Iterator[Mistake]:
    """Numbers of the estimate that are missing, and zones heard through no probe."""
    for name, zone in prop.zones.items():
        heard = prop.zones.get(zone.sensor or name)
        if zone.sensor is not None and (heard is None or not heard.probe):
            known = [f'"{other}"' for other, one in prop.zones.items() if one.probe]
            allowed = " or ".join(known) or "none, since no zone has a probe"
            yield Mistake(("zones", name, "sensor"), f'"{zone.sensor}"', allowed)
    parts: dict[KeyPath, Terms | None] = {("estimate", "yard"): prop.estimate.yard}
    for name, zone in prop.zones.items():
        parts["zones", name, "ground"] = zone.ground
    asked = prop.estimate.estimate
    if asked == "off" or (asked is None and not any(parts.values())):
        return
    for path, part in parts.items():
        if part is None:
            allowed = 'a table with numbers as `evenclay propose` writes them, or estimate = "off"'
            yield Mistake(path, f"no {path[-1]}", allowed)


def season_order_mistakes(prop: Property) -> Iterator[Mistake]:
    """A mistake where there is no season, where there are too many, or two begin on one day."""
    count = len(prop.seasons)
    if not count:
        yield Mistake(("seasons",), "none", f"1 to {RowPart.MOST}")
    if count > RowPart.MOST:
        yield Mistake(("seasons", RowPart.MOST), f"one of {count} seasons", f"1 to {RowPart.MOST}")
    for index in range(1, count):
        before, here = prop.seasons[index - 1].begins, prop.seasons[index].begins
        if here == before:
            found = f'"{here[0]:02}-{here[1]:02}" for two seasons'
            yield Mistake(("seasons", index, "from"), found, "a day of its own for each")


def zone_mistakes(prop: Property, plan: Plan) -> Iterator[Mistake]:
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
        if part.probe and part.wet_off_ppt > part.wet_ppt:
            found = f"{part.wet_off_ppt / 10:.1f} %"
            allowed = f"at most wet_limit, {part.wet_ppt / 10:.1f} %"
            yield Mistake((*where, "wet_release"), found, allowed)


def season_mistakes(prop: Property, plan: Plan) -> Iterator[Mistake]:
    """Seasons whose runs do not fit their day, at most one mistake each, and rests that do not."""
    rested: set[str] = set()
    for index, season in enumerate(prop.seasons):
        if not season.count:
            continue
        mistake = (
            _litres_unmetered(prop, plan, index)
            or _run_too_short_or_long(prop, plan, index)
            or _cycles_crowded(prop, plan, index)
        )
        if mistake is not None:
            yield mistake
            continue
        step_min = min([end - start for start, end in spacing_min(plan, index)])
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


def _season(prop: Property, index: int) -> str:
    """Name a season by its first day, since a proposed one stands on no line of the file."""
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


def _run_too_short_or_long(prop: Property, plan: Plan, index: int) -> Mistake | None:
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
