"""The comparison over 22 real and 30 invented years whose tables stand in sim/TRIALS.md."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from evenclay.sim.judge.years import scored_years
from evenclay.tools.cli import commands as cli
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.demand import mean_et0_mm
from evenclay.tools.property.property import parse
from tests import comparing
from tests.published.test_replays import record


def test_the_house_at_tunis_is_a_good_property_and_its_record_long_enough() -> None:
    prop = parse(comparing.property_text(), "tunis.toml")
    house = compile_house(prop, mean_et0_mm(record("tunis"), prop.site.latitude))
    assert [zone.share_pct for zone in house.plan.zones] == [183, 100, 83, 91]
    assert [row.cycles for row in house.plan.rows] == [1, 2, 3, 2, 1, 1]
    assert len(scored_years(record("tunis"))) - 1 == 22


@pytest.mark.slow
def test_the_oracle_beside_all_policies_and_a_proposed_plan(tmp_path: Path) -> None:
    """Never above a policy nor below its bound, and better than any hub with all it wants; and the
    plan keeps the band with little more water than the oracle needs for as many good days."""
    arguments = comparing.arguments(tmp_path)
    arguments += ["--plan", str(comparing.proposed(tmp_path))]
    result = CliRunner().invoke(cli.app, arguments)
    assert result.exit_code == 0, result.output
    found = json.loads((tmp_path / "compare.json").read_text("utf-8"))
    assert (found["recorded"]["years"], found["invented"]["years"]) == (22, 30)
    for kind in ("recorded", "invented"):
        policies = dict(found[kind]["policies"])
        reached = policies.pop("oracle")
        assert len(policies) == 11
        for name, line in policies.items():
            assert line["oracle"]["least_mm"] <= line["oracle"]["used_mm"], name
            assert line["oracle"]["possible_mm"] <= line["oracle"]["least_mm"], name
            assert line["in_band_pct"]["median"] < reached["in_band_pct"]["median"], name
        beside = policies["hub_probes proposed"]["oracle"]
        assert beside["keeps_band"] and beside["most_times"] == 1.15 and beside["meets"]
