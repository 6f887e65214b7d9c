"""Finds the compiled core in place of its sources, so that replays of many years take less time.

`tools/dev/compiling.py` compiles the core and what of the simulator it meets at every wake.
The result lies in a folder of the virtual environment, never beside the sources, with the digest of
what it was made from. Whoever imports `evenclay.tools` runs it as long as the sources are the same,
byte for byte; after any edit the sources run again. The environment variable EVENCLAY_COMPILED
names another folder, or none where it is empty.

Compiled code differs from the sources in two ways. It checks the types of arguments, so a command
of the owner that is no tuple raises an error before the hub can refuse it. And a method of a single
object cannot be replaced, as `Devices.cut_after` does. Nothing that `tools` runs does either.
"""

import os
import sys
import sysconfig
from collections.abc import Sequence
from hashlib import sha256
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec
from importlib.util import spec_from_file_location
from pathlib import Path

ROOT = Path(__file__).parents[2]
FOLDER = Path(sys.prefix) / "compiled"
VARIABLE = "EVENCLAY_COMPILED"
DIGEST = "digest"  # this file holds the digest of what was compiled, then the compiled files
SUFFIX = str(sysconfig.get_config_var("EXT_SUFFIX"))  # names the interpreter and its version
MADE_BY = ("tools/dev/compiling.py", "requirements-dev.lock")  # mypy's version is there


class _Finder(MetaPathFinder):
    """Finds compiled modules by their names."""

    def __init__(self, files: dict[str, Path]) -> None:
        self._files = files

    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: object = None
    ) -> ModuleSpec | None:
        file = self._files.get(fullname)
        return spec_from_file_location(fullname, file) if file else None


def folder() -> Path | None:
    """Return where to look for the compiled core; None where it must not be used."""
    named = os.environ.get(VARIABLE, str(FOLDER))
    return Path(named) if named else None


def sources() -> list[Path]:
    """Return what is compiled, and all modules whose types that relies on."""
    return sorted(path for name in ("controller", "sim") for path in (ROOT / name).rglob("*.py"))


def digest() -> str:
    """Return a hash of these sources, and of what compiles them."""
    hasher = sha256(SUFFIX.encode())
    for file in [*sources(), *(ROOT / name for name in MADE_BY)]:
        hasher.update(file.relative_to(ROOT).as_posix().encode() + file.read_bytes())
    return hasher.hexdigest()


def fresh(built: Path) -> bool:
    """Whether a folder holds the whole compiled core of just these sources."""
    try:
        made_of, *names = (built / DIGEST).read_text("utf-8").splitlines()
        return made_of == digest() and all((built / name).is_file() for name in names)
    except (OSError, ValueError):
        return False


def use() -> None:
    """Let the core be imported from its compiled modules, where these are fresh.

    It does nothing where one of them was imported from its source before: the two do not mix.
    """
    built = folder()
    if built is None or not fresh(built):
        return
    files = {}
    for file in built.rglob(f"*{SUFFIX}"):
        name = file.relative_to(built).as_posix().removesuffix(SUFFIX)
        files[name.replace("/", ".")] = file
    if files and files.keys().isdisjoint(sys.modules):
        sys.meta_path.insert(0, _Finder(files))


def in_use() -> bool:
    """Whether this process runs the compiled core."""
    return any(isinstance(finder, _Finder) for finder in sys.meta_path)
