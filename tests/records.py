"""The record's fields by name, found out from a record: the core has no list of names."""

from evenclay.controller.journal import HUB_CODES, ZONE_CODES, Record


def _fields() -> tuple[tuple[tuple[str, str], ...], tuple[tuple[str, str], ...]]:
    """(name, `struct` code) of the hub's fields and of a zone's, in the order of the layout."""
    record = Record(1)
    record.seq = 0xFFFFFFFF
    record.fill(range(len(HUB_CODES + ZONE_CODES)), 1)
    assert record.values() == list(range(len(HUB_CODES + ZONE_CODES)))
    place = {value: name for name, value in vars(record).items() if isinstance(value, int)}
    place |= {value[0]: name for name, value in vars(record).items() if isinstance(value, list)}
    hub = tuple((place[at], code) for at, code in enumerate(HUB_CODES))
    zone = tuple((place[len(HUB_CODES) + at], code) for at, code in enumerate(ZONE_CODES))
    return hub, zone


HUB_FIELDS, ZONE_FIELDS = _fields()
