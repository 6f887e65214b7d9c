"""A log as lines of JSON, an item each, for people and programs; and those read back.

    {"what": "plan", "plan": CRC, "bytes": HEX}             a plan that the board holds
    {"what": "file", "number", "plan": CRC, "core", "state": HEX}
    {"what": "boot", "why", "up_s", "lost", "note", "record": HEX, "told"}
    {"what": "gap"}
    {"what": "turn", "up_s", "wall_s", "seen", "asked", "failed", "told", "crash"}

CRC and core are eight hexadecimal digits. `told` has an event's numbers each, as
`controller/events.py` lists them. What is empty or nothing is left out, but for the clocks.
"""

import json
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import asdict
from typing import Any

from evenclay.controller.limits import SUPPLIES_MAX, WALL_MAX, ZONES_MAX
from evenclay.controller.plan import Plan, PlanError, unpack
from evenclay.controller.words import WHAT, WHY
from evenclay.tools.log.items import READINGS, Boot, Crash, Event, File, Gap, Item, LogError, Turn

Line = dict[str, Any]
_NUMBER_END = 2**63  # the core keeps its numbers in 64 bits


def lines_of(items: Iterable[Item], plans: Iterable[bytes] = ()) -> Iterator[str]:
    """The lines of a log, the plans first."""
    for data in plans:
        with suppress(PlanError):  # the board does without it, too
            yield _text({"what": "plan", "plan": f"{unpack(data).crc:08x}", "bytes": data.hex()})
    for item in items:
        yield _text(_line(item))


def _line(item: Item) -> Line:
    if isinstance(item, File):
        line = {"what": "file", "number": item.number, "plan": f"{item.plan_crc:08x}"}
        return {**line, "core": f"{item.core:08x}", "state": item.state.hex()}
    if isinstance(item, Gap):
        return {"what": "gap"}
    fields = asdict(item)
    if isinstance(item, Boot):
        more = {"note": item.note.decode("utf-8", "replace"), "record": item.record.hex()}
        return {"what": "boot", **fields, **more}
    if item.crash is not None:
        fields["crash"]["note"] = item.crash.note.decode("utf-8", "replace")
    fields["asked"] = [[*one[:2], _shown(one[2])] for one in item.asked]
    return {"what": "turn", **fields}


def _shown(value: Any) -> Any:
    return {"hex": value.hex()} if isinstance(value, bytes) else value


def _text(line: Line) -> str:
    kept = {k: v for k, v in line.items() if v not in ((), [], {}, "", None) or k[-2:] == "_s"}
    return json.dumps(kept, ensure_ascii=False)


def read(text: str, name: str) -> tuple[list[Item], dict[int, Plan]]:
    """Items and plans, by their CRC, of the lines of a log; `name` is how messages call the file.

    Raises:
        LogError: a line is none of a log.
    """
    items: list[Item] = []
    plans: dict[int, Plan] = {}
    for number, line in enumerate(text.splitlines(), 1):
        try:
            found = json.loads(line)
            if found["what"] == "plan":
                plan = unpack(bytes.fromhex(found["bytes"]))
                plans[plan.crc] = plan
            else:
                items.append(_item(found))
        except (
            AttributeError,
            IndexError,
            KeyError,
            PlanError,
            RecursionError,
            TypeError,
            ValueError,
        ):
            shown = line if len(line) < 50 else line[:47] + "..."
            raise LogError(
                f"{name}:{number}: found {shown}, allowed a line that `evenclay log` writes"
            ) from None
    if not items:
        raise LogError(f"{name}: found no log, allowed what `evenclay log` writes")
    return items, plans


def _item(line: Line) -> Item:
    what = line["what"]
    if what == "file":
        plan_crc, core = int(line["plan"], 16), int(line["core"], 16)
        return File(int(line["number"]), plan_crc, core, bytes.fromhex(line.get("state", "")))
    if what == "gap":
        return Gap()
    told = tuple(map(_event, line.get("told", ())))
    if what == "boot":
        note, record = line.get("note", "").encode(), bytes.fromhex(line.get("record", ""))
        why = _whole(line["why"], 0, len(WHY))
        return Boot(why, _whole(line["up_s"]), bool(line["lost"]), note, record, told)
    if what != "turn":
        raise ValueError(what)
    crash = line.get("crash")
    return Turn(
        None if line["up_s"] is None else _whole(line["up_s"]),
        None if line["wall_s"] is None else _whole(line["wall_s"], 0, WALL_MAX),
        dict(map(_seen, line.get("seen", {}).items())),
        tuple((_whole(one[0]), _whole(one[1]), _value(one[2])) for one in line.get("asked", ())),
        tuple(map(_whole, line.get("failed", ()))),
        told,
        None if crash is None else _crash(crash),
    )


def _whole(value: Any, least: int = -_NUMBER_END, end: int = _NUMBER_END) -> int:
    """A whole number, `end` no more. Raises ValueError where it is none."""
    if not isinstance(value, int) or not least <= value < end:
        raise ValueError(value)
    return value


def _event(numbers: Any) -> Event:
    """Raises ValueError where these are not the eight numbers of an event."""
    what, zone, why, value, ml, boots, up_s, wall_s = map(_whole, numbers)
    _whole(what, 0, len(WHAT))
    _whole(zone, -1, ZONES_MAX + SUPPLIES_MAX)
    _whole(why, 0, len(WHY))
    _whole(wall_s, -1, WALL_MAX)
    return what, zone, why, value, ml, boots, up_s, wall_s


def _seen(reading: tuple[str, Any]) -> tuple[str, int | None]:
    name, value = reading
    if name not in READINGS:
        raise ValueError(name)
    return name, None if value is None else _whole(value)


def _crash(line: Line) -> Crash:
    up_s, late_up_s, calls = [_whole(line[name]) for name in ("up_s", "late_up_s", "calls")]
    return Crash(up_s, late_up_s, calls, line.get("note", "").encode())


def _value(shown: Any) -> Any:
    if isinstance(shown, Mapping):
        return bytes.fromhex(shown["hex"])
    if isinstance(shown, list):
        return tuple(map(_whole, shown))
    return None if shown is None else _whole(shown)
