"""What one value of a property file may be: a rule reads it, or says in words what it takes."""

import re
from collections.abc import Callable
from functools import cache
from typing import TYPE_CHECKING, Any

from pydantic import BeforeValidator
from pydantic_core import PydanticCustomError

from controller.civil import month_days

if TYPE_CHECKING:
    import pint

_QUANTITY = re.compile(r"([+-]?\d+(?:\.\d+)?)\s*([A-Za-z°µ%/*^ 0-9²³]{1,30})")
_POWER = re.compile(r"(?<=[a-z])([23])\b")  # "m3" as people write it
_CLOCK = re.compile(r"([01]\d|2[0-4]):([0-5]\d)")
_MONTH_DAY = re.compile(r"(\d\d)-(\d\d)")
_SHOWN = 60  # characters of a found value that an error repeats
_KINDS = {
    "m": "length",
    "m^2": "area",
    "L/min": "flow",
    "L/h/m": "flow along a hose",
    "L": "volume",
    "kPa": "pressure",
    "min": "time",
    "degC": "temperature",
    "mm": "depth",
    "mm/d": "depth in a time",
    "mm/h": "depth in a time",
    "V": "voltage",
    "%": "share",
}


class Rule:
    """Reads a value; `allowed` says what it takes. `read` raises ValueError with a reason or ''."""

    def __init__(self, allowed: str, read: Callable[[Any], Any]) -> None:
        self.allowed = allowed
        self.read = read

    def __call__(self, value: Any) -> Any:
        try:
            return self.read(value)
        except ValueError as error:
            raise refusal(shown(value, str(error)), self.allowed) from None


def refusal(found: str, allowed: str, *keys: str) -> PydanticCustomError:
    """Return the error that stands for one mistake at `keys` below the place it is raised for."""
    return PydanticCustomError(
        "refused", "{found}", {"found": found, "allowed": allowed, "keys": list(keys)}
    )


def shown(value: Any, reason: str = "") -> str:
    """Return a found value as one short printable line, with the reason it will not do."""
    if isinstance(value, bool):
        text = "true" if value else "false"
    elif isinstance(value, str):
        text = f'"{value}"'
    elif isinstance(value, dict):
        text = "a table"
    elif isinstance(value, list):
        text = f"[{', '.join([shown(item) for item in value[:8]])}]"
    else:
        text = str(value)
    text = printable(text)
    if len(text) > _SHOWN:
        text = text[:_SHOWN] + "..."
    return f"{text} ({printable(reason)})" if reason else text


def printable(text: str) -> str:
    """Return text with line breaks and control characters escaped."""
    return "".join([c if c.isprintable() else c.encode("unicode_escape").decode() for c in text])


@cache
def _units() -> "pint.UnitRegistry[Any]":
    import pint  # and its registry, half a second: only where a quantity is written with its unit

    units: pint.UnitRegistry[Any] = pint.UnitRegistry()
    units.define("gpm = gallon / minute")
    units.define("gph = gallon / hour")
    return units


def _number(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError("")
    if not abs(value) < 1e12:  # nan too
        raise ValueError("")
    return float(value)


def in_unit(text: str, unit: str) -> float:
    """Return a text such as "75 ft" in `unit`. Raises ValueError with a reason."""
    match = _QUANTITY.fullmatch(text.strip())
    if match is None:
        raise ValueError("not a number and a unit")
    import pint

    number, name = float(match[1]), _POWER.sub(r"^\1", match[2].strip())
    try:
        return float(_units().Quantity(number, _units().Unit(name)).to(unit).magnitude)
    except pint.DimensionalityError:
        raise ValueError(f"not a {_KINDS[unit]}") from None
    except Exception:  # pint raises a dozen kinds for an odd unit; all mean the same here
        raise ValueError(f"unknown unit {match[2].strip()}") from None


def quantity(
    unit: str, least: float, most: float, example: str, *, bare: bool = True
) -> BeforeValidator:
    """Rule for a quantity: a number of `unit` (if `bare`), or a string with a unit of its kind."""
    allowed = f"{least:g} to {most:g} {unit}, "
    allowed += "as a number or with a unit" if bare else "with its unit"
    allowed += f', such as "{example}"'

    def read(value: Any) -> float:
        reason = ""
        if isinstance(value, str):
            number = in_unit(value, unit)
            reason = f"{number:.4g} {unit}"
        else:
            number = _number(value)
            if not bare:
                raise ValueError("no unit")
        # A rounded conversion must not push a limit itself over the edge.
        if not least - 1e-9 <= number <= most + 1e-9:
            raise ValueError(reason)
        return min(max(number, least), most)

    return BeforeValidator(Rule(allowed, read))


def whole(least: int, most: int) -> BeforeValidator:
    """Rule for a whole number."""

    def read(value: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
            raise ValueError("")
        return value

    return BeforeValidator(Rule(f"a whole number, {least} to {most}", read))


def number(least: float, most: float, what: str = "a number") -> BeforeValidator:
    """Rule for a plain number."""

    def read(value: Any) -> float:
        if not least <= _number(value) <= most:
            raise ValueError("")
        return float(value)

    return BeforeValidator(Rule(f"{what}, {least:g} to {most:g}", read))


def flag() -> BeforeValidator:
    """Rule for true or false."""

    def read(value: Any) -> bool:
        if not isinstance(value, bool):
            raise ValueError("")
        return value

    return BeforeValidator(Rule("true or false", read))


def choice(*words: str) -> BeforeValidator:
    """Rule for one word of a few."""

    def read(value: Any) -> str:
        if not isinstance(value, str) or value not in words:
            raise ValueError("")
        return value

    return BeforeValidator(Rule(", ".join([f'"{word}"' for word in words]), read))


def choice_or_number(words: tuple[str, ...], least: float, most: float) -> BeforeValidator:
    """Rule for one word of a few, or a number instead."""
    quoted = ", ".join([f'"{word}"' for word in words])
    allowed = f"{quoted}, or a number, {least:g} to {most:g}"

    def read(value: Any) -> str | float:
        if isinstance(value, str):
            if value not in words:
                raise ValueError("")
            return value
        if not least <= _number(value) <= most:
            raise ValueError("")
        return float(value)

    return BeforeValidator(Rule(allowed, read))


def text(most: int) -> BeforeValidator:
    """Rule for a short text on one line."""

    def read(value: Any) -> str:
        if not isinstance(value, str) or not value.strip() or len(value) > most:
            raise ValueError("")
        if not value.isprintable():
            raise ValueError("")
        return value

    return BeforeValidator(Rule(f"a text of 1 to {most} printable characters", read))


def ascii_name(most: int) -> BeforeValidator:
    """Rule for a name that fits a one-line display: plain ASCII, no space at either end."""

    def read(value: str) -> str:
        if not value.isascii() or not value.isprintable() or value != value.strip():
            raise ValueError("")
        if not 0 < len(value) <= most:
            raise ValueError(f"{len(value)} long")
        return value

    return BeforeValidator(Rule(f"a name of 1 to {most} plain ASCII characters", read))


def several(item: BeforeValidator, most: int, *, ascending: bool = False) -> BeforeValidator:
    """Rule for a list of values that each obey `item`, none twice."""
    rule = item.func
    assert isinstance(rule, Rule)
    order = "ascending" if ascending else "no one twice"

    def read(value: Any) -> tuple[Any, ...]:
        if not isinstance(value, list) or len(value) > most:
            raise ValueError("")
        items = []
        for one in value:
            try:
                items.append(rule.read(one))
            except ValueError as error:
                raise ValueError(f"{shown(one, str(error))} will not do") from None
        for place, one in enumerate(items):
            if one in items[:place]:
                raise ValueError(f"{shown(value[place])} stands twice")
            if ascending and place and one < items[place - 1]:
                raise ValueError(f"{shown(value[place])} comes before the one before it")
        return tuple(items)

    allowed = f"a list of at most {most}, {order}, each {rule.allowed}"
    return BeforeValidator(Rule(allowed, read))


def _minute(clock: str) -> int:
    match = _CLOCK.fullmatch(clock)
    if match is None:
        raise ValueError("")
    minute = int(match[1]) * 60 + int(match[2])
    if minute > 1440:
        raise ValueError("")
    return minute


def time_of_day() -> BeforeValidator:
    """Rule for "HH:MM"; gives minutes from midnight, 0 to 1439."""

    def read(value: Any) -> int:
        if not isinstance(value, str) or _minute(value) == 1440:
            raise ValueError("")
        return _minute(value)

    return BeforeValidator(Rule('a time of the day "HH:MM", "00:00" to "23:59"', read))


def hours() -> BeforeValidator:
    """Rule for "HH:MM-HH:MM"; gives first and last minute of the day. May cross midnight."""

    def read(value: Any) -> tuple[int, int]:
        if not isinstance(value, str) or value.count("-") != 1:
            raise ValueError("")
        first, last = [_minute(part.strip()) for part in value.split("-")]
        if first == 1440 or first == last:
            raise ValueError("")
        return first, last

    return BeforeValidator(Rule('hours "HH:MM-HH:MM", such as "20:00-06:00"', read))


def _month_and_day(value: str) -> tuple[int, int]:
    match = _MONTH_DAY.fullmatch(value)
    if match is None:
        raise ValueError("")
    month, day = int(match[1]), int(match[2])
    if not 1 <= month <= 12 or not 1 <= day <= month_days(2000, month):
        raise ValueError("no such day")
    return month, day


def month_day() -> BeforeValidator:
    """Rule for "MM-DD"; gives month and day."""

    def read(value: Any) -> tuple[int, int]:
        if not isinstance(value, str):
            raise ValueError("")
        return _month_and_day(value)

    return BeforeValidator(Rule('a day of the year "MM-DD", such as "05-01"', read))


def dates() -> BeforeValidator:
    """Rule for "MM-DD to MM-DD", both included; gives two months and days."""

    def read(value: Any) -> tuple[tuple[int, int], tuple[int, int]]:
        if not isinstance(value, str) or value.count(" to ") != 1:
            raise ValueError("")
        first, last = value.split(" to ")
        return _month_and_day(first), _month_and_day(last)

    return BeforeValidator(Rule('dates "MM-DD to MM-DD", both included', read))
