"""What `evenclay layout` prints: runs, all that is laid, parts by spigot, and what is left out."""

from collections.abc import Iterator

from rich.console import Console
from rich.table import Table

from evenclay.controller.limits import ZONES_MAX
from evenclay.sim.units import UNITS
from evenclay.tools import tables
from evenclay.tools.handover.layout.layout import Laid, Layout
from evenclay.tools.handover.layout.parts import Item, Part, fittings, laid_items, stack
from evenclay.tools.property.file.wording import called
from evenclay.tools.property.outline.line import OFF_M

CHANGED_M = 0.05  # a smaller difference of a length is one of rounding


def show(layout: Layout, console: Console) -> None:
    """Print a layout."""
    units = UNITS[layout.prop.site.units]
    console.print(f"{layout.prop.site.name}: hoses {units.shown(OFF_M, 'near')} from the wall")
    tables.show(_runs(layout), console)
    for line in notes(layout):
        console.print(line)
    console.print("Laid in the ground, by the names in the drawing:")
    tables.show(_items(layout, list(laid_items(layout))), console)
    for supply in dict.fromkeys([laid.run.supply for laid in layout.laid]):
        zones = [laid for laid in layout.laid if laid.run.supply == supply]
        console.print(f"At {called(supply)}, in the order in which it screws together:")
        likes = [laid.like for laid in zones]
        parts = [*stack(layout.prop, supply, likes), *fittings(layout, supply)]
        tables.show(_parts(parts), console)


def _fed(laid: Laid) -> str:
    return "by a tee" if laid.tee else "at an end"


def _runs(layout: Layout) -> Table:
    unit = UNITS[layout.prop.site.units].unit("distance")
    table = Table()
    for name in ("zone", "side", "along", "spigot", "fed"):
        table.add_column(name)
    for name in (f"hose {unit}", f"feed {unit}", "sleeves"):
        table.add_column(name, justify="right")
    for laid in layout.laid:
        lengths = [_number(layout, m) for m in (laid.run.hose_m, laid.feed.length_m)]
        sleeves = [sleeve.label for sleeve in layout.sleeves if laid.zone in sleeve.zones]
        walls = ", ".join([str(wall) for wall in laid.walls])
        spigot, fed = laid.run.supply, _fed(laid)
        row = (laid.zone, laid.side, walls, spigot, fed, *lengths, ", ".join(sleeves) or "-")
        table.add_row(*row)
    return table


def _number(layout: Layout, length_m: float) -> str:
    return UNITS[layout.prop.site.units].number(length_m, "distance")


def notes(layout: Layout) -> Iterator[str]:
    """What is left out, what is crossed, and where the file's zones say otherwise."""
    prop, units = layout.prop, UNITS[layout.prop.site.units]
    for number, why in layout.unserved.items():
        side = layout.shape.wall(number).side
        yield f"Side {number} ({side}) is not watered: {why}."
    for sleeve in layout.sleeves:
        length, zones = units.shown(sleeve.length_m, "distance"), ", ".join(sleeve.zones)
        yield (
            f"Sleeve {sleeve.label}, {length}, under paving, for {zones}: the way around is "
            "far longer, or there is none."
        )
    for name in prop.supplies:
        if name not in layout.shape.spigots:
            yield f"No place in [outline.spigots] for {called(name)}, so it feeds nothing here."
    if len(layout.laid) > ZONES_MAX:
        yield (
            f"Too many: a hub has at most {ZONES_MAX} zones, and this takes {len(layout.laid)}. "
            "Give the rest a second hub, with a property file of its own."
        )
    for name in layout.idle:
        yield f"Zone {name} of the file has no hose here."
    changes = list(differences(layout))
    if changes:
        yield "The file's zones say otherwise; --fix writes this into them: " + "; ".join(changes)


def differences(layout: Layout) -> Iterator[str]:
    """Where the zones of the file have other lengths or supplies."""
    prop, units = layout.prop, UNITS[layout.prop.site.units]
    for laid in layout.laid:
        if laid.new:
            yield f"a zone {laid.zone}"
            continue
        zone = prop.zones[laid.zone]
        if abs(zone.length - laid.run.hose_m) > CHANGED_M:
            was, shall = [units.shown(m, "distance") for m in (zone.length, laid.run.hose_m)]
            yield f"{laid.zone}: {shall} instead of {was}"
        if zone.supply != laid.run.supply:
            yield f"{laid.zone}: from {laid.run.supply} instead of {zone.supply}"


def _items(layout: Layout, items: list[Item]) -> Table:
    unit = UNITS[layout.prop.site.units].unit("distance")
    table = Table()
    for name in ("name", "what", "size", "zones"):
        table.add_column(name)
    table.add_column(f"length {unit}", justify="right")
    for item in items:
        length = "" if item.length_m is None else _number(layout, item.length_m)
        table.add_row(item.label, item.kind, item.size, ", ".join(item.zones), length)
    for kind in dict.fromkeys([item.kind for item in items]):
        lengths = [item.length_m for item in items if item.kind == kind and item.length_m]
        if lengths:
            table.add_row("", f"all {kind}", "", "", _number(layout, sum(lengths)))
    return table


def _parts(parts: list[Part]) -> Table:
    table = Table()
    for name in ("part", "size"):
        table.add_column(name)
    table.add_column("count", justify="right")
    for part in parts:
        table.add_row(part.kind, part.size, str(part.count))
    return table
