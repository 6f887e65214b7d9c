"""Writing files: whoever reads finds the old file or the new one, whole, and never parts of both.

Every command writes through `write`. However many processes write into one folder, each has names
of its own until its files are whole; the last to finish wins.
"""

import contextlib
import errno
import hashlib
import os
import shutil
from collections.abc import Iterator, Mapping
from pathlib import Path

written: list[Path] = []  # by this process, for whoever stops it half-way and wants to know


def write(files: Mapping[Path, str | bytes], *, counted: bool = True) -> None:
    """Write files, text as UTF-8, in the place of what has their names; make folders if need be.

    A file that was there before keeps its mode.

    All of them are written under other names beside their places first, and moved once all are
    whole. So a full disk changes no file and leaves none behind.
    counted: whether `written` names them, as it does an owner's; those of a cache it does not.
    Raises: OSError with the name of the file that could not be written.
    """
    parts: dict[Path, Path] = {}
    folders: list[Path] = []
    try:
        for path, data in files.items():
            with _naming(path):
                folders = [*_made_for(path), *folders]
                parts[path] = _write_part(path, data.encode() if isinstance(data, str) else data)
        for path, part in parts.items():
            with _naming(path):
                part.replace(_place(path))
                if counted:
                    written.append(path)
    except BaseException:
        for part in parts.values():
            with contextlib.suppress(OSError):
                part.unlink()
        for folder in folders:
            with contextlib.suppress(OSError):  # it holds what somebody else put there since
                folder.rmdir()
        raise


def _place(path: Path) -> Path:
    """Where a file stands in truth, so that a link to it stays a link."""
    return Path(os.path.realpath(path))


def _made_for(path: Path) -> list[Path]:
    """Make the folders that a file lacks; the innermost comes first."""
    missing = [folder for folder in _place(path).parents if not folder.exists()]
    for folder in reversed(missing):
        folder.mkdir(exist_ok=True)
    return missing


def _write_part(path: Path, data: bytes) -> Path:
    """Write data beside a file's place, under a name that nobody else has; gone where it fails."""
    place = _place(path)
    if place.exists() and not place.is_file():
        raise OSError(errno.EEXIST, "found a folder or a device, allowed a file")
    part = place.with_name(f".{os.urandom(8).hex()}.part")
    try:
        with open(part, "xb") as file:
            if place.exists():
                with contextlib.suppress(OSError):  # where modes are not kept at all
                    shutil.copymode(place, part)
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    except BaseException:
        with contextlib.suppress(OSError):
            part.unlink()
        raise
    return part


@contextlib.contextmanager
def _naming(path: Path) -> Iterator[None]:
    """Let an error name the file that its owner knows: a full disk names none."""
    try:
        yield
    except OSError as error:
        raise OSError(error.errno, error.strerror or str(error), str(path)) from None


def sha256(path: Path) -> str | None:
    """A file's hash in hexadecimal; None for what can be read but once, such as a pipe.

    Raises: OSError.
    """
    if not path.is_file():
        return None
    with open(path, "rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
