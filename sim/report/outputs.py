"""The files of a replay, byte for byte the same for the same input: see sim/README.md for each key.

Numbers are rounded to stated places.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from evenclay.controller import events
from evenclay.controller.civil import LocalTime
from evenclay.controller.limits import DAY_S, ZONES_MAX
from evenclay.controller.words import WHAT, WHY
from evenclay.sim.house.devices import Devices, Heard
from evenclay.sim.house.house import House
from evenclay.sim.judge import held
from evenclay.sim.judge.days import Days
from evenclay.sim.judge.score import STATES
from evenclay.sim.types import Bools, Codes, Floats, Line

SCHEMA = 1
ML_H_S = 3_600_000.0  # water is counted in ml/h times seconds: so much is a litre
RUN_EDGES = (events.OPENED, events.CLOSED, events.CUT_SHORT)
ENDINGS = (events.CLOSED, events.CUT_SHORT)
_EPOCH = datetime(2000, 1, 1)


@dataclass(frozen=True)
class Calendar:
    """What the hub's seconds are called: local time by the law that the plan holds.

    One rule serves every year, as on the hub, so that a cycle planned for six is shown at six.
    shift_days: how far the hub's calendar is ahead of the one shown.
    """

    time: LocalTime
    shift_days: int

    def iso(self, at_s: int) -> str:
        """ISO 8601 with offset."""
        offset_s = self.time.local_s(at_s) - at_s
        local = _EPOCH + timedelta(seconds=at_s + offset_s - DAY_S * self.shift_days)
        sign, minutes = ("-" if offset_s < 0 else "+"), abs(offset_s) // 60
        return f"{local.isoformat()}{sign}{minutes // 60:02d}:{minutes % 60:02d}"


def decisions(house: House, calendar: Calendar, devices: Devices, start_s: int) -> Iterator[Line]:
    """The plan line, then every event from `start_s` on, in time order.

    A run that had begun before is left out whole; one under way at the end has a last line `end`.
    """
    names = [strip.name for strip in house.strips]
    supplies = house.plan.supplies
    zones = {
        name: {
            "supply": house.supplies[zone.supply],
            "cap_s": zone.cap_s,
            "gap_s": supplies[zone.supply].gap_s,
        }
        for name, zone in zip(names, house.plan.zones, strict=True)
    }
    yield {"what": "plan", "zones": zones}
    opened: dict[int, int] = {}
    for item in devices.heard:
        what, zone = item.event[:2]
        if item.at_s < start_s or (what in ENDINGS and _is_zone(zone) and zone not in opened):
            continue
        yield _line(house, calendar, item)
        if what == events.OPENED:
            opened[zone] = item.at_s
        elif what in ENDINGS:
            opened.pop(zone, None)
    for zone, since_s in sorted(opened.items()):
        yield {
            "at": calendar.iso(devices.now_s),
            "zone": names[zone],
            "what": "end",
            "why": WHY[events.OK],
            "seconds": devices.now_s - since_s,
            "litres": round(devices.untold(zone) / ML_H_S, 3),
        }


def _is_zone(zone: int) -> bool:
    return 0 <= zone < ZONES_MAX


def _line(house: House, calendar: Calendar, item: Heard) -> Line:
    what, zone, why, value = item.event[:4]
    run = what in RUN_EDGES
    line: Line = {
        "at": calendar.iso(item.at_s),
        "zone": house.strips[zone].name if 0 <= zone < len(house.strips) else None,
        "what": WHAT[what],
        "why": WHY[why],
        "seconds": value if run else None,
        "litres": round(item.water / ML_H_S, 3) if what in ENDINGS else None,
    }
    if not run and value:
        line["value"] = value
    if ZONES_MAX <= zone < ZONES_MAX + len(house.supplies):
        line["supply"] = house.supplies[zone - ZONES_MAX]
    return line


def daily_rows(
    house: House,
    first_day: date,
    rain_mm: Floats,
    et0_mm: Floats,
    days: Days,
    state: Codes,
    season: Bools,
    held_h: Floats,
) -> Iterator[str]:
    """The lines of daily.csv. rain_mm, et0_mm: a value a day; the rest days x zones."""
    reasons = [f"{WHY[reason]}_h" for reason in held.REASONS]
    head = "date,zone,rain_mm,et0_mm,minutes,litres,pf,pf_end,pf_unwatered,state,season"
    yield ",".join([head, *reasons])
    names = [strip.name for strip in house.strips]
    minutes = (days.seconds / 60.0).round(2).tolist()
    litres = days.litres.round(2).tolist()
    pf, pf_end, pf_unwatered = (
        array.round(3).tolist() for array in (days.pf, days.pf_end, days.pf_unwatered)
    )
    hours = held_h.round(2).tolist()
    codes, counts = state.tolist(), season.astype(int).tolist()
    sky = np.stack((rain_mm, et0_mm), axis=1).round(2).tolist()
    for d in range(len(codes)):
        day = (first_day + timedelta(days=d)).isoformat()
        for z, name in enumerate(names):
            cells = [
                *sky[d],
                minutes[d][z],
                litres[d][z],
                pf[d][z],
                pf_end[d][z],
                pf_unwatered[d][z],
                STATES[codes[d][z]],
                counts[d][z],
                *hours[d][z],
            ]
            yield f"{day},{_cell(name)}," + ",".join(map(str, cells))


def _cell(text: str) -> str:
    """A name as CSV wants it."""
    return '"' + text.replace('"', '""') + '"' if set(text) & set(',"\r\n') else text


def json_line(value: Line) -> str:
    """One compact line of JSON."""
    return json.dumps(value, ensure_ascii=False, separators=(", ", ": "))
