"""Changes to the text of a property file that keep its comments where they belong."""

from tomlkit.items import Comment, Table, Whitespace


def after_last(table: Table) -> list[Comment | Whitespace]:
    """Comments and blank lines after the last key of a table: they speak of what follows."""
    kept: list[Comment | Whitespace] = []
    for key, item in table.value.body:
        if key is not None:
            kept = []
        elif isinstance(item, Comment | Whitespace):
            kept.append(item)
    return kept


def add_last(table: Table, key: str, value: object) -> None:
    """Add a key after a table's last, before the comments that speak of what follows."""
    kept = after_last(table)
    body = table.value.body
    del body[len(body) - len(kept) :]
    table.add(key, value)
    for item in kept:
        table.add(item)
