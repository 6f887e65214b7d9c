"""What a board's pin map has, and what of a property it has no pin for.

A pin map says what is wired where in plain numbers at its top, so it is read here, not run:

    FOLDER           where record and plan are kept
    VALVES           a zone each: (opens, closes) of a latching valve, or a held valve's one pin
    MASTERS          a spigot each: its master valve, wired as a zone's, or None
    METERS           a spigot each: a pin or None
    PROBES           a zone each: a pin, several pins, or None
    RAIN, CONTACT    tipping bucket; dry contact
    AIR, BATTERY     thermometer; divider

FOLDER, VALVES and MASTERS have to be there. What is None, or not there, the board does not have.
"""

import ast
import shlex
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tools.property import Mistake, Property

_MUST = ("FOLDER", "VALVES", "MASTERS")
_LISTS = ("VALVES", "MASTERS", "METERS", "PROBES")
_SINGLE = ("RAIN", "CONTACT", "AIR", "BATTERY")


class DeviceError(ValueError):
    """A bundle that cannot be made or copied; one line for the user."""


@dataclass(frozen=True)
class PinMap:
    """The literals of a pin map by name; `path` is how messages call the file."""

    path: str
    values: dict[str, Any]

    @property
    def folder(self) -> str:
        """Folder of record and plan, without slashes around it."""
        return str(self.values["FOLDER"]).strip("/")

    def has(self, name: str, place: int | None = None) -> bool:
        """Whether something is wired under a name; `place`: for that zone or spigot."""
        found = self.values.get(name)
        if place is not None:
            found = found[place] if found is not None and place < len(found) else None
        return found is not None

    def count(self, name: str) -> int:
        """How many entries a list has."""
        return len(self.values[name])


def read(path: Path, shown: str) -> PinMap:
    """Read a pin map, called `shown` in messages. Raises DeviceError."""
    values: dict[str, Any] = {}
    try:
        for node in ast.parse(path.read_text("utf-8")).body:
            name, value = _assigned(node)
            if value is not None and name in (*_MUST, *_LISTS, *_SINGLE):
                values[name] = _literal(name, value, shown)
    except (SyntaxError, UnicodeDecodeError) as error:
        raise DeviceError(f"{shown}: {error}") from None
    for name in _MUST:
        if name not in values:
            raise DeviceError(f"{shown}: found no {name}, allowed {_ALLOWED[name]}")
    return PinMap(shown, values)


def misfits(prop: Property, pins: PinMap) -> Iterator[Mistake]:
    """What a property asks for and a pin map does not have, each with what would do."""
    for what, group, name in (
        ("zones", prop.zones, "VALVES"),
        ("supplies", prop.supplies, "MASTERS"),
    ):
        most = pins.count(name)
        if len(group) > most:
            allowed = f"at most {most}, the {name} of {pins.path}"
            yield Mistake((what, list(group)[most]), f"{len(group)} {what}", allowed)
    for number, (zone_name, zone) in enumerate(prop.zones.items()):
        path = ("zones", zone_name)
        if number < pins.count("VALVES"):
            held = isinstance(pins.values["VALVES"][number], int)
            if held != (zone.valve == "held"):
                wired = '"held", one pin,' if held else '"latching", two pins,'
                allowed = f"{wired} as VALVES[{number}] of {pins.path}"
                yield Mistake((*path, "valve"), f'"{zone.valve}"', allowed)
        if zone.probe and not pins.has("PROBES", number):
            yield _unwired((*path, "probe"), f"PROBES[{number}]", pins, f"probe.{zone_name}")
    for number, (supply_name, supply) in enumerate(prop.supplies.items()):
        path = ("supplies", supply_name)
        if supply.meter and not pins.has("METERS", number):
            yield _unwired((*path, "meter"), f"METERS[{number}]", pins, f"meter.{supply_name}")
        if (
            supply.master_valve
            and number < pins.count("MASTERS")
            and not pins.has("MASTERS", number)
        ):
            allowed = f"false, or a pin: {pins.path} has no MASTERS[{number}]"
            yield Mistake((*path, "master_valve"), "true", allowed)
    yield from _misfits_of_the_hub(prop, pins)


def _misfits_of_the_hub(prop: Property, pins: PinMap) -> Iterator[Mistake]:
    lockouts = prop.lockouts
    sensor = lockouts.rain.sensor
    name = {"gauge": "RAIN", "contact": "CONTACT"}.get(sensor)
    if name is not None and not pins.has(name):
        yield _unwired(("lockouts", "rain", "sensor"), name, pins, sensor)
    if lockouts.frost.thermometer and not pins.has("AIR"):
        yield _unwired(("lockouts", "frost", "thermometer"), "AIR", pins, "thermometer")
    if lockouts.battery is not None and not pins.has("BATTERY"):
        yield _unwired(("lockouts", "battery"), "BATTERY", pins, "battery")


def _unwired(path: tuple[str, ...], name: str, pins: PinMap, part: str) -> Mistake:
    found = {"sensor": f'"{part}"', "battery": "a battery to watch"}.get(path[-1], "true")
    option = f"--without {shlex.quote(part)}"
    return Mistake(path, found, f"a pin for it, since {pins.path} has no {name}; or {option}")


def without(prop: Property, parts: Sequence[str]) -> Property:
    """The property with parts left out, each named as messages of `misfits` name it.

    parts: "probe.ZONE", "meter.SPIGOT", "gauge", "contact", "thermometer", "battery"

    Raises:
        DeviceError: the property has no such part.
    """
    known = list(_parts(prop))
    for part in parts:
        if part not in known:
            allowed = ", ".join(known) or "nothing: the property has no part to leave out"
            raise DeviceError(f"--without: found {part}, allowed {allowed}")
    zones = {
        name: zone.model_copy(update=_NO_PROBE) if f"probe.{name}" in parts else zone
        for name, zone in prop.zones.items()
    }
    supplies = {
        name: supply.model_copy(update={"meter": False}) if f"meter.{name}" in parts else supply
        for name, supply in prop.supplies.items()
    }
    changes: dict[str, Any] = {}
    if "gauge" in parts or "contact" in parts:
        changes["rain"] = prop.lockouts.rain.model_copy(update={"sensor": "none"})
    if "thermometer" in parts:
        changes["frost"] = prop.lockouts.frost.model_copy(update={"thermometer": False})
    if "battery" in parts:
        changes["battery"] = None
    lockouts = prop.lockouts.model_copy(update=changes)
    return prop.model_copy(update={"zones": zones, "supplies": supplies, "lockouts": lockouts})


# A zone's limits mean something with its probe alone.
_NO_PROBE = {"probe": False, "wet_limit": None, "wet_release": None, "dry_limit": None}


def _parts(prop: Property) -> Iterator[str]:
    """Every part of a property that can be left out."""
    yield from [f"probe.{name}" for name, zone in prop.zones.items() if zone.probe]
    yield from [f"meter.{name}" for name, supply in prop.supplies.items() if supply.meter]
    if prop.lockouts.rain.sensor != "none":
        yield prop.lockouts.rain.sensor
    if prop.lockouts.frost.thermometer:
        yield "thermometer"
    if prop.lockouts.battery is not None:
        yield "battery"


_ALLOWED = {
    "FOLDER": 'a folder such as "/hub"',
    "VALVES": "a tuple with a pair of pins or one pin for each zone, such as ((2, 3), (4, 5))",
    "MASTERS": "a tuple with pins or None for each spigot, such as (None, None)",
    "METERS": "a tuple with a pin or None for each spigot, such as (None, 11)",
    "PROBES": "a tuple with a pin, pins or None for each zone, such as (27, None, 28)",
}
_ALLOWED_SINGLE = "a pin or None"


def _assigned(node: ast.stmt) -> tuple[str, ast.expr | None]:
    """Name and value of `NAME = value`, with or without a type; else no value."""
    if isinstance(node, ast.Assign) and len(node.targets) == 1:
        target: ast.expr = node.targets[0]
    elif isinstance(node, ast.AnnAssign):
        target = node.target
    else:
        return "", None
    return (target.id, node.value) if isinstance(target, ast.Name) else ("", None)


def _literal(name: str, node: ast.expr, shown: str) -> Any:
    """A name's value, held against what it may be. Raises DeviceError."""
    allowed = _ALLOWED.get(name, _ALLOWED_SINGLE)
    try:
        value = ast.literal_eval(node)
    except ValueError:
        value = ...
    if name == "FOLDER":
        good = isinstance(value, str) and value.strip("/") != ""
    elif name in _LISTS:
        good = isinstance(value, tuple | list) and all(_wired(name, entry) for entry in value)
    else:
        good = value is None or _is_pin(value)
    if not good:
        raise DeviceError(
            f"{shown}:{node.lineno}: {name}: found {ast.unparse(node)}, allowed {allowed}"
        )
    return value


def _wired(name: str, entry: object) -> bool:
    """Whether an entry of a list is pins, or says that there are none."""
    if entry is None:
        return name != "VALVES"
    if _is_pin(entry):
        return True
    if not isinstance(entry, tuple | list) or not all(map(_is_pin, entry)):
        return False
    return len(entry) > 0 if name == "PROBES" else len(entry) == 2 and name != "METERS"


def _is_pin(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)
