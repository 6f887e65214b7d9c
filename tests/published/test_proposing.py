"""What a proposed plan keeps on years that the search never saw, under the real hub.

Demo: invented weather. Tunis: the record in the package aquacrop, which serves as a carrier of the
file only; latitude and house are assumed. Asked of a plan are 95 % of season days in every zone and
85 % in the worst year. The demo keeps that, and Tunis with probes. Without, by blade and rain gauge
alone, Tunis does not: the bars there are what was measured (78.2 and 65.6), less two.
"""

from pathlib import Path

import pytest

from evenclay.sim.judge.proposal import Kept
from evenclay.sim.weather.record import read
from evenclay.tools.plan.proposal.propose import Proposal, propose
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.demand import mean_et0_mm
from evenclay.tools.property.property import parse
from tests.published.test_replays import record

DEMO = Path(__file__).parents[2] / "sim" / "demo"
TUNIS = Path(__file__).parents[1] / "properties" / "tunis.toml"


def with_probes(text: str) -> str:
    """A property's text, which has none, with a soil probe in every zone."""
    assert "probe" not in text
    return text.replace("\nsupply = ", "\nprobe = true\nsupply = ")


def proposed(text: str, weather_of: str) -> Proposal:
    prop = parse(text, "a property")
    latitude = prop.site.latitude
    demo = read(DEMO / "weather.csv", latitude_deg=latitude)
    weather = demo if weather_of == "demo" else record(weather_of)
    et0_mm = mean_et0_mm(weather, latitude)
    house = compile_house(prop, et0_mm)
    return propose(
        prop,
        house,
        [weather],
        et0_mm,
        rows=6,
        share=0.75,
        seed=1,
        tell=lambda line: None,
        tried=lambda done, total: None,
    )


@pytest.mark.slow
@pytest.mark.parametrize(
    ("text", "weather", "least_pct", "worst_year_pct"),
    [
        ((DEMO / "property.toml").read_text("utf-8"), "demo", 95.0, 85.0),
        (with_probes(TUNIS.read_text("utf-8")), "tunis", 95.0, 85.0),
        (TUNIS.read_text("utf-8"), "tunis", 76.0, 63.0),
    ],
    ids=["demo", "Tunis with probes", "Tunis without"],
)
def test_it_keeps_the_band_on_years_held_out(
    text: str, weather: str, least_pct: float, worst_year_pct: float
) -> None:
    found = proposed(text, weather)
    assert found.limits == ()
    hub: Kept = found.kept["hub"]["held out"]
    bare: Kept = found.kept["calendar"]["held out"]
    assert hub.zones.min() >= least_pct
    assert hub.worst_year >= worst_year_pct
    assert (hub.zones > bare.zones).all()
