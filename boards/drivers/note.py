"""A few bytes that outlive a restart: in RTC memory, or in a file where there is none.

A board keeps two things in them: a letter that says why it restarts, and the hub's note.
"""

import struct
from binascii import crc32

from evenclay.controller import TYPE_CHECKING, const

if TYPE_CHECKING:
    from typing import Protocol

    from machine import RTC

    class Note(Protocol):
        """A few bytes that outlive a restart."""

        def read(self) -> bytes: ...

        def write(self, data: bytes) -> None: ...


_HEAD = "<2sH"
_MAGIC = b"Ec"
# Why a board restarts.
NOTHING = b"-"  # nobody meant it to
SERVICE = b"s"  # the owner wants to work on it
SERVED = b"o"  # and is done
NEW_PLAN = b"p"
CRASH = b"c"  # an exception
NO_BOOT = b"n"  # an exception, before there was a hub
CACHE_MOST = const(512)  # an ESP32 has 2048 bytes of RTC memory, other chips less


class Cache:
    """A few bytes in RTC memory: they outlive a reset and a sleep, but not a power cut."""

    def __init__(self, rtc: "RTC") -> None:
        self._rtc = rtc

    def read(self) -> bytes:
        """What was kept; b"" if nothing, or if it is not as it was written."""
        raw = bytes(self._rtc.memory())
        if len(raw) < 8:
            return b""
        magic, size = struct.unpack_from(_HEAD, raw)
        if magic != _MAGIC or len(raw) != size + 8:
            return b""
        if struct.unpack_from("<I", raw, len(raw) - 4)[0] != crc32(raw[:-4]):
            return b""
        return raw[4:-4]

    def write(self, data: bytes) -> None:
        """Keep `data`, at most 512 bytes. Raises ValueError if it is more."""
        if len(data) > CACHE_MOST:
            raise ValueError("cache: too much")
        body = struct.pack(_HEAD, _MAGIC, len(data)) + data
        self._rtc.memory(body + struct.pack("<I", crc32(body)))


class FileNote:
    """A few bytes in a file, for boards without memory that outlives a reset."""

    def __init__(self, path: str) -> None:
        self._path = path

    def read(self) -> bytes:
        """What was kept; b"" if nothing."""
        try:
            with open(self._path, "rb") as file:
                data: bytes = file.read()
                return data
        except OSError:
            return b""

    def write(self, data: bytes) -> None:
        """Keep `data`; what stands there already is not written again."""
        if self.read() != data:
            with open(self._path, "wb") as file:
                file.write(data)


class Marked:
    """The hub's note, and before it why the board restarts. A note that fails is empty.

    mark: why the board restarted just now; told: the hub's note
    """

    def __init__(self, note: "Note") -> None:
        self._note = note
        try:
            data = note.read()
        except OSError:
            data = b""
        self.mark = data[:1] or NOTHING
        self.told = data[1:]
        if self.mark != NOTHING:
            self.keep(self.told)

    def keep(self, told: bytes, mark: bytes = NOTHING) -> bool:
        """Keep the hub's note, and why the board restarts. Returns whether that is kept."""
        self.told = told
        try:
            self._note.write(mark + told)
        except OSError:
            return False  # a restart matters more
        return True
