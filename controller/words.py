"""The words for the codes of events: the names in `events.py`, in small letters and in their order.

WHAT has those of what happened, and WHY those of reasons. The hub does without them. Consoles and
reports that show its events to people use them.
"""

from . import events

_WHAT = (
    "boot opened closed cut_short skipped locked released alarm cleared accepted refused "
    "learned corrected lacks"
)
WHAT = _WHAT.split()  # at run time: a board's file is smaller so
WHY = [""] * (events.OFF_PLAN + 1)  # the last code
for _name in dir(events):
    _word = _name.lower()
    _code = getattr(events, _name)
    if type(_code) is int and _name[0] != "_" and _word not in WHAT:
        WHY[_code] = _word
