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

from evenclay.controller.plan import Plan, PlanError, unpack
from evenclay.tools.log.items import Boot, Crash, File, Gap, Item, LogError, Turn

Line = dict[str, Any]


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
        except (ValueError, KeyError, TypeError, IndexError, PlanError):
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
    told = tuple(tuple(map(int, event)) for event in line.get("told", ()))
    if what == "boot":
        note, record = line.get("note", "").encode(), bytes.fromhex(line.get("record", ""))
        return Boot(line["why"], line["up_s"], line["lost"], note, record, told)
    if what != "turn":
        raise ValueError(what)
    crash = line.get("crash")
    return Turn(
        line["up_s"],
        line["wall_s"],
        line.get("seen", {}),
        tuple((one[0], one[1], _value(one[2])) for one in line.get("asked", ())),
        tuple(line.get("failed", ())),
        told,
        None if crash is None else Crash(**{**crash, "note": crash["note"].encode()}),
    )


def _value(shown: Any) -> Any:
    if isinstance(shown, Mapping):
        return bytes.fromhex(shown["hex"])
    return tuple(shown) if isinstance(shown, list) else shown
