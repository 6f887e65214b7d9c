"""Draw who imports whom into DEVELOPERS.md: `make graph`.

An arrow runs from a folder to each folder that one of its modules imports. What can be reached by
another way is not drawn again, so that the drawing stays readable. Mermaid text: code hosts and
editors show it as a picture.
"""

import re
import sys
from graphlib import TopologicalSorter
from pathlib import Path

import grimp

PAGE = Path(__file__).resolve().parents[2] / "DEVELOPERS.md"
_PLACE = re.compile(r"(?<=<!-- import graph -->\n).*?(?=<!-- end of import graph -->)", re.DOTALL)
_WHOLE = ("controller", "boards")  # drawn as one room each
_DEEP = 2  # parts of a name that make a room: `sim.weather`


def room_of(module: str) -> str | None:
    """The folder that a module is drawn in; None for the package's own files."""
    parts = module.split(".")[1:]
    if not parts or parts[0] in _WHOLE:
        return parts[0] if parts else None
    return ".".join(parts[:_DEEP]) if len(parts) >= _DEEP else None


def arrows() -> set[tuple[str, str]]:
    """Pairs of rooms, importer and imported."""
    graph = grimp.build_graph("evenclay", cache_dir=None)
    found = set()
    for module in graph.modules:
        for imported in graph.find_modules_directly_imported_by(module):
            pair = (room_of(module), room_of(imported))
            if pair[0] and pair[1] and pair[0] != pair[1]:
                found.add((pair[0], pair[1]))
    return found


def direct(pairs: set[tuple[str, str]]) -> set[tuple[str, str]]:
    """Pairs without those that other pairs lead to as well.

    Raises: graphlib.CycleError where rooms import each other.
    """
    imports: dict[str, set[str]] = {}
    for importer, imported in pairs:
        imports.setdefault(importer, set()).add(imported)
    reached: dict[str, set[str]] = {}  # from each room, by any way
    for room in TopologicalSorter(imports).static_order():  # what is imported comes first
        near = imports.get(room, set())
        reached[room] = near.union(*(reached[other] for other in near))
    return {
        (importer, imported)
        for importer, imported in pairs
        if not any(imported in reached[other] for other in imports[importer])
    }


def drawing() -> str:
    """The drawing as Mermaid text."""
    lines = [f"    {importer} --> {imported}" for importer, imported in sorted(direct(arrows()))]
    return "\n".join(["```mermaid", "flowchart TD", *lines, "```", ""])


def page(text: str) -> str:
    """A page's text with the drawing in its place."""
    return _PLACE.sub(lambda _: drawing(), text)


if __name__ == "__main__":
    PAGE.write_text(page(PAGE.read_text("utf-8")), "utf-8")
    print(f"written: {PAGE.name}", file=sys.stderr)
