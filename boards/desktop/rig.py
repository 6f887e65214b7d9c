"""The desktop's rig for `evenclay.boards.conformance`: files in a folder below the current one.

A desktop has no valve, no sensor, no watchdog and no clock of its own; what hangs on those is not
shown.
"""

import os
import time

from evenclay.boards.desktop.ports import DesktopPorts
from evenclay.boards.rigs import Rig as Base
from evenclay.controller import TYPE_CHECKING
from evenclay.controller.civil import day_of

if TYPE_CHECKING:
    from evenclay.controller.ports import Ports

FOLDER = "conformance.tmp"


class Rig(Base):
    """Ports as `evenclay.boards.desktop.main` makes them."""

    reads = ()

    def __init__(self) -> None:
        self._said: "list[str]" = []

    def boot(self, power_cut: bool) -> "Ports":
        self._said = []
        try:
            os.mkdir(FOLDER)
        except OSError:
            pass  # from the boot before
        return DesktopPorts(FOLDER, self.zones, self.supplies, self._said.append)

    def wait(self, seconds: int) -> None:
        time.sleep(seconds)

    def utc_s(self) -> int:
        year, month, day, hour, minute, second = time.gmtime()[:6]
        return day_of(year, month, day) * 86400 + hour * 3600 + minute * 60 + second

    def order(self) -> "list[str]":
        said = [line.split() for line in self._said]
        return ["%s %s" % (words[2], words[1][:-1]) for words in said if words[0] == "valve"]

    def leave(self) -> None:
        """Take the folder away, also after a failure: what that wrote has been written over."""
        try:
            for name in os.listdir(FOLDER):
                os.remove(FOLDER + "/" + name)
            os.rmdir(FOLDER)
        except OSError:
            pass  # it could not even be made
