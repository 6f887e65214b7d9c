"""What two property files say differently."""

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from evenclay.tools.property.file.mistakes import dotted
from evenclay.tools.property.file.wording import printable, shown

NOTHING = "not said"
# What stands for the numbers by which the hub reckons: nobody reads them one by one.
RECKONED = "what the hub reckons by"
SEASONS = "seasons from "  # so begin the keys of all seasons that differ


@dataclass(frozen=True)
class Change:
    """One key that differs: its path as an owner reads it, and both values as text."""

    key: str
    before: str
    after: str


def differing(before: str, after: str) -> dict[str, tuple[Any, Any]]:
    """Compare the texts of two valid property files; comments and order of keys do not count.

    Returns each key that differs with both of its values; None: it is not there. Seasons are told
    apart by their first day, so that one more moves no other.
    """
    old, new = [dict(_flat(tomllib.loads(text), "")) for text in (before, after)]
    return {
        key: (old.get(key), new.get(key))
        for key in dict.fromkeys([*new, *old])
        if old.get(key) != new.get(key)
    }


def changes(before: str, after: str) -> list[Change]:
    """What differs, as text; many numbers by which the hub reckons count as one change."""
    found = [
        Change(key, _text(was), _text(now)) for key, (was, now) in differing(before, after).items()
    ]
    numbers = [one for one in found if _is_reckoned(one.key)]
    if len(numbers) > 1:
        place = found.index(numbers[0])
        found = [one for one in found if one not in numbers]
        found.insert(place, _together(numbers))
    return found


def _flat(value: Any, path: str) -> Iterator[tuple[str, Any]]:
    """Every key of a document with its value, tables and lists of tables taken apart."""
    if isinstance(value, dict):
        for key, inner in value.items():
            joint = ": " if path.startswith(SEASONS) else "." if path else ""
            yield from _flat(inner, path + joint + dotted((key,)))
    elif isinstance(value, list) and value and all(isinstance(one, dict) for one in value):
        for number, one in enumerate(value, 1):
            if path == "seasons" and "from" in one:
                inner = {key: each for key, each in one.items() if key != "from"}
                yield from _flat(inner or one, SEASONS + printable(str(one["from"])))
            else:
                yield from _flat(one, f"{path}[{number}]")
    else:
        yield path, value


def _is_reckoned(key: str) -> bool:
    parts = key.split(".")
    return parts[:2] == ["estimate", "yard"] or (parts[0] == "zones" and parts[2:3] == ["ground"])


def _together(numbers: list[Change]) -> Change:
    """One change for all numbers by which the hub reckons."""

    def said(texts: list[str]) -> str:
        count = sum(text != NOTHING for text in texts)
        return f"{count} numbers" if count else NOTHING

    before, after = [said([getattr(one, side) for one in numbers]) for side in ("before", "after")]
    if NOTHING not in (before, after):
        before, after = f"{len(numbers)} numbers", "others"
    return Change(RECKONED, before, after)


def _text(value: Any) -> str:
    if value is None:
        return NOTHING
    return printable(value) if isinstance(value, str) else shown(value)
