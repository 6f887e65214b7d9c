"""What a log costs on a board: bytes of its modules, and heap on a 32-bit build."""

from pathlib import Path

import pytest

from evenclay.tools.board.bundle import ROOT, compile_all, texts_of
from evenclay.tools.board.size import sizes
from tests.core import plan, row
from tests.device import footprint
from tests.device.board import fill
from tests.device.wasm import Wasm

# With console and light, the log may have 14 kB and 12 kB of heap.
MPY_MOST = 5800
HEAP_MOST = 8300
ZONES = 8

# A file system that keeps nothing: what it would hold is no part of the hub's heap.
GUEST = """
from ports_guest import Guest
made = {plan!r}
class File:
    def __enter__(self): return self
    def __exit__(self, *_): pass
    def write(self, data): return len(data)
    def flush(self): pass
class Os:
    written = 0
    def mkdir(self, path): pass
    def listdir(self, path): return []
    def remove(self, path): pass
def opened(path, mode):
    Os.written += 1
    return File()
from evenclay.controller.runner import Runner
guest = Guest(made, {wall_s}, {zones}, 1)
runner = None
gc.collect()
before = gc.mem_alloc()
if {logs}:
    import evenclay.boards.log.ring as ring
    ring.os = Os()
    ring.open = opened
    from evenclay.boards.log.recorder import Recorder
    gc.collect()
    print("code", gc.mem_alloc() - before)
    recorder = Recorder("/hub", 1)
    runner = recorder.boot(guest)
else:
    print("code", 0)
    runner = Runner(guest)
for day in range(10):
    guest.live(runner, 86400)
    gc.collect()
gc.collect()
print("lives", gc.mem_alloc() - before)
guest.now_s = guest.now_s + 1
runner.turn()
gc.collect()
before = gc.mem_alloc()
runner.turn()  # early: there is nothing to do
print("early", gc.mem_alloc() - before)
if {logs}:
    assert Os.written > 30 and recorder.failed is None, recorder.failed
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = fill(tmp_path_factory.mktemp("compiled"))
    (path / "ports_guest.py").write_text(footprint.PORTS, encoding="ascii")
    texts = texts_of([ROOT / "boards" / "__init__.py", *(ROOT / "boards" / "log").glob("*.py")])
    for name, data in compile_all(texts).items():
        (path / name).parent.mkdir(parents=True, exist_ok=True)
        (path / name).write_bytes(data)
    return path


def measured(wasm: Wasm, folder: Path, logs: bool) -> dict[str, int]:
    made = plan(ZONES, [row(1, 1, 3, run_s=600)], zone={"probe": 1})
    code = GUEST.format(plan=made.pack(), wall_s=footprint.BEFORE_S, zones=ZONES, logs=logs)
    words = wasm.run(code, {"compiled": folder}, heap="1m").text.split()
    return dict(zip(words[::2], map(int, words[1::2]), strict=True))


def test_a_log_is_small(wasm: Wasm, folder: Path) -> None:
    without, with_log = measured(wasm, folder, False), measured(wasm, folder, True)
    heap = with_log["lives"] - without["lives"]
    mpy = sum(sizes("boards/log").values())
    print(f"the log: {mpy} bytes of .mpy, {heap} bytes of heap, of which code {with_log['code']}")
    assert mpy <= MPY_MOST
    assert heap <= HEAP_MOST
    assert with_log["early"] == without["early"]  # it leaves nothing for the collector
