"""What was raised, how often, and its text: kept in the note, so that it outlives a restart.

The note is one line of text: how many exceptions there were within a day, how many of the last of
them had the same text, when the first of them was, and that text.
"""

from . import limits
from ._const import const

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from typing import Any


class Trouble:
    """The exceptions of a day."""

    count = 0  # of exceptions
    same = 0  # of the last of them, with one text
    since_s = 0  # UTC of the first; 0: not known
    text = ""  # of the last: its type, and what it says

    def load(self, note: bytes) -> None:
        """Take over what a note holds; one that is empty or torn holds nothing."""
        try:
            count, same, since_s, text = note.decode().split(" ", 3)
            self.since_s = int(since_s)
            self.same = int(same) & 255
            self.count = int(count) & 255
            self.text = text
        except ValueError:
            pass

    def pack(self) -> bytes:
        """Return the note; nothing if there was no exception."""
        if not self.count:
            return b""
        return ("%d %d %d %s" % (self.count, self.same, self.since_s, self.text)).encode()

    def add(self, error: "Any", wall_s: "Any") -> None:
        """Count an exception, at `wall_s` (UTC, or None). A day begins with its first exception."""
        text = shown_error(error)
        if type(wall_s) is not int or not 0 < wall_s < limits.WALL_MAX:
            wall_s = 0
        if wall_s and self.since_s and not 0 <= wall_s - self.since_s < limits.DAY_S:
            self.count = self.same = self.since_s = 0
        if not self.since_s:
            self.since_s = wall_s
        if text != self.text:
            self.same = 0
        self.text = text
        self.same = min(self.same + 1, 255)
        self.count = min(self.count + 1, 255)

    def rest_s(self) -> int:
        """How long to rest after the last: twice as long each time, up to a bound."""
        return min(limits.REST_LEAST_S << min(self.count - 1, 8), limits.REST_MOST_S)


def shown_error(error: "Any") -> str:
    """Type and text of an exception; of a MemoryError the type, since its text names a size."""
    name = type(error).__name__  # not repr(): interpreters write it differently, and traces are one
    return name if name == "MemoryError" else ("%s: %s" % (name, error))[: limits.TEXT_MAX]
