"""Tables: as wide as the place they are shown in, and nothing is cut off in silence."""

import io

from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console
from rich.table import Table

from evenclay.tools import tables

WORDS = st.text("abcdefgh", min_size=1, max_size=9)
TEXTS = st.lists(WORDS, min_size=1, max_size=4).map(" ".join)


def shown(headings: list[str], rows: list[list[str]], width: int, whole: bool = False) -> list[str]:
    """The lines of a table; whole: no cell is broken."""
    table, out = Table(), io.StringIO()
    for heading in headings:
        table.add_column(heading, no_wrap=whole)
    for row in rows:
        table.add_row(*row)
    tables.show(table, Console(file=out, width=width, soft_wrap=True, markup=False))
    return out.getvalue().splitlines()


@given(
    headings=st.lists(TEXTS, min_size=1, max_size=12),
    width=st.integers(14, 120),
    whole=st.booleans(),
    data=st.data(),
)
def test_a_table_fits_and_says_what_it_leaves_out(
    headings: list[str], width: int, whole: bool, data: st.DataObject
) -> None:
    row = data.draw(st.lists(TEXTS, min_size=len(headings), max_size=len(headings)))
    lines = shown(headings, [row], width, whole)
    said = [line for line in lines if line.startswith("Left out")]
    table = [line for line in lines if not line.startswith("Left out")]
    assert len(said) <= 1
    kept = table[0].count("┳") + 1
    if kept > 1 or not whole:
        assert all(len(line) <= width for line in table)
    assert bool(said) == (kept < len(headings))
    if said:
        assert said[0].startswith(f"Left out, since {width} columns do not hold it: ")
        assert ", ".join(headings[kept:]) + ". A window of " in said[0]
        needed = int(said[0].rpartition("COLUMNS=")[2].split()[0])
        assert not any("Left out" in line for line in shown(headings, [row], needed, whole))
        assert any("Left out" in line for line in shown(headings, [row], needed - 1, whole))
    # What is kept is all there: words stand whole, in their order.
    cells = "".join(line for line in table if line[0] in "┃│")
    for text in (*headings[:kept], *row[:kept]):
        for word in text.split():
            if kept > 1:
                assert word in cells


def test_a_heading_gives_way_before_a_cell() -> None:
    lines = shown(["min a cycle", "start"], [["15.6", "00:00 04:00"]], 24)
    assert any("00:00 04:00" in line for line in lines)
    assert all(len(line) <= 24 for line in lines)


def test_one_word_too_long_is_folded() -> None:
    lines = shown(["name"], [["x" * 40]], 20)
    assert sum(line.count("x") for line in lines) == 40
    assert all(len(line) <= 20 for line in lines)
