"""Words for the codes of events: the names in `controller/events.py`, in small letters."""

from evenclay.controller import events

_NAMES = [name for name, value in vars(events).items() if isinstance(value, int)]
_FIRST, _SECOND = _NAMES.index("BOOT"), _NAMES.index("OK")  # what was imported stands before both


def _words(names: list[str]) -> tuple[str, ...]:
    """Each name at the place of its code; nothing at those that are not in use."""
    words = {getattr(events, name): name.lower() for name in names}
    return tuple(words.get(code, "") for code in range(max(words) + 1))


WHAT = _words(_NAMES[_FIRST:_SECOND])
WHY = _words(_NAMES[_SECOND:])
