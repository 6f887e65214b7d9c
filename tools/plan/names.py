"""Names by which the results of several files are told apart."""

from collections.abc import Sequence
from pathlib import Path

from evenclay.tools.plan.workers import SweepError


def refuse_twice(what: str, names: Sequence[str]) -> None:
    """Refuse a name that comes twice: its results could not be told apart. Raises: SweepError."""
    for name in names:
        if names.count(name) > 1:
            raise SweepError(f"{what}: found {name} twice, allowed each once")


def names_of(what: str, files: Sequence[str]) -> list[str]:
    """Name each file by its stem, with as many folders before it as it takes to tell them apart.

    what: the option or argument that names the files. Raises: SweepError for a file that comes
    twice.
    """
    paths = [Path(file).resolve() for file in files]
    refuse_twice(what, [str(path) for path in paths])
    bare = [path.with_suffix("").parts for path in paths]

    def name(path: Path, parts: tuple[str, ...]) -> str:
        for length in range(1, len(parts)):
            tail = parts[-length:]
            if [other[-length:] for other in bare].count(tail) == 1:
                return "/".join(tail)
        return path.name  # another's differs by its suffix alone

    return [name(*pair) for pair in zip(paths, bare, strict=True)]
