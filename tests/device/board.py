"""The core as it stands on a board: compiled, as a bundle holds it."""

import sys
from pathlib import Path

from evenclay.tools.board.bundle import ROOT, compile_all, texts_of

SOURCES = Path(sys.prefix) / "src"  # the package's sources as one folder of links, for MicroPython
# For whole boards from their sources: a tenth more than they need. The usual 2 MB take up to twice
# the time, because MicroPython looks for room among all the garbage that lies there.
HEAP = ("-X", "heapsize=768k")


def fill(folder: Path, *programs: str) -> Path:
    """Compile the core, and programs that use it, below `folder`. Returns it."""
    own = [name for name in programs if name.startswith("tests/")]
    texts = texts_of(
        [*sorted((ROOT / "controller").glob("*.py")), *(ROOT / n for n in programs if n not in own)]
    )
    texts |= {name: (ROOT / name).read_text("utf-8") for name in own}
    for path, data in compile_all(texts).items():
        file = folder / path
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(data)
    return folder
