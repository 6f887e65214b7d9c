"""The files of a replay, byte for byte the same for the same input: see sim/README.md for each key.

Numbers are rounded to stated places.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from evenclay.controller import events
from evenclay.controller.civil import LocalTime
from evenclay.controller.limits import DAY_S, ZONES_MAX
from evenclay.controller.words import WHAT, WHY
from evenclay.sim.house.devices import Devices, Heard
from evenclay.sim.house.house import House
from evenclay.sim.judge.strip import on_target
from evenclay.sim.report import held
from evenclay.sim.report.ways import OnGround, places_pf
from evenclay.sim.types import Floats, Line
from evenclay.sim.weather.daily import Weather

SCHEMA = 2
COLUMNS = (
    "date",
    "zone",
    "rain_mm",
    "et0_mm",
    "minutes",
    "litres",
    "strip_pf",
    "strip_unwatered_pf",
    "edge_pf",
    "edge_unwatered_pf",
    "inside_pf",
    "inside_unwatered_pf",
    "target_pf",
    "on_target",
)
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


def decisions(house: House, calendar: Calendar, devices: Devices) -> Iterator[Line]:
    """The plan line, then every event in time order.

    An end without its beginning is left out; a run that is under way at the end has a last line
    `end`.
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
        if what in ENDINGS and _is_zone(zone) and zone not in opened:
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
    house: House, weather: Weather, on: OnGround, target_pf: Floats, held_h: Floats
) -> Iterator[str]:
    """The lines of daily.csv, of the hub's way on one ground.

    weather: of the days lived. target_pf: of each zone. held_h: days x zones x REASONS.
    """
    reasons = [f"{WHY[reason]}_h" for reason in held.REASONS]
    yield ",".join([*COLUMNS, *reasons])
    watered = places_pf(on.hub.record, on.place)
    unwatered = places_pf(on.unwatered, on.place)
    pf = [values for pair in zip(watered, unwatered, strict=True) for values in pair]
    cells = np.stack(
        [
            (on.hub.seconds / 60.0).round(2),
            on.hub.litres.round(2),
            *(values.round(3) for values in pf),
            np.broadcast_to(target_pf.round(3), on.hub.litres.shape),
        ],
        axis=2,
    ).tolist()
    kept = on_target(on.hub.record.strip_pf, target_pf, on.place.edges_m).astype(int).tolist()
    hours = held_h.round(2).tolist()
    sky = np.stack((weather.rain_mm, weather.et0_mm), axis=1).round(2).tolist()
    for d in range(len(cells)):
        day = (weather.first_day + timedelta(days=d)).isoformat()
        for z, strip in enumerate(house.strips):
            values = [*sky[d], *cells[d][z], kept[d][z], *hours[d][z]]
            yield f"{day},{csv_cell(strip.name)}," + ",".join(map(str, values))


def csv_cell(text: str) -> str:
    """A name as CSV wants it."""
    return '"' + text.replace('"', '""') + '"' if set(text) & set(',"\r\n') else text


def json_line(value: Line) -> str:
    """One compact line of JSON."""
    return json.dumps(value, ensure_ascii=False, separators=(", ", ": "))
