"""The files of a hub's log, as `boards/log/ring.py` writes them: which entries are whole.

This module runs under MicroPython too.
"""

from binascii import crc32

_MAGIC = b"El\1"
_HEAD_BYTES = 7
_FRAME_BYTES = 6


class FrameError(ValueError):
    """A file that is none of a log, or one of another version."""


def entries(data: bytes, number: int) -> "tuple[list[bytes], bool]":
    """The whole entries of a file, and whether nothing but these stands in it.

    number: which file it is

    Raises:
        FrameError: the file begins like none of this version.
    """
    head = _MAGIC + number.to_bytes(4, "little")
    if data[:_HEAD_BYTES] != head:
        if head.startswith(data):
            return [], False  # torn as it began
        raise FrameError("found no log of version " + str(_MAGIC[2]))
    crc = crc32(head)
    at = _HEAD_BYTES
    found: list[bytes] = []
    while at < len(data):
        length = int.from_bytes(data[at : at + 2], "little")
        end = at + 2 + length
        crc = crc32(data[at:end], crc)
        if end + 4 > len(data) or crc.to_bytes(4, "little") != data[end : end + 4]:
            return found, False
        found.append(data[at + 2 : end])
        at = end + 4
    return found, True
