"""Print the size of each compiled module beside its budget: `make size`.

Bytes of `.mpy` at -O2, as a bundle holds them. Exit status 1 if one has outgrown its budget.
"""

import sys
import tomllib

from rich.console import Console
from rich.table import Table

from tools.bundle import ROOT, compile_all, joined, linked, texts_of

BUDGET = ROOT / "boards" / "size_budget.toml"
_FOLDERS = ("controller", "boards", "boards/drivers")
TOTAL = "controller"  # the whole of it has a budget of its own


def sizes() -> dict[str, int]:
    """Bytes of each module of the core, the drivers and what boards share, by itself; and of all
    the core, joined as a bundle has it."""
    texts = texts_of(path for folder in _FOLDERS for path in sorted((ROOT / folder).glob("*.py")))
    each = compile_all(linked(texts))
    found = {path.removesuffix(".mpy"): len(data) for path, data in each.items()}
    core = compile_all({p: text for p, text in joined(texts).items() if p.startswith(f"{TOTAL}/")})
    found[TOTAL] = sum(map(len, core.values()))
    return found


def budget() -> dict[str, int]:
    """Most bytes of each."""
    most: dict[str, int] = tomllib.loads(BUDGET.read_text("utf-8"))["most_bytes"]
    return most


def outgrown(found: dict[str, int], most: dict[str, int]) -> list[str]:
    """A line for each that is past its budget, has none, or is no more."""
    lines = []
    for name in sorted(found.keys() | most.keys()):
        if name not in found:
            lines.append(f"{name}: a budget, and no such module")
        elif name not in most:
            lines.append(f"{name}: {found[name]} bytes, and no budget")
        elif found[name] > most[name]:
            lines.append(f"{name}: {found[name]} bytes, allowed {most[name]}")
    return lines


def main() -> int:
    """Print the table. Returns the exit status."""
    found, most = sizes(), budget()
    table = Table()
    table.add_column("module")
    for name in ("bytes", "budget"):
        table.add_column(name, justify="right")
    for name, size in found.items():
        table.add_row(name, str(size), str(most.get(name, "none")))
    Console().print(table)
    lines = outgrown(found, most)
    for line in lines:
        print(line, file=sys.stderr)
    return 1 if lines else 0


if __name__ == "__main__":
    sys.exit(main())
