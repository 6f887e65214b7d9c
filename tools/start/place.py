"""Where a house stands, from what its owner types; all by data that is installed, never a network.

Sources: the packages zipcodes (ZIP codes, without heights, and without places for the military's),
airportsdata (airports, heights in feet) and tzfpy (time zones of places).
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from math import asin, cos, radians, sin, sqrt
from typing import TYPE_CHECKING

from evenclay.sim.units import converted
from evenclay.tools.property.timezone import read_name

if TYPE_CHECKING:
    from airportsdata import Airport, CodeType

ALLOWED = (
    "a US ZIP code, the code of an airport, or latitude and longitude in degrees such as "
    '"32.4, -97.1"'
)
EARTH_KM = 6371.0
FAR_KM = 100.0  # an airport further away says nothing of a house's height; common sense, no source
LATITUDE_MOST = 66.0  # as a property file takes it
_NUMBER = r"([+-]?\d{1,3}(?:\.\d+)?)"
_DEGREES = re.compile(rf"{_NUMBER}\s*[,; ]\s*{_NUMBER}")
_ZIP = re.compile(r"\d{5}(?:-\d{4})?")
_CODE = re.compile(r"[A-Za-z0-9]{3,4}")


@dataclass(frozen=True)
class Place:
    """A place. elevation_m, timezone: None where nobody knows. airport: whose height it is, and
    distance_km: how far away that stands. called: a town's or an airport's name, or ''."""

    latitude: float
    longitude: float
    called: str
    country: str
    timezone: str | None
    elevation_m: float | None
    airport: str
    distance_km: float


def find(text: str) -> Place:
    """The place that a text means. Raises: ValueError with what was found and is allowed."""
    text = text.strip()
    degrees = _DEGREES.fullmatch(text)
    if degrees is not None:
        return _place(float(degrees[1]), float(degrees[2]), "", "")
    if _ZIP.fullmatch(text):
        return _of_zip(text)
    if _CODE.fullmatch(text):
        return _of_airport(text.upper())
    raise ValueError(f"allowed is {ALLOWED}")


def _of_zip(text: str) -> Place:
    import zipcodes

    found = zipcodes.matching(text[:5])
    if not found:
        raise ValueError(f"which is no ZIP code that is known; allowed is {ALLOWED}")
    first = found[0]
    latitude, longitude = float(first["lat"] or 0), float(first["long"] or 0)
    if not latitude and not longitude:
        raise ValueError(
            "a ZIP code without a place of its own (the military's, for one); allowed is a "
            "neighbour's, the code of an airport, or latitude and longitude"
        )
    town = ", ".join(part for part in (first["city"], first["state"]) if part)
    return _place(latitude, longitude, town, "US")


def _of_airport(code: str) -> Place:
    found = _airports("IATA").get(code) or _airports("ICAO").get(code) or _airports("LID").get(code)
    if found is None:
        raise ValueError(f"which is no airport's code that is known; allowed is {ALLOWED}")
    called = str(found["city"] or found["name"])
    return _place(found["lat"], found["lon"], called, found["country"], found["tz"])


def _place(
    latitude: float, longitude: float, called: str, country: str, timezone: str = ""
) -> Place:
    if abs(latitude) > LATITUDE_MOST or abs(longitude) > 180:
        raise ValueError(
            f"latitude {latitude:g}, longitude {longitude:g}; allowed are -66 to 66 and -180 to 180"
        )
    airport, distance_km = _nearest(latitude, longitude)
    near = distance_km <= FAR_KM
    return Place(
        latitude=round(latitude, 4),
        longitude=round(longitude, 4),
        called=called or (str(airport["city"] or airport["name"]) if near else ""),
        country=country or (airport["country"] if near else ""),
        timezone=_timezone(latitude, longitude, timezone),
        elevation_m=converted(airport["elevation"], "ft", "m") if near else None,
        airport=f"{airport['icao']} ({airport['name']})",
        distance_km=distance_km,
    )


def _nearest(latitude: float, longitude: float) -> tuple["Airport", float]:
    """The nearest airport whose height is known, and its distance [km]; 0 ft stands for unknown."""
    known = [airport for airport in _airports("ICAO").values() if airport["elevation"]]
    squares = [_haversine(latitude, longitude, at["lat"], at["lon"]) for at in known]
    square = min(squares)
    return known[squares.index(square)], 2 * EARTH_KM * asin(sqrt(square))


def _haversine(lat_a: float, lon_a: float, lat_b: float, lon_b: float) -> float:
    """The square of the sine of half the angle between two places in degrees."""
    up, along = radians(lat_b - lat_a) / 2, radians(lon_b - lon_a) / 2
    return sin(up) ** 2 + cos(radians(lat_a)) * cos(radians(lat_b)) * sin(along) ** 2


def _timezone(latitude: float, longitude: float, told: str) -> str | None:
    """The time zone of a place, as a property file takes it; None at sea."""
    import tzfpy

    for name in (tzfpy.get_tz(longitude, latitude), told):
        try:
            if not name.startswith("Etc/"):
                return read_name(name)
        except ValueError:
            continue
    return None


@cache
def _airports(kind: "CodeType") -> "Mapping[str, Airport]":
    """All airports by a kind of code: IATA of three letters, ICAO of four, LID of the US."""
    import airportsdata

    found: Mapping[str, Airport] = airportsdata.load(kind)
    return found
