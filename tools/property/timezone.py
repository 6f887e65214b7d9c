"""A time zone's law as the one rule a hub can keep.

The rule is the footer of the zone's file in the pinned `tzdata` package: a POSIX TZ string, which
holds from the zone's last listed change on.
"""

import difflib
import importlib.metadata
import importlib.resources
import re
from datetime import UTC, datetime
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

from evenclay.controller.civil import LocalTime
from evenclay.controller.plan import HubPart

_NAME = r"(?:[A-Za-z]{3,}|<[A-Za-z0-9+-]{3,}>)"
_OFFSET = r"([+-]?\d{1,3}(?::\d\d){0,2})"
_CHANGE = rf",M(\d{{1,2}})\.([1-5])\.([0-6])(?:/{_OFFSET})?"
_RULE = re.compile(f"{_NAME}{_OFFSET}(?:{_NAME}{_OFFSET}?{_CHANGE}{_CHANGE})?")
_EPOCH = datetime(2000, 1, 1, tzinfo=UTC)


@cache
def _names() -> tuple[str, ...]:
    text = importlib.resources.files("tzdata").joinpath("zones").read_text(encoding="utf-8")
    return tuple(text.split())


def read_name(value: Any) -> str:
    """Return a zone's name. Raises ValueError, with the nearest known name if one is near."""
    if not isinstance(value, str):
        raise ValueError("")
    if value in _names():
        rule(value)
        return value
    tails = {name.rsplit("/", 1)[-1].lower(): name for name in _names()}
    tail = value.rsplit("/", 1)[-1].lower().replace(" ", "_")
    near = difflib.get_close_matches(tail, tails, n=1, cutoff=0.75)
    raise ValueError(f"unknown; did you mean {tails[near[0]]}?" if near else "unknown")


def rule(name: str) -> dict[str, int]:
    """Return the fields of the plan's hub part that hold a known zone's local time.

    Raises:
        ValueError: the zone's footer is missing or has a form the hub does not know.
    """
    return parse_rule(_file(name).rstrip(b"\n").rsplit(b"\n", 1)[-1].decode("ascii", "replace"))


def parse_rule(text: str) -> dict[str, int]:
    """Return the hub part's fields for `std offset[dst[offset],Mm.w.d[/time],Mm.w.d[/time]]`.

    POSIX counts offsets west of Greenwich, the plan east. Times may be negative or past 24 h.

    Raises:
        ValueError: the text has another form, a day count (Jn) for one.
    """
    match = _RULE.fullmatch(text)
    if match is None:
        raise ValueError(f"its law is not a rule of months and weeks: {text[:60]}")
    std, dst, *changes = match.groups()
    std_s = -_seconds(std)
    if changes[0] is None:
        changes = ["1", "1", "0", None] * 2
    fields = {"std_s": std_s, "dst_s": std_s, "dst": 0}
    if match[3] is not None:
        fields["dst"] = 1
        fields["dst_s"] = std_s + 3600 if dst is None else -_seconds(dst)
    for prefix, part in (("on_", changes[:4]), ("off_", changes[4:])):
        fields[prefix + "month"] = int(part[0])
        fields[prefix + "week"] = int(part[1])
        fields[prefix + "weekday"] = int(part[2])
        fields[prefix + "s"] = 7200 if part[3] is None else _seconds(part[3])
    return fields


def law_note(name: str, hub: HubPart) -> str | None:
    """Say where the rule and the zone's law part between the database's year and 2099, if so.

    One day in each week is compared, and the hours around it do not matter: a law that differs
    differs for weeks.
    """
    with importlib.resources.files("tzdata").joinpath("zoneinfo", *name.split("/")).open("rb") as f:
        zone = ZoneInfo.from_file(f)
    local = LocalTime(hub)
    first = datetime(int(importlib.metadata.version("tzdata")[:4]), 1, 1, 12, tzinfo=UTC)
    first_s = int((first - _EPOCH).total_seconds())
    last_s = int((datetime(2099, 12, 31, tzinfo=UTC) - _EPOCH).total_seconds())
    off: list[str] = []
    for wall_s in range(first_s, last_s, 7 * 86400):
        at = datetime.fromtimestamp(wall_s + _EPOCH.timestamp(), zone)
        offset = at.utcoffset()
        if offset is not None and offset.total_seconds() != local.local_s(wall_s) - wall_s:
            off.append(at.date().isoformat())
    if not off:
        return None
    return (
        f"the law of {name} cannot be put in one rule: the hub's local time is wrong on dates "
        f"from about {off[0]} to {off[-1]}"
    )


def _file(name: str) -> bytes:
    return importlib.resources.files("tzdata").joinpath("zoneinfo", *name.split("/")).read_bytes()


def _seconds(text: str) -> int:
    sign = -1 if text.startswith("-") else 1
    hours, minutes, seconds = [*[int(part) for part in text.lstrip("+-").split(":")], 0, 0][:3]
    return sign * (hours * 3600 + minutes * 60 + seconds)
