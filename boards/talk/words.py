"""Sentences for people: quantities in the property's units, local time, and what each event means.

The texts are lines of `words.txt`, which a bundle brings to a board as a file beside the plan, so
that they take no memory. The numbers of its lines stand here.
"""

from evenclay.controller._const import TYPE_CHECKING, const
from evenclay.controller.agenda import Agenda
from evenclay.controller.civil import FIRST_WEEKDAY, date_of
from evenclay.controller.limits import DAY_S, ZONES_MAX
from evenclay.controller.ports import ASK_RAIN

if TYPE_CHECKING:
    from collections.abc import Callable

    from evenclay.controller.plan import RowPart
    from evenclay.controller.ports import Asked, Seen
    from evenclay.controller.runner import Runner

    Event = tuple[int, ...]

_WHY = const(0)  # a line a code, as the next two have
_SAID = const(50)
_UNITS = const(109)  # "us" or "metric"; behind it the names of the spigots
_ASKS = "hold check run run stop clear clock plan test sample rain"  # in the order of their codes
_NAMES = "MonTueWedThuFriSatSunJanFebMarAprMayJunJulAugSepOctNovDec"
# Shown units: how much one has of the hub's, and how it is written.
_SHOWN = {
    "um": (1000, "%.1f mm"),
    "ml": (1000, "%.1f L"),
    "mc": (1000, "%.1f C"),
    "mv": (1000, "%.2f V"),
    "ppt": (10, "%.1f %%"),
    "us um": (25400, "%.2f inch"),
    "us ml": (3785, "%.1f gal"),
}


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

    crc = -1  # of the plan that `agenda` is of
    agenda: Agenda

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
        wall_s = hub.clock.wall_s(self.up_s())
        return wall_s, self.agenda.time.local_s(wall_s) if wall_s else 0

    def next_cycle(self) -> "tuple[int, RowPart | None]":
        """UTC of the next cycle and its row; 0 and None where none is near, or no clock."""
        wall_s, local_s = self.now()
        agenda = self.agenda
        if wall_s:
            number = agenda.next_after(agenda.last_started(wall_s), local_s // DAY_S)
            if number >= 0:
                wall_s = agenda.start_wall_s(number)
                return wall_s, agenda.row_of(agenda.time.local_s(wall_s) // DAY_S)
        return 0, None

    def at(self, wall_s: int) -> str:
        """A moment as `06:14`, with its date where that is not today."""
        _, now_s = self.now()
        day, of_day_s = divmod(self.agenda.time.local_s(wall_s), DAY_S)
        text = "%02d:%02d" % (of_day_s // 3600, of_day_s // 60 % 60)
        return text if day == now_s // DAY_S else dated(day) + " " + text

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
        per, text = _SHOWN[unit]
        if self.us:
            if unit == "mc":
                return "%.1f F" % (value * 9 / 5000 + 32)
            per, text = _SHOWN.get("us " + unit, (per, text))
        return text % (value / per)

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
            asked=_ASKS.split()[value] if 0 <= value <= ASK_RAIN else "",
            rain=self.amount(ml, "um"),
        )
        return (self.at(wall_s) if wall_s > 0 else "+" + span(up_s)) + " " + text


def dated(day: int) -> str:
    """A day as `Fri 1 May 2026`."""
    year, month, of_month = date_of(day)
    weekday = (day + FIRST_WEEKDAY) % 7 * 3
    month = 18 + 3 * month
    names = _NAMES[weekday : weekday + 3], _NAMES[month : month + 3]
    return "%s %d %s %d" % (names[0], of_month, names[1], year)


def span(seconds: int) -> str:
    """A length of time."""
    if seconds < 180:
        return "%d s" % seconds
    if seconds < 10800:
        return "%d min" % (seconds // 60)
    return "%d h" % (seconds // 3600)
