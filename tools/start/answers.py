"""Answers to the questions: what each may be, what it is without one, what a file answers already.

An answer is a text in a plain form of its own, such as "40 ft", "none" or "mon, thu"; `read` makes
it of what somebody typed, by the rules of the property file. So an answer can be shown in brackets,
typed again, and compared with what a file says.
"""

import datetime
import re
from collections.abc import Callable
from functools import cache, partial
from math import ceil
from typing import Any

from pydantic import BaseModel, ValidationError

from evenclay.controller.plan import BanPart
from evenclay.sim.units import UNITS
from evenclay.tools.property.file.place import Bucket, Hose, Site, Supply, Zone
from evenclay.tools.property.file.quantities import in_two_digits
from evenclay.tools.property.file.schedule import BILLED, WEEKDAYS, Quiet, Rain, Water
from evenclay.tools.property.file.wording import shown
from evenclay.tools.property.outline.table import Outline
from evenclay.tools.start import clay, place, seasons
from evenclay.tools.start.questions import SIDES
from evenclay.tools.start.reading import (
    NUMBER,
    Texts,
    by_rule,
    refused,
    rule_of,
    units_of,
    with_unit,
)

OLD = "old"
SETTLED_YEARS = 10  # the property file's own figure
# Common practice, no source: what labels of common hoses say.
LABELS = {
    "us": {"porous": ("0.32 gal/h/ft", "11 psi"), "emitter": ("0.5 gal/h/ft", "25 psi")},
    "metric": {"porous": ("4 L/h/m", "75 kPa"), "emitter": ("6 L/h/m", "170 kPa")},
}
_TEST = re.compile(r"(.+?)\s+in\s+(\d.*?)(?:\s*[, ]\s*(north|east|south|west))?")
# A currency holds no sign of a number, so that a price below nothing is none.
_PRICE = re.compile(
    r"([^\d\s.+\-\u2212\u2013]{0,8})\s*(\d+(?:\.\d+)?)\s*([^\d\s/+\-\u2212\u2013]{1,8}?)?"
    r"\s*(?:(?:per|/|a)\s*(.+))?"
)


@cache
def found_place(text: str) -> place.Place:
    """The place of an answer to "where"."""
    return place.find(text)


def words(texts: Texts) -> dict[str, str]:
    """What stands in the questions' braces: units and examples in those of the house."""
    units = UNITS[texts.get("units", "metric")]
    us = units.name == "us"
    return {
        **{kind: units.unit(kind) for kind in ("length", "height", "emission", "pressure")},
        "bucket": "3 gal in 10 min" if us else "12 L in 10 min",
        "spigot_bucket": "5 gal in 60 s" if us else "10 L in 40 s",
        "supply_flow": units.unit("supply flow"),
        "probe_depth": units.shown(0.5, "near"),
        "billed": "1000 gal" if us else "m3",
        "outline": "40 ft right, 30 ft right, 40 ft right, 30 ft right"
        if us
        else "12 m right, 9 m right, 12 m right, 9 m right",
        "spigot_place": ", ".join(
            f"{name} {side} {'12 ft' if us else '4 m'}"
            for name, side in zip(texts.get("spigots", "").split(", "), "3124", strict=False)
        ),
        "paving": "2 10 ft to 14 ft" if us else "2 3 m to 4.2 m",
        "covers": "bare, mulched, lawn, planted shaded, planted morning sun, hot wall",
        "spigots": texts.get("spigots", ""),
        "a_side": [*sides_of_one_hose(texts), SIDES[0]][0],
    }


def sides_of_one_hose(texts: Texts) -> list[str]:
    """The sides whose hose a bucket test can speak of."""
    with_hose = [side for side in SIDES if texts.get(side, "none") != "none"]
    return [side for side in with_hose if f"{side}-longest" not in texts]


def read(key: str, text: str, texts: Texts) -> str:
    """The answer that a text means, after those before. Raises: ValueError in one line."""
    text = " ".join(text.split())
    return _READERS[key](text, texts)


def _choice(*choices: str) -> Callable[[str, Texts], str]:
    def read_choice(text: str, texts: Texts) -> str:
        found = [choice for choice in choices if choice == text.lower().replace("-", " ")]
        if not found:
            raise refused(text, ", ".join(choices))
        return found[0]

    return read_choice


def _yes(text: str, texts: Texts) -> str:
    """A yes or a no."""
    for word, meant in (("yes", "yes"), ("no", "no"), ("true", "yes"), ("false", "no")):
        if text and word.startswith(text.lower()):
            return meant
    raise refused(text, "yes or no")


def _where(text: str, texts: Texts) -> str:
    try:
        found = found_place(text)
    except ValueError as error:
        raise ValueError(f"found {shown(text)}, {error}") from None
    return f"{found.latitude:g}, {found.longitude:g}" if "," in text else text.upper()


def _quantity(
    model: type[BaseModel], name: str, kind: str, also: str, text: str, texts: Texts
) -> str:
    """A quantity with its unit, or a word that stands for none."""
    if also and text.lower() in (also, {"none": "0", "unknown": "?"}[also]):
        return also
    found = with_unit(text, kind, units_of(texts))
    by_rule(model, name, found, units_of(texts), text)
    return found


def _length(side: str, text: str, texts: Texts) -> str:
    found = _quantity(Zone, "length", "length", "none", text, texts)
    if side == SIDES[-1] and {found, *(texts[other] for other in SIDES[:-1])} == {"none"}:
        raise refused(text, "a length of hose on one side at least")
    return found


def _plain(model: type[BaseModel], name: str, text: str, texts: Texts) -> str:
    """A text that the property file's own rule takes."""
    return str(by_rule(model, name, text, units_of(texts)))


def _built(text: str, texts: Texts) -> str:
    today = datetime.date.today()
    if text.lower() in (OLD, "unknown"):
        return OLD
    year = re.fullmatch(r"(1[5-9]\d\d|20\d\d)(?:-(0[1-9]|1[0-2]))?", text)
    allowed = f'old, a year up to {today.year}, or a year and month such as "2021-05"'
    if year is None or (int(year[1]), int(year[2] or 1)) > (today.year, today.month):
        raise refused(text, allowed)
    # Half of a year's houses are older than its July; the month is told as an assumption.
    found = f"{year[1]}-{year[2] or '07'}"
    return OLD if today.year - int(year[1]) >= SETTLED_YEARS else found


def _clay(text: str, texts: Texts) -> str:
    try:
        clay.texture_of(text)
    except ValueError as error:
        raise ValueError(f"found {shown(text)}, {error}") from None
    return text.lower()


def _cover(text: str, texts: Texts) -> str:
    name = text.lower()
    if name == "grass":
        return "lawn"
    if NUMBER.fullmatch(name):
        return f"{by_rule(Zone, 'cover', float(name), 'metric'):g}"
    name = re.sub(r"planted,? (.*)", r"planted, \1", name)
    return str(by_rule(Zone, "cover", name, "metric"))


def _spigots(text: str, texts: Texts) -> str:
    names = [name.strip() for name in text.split(",")]
    for name in names:
        if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9 _-]{0,23}", name):
            raise refused(text, "names of letters and digits with commas between, at most 24 long")
    if len(names) > len(SIDES) or len(set(names)) < len(names):
        raise refused(text, "1 to 4 names, no one twice")
    return ", ".join(names)


def _spigot_of(text: str, texts: Texts) -> str:
    names = texts["spigots"].split(", ")
    if text not in names:
        raise refused(text, ", ".join(names))
    return text


RECTANGLE = "rectangle"
_SIDE = re.compile(r"(.+?)[\s,]+(left|right)", re.IGNORECASE)
_SPIGOT_PLACE = re.compile(r"(.+?)\s+(\d{1,2})\s+(\S.*)")
_PAVED = re.compile(r"(\d{1,2})\s+(\S.*?)\s+to\s+(\S.*)")


def outline_of(texts: Texts) -> dict[str, Any] | None:
    """The table [outline] of the answers, as TOML has it; None where it is not told."""
    if texts.get("outline", RECTANGLE) in (RECTANGLE, seasons.AS_IT_IS):
        return None
    table: dict[str, Any] = {
        "sides": [side.strip() for side in texts["outline"].split(",")],
        "first": texts.get("first-side", "north"),
    }
    if texts.get("spigot-places", "unknown") not in ("unknown", seasons.AS_IT_IS):
        places = [_SPIGOT_PLACE.fullmatch(place) for place in texts["spigot-places"].split(", ")]
        table["spigots"] = {
            place[1]: {"side": int(place[2]), "along": place[3]} for place in places if place
        }
    if texts.get("paving", "none") not in ("none", seasons.AS_IT_IS):
        parts = [_PAVED.fullmatch(part) for part in texts["paving"].split(", ")]
        table["paving"] = [
            {"side": int(part[1]), "from": part[2], "to": part[3]} for part in parts if part
        ]
    return table


def _checked(key: str, text: str, texts: Texts) -> str:
    """A text that fits the outline of the answers before. Raises: ValueError in one line."""
    try:
        Outline.model_validate(outline_of({**texts, key: text}), context=units_of(texts))
    except ValidationError as error:
        detail = error.errors(include_url=False)[0]
        context = detail.get("ctx", {})
        allowed = str(context.get("allowed", detail["msg"]))
        raise ValueError(f"found {context.get('found', shown(text))}, allowed {allowed}") from None
    return text


def _outline(text: str, texts: Texts) -> str:
    if text.lower() == RECTANGLE:
        return RECTANGLE
    sides = []
    for part in text.split(","):
        match = _SIDE.fullmatch(part.strip())
        if match is None:
            raise refused(text, f"{words(texts)['outline']} or the like; or {RECTANGLE}")
        sides.append(f"{with_unit(match[1], 'length', units_of(texts))} {match[2].lower()}")
    return _checked("outline", ", ".join(sides), {"units": units_of(texts)})


def _spigot_places(text: str, texts: Texts) -> str:
    if text.lower() in ("unknown", "?"):
        return "unknown"
    places, told, names = [], [], texts["spigots"].split(", ")
    for part in text.split(","):
        match = _SPIGOT_PLACE.fullmatch(part.strip())
        if match is None or match[1] not in names:
            raise refused(text, f"{words(texts)['spigot_place']} or the like; or unknown")
        told.append(match[1])
        places.append(f"{match[1]} {match[2]} {with_unit(match[3], 'length', units_of(texts))}")
    if sorted(told) != sorted(names):
        raise refused(text, f"each spigot once: {', '.join(names)}; or unknown")
    return _checked("spigot-places", ", ".join(places), texts)


def _paving(text: str, texts: Texts) -> str:
    if text.lower() == "none":
        return "none"
    parts = []
    for part in text.split(","):
        match = _PAVED.fullmatch(part.strip())
        if match is None:
            raise refused(text, f"{words(texts)['paving']} or the like; or none")
        ends = [with_unit(end, "length", units_of(texts)) for end in match.groups()[1:]]
        parts.append(f"{match[1]} {' to '.join(ends)}")
    return _checked("paving", ", ".join(parts), texts)


def bucket_of(text: str) -> tuple[str, str, str] | None:
    """Volume, time and side of a bucket test; None where a text is none. The side may be ''."""
    match = _TEST.fullmatch(text)
    return None if match is None else (match[1], match[2], match[3] or "")


def _hose_flow(text: str, texts: Texts) -> str:
    units = units_of(texts)
    test = bucket_of(text)
    if test is None:
        return _quantity(Hose, "flow", "emission", "", text, texts)
    with_hose = [side for side in SIDES if texts.get(side, "none") != "none"]
    if test[2] not in with_hose:
        allowed = f"a test with the side whose whole hose gave it: {', '.join(with_hose)}"
        raise refused(text, allowed)
    volume = with_unit(test[0], "volume", units)
    by_rule(Bucket, "litres", volume, units, text)
    by_rule(Bucket, "time", test[1], units, text)
    found = f"{volume} in {test[1]}, {test[2]}"
    by_rule(Hose, "flow", f"{seasons.flow_l_h_m(found, texts):.6g} L/h/m", units, text)
    return found


def _spigot_flow(text: str, texts: Texts) -> str:
    units = units_of(texts)
    if text.lower() in ("unknown", "?"):
        return "unknown"
    test = bucket_of(text)
    found = with_unit(text, "supply flow", units)
    if test is not None:
        litres = by_rule(Bucket, "litres", with_unit(test[0], "volume", units), units, text)
        minutes = by_rule(Bucket, "time", test[1], units, text)
        found = UNITS[units].shown(litres / minutes, "supply flow")
    gives = by_rule(Supply, "flow", found, units, text)
    told = texts["hose-flow"] != seasons.AS_IT_IS  # else the file's own rules ask each hose
    if told and gives < (wants := max(seasons.wanted_l_min(texts).values())):
        least = in_two_digits(UNITS[units].of(wants, "supply flow"), ceil)
        unit = UNITS[units].unit("supply flow")
        allowed = f"at least what the longest hose wants, {least} {unit}; or unknown"
        raise refused(text, allowed, "" if found == text else found)
    return found


def _probes(text: str, texts: Texts) -> str:
    name = text.lower()
    if name in ("none", "all"):
        return name
    sides = [side for side in SIDES if side in re.split(r"[,\s]+", name)]
    if not sides or len(sides) != len(re.split(r"[,\s]+", name)):
        raise refused(text, f"none, all, or some of {', '.join(SIDES)}")
    return ", ".join(sides)


def _several(name: str, parts: list[str], text: str, allowed: str) -> Any:
    """The parts of a text as a list of local rules has them. Raises: ValueError in one line."""
    try:
        return rule_of(Quiet, name, "metric").read(parts)
    except ValueError as error:
        raise refused(text, allowed, str(error)) from None


def _weekdays(text: str, texts: Texts) -> str:
    if text.lower() == "any":
        return "any"
    days = [day for day in re.split(r"[,\s]+", text) if day]
    allowed = f"some of {', '.join(WEEKDAYS)}, no one twice; or any"
    return ", ".join(_several("allowed_weekdays", days, text, allowed))


def _hours(text: str, texts: Texts) -> str:
    if text.lower() == "none":
        return "none"
    hours = [part.strip() for part in text.split(",")]
    allowed = f'at most {BanPart.MOST}, no one twice, such as "10:00-18:00" or "8 pm-6 am"; or none'
    bans = _several("banned_hours", hours, text, allowed)
    found = ", ".join("-".join(f"{m // 60:02}:{m % 60:02}" for m in ban) for ban in bans)
    if not seasons.leaves_room(found):
        raise refused(text, seasons.LEAVE_ROOM)
    return found


def price_of(text: str, units: str) -> tuple[float, str, str]:
    """Price, what it is per, and currency, of an answer. Raises: ValueError in one line."""
    match = _PRICE.fullmatch(text)
    if match is None:
        allowed = 'a price from 0 on, such as "$5", "$2.4 per m3" or "4 EUR per m3"; or unknown'
        raise refused(text, allowed)
    per = (match[4] or ("1000 gal" if units == "us" else "m3")).replace(",", "")
    price = by_rule(Water, "price", float(match[2]), units)
    unit = by_rule(Water, "per", {"1000 gallons": "1000 gal"}.get(per, per), units)
    if unit not in BILLED:
        raise refused(text, ", ".join(BILLED))
    return price, unit, match[1] or match[3] or "$"


def _price(text: str, texts: Texts) -> str:
    if text.lower() in ("unknown", "?"):
        return "unknown"
    price, per, currency = price_of(text, units_of(texts))
    return f"{currency}{price:g} per {per}"


_READERS: dict[str, Callable[[str, Texts], str]] = {
    "moving": _yes,
    "where": _where,
    "units": _choice("us", "metric"),
    "elevation": partial(_quantity, Site, "elevation", "height", "unknown"),
    "timezone": partial(_plain, Site, "timezone"),
    "name": partial(_plain, Site, "name"),
    "foundation": _choice("slab", "crawl space", "basement"),
    "built": _built,
    "clay": _clay,
    "spigots": _spigots,
    "outline": _outline,
    "first-side": _choice(*SIDES),
    "spigot-places": _spigot_places,
    "paving": _paving,
    **{side: partial(_length, side) for side in SIDES},
    **{f"{side}-cover": _cover for side in SIDES},
    **{f"{side}-spigot": _spigot_of for side in SIDES},
    "hose": _choice("porous", "emitter"),
    "hose-flow": _hose_flow,
    "hose-pressure": partial(_quantity, Hose, "pressure", "pressure", ""),
    "spigot-flow": _spigot_flow,
    "rain-sensor": partial(_plain, Rain, "sensor"),
    "thermometer": _yes,
    "probes": _probes,
    "weekdays": _weekdays,
    "dates": partial(_plain, Quiet, "allowed_dates"),
    "banned-hours": _hours,
    "water-price": _price,
    "new-seasons": _yes,
}
