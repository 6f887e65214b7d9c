"""A day of clay under one long run and under short cycles: the picture of `make validation`."""

from pathlib import Path

import numpy as np
from matplotlib.figure import Figure

from evenclay.sim.calendar import HOURS
from evenclay.sim.ground.textures import POND_MM
from evenclay.sim.section import LAYOUT, Ground, Section, Zone
from evenclay.sim.section.layout import STRIP
from evenclay.sim.types import Floats

# One long run and short cycles of the same water: mm/h over the strip, hours and seconds of runs.
RATE_MM_H = 7.45 / 0.45
LONG = ((2, 3600),)
SHORT = tuple((hour, 600) for hour in range(2, 20, 3))
SURFACE_MM_H = Ground().surface_mm_h


def ponding(runs: tuple[tuple[int, int], ...], start_pf: float, surface_mm_h: float) -> Floats:
    """A day of a strip on clay: given, standing and run off [mm] at each hour's end, (24, 3)."""
    ground = Ground(surface_mm_h=surface_mm_h, crack_share=0.0)
    still = Zone(coefficient=0.0, yard_coefficient=0.0)
    section = Section(ground, [still], start_pf=start_pf)
    hours, room = section.hours(np.zeros(HOURS), np.zeros(HOURS)), section.room(1)
    for hour, seconds in runs:
        hours.water_m[hour] = RATE_MM_H * seconds / 3600.0 / 1000.0
        hours.water_s[hour] = seconds
    strip = np.array(LAYOUT.places) == STRIP
    found = []
    for hour in range(HOURS):
        section.go_on(hours, hour, hour + 1, room)
        standing_mm = 1000.0 * float(section.snapshot().pond_water[strip].mean())
        of_day = room.water[0, 0]
        found.append((of_day["water_mm"], standing_mm, of_day["water_runoff_mm"]))
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
        found = np.vstack(([0.0, 0.0, 0.0], ponding(runs, 2.7, SURFACE_MM_H)))
        hours = np.arange(25)
        axes.plot(hours, found[:, 0], color="0.6", label="given")
        axes.plot(hours, found[:, 1], color="tab:blue", label="standing on the clay")
        axes.plot(hours, found[:, 2], color="tab:red", linestyle="--", label="run off")
        axes.axhline(POND_MM, color="0.8", linewidth=0.8)
        axes.text(23.7, POND_MM + 0.2, "what the surface holds", ha="right", size=8)
        axes.set(title=title, xlabel="hour of the day", xlim=(0, 24), xticks=range(0, 25, 4))
        off = found[-1, 2]
        axes.text(23.7, off + 0.8, f"{off:.1f} mm lost", ha="right", color="tab:red")
    figure.axes[0].set_ylabel("mm of water over the strip")
    figure.axes[1].legend(frameon=False, loc="upper left")
    figure.savefig(path, metadata={"Software": None})
