"""What an owner may type, and the answers: `answer` is the one function of it all.

A console, a web page or a message calls it with a line and sends on what it yields, line by line.
Each line is worked out when it is asked for, so a hub can take a turn between any two.
"""

from evenclay.boards.talk.state import state, why_not
from evenclay.boards.talk.words import ASKS, span
from evenclay.controller import TYPE_CHECKING, const, events, ports
from evenclay.controller.civil import date_of, day_of
from evenclay.controller.limits import DAY_S, RUN_LEAST_S, ZONES_MAX

if TYPE_CHECKING:
    from collections.abc import Iterator

    from evenclay.boards.talk.words import Desk, Event
    from evenclay.controller.ports import Asked

_WIDTH = const(80)  # no line of an answer is longer
_INDENT_LEAST = const(40)  # a line is broken at a space behind this
_HOLD_MOST_H = const(2160)  # 90 days: whoever wants more closes the season in the plan
_RUN_MOST_MIN = const(240)  # no plan allows a longer run
_RAIN_MOST_UM = const(299999)  # no day brings more
_ANYWAY_LEAST = const(5)  # LOST_CLOCK to WET_SOIL: what a run may go against
_ANYWAY_MOST = const(9)
# Lines of words.txt.
_DO = const(64)  # what to do about what is wrong, from NO_FLOW to SUPPLY_NO_FLOW, and the clock
_NO_FLOW = const(27)
_SUPPLY_NO_FLOW = const(37)
_DO_BROKEN = const(69)
_DO_CLOCK = const(75)
_HELP = const(76)
_HELPS = const(14)
_UNKNOWN = const(90)
_LIKE_THIS = const(91)
_WHICH = const(92)
_NOT_DONE = const(93)
_ANYWAY = const(94)
_DONE = const(95)  # then what is said where stop, clear and a finding change nothing
_NO_TIME = const(99)
_RESTS = const(100)
_NO_ALARM = const(101)
_LIGHT = const(102)  # four of them
_UNTIL = const(106)
# What a board measures: the field of `Seen`, and the place of its first entry; -1: it is no list.
_SENSORS = (
    ("battery_mv", -1),
    ("temp_mc", -1),
    ("rain_um", -1),
    ("meter_ml", ZONES_MAX),
    ("soil_vwc_ppt", 0),
)
_SILENT = {"stop": 96, "clear": 97, "check": 98, "sample": 98}


def answer(desk: "Desk", typed: str) -> "Iterator[str]":
    """Yield the lines of the answer to a typed line, none longer than 80 characters."""
    verb, *words = typed.lower().split() or [""]
    lines = {"status": _status, "why": _why, "log": _log, "alarms": _alarms, "clock": _clock}
    try:
        if verb == "help":
            yield from _help(desk, "")
        elif verb in lines:
            for one in lines[verb](desk, words):
                yield from folded(one)
        else:
            for one in _obeyed(desk, verb, _asked(desk, verb, words)):
                yield from folded(one)
    except KeyError:
        yield desk.text(_UNKNOWN)
    except ValueError:
        yield desk.text(_LIKE_THIS)
        yield from _help(desk, verb)


def _help(desk: "Desk", verb: str) -> "Iterator[str]":
    """The lines of help, or that of one verb, with a zone of this house in each example."""
    for number in range(_HELP, _HELP + _HELPS):
        line = desk.text(number).replace("west", desk.runner.hub.plan.zones[0].name)
        if not verb or line.split()[0].rstrip(":") == verb:
            yield from folded(line)


def folded(text: str) -> "Iterator[str]":
    """Yield a text in lines of at most 80 characters; those after the first are indented."""
    while len(text) > _WIDTH:
        at = text.rfind(" ", _INDENT_LEAST, _WIDTH)
        if at < 0:
            at = _WIDTH - 1
        yield text[:at]
        text = "  " + text[at:]
    yield text


def recent(desk: "Desk") -> "Iterator[Event]":
    """Yield the events that are kept, the newest first: the one place that reads them."""
    kept = desk.runner.hub.faults.log.events()
    while kept:
        yield kept.pop()


# What changes nothing.


def _status(desk: "Desk", _words: "list[str]") -> "Iterator[str]":
    hub = desk.runner.hub
    wall_s, local_s = desk.now()
    yield "Now: %s%s" % (
        "%s, %s, " % (desk.date(local_s // DAY_S), desk.at(wall_s)) if wall_s else "",
        desk.text(_LIGHT + state(desk.runner, desk.up_s())),
    )
    for zone in range(len(hub.plan.zones)):
        line = "%s%s; today given %s" % (
            desk.name(zone),
            _outlook(desk, zone),
            span(hub.record.used_s[zone]),
        )
        if hub.plan.hub.estimate:
            line += "; lacks " + desk.amount(max(hub.estimates.want_um(zone), 0), "um")
        yield line
    for what, first in _SENSORS:
        shown = getattr(desk.seen, what)
        line = ""
        for number, value in enumerate(shown if first >= 0 else [shown]):
            if value is not None:
                raw = desk.raw(what, number) if desk.raw else ""
                line += ", %s%s%s" % (
                    desk.name(first + number).replace(":", "") if first >= 0 else "",
                    desk.amount(value, what.split("_")[-1]),
                    " (%s)" % raw if raw else "",
                )
        if line:
            yield what.split("_")[0] + ":" + line[1:]
    yield from _alarms(desk, [])


def _outlook(desk: "Desk", zone: int) -> str:
    """What a zone does, or when it may run next, or why it may not."""
    hub = desk.runner.hub
    if hub.runs.under_way[zone]:
        return "open, %s left" % span(max(hub.guard.end_up_s[zone] - desk.up_s(), 0))
    why = why_not(hub, zone, desk.up_s())
    if not why and hub.record.waiting >> zone & 1:
        why = hub.days.held[zone] or events.OPEN_LIMIT
    next_s, row = desk.next_cycle()
    if why or not row:
        return "not now, " + desk.text(why)
    run_s = hub.estimates.run(zone, row)[0]
    return "next %s, %s" % (
        desk.at(next_s),
        span(run_s) if run_s >= RUN_LEAST_S else desk.text(hub.estimates.why_none(zone)),
    )


def _why(desk: "Desk", words: "list[str]") -> "Iterator[str]":
    """The last decision about a zone, and the figures that it goes by."""
    zone = _zone(desk, words)
    if zone < 0:
        yield _which(desk)
        return
    hub = desk.runner.hub
    amount = desk.amount
    for event in recent(desk):
        if event[1] == zone and (event[0] < events.LOCKED or event[0] == events.REFUSED):
            yield desk.told(event)
            break
    yield "Now: " + _outlook(desk, zone)
    if hub.plan.hub.estimate:
        yield "The last whole day: used %s, rain %s, hose %s, beside %s, found %s" % tuple(
            [amount(um, "um") for um in hub.estimates.accounts[zone]]
        )
        yield "It lacks %s of its target; from %s on it gets water." % (
            amount(max(hub.estimates.want_um(zone), 0), "um"),
            amount(hub.plan.hub.dose_um, "um"),
        )
    yield "Today: given %s, at most %s more, %s at a time." % (
        span(hub.record.used_s[zone]),
        span(hub.estimates.room_s(zone)),
        span(hub.plan.zones[zone].longest_s),
    )


def _log(desk: "Desk", words: "list[str]") -> "Iterator[str]":
    left = _within((words or ["10"])[0], 1, 999)
    for event in recent(desk):
        if left > 0:
            yield desk.told(event)
        left -= 1


def _alarms(desk: "Desk", _words: "list[str]") -> "Iterator[str]":
    standing = desk.runner.hub.faults.alarms
    for place, why in standing:
        yield "ALARM, %s%s" % (desk.name(place), desk.text(why))
        do = _DO_BROKEN
        if _NO_FLOW <= why <= _SUPPLY_NO_FLOW:
            do = _DO - _NO_FLOW + why
        yield "  " + desk.text(_DO_CLOCK if why == events.CLOCK else do)
    trouble = desk.runner.trouble
    if trouble.count:
        yield "%d times in a day: %s" % (trouble.count, trouble.text)
    if not standing:
        yield desk.text(_NO_ALARM)


def _clock(desk: "Desk", words: "list[str]") -> "Iterator[str]":
    """Set the clock, or show it; the next cycle shows whether the time zone is right."""
    if words:
        date, clock = words
        year, month, of_month = [int(part) for part in date.split("-")]
        hour, minute = [int(part) for part in clock.split(":")]
        day = day_of(year, month, of_month)
        if not (
            date_of(day) == (year, month, of_month)
            and 2024 < year < 2100
            and 0 <= hour < 24
            and 0 <= minute < 60
        ):
            raise ValueError
        desk.now()
        wall_s = desk.agenda.time.wall_s(day * DAY_S + hour * 3600 + minute * 60)
        yield from _obeyed(desk, "", (ports.ASK_CLOCK, -1, wall_s))
    wall_s, local_s = desk.now()
    if not wall_s:
        yield desk.text(_NO_TIME)
        return
    yield "%s, %s here, %+.1f h from UTC" % (
        desk.date(local_s // DAY_S),
        desk.at(wall_s),
        (local_s - wall_s) / 3600,
    )
    next_s, _ = desk.next_cycle()
    yield "Next cycle: " + (desk.at(next_s) if next_s else "-")


# What the hub is asked for.


def _zone(desk: "Desk", words: "list[str]") -> int:
    """Take a zone's name, which may have spaces, out of the words. Returns its number, or -1."""
    for most in range(len(words), 0, -1):
        for zone, part in enumerate(desk.runner.hub.plan.zones):
            if part.name.lower() == " ".join(words[:most]):
                words[:] = words[most:]
                return zone
    return -1


def _which(desk: "Desk") -> str:
    return desk.text(_WHICH) + " " + ", ".join([part.name for part in desk.runner.hub.plan.zones])


def _within(word: str, least: int, most: int) -> int:
    """Return a typed number. Raises ValueError outside least..most."""
    value = int(word)
    if not least <= value <= most:
        raise ValueError
    return value


def _asked(desk: "Desk", verb: str, words: "list[str]") -> "Asked":
    """Return the command that was typed; zone -2: none was named, or a wrong one.

    Raises ValueError where the rest of the line is wrong, KeyError for an unknown verb.
    """
    zone = -1
    value: object = 0
    asks = desk.text(ASKS).split()
    name = "hold" if verb == "release" else verb
    if name not in asks:
        raise KeyError
    what = asks.index(name)
    if verb in ("run", "check", "sample") or (words and verb == "clear"):
        zone = _zone(desk, words)
        if zone < 0:
            return what, -2, 0
    if verb == "run":
        if words[1:] == ["anyway"]:
            what = ports.ASK_RUN_ANYWAY
            words.pop()
        (word,) = words
        value = 60 * _within(word, 1, _RUN_MOST_MIN)
    elif verb == "check":
        value = tuple([("dry", "firm", "wet").index(word) + ports.DRY for word in words])
    elif verb == "sample":
        value = tuple([_within(word, 0, ports.SAMPLE_MOST) for word in words])
    elif verb == "hold":
        word, unit = words
        each_h = 24 if unit in ("days", "day") else 1
        if each_h == 1 and unit != "h":
            raise ValueError
        value = 3600 * each_h * _within(word, 1, _HOLD_MOST_H // each_h) + desk.now()[0]
    elif verb == "rain":
        word, unit = words
        um = float(word) * (25400 if unit.startswith("in") else 1000)
        if unit not in ("mm", "in", "inch", "inches") or not 0 <= um <= _RAIN_MOST_UM:
            raise ValueError
        value = int(um)
    elif words:
        raise ValueError
    if value == ():
        raise ValueError
    return what, zone, value


def _obeyed(desk: "Desk", verb: str, asked: "Asked") -> "Iterator[str]":
    """Hand the hub a command, and tell how it went."""
    if asked[1] < -1:
        yield _which(desk)
        return
    if verb == "hold" and not desk.now()[0]:
        yield desk.text(_NO_TIME)
        return
    if desk.runner.rest_up_s:
        yield "%s %s." % (desk.text(_RESTS), span(desk.runner.rest_up_s - desk.up_s()))
        return
    silent = True
    for event in desk.give(asked):
        what, _, why, value = event[:4]
        if what == events.REFUSED and value == asked[0]:
            yield "%s %s" % (desk.text(_NOT_DONE), desk.text(why))
            if value == ports.ASK_RUN and _ANYWAY_LEAST <= why <= _ANYWAY_MOST:
                yield desk.text(_ANYWAY)
            return
        if what != events.ACCEPTED:
            silent = False
            yield desk.told(event)
    if verb == "hold":
        yield "%s %s" % (desk.text(_UNTIL), desk.at(desk.runner.hub.record.hold_s))
    elif silent and verb:
        yield desk.text(_SILENT.get(verb, _DONE))
