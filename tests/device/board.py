"""The core as it stands on a board: compiled, as a bundle holds it."""

from pathlib import Path

from evenclay.tools.board.bundle import ROOT, compile_all, texts_of


def fill(folder: Path, *programs: str) -> Path:
    """Compile the core, and programs that use it, below `folder`. Returns it."""
    sources = [*sorted((ROOT / "controller").glob("*.py")), *(ROOT / name for name in programs)]
    for path, data in compile_all(texts_of(sources)).items():
        file = folder / path
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(data)
    return folder
