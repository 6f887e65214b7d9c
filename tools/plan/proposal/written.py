"""The owner's file with what was proposed in it; all else stays as it was written."""

from typing import Any

import tomlkit
from tomlkit.items import AoT, Comment, Table, Whitespace

from evenclay.sim.units import METRIC, UNITS
from evenclay.tools.property.cycles import clock
from evenclay.tools.property.file.schedule import Season
from evenclay.tools.property.property import Property, parse

RAIN_KEYS = ("skip", "most", "lock_floor")
TRIM_KEYS = ("step", "least", "most", "auto")


def written(text: str, prop: Property) -> str:
    """The owner's file with a property's seasons, shares, limits of probes, trim and rain bank.

    All else stays as it was written, comments too.
    """
    document = tomlkit.parse(text)
    before = parse(text, prop.source.name)
    for name, zone in prop.zones.items():
        table = document["zones"][name]
        table["share"] = round(zone.share)
        old = before.zones[name]
        if (zone.wet_limit, zone.wet_release) != (old.wet_limit, old.wet_release):
            _put(table, "wet_limit", zone.wet_limit)
            _put(table, "wet_release", zone.wet_release)
    _put_seasons(document, prop)
    if prop.lockouts.rain != before.lockouts.rain:
        rain = document["lockouts"]["rain"]
        for key in RAIN_KEYS:
            _put(rain, key, _depth(prop, getattr(prop.lockouts.rain, key)))
    if prop.trim != before.trim:
        if "trim" not in document:
            document.add(tomlkit.nl())
            document.add("trim", tomlkit.table())
        for key in TRIM_KEYS:
            _put(document["trim"], key, getattr(prop.trim, key))
    return tomlkit.dumps(document)


def _put(table: Any, key: str, value: object) -> None:
    """Set a key; a new one stands after the table's last, before what speaks of the next table."""
    if key in table or not isinstance(table, Table):
        table[key] = value
        return
    kept = _after_last(table)
    body = table.value.body
    del body[len(body) - len(kept) :]
    table.add(key, value)
    for item in kept:
        table.add(item)


def _depth(prop: Property, mm: float, per: str = "") -> float | str:
    """A depth as the file takes it: a number of mm, or with its unit where those are the US's."""
    units = UNITS[prop.site.units]
    return (
        mm if units == METRIC else f"{units.number(mm, 'depth', '.3f')} {units.unit('depth')}{per}"
    )


def _put_seasons(document: Any, prop: Property) -> None:
    tables = [_season_items(prop, season) for season in prop.seasons]
    old = document["seasons"]
    if isinstance(old, AoT):
        kept = _after_last(old[-1])
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


def _after_last(table: Table) -> list[Comment | Whitespace]:
    """Comments and blank lines after the last key of a table: they speak of what follows."""
    kept: list[Comment | Whitespace] = []
    for key, item in table.value.body:
        if key is not None:
            kept = []
        elif isinstance(item, Comment | Whitespace):
            kept.append(item)
    return kept


def _season_items(prop: Property, season: Season) -> dict[str, Any]:
    items: dict[str, Any] = {"from": "{:02}-{:02}".format(*season.begins), "cycles": season.count}
    if season.count and season.minutes and season.window:
        items["minutes"] = int(season.minutes) if season.minutes % 1 == 0 else season.minutes
        items["window"] = "-".join(clock(minute) for minute in season.window)
        items["demand"] = _depth(prop, season.demand or 0.0, "/d")
    return items
