"""Units of weather files: what a heading says, and how a value becomes metric."""

import re
from dataclasses import dataclass
from typing import Any

# What each column measures; a date measures nothing.
KINDS = {
    "rain": "depth",
    "et0": "depth",
    "tmin": "temperature",
    "tmax": "temperature",
    "dew": "temperature",
    "rh": "humidity",
    "rh_min": "humidity",
    "rh_max": "humidity",
    "wind_2m": "speed",
    "wind_10m": "speed",
    "solar": "radiation",
}


@dataclass(frozen=True)
class Unit:
    """A unit as messages name it; the metric value is (value - zero) x times / by."""

    name: str
    times: float = 1.0
    by: float = 1.0
    zero: float = 0.0

    def metric(self, values: Any) -> Any:
        """Values of this unit in mm, deg C, m/s, MJ/m2 or %."""
        return (values - self.zero) * self.times / self.by

    def of_metric(self, value: float) -> float:
        """A metric value in this unit, for messages."""
        return value * self.by / self.times + self.zero

    def parts(self, count: int, word: str) -> "Unit":
        """The unit whose whole is `count` of its own: tenths, hundredths."""
        return Unit(f"{word} of {self.name}", self.times, self.by * count, self.zero * count)


MM, CELSIUS, M_S = Unit("mm"), Unit("deg C"), Unit("m/s")
INCH, FAHRENHEIT, MPH = Unit("in", 25.4), Unit("deg F", 5, 9, 32), Unit("mph", 0.44704)
# As headings spell them, without blanks, signs of degrees and "a day".
SPELLINGS = {
    "depth": {
        MM: "mm millimetre millimetres millimeter millimeters kg/m2 l/m2",
        Unit("cm", 10): "cm centimetres centimeters",
        INCH: "in inch inches",
    },
    "temperature": {
        CELSIUS: "c celsius centigrade",
        FAHRENHEIT: "f fahrenheit",
        Unit("K", zero=273.15): "k kelvin",
    },
    "speed": {
        M_S: "m/s ms ms-1 mps",
        Unit("km/h", 1, 3.6): "km/h kmh kmh-1 kph",
        MPH: "mph mp/h mi/h miles/hour",
        Unit("kn", 1852, 3600): "kn kt kts knots",
    },
    "radiation": {
        Unit("MJ/m2"): "mj mj/m2 mjm2 mjm-2 mj/sqm",
        Unit("kWh/m2", 3.6): "kwh/m2 kwhm2 kwhm-2 kw-hr/m2",
        Unit("Wh/m2", 0.0036): "wh/m2 whm2 whm-2",
        Unit("W/m2", 0.0864): "w/m2 wm2 wm-2",
    },
    "humidity": {Unit("%"): "% pct percent"},
}
# What is meant where neither heading nor format says: the names are what --units takes.
DEFAULTS: dict[str, dict[str, Unit]] = {
    "metric": {"depth": MM, "temperature": CELSIUS, "speed": M_S},
    "us": {"depth": INCH, "temperature": FAHRENHEIT, "speed": MPH},
    "tenths": {
        "depth": MM.parts(10, "tenths"),
        "temperature": CELSIUS.parts(10, "tenths"),
        "speed": M_S.parts(10, "tenths"),
    },
}
_BY_SPELLING = {
    kind: {word: unit for unit, words in units.items() for word in words.split()}
    for kind, units in SPELLINGS.items()
}
_A_DAY = re.compile(r"(/|per)?(day|d|24h|24hr)(-?1)?$")
_PARTS = re.compile(r"(?:(0\.01|1/100|hundredths?(?:of)?)|(0\.1|1/10|tenths?(?:of)?))(?=.)")
_BRACKETS = re.compile(r"[(\[]([^()\[\]]*)[)\]]")
_SEPARATORS = re.compile(r"[\s_.,:]+")


def default_of(key: str, units: str) -> Unit:
    """What a column without a unit is in; units: a name of DEFAULTS."""
    kind = KINDS[key]
    return DEFAULTS[units].get(kind) or next(iter(SPELLINGS[kind]))


def unit_of(kind: str, text: str) -> Unit | None:
    """The unit that a text names, None where it names none of this kind."""
    bare = text.lower().replace("²", "2").replace("⁻¹", "-1").replace("⁻²", "-2")
    bare = re.sub(r"degrees?|deg", "", bare)
    bare = re.sub(r"[^a-z0-9/%.-]", "", bare).strip(".")
    parts = _PARTS.match(bare)
    known = _BY_SPELLING[kind]
    word = bare[parts.end() :] if parts else bare
    unit = known.get(word) or known.get(_A_DAY.sub("", word))
    if unit is None or parts is None:
        return unit
    return unit.parts(100, "hundredths") if parts[1] else unit.parts(10, "tenths")


def is_unit(text: str) -> bool:
    """Whether a text names a unit of any kind."""
    return any(unit_of(kind, text) for kind in SPELLINGS)


def split_heading(heading: str) -> tuple[str, str]:
    """Name and unit of a heading such as "Precip (in)", "tmax_f", "Rain, mm"; "" without a unit.

    What stands in brackets is returned whether it is a unit or not.
    """
    brackets = _BRACKETS.search(heading)
    if brackets:
        return heading[: brackets.start()] + " " + heading[brackets.end() :], brackets[1].strip()
    words = [word for word in _SEPARATORS.split(re.sub(r"[°º˚]", " ", heading)) if word]
    for count in (3, 2, 1):
        tail = " ".join(words[-count:])
        if len(words) > count and is_unit(tail):
            return " ".join(words[:-count]), tail
    return heading, ""
