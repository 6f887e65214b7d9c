"""The owner's file with the lengths and supplies of a layout in its zones; its comments stay."""

from typing import Any

import tomlkit
from tomlkit.items import Table

from evenclay.sim.units import METRIC, UNITS
from evenclay.tools.handover.layout.layout import Laid, Layout
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.edits import add_last, after_last
from evenclay.tools.property.file.mistakes import Mistake
from evenclay.tools.property.property import parse


def written(layout: Layout) -> str:
    """The file's text with the layout's zones. A side with more runs than zones gets more of them.

    Raises: PropertyError for a zone without a hose, or where the hub's plan has no room for all.
    """
    prop = layout.prop
    if layout.idle:
        raise prop.source.error([_idle(layout, name) for name in layout.idle])
    document = tomlkit.parse(prop.source.text)
    zones = document["zones"]
    for laid in layout.laid:
        if laid.new:
            _add(zones, laid)
        table = zones[laid.zone]
        _put(table, "length", _length(layout, laid))
        _put(table, "supply", laid.run.supply)
    text = tomlkit.dumps(document)
    compile_house(parse(text, prop.source.name))
    return prop.source.as_file(text)


def _idle(layout: Layout, name: str) -> Mistake:
    """A zone of the file that the layout leaves without a hose, and what may be done."""
    side = layout.prop.zones[name].side
    others = [laid.zone for laid in layout.laid if laid.side == side]
    if not others:
        allowed = "none: take it out, or a part of the paving along its side"
        return Mistake(("zones", name), "a zone for which the layout has no hose", allowed)
    told, count = " and ".join(f'"{other}"' for other in others), len(others)
    found = f"a zone without a hose: {told} {'has' if count == 1 else 'have'} all of its side"
    allowed = f"as many zones there as hoses, {count}: take this one or another out of the file"
    return Mistake(("zones", name), found, allowed)


def _length(layout: Layout, laid: Laid) -> float | str:
    """A hose's length as the file takes it."""
    units = UNITS[layout.prop.site.units]
    if units == METRIC:
        return round(laid.run.hose_m, 2)
    return f"{units.number(laid.run.hose_m, 'length', '.1f')} {units.unit('length')}"


def _put(table: Any, key: str, value: object) -> None:
    """Set a key, unless it says so already; a new one stands after the table's last."""
    if key in table:
        if table[key] != value:
            table[key] = value
    elif isinstance(table, Table):
        add_last(table, key, value)
    else:
        table[key] = value


def _add(zones: Any, laid: Laid) -> None:
    """Add a zone after the last, like another one of its side, whose probe speaks for both."""
    like = zones[laid.like].unwrap()
    if like.pop("probe", False):
        like["sensor"] = laid.like
    last = zones[list(zones)[-1]]
    table = tomlkit.table()
    for key, value in like.items():
        table.add(key, _inline(value))
    if isinstance(last, Table):
        kept = after_last(last)
        body = last.value.body
        del body[len(body) - len(kept) :]
        last.add(tomlkit.nl())
        for item in kept:
            table.add(item)
    zones.add(laid.zone, table)


def _inline(value: Any) -> Any:
    """A table within a table as one of a single line."""
    if not isinstance(value, dict):
        return value
    table = tomlkit.inline_table()
    table.update(value)
    return table
