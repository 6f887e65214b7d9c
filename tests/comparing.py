"""A comparison over many real years: the demo house moved to Tunis, with a table by its weather.

The record is the one in the package aquacrop, which serves as a carrier of the file only; latitude
and house are assumed. The table gives back the mean ET0 of its months at 0.6, each zone's share the
rest of its coefficient, as `tests.published.test_replays` has it; it was fixed before any replay.
Beside it stands what `evenclay propose` makes of the same house.

`python -m tests.comparing DIR` writes both there and prints the tables of sim/TRIALS.md.
"""

import shutil
import subprocess
import sys
from pathlib import Path

from evenclay.tools.cli import commands as cli
from tests.published.test_replays import FILES, TIMEZONES, TUNIS, weather_file

DEMO = Path(__file__).parents[1] / "sim" / "demo" / "property.toml"
SHARES = {130: 183, 70: 100, 60: 83, 55: 91}  # the demo's, and what Tunis's zones get: 0.6 is 100 %
YEARS = 30  # invented besides


def property_text() -> str:
    """The demo's property file at Tunis."""
    text = DEMO.read_text("utf-8")
    before, rest = text.split("[[seasons]]", 1)
    after = rest[rest.index("[lockouts.rain]") :]
    before = before.replace("Cotter house, Marl Hollow", "Demo house at Tunis")
    before = before.replace("America/Chicago", TIMEZONES["tunis"])
    before = before.replace("latitude = 32.4", f"latitude = {FILES['tunis'][2]}")
    for old, new in SHARES.items():
        before = before.replace(f"share = {old}", f"share = {new}")
    seasons = [
        f'[[seasons]]\nfrom = "{month:02}-{day:02}"\ncycles = {cycles}\nminutes = {minutes}\n'
        'window = "20:00-10:00"\n\n'
        for (month, day), cycles, minutes, _ in TUNIS
    ]
    return before + "".join(seasons) + after


def arguments(out: Path) -> list[str]:
    """What to say to `evenclay`, once the property is written into a folder."""
    house = out / "tunis.toml"
    house.write_text(property_text(), "utf-8")
    weather = str(weather_file("tunis"))
    return ["compare", str(house), "--weather", weather, "--years", str(YEARS), "--out", str(out)]


def proposed(out: Path) -> Path:
    """The file that `evenclay propose` makes of the property that `arguments` wrote there."""
    evenclay = str(Path(sys.executable).with_name("evenclay"))
    given = ["--weather", str(weather_file("tunis")), "--out", str(out / "plan")]
    subprocess.run([evenclay, "propose", str(out / "tunis.toml"), *given], check=True)
    return Path(shutil.copy(out / "plan" / "property.toml", out / "proposed.toml"))


if __name__ == "__main__":
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    cli.app([*arguments(folder), "--plan", str(proposed(folder))])
