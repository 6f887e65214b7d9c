"""The words for the codes of events: the names in `events.py`, in small letters and in their order.

The hub does without them. Consoles and reports that show its events to people use them.
They are split at run time, since a board's file is smaller so.
"""

_WHAT = (
    "boot opened closed cut_short skipped locked released alarm cleared accepted refused "
    "learned corrected lacks"
)
_WHY = (
    "ok fault low_battery frost quiet lost_clock hold closed_season rain wet_soil no_time cap "
    "enough rest gap open_limit too_short longest power clock owner plan done litres planned "
    "manual test no_flow burst leak driver store broken probe stale stuck rain_stale "
    "supply_no_flow busy unknown after_rain after_cycle no_estimate too_many bad_plan check "
    "sample crash trouble off_plan"
)
WHAT = _WHAT.split()
WHY = _WHY.split()
