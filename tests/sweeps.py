"""A small sweep for tests: one zone on one spigot, two soils, a few invented years.

`python -m tests.sweeps DIR` does it on two processes, for tests that kill it.
"""

import sys
from dataclasses import replace
from functools import cache
from pathlib import Path

from evenclay.sim.weather.daily import Weather
from evenclay.sim.weather.record import read
from evenclay.tools.plan import sweep as sweeping
from evenclay.tools.plan import workers
from evenclay.tools.property.property import parse

WEATHER = Path(__file__).parents[1] / "sim" / "demo" / "weather.csv"
HOUSE = """
[site]
name = "Small"
timezone = "America/Chicago"
latitude = 32.4
[supplies.back]
flow = 14
pressure = 75
[zones.west]
supply = "back"
side = "west"
length = 22
hose = { kind = "porous", flow = 4, pressure = 75 }
[[seasons]]
from = "05-01"
cycles = 1
minutes = 20
window = "22:00-08:00"
[[seasons]]
from = "10-01"
cycles = 0
"""


@cache
def weather(name: str, latitude_deg: float) -> Weather:
    """The demo's record, whatever the name."""
    return read(WEATHER, latitude_deg=latitude_deg)


def small(
    years: int = 2, seeds: int = 3, batch_years: int = 2, vary: str = "soil.texture=clay,silty clay"
) -> sweeping.Sweep:
    """A sweep of six tasks, for less than a second's work each."""
    asked = sweeping.ask(
        [parse(HOUSE, "small.toml")], [vary], ["demo.csv"], weather, range(1, 1 + seeds), years
    )
    return replace(asked, batch_years=batch_years)


def main(out: Path) -> None:
    """Do it on two processes, with a line on stderr for each task."""
    workers.SHOWN_S = 0.0

    def tell(line: str) -> None:
        print(line, file=sys.stderr, flush=True)

    with workers.processes(2) as (executor, count):
        sweeping.run(small(), out, executor, count, tell)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
