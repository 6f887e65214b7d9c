"""Values, and a hub's state, as bytes of the log. `tools/log/items.py` reads them.

A value begins with a code, by sevens of its bits, the low ones first, all but the last with 128
added. It is odd for a whole number: four times that and 1, or below 0 four times what it is without
its sign, less 1. None, False and True are 0, 2 and 4. A list is 6 and six times its length, a tuple
2 more, and bytes are 4 more; what is in it comes next.
"""

from binascii import crc32

from evenclay.controller import const

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from typing import Any

    from evenclay.controller.hub import Hub


def put(out: bytearray, value: "Any") -> None:
    """Keep a value: None, a bool, a whole number, bytes, or a list or tuple of such.

    Raises:
        TypeError: it is something else.
    """
    kind = type(value)
    inner: "Any" = ()
    if value is None:
        code = 0
    elif kind is bool:
        code = 4 if value else 2
    elif kind is int:
        code = 4 * value + 1 if value >= 0 else -4 * value - 1
    elif kind is bytes:
        code = 10 + 6 * len(value)
    elif kind is list or kind is tuple:
        code = (6 if kind is list else 8) + 6 * len(value)
        inner = value
    else:
        raise TypeError("log: no number")
    while code > 127:
        out.append(code & 127 | 128)
        code >>= 7
    out.append(code)
    if kind is bytes:
        out += value
    for one in inner:
        put(out, one)


def rooms(hub: "Hub") -> "list[Any]":
    """Whatever in a hub may remember something, in an order that stays."""
    parts: "list[Any]" = []
    for name in sorted(hub.__dict__):
        if name != "plan":
            parts.append(hub.__dict__[name])
    found: "list[Any]" = [hub]
    for part in parts + hub.lockouts.probes + hub.runs._meters:
        if hasattr(part, "__dict__"):
            found.append(part)
    return found


def name_code(name: str) -> int:
    """By what a state names a field: 16 bits."""
    code: int = crc32(name.encode()) & 0xFFFF
    return code


def put_state(out: bytearray, hub: "Hub") -> None:
    """Keep what a hub between two runs remembers: every field that is made of nothing but numbers.

    Of each room in the order of `rooms`: every field's name and value, then None.
    """
    for room in rooms(hub):
        for name, value in room.__dict__.items():
            start = len(out)
            put(out, name_code(name))
            try:
                put(out, value)
            except TypeError:
                out[start:] = b""  # another room, the plan, or text
        put(out, None)
