"""Codes and their words, and the log that never grows."""

import ast
from pathlib import Path

from evenclay.controller import events, words
from evenclay.controller.events import _EVENTS_MAX, Log


def test_every_code_has_its_word() -> None:
    """A constant's name, in small letters, is the word at its place.

    Read from the source, by the comments that head the two groups.
    """
    text = Path(events.__file__).read_text("utf-8")
    what, why = text.partition("# What happened.\n")[2].split("# Why. ")
    for group, place in ((what, "WHAT"), ("# " + why, "WHY")):
        codes = [node for node in ast.parse(group).body if isinstance(node, ast.Assign)]
        names = [ast.unparse(node.targets[0]) for node in codes]
        codes_of = [getattr(events, name) for name in names]
        assert codes_of == sorted(set(codes_of)) and codes_of[0] == 0
        word_of = {code: name.lower() for code, name in zip(codes_of, names, strict=True)}
        expected = [word_of.get(code, "") for code in range(codes_of[-1] + 1)]
        assert getattr(words, place) == expected
    assert len(words.WHAT) >= 14 and len(words.WHY) >= 48


def event(number: int) -> tuple[int, ...]:
    """One whose every field is as far out as a hub's may be."""
    far = number % 2
    return (
        13 * far,
        255 if far else -1,
        47,
        -far << 40,
        far << 40,
        65535,
        number << 20,
        (far << 32) - 1,
    )


def test_the_log_keeps_the_last_events_in_order() -> None:
    log = Log()
    assert log.events() == []
    for number in range(3 * _EVENTS_MAX + 5):
        log.add(event(number))
        first = max(0, number + 1 - _EVENTS_MAX)
        assert log.events() == [event(n) for n in range(first, number + 1)]
