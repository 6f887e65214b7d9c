"""`evenclay calendar`, read back by another library than the one that wrote it."""

import datetime
import re
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import freezegun
import ics
import pytest
from typer.testing import CliRunner

from evenclay.controller.agenda import PER_DAY, Agenda
from evenclay.controller.civil import day_of
from evenclay.tools.cli.commands import app
from evenclay.tools.handover.calendar import CHECKING, CLOSING, EPOCH, OPENING
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.cycles import cycle_min
from evenclay.tools.property.property import load
from tests import calendars
from tests.unit.test_units import own_units_only

DEMO = Path(__file__).parents[2] / "sim" / "demo" / "property.toml"
# The clocks change within the season of water, in Chicago in the hour of a cycle; on Lord Howe they
# do by half an hour, and June is in winter.
HOUSES = {
    "chicago": (
        ('from = "03-15"', 'from = "03-01"'),
        ("00:00-08:00", "02:30-08:00"),
        ('from = "11-01"', 'from = "11-20"'),
    ),
    "lord howe": (
        ("America/Chicago", "Australia/Lord_Howe"),
        ("latitude = 32.4 ", "latitude = -31.5 "),
        ("00:00-08:00", "22:00-07:00"),
        ('from = "11-01"', 'from = "06-10"'),
        ('from = "06-01"', 'from = "08-20"'),
        ('from = "07-01"', 'from = "12-01"'),
    ),
}


def house(folder: Path, name: str) -> Path:
    text = DEMO.read_text("utf-8")
    for old, new in HOUSES[name]:
        assert old in text
        text = text.replace(old, new)
    file = folder / "property.toml"
    file.write_text(text, "utf-8")
    return file


def written(file: Path, *options: str) -> ics.Calendar:
    """What the command writes, as the second library reads it."""
    result = CliRunner().invoke(app, ["calendar", str(file), *options])
    assert result.exit_code == 0, result.output
    assert ("Planned cycles: " in result.output) == ("--cycles" in options)
    own_units_only(result.output, "metric", 5)
    text = file.with_name("calendar.ics").read_text("utf-8")
    own_units_only(text, "metric", 100)
    return calendars.read(text)


def named(calendar: ics.Calendar, name: str) -> list[ics.Event]:
    return sorted(event for event in calendar.events if event.name == name)


@pytest.mark.parametrize(("name", "year"), list(zip(HOUSES, (2027, 2028), strict=True)))
def test_cycles_are_the_agenda_s(name: str, year: int, tmp_path: Path) -> None:
    file = house(tmp_path, name)
    calendar = written(file, "--year", str(year), "--cycles")
    plan = compile_house(load(file)).plan
    agenda = Agenda(plan)
    wanted = [
        EPOCH + datetime.timedelta(seconds=agenda.start_wall_s(day * PER_DAY + cycle))
        for day in range(day_of(year, 1, 1), day_of(year + 1, 1, 1))
        for cycle in range(agenda.row_of(day).cycles)
    ]
    found = [event for event in calendar.events if event.name.startswith("Water: ")]
    assert sorted(event.begin.datetime for event in found) == wanted
    assert len(wanted) > 400
    zone = ZoneInfo(load(file).site.timezone)
    local = [at.astimezone(zone) for at in wanted]
    assert len({at.utcoffset() for at in local}) == 2  # the clocks do change in between
    clocks = [
        agenda.row_of(day).start_min_of(cycle) % 1440
        for day in range(day_of(year, 1, 1), day_of(year + 1, 1, 1))
        for cycle in range(agenda.row_of(day).cycles)
    ]
    odd = [at for at, clock in zip(local, clocks, strict=True) if at.hour * 60 + at.minute != clock]
    assert len(odd) == (name == "chicago")  # 02:30 on the day that has none
    takes_min = [
        cycle_min(plan, plan.rows.index(agenda.row_of(day)))
        for day in range(day_of(year, 1, 1), day_of(year + 1, 1, 1))
        for _ in range(agenda.row_of(day).cycles)
    ]
    lasts = [event.duration.total_seconds() / 60 for event in sorted(found)]
    assert lasts == pytest.approx(takes_min, abs=1 / 60)  # a calendar has whole seconds


@pytest.mark.parametrize("name", HOUSES)
@freezegun.freeze_time("2027-02-03 04:05:06")
def test_opening_closing_and_checks(name: str, tmp_path: Path) -> None:
    file = house(tmp_path, name)
    calendar = written(file)
    prop = load(file)
    zone = ZoneInfo(prop.site.timezone)
    (opening,), (closing,) = named(calendar, OPENING), named(calendar, CLOSING)
    opened, closed = [event.begin.date() for event in (opening, closing)]
    begins = {season.begins: season.count for season in prop.seasons}
    assert opening.all_day and closing.all_day
    assert begins[closed.month, closed.day] == 0 and begins[opened.month, opened.day] > 0
    assert opened.year == closed.year == 2027
    checks = named(calendar, CHECKING)
    assert len(checks) == len(calendar.events) - 2 > 30
    for event in checks:
        local = event.begin.datetime.astimezone(zone)
        assert (local.weekday(), local.hour, local.minute) == (5, 19, 0)
        day = local.date()
        assert opened <= day < closed if opened < closed else day < closed or day >= opened
    days = [event.begin.date() for event in checks]
    assert min(b - a for a, b in pairwise(days)) == datetime.timedelta(days=7)
    for event in calendar.events:
        (alarm,) = event.alarms
        before = {"hours": 6} if event.all_day else {"minutes": 30}
        assert alarm.trigger == -datetime.timedelta(**before)
    assert {event.created for event in checks} == {checks[0].created}
    assert str(checks[0].created).startswith("2027-02-03T04:05:06")


@pytest.mark.parametrize(
    ("check", "said"), [("blade", (1, 0)), ("sample", (0, 1)), ("both", (1, 1))]
)
def test_a_check_says_what_the_hub_takes(check: str, said: tuple[int, int], tmp_path: Path) -> None:
    file = tmp_path / "property.toml"
    text = DEMO.read_text("utf-8")
    file.write_text(text.replace('check = "sample"', f'check = "{check}"'), "utf-8")
    for event in named(written(file), CHECKING):
        found = event.description or ""
        assert (found.count("the blade"), found.count("a sample of")) == said
        assert "after rain" in found and "engineer" in found


def ids(file: Path, year: int = 2027) -> list[str]:
    """The ids of all events of a year, in the file's order."""
    result = CliRunner().invoke(app, ["calendar", str(file), "--year", str(year), "--cycles"])
    assert result.exit_code == 0, result.output
    return re.findall(r"(?m)^UID:(.+)", file.with_name("calendar.ics").read_text("utf-8"))


@pytest.mark.parametrize("name", HOUSES)
def test_every_event_has_an_id_of_its_own(name: str, tmp_path: Path) -> None:
    file = house(tmp_path, name)
    found = [*ids(file, 2026), *ids(file, 2027), *ids(file, 2028)]
    assert len(set(found)) == len(found) > 3 * 400
    text = file.read_text("utf-8")
    for old, new in (('name = "', 'name = "Other '), ("latitude = ", "latitude = 0.5 # ")):
        assert old in text
        file.write_text(text.replace(old, new, 1), "utf-8")
        assert not set(found) & set(ids(file))  # of another house


@pytest.mark.parametrize(
    "change",
    [
        ("share = 130", "share = 100"),  # the runs stand in a title
        ("[zones.west]", "[zones.sunny]"),
        ('weekday = "sat"', 'weekday = "sun"'),
        ('"22:00-08:00"', '"23:00-07:00"'),
        ('"02:30-08:00"', '"22:00-03:00"'),
    ],
)
def test_an_event_keeps_its_id_when_its_title_or_hour_changes(
    change: tuple[str, str], tmp_path: Path
) -> None:
    file = house(tmp_path, "chicago")
    before, said = ids(file), told(file)
    text = file.read_text("utf-8")
    assert text.count(change[0]) == 1
    file.write_text(text.replace(*change), "utf-8")
    assert ids(file) == before
    assert told(file) != said


def told(file: Path) -> list[tuple[str, str]]:
    """What a calendar shows of its events: title and time."""
    text = file.with_name("calendar.ics").read_text("utf-8").replace("\r\n ", "")
    found = re.findall(r"(?m)^(SUMMARY|DTSTART|DTEND)(.+)", text)
    assert len(found) > 3 * 400
    return found


def test_a_season_that_begins_on_another_day_keeps_its_opening(tmp_path: Path) -> None:
    file = house(tmp_path, "chicago")
    before = opening_and_closing(file)
    text = file.read_text("utf-8")
    for old, new in (('from = "03-01"', 'from = "03-20"'), ('from = "11-20"', 'from = "12-05"')):
        assert old in text
        text = text.replace(old, new)
    file.write_text(text, "utf-8")
    after = opening_and_closing(file)
    assert set(after) == set(before) == {OPENING, CLOSING}
    for name, (uid, begins) in before.items():
        assert after[name][0] == uid and after[name][1] != begins


def opening_and_closing(file: Path) -> dict[str, tuple[str, datetime.date]]:
    found = [event for event in written_events(file) if event.name in (OPENING, CLOSING)]
    return {event.name: (event.uid, event.begin.date()) for event in found}


def test_an_owner_who_does_not_check_and_a_year_that_never_closes(tmp_path: Path) -> None:
    file = house(tmp_path, "chicago")
    text = file.read_text("utf-8").replace("checks = true", "checks = false")
    text = text.replace(
        'from = "11-20"\ncycles = 0',
        'from = "11-20"\ncycles = 1\nminutes = 12\nwindow = "22:00-06:00"',
    )
    file.write_text(text, "utf-8")
    assert not written_events(file)


def written_events(file: Path) -> set[ics.Event]:
    result = CliRunner().invoke(app, ["calendar", str(file), "--year", "2027"])
    assert result.exit_code == 0, result.output
    found: set[ics.Event] = calendars.read(file.with_name("calendar.ics").read_text("utf-8")).events
    return found


def test_bad_years(tmp_path: Path) -> None:
    result = CliRunner().invoke(app, ["calendar", str(house(tmp_path, "chicago")), "--year", "1"])
    assert result.exit_code == 2 and result.stderr.count("\n") == 1
