"""Variants of a property: what `--vary PATH=VALUES` asks for, and the properties that come of it.

A path is written as messages write it: `zones.west.share`, `seasons[2].minutes`; `*` stands for
every zone, spigot or list item. Values are divided by commas; `60..140..20` is a range of numbers,
both ends and the step, and may have a unit behind it.
"""

import csv
import itertools
import re
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from evenclay.tools.property.file.key_lines import KeyPath
from evenclay.tools.property.file.mistakes import Mistake, PropertyError, Source, dotted
from evenclay.tools.property.file.wording import printable, shown
from evenclay.tools.property.property import Property, from_document

VALUES_MAX = 1000  # of one path
EVERY = "*"
_NAME = r'(?:[A-Za-z0-9_-]+|\*|"[^"]*")'
_PATH = re.compile(rf"{_NAME}(?:\.{_NAME}|\[[1-9]\d{{0,2}}\])*")
_PART = re.compile(rf"({_NAME})|\[(\d+)\]")
_NUMBER = r"([+-]?\d+(?:\.\d+)?)"
_RANGE = re.compile(rf"{_NUMBER}\.\.{_NUMBER}\.\.{_NUMBER}(?:\s*([A-Za-z°%].*))?")
_BEGUN = re.compile(rf"{_NUMBER}\s*\.\.")
OWN_NAMES = (("zones",), ("supplies",))  # tables whose keys the owner chooses


@dataclass(frozen=True)
class Vary:
    """One `--vary`: the path as it was written and read, and its values."""

    text: str
    path: KeyPath
    values: tuple[Any, ...]


@dataclass(frozen=True)
class Change:
    """One value set in a property: where, and what. shown: as a column of results holds it."""

    text: str
    path: KeyPath
    value: Any
    shown: int | float | str


def read_vary(option: str) -> Vary:
    """Read PATH=VALUES. Raises PropertyError with one line."""
    text, equals, values = option.partition("=")
    text = text.strip()
    if not equals or not text:
        raise _refusal(shown(option), "PATH=VALUE,VALUE..., such as soil.texture=clay,silty clay")
    found = tuple(_values(values, text))
    if not found:
        raise _refusal(f'"{text}=" without a value', "values divided by commas")
    return Vary(text, _path(text), found)


def changes_of(varies: Sequence[Vary]) -> list[tuple[Change, ...]]:
    """Every combination of one value of each path, the last path's changing fastest."""
    texts = [vary.text for vary in varies]
    for vary in varies:
        if texts.count(vary.text) > 1:
            raise _refusal(f"{vary.text} twice", "each path once")
    choices = [_choices(vary) for vary in varies]
    return list(itertools.product(*choices))


@dataclass(frozen=True)
class VariedSource(Source):
    """A file with other values at some places; no line of the file can be named for those."""

    def error(self, mistakes: list[Mistake]) -> PropertyError:
        """Return the error that lists these mistakes."""
        lines = [
            f"{dotted(self.place(m.path))}: found {m.found}, allowed {m.allowed}" for m in mistakes
        ]
        return PropertyError([f"{printable(self.name)}: {line}" for line in lines])


def _choices(vary: Vary) -> list[Change]:
    """A path's changes; where all its values are numbers they are shown as numbers of one kind."""
    kind: type[int] | type[float] | None = None
    if all(isinstance(value, int | float) and not isinstance(value, bool) for value in vary.values):
        kind = int if all(isinstance(value, int) for value in vary.values) else float
    return [Change(vary.text, vary.path, v, kind(v) if kind else bare(v)) for v in vary.values]


def varied(prop: Property, changes: Sequence[Change]) -> Property:
    """A property with some values changed, read as its file would be.

    Raises: PropertyError, one line for each mistake.
    """
    if not changes:
        return prop
    source = prop.source
    document = tomllib.loads(source.text)
    for change in changes:
        for path in _places(document, change.path):
            _set(document, path, change.value)
    name = f"{source.name} with {', '.join([f'{c.text}={bare(c.value)}' for c in changes])}"
    return from_document(document, VariedSource(name, source.text))


def bare(value: Any) -> str:
    """A value as one writes it after --vary: text without quotes."""
    return printable(value) if isinstance(value, str) else shown(value)


def _values(text: str, path: str) -> Iterator[Any]:
    """A list as TOML has it, or texts, numbers and ranges divided by commas."""
    try:
        found = tomllib.loads(f"list = [{text}\n]")["list"]
        if all(isinstance(value, bool | int | float | str | list | dict) for value in found):
            yield from found
            return
    except ValueError:
        pass
    count = 0
    try:
        items = next(csv.reader([text], skipinitialspace=True, strict=True), [])
    except csv.Error as error:
        raise _refusal(f"{path}={shown(text)} ({error})", "values divided by commas") from None
    for item in items:
        for value in _range(item.strip(), path):
            count += 1
            if count > VALUES_MAX:
                raise _refusal(f"more than {VALUES_MAX} values for {path}", "fewer")
            yield value


def _range(item: str, path: str) -> Iterator[Any]:
    """The values that one item stands for: a range's, or its own."""
    match = _RANGE.fullmatch(item)
    if match is None and _BEGUN.match(item):
        allowed = "FIRST..LAST..STEP, such as 60..140..20, or values divided by commas"
        raise _refusal(f"{path}={item}", allowed)
    if match is None:
        yield _value(item)
        return
    first, last, step = (Decimal(match[i]) for i in (1, 2, 3))
    if step <= 0 or last < first:
        raise _refusal(f"{path}={item}", "FIRST..LAST..STEP with a step above 0 and LAST >= FIRST")
    while first <= last:
        yield _value(f"{first} {match[4]}" if match[4] else str(first))
        first += step


def _value(item: str) -> Any:
    """A number or flag as TOML has it, else the text itself."""
    try:
        value = tomllib.loads(f"value = {item}")["value"]
    except ValueError:
        return item
    return value if isinstance(value, bool | int | float) else item


def _path(text: str) -> KeyPath:
    """Read a path; `EVERY` stands in it for every item."""
    if not _PATH.fullmatch(text):
        raise _refusal(shown(text), "a path such as zones.west.share or seasons[2].minutes")
    parts = _PART.findall(text)
    return tuple([int(number) - 1 if number else name.strip('"') for name, number in parts])


def _places(document: dict[str, Any], path: KeyPath) -> list[KeyPath]:
    """The paths of a document that a path with EVERY in it stands for.

    Raises: PropertyError where a list or a table of the owner's own names has no such item.
    """
    places: list[KeyPath] = [()]
    for part in path:
        longer: list[KeyPath] = []
        for place in places:
            names = _names(_at(document, place), place)
            if names is not None and part != EVERY and part not in names:
                known = ", ".join([dotted((*place, name)) for name in names])
                raise _refusal(dotted((*place, part)), known or f"nothing in {dotted(place)}")
            if names is None and isinstance(part, int):
                raise _refusal(dotted((*place, part)), f"a key: {dotted(place)} is no list")
            longer += [(*place, name) for name in (names if names and part == EVERY else [part])]
        places = longer
    return places


def _names(inside: Any, place: KeyPath) -> list[str | int] | None:
    """What stands in a list or a table of the owner's own names; None where any key may be new.

    Raises: PropertyError for a place that is neither list nor table.
    """
    if isinstance(inside, list):
        return list(range(len(inside)))
    if isinstance(inside, dict) and place in OWN_NAMES:
        return list(inside)
    if inside is None or isinstance(inside, dict):
        return None
    raise _refusal(f"something below {dotted(place)}, {shown(inside)}", f"{dotted(place)} itself")


def _at(document: Any, path: KeyPath) -> Any:
    """What stands at a path of a document, None where nothing does."""
    for part in path:
        if isinstance(document, list) and isinstance(part, int):
            document = document[part]
        elif isinstance(document, dict):
            document = document.get(str(part))
        else:
            return None
    return document


def _set(document: Any, path: KeyPath, value: Any) -> None:
    for part in path[:-1]:
        document = document[part] if isinstance(part, int) else document.setdefault(part, {})
    document[path[-1]] = value


def _refusal(found: str, allowed: str) -> PropertyError:
    return PropertyError([printable(f"--vary: found {found}, allowed {allowed}")])
