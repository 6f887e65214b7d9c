"""A log that lasts: entries in a ring of files, of which the oldest goes when a new one begins.

A file is called by its number, and numbers count up:

    magic "El", version (1 byte), number (4 bytes)
    entries, each: length (2 bytes), its bytes, CRC-32 (4 bytes)

Numbers are little-endian. The first CRC continues that of the file's first seven bytes, and each
other one the CRC before it. So an entry is good only where it was written, and behind whole ones.
What a power cut has torn is the end of a file; nothing is written behind it, and a new file begins.
`tools/log/frames.py` reads the files.
"""

import os
from binascii import crc32
from errno import EEXIST

from evenclay.controller._const import TYPE_CHECKING, const

if TYPE_CHECKING:
    from typing import IO

_FILES = const(8)
_MAGIC = b"El\1"  # the last is the version
_HEAD_BYTES = const(7)
_FRAME_BYTES = const(6)  # of an entry, beside its own bytes
_SPARE_BYTES = const(16)  # littlefs keeps some bytes of a block for itself
_PART_BYTES = const(64)  # are read at once


class Ring:
    """The files in a folder, `most_bytes` of them at the most; the folder is made if need be.

    room: how long an entry may be that the newest file still takes; below 0: it takes none
    """

    room = -1
    _crc = 0

    def __init__(self, folder: str, most_bytes: int) -> None:
        """Raises OSError if the folder cannot be made or listed."""
        self._folder = folder
        self._most_bytes = most_bytes // _FILES - _SPARE_BYTES
        try:
            os.mkdir(folder)
        except OSError as error:
            if error.args[0] != EEXIST:
                raise
        self._numbers = sorted([int(name) for name in os.listdir(folder) if name.isdigit()])

    def resume(self) -> bytes:
        """Go on in the newest file, if it is whole. Returns its first entry; b"" if it is not."""
        first = b""
        self.room = -1
        if not self._numbers:
            return first
        number = self._numbers[-1]
        with open(self._path(number), "rb") as file:
            head = file.read(_HEAD_BYTES)
            if head != _MAGIC + number.to_bytes(4, "little"):
                return b""
            crc = crc32(head)
            used = _HEAD_BYTES
            while True:
                start = file.read(2)
                if not start:
                    break
                length = int.from_bytes(start, "little")
                crc, begins = _crc_of(file, length, crc32(start, crc))
                if file.read(4) != crc.to_bytes(4, "little"):
                    return b""
                used += length + _FRAME_BYTES
                first = first or begins
        self._crc = crc
        self.room = self._most_bytes - used - _FRAME_BYTES
        return first

    def begin(self, data: "bytes | bytearray") -> None:
        """Begin a file with a first entry; the oldest goes for it. Raises OSError."""
        numbers = self._numbers
        while len(numbers) >= _FILES:
            os.remove(self._path(numbers[0]))
            numbers.pop(0)
        number = numbers[-1] + 1 if numbers else 1
        numbers.append(number)
        head = _MAGIC + number.to_bytes(4, "little")
        self._crc = crc32(head)
        self._write(head, data, self._most_bytes - _HEAD_BYTES)

    def add(self, data: "bytes | bytearray") -> None:
        """Add an entry, not longer than `room`, to the newest file.

        Returns once it would survive a power cut. Raises OSError; a new file is to be begun then.
        """
        self._write(b"", data, self.room + _FRAME_BYTES)

    def _write(self, head: bytes, data: "bytes | bytearray", room: int) -> None:
        self.room = -1  # what cannot be written whole has nothing behind it
        start = len(data).to_bytes(2, "little")
        crc = crc32(data, crc32(start, self._crc))
        whole = head + start + data + crc.to_bytes(4, "little")
        with open(self._path(self._numbers[-1]), "ab") as file:
            if file.write(whole) != len(whole):
                raise OSError("log: full")
            file.flush()
        if hasattr(os, "sync"):
            os.sync()
        self._crc = crc
        self.room = room - len(data) - 2 * _FRAME_BYTES

    def _path(self, number: int) -> str:
        return "%s/%d" % (self._folder, number)


def _crc_of(file: "IO[bytes]", length: int, crc: int) -> "tuple[int, bytes]":
    """CRC of the next bytes of a file, and the first of them."""
    begins = b""
    while length > 0:
        part = file.read(min(length, _PART_BYTES))
        if not part:
            break
        crc = crc32(part, crc)
        begins = begins or part
        length -= len(part)
    return crc, begins
