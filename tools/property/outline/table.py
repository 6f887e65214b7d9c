"""The table [outline] of a property file: corners or sides of the house, spigots and paving."""

import re
from collections.abc import Callable
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, ValidationInfo, model_validator

from evenclay.sim.units import UNITS
from evenclay.tools.property.file import rules
from evenclay.tools.property.file.quantities import quantity
from evenclay.tools.property.file.rules import Rule, refusal
from evenclay.tools.property.file.table import Table
from evenclay.tools.property.outline.walls import (
    COURTYARDS_MOST,
    PAVING_MOST,
    WALLS_MOST,
    Place,
    Point,
    Shape,
    ShapeError,
    shape_of,
    turned,
)

COMPASS = ("north", "east", "south", "west")
_TURNED = re.compile(r"(.+?)[\s,]+(left|right)")
_MOST_M = 300
_LENGTH = quantity("m", 0.1, _MOST_M, "12 m", "40 ft")
_ALONG = quantity("m", 0, _MOST_M, "3 m", "10 ft")
_COORDINATE = quantity("m", -_MOST_M, _MOST_M, "3 m", "10 ft")


def _of(quantities: BeforeValidator, units: str) -> Rule:
    """The rule of a quantity in a file of these units."""
    assert isinstance(quantities.func, Rule)
    return quantities.func.of(units)


def _rule(allowed: Callable[[str], str], read: Callable[[Any, str], Any]) -> BeforeValidator:
    """A rule whose parts are quantities, from what it takes and how it reads, each by units."""

    def made(units: str, us: Rule | None = None) -> Rule:
        return Rule(lambda: allowed(units), lambda value: read(value, units), us)

    return BeforeValidator(made("metric", made("us")))


def _read_turned(value: Any, units: str) -> tuple[float, str]:
    """A text such as "12 m right", or "12 right" where a bare number will do."""
    match = _TURNED.fullmatch(value.strip().lower()) if isinstance(value, str) else None
    if match is None:
        raise ValueError("")
    length = match[1].strip()
    bare = re.fullmatch(r"\d+(?:\.\d+)?", length)
    return _of(_LENGTH, units).read(float(length) if bare else length), match[2]


def _read_sides(value: Any, units: str) -> tuple[tuple[float, str], ...]:
    if not isinstance(value, list) or not 4 <= len(value) <= WALLS_MOST:
        raise ValueError("")
    return tuple([_read_turned(part, units) for part in value])


def _read_point(value: Any, units: str) -> Point:
    if not isinstance(value, list) or len(value) != 2:
        raise ValueError("")
    x, y = [_of(_COORDINATE, units).read(part) for part in value]
    return x, y


def _read_ring(value: Any, units: str) -> tuple[Point, ...]:
    if not isinstance(value, list) or not 3 <= len(value) <= WALLS_MOST:
        raise ValueError("")
    return tuple([_read_point(part, units) for part in value])


def _read_rings(value: Any, units: str) -> tuple[tuple[Point, ...], ...]:
    if not isinstance(value, list) or len(value) > COURTYARDS_MOST:
        raise ValueError("")
    return tuple([_read_ring(part, units) for part in value])


def _read_along(value: Any, units: str) -> float | Point:
    if isinstance(value, list):
        return _read_point(value, units)
    along: float = _of(_ALONG, units).read(value)
    return along


def _point_words(units: str) -> str:
    return f"[EAST, NORTH], each {_of(_COORDINATE, units).allowed}"


_SIDES = _rule(
    lambda units: (
        f"a list of 4 to {WALLS_MOST} sides with the turn at the end of each, such as "
        f'"{"40 ft" if units == "us" else "12 m"} right"'
    ),
    _read_sides,
)
_RING = _rule(
    lambda units: f"a list of 3 to {WALLS_MOST} corners {_point_words(units)}", _read_ring
)
_RINGS = _rule(
    lambda units: f"at most {COURTYARDS_MOST} lists of corners {_point_words(units)}", _read_rings
)
_POINT = _rule(lambda units: f"a point {_point_words(units)}", _read_point)
_DISTANCE = _rule(
    lambda units: f"{_of(_ALONG, units).allowed}; or a point [EAST, NORTH]", _read_along
)
SideNumber = Annotated[int | None, rules.whole(1, 4 * WALLS_MOST)]


class SpigotPlace(Table):
    """Where a spigot is: along a side from its beginning, or a point at the wall."""

    side: SideNumber = None
    along: Annotated[float | None, _ALONG] = None
    at: Annotated[Point | None, _POINT] = None

    @model_validator(mode="after")
    def _relations(self) -> "SpigotPlace":
        if (self.at is None) == (self.side is None) or (self.side is None) != (self.along is None):
            raise refusal("neither or too much", "side and along, or at = [EAST, NORTH]")
        return self

    @property
    def place(self) -> Place:
        """The place as walls take it."""
        return Place(self.side, self.along) if self.at is None else Place(point=self.at)


class Paving(Table):
    """Ground along a side that is paved from the wall on."""

    side: SideNumber = None
    begins: Annotated[float | Point, _DISTANCE] = Field(alias="from")
    ends: Annotated[float | Point, _DISTANCE] = Field(alias="to")

    @model_validator(mode="after")
    def _relations(self) -> "Paving":
        points = [isinstance(end, tuple) for end in (self.begins, self.ends)]
        if self.side is None and not all(points):
            raise refusal("no side", "a side's number, or two points as from and to", "side")
        if self.side is not None and any(points):
            raise refusal("points beside it", "distances along the side", "side")
        return self

    @property
    def places(self) -> tuple[Place, Place]:
        """Its two ends as walls take them."""
        begins, ends = [
            Place(point=end) if isinstance(end, tuple) else Place(self.side, end)
            for end in (self.begins, self.ends)
        ]
        return begins, ends


class Outline(Table):
    """The house from above. Sides are numbered from 1 in the order in which they are written, those
    of courtyards after them."""

    corners: Annotated[tuple[Point, ...] | None, _RING] = None
    sides: Annotated[tuple[tuple[float, str], ...] | None, _SIDES] = None
    # The way the first of `sides` faces.
    first: Annotated[str, rules.choice(*COMPASS)] = "north"
    courtyards: Annotated[tuple[tuple[Point, ...], ...], _RINGS] = ()
    spigots: dict[str, SpigotPlace] = Field(
        default={}, description="tables, such as back = { side = 1, along = 3 }"
    )
    paving: list[Paving] = Field(
        default=[], description="tables, such as { side = 1, from = 3, to = 4.5 }"
    )

    @model_validator(mode="after")
    def _relations(self, info: ValidationInfo) -> "Outline":
        if (self.corners is None) == (self.sides is None):
            found = "neither" if self.corners is None else "both"
            raise refusal(f"{found} of corners and sides", "one of the two")
        if len(self.paving) > PAVING_MOST:
            raise refusal(f"{len(self.paving)} of them", f"at most {PAVING_MOST}", "paving")
        try:
            _ = self.shape
        except ShapeError as error:
            found, allowed = error.told(UNITS[info.context or "metric"])
            raise refusal(found, allowed, *error.keys) from None
        return self

    @property
    def shape(self) -> Shape:
        """Its walls, spigots and paving. Raises: ShapeError where they make no house."""
        corners, key = self.corners, "corners"
        if corners is None:
            corners, key = turned(self.sides or (), COMPASS.index(self.first)), "sides"
        return shape_of(
            corners,
            self.courtyards,
            {name: spigot.place for name, spigot in self.spigots.items()},
            [paving.places for paving in self.paving],
            key,
        )
