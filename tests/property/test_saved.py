"""Whatever plan or record is packed comes back whole; whatever happens to its bytes is noticed."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenclay.controller import journal
from evenclay.controller.journal import HUB_FIELDS, ZONE_FIELDS, Record
from evenclay.controller.limits import ZONES_MAX
from evenclay.controller.plan import (
    BanPart,
    HubPart,
    Part,
    Plan,
    PlanError,
    SupplyPart,
    ZonePart,
    unpack,
)
from evenclay.tools.property.plan_ranges import NAME_BYTES, RANGES, SUN_MOST_UM
from tests.core import ZONE as USUAL_ZONE
from tests.core import usual_rows, with_codes

BOUNDS = {
    "b": (-(2**7), 2**7 - 1),
    "h": (-(2**15), 2**15 - 1),
    "B": (0, 2**8 - 1),
    "H": (0, 2**16 - 1),
    "I": (0, 2**32 - 1),
}
NAMES = st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=NAME_BYTES)


def values_of(kind: type[Part]) -> st.SearchStrategy[dict[str, int]]:
    return st.fixed_dictionaries(
        {name: st.integers(*bounds) for name, bounds in RANGES[kind].items()}
    )


@st.composite
def plans(draw: st.DrawFn) -> Plan:
    """Plans of any field values whose relations hold."""
    hub = draw(values_of(HubPart))
    hub["frost_on_mc"] = min(hub["frost_on_mc"], hub["frost_off_mc"] - 1)
    if hub["frost_on_mc"] < -20000:
        hub["frost_on_mc"], hub["frost_off_mc"] = -20000, -19999
    hub["battery_open_mv"] = max(hub["battery_open_mv"], hub["battery_reserve_mv"])
    sun_um = tuple(draw(st.lists(st.integers(0, SUN_MOST_UM), min_size=24, max_size=24)))
    hub["yard_hold_um"] = max(hub["yard_hold_um"], 1)
    hub["yard_end_um"] = max(hub["yard_end_um"], 1)
    hub["yard_freely_um"] = min(hub["yard_freely_um"], hub["yard_end_um"] - 1)
    supplies = [
        SupplyPart(values)
        for values in draw(st.lists(values_of(SupplyPart), min_size=4, max_size=4))
    ]
    zones = []
    for tag in draw(st.lists(st.integers(1, 65535), min_size=1, max_size=ZONES_MAX, unique=True)):
        values = draw(values_of(ZonePart)) | {"tag": tag}
        flow_ml_min = supplies[values["supply"]].flow_ml_min
        if flow_ml_min:
            values["flow_ml_min"] = min(values["flow_ml_min"], flow_ml_min)
        if values["probe"]:
            values.update({name: USUAL_ZONE[name] for name in ("wet_ppt", "wet_off_ppt")})
        values["sensor"] = 0
        values["end_um"] = max(values["end_um"], 1)
        values["target_um"] = min(values["target_um"], values["begin_um"])
        values["hold_um"] = max(values["hold_um"], 1)
        values["rate_um_h"] = max(values["rate_um_h"], 1)
        values["freely_um"] = min(values["freely_um"], values["end_um"] - 1)
        for border, drier in (("class2_um", "class1_um"), ("class3_um", "class2_um")):
            values[border] = min(values[border], values[drier])
        values["class4_um"] = min(values["class4_um"], values["class3_um"])
        zones.append(ZonePart(values | {"name": draw(NAMES)}))
    bans = [BanPart(values) for values in draw(st.lists(values_of(BanPart), max_size=8))]
    return Plan(HubPart({**hub, "sun_um": sun_um}), supplies, zones, usual_rows(), bans)


@st.composite
def records(draw: st.DrawFn) -> Record:
    zones = draw(st.integers(0, ZONES_MAX))
    record = Record(zones)
    record.seq = draw(st.integers(0, 2**32 - 1))
    for name, code in with_codes(HUB_FIELDS):
        setattr(record, name, draw(st.integers(*BOUNDS[code])))
    for name, code in with_codes(ZONE_FIELDS):
        one = st.integers(*BOUNDS[code])
        getattr(record, name)[:] = draw(st.lists(one, min_size=zones, max_size=zones))
    return record


@given(made=plans(), data=st.data())
def test_a_plan(made: Plan, data: st.DataObject) -> None:
    packed = made.pack()
    read = unpack(packed)
    assert read.pack() == packed
    assert read.crc == made.crc
    for before, after in (
        ([made.hub], [read.hub]),
        (made.supplies, read.supplies),
        (made.zones, read.zones),
        (made.rows, read.rows),
        (made.bans, read.bans),
    ):
        assert [vars(part) for part in before] == [vars(part) for part in after]
    assert [zone.name for zone in read.zones] == [zone.name for zone in made.zones]
    with pytest.raises(PlanError):
        unpack(data.draw(spoilt(packed)))


@given(record=records(), data=st.data())
def test_a_record(record: Record, data: st.DataObject) -> None:
    packed = record.pack()
    read = journal.unpack_record(packed)
    assert read is not None
    assert read.seq == record.seq
    for name, _ in with_codes(HUB_FIELDS + ZONE_FIELDS):
        assert getattr(read, name) == getattr(record, name)
    assert journal.unpack_record(data.draw(spoilt(packed))) is None


@st.composite
def spoilt(draw: st.DrawFn, packed: bytes) -> bytes:
    """The bytes with one changed, some cut off, or some more."""
    how = draw(st.integers(0, 2))
    if how == 0:
        place = draw(st.integers(0, len(packed) - 1))
        flip = draw(st.integers(1, 255))
        return packed[:place] + bytes([packed[place] ^ flip]) + packed[place + 1 :]
    if how == 1:
        return packed[: draw(st.integers(0, len(packed) - 1))]
    return packed + draw(st.binary(min_size=1, max_size=40))


@given(data=st.binary(max_size=400))
def test_anything_else(data: bytes) -> None:
    """Bytes that nobody packed."""
    assert journal.unpack_record(data) is None
    with pytest.raises(PlanError):
        unpack(data)
