"""How a message repeats what it found: on one short line that can be printed."""

from typing import Any

_SHOWN = 60  # characters of a found value that an error repeats


def shown(value: Any, reason: str = "") -> str:
    """Return a found value as one short printable line, with the reason it will not do."""
    if isinstance(value, bool):
        text = "true" if value else "false"
    elif isinstance(value, str):
        text = f'"{value}"'
    elif isinstance(value, dict):
        text = "a table"
    elif isinstance(value, list):
        text = f"[{', '.join([shown(item) for item in value[:8]])}]"
    else:
        try:
            text = str(value)
        except ValueError:
            text = "a number too long to show"
    text = printable(text)
    if len(text) > _SHOWN:
        text = text[:_SHOWN] + "..."
    return f"{text} ({printable(reason)})" if reason else text


def printable(text: str) -> str:
    """Return text with line breaks and control characters escaped."""
    return "".join([c if c.isprintable() else c.encode("unicode_escape").decode() for c in text])


def called(supply: str) -> str:
    """A spigot as a sentence names it: one that its owner calls a spigot needs no such word."""
    return supply if "spigot" in supply.lower() else f"spigot {supply}"
