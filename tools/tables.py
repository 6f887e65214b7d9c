"""Tables that fit the width of the terminal; a column that is left out is named below."""

from rich.cells import cell_len
from rich.console import Console
from rich.table import Column, Table

_EDGES = 3  # columns of the screen that a table's column takes besides its text


def show(table: Table, console: Console) -> None:
    """Print a table of texts. Columns that find no room are left out, last first, and named.

    Texts are broken between words only, and not at all in a column that says so.
    """
    if table.title:  # a table breaks its own title where it is wider
        console.print(str(table.title))
        table.title = None
    room = console.width - 1
    left_out: list[Column] = []
    needed = room_for(table.columns) + 1
    while len(table.columns) > 1 and room_for(table.columns) > room:
        left_out.insert(0, table.columns.pop())
    _narrow(table.columns, room)
    console.print(table)
    if left_out:
        names = ", ".join(str(column.header) for column in left_out)
        console.print(
            f"Left out, since {console.width} columns do not hold it: {names}. "
            f"A window of {needed} shows it, or COLUMNS={needed} before the command."
        )


def room_for(columns: list[Column]) -> int:
    """Return how wide a table is when each column is as narrow as its longest word."""
    return sum([_least(column) + _EDGES for column in columns])


def _narrow(columns: list[Column], room: int) -> None:
    """Give each column a width; as long as all together are too wide, the widest gives way.

    Columns that only their heading makes so wide give way first.
    """
    for column in columns:
        widest = max(cell_len(text) for text in _texts(column))
        column.width = min(widest, column.max_width or widest)
        column.overflow = "fold"
    while sum([(column.width or 0) + _EDGES for column in columns]) > room:
        loose = [column for column in columns if (column.width or 0) > _least(column)]
        if not loose:
            return
        yielding = max(loose, key=lambda column: (_head_alone(column), column.width))
        yielding.width = (yielding.width or 0) - 1


def _head_alone(column: Column) -> bool:
    """Whether a column's heading is wider than its cells, as wide as it is now."""
    return (column.width or 0) > max([cell_len(text) for text in _texts(column)[1:]], default=0)


def _least(column: Column) -> int:
    texts = _texts(column)
    parts = texts if column.no_wrap else [word for text in texts for word in text.split() or [""]]
    return max(cell_len(part) for part in parts)


def _texts(column: Column) -> list[str]:
    return [str(column.header), *(str(cell) for cell in column.cells)]
