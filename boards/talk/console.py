"""A console: lines typed on a stream, and one line of the answer at a time.

Nothing is waited for. What is typed is taken a character at a time; of an answer, and of what the
hub tells by itself, each look says at most one line, so that no valve has to wait for the rest.

`words` and `verbs` are loaded for an answer, one of them a look, and dropped after it: while nobody
talks, they take no memory.
"""

import select
import sys

from evenclay.boards import talk
from evenclay.controller import const
from evenclay.controller.runner import Restart

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from typing import IO

    from evenclay.boards.talk.words import Desk, Event

_LINE_MOST = const(80)  # no command is longer; more is noise on the line
_UNTOLD_MOST = const(64)  # events that wait to be told; as many as the hub keeps


class Console:
    """Lines typed on `stream`, and answers by `say`.

    untold: events that the hub has told of and that were not said yet
    """

    _desk: "Callable[[], Desk]"

    def __init__(self, stream: "IO[str]", say: "Callable[[str], None]" = print) -> None:
        self._stream = stream
        self._say = say
        self._poll = select.poll()
        self._poll.register(stream, select.POLLIN)
        self._line = ""
        self._lines: "Iterator[str] | None" = None  # of the answer under way
        self.untold: "list[Event]" = []

    def serve(self, desk: "Callable[[], Desk]") -> None:
        """Begin with a greeting. `desk` makes what an answer needs of the hub."""
        self._desk = desk
        self._lines = self._answer("")

    def tell(self, event: "Event") -> None:
        """Keep an event to be said; the oldest is dropped where too many wait."""
        if len(self.untold) >= _UNTOLD_MOST:
            self.untold.pop(0)
        self.untold.append(event)

    def look(self) -> bool:
        """Take what was typed, and say a line. Returns whether there is more to say.

        Raises Restart where a turn of the hub does, and nothing else.
        """
        try:
            if self._lines is None:
                typed = self._typed()
                if typed:
                    self._say("> " + typed)
                if typed or self.untold:
                    self._lines = self._answer(typed or None)
            if self._lines is not None:
                for text in self._lines:
                    if text:
                        self._say(text)
                    return True
        except Restart:
            raise
        except Exception as error:  # no valve is to suffer for what is only said
            self.untold = self.untold[1:]  # it may be what cannot be told
            self._say("That went wrong, please report it: %s" % type(error).__name__)
        if self._lines is not None:
            self._lines = None
            for name in ("words", "verbs"):
                sys.modules.pop("evenclay.boards.talk." + name, None)
                if hasattr(talk, name):
                    delattr(talk, name)
        return bool(self.untold)

    def _answer(self, typed: "str | None") -> "Iterator[str]":
        """Yield "" after each module that was loaded, then an answer, then what the hub has told.

        typed: a line; "": at first; None: there is none
        """
        desk = self._desk()
        from evenclay.boards.talk.words import folded

        yield ""
        if typed is not None:
            from evenclay.boards.talk.verbs import answer

            yield ""
            yield from answer(desk, typed)
        while self.untold:
            yield from folded(desk.told(self.untold.pop(0)))

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
