"""A hub's real days by what its log says: minutes, metered water, readings, what strips lack."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date

from evenclay.controller import events
from evenclay.controller.words import WHAT, WHY
from evenclay.sim.report.outputs import RUN_EDGES, csv_cell, json_line
from evenclay.sim.types import Line
from evenclay.tools.log.items import NO_PLAN, Boot, Event, File, Item, Turn
from evenclay.tools.log.told import ML, UM, Speech, Words

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
class Strip:
    """A zone's day. What is None the log does not tell.

    seconds: open. metered_ml: by its meter. lacks_um: at the day's end. soil_ppt: read last.
    """

    target_um: int | None
    metered_ml: int | None
    seconds: int = 0
    lacks_um: int | None = None
    soil_ppt: int | None = None

    @property
    def short_um(self) -> int | None:
        """How much more it lacked than it was to; None: that is not known."""
        if self.lacks_um is None or self.target_um is None:
            return None
        return self.lacks_um - self.target_um


@dataclass
class Day:
    """One local day. What is None the log does not tell. strips: by the names of their zones."""

    strips: dict[str, Strip] = field(default_factory=dict)
    rain_um: int | None = None
    coldest_mc: int | None = None
    warmest_mc: int | None = None


def days_of(items: Iterable[Item], speech: Speech) -> dict[date, Day]:
    """The days of a log, first to last; turns without a trusted clock belong to none.

    A turn says which readings changed, so what it does not name still reads as it did.
    """
    days: dict[date, Day] = {}
    reads: dict[str, int | None] = {}
    gauge_um: int | None = None
    words = speech.of(NO_PLAN)
    for item in items:
        if isinstance(item, File):
            words = speech.of(item.plan_crc)
        if isinstance(item, Boot):
            gauge_um = 0  # it counts from boot
        if not isinstance(item, Turn):
            if not isinstance(item, File) or item.state:
                reads = {}  # the next turn names each sensor that reads
            continue
        reads |= item.seen
        for event in item.told:
            if event[7] >= 0:
                _tell(days, event, words)
        if item.wall_s is None:
            continue
        day = days.setdefault(words.local(item.wall_s).date(), Day())
        for zone in range(len(words.zones)):
            _strip(day, zone, words)
        _see(day, reads, words)
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
        strip = _strip(days.setdefault(at.date(), Day()), zone, words)
        strip.seconds += value
        if ml or strip.metered_ml is not None:
            strip.metered_ml = (strip.metered_ml or 0) + ml
    elif what == events.LACKS:  # told as the next day begins
        day = days.setdefault(date.fromordinal(at.toordinal() - 1), Day())
        _strip(day, zone, words).lacks_um = value


def _strip(day: Day, zone: int, words: Words) -> Strip:
    """A zone's day, begun where it is not there yet."""
    begun = Strip(words.target_um(zone), 0 if words.metered(zone) else None)
    return day.strips.setdefault(words.place(zone), begun)


def _see(day: Day, reads: Mapping[str, int | None], words: Words) -> None:
    temp_mc = reads.get("temp_mc")
    if temp_mc is not None:
        low_mc = temp_mc if day.coldest_mc is None else min(day.coldest_mc, temp_mc)
        high_mc = temp_mc if day.warmest_mc is None else max(day.warmest_mc, temp_mc)
        day.coldest_mc, day.warmest_mc = low_mc, high_mc
    for name, value in reads.items():
        if name.startswith("soil_vwc_ppt.") and value is not None:
            _strip(day, int(name.partition(".")[2]), words).soil_ppt = value


def daily_csv(days: dict[date, Day]) -> str:
    """The days as a table, a row a day and zone; an empty cell is what the log does not tell."""
    lines = [",".join(COLUMNS)]
    for at, day in days.items():
        for name, strip in day.strips.items():
            cells = (
                strip.seconds / 60.0,
                _part(strip.metered_ml, ML),
                _part(strip.lacks_um, UM),
                _part(strip.target_um, UM),
                _part(day.rain_um, UM),
                _part(day.coldest_mc, 1000.0),
                _part(day.warmest_mc, 1000.0),
                _part(strip.soil_ppt, 10.0),
            )
            shown = ["" if cell is None else f"{cell:.2f}" for cell in cells]
            lines.append(",".join([at.isoformat(), csv_cell(name), *shown]))
    return "\n".join(lines) + "\n"


def _part(value: int | None, of: float) -> float | None:
    return None if value is None else value / of


def decisions_jsonl(told: Iterable[tuple[Event, Words]]) -> str:
    """Decisions a line, with the keys of a replay's `decisions.jsonl`; `litres` is the meter's."""
    return "".join(json_line(_decision(event, words)) + "\n" for event, words in told)


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
