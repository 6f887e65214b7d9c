"""What somebody requires of a plan's replay, such as `unrest<70`: read from text, and judged.

A requirement names a measure of the hub's way of watering as `summary.json` has it; the unit at its
end may be left out. With many grounds the measure is over them: of a bound from above the ninetieth
of a hundred counts, of one from below the tenth, unless the requirement names another.
"""

import operator
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Any

from evenclay.sim.report.ways import HUB, MEASURED
from evenclay.tools.plan.workers import SweepError

MEASURES = (*MEASURED, "litres", "minutes")
SHARES = ("p10", "p50", "p90")
_KEEPS: Mapping[str, Callable[[float, float], bool]] = {
    "<": operator.lt,
    "<=": operator.le,
    ">": operator.gt,
    ">=": operator.ge,
}
_TEXT = re.compile(r"\s*([a-z_]+)(?:\.(\w+))?\s*(<=|>=|<|>)\s*(\S+)\s*%?\s*")


@dataclass(frozen=True)
class Requirement:
    """A bound on one measure. text: as it was asked for. share: of the grounds, where many."""

    text: str
    measure: str
    share: str
    sign: str
    bound: float

    def failed(self, summary: Mapping[str, Any]) -> str | None:
        """Say with its value that a replay does not keep this; None where it does.

        A measure that is not known, as after less than a year, is not kept.
        """
        found = summary["policies"][HUB][self.measure]
        name = self.measure
        if isinstance(found, dict):
            name, found = f"{name}.{self.share}", found[self.share]
        if found is not None and _KEEPS[self.sign](found, self.bound):
            return None
        value = "not known" if found is None else f"{found:g}"
        return f"{name} is {value}, required {self.sign} {self.bound:g}"


def read(texts: Sequence[str], *, many: bool) -> list[Requirement]:
    """Read requirements. many: whether the replay is on many grounds. Raises: SweepError."""
    return [_read(text, many) for text in texts]


def _read(text: str, many: bool) -> Requirement:
    parts = _TEXT.fullmatch(text)
    if parts is None:
        raise _refusal(text, "MEASURE<NUMBER with one of <, <=, >, >=, such as unrest<70")
    name, share, sign, number = parts.groups()
    measure = next((one for one in (name, f"{name}_pct", f"days_{name}") if one in MEASURES), None)
    if measure is None:
        raise _refusal(text, "a measure of " + ", ".join(MEASURES))
    try:
        bound = float(number.rstrip("%"))
    except ValueError:
        bound = float("nan")
    if not isfinite(bound):
        raise _refusal(text, f"a number behind {sign}")
    if share is not None and (not many or share not in SHARES):
        raise _refusal(text, ".p10, .p50 or .p90, and only with --grounds")
    usual = "p90" if sign in ("<", "<=") else "p10"
    return Requirement(text, measure, share or usual, sign, bound)


def _refusal(text: str, allowed: str) -> SweepError:
    return SweepError(f'--require: found "{text}", allowed {allowed}')
