"""What a proposed plan keeps on years that the search never saw, under the real hub.

Demo: invented weather. Tunis: the record in the package aquacrop, which serves as a carrier of the
file only; latitude and house are assumed. Asked of a plan are 95 % of season days in every zone and
85 % in the worst year. Both miss some of that, Tunis's the more: the bars here are what was
measured (93.0 and 90.6, 85.3 and 75.8), less a little. A fall below them is a step back.
"""

from pathlib import Path

import pytest

from sim.proposal import Kept
from sim.weather import read
from tests.published.test_replays import record
from tools.compile import compile_house, mean_et0_mm
from tools.property import load
from tools.propose import Proposal, propose

DEMO = Path(__file__).parents[2] / "sim" / "demo"
TUNIS = Path(__file__).parents[1] / "properties" / "tunis.toml"


def proposed(file: Path, weather_of: str) -> Proposal:
    prop = load(file)
    latitude = prop.site.latitude
    demo = read(DEMO / "weather.csv", latitude_deg=latitude)
    weather = demo if weather_of == "demo" else record(weather_of)
    et0_mm = mean_et0_mm(weather, latitude)
    house = compile_house(prop, et0_mm)
    return propose(
        prop, house, [weather], et0_mm, rows=6, share=0.75, seed=1, tell=lambda line: None
    )


@pytest.mark.slow
@pytest.mark.parametrize(
    ("file", "weather", "least_pct", "worst_year_pct"),
    [(DEMO / "property.toml", "demo", 90.0, 85.0), (TUNIS, "tunis", 80.0, 70.0)],
    ids=["demo", "Tunis"],
)
def test_it_keeps_the_band_on_years_held_out(
    file: Path, weather: str, least_pct: float, worst_year_pct: float
) -> None:
    found = proposed(file, weather)
    assert found.limits == ()
    hub: Kept = found.kept["hub"]["held out"]
    bare: Kept = found.kept["calendar"]["held out"]
    assert hub.zones.min() >= least_pct
    assert hub.worst_year >= worst_year_pct
    assert (hub.zones > bare.zones).all()
