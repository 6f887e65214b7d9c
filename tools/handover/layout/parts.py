"""What a layout takes: each piece that is laid, once, and what stands at each spigot, in order."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from evenclay.sim.units import UNITS, Units
from evenclay.tools.handover.layout.layout import Layout
from evenclay.tools.property.advice import POROUS_MOST_KPA
from evenclay.tools.property.property import Property

THREAD = {"metric": "G 3/4 thread", "us": "3/4 in hose thread"}
PIPE = {"metric": "16 mm inside", "us": "5/8 in inside"}  # `limits.LEAD_MM`
# From the spigot on, then what goes with it; a kind up to its first comma.
PART_ORDER = (
    "master valve",
    "flow meter",
    "splitter",
    "hub valve",
    "backflow device",
    "filter",
    "pressure regulator",
    "feed pipe",
    "end cap",
    "coupling for a link",
    "hose washer",
    "plain washer",
    "flow restrictor that stays in its hose",
)
SLEEVE_MM = 40.0  # bore of a sleeve for one pipe; common practice, no source
SLEEVE_MORE_MM = 15.0  # for each pipe more
BORE_OFF = 0.1  # sixteenths of an inch: what is nearer is called by its fraction
SERIES_WASHERS = 5  # valve, backflow device, filter, regulator, feed: one in each of their inlets


@dataclass(frozen=True)
class Item:
    """One thing that is laid. zones: whose it is. length_m: None for what has no length."""

    label: str
    kind: str
    size: str
    zones: tuple[str, ...]
    length_m: float | None = None


@dataclass(frozen=True)
class Part:
    """A kind of part with its size and how many. length_m: of all of them together."""

    kind: str
    size: str
    count: int
    length_m: float | None = None


def laid_items(layout: Layout) -> Iterator[Item]:
    """Every hose, feed, link, tee and sleeve of the drawing, once."""
    prop = layout.prop
    for laid in layout.laid:
        hose = prop.zones[laid.like].hose
        size = _bore(UNITS[prop.site.units], hose.diameter)
        for piece in laid.hoses:
            yield Item(piece.label, f"{hose.kind} hose", size, (laid.zone,), piece.length_m)
    for laid in layout.laid:
        pipe = PIPE[prop.site.units]
        yield Item(laid.feed.label, "feed pipe", pipe, (laid.zone,), laid.feed.length_m)
        for piece in laid.links:
            yield Item(piece.label, "link pipe", pipe, (laid.zone,), piece.length_m)
    for laid in layout.laid:
        if laid.tee:
            yield Item(laid.tee.label, "tee", THREAD[prop.site.units], (laid.zone,))
    for sleeve in layout.sleeves:
        bore_mm = SLEEVE_MM + SLEEVE_MORE_MM * (sleeve.pipes - 1)
        size = _bore(UNITS[prop.site.units], bore_mm, ".2g")
        yield Item(sleeve.label, "sleeve", size, sleeve.zones, sleeve.length_m)


def _bore(units: Units, bore_mm: float, spec: str = "") -> str:
    """A bore as the trade has it: in the US in halves to sixteenths of an inch where it is one."""
    number, unit = units.number(bore_mm, "bore", spec), units.unit("bore")
    sixteenths = 16 * units.of(bore_mm, "bore")
    if units.name == "us" and sixteenths < 16 and abs(sixteenths - round(sixteenths)) < BORE_OFF:
        number = str(Fraction(round(sixteenths), 16))
    return f"{number} {unit} inside"


def stack(prop: Property, supply: str, zones: Sequence[str]) -> Iterator[Part]:
    """What stands at a spigot up to the hoses, in the order in which it screws together.

    Everything up to a shut valve stands at mains pressure. A backflow device behind each valve is
    under pressure only while water runs (ASSE 1011 and 1052 allow twelve hours).
    """
    units, gives, count = UNITS[prop.site.units], prop.supplies[supply], len(zones)
    thread = THREAD[units.name]
    if gives.master_valve:
        yield Part("master valve", f"{thread}, metal", 1)
    if gives.meter:
        yield Part("flow meter", f"{thread}, metal", 1)
    if count > 1:
        yield Part(f"splitter, {count} outlets", f"{thread}, metal", 1)
    for kind in dict.fromkeys([prop.zones[name].valve for name in zones]):
        among = [name for name in zones if prop.zones[name].valve == kind]
        words = "latching" if kind == "latching" else "held open by current"
        yield Part(f"hub valve, {words}", thread, len(among))
    yield Part("backflow device, for a hose", thread, count)
    yield Part("filter", thread, count)
    pressures = [units.shown(prop.zones[name].hose.pressure, "pressure") for name in zones]
    for pressure in dict.fromkeys(pressures):
        yield Part("pressure regulator", f"{pressure}, {thread}", pressures.count(pressure))
    yield Part("feed pipe, then the hose of a zone", PIPE[units.name], count)


def fittings(layout: Layout, supply: str) -> Iterator[Part]:
    """Fittings and washers from the spigot to the ends of its hoses."""
    prop, units = layout.prop, UNITS[layout.prop.site.units]
    thread = THREAD[units.name]
    runs = [laid for laid in layout.laid if laid.run.supply == supply]
    gives = prop.supplies[supply]
    ends = sum([2 if laid.tee else 1 for laid in runs])
    links = sum([len(laid.links) for laid in runs])
    inlets = sum([len(laid.hoses) for laid in runs])
    yield Part("end cap", thread, ends)
    if links:
        yield Part("coupling for a link", thread, 2 * links)
    before = int(gives.master_valve) + int(gives.meter) + (len(runs) > 1)
    tees = sum([laid.tee is not None for laid in runs])
    joints = before + SERIES_WASHERS * len(runs) + tees + links + ends
    yield Part("hose washer", thread, joints)
    low = [laid for laid in runs if plain_washers(prop, laid.like)]
    if low:
        count = sum([len(laid.hoses) for laid in low])
        yield Part("plain washer, for the restrictor of a hose", thread, count)
    if len(low) < len(runs):
        rest = inlets - sum([len(laid.hoses) for laid in low])
        yield Part("flow restrictor that stays in its hose", thread, rest)


def plain_washers(prop: Property, zone: str) -> bool:
    """Whether a zone's hoses get plain washers instead of their flow restrictors.

    Only behind a low-pressure regulator: without one such a hose would burst.
    """
    hose = prop.zones[zone].hose
    return hose.pressure <= POROUS_MOST_KPA and hose.restrictor is None
