"""Holds a property against a board's pin map, and leaves out the parts that the board lacks."""

import shlex
from collections.abc import Iterator, Sequence
from typing import Any

from evenclay.tools.board.pin_map import DeviceError, PinMap
from evenclay.tools.property.file.mistakes import Mistake
from evenclay.tools.property.property import Property


def misfits(prop: Property, pins: PinMap) -> Iterator[Mistake]:
    """Each part that a property asks for and a pin map has no pin for, with what may be done."""
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
    dead = [part.removeprefix("probe.") for part in parts if part.startswith("probe.")]
    zones = {
        name: zone.model_copy(update=_NO_PROBE)
        if name in dead
        else zone.model_copy(update={"sensor": None})
        if zone.sensor in dead
        else zone
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
_NO_PROBE = {"probe": False, "wet_limit": None, "wet_release": None}


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
