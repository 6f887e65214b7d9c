"""Whatever the need and the local rules: a proposed table compiles, and has no more rows."""

from functools import cache
from pathlib import Path

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from evenclay.sim.judge.proposal import HALF_MONTHS, Need
from evenclay.sim.types import Floats
from evenclay.tools.plan.proposal.draft import (
    SHARES_PCT,
    Tables,
    days_allowed,
    draft_of,
    windows_min,
)
from evenclay.tools.plan.proposal.written import written
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.demand import guessed_et0_mm
from evenclay.tools.property.file.schedule import WEEKDAYS
from evenclay.tools.property.property import Property, parse

TUNIS = Path(__file__).parents[1] / "properties" / "tunis.toml"
ZONES = 4
PROBES = {
    "west": "",
    "north": "wet_limit = 33.7\nwet_release = 32\n",
    "south": "wet_limit = 38\ndry_limit = 34\n",
}
RULES = (
    "",
    'allowed_weekdays = ["mon", "wed", "fri", "sun"]',
    'banned_hours = ["06:00-19:00"]',
    'allowed_dates = "odd"\nbanned_hours = ["22:00-02:00", "10:00-16:00"]',
)
NEEDS = arrays(np.float64, (HALF_MONTHS, ZONES), elements=st.floats(0.0, 9.0, allow_nan=False))


@cache
def property_of(rules: str) -> Property:
    text = TUNIS.read_text("utf-8")
    for zone, keys in PROBES.items():
        text = text.replace(f"[zones.{zone}]\n", f"[zones.{zone}]\nprobe = true\n{keys}")
    return parse(f"{text}[lockouts.quiet]\n{rules}\n", "house.toml")


@settings(max_examples=25)
@given(
    NEEDS,
    st.integers(1, 8),
    st.sampled_from(RULES),
    st.floats(-0.5, 0.5),
)
def test_what_is_proposed_keeps_the_rules(
    need_mm_d: Floats, rows: int, rules: str, number: float
) -> None:
    prop = property_of(rules)
    et0_mm = guessed_et0_mm(prop.site.latitude)
    house = compile_house(prop, et0_mm)
    tables = Tables(prop, house, et0_mm, np.full(ZONES, 0.2))
    nothing = np.zeros(ZONES)
    need = Need(0.75, need_mm_d, need_mm_d, need_mm_d, np.zeros(HALF_MONTHS), nothing)
    draft = draft_of(tables, need, rows)
    assert 1 <= len(draft.begins) <= rows
    draft = draft.varied(np.full(len(draft.spreads), number))
    assert len(draft.spreads) == len(draft.open_rows) + 1 + 2 + 3 + 1 + ZONES
    if tables.plan_of(draft) is None:
        return
    found, plan, mistakes = tables.property_of(draft)
    assert not mistakes
    again = parse(written(prop.source.text, found), "house.toml")
    assert again.model_dump(exclude={"source"}) == found.model_dump(exclude={"source"})
    assert compile_house(again, et0_mm).plan.pack() == plan.pack()
    assert all(SHARES_PCT[0] <= zone.share <= SHARES_PCT[1] for zone in again.zones.values())
    for row in plan.rows:
        if row.cycles:
            free = [start <= row.start_min < start + most for start, most in windows_min(plan)]
            assert any(free)
            day_s = [row.cycles * row.run_s * zone.share_pct / 100 for zone in plan.zones]
            assert all(s <= zone.cap_s for s, zone in zip(day_s, plan.zones, strict=True))


def test_days_that_are_allowed_are_counted() -> None:
    shares = [days_allowed(compile_house(property_of(rules)).plan) for rules in RULES]
    assert shares == [1.0, 4 / len(WEEKDAYS), 1.0, 0.5]
