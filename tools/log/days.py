"""A hub's real days by what its log says: minutes, metered water, readings, what strips lack."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date

from evenclay.controller import events
from evenclay.controller.plan import Plan
from evenclay.controller.words import WHAT, WHY
from evenclay.sim.report.outputs import RUN_EDGES, json_line
from evenclay.sim.types import Line
from evenclay.tools.log.items import Boot, Event, Item, Turn
from evenclay.tools.log.told import ML, UM, Words

COLUMNS = (
    "date",
    "zone",
    "minutes",
    "metered_litres",
    "lacks_mm",
    "target_mm",
    "rain_mm",
    "coldest_c",
    "warmest_c",
    "soil_vwc_pct",
)


@dataclass
class Day:
    """One local day. What is None, or not there, the log does not tell.

    By zone: seconds open, ml by the meter, um lacked at the day's end, ppt of the last reading.
    """

    seconds: dict[int, int] = field(default_factory=dict)
    metered_ml: dict[int, int] = field(default_factory=dict)
    lacks_um: dict[int, int] = field(default_factory=dict)
    soil_ppt: dict[int, int] = field(default_factory=dict)
    rain_um: int | None = None
    coldest_mc: int | None = None
    warmest_mc: int | None = None


def days_of(items: Iterable[Item], words: Words) -> dict[date, Day]:
    """The days of a log, first to last; turns without a trusted clock belong to none.

    A turn says which readings changed, so what it does not name still reads as it did.
    """
    days: dict[date, Day] = {}
    reads: dict[str, int | None] = {}
    gauge_um: int | None = None
    for item in items:
        if isinstance(item, Boot):
            gauge_um = 0  # it counts from boot
        if not isinstance(item, Turn):
            reads = {}  # the next turn names each sensor that reads
            continue
        reads |= item.seen
        for event in item.told:
            if event[7] >= 0:
                _tell(days, event, words)
        if item.wall_s is None:
            continue
        day = days.setdefault(words.local(item.wall_s).date(), Day())
        _see(day, reads)
        rain_um = reads.get("rain_um")
        if rain_um is not None:
            if gauge_um is not None:
                day.rain_um = (day.rain_um or 0) + max(rain_um - gauge_um, 0)
            gauge_um = rain_um
    return dict(sorted(days.items()))


def _tell(days: dict[date, Day], event: Event, words: Words) -> None:
    what, zone, _, value, ml = event[:5]
    at = words.local(event[7])
    if what in (events.CLOSED, events.CUT_SHORT):
        day = days.setdefault(at.date(), Day())
        day.seconds[zone] = day.seconds.get(zone, 0) + value
        day.metered_ml[zone] = day.metered_ml.get(zone, 0) + ml
    elif what == events.LACKS:  # told as the next day begins
        day = days.setdefault(date.fromordinal(at.toordinal() - 1), Day())
        day.lacks_um[zone] = value


def _see(day: Day, reads: Mapping[str, int | None]) -> None:
    temp_mc = reads.get("temp_mc")
    if temp_mc is not None:
        low_mc = temp_mc if day.coldest_mc is None else min(day.coldest_mc, temp_mc)
        high_mc = temp_mc if day.warmest_mc is None else max(day.warmest_mc, temp_mc)
        day.coldest_mc, day.warmest_mc = low_mc, high_mc
    for name, value in reads.items():
        if name.startswith("soil_vwc_ppt.") and value is not None:
            day.soil_ppt[int(name.partition(".")[2])] = value


def daily_csv(days: dict[date, Day], plan: Plan, zones: tuple[str, ...]) -> str:
    """The days as a table, a row a day and zone; an empty cell is what the log does not tell."""
    lines = [",".join(COLUMNS)]
    for at, day in days.items():
        for zone, name in enumerate(zones):
            supply = plan.supplies[plan.zones[zone].supply]
            metered = day.metered_ml.get(zone, 0) / ML if supply.meter else None
            target_um = plan.zones[zone].target_um if plan.hub.estimate else None
            cells = (
                day.seconds.get(zone, 0) / 60.0,
                metered,
                _part(day.lacks_um.get(zone), UM),
                _part(target_um, UM),
                _part(day.rain_um, UM),
                _part(day.coldest_mc, 1000.0),
                _part(day.warmest_mc, 1000.0),
                _part(day.soil_ppt.get(zone), 10.0),
            )
            shown = ["" if cell is None else f"{cell:.2f}" for cell in cells]
            lines.append(",".join([at.isoformat(), _cell(name), *shown]))
    return "\n".join(lines) + "\n"


def _part(value: int | None, of: float) -> float | None:
    return None if value is None else value / of


def _cell(text: str) -> str:
    return '"' + text.replace('"', '""') + '"' if set(text) & set(',"\r\n') else text


def decisions_jsonl(told: Iterable[Event], words: Words) -> str:
    """Decisions a line, with the keys of a replay's `decisions.jsonl`; `litres` is the meter's."""
    return "".join(json_line(_decision(event, words)) + "\n" for event in told)


def _decision(event: Event, words: Words) -> Line:
    what, zone, why, value, ml, boots, up_s, wall_s = event
    run = what in RUN_EDGES
    line: Line = {
        "at": words.iso(wall_s) if wall_s >= 0 else None,
        "zone": words.place(zone) if zone >= 0 else None,
        "what": WHAT[what],
        "why": WHY[why],
        "seconds": value if run else None,
        "litres": ml / ML if run and ml else None,
    }
    if not run and value:
        line["value"] = value
    if wall_s < 0:
        line |= {"boots": boots, "up_s": up_s}
    return line
