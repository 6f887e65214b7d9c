"""Mistakes in a property file, and the error that lists them, one line each."""

import re
from dataclasses import dataclass, replace

from evenclay.tools.property.file.key_lines import KeyPath, line_of
from evenclay.tools.property.file.wording import printable, shown


@dataclass(frozen=True)
class Mistake:
    """One thing wrong with a property: where, what was found, what is allowed."""

    path: KeyPath
    found: str
    allowed: str


@dataclass(frozen=True)
class Source:
    """The file a property came from, for messages that name a line.

    text: with plain line ends. seasons: where in the file each season stands, in the order of the
    year; empty: as there. line_end: of the file.
    """

    name: str
    text: str
    seasons: tuple[int, ...] = ()
    line_end: str = "\n"

    def as_file(self, text: str) -> str:
        """A new text of the file as it is written, with the file's own line ends."""
        return text.replace("\n", self.line_end)

    def place(self, path: KeyPath) -> KeyPath:
        """A path of the property as it stands in the file."""
        if self.seasons and path[:1] == ("seasons",) and len(path) > 1:
            return ("seasons", self.seasons[int(path[1])], *path[2:])
        return path

    def error(self, mistakes: list[Mistake]) -> "PropertyError":
        """Return the error that lists these mistakes in the order of their lines."""
        mistakes = [replace(mistake, path=self.place(mistake.path)) for mistake in mistakes]
        placed = [(line_of(self.text, mistake.path), mistake) for mistake in mistakes]
        placed.sort(key=lambda item: item[0])
        return PropertyError([mistake_line(self.name, line, mistake) for line, mistake in placed])


class PropertyError(ValueError):
    """A property file that cannot be used; `lines` holds one line a mistake."""

    def __init__(self, lines: list[str]) -> None:
        super().__init__("\n".join(lines))
        self.lines = lines


def mistake_line(name: str, line: int, mistake: Mistake) -> str:
    """Return the line that tells of a mistake: file, line, key path, what was found, what to do."""
    where = f"{printable(name)}:{line}: {dotted(mistake.path)}"
    return f"{where}: found {mistake.found}, allowed {mistake.allowed}"


def dotted(path: KeyPath) -> str:
    """Return a path as an owner reads it: `seasons[2].from`; lists count from 1."""
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part + 1}]"
            continue
        bare = re.fullmatch(r"[A-Za-z0-9_-]+", part)
        text += ("." if text else "") + (part if bare else shown(part))
    return text or "file"
