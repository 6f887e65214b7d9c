"""A day of clay under one long run and under short cycles: the picture of `make validation`."""

from pathlib import Path

import numpy as np
from matplotlib.figure import Figure

from evenclay.sim.ground import soil, textures
from evenclay.sim.types import Floats
from evenclay.tools.dev.validation_years import KS_CLAY

# One long run and short cycles of the same water: mm/h over the strip, hours and seconds of runs.
RATE_MM_H = 7.45 / 0.45
LONG = ((2, 3600),)
SHORT = tuple((hour, 600) for hour in range(2, 20, 3))


def ponding(runs: tuple[tuple[int, int], ...], start_pf: float, ks_mm_h: float) -> Floats:
    """A day of clay: given, standing and run off [mm] at each hour's end, (24, 3)."""
    columns = soil.Columns(["clay"], ks_mm_h=[ks_mm_h], start_pf=start_pf)
    found, given, off = [], 0.0, 0.0
    for hour in range(24):
        forcing = np.zeros((1, soil.FORCINGS))
        seconds = dict(runs).get(hour, 0)
        forcing[0, [soil.IRRIGATION, soil.IRRIGATION_S]] = RATE_MM_H * seconds / 3600.0, seconds
        given += forcing[0, soil.IRRIGATION]
        off += columns.run(forcing[None])[0, 0, soil.RUNOFF_IRRIGATION]
        found.append((given, float(columns.ponded_mm[0]), off))
    return np.array(found)


def picture(path: Path) -> None:
    """Draw both days."""
    figure = Figure(figsize=(8.0, 3.4), layout="constrained", dpi=110)
    for axes, runs, title in zip(
        figure.subplots(1, 2, sharey=True),
        (LONG, SHORT),
        ("One run of an hour", f"{len(SHORT)} cycles of ten minutes"),
        strict=True,
    ):
        found = np.vstack(([0.0, 0.0, 0.0], ponding(runs, 2.7, KS_CLAY)))
        hours = np.arange(25)
        axes.plot(hours, found[:, 0], color="0.6", label="given")
        axes.plot(hours, found[:, 1], color="tab:blue", label="standing on the clay")
        axes.plot(hours, found[:, 2], color="tab:red", linestyle="--", label="run off")
        axes.axhline(textures.POND_MM, color="0.8", linewidth=0.8)
        axes.text(23.7, textures.POND_MM + 0.2, "what the surface holds", ha="right", size=8)
        axes.set(title=title, xlabel="hour of the day", xlim=(0, 24), xticks=range(0, 25, 4))
        off = found[-1, 2]
        axes.text(23.7, off + 0.8, f"{off:.1f} mm lost", ha="right", color="tab:red")
    figure.axes[0].set_ylabel("mm of water over the strip")
    figure.axes[1].legend(frameon=False, loc="upper left")
    figure.savefig(path, metadata={"Software": None})
