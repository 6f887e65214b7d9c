"""The page of a hub's real days: minutes, what each strip lacks, alarms, and what no log knows."""

from collections.abc import Mapping
from datetime import date
from itertools import cycle

import matplotlib as mpl
import numpy as np
from markupsafe import Markup
from matplotlib.lines import Line2D

from evenclay.controller import events
from evenclay.sim.report.pictures import drawing
from evenclay.sim.report.pictures.drawing import NARROW, WIDE, Paper
from evenclay.sim.report.render import render
from evenclay.sim.report.tables import Row, Table
from evenclay.sim.units import UNITS, Units
from evenclay.tools.log.days import Day, daily_csv, days_of, decisions_jsonl
from evenclay.tools.log.items import Event, LogError
from evenclay.tools.log.retrace import Retraced
from evenclay.tools.log.told import ML, UM, Words

_NOT_KNOWN = "not metered"


def files_of(found: Retraced) -> dict[str, str]:
    """The files of a report by their names.

    Raises:
        LogError: the log has no day on which the hub knew the time.
    """
    days = days_of(found.items, found.speech)
    if not days:
        raise LogError("found no day with a clock in the log, allowed one at least for --out")
    return {
        "decisions.jsonl": decisions_jsonl(found.told),
        "daily.csv": daily_csv(days),
        "report.html": page_of(found, days),
    }


def page_of(found: Retraced, days: Mapping[date, Day]) -> str:
    """The page as HTML. `days` has one day at least."""
    units = UNITS[found.house.units]
    heads = ("Zone", "Runs", "Minutes open", f"Water, {units.word('volume')}")
    zones = Table(
        "Of the days that the log holds",
        (*heads, f"Short of its target at the end, {units.unit('depth')}"),
        [_row(found, name, days, units) for name in _names(days)],
    )
    alarms = [
        Row(_minute(words, event), (words.place(event[1]), words.reason(event[0], event[2])))
        for event, words in found.told
        if event[0] == events.ALARM
    ]
    values = {
        "name": found.house.name,
        "period": f"{units.date(min(days))} to {units.date(max(days))}, by its own log",
        "verdict": found.verdict,
        "notes": found.notes,
        "pictures": [Markup(_picture(days, units, paper)) for paper in (WIDE, NARROW)],
        "zones": zones,
        "alarms": Table("In their order", ("When", "Where", "What"), alarms, "words"),
    }
    return render("days.html.j2", values, __package__)


def _names(days: Mapping[date, Day]) -> list[str]:
    """Every zone that a day tells of."""
    return list(dict.fromkeys(name for day in days.values() for name in day.strips))


def _row(found: Retraced, name: str, days: Mapping[date, Day], units: Units) -> Row:
    runs = sum(
        event[0] == events.OPENED and words.place(event[1]) == name for event, words in found.told
    )
    strips = [day.strips[name] for day in days.values() if name in day.strips]
    seconds = sum(strip.seconds for strip in strips)
    water = _NOT_KNOWN
    metered = [strip.metered_ml for strip in strips if strip.metered_ml is not None]
    if metered:
        water = units.number(sum(metered) / ML, "volume")
    shorts = [strip.short_um for strip in strips if strip.short_um is not None]
    short = units.number(shorts[-1] / UM, "depth") if shorts else "not reckoned"
    return Row(name, (str(runs), f"{seconds / 60:.0f}", water, short))


def _minute(words: Words, event: Event) -> str:
    if event[7] < 0:
        return f"{event[6]} s after boot {event[5]}"
    return f"{words.local(event[7]):%Y-%m-%d %H:%M}"


def _picture(days: Mapping[date, Day], units: Units, paper: Paper) -> str:
    """Minutes a day, and where the hub reckons, how far each strip falls short of its target."""
    strips = [strip for day in days.values() for strip in day.strips.values()]
    reckons = any(strip.target_um is not None for strip in strips)
    first = np.datetime64(min(days), "D")
    every = first + np.arange((max(days) - min(days)).days + 1)
    lived = [days.get(at, Day()) for at in every.astype(object)]
    with mpl.rc_context(drawing.STYLE):
        fig, axes = drawing.panels_of(
            paper, 1 + reckons, 2.2, top_in=0.6, left_in=0.6, right_in=0.15, gap_in=0.45
        )
        numbers = drawing.day_numbers(every)
        handles = []
        for name, colour in zip(_names(days), cycle(drawing.ZONE_COLOURS), strict=False):
            each = [day.strips.get(name) for day in lived]
            minutes = [strip.seconds / 60 if strip else 0 for strip in each]
            axes[0].plot(numbers + 0.5, minutes, color=colour, linewidth=1.2, marker=".")
            handles.append(Line2D([], [], color=colour, label=name))
            if reckons:
                shorts = [strip.short_um if strip else None for strip in each]
                um = [np.nan if short is None else short for short in shorts]
                depths = [units.of(short / UM, "depth") for short in um]
                axes[1].plot(numbers + 1, depths, color=colour, linewidth=1.2, marker=".")
        drawing.name_panel(axes[0], "Minutes open, a day")
        axes[0].set_ylim(bottom=0)
        if reckons:
            unit = units.unit("depth")
            drawing.name_panel(axes[1], f"Short of its target by the hub's reckoning, {unit}")
            axes[1].axhline(0, color=drawing.INK, linewidth=0.8)
            axes[1].invert_yaxis()  # wetter is up
        for number, ax in enumerate(axes):
            drawing.rule_time(ax, every, last=number == len(axes) - 1)
        drawing.add_legend(fig, handles, min(len(handles), 3 if paper.narrow else 8))
        return drawing.svg_of(
            fig, paper, "days", "Minutes open, and how far each strip is from its target"
        )
