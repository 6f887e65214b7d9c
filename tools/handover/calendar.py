"""A year of a house as iCalendar: opening, closing and checks with reminders, and planned cycles.

Source: RFC 5545, through the package icalendar. Days and checks are in the house's local time;
cycles are written in UTC, which no change of the clocks makes ambiguous.
"""

import datetime
import uuid
from collections.abc import Iterator
from zoneinfo import ZoneInfo

from icalendar import Alarm, Calendar, Event

from evenclay.controller.agenda import PER_DAY, Agenda
from evenclay.controller.civil import FIRST_WEEKDAY, date_of, day_of
from evenclay.sim.house.hands import SAMPLE_M
from evenclay.sim.house.house import House, run_s
from evenclay.sim.units import UNITS
from evenclay.tools.property.advice import held_by
from evenclay.tools.property.cycles import cycle_min

EPOCH = datetime.datetime(2000, 1, 1, tzinfo=datetime.UTC)
EVENING_BEFORE = -datetime.timedelta(hours=6)  # from the midnight a day begins at
HALF_AN_HOUR_BEFORE = -datetime.timedelta(minutes=30)
CHECK = datetime.timedelta(minutes=15)
OPENING = "Open the water"
OPENING_TEXT = (
    "Connect hub and hoses, open the spigot, let each zone run once, and look for leaks. A season "
    "of watering begins today."
)
CLOSING = "Shut the water"
CLOSING_TEXT = (
    "Shut the spigot, disconnect hoses and hub and drain them before frost. The season is closed "
    "from today."
)
CHECKING = "Check the ground"
BLADE_TEXT = (
    "Push the blade into each strip and tell the hub what it met: check, the strip's name, and dry "
    "(it stops short), firm or wet (it comes out muddy)."
)
SAMPLE_TEXT = (
    "Squeeze a sample of each strip from {depth} down and tell the hub its class: sample, the "
    "strip's name, and 0 (the driest) to 4."
)
CHECKING_TEXT = (
    "Not in the day after rain, nor after the day's first cycle. Stop and ask an engineer where "
    "there are new cracks, soft ground or standing water."
)
NAMES = (OPENING, CLOSING, CHECKING)


def of_year(house: House, year: int, *, cycles: bool) -> Calendar:
    """The calendar of a year, with its planned cycles if asked for."""
    found = Calendar()
    found.add("prodid", "-//evenclay//calendar//EN")
    found.add("version", "2.0")
    found.add("x-wr-calname", house.name)
    for event in (*_changes(house, year), *_checks(house, year)):
        found.add_component(event)
    for event in _cycles(house, year) if cycles else ():
        found.add_component(event)
    found.add_missing_timezones()
    return found


def _event(
    house: House,
    place: str,
    summary: str,
    text: str,
    begins: datetime.date,
    reminder: datetime.timedelta | None = None,
) -> Event:
    """An event, whose id is the same each time, so that a new file replaces an old one.

    place: what the event is within its house, whatever it is called and whenever it begins
    """
    event = Event()
    name = f"{house.name} {house.latitude_deg} {place}"
    event.add("uid", f"{uuid.uuid5(uuid.NAMESPACE_OID, name)}@evenclay")
    event.add("dtstamp", datetime.datetime.now(datetime.UTC))
    event.add("dtstart", begins)
    event.add("summary", summary)
    event.add("description", text)
    if reminder is not None:
        alarm = Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("description", summary)
        alarm.add("trigger", reminder)
        event.add_component(alarm)
    return event


def is_over(found: Calendar, today: datetime.date) -> bool:
    """Whether every date of a calendar has passed."""
    begins = [event.decoded("dtstart") for event in found.events]
    days = [at.date() if isinstance(at, datetime.datetime) else at for at in begins]
    return bool(days) and max(days) < today


def _changes(house: House, year: int) -> Iterator[Event]:
    """The days on which a season of water begins after a closed one, and the other way round."""
    rows = house.plan.rows
    changes = [
        row
        for before, row in zip((rows[-1], *rows), rows, strict=False)
        if bool(before.cycles) != bool(row.cycles)
    ]
    for number, row in enumerate(changes):  # by date, and in turn opening and closing
        kind, summary, text = "closing", CLOSING, CLOSING_TEXT
        if row.cycles:
            kind, summary, text = "opening", OPENING, OPENING_TEXT
        begins = datetime.date(*date_of(day_of(year, row.month, row.day)))
        place = f"{kind} {number // 2} of {year}"
        event = _event(house, place, summary, text, begins, EVENING_BEFORE)
        event.add("dtend", begins + datetime.timedelta(days=1))
        event.add("transp", "TRANSPARENT")
        yield event


def _checks(house: House, year: int) -> Iterator[Event]:
    """The owner's check in each week of the open seasons, at the hour that the property names."""
    owner, agenda = house.owner, Agenda(house.plan)
    if not owner.checks:
        return
    sample = SAMPLE_TEXT.format(depth=UNITS[house.units].shown(SAMPLE_M, "near"))
    texts = {"blade": (BLADE_TEXT,), "sample": (sample,), "both": (BLADE_TEXT, sample)}
    text = " ".join([*texts[owner.check], CHECKING_TEXT])
    for day in range(day_of(year, 1, 1), day_of(year + 1, 1, 1)):
        if (day + FIRST_WEEKDAY) % 7 != owner.weekday or not agenda.row_of(day).cycles:
            continue
        hour = datetime.time(owner.hour, tzinfo=ZoneInfo(house.timezone))
        date = datetime.date(*date_of(day))
        begins = datetime.datetime.combine(date, hour)
        week = date.isocalendar()
        place = f"check in week {week.week} of {week.year}"
        event = _event(house, place, CHECKING, text, begins, HALF_AN_HOUR_BEFORE)
        event.add("dtend", begins + CHECK)
        yield event


def _cycles(house: House, year: int) -> Iterator[Event]:
    """Each cycle that the plan has in a year, at the instant at which the hub begins it."""
    plan, agenda = house.plan, Agenda(house.plan)
    held, rows = held_by(plan), list(plan.rows)
    text = "Planned." + (f" {held[:1].upper()}{held[1:]} may hold it back." if held else "")
    for day in range(day_of(year, 1, 1), day_of(year + 1, 1, 1)):
        index = rows.index(agenda.row_of(day))
        takes = datetime.timedelta(minutes=cycle_min(plan, index)) if rows[index].cycles else None
        runs = ", ".join(
            f"{run_s(plan, index, zone) / 60:.3g} min {zone.name}" for zone in plan.zones
        )
        for cycle in range(rows[index].cycles):
            start_s = agenda.start_wall_s(day * PER_DAY + cycle)
            begins = EPOCH + datetime.timedelta(seconds=start_s)
            place = f"cycle {cycle} of {datetime.date(*date_of(day))}"
            event = _event(house, place, f"Water: {runs}", text, begins)
            assert takes is not None
            event.add("dtend", begins + takes)
            event.add("transp", "TRANSPARENT")
            yield event
