"""Where a key stands in a TOML text. Only asked when there is a mistake to report."""

import tomllib
from collections.abc import Iterator
from typing import Any

# Keys, and numbers of list items from 0, from the top of the file down.
KeyPath = tuple[str | int, ...]
_LONGEST_STATEMENT = 200  # lines; a longer list ends the index, and what follows goes by its table


def statements(text: str) -> Iterator[tuple[int, KeyPath, Any]]:
    """Yield the line, path and value of each statement; a table header's value is None.

    A statement is the shortest run of lines that TOML accepts alone, so no second grammar is
    needed here. Ends at the first line that belongs to none. Lists count from 0.
    """
    table: KeyPath = ()
    counts: dict[KeyPath, int] = {}
    for line, head, parsed in _chunks(text):
        if not parsed:
            continue
        if head.startswith("["):
            keys, _ = _walk(parsed, header=True)
            table = _resolve(keys, counts)
            if head.startswith("[["):
                counts[table] = counts.get(table, -1) + 1
                table = (*table, counts[table])
            yield line, table, None
        else:
            keys, value = _walk(parsed, header=False)
            yield line, (*table, *keys), value


def lines_of(text: str) -> dict[KeyPath, int]:
    """Return the first line of every table, key and list item in a valid TOML text."""
    found: dict[KeyPath, int] = {}
    lines = text.split("\n")
    for line, path, value in statements(text):
        for end in range(1, len(path) + 1):
            found.setdefault(path[:end], line)
        if isinstance(value, list):
            for index, at in enumerate(_item_lines(lines[line - 1 :], len(value))):
                found.setdefault((*path, index), line + at)
                _note_inside(found, (*path, index), value[index], line + at)
        else:
            _note_inside(found, path, value, line)
    return found


def line_of(text: str, path: KeyPath) -> int:
    """Line of a path, or of the nearest table around it; 1 where nothing of it stands."""
    found = lines_of(text)
    for end in range(len(path), 0, -1):
        if path[:end] in found:
            return found[path[:end]]
    return 1


def path_at(text: str, line: int) -> KeyPath:
    """KeyPath of the last statement that begins at or before a line, as far as the text is TOML."""
    last: KeyPath = ()
    for begins, path, _ in statements(text):
        if begins > line:
            break
        last = path
    return last


def unread_line(text: str) -> int:
    """Line at which the first statement begins that TOML does not accept alone; 1 if none does."""
    return next((line for line, _, parsed in _chunks(text) if parsed is None), 1)


def _chunks(text: str) -> Iterator[tuple[int, str, dict[str, Any] | None]]:
    """Yield line, first line's text and content of each statement. The first
    that TOML does not accept has None as its content, and is the last."""
    lines = text.split("\n")
    at = 0
    while at < len(lines):
        length, parsed = _statement(lines, at)
        yield at + 1, lines[at].lstrip(), parsed
        if parsed is None:
            return
        at += length


def _statement(lines: list[str], at: int) -> tuple[int, dict[str, Any] | None]:
    for length in range(1, min(_LONGEST_STATEMENT, len(lines) - at) + 1):
        try:
            return length, tomllib.loads("\n".join(lines[at : at + length]))
        except (ValueError, RecursionError):
            continue
    return 0, None


def _walk(parsed: dict[str, Any], *, header: bool) -> tuple[tuple[str, ...], Any]:
    """Keys of a one-path document, and the value at its end.

    `a.b = {c = 1}` and `a.b.c = 1` parse alike; both then stand on one line, so either will do.
    """
    keys: list[str] = []
    value: Any = parsed
    while isinstance(value, dict) and len(value) == 1:
        key, value = next(iter(value.items()))
        keys.append(key)
        if header and isinstance(value, list):
            break
    return tuple(keys), value


def _resolve(keys: tuple[str, ...], counts: dict[KeyPath, int]) -> KeyPath:
    """A header's path, with the number of the list item that is open wherever it passes a list."""
    path: KeyPath = ()
    for place, key in enumerate(keys):
        path = (*path, key)
        if path in counts and place + 1 < len(keys):
            path = (*path, counts[path])
    return path


def _note_inside(found: dict[KeyPath, int], path: KeyPath, value: Any, line: int) -> None:
    if isinstance(value, dict):
        inside: list[tuple[str | int, Any]] = list(value.items())
    elif isinstance(value, list):
        inside = list(enumerate(value))
    else:
        return
    for key, item in inside:
        found.setdefault((*path, key), line)
        _note_inside(found, (*path, key), item, line)


def _item_lines(lines: list[str], count: int) -> list[int]:
    """For each item of the list that `lines` begin with, the line it stands on, from 0."""
    found: list[int] = []
    for at in range(min(_LONGEST_STATEMENT, len(lines))):
        for end in ("\n]", ""):  # the list cut short after this line, or whole
            try:
                items = _walk(tomllib.loads("\n".join(lines[: at + 1]) + end), header=False)[1]
            except (ValueError, RecursionError):
                continue
            found += [at] * (len(items) - len(found))
        if len(found) >= count:
            break
    return found[:count]
