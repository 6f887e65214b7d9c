"""Answers that nobody has to give: what is usual, and what a file says already."""

from itertools import takewhile
from math import inf

from evenclay.sim.units import UNITS
from evenclay.tools.property.file.place import Hose, Zone
from evenclay.tools.property.file.schedule import Water
from evenclay.tools.property.outline.line import open_m
from evenclay.tools.property.outline.table import Outline
from evenclay.tools.property.outline.walls import Shape
from evenclay.tools.property.property import Property
from evenclay.tools.start.answers import (
    LABELS,
    OLD,
    RECTANGLE,
    found_place,
    outline_of,
    price_of,
)
from evenclay.tools.start.questions import SIDES
from evenclay.tools.start.reading import Texts
from evenclay.tools.start.seasons import AS_IT_IS

USUAL = {
    "moving": "no",
    "foundation": "slab",
    "built": OLD,
    "clay": "unknown",
    "spigots": "spigot",
    "outline": RECTANGLE,
    "first-side": "north",
    "spigot-places": "unknown",
    "paving": "none",
    **{f"{side}-cover": "bare" for side in SIDES},
    "hose": "porous",
    "spigot-flow": "unknown",
    "rain-sensor": "none",
    "thermometer": "no",
    "probes": "none",
    "weekdays": "any",
    "dates": "any",
    "banned-hours": "none",
    "water-price": "unknown",
    "new-seasons": "no",
}
HOUSE_IN, OUR_HOUSE = "House in ", "Our house"
OPPOSITE = {"south": "north", "west": "east"}
# Answers that follow another: where that one changes, they are usual again.
FOLLOWS = {
    "name": ("where",),
    "elevation": ("where",),
    "timezone": ("where",),
    "hose-flow": ("hose",),
    "hose-pressure": ("hose",),
    "spigot-places": ("outline",),
    "paving": ("outline",),
    **dict.fromkeys(SIDES, ("outline", "first-side", "paving")),
}


def usual(key: str, texts: Texts) -> str | None:
    """The answer where nobody gives one, after those before; None where somebody has to."""
    if key in USUAL:
        return USUAL[key]
    if key in SIDES and (table := outline_of(texts)) is not None:
        length_m = open_m(Outline.model_validate(table, context=texts["units"]).shape, key)
        return UNITS[texts["units"]].shown(length_m, "distance") if length_m >= 1 else "none"
    if key in OPPOSITE:
        return texts[OPPOSITE[key]]
    if key.endswith("-spigot"):
        return _spigot_near(key.partition("-")[0], texts)
    if key in ("hose-flow", "hose-pressure"):
        label = LABELS[texts["units"]].get(texts["hose"])
        return AS_IT_IS if label is None else label[key == "hose-pressure"]
    return _of_place(key, texts) if key not in ("where", *SIDES) else None


def _spigot_near(side: str, texts: Texts) -> str:
    """The spigot nearest to a side; the first, where nobody knows where they are."""
    names, table = texts["spigots"].split(", "), outline_of(texts)
    if table is None:
        return names[0]
    shape = Outline.model_validate(table, context=texts["units"]).shape
    known = [name for name in names if name in shape.spigots]
    return min(known, key=lambda name: _away_m(shape, name, side), default=names[0])


def _away_m(shape: Shape, spigot: str, side: str) -> float:
    """Metres around the house from a spigot to the nearest wall that faces a side."""
    place = shape.spigots[spigot]
    own = shape.wall(place.wall)
    ring = shape.ring(own.ring)
    at = ring.index(own)
    if own.side == side or side not in [wall.side for wall in ring]:
        return 0.0 if own.side == side else inf
    ways = []
    others = [*ring[at + 1 :], *ring[:at]]
    for first_m, walls in ((own.length_m - place.along_m, others), (place.along_m, others[::-1])):
        between = takewhile(lambda wall: wall.side != side, walls)
        ways.append(first_m + sum(wall.length_m for wall in between))
    return min(ways)


def _of_place(key: str, texts: Texts) -> str | None:
    place = found_place(texts["where"])
    if key == "units":
        return "us" if place.country == "US" else "metric"
    if key == "timezone":
        return place.timezone
    if key == "elevation":
        if place.elevation_m is None:
            return "unknown"
        return UNITS[texts["units"]].shown(place.elevation_m, "height")
    return (f"{HOUSE_IN}{place.called}" if place.called else OUR_HOUSE)[:60]


def named_by_owner(name: str) -> bool:
    """Whether a house has a name that no place gave it, so that it keeps it where it moves."""
    return name != OUR_HOUSE and not name.startswith(HOUSE_IN)


def zones_of(prop: Property) -> dict[str, list[str]]:
    """The zones of each side that has any."""
    found: dict[str, list[str]] = {}
    for name, zone in prop.zones.items():
        found.setdefault(zone.side, []).append(name)
    return found


def alone(prop: Property) -> list[str]:
    """Sides with one zone."""
    zones = zones_of(prop)
    return [side for side in SIDES if len(zones.get(side, ())) == 1]


def crowded(prop: Property) -> list[str]:
    """Sides with several zones, which the questions cannot tell apart."""
    zones = zones_of(prop)
    return [side for side in SIDES if len(zones.get(side, ())) > 1]


def now(prop: Property) -> dict[str, str]:
    """What a file answers already; a question that it does not answer is missing.

    Beside the questions' keys stand the bucket test of each zone that has one, as "north-test",
    the longest hose of each side with several, as "north-longest", and what water is priced by, as
    "per".
    """
    site, quiet = prop.site, prop.lockouts.quiet
    found = {
        "moving": "no",
        "units": site.units,
        "timezone": site.timezone,
        "name": site.name,
        "foundation": site.foundation or AS_IT_IS,
        "built": OLD if site.poured is None else "{}-{:02}".format(*site.poured),
        "clay": prop.soil.texture,
        "spigots": ", ".join(prop.supplies),
        "rain-sensor": prop.lockouts.rain.sensor,
        "thermometer": "yes" if prop.lockouts.frost.thermometer else "no",
        "weekdays": "any"
        if len(quiet.allowed_weekdays) == 7
        else ", ".join(quiet.allowed_weekdays),
        "dates": quiet.allowed_dates,
        "banned-hours": _hours(quiet.banned_hours),
        "water-price": "unknown",
        "per": prop.water.per,
        "new-seasons": "no",
    }
    found["elevation"] = "unknown"
    if site.elevation is not None:
        found["elevation"] = UNITS[site.units].shown(site.elevation, "height")
    found["where"] = f"{site.latitude:.4f}"
    if site.longitude is not None:
        found["where"] = f"{site.latitude:g}, {site.longitude:g}"
    if prop.water.price is not None:
        found["water-price"] = _price(prop.water, site.units)
    return found | _of_outline(prop) | _of_supplies(prop) | _of_sides(prop) | _of_hoses(prop)


def _price(water: Water, units: str) -> str:
    """The price of a file as an answer; a file may have more of them than an answer can say."""
    text = f"{water.currency}{water.price:g} per {water.per}"
    try:
        said = price_of(text, units) == (water.price, water.per, water.currency)
    except ValueError:
        said = False
    return text if said else AS_IT_IS


def _hours(hours: tuple[tuple[int, int], ...]) -> str:
    if not hours:
        return "none"
    return ", ".join("-".join(f"{m // 60:02}:{m % 60:02}" for m in ban) for ban in hours)


def _of_outline(prop: Property) -> dict[str, str]:
    """The outline, where it is told by its sides, and by distances along them."""
    outline, units = prop.outline, UNITS[prop.site.units]
    if outline is None:
        return {"outline": RECTANGLE}
    if outline.sides is None or outline.courtyards:
        return dict.fromkeys(("outline", "spigot-places", "paving"), AS_IT_IS)
    found = {"first-side": outline.first, "spigot-places": "unknown", "paving": "none"}
    sides = [f"{units.shown(m, 'length')} {turn}" for m, turn in outline.sides]
    found["outline"] = ", ".join(sides)
    places = [
        ""
        if spigot.along is None
        else f"{name} {spigot.side} {units.shown(spigot.along, 'length')}"
        for name, spigot in outline.spigots.items()
    ]
    if places:
        found["spigot-places"] = ", ".join(places) if all(places) else AS_IT_IS
    parts = [
        ""
        if isinstance(paving.begins, tuple) or isinstance(paving.ends, tuple)
        else f"{paving.side} {units.shown(paving.begins, 'length')} to "
        f"{units.shown(paving.ends, 'length')}"
        for paving in outline.paving
    ]
    if parts:
        found["paving"] = ", ".join(parts) if all(parts) else AS_IT_IS
    return found


def _of_supplies(prop: Property) -> dict[str, str]:
    flows = {supply.flow for supply in prop.supplies.values()}
    flow = flows.pop() if len(flows) == 1 else AS_IT_IS
    if isinstance(flow, float):
        flow = UNITS[prop.site.units].shown(flow, "supply flow")
    return {"spigot-flow": flow or "unknown"}


def _of_sides(prop: Property) -> dict[str, str]:
    units, found = UNITS[prop.site.units], {}
    first = next(iter(prop.supplies))
    probes = []
    for side in SIDES:
        zones = [zone for zone in prop.zones.values() if zone.side == side]
        length_m = sum(zone.length for zone in zones)
        found[side] = units.shown(length_m, "length") if zones else "none"
        cover = zones[0].cover if zones else "bare"
        found[f"{side}-cover"] = cover if isinstance(cover, str) else f"{cover:g}"
        found[f"{side}-spigot"] = zones[0].supply if zones else first
        probes += [side] if any(zone.probe for zone in zones) else []
        if len(zones) > 1:
            found[f"{side}-longest"] = units.shown(max(zone.length for zone in zones), "length")
    with_hose = [side for side in SIDES if found[side] != "none"]
    found["probes"] = ", ".join(probes) or "none"
    if probes == with_hose:
        found["probes"] = "all"
    return found


def _of_hoses(prop: Property) -> dict[str, str]:
    units, zones = UNITS[prop.site.units], list(prop.zones.values())
    tests = {
        f"{name}-test": bucket_text(zone.hose, prop.site.units)
        for name, zone in prop.zones.items()
        if zone.hose.bucket is not None
    }
    kinds = {zone.hose.kind for zone in zones}
    pressures = {units.shown(zone.hose.pressure, "pressure") for zone in zones}
    return {
        "hose": kinds.pop() if len(kinds) == 1 else AS_IT_IS,
        "hose-pressure": pressures.pop() if len(pressures) == 1 else AS_IT_IS,
        "hose-flow": _flow_of(zones, prop.site.units, alone(prop)),
        **tests,
    }


def _flow_of(zones: list[Zone], name: str, told: list[str]) -> str:
    """One label for all hoses, or one bucket test that the others' flow was taken from.

    told: the sides whose test is that of one hose.
    """
    units = UNITS[name]
    tested = [zone for zone in zones if zone.hose.bucket is not None]
    labels = {units.shown(zone.hose.flow, "emission") for zone in zones if zone.hose.flow}
    if len(tested) == 1 and len(labels) <= 1 and tested[0].side in told:
        return _test_of(tested[0], labels, name)
    return labels.pop() if len(labels) == 1 and not tested else AS_IT_IS


def _test_of(zone: Zone, labels: set[str], name: str) -> str:
    units, hose = UNITS[name], zone.hose
    if labels - {units.shown(zone.flow_l_h / zone.length, "emission")}:
        return AS_IT_IS
    return bucket_text(hose, name) + f", {zone.side}"


def bucket_text(hose: Hose, name: str) -> str:
    """A bucket test as an answer has it, without its side."""
    assert hose.bucket is not None
    volume = UNITS[name].shown(hose.bucket.litres, "volume", ".4g")
    return f"{volume} in {hose.bucket.time:g} min"
