"""Flow meters: what a run gave, whether it flows as it should, and water that nobody asked for."""

from . import const, events, limits

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from .journal import Record

_UNKNOWN = const(-1)
# To measure over: the guided test's minute is over half a minute after SETTLE_S.
_LEAST_S = const(15)
_NO_FLOW_PCT = const(10)  # of the learned flow
_BURST_PCT = const(150)  # of the learned flow
_FLOW_LEAST_ML_MIN = const(50)  # less is no flow when none was learned
_LEAK_ML = const(1000)  # with every valve of the supply shut: more than one passes as it shuts


class Meter:
    """One supply's meter."""

    def __init__(self, travel_s: int) -> None:
        """`travel_s`: what the supply's valves take to open or to shut."""
        self._travel_s = travel_s
        self.turned(None, 0)

    def turned(self, ml: "int | None", up_s: int) -> None:
        """A valve was told to open or to shut: it travels, and the pipe has to settle again."""
        self._start_ml = _UNKNOWN if ml is None else ml  # the count at that moment
        self._mark_ml = _UNKNOWN  # the count that flow is measured from, once the hose has settled
        self._mark_up_s = up_s
        self._travelled_up_s = up_s + self._travel_s
        self._settled_up_s = self._travelled_up_s + limits.SETTLE_S
        # The count at the last look with all valves shut. What passes while a valve travels is no
        # leak: then the first look after it counts.
        self._seen_ml = _UNKNOWN if self._travel_s else self._start_ml
        self._moves = False  # it has moved since the valves shut, or since a leak was told

    def given_ml(self, ml: "int | None") -> int:
        """Return the water since the valve opened, ml; 0 if not known."""
        if ml is None or self._start_ml == _UNKNOWN:
            return 0
        return max(0, ml - self._start_ml)

    def settle_up_s(self, up_s: int, is_open: bool) -> int:
        """Return when the meter wants to be read next after a turn, or 0.

        Once the hose has filled and once after, to see the flow; once after a valve has shut.
        """
        settled_up_s = self._settled_up_s
        if up_s >= settled_up_s or not is_open:
            settled_up_s += limits.SETTLE_S
        return settled_up_s if up_s < settled_up_s else 0

    def flow_ml_min(self, ml: "int | None", up_s: int) -> int:
        """Return the mean flow since the last call, ml/min, or -1 while it is not known."""
        took_s = up_s - self._mark_up_s
        mark_ml = self._mark_ml
        if ml is None or up_s < self._settled_up_s or (mark_ml != _UNKNOWN and took_s < _LEAST_S):
            return _UNKNOWN
        self._mark_ml = ml
        self._mark_up_s = up_s
        if mark_ml == _UNKNOWN or ml < mark_ml:
            return _UNKNOWN
        return (ml - mark_ml) * 60 // took_s

    def leaks(self, ml: "int | None", up_s: int) -> bool:
        """Whether water passes with every valve shut: more than one lets through as it shuts.

        To be asked at every look. One pulse is no leak, since a coarse meter's may be of ten
        litres: the count has to move twice. A trickle is forgotten from day to day.
        """
        seen_ml = self._seen_ml
        if ml is None or ml == seen_ml or up_s < self._travelled_up_s:
            return False
        self._seen_ml = ml
        if seen_ml == _UNKNOWN or ml < seen_ml:
            self._moves = False
            return False
        if not self._moves or up_s - self._mark_up_s > limits.DAY_S:
            self._moves = True
            self._mark_up_s = up_s
            self._start_ml = seen_ml
            return False
        leaks = ml - self._start_ml >= _LEAK_ML
        if leaks:  # what is told once is not told again when the owner has cleared it
            self._moves = False
        return leaks


def off_plan(flow_ml_min: int, plan_ml_min: int) -> bool:
    """Whether a flow is so far from the plan's (0: not known) that one is a burst by the other."""
    return plan_ml_min > 0 and (
        flow_ml_min * _BURST_PCT < plan_ml_min * 100 or flow_ml_min * 100 > plan_ml_min * _BURST_PCT
    )


def judge_flow(record: "Record", zone: int, flow_ml_min: int) -> int:
    """Return NO_FLOW, BURST or OK for a zone's flow; without a learned flow nothing is too much."""
    learned_ml_min = record.flow_ml_min[zone]
    if flow_ml_min < max(_FLOW_LEAST_ML_MIN, learned_ml_min * _NO_FLOW_PCT // 100):
        return events.NO_FLOW
    if learned_ml_min and flow_ml_min > learned_ml_min * _BURST_PCT // 100:
        return events.BURST
    return events.OK
