"""The text of a property file, and what TOML says in it."""

import re
import tomllib
from pathlib import Path
from typing import Any

from evenclay.tools.property.file.key_lines import path_at, unread_line
from evenclay.tools.property.file.mistakes import Mistake, PropertyError, Source, mistake_line
from evenclay.tools.property.file.toml_mistakes import Broken, broken_of
from evenclay.tools.property.file.wording import printable

_TOO_DEEP, _TOO_LONG = "lists or tables nested too deep", "a number with thousands of digits"
_BYTES_MAX = 65536  # a whole street fits; more is not a property file


def read_text(path: Path) -> str:
    """Return the text of a property file. Raises PropertyError where there is none to read."""
    name = printable(str(path))
    try:
        with open(path, "rb") as file:
            data = file.read(_BYTES_MAX + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise PropertyError([f"{name}: found no property file: {reason}"]) from None
    if len(data) > _BYTES_MAX:
        reason = f"found more than {_BYTES_MAX} bytes, allowed a property file"
        raise PropertyError([f"{name}: {reason}"])
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise PropertyError(
            [f"{name}:{line}: file: found bytes that are not UTF-8, allowed UTF-8 text"]
        ) from None


def document_of(source: Source) -> dict[str, Any]:
    """Return what TOML says in a file. Raises PropertyError with one line where it is not TOML."""
    try:
        return tomllib.loads(source.text)
    except RecursionError:
        reason, line = _TOO_DEEP, unread_line(source.text)
    except ValueError as error:
        reason, line = _reason(source.text, str(error))
    if "overwrite a value" in reason or "twice" in reason:
        mistake = Mistake(path_at(source.text, line), "it twice", "it once")
        raise PropertyError([mistake_line(source.name, line, mistake)])
    broken = broken_of(source.text) or Broken(line, path_at(source.text, line))
    found, allowed = broken.found, broken.allowed
    if not found or reason in (_TOO_DEEP, _TOO_LONG):
        found = f"text that is not TOML ({reason[0].lower() + reason[1:]})"
        allowed = "TOML: [table] or key = value"
    mistake = Mistake(broken.path, printable(found), printable(allowed))
    raise PropertyError([mistake_line(source.name, broken.line, mistake)])


def _reason(text: str, reason: str) -> tuple[str, int]:
    """Why TOML does not accept a text, and the line at which it gave up."""
    match = re.search(r" \((?:at line (\d+), column \d+|at end of document)\)$", reason)
    line = text.rstrip("\n").count("\n") + 1
    if match is not None:
        reason = reason[: match.start()]
        line = int(match[1]) if match[1] else line
    if "digits" in reason:  # Python's limit on the length of a number
        return _TOO_LONG, unread_line(text)
    return reason, line
