"""Today's hub and today's proposals in several places: the demo, and its house elsewhere.

The records are those in packages that serve as carriers of the files only; latitude and house are
assumed. At Tunis and Seattle the table is one that gives back the mean ET0 of Tunis's months at
0.6, each zone's share the rest of its coefficient, as `tests.published.test_replays` has it; it was
fixed before any replay. What is compared is the plan that `evenclay propose` makes of the house.

`python -m tests.comparing DIR [GROUNDS]` writes all of it there and prints the tables.
"""

import subprocess
import sys
from pathlib import Path

from evenclay.sim.weather.daily import Weather
from evenclay.sim.weather.record import read
from tests.published.test_replays import FILES, TIMEZONES, TUNIS, weather_file

DEMO = Path(__file__).parents[1] / "sim" / "demo"
SHARES = {130: 183, 70: 100, 60: 83, 55: 91}  # the demo's, and what Tunis's zones get: 0.6 is 100 %
GROUNDS = 8
DEMO_LATITUDE_DEG = 32.4


def property_text(place: str = "tunis") -> str:
    """The demo's property file, or the same house in another place."""
    text = (DEMO / "property.toml").read_text("utf-8")
    if place == "demo":
        return text
    before, rest = text.split("[[seasons]]", 1)
    after = rest[rest.index("[lockouts.rain]") :]
    before = before.replace("Cotter house, Marl Hollow", f"Demo house at {place.title()}")
    before = before.replace("America/Chicago", TIMEZONES[place])
    before = before.replace("latitude = 32.4", f"latitude = {FILES[place][2]}")
    for old, new in SHARES.items():
        before = before.replace(f"share = {old}", f"share = {new}")
    seasons = [
        f'[[seasons]]\nfrom = "{month:02}-{day:02}"\ncycles = {cycles}\nminutes = {minutes}\n'
        'window = "20:00-10:00"\n\n'
        for (month, day), cycles, minutes, _ in TUNIS
    ]
    return before + "".join(seasons) + after


def record_of(place: str) -> Weather:
    """The record of a place."""
    if place == "demo":
        return read(DEMO / "weather.csv", latitude_deg=DEMO_LATITUDE_DEG)
    return read(weather_file(place), latitude_deg=FILES[place][2])


def main(out: Path, grounds: int) -> None:
    """Propose and compare in each place."""
    out.mkdir(parents=True, exist_ok=True)
    evenclay = str(Path(sys.executable).with_name("evenclay"))
    for place in ("demo", "tunis", "seattle"):
        house, weather = DEMO / "property.toml", DEMO / "weather.csv"
        if place != "demo":
            house, weather = out / f"{place}.toml", weather_file(place)
            house.write_text(property_text(place), "utf-8")
        where = ["--weather", str(weather), "--out", str(out / place)]
        subprocess.run([evenclay, "propose", str(house), *where], check=True)
        plan = out / place / "property.toml"
        count = ["--grounds", str(grounds)]
        subprocess.run([evenclay, "compare", str(plan), *where, *count], check=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else GROUNDS)
