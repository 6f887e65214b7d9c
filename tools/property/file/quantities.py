"""Quantities of a property file: numbers, or texts with a unit such as "75 ft"."""

import re
from collections.abc import Callable
from math import ceil, floor, log10
from typing import Any

from pydantic import BeforeValidator

from evenclay.sim.ground.textures import pf_of_kpa
from evenclay.sim.units import converted, registry
from evenclay.tools.property.file.rules import Rule, plain_number, refusal

_NUMBER = r"(?:\d+(?:\.\d+)?|\.\d+)"
_QUANTITY = re.compile(rf"([+-]?{_NUMBER})\s*([A-Za-z°µ%/*^ 0-9²³]{{1,30}})")
_FRACTION = re.compile(
    r"(?:(?<![\d.])(\d{1,9})[ -])?(\d{1,3})/([1-9]\d{0,2})(?=\s*[A-Za-z])"
)  # "1/2 in"
_PIECE = re.compile(rf"({_NUMBER})\s*([A-Za-z]+)\s*")
_PIECES = re.compile(rf"{_PIECE.pattern}{_PIECE.pattern}")  # "35 ft 6 in", "1 h 30 min"
_MARKS = str.maketrans(
    {**dict.fromkeys("'\u2032\u2019", " ft "), **dict.fromkeys('"\u2033\u201d', " in ")}
)
_OF_SO_MANY = re.compile(r"/\s*(\d{1,4})\s*(?=[A-Za-z])")  # "gpm/100ft", as hoses are rated
_PF = re.compile(rf"pF\s*({_NUMBER})|({_NUMBER})\s*pF", re.IGNORECASE)
_SUM = re.compile(r"\*\*|\d\d")  # pint would calculate such a power, however long that takes
_DEGREES = re.compile(r"(?:deg(?:rees?)?|°)?\s*(?:(f|fahrenheit)|c|celsius)", re.IGNORECASE)
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
        number = plain_number(value)
        if not bare:
            raise ValueError("no unit")
        return bounded(number, "")

    if us_example is None:
        return BeforeValidator(Rule(allowed, read))
    return BeforeValidator(Rule(allowed, read, _us_rule(unit, bounded, least, most, us_example)))


def suction(least_kpa: float, most_kpa: float, example: str, us_example: str) -> BeforeValidator:
    """Rule for a suction of the soil: a pressure as `quantity` takes it, or "pF 3.4"; gives pF."""
    pressure = quantity("kPa", least_kpa, most_kpa, example, us_example).func
    assert isinstance(pressure, Rule)
    least, most = (round(pf_of_kpa(edge), 1) for edge in (least_kpa, most_kpa))

    def rule_of(units: str, us: Rule | None = None) -> Rule:
        plain = pressure.of(units)

        def read(value: Any) -> float:
            match = _PF.fullmatch(value.strip()) if isinstance(value, str) else None
            if match is None:
                return pf_of_kpa(plain.read(value))
            pf = float(match[1] or match[2])
            if not least <= pf <= most:
                raise ValueError("")
            return pf

        return Rule(lambda: f'{plain.allowed}, or pF {least:g} to {most:g}, as "pF 3.4"', read, us)

    return BeforeValidator(rule_of("metric", rule_of("us")))


def in_two_digits(limit: float, whole: Callable[[float], int]) -> str:
    """A converted limit in two digits, as an owner writes it.

    whole: rounds it inwards, so that what is told is allowed.
    """
    if not limit:
        return "0"
    step = 10.0 ** (floor(log10(abs(limit))) - 1)
    digits = limit / step
    if abs(digits - round(digits)) > 1e-6:  # else it is such a number but for the conversion
        digits = whole(digits)
    return f"{round(digits) * step:.10g}"


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
        low = in_two_digits(converted(least, unit, us_unit), ceil)
        high = in_two_digits(converted(most, unit, us_unit), floor)
        return f'{low} to {high} {us_unit}, with its unit, such as "{example}"'

    def read(value: Any) -> float:
        if isinstance(value, str):
            number = in_unit(value, unit)
            return bounded(number, f"{converted(number, unit, us_unit):.4g} {us_unit}")
        number = plain_number(value)
        raise refusal(
            f"{number:g} (no unit)",
            f'a text with its unit where units = "us": "{number:g} {us_unit}" or '
            f'"{number:g} {unit}"',
        )

    return Rule(allowed, read)
