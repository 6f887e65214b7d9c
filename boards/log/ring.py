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

from evenclay.controller import const

_FILES = const(8)
_MAGIC = b"El\1"  # the last is the version
_HEAD_BYTES = const(7)
_FRAME_BYTES = const(6)  # of an entry, beside its own bytes
_SPARE_BYTES = const(16)  # littlefs keeps some bytes of a block for itself


class Ring:
    """The files in a folder, `most_bytes` of them at the most.

    room: how long an entry may be that the newest file still takes; below 0: it takes none
    """

    room = -1
    _crc = 0

    def __init__(self, folder: str, most_bytes: int) -> None:
        """Raises OSError if the folder is not there and cannot be made."""
        self._folder = folder
        self._most_bytes = most_bytes // _FILES - _SPARE_BYTES
        try:
            os.mkdir(folder)
        except OSError:
            pass  # it is there, or else:
        self._numbers = sorted(map(int, filter(str.isdigit, os.listdir(folder))))

    def resume(self) -> bytes:
        """Go on in the newest file, if it is whole. Returns its first entry; b"" if it is not."""
        if not self._numbers:
            return b""
        with open(self._path(), "rb") as file:
            data = file.read()
        crc = crc32(data[:_HEAD_BYTES])
        first = b""
        at = _HEAD_BYTES
        while at < len(data):
            end = at + 2 + int.from_bytes(data[at : at + 2], "little")
            crc = crc32(data[at:end], crc)
            if data[end : end + 4] != crc.to_bytes(4, "little"):
                return b""
            first = first or data[at + 2 : end]
            at = end + 4
        if first:
            self._crc = crc
            self.room = self._most_bytes - at - _FRAME_BYTES
        return first

    def begin(self, data: "bytes | bytearray") -> None:
        """Begin a file with a first entry; the oldest goes for it. Raises OSError."""
        numbers = self._numbers
        if len(numbers) >= _FILES:
            os.remove("%s/%d" % (self._folder, numbers.pop(0)))
        number = numbers[-1] + 1 if numbers else 1
        numbers.append(number)
        head = _MAGIC + number.to_bytes(4, "little")
        self._crc = crc32(head)
        self.room = self._most_bytes - _HEAD_BYTES - _FRAME_BYTES
        self.add(data, head)

    def add(self, data: "bytes | bytearray", head: bytes = b"") -> None:
        """Add an entry, not longer than `room`, to the newest file, behind `head`.

        Returns once it would survive a power cut. Raises OSError; a new file is to be begun then.
        """
        room = self.room - len(data) - _FRAME_BYTES
        self.room = -1  # what is not written whole has nothing behind it
        whole = len(data).to_bytes(2, "little") + data
        crc = crc32(whole, self._crc)
        whole = head + whole + crc.to_bytes(4, "little")
        with open(self._path(), "ab") as file:
            if file.write(whole) != len(whole):
                raise OSError("log: full")
        if hasattr(os, "sync"):
            os.sync()
        self._crc = crc
        self.room = room

    def _path(self) -> str:
        return "%s/%d" % (self._folder, self._numbers[-1])
