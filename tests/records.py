"""The record's fields by name, as the core lists them."""

from evenclay.controller import journal


def _pairs(fields: str) -> tuple[tuple[str, str], ...]:
    """(name, `struct` code) of each field, in the order of the layout."""
    words = fields.split()
    return tuple(zip(words[::2], words[1::2], strict=True))


HUB_FIELDS = _pairs(journal.HUB_FIELDS)
ZONE_FIELDS = _pairs(journal.ZONE_FIELDS)
