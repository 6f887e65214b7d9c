"""The property file of a set of answers, and the changes that new answers make to an old file.

One template writes a file. To change an owner's file it is written twice, from what the file
answers now and from what it shall answer; where the two differ the owner's file is changed, nowhere
else.
"""

import json
import re
from collections.abc import Mapping, Sequence
from functools import cache
from typing import Any

import tomlkit
from jinja2 import Environment, PackageLoader, StrictUndefined, Template
from tomlkit.items import AbstractTable, AoT, Comment, Item, Table, Whitespace

from evenclay.sim.units import UNITS
from evenclay.tools.property.edits import add_last, after_last
from evenclay.tools.property.file.schedule import WEEKDAYS
from evenclay.tools.start import clay, seasons
from evenclay.tools.start.answers import OLD, bucket_of, found_place, outline_of, price_of
from evenclay.tools.start.questions import SIDES
from evenclay.tools.start.reading import Texts
from evenclay.tools.start.seasons import AS_IT_IS, Row


def text_of(texts: Texts, names: Mapping[str, Sequence[str]], rows: Sequence[Row]) -> str:
    """The file of a set of answers. names: the zones of each side that is written."""
    return _template().render(_context(texts, names, rows))


def changed(text: str, before: str, after: str) -> str:
    """An owner's text with what differs between two files; its comments stay.

    The first line names the house; it follows a new name where the owner left it as it was.
    """
    first, _, rest = text.partition("\n")
    if first == before.partition("\n")[0]:
        text = after.partition("\n")[0] + "\n" + rest
    document = tomlkit.parse(text)
    old, new = tomlkit.parse(before), tomlkit.parse(after)
    _change(document, old, new)
    for name, zone in new["zones"].items():
        hose = document["zones"][name]["hose"] if "hose" in zone else {}
        for key in ("flow", "bucket"):  # a hose says one of them
            if key in hose and key not in zone["hose"]:
                del hose[key]
    return tomlkit.dumps(document)


def _change(table: Any, old: Any, new: Any) -> None:
    """Give a table the keys that differ between two others."""
    for key in [key for key in old if key not in new]:
        if key in table:
            del table[key]
    for key, value in new.items():
        if key in old and old[key] == value:
            continue
        inner = table.get(key)
        was = old.get(key, {}) if key == "hose" else old.get(key)  # '' where a file's hoses differ
        if isinstance(value, dict) and isinstance(inner, dict) and isinstance(was, dict):
            _change(inner, was, value)
        else:
            _put(table, key, value)


def _put(table: Any, key: str, value: Any) -> None:
    """Set a key; a new one stands after the table's last, before what speaks of the next table."""
    if isinstance(value, AoT):
        last = table[key][-1] if isinstance(table.get(key), AoT) else tomlkit.table()
        table[key] = _copied(value, after_last(last))
    elif key in table and not isinstance(value, AbstractTable):
        table[key] = _plain(value)
    elif isinstance(table, Table) and not isinstance(value, Table):
        add_last(table, key, _plain(value))
    else:
        table[key] = value


def _plain(value: Any) -> Any:
    """A value without its place in another document; a yes or no has none."""
    return value.unwrap() if isinstance(value, Item) else value


def _copied(rows: AoT, kept: list[Comment | Whitespace]) -> AoT:
    """The seasons of another document; kept: what stands behind the last of them."""
    found = tomlkit.aot()
    for place, row in enumerate(rows, 1):
        table = tomlkit.table()
        for key, value in row.unwrap().items():
            table.add(key, value)
        for item in kept if place == len(rows) else []:
            table.add(item)
        found.append(table)
    return found


@cache
def _template() -> Template:
    loader = PackageLoader("evenclay.tools.start", ".")
    plain = Environment(loader=loader, undefined=StrictUndefined, keep_trailing_newline=True)
    return plain.get_template("property.toml.j2")


def _context(
    texts: Texts, names: Mapping[str, Sequence[str]], rows: Sequence[Row]
) -> dict[str, Any]:
    """What the template takes, each value as TOML has it."""
    units = texts["units"]
    unknown = ("unknown", AS_IT_IS)
    latitude, longitude = coordinates(texts["where"])
    price = None
    if texts["water-price"] == AS_IT_IS:  # where the new file has it too, the owner's stays
        price = (_quoted(AS_IT_IS), AS_IT_IS, _quoted(AS_IT_IS))
    elif texts["water-price"] != "unknown":
        number, per, currency = price_of(texts["water-price"], units)
        price = (f"{number:g}", per, _quoted(currency))
    dry = [side for side in SIDES if texts[side] == "none"]
    weekdays = list(WEEKDAYS) if texts["weekdays"] == "any" else texts["weekdays"].split(", ")
    hours = [] if texts["banned-hours"] == "none" else texts["banned-hours"].split(", ")
    zones = [_zone(name, side, texts) for side in SIDES for name in names.get(side, ())]
    return {
        "us": units == "us",
        "units": units,
        "name_plain": texts["name"],
        "name": _quoted(texts["name"]),
        "timezone": _quoted(texts["timezone"]),
        "latitude": f"{latitude:g}",
        "longitude": None if longitude is None else f"{longitude:g}",
        "elevation": _value(texts["elevation"], "height", units),
        "foundation": texts["foundation"] if texts["foundation"] not in unknown else "",
        "poured": "" if texts["built"] == OLD else texts["built"],
        "dry_sides": _quoted(dry),
        "texture": clay.texture_of(texts["clay"]),
        "spigots": [{"key": _key(name)} for name in texts["spigots"].split(", ")],
        "spigot_flow": _value(texts["spigot-flow"], "supply flow", units),
        "zones": zones,
        "check": "blade" if all(zone["probe"] == _flag(True) for zone in zones) else "sample",
        "rows": rows,
        "rain": texts["rain-sensor"],
        "thermometer": _flag(texts["thermometer"] == "yes"),
        "weekdays": _quoted(weekdays),
        "dates": texts["dates"],
        "banned_hours": _quoted(hours),
        "price": price,
        "per": texts.get("per", "1000 gal" if units == "us" else "m3"),
        "outline": _outline(texts),
    }


def _outline(texts: Texts) -> dict[str, Any] | None:
    """The table [outline] with each value as TOML has it."""
    table = outline_of(texts)
    if table is None:
        return None
    units = texts["units"]

    def length(text: str) -> str:
        return _value(text, "length", units)

    spigots = [
        f"{_key(name)} = {{ side = {place['side']}, along = {length(place['along'])} }}"
        for name, place in table.get("spigots", {}).items()
    ]
    paving = [
        f"{{ side = {part['side']}, from = {length(part['from'])}, to = {length(part['to'])} }}"
        for part in table.get("paving", [])
    ]
    return {
        "sides": _quoted(table["sides"]),
        "first": table["first"],
        "spigots": f"{{ {', '.join(spigots)} }}" if spigots else "",
        "paving": f"[{', '.join(paving)}]" if paving else "",
    }


def coordinates(where: str) -> tuple[float, float | None]:
    """Latitude and longitude of an answer to "where"; a file may name its latitude alone."""
    if where.lstrip("+-").replace(".", "", 1).isdigit() and "." in where:
        return float(where), None
    found = found_place(where)
    return found.latitude, found.longitude


def _zone(name: str, side: str, texts: Texts) -> dict[str, str]:
    cover, probes = texts[f"{side}-cover"], texts["probes"]
    known = cover.replace(".", "", 1).isdigit()
    return {
        "key": _key(name),
        "side": side,
        "supply": _quoted(texts[f"{side}-spigot"]),
        "length": _value(texts[side], "length", texts["units"]),
        "hose": _hose(name, side, texts),
        "share": str(seasons.share_pct(cover)),
        "cover": cover if known else _quoted(cover),
        "probe": _flag(probes == "all" or side in probes),
    }


def _hose(name: str, side: str, texts: Texts) -> str:
    """The hose of a side's zone as TOML; '' where a file's hoses differ."""
    kind, flow, pressure = texts["hose"], texts["hose-flow"], texts["hose-pressure"]
    if AS_IT_IS in (kind, flow, pressure):
        return ""
    units = texts["units"]
    test = bucket_of(flow)
    if test is not None and test[2] != side and f"{name}-test" in texts:
        test = bucket_of(f"{texts[f'{name}-test']}, {side}")
    if test is None:
        gives = f"flow = {_value(flow, 'emission', units)}"
    elif test[2] == side:
        volume = _value(test[0], "volume", units)
        gives = f"bucket = {{ litres = {volume}, time = {_quoted(test[1])} }}"
    else:
        along = UNITS[units].shown(seasons.flow_l_h_m(flow, texts), "emission")
        gives = f"flow = {_value(along, 'emission', units)}"
    return f'{{ kind = "{kind}", {gives}, pressure = {_value(pressure, "pressure", units)} }}'


def _value(text: str, kind: str, units: str) -> str:
    """A quantity as TOML: a number in a metric house's own unit, else a text; '' for none."""
    if text in ("unknown", "none", AS_IT_IS):
        return ""
    number, _, unit = text.partition(" ")
    if units == "metric" and unit == UNITS[units].unit(kind):
        return number
    return _quoted(text)


def _quoted(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False)


def _key(name: str) -> str:
    """A name as a key of TOML."""
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else _quoted(name)


def _flag(value: bool) -> str:
    return "true" if value else "false"
