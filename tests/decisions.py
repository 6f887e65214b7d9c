"""What can be verified from decisions.jsonl alone."""

import json
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import Any

Line = dict[str, Any]


@dataclass(frozen=True)
class Run:
    """One run as the lines tell it; `line` is its last."""

    zone: str
    opened: datetime
    closed: datetime
    line: Line


def parse(lines: Iterable[str]) -> tuple[Line, list[Line]]:
    """The plan's zones and the lines after it."""
    first, *rest = [json.loads(line) for line in lines]
    assert first["what"] == "plan"
    return first["zones"], rest


def runs_of(lines: Iterable[Line]) -> list[Run]:
    """Every run, in the order of openings; each must have an end."""
    opened: dict[str, datetime] = {}
    runs = []
    for line in lines:
        zone = line["zone"]
        if line["what"] == "opened":
            assert zone not in opened, f"{zone} opened twice: {line}"
            opened[zone] = datetime.fromisoformat(line["at"])
        elif line["what"] in ("closed", "cut_short", "end"):
            assert zone in opened, f"{zone} was not open: {line}"
            runs.append(Run(zone, opened.pop(zone), datetime.fromisoformat(line["at"]), line))
    assert not opened
    return sorted(runs, key=lambda run: run.opened)


def verify(plan: Line, lines: list[Line], caps: bool = True) -> list[Run]:
    """Assert that lines are in order, no supply's runs overlap, gaps and day's caps are kept."""
    times = [datetime.fromisoformat(line["at"]) for line in lines]
    assert times == sorted(times)
    runs = runs_of(lines)
    by_supply: dict[str, list[Run]] = defaultdict(list)
    for run in runs:
        by_supply[plan[run.zone]["supply"]].append(run)
        assert run.line["seconds"] == (run.closed - run.opened).total_seconds()
    for supplied in by_supply.values():
        for before, after in pairwise(supplied):
            gap_s = (after.opened - before.closed).total_seconds()
            assert gap_s >= plan[after.zone]["gap_s"], (before, after)
    if caps:
        used_s: dict[tuple[str, str], int] = defaultdict(int)
        for run in runs:  # a run over midnight belongs to the day on which it ends
            used_s[run.zone, run.line["at"][:10]] += run.line["seconds"]
        for (zone, _), seconds in used_s.items():
            assert seconds <= plan[zone]["cap_s"], (zone, seconds)
    return runs
