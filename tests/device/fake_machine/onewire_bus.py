"""The module `onewire` of a board: bytes and presence; the devices are in `parts`."""


def crc8(data):
    """CRC-8 of the 1-wire bus, polynomial 0x31 reflected: bit by bit."""
    crc = 0
    for byte in data:
        for _ in range(8):
            bit = (crc ^ byte) & 1
            crc >>= 1
            if bit:
                crc ^= 0x8C
            byte >>= 1
    return crc


def module(world):
    """The module, bound to one world."""

    class OneWire:
        SEARCH_ROM = 0xF0
        MATCH_ROM = 0x55
        SKIP_ROM = 0xCC

        def __init__(self, pin):
            self._number = pin.number

        def reset(self, required=False):
            world.forbid_in_irq("1-wire")
            world.advance_us(960)
            device = world.wires.get(self._number)
            return device is not None and device.reset()

        def writebyte(self, value):
            world.advance_us(520)
            device = world.wires.get(self._number)
            if device is not None:
                device.write(value)

        def readbyte(self):
            world.advance_us(520)
            device = world.wires.get(self._number)
            return 0xFF if device is None else device.read()

        def readinto(self, buf):
            for place in range(len(buf)):
                buf[place] = self.readbyte()

        def select_rom(self, rom):
            self.reset()
            self.writebyte(self.MATCH_ROM)
            for byte in rom:
                self.writebyte(byte)

        def crc8(self, data):
            return crc8(data)

    class Module:
        pass

    made = Module()
    made.OneWire = OneWire
    return made
