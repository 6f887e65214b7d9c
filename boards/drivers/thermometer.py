"""Temperature by a DS18B20 on a 1-wire bus. Every reading's checksum is checked."""

from time import sleep_ms

from evenclay.controller import TYPE_CHECKING, const

if TYPE_CHECKING:
    from typing import Protocol

    class Bus(Protocol):
        """What is needed of a 1-wire bus: the module `onewire` on every port has it."""

        SKIP_ROM: int

        def reset(self) -> bool: ...

        def writebyte(self, value: int) -> None: ...

        def readinto(self, buf: bytearray) -> None: ...

        def select_rom(self, rom: bytes) -> None: ...

        def crc8(self, data: bytearray) -> int: ...


_CONVERT = const(0x44)
_READ = const(0xBE)
CONVERT_MS = const(750)  # at 12 bits
_TRIES = const(2)
_POWER_ON = b"\x50\x05"  # 85 degrees: what stands there before the first conversion


class Ds18b20:
    """One sensor on `bus`; `rom` names it where there are several, None where it is alone."""

    def __init__(self, bus: "Bus", rom: "bytes | None" = None) -> None:
        self._bus = bus
        self._rom = rom
        self._pad = bytearray(9)
        self._begun = False

    def convert(self) -> None:
        """Begin a conversion, to be read by `mc` CONVERT_MS later: so several need one wait.

        Raises OSError without an answer.
        """
        self._select()
        self._bus.writebyte(_CONVERT)
        self._begun = True

    def mc(self) -> int:
        """Temperature, thousandths of a degree Celsius. Raises OSError without a good reading."""
        for _ in range(_TRIES):
            if not self._begun:
                self.convert()
                sleep_ms(CONVERT_MS)
            self._begun = False
            self._select()
            self._bus.writebyte(_READ)
            self._bus.readinto(self._pad)
            if self._good():
                raw = self._pad[0] | self._pad[1] << 8
                if raw & 0x8000:
                    raw -= 0x10000
                return raw * 1000 // 16
        raise OSError("thermometer: bad reading")

    def _select(self) -> None:
        bus = self._bus
        if not bus.reset():
            raise OSError("thermometer: no answer")
        if self._rom is None:
            bus.writebyte(bus.SKIP_ROM)
        else:
            bus.select_rom(self._rom)

    def _good(self) -> bool:
        """Whether the scratchpad is whole; nine zeros, a shorted line, have a good checksum too."""
        pad = self._pad
        if self._bus.crc8(pad) or not pad[4] & 0x1F:
            return False
        return bytes(pad[:2]) != _POWER_ON
