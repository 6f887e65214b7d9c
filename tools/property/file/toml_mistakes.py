"""What is wrong with a line that TOML does not accept: where, what stands there, what to write.

This runs only when there is a mistake to report. It guesses from one line, as a reader would.
"""

import re
import tomllib
from dataclasses import dataclass

from evenclay.tools.property.file.key_lines import KeyPath, statements, unread_line

_KEY = r"[A-Za-z0-9_-]+(?:\.[A-Za-z0-9_-]+)*"
_HEADER = re.compile(r"(\[\[?)([^\[\]]*)(\]*)")
_ASSIGNED = re.compile(r"([^=\"'{\[]+?)\s*=\s*(.*)")
_UNASSIGNED = re.compile(rf"({_KEY})\s*(?::\s*|\s)(\S.*)")
_INNER = re.compile(rf"({_KEY})\s*=\s*([^,{{}}\[\]\"']+)")  # of a table on one line
_SHOWN = 40  # characters of a line that a message repeats
_COMMENT = re.compile(r"\s+#.*$")
_CURLY = str.maketrans("\u201c\u201d\u201e\u2018\u2019", '"""\'\'')  # as word processors write


@dataclass(frozen=True)
class Broken:
    """A statement that TOML does not accept: its line, its path, what was found and is allowed.

    found: empty where the line does not show what is wrong.
    """

    line: int
    path: KeyPath
    found: str = ""
    allowed: str = ""


def broken_of(text: str) -> Broken | None:
    """The first statement of a text that TOML does not accept alone; None where nobody can tell."""
    line = unread_line(text)
    lines = text.split("\n")
    statement = _COMMENT.sub("", lines[line - 1].strip())
    if _accepted(statement) and statement:
        return None
    table: KeyPath = ()
    for begins, path, value in statements(text):
        if begins > line:
            break
        table = path if value is None else table
    if statement.startswith("["):
        return _header(line, statement)
    assigned = _ASSIGNED.fullmatch(statement)
    if assigned is None:
        return _unassigned(line, table, statement)
    key, value = assigned[1].strip(), assigned[2]
    if not re.fullmatch(_KEY, key):
        found = f'a key of several words, "{key}"'
        return Broken(line, table, found, "one word, such as " + re.sub(r"\s+", "_", key))
    path = (*table, *key.split("."))
    return _value(line, path, value)


def _accepted(statement: str) -> bool:
    try:
        tomllib.loads(statement)
    except (ValueError, RecursionError):
        return False
    return True


def _header(line: int, statement: str) -> Broken | None:
    """A table's name with a space in it, or without its bracket."""
    match = _HEADER.match(statement)
    if match is None:
        return None
    opened, closed = match[1], "]" * len(match[1])
    name = match[2].strip()
    parts = [part.strip() for part in name.split(".")]
    quoted = ".".join([part if re.fullmatch(_KEY, part) else f'"{part}"' for part in parts])
    if any(" " in part and not part.startswith('"') for part in parts):
        dashed = ".".join([re.sub(r"\s+", "-", part) for part in parts])
        allowed = f"{opened}{quoted}{closed} or {opened}{dashed}{closed}"
        return Broken(line, tuple(parts), "a name with a space and no quotes", allowed)
    if match[3] != closed:
        allowed = f"{opened}{name}{closed}"
        return Broken(line, tuple(parts), f"{opened} without its {closed}", allowed)
    return None


def _unassigned(line: int, table: KeyPath, statement: str) -> Broken | None:
    """A key with a colon or nothing between it and its value."""
    match = _UNASSIGNED.fullmatch(statement)
    if match is None:
        return None
    key, value = match[1], match[2]
    allowed = f"{key} = {value}"
    if not _accepted(allowed):
        allowed = f"{key} = ..."
    return Broken(line, (*table, *key.split(".")), f'{key} without "="', allowed)


def _value(line: int, path: KeyPath, value: str) -> Broken:
    """A value that lacks a quote, a bracket, or its line's end."""
    straight = value.translate(_CURLY)
    if straight != value and _accepted(f"x = {straight}"):
        return Broken(line, path, "curly quotes", f"straight ones: {straight}")
    if value.count('"') % 2:
        whole = f'"{value.strip(chr(34))}"'
        if value.count('"') > 1 or value.startswith(("{", "[")):
            whole = 'a " before and after each text'
        return Broken(line, path, f"{_short(value)}, where a quote is missing", whole)
    if value.startswith("{") and "}" not in value:
        return Broken(line, path, "a { that does not end on its line", "all of { ... } on one line")
    if value.startswith("{"):
        for key, inner in _INNER.findall(value):
            if not _accepted(f"x = {inner.strip()}"):
                return _unquoted(line, (*path, *key.split(".")), inner.strip())
    if value.startswith("["):
        return Broken(line, path, "a list that is not right, or does not end", "[ item, item ]")
    if value and '"' not in value:
        return _unquoted(line, path, value)
    return Broken(line, path)


def _unquoted(line: int, path: KeyPath, value: str) -> Broken:
    """A text without quotes, or a number that TOML writes otherwise."""
    if value.lower() in ("true", "false"):
        return Broken(line, path, value, value.lower())
    point = value.replace(",", ".")
    if re.fullmatch(r"[+-]?\d+,\d+", value):
        return Broken(line, path, f"{value} with a comma", f"a point: {point}")
    if re.fullmatch(r"[+-]?0+\d+(\.\d+)?", value):
        return Broken(line, path, value, f"no 0 in front: {value.lstrip('0')}")
    return Broken(line, path, f"{_short(value)} without quotes", f'"{_short(value)}"')


def _short(value: str) -> str:
    return value if len(value) <= _SHOWN else value[:_SHOWN] + "..."
