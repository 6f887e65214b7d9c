"""This board's rig for `evenclay.boards.conformance`: it proves the pin map beside it.

On the board, with the spigot shut, type `from evenclay.boards.conformance import prove`, then
`from evenclay.boards.NAME import rig`, then `prove(rig.Rig())`. Every sensor of the pin map must
read. Add the hooks that your hardware allows; those of the base class say `not shown`.
"""

import sys
from time import sleep_ms

from machine import Pin

from evenclay.boards.common import assemble, leave, shut, stay
from evenclay.boards.drivers.note import Marked
from evenclay.boards.rigs import NotShown
from evenclay.boards.rigs import Rig as Base
from evenclay.controller import TYPE_CHECKING

from . import pins

if TYPE_CHECKING:
    from evenclay.boards.ports import Board, Sensors, Valve
    from evenclay.controller.ports import Ports


class Rig(Base):
    """Ports as `evenclay.boards.common.run` makes them, without the watchdog."""

    def __init__(self) -> None:
        self.board: "Board | None" = None
        self._valves: "list[Valve]" = []

    def boot(self, power_cut: bool) -> "Ports":
        stay()  # all checks may take longer than the board waits for its owner
        self._disarm()
        zones, masters = pins.valves(), pins.masters()
        shut(zones + masters)
        self.zones, self.supplies = len(zones), len(masters)
        self._valves = zones + masters
        self.held = int(isinstance(pins.VALVES[0], int))
        self.board = assemble(pins, zones, masters, Marked(pins.note()), sys.stdin)
        self.reads = there(self.board.sensors)
        return self.board

    def leave(self) -> None:
        self._disarm()
        shut(self._valves)
        leave(pins)

    def _disarm(self) -> None:
        if self.board is not None:
            for place in range(self.board.valves):
                self.board.deadline.disarm(place)

    def wait(self, seconds: int) -> None:
        for _ in range(seconds * 10):
            sleep_ms(100)

    def is_open(self, valve: int) -> "bool | None":
        wires = (pins.VALVES + pins.MASTERS)[valve]
        if wires is None:
            return None
        if not isinstance(wires, int):
            raise NotShown("is_open of a latching valve")  # its pins do not tell
        return Pin(wires).value() == pins.ON  # behind a chip of your own: ask that chip

    def fail(self, what: str, number: int) -> None:
        assert self.board is not None
        sensors = self.board.sensors
        part: object
        if what in ("open", "close"):
            part, method = self._valves[number], what
        elif what == "temp_mc":
            part, method = sensors.air, "mc"
        elif what == "battery_mv":
            part, method = sensors.battery, "mv"
        elif what == "soil_vwc_ppt":
            part, method = sensors.probes[number], "vwc_ppt"
        else:
            raise NotShown("fail " + what)
        setattr(part, method, mute)


def there(sensors: "Sensors") -> "tuple[tuple[str, int], ...]":
    """Every sensor that a pin map has, by its name in `Rig.reads`."""
    found: "list[tuple[str, object, int]]" = [
        ("rain_um", sensors.rain, 0),
        ("rain_wet", sensors.contact, 0),
        ("temp_mc", sensors.air, 0),
        ("battery_mv", sensors.battery, 0),
    ]
    found += [("soil_vwc_ppt", probe, zone) for zone, probe in enumerate(sensors.probes)]
    found += [("meter_ml", meter, supply) for supply, meter in enumerate(sensors.meters)]
    return tuple([(what, number) for what, sensor, number in found if sensor is not None])


def mute(*_: object) -> int:
    """Stand for a driver whose part does not answer."""
    raise OSError(5)
