"""The owner's file with what was proposed in it; all else stays as it was written, comments too."""

from typing import Any

import tomlkit
from tomlkit.items import AoT, Table

from evenclay.sim.calendar import clock
from evenclay.sim.units import METRIC, UNITS
from evenclay.tools.property.edits import add_last, after_last
from evenclay.tools.property.file.schedule import Season
from evenclay.tools.property.property import Property

DEPTHS = ("top", "hold")  # of a store, depths of water
YARD_KEYS = ("demand", "top", "top_share", "freely", "end", "hold", "level")
GROUND_KEYS = (
    "demand",
    "top",
    "top_share",
    "freely",
    "end",
    "hold",
    "beside",
    "level_pf",
    "target_pf",
)


def written(text: str, prop: Property) -> str:
    """The file's text with a property's seasons, shares, relief, and the ground of each zone."""
    document = tomlkit.parse(text)
    for name, zone in prop.zones.items():
        table = document["zones"][name]
        _put(table, "share", round(zone.share))
        if zone.ground is not None:
            _put(table, "ground", _inline(prop, zone.ground, GROUND_KEYS))
    _put_seasons(document, prop)
    if "estimate" not in document:
        document.add(tomlkit.nl())
        document.add("estimate", tomlkit.table())
    estimate = document["estimate"]
    estimate.pop("estimate", None)
    _put(estimate, "relief", prop.estimate.relief)
    if prop.estimate.yard is not None:
        _put(estimate, "yard", _inline(prop, prop.estimate.yard, YARD_KEYS))
    return tomlkit.dumps(document)


def _inline(prop: Property, store: object, keys: tuple[str, ...]) -> Any:
    table = tomlkit.inline_table()
    for key in keys:
        value = getattr(store, key)
        table[key] = _depth(prop, value) if key in DEPTHS else value
    return table


def _put(table: Any, key: str, value: object) -> None:
    """Set a key; a new one stands after the table's last, before what speaks of the next table."""
    if key in table or not isinstance(table, Table):
        table[key] = value
        return
    add_last(table, key, value)


def _depth(prop: Property, mm: float) -> float | str:
    """A depth as the file takes it: a number of mm, or with its unit where those are the US's."""
    units = UNITS[prop.site.units]
    return mm if units == METRIC else f"{units.number(mm, 'depth', '.3f')} {units.unit('depth')}"


def _rate(prop: Property, mm: float) -> float | str:
    """A depth a day as the file takes it."""
    found = _depth(prop, mm)
    return f"{found}/d" if isinstance(found, str) else round(found, 2)


def with_verdict(text: str, word: str) -> str:
    """The file's text with what came of judging its plan."""
    document = tomlkit.parse(text)
    _put(document["estimate"], "verdict", word)
    return tomlkit.dumps(document)


def _put_seasons(document: Any, prop: Property) -> None:
    tables = [_season_items(prop, season) for season in prop.seasons]
    old = document["seasons"]
    if isinstance(old, AoT):
        kept = after_last(old[-1])
        new = tomlkit.aot()
        for place, items in enumerate(tables):
            table = tomlkit.table()
            for key, value in items.items():
                table.add(key, value)
            for item in kept if place == len(tables) - 1 else []:
                table.add(item)
            new.append(table)
        document["seasons"] = new
    else:
        array = tomlkit.array()
        for items in tables:
            inline = tomlkit.inline_table()
            inline.update(items)
            array.append(inline)
        document["seasons"] = array.multiline(True)


def _season_items(prop: Property, season: Season) -> dict[str, Any]:
    items: dict[str, Any] = {"from": "{:02}-{:02}".format(*season.begins), "cycles": season.count}
    if season.count and season.minutes and season.window:
        items["minutes"] = int(season.minutes) if season.minutes % 1 == 0 else season.minutes
        items["window"] = "-".join(clock(minute) for minute in season.window)
    for key, mm in (("demand", season.demand), ("rain", season.rain)):
        if mm is not None:
            items[key] = _rate(prop, mm)
    return items
