"""The page of a hub's real days: minutes, what each strip lacks, alarms, and what no log knows."""

from collections.abc import Mapping
from datetime import date

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
    days = days_of(found.items, found.words)
    if not days:
        raise LogError("found no day with a clock in the log, allowed one at least for --out")
    return {
        "decisions.jsonl": decisions_jsonl(found.told, found.words),
        "daily.csv": daily_csv(days, found.plan, found.zones),
        "report.html": page_of(found, days),
    }


def page_of(found: Retraced, days: Mapping[date, Day]) -> str:
    """The page as HTML. `days` has one day at least."""
    units, words = UNITS[found.house.units], found.words
    heads = ("Zone", "Runs", "Minutes open", f"Water, {units.word('volume')}")
    zones = Table(
        "Of the days that the log holds",
        (*heads, f"Short of its target at the end, {units.unit('depth')}"),
        [_row(found, zone, days, units) for zone in range(len(found.zones))],
    )
    alarms = [
        Row(_minute(words, event), (words.place(event[1]), words.reason(event[0], event[2])))
        for event in found.told
        if event[0] == events.ALARM
    ]
    values = {
        "name": found.house.name,
        "period": f"{units.date(min(days))} to {units.date(max(days))}, by its own log",
        "verdict": found.verdict,
        "notes": found.notes,
        "pictures": [Markup(_picture(found, days, units, paper)) for paper in (WIDE, NARROW)],
        "zones": zones,
        "alarms": Table("In their order", ("When", "Where", "What"), alarms, "words"),
    }
    return render("days.html.j2", values, __package__)


def _row(found: Retraced, zone: int, days: Mapping[date, Day], units: Units) -> Row:
    part = found.plan.zones[zone]
    runs = sum(event[0] == events.OPENED and event[1] == zone for event in found.told)
    seconds = sum(day.seconds.get(zone, 0) for day in days.values())
    water = _NOT_KNOWN
    if found.plan.supplies[part.supply].meter:
        ml = sum(day.metered_ml.get(zone, 0) for day in days.values())
        water = units.number(ml / ML, "volume")
    lacks = [day.lacks_um[zone] for day in days.values() if zone in day.lacks_um]
    short = "not reckoned"
    if lacks and found.plan.hub.estimate:
        short = units.number((lacks[-1] - part.target_um) / UM, "depth")
    return Row(found.zones[zone], (str(runs), f"{seconds / 60:.0f}", water, short))


def _minute(words: Words, event: Event) -> str:
    if event[7] < 0:
        return f"{event[6]} s after boot {event[5]}"
    return f"{words.local(event[7]):%Y-%m-%d %H:%M}"


def _picture(found: Retraced, days: Mapping[date, Day], units: Units, paper: Paper) -> str:
    """Minutes a day, and where the hub reckons, how far each strip falls short of its target."""
    reckons = bool(found.plan.hub.estimate)
    first = np.datetime64(min(days), "D")
    every = first + np.arange((max(days) - min(days)).days + 1)
    lived = [days.get(at, Day()) for at in every.astype(object)]
    with mpl.rc_context(drawing.STYLE):
        fig, axes = drawing.panels_of(
            paper, 1 + reckons, 2.2, top_in=0.6, left_in=0.6, right_in=0.15, gap_in=0.45
        )
        numbers = drawing.day_numbers(every)
        handles = []
        for zone, name in enumerate(found.zones):
            colour = drawing.ZONE_COLOURS[zone]
            minutes = [day.seconds.get(zone, 0) / 60 for day in lived]
            axes[0].plot(numbers + 0.5, minutes, color=colour, linewidth=1.2, marker=".")
            handles.append(Line2D([], [], color=colour, label=name))
            if reckons:
                target_um = found.plan.zones[zone].target_um
                um = [day.lacks_um.get(zone, np.nan) - target_um for day in lived]
                depths = [units.of(each / UM, "depth") for each in um]
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
