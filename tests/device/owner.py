"""What log, console, light and button cost on a 32-bit board.

Programs for the 32-bit build of `wasm.py`, in which a hub of 8 zones lives with all that or without
it. They collect between two looks at the console or two spells of turns, since that build cannot
while code runs: in loops at the top level that do next to nothing, or else the state of the loop
itself lies on the heap, where only a register knows of it.
"""

import itertools
from dataclasses import dataclass
from pathlib import Path

from evenclay.tools.board.bundle import ROOT
from evenclay.tools.board.bundle import words as bundled
from tests import core
from tests.device.board import fill
from tests.device.wasm import Wasm

ZONES = 8
# The collector takes some garbage for live, and another one each time: the least count is nearest.
LIVED_DAYS = (8, 9, 10)
TYPED = (  # each verb, and the answers that hold most
    "status",
    "log 64",
    "why zone 3",
    "run zone 2 5",
    "run zone 2 5 anyway",
    "stop",
    "alarms",
    "help",
    "hold 2 days",
    "release",
    "check zone 1 dry dry wet",
    "sample zone 1 3",
    "sample",
    "rain 3 mm",
    "clock",
    "clear",
)
AT = "/compiled"  # where the machine sees the folder
LOOKS = 400  # more than it takes to answer all of them
# A hub with the parts of it that are asked for.
PARTS = """
import select
from tests.device.memory import Ports
from evenclay.controller.ports import Seen
from evenclay.controller.runner import Runner

class Board(Ports):
    told = None
    def report(self, event):
        if self.told is not None: self.told.append(event)
        elif console: console.tell(event)
    def give(self, asked):
        self.asked.append(asked)
        self.told = told = []
        runner.turn()
        self.told = None
        return told

class Pin:
    IRQ_FALLING = IRQ_RISING = 1
    def irq(self, *_, **__): pass
    def value(self, level=1): return level

class File:  # of a file system that keeps nothing: what it would hold is no part of the hub's heap
    def __enter__(self): return self
    def __exit__(self, *_): pass
    def write(self, data): return len(data)

class Os:
    files = 0
    def mkdir(self, path): pass
    def listdir(self, path): return []
    def remove(self, path): pass

class Stream:  # stands for the module `select` as well, and for its poll
    POLLIN = 1
    text = ""
    def register(self, *_): pass
    def poll(self, *wait): return self.text if wait else self
    def read(self, _):
        char = self.text[0]
        self.text = self.text[1:]
        return char

stream = Stream()
said = [0]
def say(text):
    assert len(text) <= 80 and not text.startswith("That went wrong"), text
    said[0] += 1
def opened(path, mode):
    Os.files += 1
    return File()
def desk():
    from evenclay.boards.talk.words import Desk, file_text
    return Desk(runner, guest.up_s, guest.give, guest.look(), file_text("{at}/words"))

recorder = console = light = button = None
with open("{at}/plan.0", "rb") as file:
    made = file.read()
seen = Seen(8, 1)
seen.rain_um = 0
seen.temp_mc = 15000
guest = Board(made, 8, 1, seen)
gc.collect()
empty = gc.mem_alloc()
if {log}:
    from evenclay.boards.log import ring
    ring.os = Os()
    ring.open = opened
    from evenclay.boards.log.recorder import Recorder
    recorder = Recorder("/hub", 1)
    runner = recorder.boot(guest)
else:
    runner = Runner(guest)
gc.collect()
if {talk}:
    from evenclay.boards.talk import console as module
    module.select = stream
    from evenclay.boards.talk.button import Button
    from evenclay.boards.talk.light import Light
    console = module.Console(stream, say)
    console.serve(desk)
    light = Light(Pin())
    button = Button(Pin(), False)
    light.show(runner, 0)
    button.asked(0)
def live(for_s):
    end_s = guest.now_s + for_s
    while guest.now_s < end_s:
        guest.now_s = min(max(runner.turn(), guest.now_s + 1), end_s)
gc.collect()
"""
# It lives for some days, is talked to, and lives on.
HEAP = """
hours = [0]
def live_on():
    guest.weather(hours[0] // 24)
    live(3600)
    hours[0] += 1
    if console: console.untold = []
def look():
    if console: console.look()
def count(name):
    print(name, gc.mem_alloc() - empty)
def check():
    done = not stream.text and console._lines is None and said[0] > 100 if console else True
    assert done, stream.text
    assert not recorder or (Os.files > 20 and recorder.failed is None), recorder.failed
for hour in range(24 * {days}):
    live_on()
    gc.collect()
stream.text = {typed!r}
for number in range({looks}):
    look()
    gc.collect()
    count("peak")
for hour in range(12):
    live_on()
    gc.collect()
    count("rest")
check()
"""
LOADED = """
print("loaded", len([name for name in sys.modules if name.startswith("evenclay.boards")]))
"""
EARLY = """
live(86400)
gc.collect()
guest.now_s += 1
runner.turn()
gc.collect()
before = gc.mem_alloc()
runner.turn()  # there is nothing to do
print("early", gc.mem_alloc() - before)
"""
# What one look takes is told by two machines, of which one has looked once more.
LOOK = """
stream.text = {typed!r}
for look in range({looks}):
    console.look()
"""
# It is talked to each day, wherever that falls.
YEAR = """
typed = {typed!r}.split("|")
class Year:
    day = -1
    least = most = 0
    def turn(self):  # returns whether it is time to collect
        day = guest.now_s // 86400
        if day != self.day:
            self.day = day
            guest.weather(day)
            stream.text = typed[day % len(typed)] + "\\n" + typed[day * 7 % len(typed)] + "\\n"
        wake_s = runner.turn()
        light.show(runner, guest.now_s)
        if not console.look():
            guest.now_s = min(max(wake_s, guest.now_s + 1), (day + 1) * 86400)
        return gc.mem_free() < self.least - 8192
    def collected(self):
        self.least = gc.mem_free()
        self.most = max(self.most, gc.mem_alloc())
    def over(self):
        return guest.now_s >= {days} * 86400 and console._lines is None
    def tell(self):
        assert recorder.failed is None, recorder.failed
        print("most", self.most)
        print("said", said[0])
        print("opened", guest.opened)
year = Year()
year.collected()
for number in range(10000000):
    if year.turn() and {collects}:
        gc.collect()
        year.collected()
    if year.over(): break
year.tell()
"""


@dataclass(frozen=True)
class Owner:
    """Bytes on the heap of a 32-bit build that log, console, light and button take."""

    rest: int  # while nobody talks, once somebody has
    peak: int  # in the midst of the answer that holds most


def compiled(folder: Path) -> Path:
    """Compile what the programs load to `folder`, with a plan and the console's words beside it."""
    owns = [
        path.relative_to(ROOT).as_posix()
        for name in ("log", "talk")
        for path in sorted((ROOT / "boards" / name).glob("*.py"))
    ]
    fill(folder, "boards/__init__.py", "tests/device/memory.py", *owns)
    plan = core.plan(
        ZONES,
        [core.row(1, 1, 3, run_s=600)],
        zone={"probe": 1, "sensor": 1, "demand_ppt": 3000, "begin_um": 400000},
        estimate=1,
    )
    for number, part in enumerate(plan.zones):
        part.name = f"zone {number}"
    (folder / "plan.0").write_bytes(plan.pack())
    (folder / "words").write_bytes(bundled(("metric", "back")))
    return folder


def figures(text: str) -> dict[str, list[int]]:
    """The numbers that a program printed, by their names."""
    found: dict[str, list[int]] = {}
    for line in text.splitlines():
        name, number = line.split()
        found.setdefault(name, []).append(int(number))
    return found


def heap(wasm: Wasm, folder: Path, log: bool, talk: bool) -> Owner:
    """The whole live heap of a hub with or without its log, and console, light and button."""
    rests, peaks = [], []
    for days in LIVED_DAYS:
        code = (PARTS + HEAP).format(
            at=AT, log=log, talk=talk, days=days, typed="\n".join((*TYPED, "")), looks=LOOKS
        )
        found = figures(wasm.run(code, {"compiled": folder}, heap="2m").text)
        rests.append(min(found["rest"]))
        peaks.append(max(found["peak"]))
    return Owner(min(rests), min(peaks))


def measure(wasm: Wasm, folder: Path) -> Owner:
    """What log, console, light and button add to a hub that has none of them."""
    without = heap(wasm, folder, False, False)
    found = heap(wasm, folder, True, True)
    return Owner(found.rest - without.rest, found.peak - without.peak)


def loaded(wasm: Wasm, folder: Path, log: bool, talk: bool) -> int:
    """How many modules of a board a hub has loaded with or without its log, and its talk."""
    code = (PARTS + LOADED).format(at=AT, log=log, talk=talk)
    return figures(wasm.run(code, {"compiled": folder}, heap="2m").text)["loaded"][0]


def early(wasm: Wasm, folder: Path, log: bool) -> int:
    """What a turn leaves for the collector that finds nothing to do, bytes."""
    code = (PARTS + EARLY).format(at=AT, log=log, talk=False)
    return figures(wasm.run(code, {"compiled": folder}, heap="2m").text)["early"][0]


def looks(wasm: Wasm, folder: Path, typed: str, count: int) -> list[int]:
    """Instructions that each of the first looks takes after a line was typed.

    The first loads `words`, the second `verbs`, and each further one says a line.
    """
    greeted = 5  # looks that the greeting takes
    found = []
    for number in range(greeted, greeted + count + 1):
        code = (PARTS + LOOK).format(at=AT, log=False, talk=True, typed=typed + "\n", looks=number)
        found.append(wasm.run(code, {"compiled": folder}, heap="2m").instructions)
    return [after - before for before, after in itertools.pairwise(found)]


def year(days: int, at: str, collects: bool) -> str:
    """Return the program that lives with everything, and with somebody who types.

    collects: whether it collects by itself between two turns, as on the 32-bit build; it prints
    the most live heap then
    """
    typed = "|".join(TYPED)
    return (PARTS + YEAR).format(
        at=at, log=True, talk=True, typed=typed, days=days, collects=collects
    )
