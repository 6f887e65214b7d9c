"""Print the size of each compiled module, and of folders beside their budgets: `make size`.

Bytes of `.mpy`, as a bundle holds them. Exit status 1 if folders have outgrown their budget.
"""

import sys
import tomllib

from rich.console import Console
from rich.table import Table

from evenclay.tools.board.bundle import ROOT, compile_all, texts_of

BUDGET = ROOT / "boards" / "size_budget.toml"


def sizes(folders: str) -> dict[str, int]:
    """Bytes of each module in a folder, or in several with spaces between, by its path."""
    paths = [path for name in folders.split() for path in sorted((ROOT / name).glob("*.py"))]
    each = compile_all(texts_of(paths))
    return {path.removesuffix(".mpy"): len(data) for path, data in each.items()}


def budget() -> dict[str, int]:
    """The most bytes of the modules of folders: one, or several with spaces between them."""
    read = tomllib.loads(BUDGET.read_text("utf-8"))
    most: dict[str, int] = read["most_bytes"] | read["most_bytes_together"]
    return most


def main() -> int:
    """Print the table. Returns the exit status."""
    table = Table()
    table.add_column("module")
    for name in ("bytes", "budget"):
        table.add_column(name, justify="right")
    outgrown = []
    for folder, most in budget().items():
        found = sizes(folder)
        if " " not in folder:
            for name, size in found.items():
                table.add_row(name, str(size), "")
        total = sum(found.values())
        table.add_row(f"{folder} together", str(total), str(most), end_section=True)
        if total > most:
            outgrown.append(f"{folder}: {total} bytes, allowed {most}")
    Console().print(table)
    for line in outgrown:
        print(line, file=sys.stderr)
    return 1 if outgrown else 0


if __name__ == "__main__":
    sys.exit(main())
