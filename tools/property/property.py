"""The property file: one house, its hoses and its seasons, as its owner writes them.

`load` reads a file into a `Property` or raises a `PropertyError` that lists every mistake, one
line each: `FILE:LINE: key.path: found ..., allowed ...`. Lists count from 1 in key paths.

A quantity is a number in the unit its description names, or a string with a unit of the same
kind ("75 ft"). A length of time always takes its unit: a bare 30 could be seconds or minutes. So
does, in a file of US units, whatever is measured otherwise there: a bare 35 could be feet.
"""

import difflib
import os
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Any, get_args

from pydantic import BaseModel, Field, PrivateAttr, ValidationError
from pydantic_core import ErrorDetails

from evenclay.tools.property.file import rules
from evenclay.tools.property.file.estimate import Estimate, instead
from evenclay.tools.property.file.key_lines import KeyPath
from evenclay.tools.property.file.mistakes import Mistake, Source
from evenclay.tools.property.file.place import Site, Soil, Supply, Zone
from evenclay.tools.property.file.rules import Rule
from evenclay.tools.property.file.schedule import Habits, Hub, Lockouts, Season, Water
from evenclay.tools.property.file.table import Table
from evenclay.tools.property.file.text import document_of, read_text
from evenclay.tools.property.file.wording import shown
from evenclay.tools.property.outline.line import open_m
from evenclay.tools.property.outline.table import Outline
from evenclay.tools.property.plan_ranges import NAME_BYTES

ZoneName = Annotated[str, rules.ascii_name(NAME_BYTES)]
SupplyName = Annotated[str, rules.ascii_name(24)]


class Property(Table):
    """A whole property file. `source` is the file it came from."""

    site: Site = Field(description="a table [site]")
    supplies: dict[SupplyName, Supply] = Field(description="tables, such as [supplies.front]")
    zones: dict[ZoneName, Zone] = Field(description="tables, such as [zones.west]")
    seasons: list[Season] = Field(description="tables, such as [[seasons]]")
    soil: Soil = Soil()
    lockouts: Lockouts = Lockouts()
    hub: Hub = Hub()
    estimate: Estimate = Estimate()
    water: Water = Water()
    owner: Habits = Habits()
    outline: Outline | None = None
    _source: Source = PrivateAttr(default=Source("property", ""))

    @property
    def source(self) -> Source:
        """The file this property was read from."""
        return self._source

    @property
    def reckons(self) -> bool:
        """Whether the hub reckons what each strip lacks; else it gives what the table says."""
        if self.estimate.estimate is not None:
            return self.estimate.estimate == "on"
        grounds = [zone.ground for zone in self.zones.values()]
        return self.estimate.yard is not None and None not in grounds


def load(path: str | os.PathLike[str]) -> Property:
    """Read a property file.

    Raises:
        PropertyError: the file cannot be read, is not TOML, or a value in it will not do.
    """
    return parse(read_text(Path(path)), str(path))


def parse(text: str, name: str) -> Property:
    """Read a property from the text of a file called `name`. Raises PropertyError as `load`."""
    line_end = "\r\n" if 2 * text.count("\r\n") > text.count("\n") else "\n"
    source = Source(name, text.replace("\r\n", "\n"), line_end=line_end)
    return from_document(document_of(source), source)


def from_document(document: dict[str, Any], source: Source) -> Property:
    """Read a property from what TOML says; `source` words its mistakes. Raises PropertyError.

    Seasons may stand in any order; the property has them in that of the year.
    """
    units = _units_of(document)
    try:
        found = Property.model_validate(_with_lengths(document, units), context=units)
    except ValidationError as error:
        mistakes = [_mistake(detail, units) for detail in error.errors(include_url=False)]
        raise source.error(mistakes) from None
    order = sorted(range(len(found.seasons)), key=lambda place: found.seasons[place].begins)
    found = found.model_copy(update={"seasons": [found.seasons[place] for place in order]})
    found._source = replace(source, seasons=tuple(order))
    return found


def _units_of(document: dict[str, Any]) -> str:
    """The units that a document asks for, before anything in it is read; metric where unsure."""
    site = document.get("site")
    units = site.get("units") if isinstance(site, dict) else None
    return "us" if isinstance(units, str) and units.strip().lower() == "us" else "metric"


def _with_lengths(document: dict[str, Any], units: str) -> dict[str, Any]:
    """What TOML says, where a zone without a length has that of its side of the outline.

    A side's length is that of the hose's line along its walls, less paving. Where several zones
    share a side each says its own.
    """
    zones = document.get("zones")
    if "outline" not in document or not isinstance(zones, dict):
        return document
    sides = [zone.get("side") for zone in zones.values() if isinstance(zone, dict)]
    lacking = {
        name: zone
        for name, zone in zones.items()
        if isinstance(zone, dict) and "length" not in zone and sides.count(zone.get("side")) == 1
    }
    try:
        shape = Outline.model_validate(document["outline"], context=units).shape
    except ValidationError:  # its own mistake is told; no zone is to blame
        given = dict.fromkeys(lacking, "1 m")
    else:
        lengths = {name: open_m(shape, str(zone.get("side"))) for name, zone in lacking.items()}
        given = {name: f"{length_m:.2f} m" for name, length_m in lengths.items() if length_m >= 1}
    longer = {name: {**lacking[name], "length": length} for name, length in given.items()}
    return {**document, "zones": {**zones, **longer}}


_CONTAINERS = {
    "model_type": "a table",
    "dict_type": "a table of tables",
    "list_type": "a list of tables",
}


def _mistake(detail: ErrorDetails, units: str) -> Mistake:
    """Turn one of pydantic's errors into a mistake."""
    path: KeyPath = tuple([part for part in detail["loc"] if part != "[key]"])
    kind = detail["type"]
    if kind == "refused":
        context = detail["ctx"]
        return Mistake((*path, *context["keys"]), context["found"], context["allowed"])
    if kind == "missing":
        return Mistake(path, f"no {path[-1]}", _allowed(path, units))
    if kind == "extra_forbidden" and (allowed := instead(path)) is not None:
        return Mistake(path, "a key that has gone", allowed)
    if kind == "extra_forbidden":
        return Mistake(path, "an unknown key", _known(path))
    return Mistake(path, shown(detail["input"]), _CONTAINERS.get(kind, detail["msg"]))


def _model_at(path: KeyPath) -> type[BaseModel]:
    """The model that reads the table at a path."""
    model: type[BaseModel] = Property
    for part in path:
        names = {(info.alias or name): info for name, info in model.model_fields.items()}
        if isinstance(part, str) and part in names:
            inner = _inner_model(names[part].annotation)
            if inner is not None:
                model = inner
    return model


def _inner_model(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for argument in get_args(annotation):
        inner = _inner_model(argument)
        if inner is not None:
            return inner
    return None


def _allowed(path: KeyPath, units: str) -> str:
    """What a required key takes."""
    for name, info in _model_at(path[:-1]).model_fields.items():
        if (info.alias or name) == path[-1]:
            if info.description:
                return info.description
            for item in info.metadata:
                rule = getattr(item, "func", None)
                if isinstance(rule, Rule):
                    return rule.of(units).allowed
    return "a value"


def _known(path: KeyPath) -> str:
    """The keys a table knows, the nearest first if one is near."""
    fields = _model_at(path[:-1]).model_fields
    names = [info.alias or name for name, info in fields.items()]
    near = difflib.get_close_matches(str(path[-1]), names, n=1, cutoff=0.6)
    if near:
        return f"{near[0]} (the nearest known key)"
    return ", ".join(names)
