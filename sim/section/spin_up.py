"""Where years without watering leave a section: its start, and the levels of its strips.

The suction held below it is given: the climate's usual one, or the owner's. From it the section
lives through its weather until it has forgotten how it began. What was found is kept in a folder of
the user's, by ground, zones and weather.
"""

import hashlib
import io
import os
import sys
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, fields
from pathlib import Path

import numpy as np
import platformdirs

from evenclay.sim import files
from evenclay.sim.section import arrays, clay, kernel, layout, shape
from evenclay.sim.section import section as sections
from evenclay.sim.section.clay import M2_D_PER_CM2_S
from evenclay.sim.section.ground import Ground, Zone
from evenclay.sim.section.layout import EDGE, STRIP, STRIP_M
from evenclay.sim.section.section import Section, Snapshot
from evenclay.sim.types import Floats

YEAR_H = 8766
FORGOTTEN = 5.0  # times of its slowest change, after which ground has forgotten how it began
LEAST_YEARS = 10
LAST_YEARS = 2  # of these, by the usual steps; those before by the day
KEPT_MB = 500  # in the folder: the oldest go first
LEVEL = "level_pf"
NAMES = (*[field.name for field in fields(Snapshot)], LEVEL)  # in a file


@dataclass(frozen=True)
class Settled:
    """A section at the start of its weather, settled without watering.

    level_pf: of each strip, its mean pF at 0.3-1.0 m over the whole record, unwatered.
    """

    section: Section
    level_pf: Floats


def settled(
    ground: Ground,
    zones: Sequence[Zone],
    rain_mm: Floats,
    et0_mm: Floats,
    *,
    deep_pf: float,
    keep: bool = True,
) -> Settled:
    """A section that has stood unwatered in a climate, at the hour before the first.

    rain_mm, et0_mm: of each hour of the whole record, whole days from a midnight on; it is repeated
    as often as needed. deep_pf: suction held below the section. keep: whether to
    look for it on disk, and leave it there.
    """
    path = _path(ground, zones, rain_mm, et0_mm, deep_pf) if keep else None
    found = _read(path) if path else None
    if found is None:
        found = _spin_up(ground, zones, rain_mm, et0_mm, deep_pf)
        if path:
            _write(path, found)
    section = Section(ground, zones, bottom_pf=deep_pf)
    level_pf = found.pop(LEVEL)
    section.put_back(Snapshot(**found))
    return Settled(section, level_pf)


def _spin_up(
    ground: Ground, zones: Sequence[Zone], rain_mm: Floats, et0_mm: Floats, deep_pf: float
) -> dict[str, Floats]:
    years = _years(ground, sum(ground.layout.widths_m[ground.layout.places.index(EDGE) :]))
    coarse = Section(ground, zones, start_pf=deep_pf, bottom_pf=deep_pf, every_h=24)
    _repeat(coarse, rain_mm, et0_mm, years - LAST_YEARS, LAST_YEARS)
    section = Section(ground, zones, bottom_pf=deep_pf)
    section.put_back(coarse.snapshot())
    _repeat(section, rain_mm, et0_mm, LAST_YEARS)
    start = section.snapshot()
    days = section.live(rain_mm, et0_mm)
    level = days.pf[:, :, STRIP].mean(axis=0, dtype=np.float64) @ ground.layout.mean(*STRIP_M)
    return {
        "water": start.water,
        "pond_rain": start.pond_rain,
        "pond_water": start.pond_water,
        "dried": start.dried,
        LEVEL: level,
    }


def _repeat(
    section: Section, rain_mm: Floats, et0_mm: Floats, years: float, before: float = 0.0
) -> None:
    """Live through years of a record again and again; its last day is reached `before` years on."""
    end_h = len(rain_mm) - round(before * YEAR_H / 24.0) * 24 % len(rain_mm)
    rain_mm, et0_mm = np.roll(rain_mm, -end_h), np.roll(et0_mm, -end_h)
    hours = round(years * YEAR_H / 24.0) * 24
    while hours > 0:
        part = hours % len(rain_mm) or len(rain_mm)
        section.live(rain_mm[-part:], et0_mm[-part:])
        hours -= part


def _years(ground: Ground, wide_m: float) -> float:
    """Years until ground so wide from a side that changes has forgotten how it began."""
    wave = (np.pi / 2.0 / ground.layout.edges_m[-1]) ** 2 + (np.pi / 2.0 / wide_m) ** 2
    days = FORGOTTEN / (ground.alpha_cm2_s * M2_D_PER_CM2_S * wave)
    return float(max(days / 365.25, LEAST_YEARS))


def folder() -> Path:
    """Where settled sections are kept: as EVENCLAY_CACHE says, else the user's own cache folder."""
    if chosen := os.environ.get("EVENCLAY_CACHE"):
        return Path(chosen)
    return platformdirs.user_cache_path("evenclay", appauthor=False)


def _path(
    ground: Ground,
    zones: Sequence[Zone],
    rain_mm: Floats,
    et0_mm: Floats,
    deep_pf: float,
) -> Path:
    """A name that changes with anything that the outcome hangs on, this code included."""
    digest = hashlib.sha256(repr((ground, tuple(zones), deep_pf)).encode())
    for source in (arrays, clay, kernel, layout, shape, sections, sys.modules[__name__]):
        digest.update(Path(str(source.__file__)).read_bytes())
    for values in (rain_mm, et0_mm):
        digest.update(np.ascontiguousarray(values, dtype=np.float64).tobytes())
    return folder() / f"settled-{digest.hexdigest()[:32]}.npz"


def _read(path: Path) -> dict[str, Floats] | None:
    """What was kept; None where nothing is, or nothing that can be read."""
    try:
        os.utime(path)  # used today: the last to go
        with np.load(path) as kept:
            return {name: kept[name] for name in NAMES}
    except Exception:  # zipfile and numpy raise a dozen kinds for a damaged file
        return None


def _write(path: Path, found: dict[str, Floats]) -> None:
    """Keep it. A folder that cannot be written to costs time only."""
    data = io.BytesIO()
    np.savez(data, allow_pickle=False, **found)
    with suppress(OSError):
        files.write({path: data.getvalue()}, counted=False)
        _make_room(path.parent)


def _make_room(where: Path) -> None:
    """Remove the files not used for longest while there is too much."""
    kept = sorted(where.glob("settled-*.npz"), key=lambda file: file.stat().st_mtime)
    size = sum(file.stat().st_size for file in kept)
    while kept and size > KEPT_MB * 1e6:
        size -= kept[0].stat().st_size
        kept.pop(0).unlink(missing_ok=True)
