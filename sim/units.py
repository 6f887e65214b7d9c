"""How a quantity is written for the owner of a house: in metric units, or in those of the US.

Everything is computed and stored in SI units. A page, a picture or a message that a person reads
asks here for the text, by the kind of quantity; nothing else converts for a reader. So it is with
dates, and with the time of the day, which the US tell by am and pm.
"""

import datetime
import re
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

from evenclay.sim.calendar import MONTHS, clock

if TYPE_CHECKING:
    import pint  # slow to import: only when something is converted

# kind: the unit that values come in; the unit that is shown and how a number of it is formatted,
# metric and US. Units are written so that a property file takes them.
_KINDS: dict[str, tuple[str, tuple[str, str], tuple[str, str]]] = {
    "length": ("m", ("m", ".4g"), ("ft", ".4g")),  # of a hose, its rise
    "distance": ("m", ("m", ".1f"), ("ft", ".1f")),
    "far": ("km", ("km", ".0f"), ("miles", ".0f")),  # across country
    "height": ("m", ("m", ".0f"), ("ft", ".0f")),  # above the sea
    "near": ("m", ("m", ".2g"), ("in", ".0f")),  # depths in the ground, and along the slab
    "fall": ("m", ("mm", ".0f"), ("in", ".1f")),
    "bore": ("mm", ("mm", ".4g"), ("in", ".3g")),
    "area": ("m^2", ("m^2", ".4g"), ("ft^2", ".4g")),
    "volume": ("L", ("L", ",.0f"), ("gal", ",.0f")),
    "hose volume": ("L", ("L", ".1f"), ("gal", ".2f")),
    "metered": ("L", ("m3", ",.2f"), ("gal", ",.0f")),
    "supply flow": ("L/min", ("L/min", ".4g"), ("gal/min", ".3g")),
    "hose flow": ("L/h", ("L/h", ".0f"), ("gal/h", ".1f")),
    "emission": ("L/h/m", ("L/h/m", ".3g"), ("gal/h/ft", ".3g")),  # of a hose, by its label
    "pressure": ("kPa", ("kPa", ".0f"), ("psi", ".3g")),
    "suction": ("kPa", ("kPa", ",.0f"), ("psi", ",.3g")),
    "temperature": ("degC", ("degC", ".4g"), ("degF", ".4g")),
    "depth": ("mm", ("mm", ".1f"), ("in", ".2f")),  # of a run, a day or an hour
    "total": ("mm", ("mm", ",.0f"), ("in", ",.1f")),  # depth of a month or a year
}
_POWER = re.compile(r"(?<=[a-z])([23])\b")  # "m3" as people write it
_WORDS = {"L": "litres", "gal": "gallons", "in": "inches"}  # where a sentence has room


@dataclass(frozen=True)
class Units:
    """One system of units; `name` is what a property file calls it, "metric" or "us".

    Each method takes a value in the unit in which its kind comes, see `_KINDS`; `spec` formats a
    number otherwise than the kind does. Raises: KeyError for an unknown kind.
    """

    name: str

    def unit(self, kind: str) -> str:
        """The unit that is shown, such as "mm"; of degrees the letter alone, as people write it."""
        return self._shown(kind)[0].removeprefix("deg")

    def word(self, kind: str) -> str:
        """The unit in full where its short form is not plain enough for a sentence."""
        unit = self.unit(kind)
        return _WORDS.get(unit, unit)

    def of(self, value: float, kind: str) -> float:
        """A value as a number of the unit that is shown."""
        return converted(value, _KINDS[kind][0], self._shown(kind)[0])

    def number(self, value: float, kind: str, spec: str = "") -> str:
        """A value as text without its unit, for a table whose heading names that."""
        text = format(self.of(value, kind), spec or self._shown(kind)[1])
        return text if any(digit in text for digit in "123456789") else text.lstrip("-")

    def shown(self, value: float, kind: str, spec: str = "") -> str:
        """A value as text with its unit; inches in full, since "in" is a word of its own."""
        unit = self.word(kind) if self.unit(kind) == "in" else self.unit(kind)
        return f"{self.number(value, kind, spec)} {unit}"

    def time(self, minute: int) -> str:
        """A minute of the day, or of the next one, as people say it: "21:30", or "9:30 pm"."""
        if self.name != "us":
            return clock(minute)
        hour, rest = minute // 60 % 24, minute % 60
        past = f":{rest:02}" if rest else ""
        return f"{(hour - 1) % 12 + 1}{past} {'pm' if hour >= 12 else 'am'}"

    def day(self, month: int, day: int) -> str:
        """A day of every year, as people write it: "15 Mar", or "Mar 15"."""
        name = MONTHS[month - 1]
        return f"{name} {day}" if self.name == "us" else f"{day} {name}"

    def date(self, date: datetime.date) -> str:
        """A date, as people write it: "15 Mar 2024", or "Mar 15, 2024"."""
        comma = "," if self.name == "us" else ""
        return f"{self.day(date.month, date.day)}{comma} {date.year}"

    def _shown(self, kind: str) -> tuple[str, str]:
        _, metric, us = _KINDS[kind]
        return us if self.name == "us" else metric


def money(amount: float, currency: str) -> str:
    """A sum of money in whole units of a currency: "$86", "USD 86"; without a currency "86"."""
    gap = " " if currency[-1:].isalpha() else ""
    return f"{currency}{gap}{amount:,.0f}"


METRIC, US = Units("metric"), Units("us")
UNITS = {units.name: units for units in (METRIC, US)}


@cache
def registry() -> "pint.UnitRegistry[Any]":
    """The units that a text may name, with those of the trade that pint does not know."""
    import pint

    powers = [lambda text: _POWER.sub(r"^\1", text)]
    units: pint.UnitRegistry[Any] = pint.UnitRegistry(preprocessors=powers)
    units.define("gpm = gallon / minute")
    units.define("gph = gallon / hour")
    units.define("kpa = kilopascal")
    units.define("ccf = 100 * foot ** 3")  # as water is sold
    return units


def converted(value: float, from_unit: str, to_unit: str) -> float:
    """A value in another unit of its kind. Raises: pint's DimensionalityError for another kind."""
    if from_unit == to_unit:
        return value
    return float(registry().Quantity(value, from_unit).to(to_unit).magnitude)
