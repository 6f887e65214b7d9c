"""The houses and the plan that the benchmark measures with."""

from datetime import date
from pathlib import Path

from evenclay.controller.plan import Plan, ZonePart
from evenclay.sim.house.house import House
from evenclay.sim.weather.daily import Weather
from evenclay.sim.weather.record import read
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.demand import means_of
from evenclay.tools.property.property import load, parse

DEMO = Path(__file__).parents[3] / "sim" / "demo"
YEAR = (date(2022, 1, 1), date(2022, 12, 31))
ZONES = 8


def demo(wide: bool = False) -> tuple[House, Weather]:
    """The demo property, or the same with every zone twice; and one year of its weather."""
    prop = parse(eight_zones(), "eight zones") if wide else load(DEMO / "property.toml")
    weather = read(DEMO / "weather.csv", latitude_deg=prop.site.latitude)
    house = compile_house(prop, means_of(weather, prop.site.latitude))
    return house, weather.span(*YEAR)


def widened(plan: Plan, supply: int) -> Plan:
    """Repeat the demo's zones until there are eight, each with a probe, all on one spigot.

    supply: the number of that spigot in the demo
    """
    zones = []
    for number in range(ZONES):
        part = plan.zones[number % len(plan.zones)]
        values = vars(part) | {"name": f"zone {number}", "tag": number + 1, "supply": 0}
        values |= {"probe": 1, "sensor": number + 1}
        zones.append(ZonePart(values))
    return Plan(plan.hub, plan.supplies[supply : supply + 1], zones, plan.rows, plan.bans)


def eight_zones() -> str:
    """The demo's property with every zone twice."""
    text = (DEMO / "property.toml").read_text("utf-8")
    first, last = text.index("[zones."), text.index("[[seasons]]")
    return text[:last] + text[first:last].replace("[zones.", "[zones.far_") + text[last:]
