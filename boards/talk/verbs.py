"""What an owner may type, and the answers: `answer` is the one function of it all.

A console, a web page or a message calls it with a line and sends on what it yields, line by line.
Each line is worked out when it is asked for, so a hub can take a turn between any two.
"""

from evenclay.boards.talk import state, why_not
from evenclay.boards.talk.words import ASKS, folded, span
from evenclay.controller import const, events, ports
from evenclay.controller.civil import date_of, day_of

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from collections.abc import Iterator

    from evenclay.boards.talk.words import Desk
    from evenclay.controller.ports import Asked

_DAY_S = const(86400)
_RUN_LEAST_S = const(60)  # those of `evenclay.controller.limits`, as the next
_ZONES_MAX = const(8)
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
_DONE = const(95)  # then what is said where stop, clear and a sample change nothing
_NO_TIME = const(99)
_RESTS = const(100)
_NO_ALARM = const(101)
_LIGHT = const(102)  # four of them
_UNTIL = const(106)
_HELLO = const(107)
_NO_POWER_PIN = const(108)
_TROUBLE = const(109)  # then what is said where a blade's finding changes nothing
# What a board measures: the field of `Seen`, and the place of its first entry; -1: it is no list.
_SENSORS = (
    ("battery_mv", -1),
    ("temp_mc", -1),
    ("rain_um", -1),
    ("meter_ml", _ZONES_MAX),
    ("soil_vwc_ppt", 0),
)
_SILENT = {"stop": 96, "clear": 97, "check": 110, "sample": 98}


def answer(desk: "Desk", typed: str) -> "Iterator[str]":
    """Yield the lines of the answer to a typed line, none longer than 80 characters.

    An empty line is answered with what this hub is, and what it lacks.
    """
    words = typed.lower().split() or [""]
    only_told = {
        "": _greeting,
        "help": _help,
        "status": _status,
        "why": _why,
        "log": _log,
        "alarms": _alarms,
        "clock": _clock,
    }
    try:
        for one in only_told.get(words[0], _obeyed)(desk, words):
            yield from folded(one)
    except KeyError:
        yield from folded("%s %s" % (desk.text(_WHICH), _names(desk)))
    except ValueError:
        like = list(_help(desk, typed.lower().split()))
        yield desk.text(_LIKE_THIS if like else _UNKNOWN)
        for one in like:
            yield from folded(one)


def _names(desk: "Desk") -> str:
    return ", ".join([part.name for part in desk.runner.hub.plan.zones])


def _zone(desk: "Desk", words: "list[str]") -> int:
    """Take a zone's name out of the words behind the verb. Returns its number.

    A name may have spaces, and may be a number: whatever can be a name is one, and the longest
    name counts. Raises KeyError if there is none.
    """
    for end in range(len(words), 1, -1):
        for zone, part in enumerate(desk.runner.hub.plan.zones):
            if part.name.lower().split() == words[1:end]:
                del words[1:end]
                return zone
    raise KeyError


def _within(word: str, least: int, most: int) -> int:
    """Return a typed number. Raises ValueError outside least..most."""
    value = int(word)
    if not least <= value <= most:
        raise ValueError
    return value


# What changes nothing.


def _greeting(desk: "Desk", _: "list[str]") -> "Iterator[str]":
    yield "%s %s" % (desk.text(_HELLO), _names(desk))
    if not desk.power_pin:
        for part in desk.runner.hub.plan.zones:
            if not part.held:
                yield desk.text(_NO_POWER_PIN)
                break


def _help(desk: "Desk", words: "list[str]") -> "Iterator[str]":
    """The lines of help, or those of a verb; the examples have the zone that was typed."""
    verb = words[0]
    try:
        zone = _zone(desk, words)
    except KeyError:
        zone = 0
    name = desk.runner.hub.plan.zones[zone].name
    for number in range(_HELP, _HELP + _HELPS):
        line = desk.text(number)
        if verb in ("help", line.split()[0].rstrip(":")):
            yield line.replace("west", name)


def _status(desk: "Desk", _: "list[str]") -> "Iterator[str]":
    hub = desk.runner.hub
    wall_s, local_s = desk.now()
    yield "Now: %s%s" % (
        "%s, %s, " % (desk.date(local_s // _DAY_S), desk.at(wall_s)) if wall_s else "",
        desk.text(_LIGHT + state(desk.runner, desk.up_s())),
    )
    for zone in range(len(hub.plan.zones)):
        line = "%s%s; today given %s" % (
            desk.name(zone),
            _outlook(desk, zone),
            span(hub.record.used_s[zone]),
        )
        if hub.plan.hub.estimate:
            line += "; lacks " + _lack(desk, zone)
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
    yield from _alarms(desk, _)


def _outlook(desk: "Desk", zone: int) -> str:
    """What a zone does, or when it may run next, or why it may not."""
    hub = desk.runner.hub
    if hub.runs.under_way[zone]:
        return "open, %s left" % span(max(hub.guard.end_up_s[zone] - desk.up_s(), 0))
    why = why_not(hub, zone, desk.up_s())
    if not why and hub.record.waiting >> zone & 1:
        why = events.OPEN_LIMIT if hub.guard.open_zones else events.GAP
        why = hub.days.held[zone] or why
    next_s, row = desk.next_cycle()
    if why or not row:
        return "not now, " + desk.text(why)
    run_s = hub.estimates.run(zone, row)[0]
    return "next %s, %s" % (
        desk.at(next_s),
        span(run_s) if run_s >= _RUN_LEAST_S else desk.text(hub.estimates.why_none(zone)),
    )


def _lack(desk: "Desk", zone: int) -> str:
    """What a zone lacks of its target."""
    return desk.amount(max(desk.runner.hub.estimates.want_um(zone), 0), "um")


def _why(desk: "Desk", words: "list[str]") -> "Iterator[str]":
    """The last decision about a zone, and the figures that it goes by."""
    zone = _zone(desk, words)
    hub = desk.runner.hub
    for event in reversed(hub.faults.log.events()):
        if event[1] == zone and (event[0] < events.LOCKED or event[0] == events.REFUSED):
            yield desk.told(event)
            break
    yield "Now: " + _outlook(desk, zone)
    if hub.plan.hub.estimate:
        yield "The last whole day: used %s, rain %s, hose %s, beside %s, found %s" % tuple(
            [desk.amount(um, "um") for um in hub.estimates.accounts[zone]]
        )
        yield "It lacks %s of its target; from %s on it gets water." % (
            _lack(desk, zone),
            desk.amount(hub.plan.hub.dose_um, "um"),
        )
    yield "Today: given %s, at most %s more, %s at a time." % (
        span(hub.record.used_s[zone]),
        span(hub.estimates.room_s(zone)),
        span(hub.plan.zones[zone].longest_s),
    )


def _log(desk: "Desk", words: "list[str]") -> "Iterator[str]":
    kept = desk.runner.hub.faults.log.events()[-_within((words + ["10"])[1], 1, 999) :]
    while kept:
        yield desk.told(kept.pop())


def _alarms(desk: "Desk", _: "list[str]") -> "Iterator[str]":
    standing = desk.runner.hub.faults.alarms
    for place, why in standing:
        yield "ALARM, %s%s" % (desk.name(place), desk.text(why))
        do = _DO_BROKEN
        if _NO_FLOW <= why <= _SUPPLY_NO_FLOW:
            do = _DO - _NO_FLOW + why
        yield "  " + desk.text(_DO_CLOCK if why == events.CLOCK else do)
    trouble = desk.runner.trouble
    if trouble.count:
        yield "  " + desk.text(_TROUBLE) % (trouble.count, trouble.text)
    if not standing:
        yield desk.text(_NO_ALARM)


def _clock(desk: "Desk", words: "list[str]") -> "Iterator[str]":
    """Set the clock, or show it; the next cycle shows whether the time zone is right."""
    if words[1:]:
        _, date, clock = words
        year, month, of_month = date.split("-")
        hour, minute = clock.split(":")
        of_day = int(of_month)
        day = day_of(_within(year, 2025, 2099), _within(month, 1, 12), of_day)
        if date_of(day)[2] != of_day:
            raise ValueError
        local_s = day * _DAY_S + _within(hour, 0, 23) * 3600 + _within(minute, 0, 59) * 60
        desk.now()
        yield from _given(desk, "", (ports.ASK_CLOCK, -1, desk.agenda.time.wall_s(local_s)))
    wall_s, local_s = desk.now()
    if not wall_s:
        yield desk.text(_NO_TIME)
        return
    yield "%s, %s here, %+.1f h from UTC" % (
        desk.date(local_s // _DAY_S),
        desk.at(wall_s),
        (local_s - wall_s) / 3600,
    )
    next_s, _ = desk.next_cycle()
    yield "Next cycle: " + (desk.at(next_s) if next_s else desk.text(events.CLOSED_SEASON))


# What the hub is asked for.


def _obeyed(desk: "Desk", words: "list[str]") -> "Iterator[str]":
    asked = _asked(desk, words)
    if words[0] == "hold" and not desk.now()[0]:
        yield desk.text(_NO_TIME)
        return
    yield from _given(desk, words[0], asked)


def _asked(desk: "Desk", words: "list[str]") -> "Asked":
    """Return the command that was typed.

    Raises ValueError for an unknown verb and for what does not fit it, KeyError without a zone.
    """
    verb = words[0]
    what = desk.text(ASKS).split().index("hold" if verb == "release" else verb)
    zone = -1
    if verb in ("run", "check", "sample") or (words[1:] and verb == "clear"):
        zone = _zone(desk, words)
    _, *words = words
    value: object = 0
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
        each_h = 1 if unit == "h" else 24
        if unit not in ("h", "day", "days"):
            raise ValueError
        value = 3600 * each_h * _within(word, 1, _HOLD_MOST_H // each_h) + desk.now()[0]
    elif verb == "rain":
        word, unit = words
        um = float(word) * (1000 if unit == "mm" else 25400)
        if unit not in ("mm", "in", "inch", "inches") or not 0 <= um <= _RAIN_MOST_UM:
            raise ValueError
        value = int(um)
    elif words:
        raise ValueError
    if value == ():
        raise ValueError
    return what, zone, value


def _given(desk: "Desk", verb: str, asked: "Asked") -> "Iterator[str]":
    """Hand the hub a command, and tell how it went."""
    if desk.runner.rest_up_s:
        yield "%s %s." % (desk.text(_RESTS), span(desk.runner.rest_up_s - desk.up_s()))
        return
    told: "list[str]" = []
    for event in desk.give(asked):
        what, _, why, value = event[:4]
        if what == events.REFUSED and value == asked[0]:
            yield "%s %s" % (desk.text(_NOT_DONE), desk.text(why))
            if value == ports.ASK_RUN and _ANYWAY_LEAST <= why <= _ANYWAY_MOST:
                yield desk.text(_ANYWAY)
            return
        if what != events.ACCEPTED:
            text = desk.told(event)
            if text not in told:  # a clock that is moved by years skips a hundred cycles
                told.append(text)
                yield text
    if verb == "hold":
        yield "%s %s" % (desk.text(_UNTIL), desk.at(desk.runner.hub.record.hold_s))
    elif verb and not told:
        yield desk.text(_SILENT.get(verb, _DONE))
