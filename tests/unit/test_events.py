"""Codes and their words, and the log that never grows."""

from controller import events
from controller.events import WHAT, WHY, Log
from controller.limits import EVENTS_MAX


def test_every_code_has_its_word() -> None:
    """A constant's name, in small letters, is the word at its place."""
    codes = {name: value for name, value in vars(events).items() if name.isupper()}
    codes = {name: value for name, value in codes.items() if isinstance(value, int)}
    del codes["EVENTS_MAX"]
    what = {name: value for name, value in codes.items() if name.lower() in WHAT}
    why = {name: value for name, value in codes.items() if name not in what}
    assert {name.lower(): value for name, value in what.items()} == {
        word: place for place, word in enumerate(WHAT)
    }
    assert {name.lower(): value for name, value in why.items()} == {
        word: place for place, word in enumerate(WHY)
    }


def event(number: int) -> tuple[int, ...]:
    return (number, -1, 0, 0, 0, 1, number, -1)


def test_the_log_keeps_the_last_events_in_order() -> None:
    log = Log()
    assert log.events() == []
    for number in range(3 * EVENTS_MAX + 5):
        log.add(event(number))
        first = max(0, number + 1 - EVENTS_MAX)
        assert log.events() == [event(n) for n in range(first, number + 1)]
