"""Words for the codes of events: the names in `controller/events.py`, in small letters."""

from controller import events

_NAMES = [name for name, value in vars(events).items() if isinstance(value, int)]
_FIRST, _SECOND = _NAMES.index("BOOT"), _NAMES.index("OK")  # what was imported stands before both

WHAT = tuple(name.lower() for name in _NAMES[_FIRST:_SECOND])
WHY = tuple(name.lower() for name in _NAMES[_SECOND:])
