"""What a hub costs on a 32-bit board, by zone count: heap, allocation of a wake, instructions.

    python -m tests.device.footprint    print the table for controller/README.md

`controller/` is compiled as a bundle compiles it and measured in the 32-bit build: bytes by its own
count, blocks of 16; instructions of WebAssembly, which stand for time.
"""

import tempfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from evenclay.controller.journal import Record
from tests.core import plan, row, wall
from tests.device import owner
from tests.device.board import fill
from tests.device.wasm import Wasm

ZONES = (1, 2, 4, 8)
BEFORE_S = wall(2026, 7, 1)
AFTER_S = wall(2034, 7, 1)  # past the end of 31-bit small integers
WARM_DAYS = 20  # so that the log of events is full
HEAD = """| zones | record | code in RAM | hub at boot | hub, log full | idle wake | instructions |
|---|---|---|---|---|---|---|"""

# Ports with as little of their own as can be; they are made before the count begins.
GUEST = """
from ports_guest import Guest
made = {plan!r}
gc.collect()
empty = gc.mem_alloc()
from evenclay.controller.runner import Runner
gc.collect()
code = gc.mem_alloc()
print("code", gc.mem_alloc() - empty)
guest = Guest(made, {wall_s}, {zones}, {supplies})
runner = Runner(guest)
runner.turn()
gc.collect()
print("boot", gc.mem_alloc() - code)
for day in range({days}):
    guest.live(runner, 86400)
    gc.collect()
assert guest.opened and runner.hub.faults.log.events()[0][6] > 0
gc.collect()
print("full", gc.mem_alloc() - code)
guest.idle(runner)
"""
PORTS = """
import gc
from evenclay.controller.ports import Seen

class Guest:
    def __init__(self, made, wall_s, zones, supplies):
        self.made, self.offset_s, self.now_s = made, wall_s, 0
        self.wall_now_s = wall_s
        self.valves = zones + supplies
        self.seen = Seen(zones, supplies)
        self.seen.temp_mc = 15000
        self.seen.rain_um = 0
        self.none = []
        self.saved = [b"", b""]
        self.opened = 0
        self.calls = 0

    def up_s(self): return self.now_s
    def wall_s(self): return self.wall_now_s
    def look(self): return self.seen
    def take_asked(self): return self.none
    def close(self, valve): self.calls += 1
    def open(self, valve, deadline_s):
        self.calls += 1
        self.opened += 1
    def read(self, slot, copy): return self.made if slot else self.saved[copy]
    def write(self, slot, copy, data):
        self.calls += 1
        self.saved[copy] = data
    def report(self, event): self.calls += 1
    def feed(self): pass

    def live(self, runner, for_s):
        end_s = self.now_s + for_s
        while self.now_s < end_s:
            self.now_s = min(max(runner.turn(), self.now_s + 1), end_s)
            self.wall_now_s = self.offset_s + self.now_s

    def idle(self, runner):
        most = 0
        for _ in range(60):
            before = gc.mem_alloc()
            calls = self.calls
            wake_s = runner.turn()
            took = gc.mem_alloc() - before
            if calls == self.calls and took > most:
                most = took
            self.now_s = max(wake_s, self.now_s + 1)
            self.wall_now_s = self.offset_s + self.now_s
        print("idle", most)
"""


@dataclass(frozen=True)
class Footprint:
    """Bytes on the heap of a 32-bit build, and instructions of a day."""

    code: int  # the core, loaded from .mpy: none of it where it is frozen into the firmware
    boot: int  # the hub on top of that
    full: int  # the same after weeks, every event kept
    idle: int  # left behind by one wake with nothing to do, at most
    day_instructions: int


def compiled(folder: Path) -> Path:
    """Compile the core to `folder`, with the guest beside it. Returns it."""
    (folder / "ports_guest.py").write_text(PORTS, encoding="ascii")
    return fill(folder)


@cache  # the table has what a test asks for by itself
def measure(wasm: Wasm, folder: Path, zones: int, wall_s: int) -> Footprint:
    """Measure a hub of so many zones, each with a probe, from a wall time on."""
    made = plan(zones, [row(1, 1, 3, run_s=600)], zone={"probe": 1})
    runs = []
    for days in (WARM_DAYS, WARM_DAYS + 10):
        code = GUEST.format(
            plan=made.pack(), wall_s=wall_s, zones=zones, supplies=len(made.supplies), days=days
        )
        runs.append(wasm.run(code, {"compiled": folder}, heap="1m"))
    words = runs[0].text.split()
    found = dict(zip(words[::2], map(int, words[1::2]), strict=True))
    day = (runs[1].instructions - runs[0].instructions) // 10
    return Footprint(found["code"], found["boot"], found["full"], found["idle"], day)


def table(wasm: Wasm, folder: Path) -> str:
    """The table for people."""
    lines = [HEAD]
    for zones in ZONES:
        before = measure(wasm, folder, zones, BEFORE_S)
        after = measure(wasm, folder, zones, AFTER_S)
        record = len(Record(zones).pack())
        lines.append(
            f"| {zones} | {record} | {after.code} | {after.boot} | {after.full}"
            f" | {before.idle}, later {after.idle} | {after.day_instructions // 10**6} M a day |"
        )
    return "\n".join(lines)


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as folder:
        wasm, where = Wasm(), compiled(Path(folder))
        print(table(wasm, where))
        print(owner.measure(wasm, owner.compiled(where)))


if __name__ == "__main__":
    main()
