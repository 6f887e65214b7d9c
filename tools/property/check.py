"""`evenclay check`: the compiled season table, what it uses, and the cautions."""

from calendar import month_abbr
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from rich.console import Console
from rich.table import Table

from evenclay.controller.agenda import Agenda
from evenclay.controller.civil import date_of, day_of
from evenclay.controller.plan import Plan
from evenclay.sim.calendar import clock
from evenclay.sim.house.house import House, run_s
from evenclay.sim.units import UNITS, Units, money
from evenclay.tools import tables
from evenclay.tools.property.advice import cautions, held_by
from evenclay.tools.property.cycles import cycle_min
from evenclay.tools.property.demand import YEAR
from evenclay.tools.property.property import Property

SCHEMA = 1
EVENNESS = "evenness: what the weakest spot along a hose gives, in percent of the strongest"


@dataclass(frozen=True)
class Line:
    """What one zone gets in one season, at most. `starts`: minutes of the day."""

    season: str
    zone: str
    starts: tuple[int, ...]
    minutes_a_cycle: float
    minutes_a_day: float
    litres_a_day: float
    mm_a_day: float
    demand_mm_a_day: float


@dataclass(frozen=True)
class Month:
    """Water of one month of a 365-day year, at most; cost None without a price."""

    month: str
    litres: float
    cost: float | None


@dataclass(frozen=True)
class Hose:
    """What a zone's hose gives on its spigot. evenness: its least emission over its most."""

    zone: str
    supply: str
    length_m: float
    flow_l_h: float
    evenness: float


@dataclass(frozen=True)
class Check:
    """All that `evenclay check` says of a property."""

    name: str
    units: str
    currency: str
    demand_from: str
    estimate: str
    held_by: str  # what can hold water back in this house; '' for nothing
    lines: tuple[Line, ...]
    hours_a_day: dict[str, dict[str, float]]  # season -> supply -> hours it is open
    cycle_minutes: dict[str, float]  # season -> one cycle of all zones, gaps included
    months: tuple[Month, ...]
    hoses: tuple[Hose, ...]
    cautions: tuple[str, ...]
    plan_crc: int


def check(
    prop: Property,
    house: House,
    weather_name: str | None = None,
    weather_cautions: Sequence[str] = (),
) -> Check:
    """Return what there is to say of a compiled property.

    weather_name, weather_cautions: where ET0 came from, and what was doubtful there.
    """
    plan = house.plan
    seasons = [f"{row.month:02}-{row.day:02}" for row in plan.rows]
    hours: dict[str, dict[str, float]] = {}
    for index, season in enumerate(seasons):
        hours[season] = {
            name: plan.rows[index].cycles * _supply_s(plan, index, number) / 3600
            for number, name in enumerate(house.supplies)
        }
    return Check(
        name=house.name,
        units=house.units,
        currency=house.currency,
        demand_from=_demand_from(prop, weather_name),
        estimate=_estimate(prop),
        held_by=held_by(plan),
        lines=tuple(
            [
                _zone_line(house, index, number)
                for index in range(len(plan.rows))
                for number in range(len(plan.zones))
            ]
        ),
        hours_a_day=hours,
        cycle_minutes={
            season: cycle_min(plan, index) if plan.rows[index].cycles else 0.0
            for index, season in enumerate(seasons)
        },
        months=tuple(_months(house)),
        hoses=tuple(
            [
                Hose(
                    one.name, house.supplies[zone.supply], one.length_m, one.flow_l_h, one.evenness
                )
                for one, zone in zip(house.strips, plan.zones, strict=True)
            ]
        ),
        cautions=(
            *(f"{weather_name}: {caution}" for caution in weather_cautions),
            *cautions(prop, plan),
        ),
        plan_crc=plan.crc,
    )


def as_json(found: Check) -> dict[str, Any]:
    """Return a check as plain data; SI units whatever the property's are."""
    lines = [
        asdict(each) | {"starts": [clock(start) for start in each.starts]} for each in found.lines
    ]
    return {"schema": SCHEMA, **asdict(found), "lines": lines}


def _demand_from(prop: Property, weather_name: str | None) -> str:
    if all(season.demand is not None for season in prop.seasons):
        return "the property file"
    source = (
        "a rough guess from latitude; with --weather FILE, from the mean evapotranspiration there"
    )
    if weather_name is not None:
        source = f"the mean evapotranspiration of {weather_name}"
    return source + (
        "; seasons with a demand of their own keep it"
        if any(season.demand is not None for season in prop.seasons)
        else ""
    )


def _estimate(prop: Property) -> str:
    """Whether the hub reckons what each strip lacks, and what to do where it does not."""
    if prop.reckons:
        zones = prop.zones.items()
        kept = [f"{name} at pF {zone.ground.target_pf:.2f}" for name, zone in zones if zone.ground]
        return (
            "The hub reckons what each strip lacks, and gives that, never more than the table "
            f"says. It keeps {', '.join(kept)}."
        )
    if prop.estimate.estimate == "off":
        return 'The hub gives what the table says, since [estimate] has estimate = "off".'
    return (
        "The hub gives what the table says, whatever the weather: the file has no numbers by "
        "which to reckon what each strip lacks. `evenclay propose` works them out and writes them."
    )


def _supply_s(plan: Plan, index: int, number: int) -> float:
    """Seconds a supply's zones are open in one cycle."""
    return sum([run_s(plan, index, zone) for zone in plan.zones if zone.supply == number])


def _zone_line(house: House, index: int, number: int) -> Line:
    row, zone, strip = house.plan.rows[index], house.plan.zones[number], house.strips[number]
    one_min = run_s(house.plan, index, zone) / 60 if row.cycles else 0.0
    # By the hoses' ratings; what friction and supply leave of it, advice says where it matters.
    litres = zone.flow_ml_min / 1000 * one_min * row.cycles
    return Line(
        season=f"{row.month:02}-{row.day:02}",
        zone=zone.name,
        starts=tuple([row.start_min_of(cycle) for cycle in range(row.cycles)]),
        minutes_a_cycle=one_min,
        minutes_a_day=one_min * row.cycles,
        litres_a_day=litres,
        mm_a_day=litres / strip.area_m2,
        demand_mm_a_day=row.demand_um / 1000 * strip.coefficient,
    )


def _months(house: House) -> list[Month]:
    plan = house.plan
    a_day = [
        sum([_zone_line(house, index, number).litres_a_day for number in range(len(plan.zones))])
        for index in range(len(plan.rows))
    ]
    litres = [0.0] * 12
    agenda = Agenda(plan)
    for day in range(day_of(YEAR, 1, 1), day_of(YEAR + 1, 1, 1)):
        litres[date_of(day)[1] - 1] += a_day[plan.rows.index(agenda.row_of(day))]
    price = house.water_price_m3
    return [
        Month(name, amount, None if price is None else amount / 1000 * price)
        for name, amount in zip(month_abbr[1:], litres, strict=True)
    ]


def show(found: Check, console: Console) -> None:
    """Print a check as tables and a list of cautions."""
    units = UNITS[found.units]
    console.print(f"{found.name}: the season table, the most that is given")
    tables.show(_season_table(found, units), console)
    console.print(f"Demand comes from {found.demand_from}.")
    console.print(found.estimate)
    tables.show(_hours_table(found), console)
    tables.show(_hose_table(found, units), console)
    tables.show(_month_table(found, units), console)
    if not found.cautions:
        console.print("No cautions.")
        return
    console.print("Cautions, the most serious first:")
    for number, caution in enumerate(found.cautions, 1):
        console.print(f"{number:3}. {caution}")


def line(found: Check) -> str:
    """Return a check in one line: the house, its water a year, and its first caution."""
    water = UNITS[found.units].shown(sum([month.litres for month in found.months]), "metered")
    costs = [month.cost for month in found.months if month.cost is not None]
    cost = f" ({money(sum(costs), found.currency)})" if costs else ""
    count = len(found.cautions)
    heed = "no cautions"
    if count:
        heed = f"{count} caution{'s' if count > 1 else ''}, first: {found.cautions[0]}"
    return f"{found.name}; at most {water} a year{cost}; {heed}"


def starts_of(line: Line, units: Units) -> list[str]:
    """When the cycles of a line start, as people of the house say it."""
    return [units.time(start) for start in line.starts]


def _season_table(found: Check, units: Units) -> Table:
    volume, depth = units.unit("volume"), units.unit("depth")
    table = Table()
    for name in ("from", "zone"):
        table.add_column(name, no_wrap=True)
    table.add_column("cycles start", max_width=24)
    for name in (
        "min a cycle",
        "min a day",
        volume + " a day",
        depth + " a day",
        "demand " + depth,
    ):
        table.add_column(name, justify="right")
    season = ""
    for line in found.lines:
        first = line.season != season
        if not line.starts:
            if first:
                table.add_section()
                table.add_row(line.season, "all", "closed")
            season = line.season
            continue
        if first and season:
            table.add_section()
        season = line.season
        table.add_row(
            season if first else "",
            line.zone,
            ", ".join(starts_of(line, units)) if first else "",
            f"{line.minutes_a_cycle:.4g}",
            f"{line.minutes_a_day:.4g}",
            units.number(line.litres_a_day, "volume"),
            units.number(line.mm_a_day, "depth"),
            units.number(line.demand_mm_a_day, "depth"),
        )
    return table


def _hours_table(found: Check) -> Table:
    supplies: Sequence[str] = list(next(iter(found.hours_a_day.values()), {}))
    table = Table(title="Hours a day a spigot runs", title_justify="left")
    table.add_column("from", no_wrap=True)
    for name in supplies:
        table.add_column(name, justify="right")
    table.add_column("min for one cycle of all zones", justify="right")
    for season, hours in found.hours_a_day.items():
        cells = [f"{hours[name]:.2f}" for name in supplies]
        table.add_row(season, *cells, f"{found.cycle_minutes[season]:.4g}")
    return table


def _hose_table(found: Check, units: Units) -> Table:
    table = Table(title=f"What the hoses give; {EVENNESS}", title_justify="left")
    for name in ("zone", "spigot"):
        table.add_column(name, no_wrap=True)
    for name in ("length", "flow", "evenness"):
        table.add_column(name, justify="right")
    for hose in found.hoses:
        table.add_row(
            hose.zone,
            hose.supply,
            units.shown(hose.length_m, "length"),
            units.shown(hose.flow_l_h, "hose flow"),
            f"{100 * hose.evenness:.0f} %",
        )
    return table


def _month_table(found: Check, units: Units) -> Table:
    table = Table(title="Water a month at most, over 365 days", title_justify="left")
    table.add_column("month")
    table.add_column(units.unit("metered"), justify="right")
    priced = any(month.cost is not None for month in found.months)
    if priced:
        table.add_column(f"cost ({found.currency})", justify="right")
    total = Month("year", sum([m.litres for m in found.months]), None)
    if all(month.cost is not None for month in found.months):
        total = Month("year", total.litres, sum([month.cost or 0 for month in found.months]))
    for month in (*found.months, total):
        if month is total:
            table.add_section()
        amount = units.number(month.litres, "metered")
        table.add_row(month.month, amount, *[f"{month.cost or 0:.2f}"] * priced)
    return table
