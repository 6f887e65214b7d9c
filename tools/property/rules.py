"""What one value of a property file may be: a rule reads it, or says in words what it takes."""

import re
from collections.abc import Callable, Mapping
from typing import Any

from pydantic import BeforeValidator, ValidationInfo
from pydantic_core import PydanticCustomError

from evenclay.controller.civil import month_days
from evenclay.sim.units import converted, registry

_NUMBER = r"(?:\d+(?:\.\d+)?|\.\d+)"
_QUANTITY = re.compile(rf"([+-]?{_NUMBER})\s*([A-Za-z°µ%/*^ 0-9²³]{{1,30}})")
_FRACTION = re.compile(r"(?:(\d+)[ -])?(\d{1,3})/([1-9]\d{0,2})(?=\s*[A-Za-z])")  # "1/2 in"
_PIECE = re.compile(rf"({_NUMBER})\s*([A-Za-z]+)\s*")
_PIECES = re.compile(rf"{_PIECE.pattern}{_PIECE.pattern}")  # "35 ft 6 in", "1 h 30 min"
_MARKS = str.maketrans(
    {**dict.fromkeys("'\u2032\u2019", " ft "), **dict.fromkeys('"\u2033\u201d', " in ")}
)
_OF_SO_MANY = re.compile(r"/\s*(\d{1,4})\s*(?=[A-Za-z])")  # "gpm/100ft", as hoses are rated
_SUM = re.compile(r"\*\*|\d\d")  # what would make pint reckon, for ever if need be
_DEGREES = re.compile(r"(?:deg(?:rees?)?|°)?\s*(?:(f|fahrenheit)|c|celsius)", re.IGNORECASE)
_CLOCK = re.compile(r"([01]?\d|2[0-4]):([0-5]\d)")
_HALF_DAY = re.compile(r"(1[0-2]|0?[1-9])(?::([0-5]\d))?\s*([ap])\.?\s*m\.?")
_NAMED_MINUTES = {"midnight": 0, "noon": 720}
_MONTH_DAY = re.compile(r"(\d\d)-(\d\d)")
_DAY = r"(\d{1,2})(?:st|nd|rd|th)?"
_NAMED_DAY = re.compile(rf"([a-z]{{3,9}})\.?\s+{_DAY}|{_DAY}\s+(?:of\s+)?([a-z]{{3,9}})\.?")
_SLASHED = re.compile(r"\d{1,2}[/.]\d{1,2}\.?")  # which of the two is the month, nobody can tell
_MONTHS = (
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
)
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
    """Reads a value; `allowed` says what it takes. `read` raises ValueError with a reason or ''.

    us: the rule that stands in this one's place in a file of US units, if another one does.
    """

    def __init__(
        self,
        allowed: str | Callable[[], str],
        read: Callable[[Any], Any],
        us: "Rule | None" = None,
    ) -> None:
        self._allowed = allowed
        self.read = read
        self._us = us

    @property
    def allowed(self) -> str:
        """What it takes, in words; worked out only where a message needs it."""
        return self._allowed if isinstance(self._allowed, str) else self._allowed()

    def of(self, units: object) -> "Rule":
        """The rule for a file of these units."""
        return self._us if self._us is not None and units == "us" else self

    def __call__(self, value: Any, info: ValidationInfo) -> Any:
        rule = self.of(info.context)
        try:
            return rule.read(value)
        except PydanticCustomError:
            raise
        except ValueError as error:
            raise refusal(shown(value, str(error)), rule.allowed) from None


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


def _number(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError("")
    if not abs(value) < 1e12:  # nan too
        raise ValueError("")
    return float(value)


def in_unit(text: str, unit: str) -> float:
    """Return a text such as "75 ft" or "35 ft 6 in" in `unit`. Raises ValueError with a reason."""
    text = _FRACTION.sub(_decimal, text.translate(_MARKS).strip())
    pieces = _PIECES.fullmatch(text)
    if pieces is not None:
        return sum([_converted(float(n), name, unit) for n, name in _PIECE.findall(text)])
    match = _QUANTITY.fullmatch(text)
    if match is None:
        raise ValueError("not a number and a unit")
    return _converted(float(match[1]), match[2].strip(), unit)


def _decimal(fraction: re.Match[str]) -> str:
    return str(int(fraction[1] or 0) + int(fraction[2]) / int(fraction[3]))


def _converted(number: float, name: str, unit: str) -> float:
    """A number of a unit as people write it, in `unit`. Raises ValueError with a reason."""
    import pint  # slow to import: only for a quantity with a unit

    plain = name.replace(" per ", "/")
    if unit == "degC" and (degrees := _DEGREES.fullmatch(name)):
        plain = "degF" if degrees[1] else "degC"
    many = _OF_SO_MANY.search(plain)
    if many is not None:
        number, plain = number / max(1, int(many[1])), _OF_SO_MANY.sub("/", plain)
    reason = f"unknown unit {name}"
    if _SUM.search(plain):
        raise ValueError(reason)
    for spelt in (plain, plain.lower()):  # "PSI", "Gal/Min"
        try:
            return converted(number, str(registry().Unit(spelt)), unit)
        except pint.DimensionalityError:
            reason = f"not a {_KINDS[unit]}"
        except Exception:  # pint raises a dozen kinds for an odd unit; all mean the same here
            continue
    raise ValueError(reason)


def quantity(
    unit: str,
    least: float,
    most: float,
    example: str,
    us_example: str | None = None,
    *,
    bare: bool = True,
) -> BeforeValidator:
    """Rule for a quantity: a number of `unit` (if `bare`), or a string with a unit of its kind.

    us_example: for a quantity that is measured otherwise in the US. In a file of US units a number
    of it needs its unit, and messages speak in the unit of that example.
    """
    allowed = f"{least:g} to {most:g} {unit}, "
    allowed += "as a number or with a unit" if bare else "with its unit"
    allowed += f', such as "{example}"'

    def bounded(number: float, reason: str) -> float:
        # A rounded conversion must not push a limit itself over the edge.
        if not least - 1e-9 <= number <= most + 1e-9:
            raise ValueError(reason)
        return min(max(number, least), most)

    def read(value: Any) -> float:
        if isinstance(value, str):
            number = in_unit(value, unit)
            return bounded(number, f"{number:.4g} {unit}")
        number = _number(value)
        if not bare:
            raise ValueError("no unit")
        return bounded(number, "")

    if us_example is None:
        return BeforeValidator(Rule(allowed, read))
    return BeforeValidator(Rule(allowed, read, _us_rule(unit, bounded, least, most, us_example)))


def _us_rule(
    unit: str,
    bounded: Callable[[float, str], float],
    least: float,
    most: float,
    example: str,
) -> Rule:
    """The rule for a quantity in a file of US units, which always takes its unit."""
    us_unit = example.partition(" ")[2]

    def allowed() -> str:
        low, high = [f"{converted(edge, unit, us_unit):.4g}" for edge in (least, most)]
        return f'{low} to {high} {us_unit}, with its unit, such as "{example}"'

    def read(value: Any) -> float:
        if isinstance(value, str):
            number = in_unit(value, unit)
            return bounded(number, f"{converted(number, unit, us_unit):.4g} {us_unit}")
        number = _number(value)
        raise refusal(
            f"{number:g} (no unit)",
            f'a text with its unit where units = "us": "{number:g} {us_unit}" or '
            f'"{number:g} {unit}"',
        )

    return Rule(allowed, read)


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


def _chosen(value: str, words: Mapping[str, str]) -> str:
    """The word that a text means, capitals and the strokes between its parts apart."""
    found = words.get(re.sub(r"[\s_-]+", " ", value.strip()).lower())
    if found is None:
        raise ValueError("")
    return found


def choice(*words: str, also: Mapping[str, str] | None = None) -> BeforeValidator:
    """Rule for one word of a few. also: other words that people write, and what they mean."""
    known = {word: word for word in words} | dict(also or {})

    def read(value: Any) -> str:
        if not isinstance(value, str):
            raise ValueError("")
        return _chosen(value, known)

    return BeforeValidator(Rule(", ".join([f'"{word}"' for word in words]), read))


def choice_or_number(words: tuple[str, ...], least: float, most: float) -> BeforeValidator:
    """Rule for one word of a few, or a number instead."""
    known = {word: word for word in words}
    quoted = ", ".join([f'"{word}"' for word in words])
    allowed = f"{quoted}, or a number, {least:g} to {most:g}"

    def read(value: Any) -> str | float:
        if isinstance(value, str):
            return _chosen(value, known)
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
    """Minutes from midnight, 0 to 1440, of "HH:MM" or of a time such as "9:30 pm"."""
    clock = clock.strip().lower()
    if clock in _NAMED_MINUTES:
        return _NAMED_MINUTES[clock]
    match = _CLOCK.fullmatch(clock)
    if match is not None:
        minute = int(match[1]) * 60 + int(match[2])
        if minute <= 1440:
            return minute
    match = _HALF_DAY.fullmatch(clock)
    if match is not None:
        return int(match[1]) % 12 * 60 + int(match[2] or 0) + 720 * (match[3] == "p")
    raise ValueError("")


def time_of_day() -> BeforeValidator:
    """Rule for "HH:MM", or "6:30 am"; gives minutes from midnight, 0 to 1439."""

    def read(value: Any) -> int:
        if not isinstance(value, str) or _minute(value) == 1440:
            raise ValueError("")
        return _minute(value)

    return BeforeValidator(
        Rule('a time of the day "HH:MM", "00:00" to "23:59", or as "6:30 am"', read)
    )


def hours() -> BeforeValidator:
    """Rule for "HH:MM-HH:MM", or "9 pm-6 am"; gives first and last minute of the day.

    May cross midnight.
    """

    def read(value: Any) -> tuple[int, int]:
        if not isinstance(value, str):
            raise ValueError("")
        first, last = [_minute(part) for part in _two(value)]
        if first == 1440 or first == last:
            raise ValueError("")
        return first, last

    return BeforeValidator(Rule('hours "HH:MM-HH:MM", such as "20:00-06:00" or "8 pm-6 am"', read))


def _two(value: str) -> list[str]:
    """What stands on the two sides of a "to" or a stroke."""
    parts = re.split(r"\s+to\s+|\s*[-\u2013]\s*", value.strip())
    if len(parts) != 2:
        raise ValueError("")
    return parts


def _month_and_day(value: str) -> tuple[int, int]:
    """Month and day of "MM-DD", or of "June 1" or "1 June"."""
    match = _MONTH_DAY.fullmatch(value)
    if match is not None:
        month, day = int(match[1]), int(match[2])
    else:
        match = _NAMED_DAY.fullmatch(value.strip().lower())
        if match is None:
            raise ValueError("month or day first?" if _SLASHED.fullmatch(value.strip()) else "")
        name = match[1] or match[4]
        months = [m for m, full in enumerate(_MONTHS, 1) if full.startswith(name)]
        if not months:
            raise ValueError("")
        month, day = months[0], int(match[2] or match[3])
    if not 1 <= month <= 12 or not 1 <= day <= month_days(2000, month):
        raise ValueError("no such day")
    return month, day


def month_day() -> BeforeValidator:
    """Rule for "MM-DD", or "June 1"; gives month and day."""

    def read(value: Any) -> tuple[int, int]:
        if not isinstance(value, str):
            raise ValueError("")
        return _month_and_day(value)

    return BeforeValidator(Rule('a day of the year "MM-DD", such as "05-01", or "May 1"', read))


def dates() -> BeforeValidator:
    """Rule for "MM-DD to MM-DD", or "June 1 to August 31", both included; two months and days."""

    def read(value: Any) -> tuple[tuple[int, int], tuple[int, int]]:
        if not isinstance(value, str):
            raise ValueError("")
        parts = re.split(r"\s+(?:to|-|\u2013)\s+", value.strip())
        if len(parts) != 2:
            raise ValueError("")
        return _month_and_day(parts[0]), _month_and_day(parts[1])

    allowed = 'dates "MM-DD to MM-DD", or "June 1 to August 31", both included'
    return BeforeValidator(Rule(allowed, read))
