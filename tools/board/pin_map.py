"""What a board's pin map has: what is wired where.

A pin map says what is wired where in plain numbers at its top, so it is read here, not run:

    FOLDER           where record and plan are kept
    VALVES           a zone each: (opens, closes) of a latching valve, or a held valve's one pin
    MASTERS          a spigot each: its master valve, wired as a zone's, or None
    METERS           a spigot each: a pin or None
    PROBES           a zone each: a pin, several pins, or None
    RAIN, CONTACT    tipping bucket; dry contact
    AIR, BATTERY     thermometer; divider
    LOG_BYTES        what the log may take of the flash; 0: there is none
    LIGHT, BUTTON, POWER, SOIL, SDA, SCL, PROBE_POWER
                     other pins, which are only held against the rest

FOLDER, VALVES and MASTERS have to be there. What is None, or not there, the board does not have.
A number stands in one place: two parts on one pin would work against each other. Two may share it
in these cases alone: probes that have several pins each, and the thermometers AIR and SOIL, which
may hang on one 1-wire bus. What hangs on another chip than the board's has numbers from 100 on.
`evenclay.tools.board.wiring` holds a property against it.
"""

import ast
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

_LOG = "LOG_BYTES"
_LOG_LEAST = 32768  # its eight files have to hold a state each, and more
_MUST = ("FOLDER", "VALVES", "MASTERS")
_LISTS = ("VALVES", "MASTERS", "METERS", "PROBES")
_SINGLE = ("RAIN", "CONTACT", "AIR", "BATTERY")
_OTHERS = ("LIGHT", "BUTTON", "POWER", "SOIL", "SDA", "SCL", "PROBE_POWER")
_ONE_WIRE = ("AIR", "SOIL")


class DeviceError(ValueError):
    """A bundle that cannot be made or copied; the user is told the reason in one line."""


@dataclass(frozen=True)
class PinMap:
    """The literals of a pin map by name; `path` is how messages call the file."""

    path: str
    values: dict[str, Any]

    @property
    def folder(self) -> str:
        """Folder of record and plan, without slashes around it."""
        return str(self.values["FOLDER"]).strip("/")

    @property
    def has_log(self) -> bool:
        """Whether the hub writes a log."""
        return bool(self.values.get(_LOG))

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
    try:
        tree = ast.parse(path.read_text("utf-8"))
    except (SyntaxError, UnicodeDecodeError) as error:
        raise DeviceError(f"{shown}: {error}") from None
    nodes = {name: value for node in tree.body for name, value in _assigned(node)}
    known = [name for name in nodes if name in (*_MUST, *_LISTS, *_SINGLE, _LOG)]
    values = {name: _literal(name, nodes[name], shown) for name in known}
    for name in _MUST:
        if name not in values:
            raise DeviceError(f"{shown}: found no {name}, allowed {_ALLOWED[name]}")
    _check_once(nodes, shown)
    return PinMap(shown, values)


_ALLOWED = {
    "FOLDER": 'a folder such as "/hub"',
    "VALVES": "a tuple with a pair of pins or one pin for each zone, such as ((2, 3), (4, 5))",
    "MASTERS": "a tuple with pins or None for each spigot, such as (None, None)",
    "METERS": "a tuple with a pin or None for each spigot, such as (None, 11)",
    _LOG: f"0 for no log, or a whole number from {_LOG_LEAST} on",
    "PROBES": "a tuple with a pin, pins or None for each zone, such as (27, None, 28)",
}
_ALLOWED_SINGLE = "a pin or None"


def _assigned(node: ast.stmt) -> Iterator[tuple[str, ast.expr]]:
    """Names and values of `NAME = value`, with or without a type, and of `A, B = 1, 2`."""
    if isinstance(node, ast.Assign) and len(node.targets) == 1:
        target: ast.expr = node.targets[0]
    elif isinstance(node, ast.AnnAssign):
        target = node.target
    else:
        return
    if isinstance(target, ast.Name) and node.value is not None:
        yield target.id, node.value
    elif isinstance(target, ast.Tuple) and isinstance(node.value, ast.Tuple):
        for name, value in zip(target.elts, node.value.elts, strict=False):
            if isinstance(name, ast.Name):
                yield name.id, value


def _check_once(nodes: Mapping[str, ast.expr], shown: str) -> None:
    """Refuse a pin that stands in two places. Raises DeviceError."""
    taken: dict[int, tuple[str, str]] = {}
    for name, node in nodes.items():
        for place, bus, pin in _pins_of(name, node):
            before, its_bus = taken.get(pin, (None, ""))
            taken[pin] = (place, bus)
            if before is None or (bus and bus == its_bus and place != before):
                continue
            found = f"{pin} twice" if place == before else f"{pin}, which {before} has too"
            raise DeviceError(
                f"{shown}:{node.lineno}: {place}: found {found}, allowed a pin of its own; "
                "what hangs on another chip has numbers from 100 on"
            )


def _pins_of(name: str, node: ast.expr) -> Iterator[tuple[str, str, int]]:
    """Each pin of a name: its place, the bus on which others may share it ("": none), the pin."""
    if name not in (*_LISTS, *_SINGLE, *_OTHERS):
        return
    try:
        value = ast.literal_eval(node)
    except (ValueError, TypeError):  # an owner's own expression, of which nothing is known
        return
    entries = {f"{name}[{n}]": e for n, e in enumerate(value)} if name in _LISTS else {name: value}
    for place, entry in entries.items():
        pins = entry if isinstance(entry, tuple | list) else (entry,)
        for number, pin in enumerate(pins):
            # Probes are read at pins of their own, and may share those that feed them.
            bus = "probes" if name == "PROBES" and number else "1-wire" if name in _ONE_WIRE else ""
            if _is_pin(pin):
                yield place, bus, pin


def _literal(name: str, node: ast.expr, shown: str) -> Any:
    """A name's value, held against what it may be. Raises DeviceError."""
    allowed = _ALLOWED.get(name, _ALLOWED_SINGLE)
    try:
        value = ast.literal_eval(node)
    except ValueError:
        value = ...
    if name == "FOLDER":
        good = isinstance(value, str) and value.strip("/") != ""
    elif name == _LOG:
        good = _is_pin(value) and (value == 0 or value >= _LOG_LEAST)
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
