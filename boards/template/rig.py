"""This board's rig for `boards.conformance`; on the board: `prove(rig.Rig())`, spigot shut.

Add the hooks that your hardware allows; those of the base class say `not shown`.
"""

import sys
from time import sleep_ms

from machine import Pin

from boards.common import assemble, shut
from boards.conformance import Rig as Base
from boards.drivers.note import Marked
from boards.template import pins
from controller._const import TYPE_CHECKING

if TYPE_CHECKING:
    from boards.common import Board, Valve
    from controller.ports import Ports


class Rig(Base):
    """Ports as `boards.common.run` makes them, without the watchdog."""

    zones = len(pins.VALVES)
    supplies = 1
    held = 1

    def __init__(self) -> None:
        self.board: "Board | None" = None
        self._valves: "list[Valve]" = []

    def boot(self, power_cut: bool) -> "Ports":
        if self.board is not None:
            for place in range(self.board.valves):
                self.board.deadline.disarm(place)
        zones, masters = pins.valves(), pins.masters()
        shut(zones + masters)
        self.board = assemble(pins, zones, masters, Marked(pins.note()), sys.stdin)
        return self.board

    def wait(self, seconds: int) -> None:
        for _ in range(seconds * 10):
            sleep_ms(100)

    def is_open(self, valve: int) -> bool:
        return Pin(pins.VALVES[valve]).value() == pins.ON
