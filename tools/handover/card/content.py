"""What stands on a card, in words and in the house's units and clock."""

from calendar import day_name
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from evenclay.controller.civil import date_of, day_of
from evenclay.controller.plan import Plan
from evenclay.sim.house.hands import ROD, SAMPLE_M
from evenclay.sim.house.house import House, run_s
from evenclay.sim.report.sentences import NBSP
from evenclay.sim.units import UNITS, Units
from evenclay.tools.handover.layout.layout import Layout
from evenclay.tools.handover.layout.parts import PART_ORDER, THREAD, fittings, laid_items, stack
from evenclay.tools.property.demand import YEAR
from evenclay.tools.property.file.schedule import WEEKDAYS, Season
from evenclay.tools.property.property import Property

# After USDA-NRCS, Estimating Soil Moisture by Feel and Appearance (1998), the words our own.
SAMPLES = (
    ("hard clods that hardly crumble", "very dry"),
    ("a weak ball, the hand stays clean", "dry"),
    ("a smooth ball, finger marks stay", "moist"),
    ("a ball that stains, pulls to a ribbon", "well moist"),
    ("soft and sticky, water shows", "wet"),
)
BLADES = (
    ("stops short", "the top is dry", "dry"),
    ("goes in with little effort", "right", "firm"),
    ("comes out muddy", "the top is wet", "wet"),
)


@dataclass(frozen=True)
class ZoneRow:
    """One zone. number: its place, for colour and pattern."""

    number: int
    name: str
    side: str
    spigot: str
    hose: str
    gives: str


@dataclass(frozen=True)
class SeasonRow:
    """One season. minutes: of a cycle for each zone; none while it is closed. together: the same,
    where zones with the same minutes are told together."""

    days: str
    starts: str
    minutes: tuple[str, ...]
    together: str


@dataclass(frozen=True)
class PartRow:
    """A kind of part, and how many of it each spigot has."""

    kind: str
    size: str
    counts: tuple[int, ...]


@dataclass(frozen=True)
class Finding:
    found: str
    means: str
    tell: str


def zone_rows(prop: Property) -> Iterator[ZoneRow]:
    units = UNITS[prop.site.units]
    for number, (name, zone) in enumerate(prop.zones.items()):
        yield ZoneRow(
            number,
            name,
            zone.side,
            zone.supply,
            units.shown(zone.length, "distance"),
            units.shown(zone.flow_l_h, "hose flow"),
        )


def spigots_of(prop: Property) -> list[str]:
    """The spigots that have zones, in the file's order."""
    used = {zone.supply for zone in prop.zones.values()}
    return [supply for supply in prop.supplies if supply in used]


def part_rows(prop: Property, layout: Layout | None) -> list[PartRow]:
    """What stands at the spigots, in the order in which it screws together, then fittings.

    Without a layout nobody knows the fittings.
    """
    counts: dict[tuple[str, str], dict[str, int]] = {}
    spigots = spigots_of(prop)
    for supply in spigots:
        zones = [name for name, zone in prop.zones.items() if zone.supply == supply]
        parts = list(stack(prop, supply, zones))
        parts += [] if layout is None else fittings(layout, supply)
        for part in parts:
            counts.setdefault((part.kind, part.size), {})[supply] = part.count
    thread = THREAD[prop.site.units]
    return [
        PartRow(
            kind,
            ", ".join([part for part in size.split(", ") if part != thread]),
            tuple([counts[kind, size].get(supply, 0) for supply in spigots]),
        )
        for kind, size in sorted(counts, key=lambda part: PART_ORDER.index(part[0].split(",")[0]))
    ]


def legend(layout: Layout) -> Iterator[str]:
    """What the marks of a drawing mean, of those that are there."""
    yield "Dashed: pipe."
    if any(laid.tee for laid in layout.laid):
        yield "Square: tee."
    if layout.sleeves:
        yield "Box: sleeve."
    yield "Bar: end."
    if layout.shape.paving:
        yield "Grey: paving."


def lengths(layout: Layout) -> str:
    """Hose, pipe and sleeves in all."""
    units = UNITS[layout.prop.site.units]
    items = list(laid_items(layout))
    found = []
    for kind in dict.fromkeys([item.kind for item in items if item.length_m]):
        of_kind = [item for item in items if item.kind == kind]
        sizes = " and ".join(dict.fromkeys([item.size for item in of_kind]))
        total_m = sum([item.length_m or 0.0 for item in of_kind])
        found.append(f"{kind} {units.shown(total_m, 'distance')} ({sizes})")
    tees = sum([item.kind == "tee" for item in items])
    return "; ".join(found) + (f"; tees: {tees}" if tees else "")


def season_rows(prop: Property, house: House) -> Iterator[SeasonRow]:
    """The seasons in words, each until the day before the next."""
    units = UNITS[prop.site.units]
    rows = prop.seasons
    for index, season in enumerate(rows):
        after = rows[(index + 1) % len(rows)].begins
        last = date_of(day_of(YEAR, *after) - 1)[1:]
        days = f"{units.day(*season.begins)} to {units.day(*last)}"
        if len(rows) == 1:
            days = "all year"
        if not season.count:
            yield SeasonRow(days, "closed: no water", (), "")
            continue
        minutes = _minutes(house.plan, index, season)
        names = [zone.name for zone in house.plan.zones]
        yield SeasonRow(days, _starts(house.plan, index, units), minutes, _together(names, minutes))


def _starts(plan: Plan, index: int, units: Units) -> str:
    row = plan.rows[index]
    return ", ".join([units.time(row.start_min_of(cycle)) for cycle in range(row.cycles)])


def _minutes(plan: Plan, index: int, season: Season) -> tuple[str, ...]:
    """Minutes a cycle of each zone; about so many where a season asks for litres."""
    about = "~" if season.litres is not None else ""
    return tuple([f"{about}{run_s(plan, index, zone) / 60:.0f}" for zone in plan.zones])


def _together(names: Sequence[str], minutes: Sequence[str]) -> str:
    """Minutes by zones, those with the same together; a name may end in a number of its own."""
    found: dict[str, list[str]] = {}
    for name, each in zip(names, minutes, strict=True):
        found.setdefault(each, []).append(name.replace(" ", NBSP))
    if len(found) == 1:
        return f"all zones: {minutes[0]}{NBSP}min"
    return "; ".join([f"{', '.join(of)}: {each}{NBSP}min" for each, of in found.items()])


def quiet_words(prop: Property) -> str:
    """The local rules that the file names; '' where it names none."""
    quiet, units = prop.lockouts.quiet, UNITS[prop.site.units]
    found = []
    if len(quiet.allowed_weekdays) < len(WEEKDAYS):
        days = [day_name[WEEKDAYS.index(day)] for day in quiet.allowed_weekdays]
        found.append(f"only on {', '.join(days)}")
    if quiet.allowed_dates != "any":
        found.append(f"only on {quiet.allowed_dates} dates")
    for first, last in quiet.banned_hours:
        found.append(f"never from {units.time(first)} to {units.time(last)}")
    for first_day, last_day in quiet.banned_dates:
        found.append(f"never from {units.day(*first_day)} to {units.day(*last_day)}")
    return "; ".join(found)


def sampled(prop: Property) -> str:
    """The strips that samples are to be taken of: those without a probe; '' for none."""
    if prop.owner.check == "blade":
        return ""
    names = [name for name, zone in prop.zones.items() if not zone.probe]
    return "each strip" if len(names) == len(prop.zones) else ", ".join(names)


def findings(prop: Property) -> list[tuple[str, Sequence[Finding]]]:
    """What the owner's check may find, by how it is done, and what to tell the hub."""
    zone = next(iter(prop.zones))
    blade = [Finding(found, means, f"check {zone} {word}") for found, means, word in BLADES]
    sample = [
        Finding(found, means, f"sample {zone} {number}")
        for number, (found, means) in enumerate(SAMPLES)
    ]
    units = UNITS[prop.site.units]
    blade_name = f"Blade, pushed in {units.shown(ROD.length_m, 'near')}"
    sample_name = f"Soil from {units.shown(SAMPLE_M, 'near')} down, squeezed"
    kinds: dict[str, list[tuple[str, Sequence[Finding]]]] = {
        "blade": [(blade_name, blade)],
        "sample": [(sample_name, sample)],
        "both": [(sample_name, sample), (blade_name, blade)],
    }
    return kinds[prop.owner.check]


def when_checked(prop: Property) -> str:
    """The day and the hour of the owner's check."""
    day = day_name[WEEKDAYS.index(prop.owner.weekday)]
    return f"{day} at {UNITS[prop.site.units].time(60 * prop.owner.hour)}"


def opens_and_closes(prop: Property) -> tuple[str, str]:
    """The days on which the season opens and closes; '' where it never does."""
    units = UNITS[prop.site.units]
    opens = closes = ""
    for before, season in zip([prop.seasons[-1], *prop.seasons], prop.seasons, strict=False):
        if bool(before.count) == bool(season.count):
            continue
        if season.count:
            opens = opens or units.day(*season.begins)
        else:
            closes = closes or units.day(*season.begins)
    return opens, closes
