"""Where record and plan are kept: files on flash, two copies each."""

import os
from errno import ENOENT

from evenclay.controller.ports import NOTE, PLAN, RECORD

_NAMES = {RECORD: "record", PLAN: "plan", NOTE: "note"}


class FileStore:
    """Files in `folder`, on a file system that keeps the old content until the new one is whole."""

    def __init__(self, folder: str) -> None:
        self.folder = folder

    def read(self, slot: int, copy: int) -> bytes:
        """Bytes last written to a copy; b"" if none. Raises OSError if they cannot be read."""
        try:
            with open(self._path(slot, copy), "rb") as file:
                data: bytes = file.read()
                return data
        except OSError as error:
            if error.args[0] != ENOENT:
                raise
            return b""

    def write(self, slot: int, copy: int, data: bytes) -> None:
        """Write a copy, whole, and return once it would survive a power cut."""
        with open(self._path(slot, copy), "wb") as file:
            if file.write(data) != len(data):
                raise OSError("store: full")
            file.flush()
        if hasattr(os, "sync"):
            os.sync()

    def _path(self, slot: int, copy: int) -> str:
        return "%s/%s.%d" % (self.folder, _NAMES[slot], copy)
