"""A console: lines typed on a stream, and one line of the answer at a time.

Nothing is waited for. What is typed is taken a character at a time; of an answer, and of what the
hub tells by itself, each look says at most one line, so that no valve has to wait for the rest.
"""

import select

from evenclay.boards.talk.verbs import answer, folded
from evenclay.controller import TYPE_CHECKING, const
from evenclay.controller.runner import Restart

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from typing import IO

    from evenclay.boards.talk.words import Desk, Event

_HELLO = const(107)  # lines of words.txt
_NO_POWER_PIN = const(108)
_RECORD = const(80)  # bytes of a line in that file
_LINE_MOST = const(80)  # no command is longer; more is noise on the line
_UNTOLD_MOST = const(64)  # events that wait to be told; as many as the hub keeps


def file_text(path: str) -> "Callable[[int], str]":
    """Return a function that gives a line of a bundle's `words`, whose lines are equally long."""

    def text(number: int) -> str:
        with open(path, "rb") as file:
            file.seek(_RECORD * number)
            return str(file.read(_RECORD), "utf-8").strip()

    return text


class Console:
    """Lines typed on `stream`, and answers by `say`.

    untold: events that the hub has told of and that were not said yet
    """

    def __init__(self, stream: "IO[str]", say: "Callable[[str], None]" = print) -> None:
        self._stream = stream
        self._say = say
        self._poll = select.poll()
        self._poll.register(stream, select.POLLIN)
        self._line = ""
        self._lines: "Iterator[str] | None" = None  # of the answer under way
        self.untold: "list[Event]" = []

    def greet(self, desk: "Desk", power_pin: bool) -> None:
        """Say at boot what this hub is, and what it lacks."""
        zones = desk.runner.hub.plan.zones
        text = desk.text(_HELLO) + " " + ", ".join([part.name for part in zones])
        self._lines = folded(text)
        if not power_pin:
            for part in zones:
                if not part.held:
                    self._lines = iter(list(folded(text)) + [desk.text(_NO_POWER_PIN)])

    def tell(self, event: "Event") -> None:
        """Keep an event to be said; the oldest is dropped where too many wait."""
        if len(self.untold) >= _UNTOLD_MOST:
            self.untold.pop(0)
        self.untold.append(event)

    def look(self, desk: "Desk") -> bool:
        """Take what was typed, and say a line. Returns whether there is more to say.

        Raises Restart where a turn of the hub does, and nothing else.
        """
        try:
            if self._lines is None:
                typed = self._typed()
                if typed:
                    self._say("> " + typed)
                    self._lines = answer(desk, typed)
                elif self.untold:
                    self._lines = folded(desk.told(self.untold.pop(0)))
            if self._lines is not None:
                for text in self._lines:
                    self._say(text)
                    return True
                self._lines = None
        except Restart:
            raise
        except Exception as error:  # no valve is to suffer for what is only said
            self._lines = None
            self._say("That went wrong, please report it: %s" % type(error).__name__)
        return bool(self.untold)

    def _typed(self) -> str:
        """Take what was typed since the last look. Returns a line once it is whole, or ""."""
        for _ in range(_LINE_MOST):
            if not self._poll.poll(0):
                return ""
            try:
                char = self._stream.read(1)
            except (OSError, ValueError):  # noise on the line is no text
                self._line = char = ""
            if not char:
                return ""
            if char in "\r\n":
                line, self._line = self._line, ""
                return line.strip()
            if char in "\b\x7f":
                self._line = self._line[:-1]
            else:
                self._line = (self._line + char)[-_LINE_MOST:]
        return ""
