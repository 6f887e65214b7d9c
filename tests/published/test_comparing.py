"""The houses whose ways of watering stand side by side in sim/TRIALS.md."""

import pytest

from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.demand import means_of
from evenclay.tools.property.property import parse
from tests import comparing
from tests.published.test_replays import record


@pytest.mark.parametrize("place", ["tunis", "seattle"])
def test_the_house_is_a_good_property_there(place: str) -> None:
    prop = parse(comparing.property_text(place), f"{place}.toml")
    house = compile_house(prop, means_of(record(place), prop.site.latitude))
    assert [zone.share_pct for zone in house.plan.zones] == [183, 100, 83, 91]
    assert [row.cycles for row in house.plan.rows] == [1, 2, 3, 2, 1, 1]
    assert prop.site.latitude == {"tunis": 36.8, "seattle": 47.6}[place]
