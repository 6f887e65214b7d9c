"""Size of the compiled modules against their budget."""

import tomllib

from tools import size

BARS = tomllib.loads(size.BUDGET.read_text("utf-8"))["bars"]


def test_no_module_has_outgrown_its_budget() -> None:
    found = size.sizes()
    assert len(found) >= 30
    assert size.outgrown(found, size.budget()) == []


def test_the_whole_core_is_within_its_bar() -> None:
    assert size.sizes()[size.TOTAL] <= BARS["controller_bytes"]


def test_one_that_grows_or_appears_or_goes_is_told() -> None:
    assert size.outgrown({"a": 10, "b": 11, "c": 1}, {"a": 10, "b": 10, "d": 9}) == [
        "b: 11 bytes, allowed 10",
        "c: 1 bytes, and no budget",
        "d: a budget, and no such module",
    ]
