"""The core, run again on what a log says the hub was told; each decision beside the one then.

A runner boots on ports that answer as the board's did, and its hub decides anew. What it reports in
a turn has to be what the log says it reported, to the last number.
"""

from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from dis import get_instructions
from types import FunctionType
from typing import TYPE_CHECKING, Any

from evenclay.boards.log.packed import name_code, rooms
from evenclay.controller.agenda import PER_DAY
from evenclay.controller.events import POWER
from evenclay.controller.guard import Broken
from evenclay.controller.plan import Plan
from evenclay.controller.ports import NOTE, PLAN, RECORD, Seen
from evenclay.controller.runner import Restart, Runner
from evenclay.tools.log.items import (
    NEVER,
    NO_PLAN,
    Boot,
    Bytes,
    Crash,
    Event,
    File,
    Gap,
    Item,
    LogError,
    Turn,
)

if TYPE_CHECKING:
    from evenclay.controller.ports import Asked

_GARBAGE = b"\xff" * 32  # a copy of a record that nobody can read


@dataclass(frozen=True)
class Judged:
    """A decision as the log tells it, and as the core decided anew; None: it is not there.

    rerun: it was run again at all. plan_crc: of the plan under which it was told
    """

    told: Event | None
    found: Event | None
    rerun: bool
    plan_crc: int

    @property
    def differs(self) -> bool:
        return self.rerun and self.told != self.found


def rerun(items: Iterable[Item], plans: Mapping[int, Plan]) -> Iterator[Judged]:
    """Run the core again on a log; yields each decision.

    It begins at the first state or boot under one of the plans, which are given by their CRC. After
    a difference it begins anew at the next of these, and so it does after a gap.
    """
    crc = NO_PLAN
    plan: Plan | None = None
    again: Again | None = None
    for item in items:
        if isinstance(item, File):
            crc = item.plan_crc
            plan = plans.get(crc)
            if plan is None:
                again = None
            elif item.state:
                again = Again(plan)
                try:
                    again.go_on(item.state)
                except LogError:  # wait for a boot
                    again = None
            continue
        if isinstance(item, Gap):
            again = None
            continue
        if isinstance(item, Boot):
            again = Again(plan) if plan is not None else None
        found = again.live(item) if again is not None else ()
        for judged in _side_by_side(item.told, found, again is not None, crc):
            yield judged
            if judged.differs:
                again = None


def _side_by_side(
    told: tuple[Event, ...], found: Iterable[Event], again: bool, crc: int
) -> Iterator[Judged]:
    """Pairs of decisions; behind the first that differs nothing is compared."""
    rest = list(found)
    for one in told:
        judged = Judged(one, rest.pop(0) if rest else None, again, crc)
        yield judged
        if judged.differs:
            again, rest = False, []
    if again and rest:
        yield Judged(None, rest[0], True, crc)


def field_names(room: Any) -> set[str]:
    """Names of all fields that a room has, or will have once its methods have set them."""
    methods = [each for each in vars(type(room)).values() if isinstance(each, FunctionType)]
    steps = (step for method in methods for step in get_instructions(method))
    return {*dir(room), *(step.argval for step in steps if step.opname == "STORE_ATTR")}


class Stopped(BaseException):
    """A turn ended here by an exception. No Exception: nothing in the core may catch it."""


class Again:
    """A hub that lives through a log once more. It is the ports of its own runner."""

    def __init__(self, plan: Plan) -> None:
        self.valves = len(plan.zones) + len(plan.supplies)
        self._store = {(PLAN, 0): plan.pack()}
        self._seen = Seen(len(plan.zones), len(plan.supplies))
        self._turn = Turn(0, None)
        self._runner: Runner | None = None
        self._told: list[Event] = []
        self._calls = 0
        self._crashing = False
        self._up_s = self._late_up_s = 0
        self._wall_s: int | None = None

    def go_on(self, state: bytes) -> None:
        """Boot, and put the hub into a state. Raises LogError where it is of another core."""
        data = Bytes(state)
        record, note = data.value(), data.value()
        self._boot(Boot(POWER, 0, False, b"", record or b"", ()))
        assert self._runner is not None
        hub = self._runner.hub
        self._runner.trouble.load(note)
        for room in rooms(hub):
            names = {name_code(name): name for name in field_names(room)}
            while (code := data.value()) is not None:
                if code not in names:
                    raise LogError("found a state of another core")
                setattr(room, names[code], data.value())
        if hub.record.waiting:  # the only thing in a hub at rest that is no number
            hub.days.row = hub.days._agenda.row_of(hub.record.mark_no // PER_DAY)

    def live(self, item: Boot | Turn) -> list[Event]:
        """Boot, or take a turn. Returns what the hub reports."""
        self._told = []
        if isinstance(item, Boot):
            self._boot(item)
        else:
            self._take(item)
        return self._told

    def _boot(self, boot: Boot) -> None:
        self._up_s, self._wall_s = boot.up_s, None
        self._turn = Turn(0, None)
        self._calls = 0
        self._store[RECORD, 0] = boot.record
        self._store[RECORD, 1] = _GARBAGE if boot.lost else b""
        self._store[NOTE, 0] = boot.note
        self._runner = Runner(self, boot.why)

    def _take(self, turn: Turn) -> None:
        assert self._runner is not None
        self._turn = turn
        self._calls = 0
        for name, value in turn.seen.items():
            self._see(name, value)
        crash = turn.crash
        if crash is None or crash.calls != NEVER:
            self._up_s, self._wall_s = turn.up_s or 0, turn.wall_s
            if self._runner.rest_up_s:  # it took a step, so its rest was over
                self._runner.rest_up_s = 1
                self._runner._unshut = []
            with suppress(Stopped):
                self._runner.turn()
        if crash is not None:
            self._crash(crash)

    def _crash(self, crash: Crash) -> None:
        assert self._runner is not None
        self._crashing = True
        self._calls = max(crash.calls - self.valves, 0)
        self._up_s, self._late_up_s, self._wall_s = crash.up_s, crash.late_up_s, None
        trouble = self._runner.trouble  # is to come to what the note says
        trouble.load(crash.note)
        trouble.count -= 1
        trouble.same -= 1
        with suppress(Restart):  # the board restarted, and a boot comes next
            self._runner.failed(_raised(crash.note))
        self._crashing = False

    def _see(self, name: str, value: int | None) -> None:
        name, _, place = name.partition(".")
        if not place:
            setattr(self._seen, name, value)
        else:
            readings = getattr(self._seen, name)
            readings += [None] * (int(place) + 1 - len(readings))
            readings[int(place)] = value

    def _command(self) -> None:
        """A command is carried out, unless it failed then."""
        crash = self._turn.crash
        if crash is not None and not self._crashing and self._calls == crash.calls - self.valves:
            raise Stopped
        self._calls += 1
        if self._calls in self._turn.failed:
            raise OSError("it failed then")

    # The ports.

    def up_s(self) -> int:
        up_s = self._up_s
        if self._crashing:
            self._up_s = self._late_up_s
        return up_s

    def wall_s(self) -> int | None:
        return self._wall_s

    def set_wall_s(self, wall_s: int) -> None:
        if 0 in self._turn.failed:
            raise OSError("it failed then")

    def look(self) -> Seen:
        return self._seen

    def take_asked(self) -> "list[Asked]":
        return list(self._turn.asked)

    def close(self, valve: int) -> None:
        self._command()

    def open(self, valve: int, deadline_s: int) -> None:
        self._command()

    def read(self, slot: int, copy: int) -> bytes:
        return self._store.get((slot, copy), b"")

    def write(self, slot: int, copy: int, data: bytes) -> None:
        if slot != NOTE:
            self._command()
        self._store[slot, copy] = data

    def report(self, event: Event) -> None:
        self._command()
        self._told.append(event)

    def feed(self) -> None:
        if self._turn.crash is not None and not self._crashing:
            raise Stopped


def _raised(note: bytes) -> Exception:
    """An exception of the type and text that a note tells."""
    text = note.decode("utf-8", "replace").split(" ", 3)[-1]
    name, _, said = text.partition(": ")
    if name == "MemoryError":
        return MemoryError()
    kind: type[Exception] = Broken if name == "Broken" else type(name, (Exception,), {})
    return kind(said)
