"""The version of the core that stands beside this file."""

import os
from binascii import crc32

CONTROLLER = __file__.replace("\\", "/").rsplit("/", 3)[0] + "/controller"


def core_version() -> int:
    """What a hub's log calls the core that decides: 32 bits of its sources; 0: none are here.

    A bundle has no sources, so its start file names the version. The ends of lines do not count,
    since a clone may have others than a wheel.
    """
    found = 0
    try:
        for name in sorted(os.listdir(CONTROLLER)):
            if name.endswith(".py"):
                with open(CONTROLLER + "/" + name, "rb") as file:
                    found = crc32(name.encode() + file.read().replace(b"\r\n", b"\n"), found)
    except OSError:  # frozen into firmware
        return 0
    return found
