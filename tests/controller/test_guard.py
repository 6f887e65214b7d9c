"""The overlap guard: every refusal with its reason, every state of a valve, every broken rule."""

import pytest

from evenclay.controller.civil import Clock, LocalTime
from evenclay.controller.events import BUSY, CAP, FAULT, GAP, LONGEST, OK, OPEN_LIMIT, Log
from evenclay.controller.faults import (
    _BROKEN_FAULT,
    _DRIVER_FAULT,
    _FAULT_RETRY_S,
    BURST_FAULT,
    LEAK_FAULT,
    NO_FLOW_FAULT,
    Faults,
)
from evenclay.controller.guard import _CLOSE_RETRY_S, Broken, Guard
from evenclay.controller.journal import Record
from evenclay.controller.ports import CLOSE, OPEN
from tests.core import plan

# Zones 0 and 1 on supply 0, zone 2 on supply 1 and zone 3 on supply 2; valves 4 to 6 would be
# their masters, of which only 5 exists.
MADE = plan(
    zones=[{}, {}, {"supply": 1}, {"supply": 2}],
    supplies=[{"gap_s": 30}, {"gap_s": 0, "master": 1}, {}],
    open_max=2,
)
EXISTING = [0, 1, 2, 3, 5]
NOW = 1000


def guard(ready: bool = True, record: "Record | None" = None) -> Guard:
    made = Guard(MADE, record or Record(4))
    if ready:
        for _, valve in made.closing(0):
            made.closed(valve, True, 0)
    return made


def test_nothing_opens_before_every_valve_was_told_to_close() -> None:
    made = guard(ready=False)
    assert made.closing(0) == [(CLOSE, valve) for valve in EXISTING]
    for valve in EXISTING[:-1]:
        made.closed(valve, True, 0)
        assert not made.ready and made.judge(3, 60, NOW) == FAULT
    made.closed(EXISTING[-1], True, 0)
    assert made.ready and not made.to_shut and not made.open_zones
    assert made.judge(3, 60, NOW) == OK


def test_a_valve_that_will_not_close_keeps_its_supply_shut_and_no_other() -> None:
    made = guard(ready=False)
    assert made.closed(0, False, 0)
    for valve in EXISTING[1:]:
        made.closed(valve, True, 0)
    assert made.ready and (made.to_shut or made.open_zones)
    assert made.judge(1, 60, NOW) == FAULT
    assert made.judge(2, 60, NOW) == OK
    assert made.closing(_CLOSE_RETRY_S - 1) == []
    assert made.due_up_s(10**6) == _CLOSE_RETRY_S
    assert made.closing(_CLOSE_RETRY_S) == [(CLOSE, 0)]
    assert not made.closed(0, False, _CLOSE_RETRY_S), "told once"
    assert made.closed(0, True, 2 * _CLOSE_RETRY_S), "and recovered"
    assert made.judge(1, 60, NOW) == OK


@pytest.mark.parametrize("fault", [LEAK_FAULT, _BROKEN_FAULT])
def test_a_fault_of_the_hub_shuts_everything(fault: int) -> None:
    record = Record(4)
    record.faults = fault
    made = guard(record=record)
    assert [made.judge(zone, 60, NOW) for zone in range(4)] == [FAULT] * 4


def test_a_burst_zone_stays_shut_and_a_passing_fault_is_tried_again() -> None:
    record = Record(4)
    made = guard(record=record)
    record.zone_faults[0] = BURST_FAULT
    record.zone_faults[1] = NO_FLOW_FAULT
    record.zone_faults[2] = _DRIVER_FAULT
    made.retry_zone_up_s = [0, NOW, NOW + 1, 0]
    assert [made.judge(zone, 60, NOW) for zone in range(4)] == [FAULT, OK, FAULT, OK]


def test_no_run_is_longer_than_the_longest_nor_passes_the_cap() -> None:
    record = Record(4)
    made = guard(record=record)
    assert made.judge(0, 3600, NOW) == OK
    assert made.judge(0, 3601, NOW) == LONGEST
    record.used_s[0] = 7200 - 600
    assert made.judge(0, 600, NOW) == OK
    assert made.judge(0, 601, NOW) == CAP


def test_one_valve_a_supply_and_no_more_than_the_hub_allows() -> None:
    made = guard()
    assert made.open(0, 600, NOW) == [(OPEN, 0, 3600)]
    assert made.open_zone(0) == 0 and made.open_zone(1) == -1
    assert made.judge(1, 60, NOW) == OPEN_LIMIT, "the same supply"
    assert made.judge(2, 60, NOW) == OK
    made.open(2, 600, NOW)
    assert made.judge(3, 60, NOW) == OPEN_LIMIT, "a third valve"
    assert len(made.open_zones) == 2 and (made.to_shut or made.open_zones)
    made.verify(NOW + 599)


def test_a_supply_settles_between_two_valves() -> None:
    made = guard()
    made.open(0, 600, NOW)
    made.request_close(0, NOW + 600)
    assert made.judge(1, 60, NOW + 600) == BUSY, "told to close, not known to be shut"
    assert made.closing(NOW + 600) == [(CLOSE, 0)]
    made.closed(0, True, NOW + 600)
    assert made.gap_up_s[made.supply_of[1]] == NOW + 630
    assert made.judge(1, 60, NOW + 629) == GAP
    assert made.judge(1, 60, NOW + 630) == OK
    assert made.judge(2, 60, NOW + 600) == OK, "another supply has its own gap"


def test_a_master_opens_before_its_zone_and_closes_after_it() -> None:
    made = guard()
    assert made.open(2, 600, NOW) == [(OPEN, 5, 3600), (OPEN, 2, 3600)]
    made.request_close(2, NOW + 600)
    made.request_close(2, NOW + 600)
    assert made.closing(NOW + 600) == [(CLOSE, 2), (CLOSE, 5)], "each once"


def test_shut_all_closes_every_valve_again() -> None:
    made = guard()
    made.request_close(-1, NOW)
    assert made.closing(NOW) == [(CLOSE, valve) for valve in EXISTING]


def test_due_is_the_first_end_or_retry() -> None:
    made = guard()
    assert made.due_up_s(5000) == 5000
    made.open(0, 600, NOW)
    assert made.due_up_s(5000) == NOW + 600
    made.open(2, 300, NOW)
    assert made.due_up_s(5000) == NOW + 300
    made.request_close(2, NOW + 10)
    assert made.due_up_s(5000) == NOW + 10
    assert made.closed(2, False, NOW + 10)
    made.closed(5, True, NOW + 10)
    assert made.due_up_s(5000) == NOW + 10 + _CLOSE_RETRY_S


def test_open_refuses_what_judge_refuses() -> None:
    made = guard()
    with pytest.raises(Broken, match="open"):
        made.open(0, 3601, NOW)
    made.verify(NOW)


def broken_by_overlap(made: Guard) -> None:
    made.open_zones.append(1)
    made.end_up_s[1] = NOW + 60
    made.opened_up_s[1] = NOW


def broken_by_number(made: Guard) -> None:
    made.open_zones += [2, 3]
    made.end_up_s[2:] = [NOW + 60, NOW + 60]
    made.opened_up_s[2:] = [NOW, NOW]


def broken_by_end(made: Guard) -> None:
    made.end_up_s[0] = NOW + 10


def broken_by_length(made: Guard) -> None:
    made.opened_up_s[0] = NOW - 3001


@pytest.mark.parametrize(
    ("tamper", "what"),
    [
        (broken_by_overlap, "overlap"),
        (broken_by_number, "too many"),
        (broken_by_end, "past its end"),
        (broken_by_length, "too long"),
    ],
)
def test_verify_finds_each_broken_rule(tamper: "object", what: str) -> None:
    made = guard()
    made.open(0, 600, NOW)
    made.verify(NOW + 10)
    tamper(made)  # type: ignore[operator]
    with pytest.raises(Broken, match=what):
        made.verify(NOW + 10)


def test_a_valve_being_closed_may_be_past_its_end() -> None:
    """Its driver failed; what else could be done is being done."""
    made = guard()
    made.open(0, 600, NOW)
    made.request_close(0, NOW + 600)
    made.closed(0, False, NOW + 600)
    made.verify(NOW + 10**5)


def test_a_supply_is_tried_again_with_the_last_of_its_own_zones() -> None:
    """Zones 0 and 1 did not flow, nor did zone 2 on another supply, which was tried after both."""
    record = Record(4)
    record.zone_faults[:] = [NO_FLOW_FAULT] * 3 + [0]
    record.valve_wall_s[:] = [1000, 3000, 5000, 9000]
    made = guard(record=record)
    clock = Clock(LocalTime(MADE.hub))
    Faults(MADE, record, clock, made, Log()).resume(NOW, 6000)
    last_up_s = NOW + _FAULT_RETRY_S - (6000 - 3000)
    for zone, due_up_s in ((0, last_up_s), (1, last_up_s), (2, last_up_s + 2000)):
        assert made.judge(zone, 60, due_up_s - 1) == FAULT
        assert made.judge(zone, 60, due_up_s) == OK
    assert made.judge(3, 60, NOW) == OK
