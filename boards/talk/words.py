"""Sentences for people: quantities in the property's units, local time, and what each event means.

The texts are lines of `words.txt`, which a bundle brings to a board as a file beside the plan, so
that they take no memory. The numbers of its lines stand here.
"""

from evenclay.controller import const
from evenclay.controller.agenda import PER_DAY, Agenda
from evenclay.controller.civil import FIRST_WEEKDAY, date_of
from evenclay.controller.limits import DAY_S, ZONES_MAX
from evenclay.controller.ports import ASK_RAIN

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from evenclay.controller.plan import RowPart
    from evenclay.controller.ports import Asked, Seen
    from evenclay.controller.runner import Runner

    Event = tuple[int, ...]

_WHY = const(0)  # a line a code, as the next two have
_SAID = const(50)
ASKS = const(111)  # what may be asked for, in the order of its codes
_NAMES = const(112)  # of weekdays and months
_AMOUNTS = const(113)  # of each unit: how much of the hub's one is, and how it is written
_US_AMOUNTS = const(118)
_UNITS = const(123)  # "us" or "metric"; behind it the names of the spigots
_RECORD = const(80)  # bytes of a line in that file
_WIDTH = const(80)  # no line of an answer is longer
_YEAR = const(366)  # days in which each season comes; a year's look takes a board moments
_INDENT_LEAST = const(40)  # a line is broken at a space behind this


class Desk:
    """What the answers need of a hub. Nothing here does any input or output.

    runner: the hub's; its hub may be another after an error or a new plan
    up_s: a function that gives the uptime, s
    give: a function that hands the hub a command, has it take a turn, and returns the events by
        which it answered
    seen: what the board measured last
    text: a function that gives a line of `words.txt`, counted from 0; "" behind its end. Its last
        line is "us" or "metric", behind which a bundle adds the names of the spigots
    raw: a function `raw(what, number)` that gives, as text, what a sensor shows before it is
        converted, and "" for none; `what` is the field of `Seen`, `number` the zone or spigot
    """

    power_pin = True  # something tells the hub that power fails
    crc = -1  # of the plan that `agenda` is of
    agenda: Agenda
    _from_s = 0
    _next: "tuple[int, RowPart | None]" = (0, None)

    def __init__(
        self,
        runner: "Runner",
        up_s: "Callable[[], int]",
        give: "Callable[[Asked], list[Event]]",
        seen: "Seen",
        text: "Callable[[int], str]",
        raw: "Callable[[str, int], str] | None" = None,
    ) -> None:
        self.runner = runner
        self.up_s = up_s
        self.give = give
        self.seen = seen
        self.text = text
        self.us = text(_UNITS) == "us"
        self.raw = raw

    def now(self) -> "tuple[int, int]":
        """UTC and local time; both 0 while the clock is not known. Brings `agenda` up to date."""
        hub = self.runner.hub
        if self.crc != hub.plan.crc:
            self.agenda = Agenda(hub.plan)
            self.crc = hub.plan.crc
            self._next = 0, None
        wall_s = hub.clock.wall_s(self.up_s())
        return wall_s, self.agenda.time.local_s(wall_s) if wall_s else 0

    def next_cycle(self) -> "tuple[int, RowPart | None]":
        """UTC of the next cycle and its row; 0 and None without a clock, or where none comes."""
        wall_s, local_s = self.now()
        if not self._from_s <= wall_s < self._next[0]:  # what was last found holds until it begins
            agenda = self.agenda
            self._from_s = wall_s
            self._next = 0, None
            number = -1
            if wall_s:
                number = agenda.next_after(agenda.last_started(wall_s), local_s // DAY_S + _YEAR)
            if number >= 0:
                self._next = agenda.start_wall_s(number), agenda.row_of(number // PER_DAY)
        return self._next

    def at(self, wall_s: int) -> str:
        """A moment as `06:14`, with its date where that is not today."""
        _, now_s = self.now()
        day, of_day_s = divmod(self.agenda.time.local_s(wall_s), DAY_S)
        text = "%02d:%02d" % (of_day_s // 3600, of_day_s // 60 % 60)
        return text if day == now_s // DAY_S else self.date(day) + " " + text

    def name(self, place: int) -> str:
        """What an event is about: a zone or a spigot, with a colon; "" for the hub."""
        zones = self.runner.hub.plan.zones
        if 0 <= place < len(zones):
            return zones[place].name + ": "
        place -= ZONES_MAX - 1
        if place <= 0:
            return ""
        return "spigot %s: " % (self.text(_UNITS + place) or place)

    def amount(self, value: int, unit: str) -> str:
        """A quantity; `unit` is the hub's, as fields have it last in their names."""
        first = _AMOUNTS
        if self.us:
            first = _US_AMOUNTS
            if unit == "mc":
                value = value * 9 // 5 + 32000
        line = self.text(first + ("um", "ml", "mc", "mv", "ppt").index(unit))
        _, per, text = line.split(" ", 2)
        return text % (value / int(per))

    def date(self, day: int) -> str:
        """A day as `Fri 1 May 2026`."""
        names = self.text(_NAMES)
        year, month, of_month = date_of(day)
        weekday = (day + FIRST_WEEKDAY) % 7 * 3
        month = 18 + 3 * month
        return "%s %d %s %d" % (
            names[weekday : weekday + 3],
            of_month,
            names[month : month + 3],
            year,
        )

    def told(self, event: "Event") -> str:
        """An event as a sentence, with the time at which it happened."""
        what, place, why, value, ml, _, up_s, wall_s = event
        text = self.text(_SAID + what).format(
            who=self.name(place),
            why=self.text(_WHY + why),
            span=span(value),
            ml=", " + self.amount(ml, "ml") if ml else "",
            flow=self.amount(value, "ml"),
            depth=self.amount(abs(value), "um"),
            way="drier" if value > 0 else "wetter",
            asked=self.text(ASKS).split()[value] if 0 <= value <= ASK_RAIN else "",
            rain=self.amount(ml, "um"),
        )
        return (self.at(wall_s) if wall_s > 0 else "+" + span(up_s)) + " " + text


def span(seconds: int) -> str:
    """A length of time."""
    if seconds < 180:
        return "%d s" % seconds
    if seconds < 10800:
        return "%d min" % (seconds // 60)
    return "%d h" % (seconds // 3600)


def folded(text: str) -> "Iterator[str]":
    """Yield a text in lines of at most 80 characters; those after the first are indented."""
    while len(text) > _WIDTH:
        at = text.rfind(" ", _INDENT_LEAST, _WIDTH)
        if at < 0:
            at = _WIDTH - 1
        yield text[:at]
        text = "  " + text[at:]
    yield text


def file_text(path: str) -> "Callable[[int], str]":
    """Return a function that gives a line of a bundle's `words`, whose lines are equally long."""

    def text(number: int) -> str:
        with open(path, "rb") as file:
            file.seek(_RECORD * number)
            return str(file.read(_RECORD), "utf-8").strip()

    return text
