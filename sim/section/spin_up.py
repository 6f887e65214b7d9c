"""Where years without watering leave a section: its start, the suction far down, its levels.

First the open yard alone, for the suction that it comes to 6 m down with nothing held there: water
falls out by its own weight, and a dry climate leaves none to fall. Then the whole section with that
suction held below it, until what it started from is forgotten. What was found is kept in a folder
of the user's, by ground, zones and weather.
"""

import hashlib
import os
import sys
import tempfile
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import platformdirs
from numpy.typing import NDArray

from evenclay.sim.section import arrays, clay, kernel, layout, shape
from evenclay.sim.section import section as sections
from evenclay.sim.section.clay import M2_D_PER_CM2_S
from evenclay.sim.section.ground import Ground, Zone
from evenclay.sim.section.layout import EDGE, STRIP, STRIP_M, YARD, Layout
from evenclay.sim.section.section import EVERY_H, Section, Snapshot
from evenclay.sim.types import Floats

YEAR_H = 8766
FORGOTTEN = 5.0  # times of its slowest change, after which ground has forgotten how it began
LEAST_YEARS = 10
LAST_YEARS = 2  # of these, by the usual steps; those before by the day
KEPT_MB = 500  # in the folder: the oldest go first


@dataclass(frozen=True)
class Settled:
    """A section at the start of its weather, settled without watering.

    level_pf: of each strip, its mean pF at 0.3-1.0 m over the whole record, unwatered. bottom_pf:
    held below each zone.
    """

    section: Section
    level_pf: Floats
    bottom_pf: Floats


def settled(
    ground: Ground,
    zones: Sequence[Zone],
    rain_mm: Floats,
    et0_mm: Floats,
    *,
    deep_pf: float | None = None,
    deep_offset_pf: float = 0.0,
    keep: bool = True,
) -> Settled:
    """A section that has stood unwatered in a climate, at the hour before the first.

    rain_mm, et0_mm: of each hour of the whole record, whole days from a midnight on; it is repeated
    as often as needed. deep_pf: suction far down by the owner's soil report; None: the climate's.
    deep_offset_pf: added to the climate's.
    keep: whether to look for it on disk, and leave it there.
    """
    deep = (deep_pf, deep_offset_pf)
    path = _path(ground, zones, rain_mm, et0_mm, deep) if keep else None
    found = _read(path) if path else None
    if found is None:
        found = _spin_up(ground, zones, rain_mm, et0_mm, deep)
        if path:
            _write(path, found)
    section = Section(ground, zones, bottom_pf=found["bottom_pf"].tolist())
    level_pf = found.pop("level_pf")
    section.put_back(Snapshot(**found))
    return Settled(section, level_pf, found["bottom_pf"])


def open_ground_pf(
    ground: Ground, zone: Zone, rain_mm: Floats, et0_mm: Floats, every_h: int = EVERY_H
) -> tuple[Floats, NDArray[np.float32]]:
    """The yard of a zone alone: its mean profile (layers,) and daily pF (days, layers) of a record.

    Nothing is held below; it has stood in the climate until it forgot how it began.
    """
    alone = Layout(ground.layout.edges_m, (YARD, STRIP, EDGE), (1.0, 1.0, 1.0))
    yard = replace(zone, slab_m=None, yard_reach_m=0.0, width_m=1.0, cover=zone.yard_cover)
    yard = replace(yard, coefficient=zone.yard_coefficient, exposure=zone.yard_exposure)
    clay = replace(ground, layout=alone)
    section = Section(clay, [yard], every_h=24)
    for _ in range(max(1, round(_years(ground, np.inf) * YEAR_H / len(rain_mm)))):
        section.live(rain_mm, et0_mm)
    if every_h != 24:
        start, section = section.snapshot(), Section(clay, [yard], every_h=every_h)
        section.put_back(start)
    pf = section.live(rain_mm, et0_mm).pf[:, 0, YARD]
    return pf.mean(axis=0, dtype=np.float64), pf


def _spin_up(
    ground: Ground,
    zones: Sequence[Zone],
    rain_mm: Floats,
    et0_mm: Floats,
    deep: tuple[float | None, float],
) -> dict[str, Floats]:
    profiles: dict[tuple[object, ...], Floats] = {}
    wanted = []
    for zone in zones:
        yard = (zone.yard_coefficient, zone.yard_exposure, zone.yard_cover, zone.texture)
        if yard not in profiles:
            profiles[yard] = open_ground_pf(ground, zone, rain_mm, et0_mm, 24)[0]
        wanted.append(profiles[yard])
    profile = np.array(wanted)
    deep_pf, offset_pf = deep
    bottom_pf = profile[:, -1] + offset_pf if deep_pf is None else np.full(len(zones), deep_pf)
    begun = (profile + (bottom_pf - profile[:, -1])[:, None])[:, None, :]
    years = _years(ground, sum(ground.layout.widths_m[ground.layout.places.index(EDGE) :]))
    coarse = Section(ground, zones, bottom_pf=bottom_pf.tolist(), every_h=24)
    coarse.set_pf(begun)
    _repeat(coarse, rain_mm, et0_mm, years - LAST_YEARS, LAST_YEARS)
    section = Section(ground, zones, bottom_pf=bottom_pf.tolist())
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
        "bottom_pf": bottom_pf,
        "level_pf": level,
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
    deep: tuple[float | None, float],
) -> Path:
    """A name that changes with anything that the outcome hangs on, this code included."""
    digest = hashlib.sha256(repr((ground, tuple(zones), deep)).encode())
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
            return {name: kept[name] for name in kept.files}
    except (OSError, ValueError, KeyError, EOFError):
        return None


def _write(path: Path, found: dict[str, Floats]) -> None:
    """Keep it: written beside its place, then moved into it, so that no reader sees half of it.

    A folder that cannot be written to costs time only.
    """
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, suffix=".part")
        try:
            with os.fdopen(handle, "wb") as file:
                np.savez(file, allow_pickle=False, **found)
            os.replace(name, path)
        except BaseException:
            os.unlink(name)
            raise
        _make_room(path.parent)


def _make_room(where: Path) -> None:
    """Remove the files not used for longest while there is too much."""
    files = sorted(where.glob("settled-*.npz"), key=lambda file: file.stat().st_mtime)
    size = sum(file.stat().st_size for file in files)
    while files and size > KEPT_MB * 1e6:
        size -= files[0].stat().st_size
        files.pop(0).unlink(missing_ok=True)
