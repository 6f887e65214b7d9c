"""What hangs on the pins: coils, a battery, contacts, probes, a clock chip, a thermometer."""

from fake_machine.onewire_bus import crc8


class Battery:
    """`open_mv` at rest, `inner_mohm` inside; a divider of top and bottom leads to an ADC pin."""

    def __init__(self, world, pin, open_mv, inner_mohm, top_ohm, bottom_ohm):
        self._world = world
        self.open_mv = open_mv
        self.inner_mohm = inner_mohm
        self._top_ohm = top_ohm
        self._bottom_ohm = bottom_ohm
        world.analog[pin] = self._pin_uv

    def mv(self):
        """Voltage at its poles now."""
        coil = self._world.coil
        if coil is None:
            return self.open_mv
        return self.open_mv * coil.ohm * 1000 // (coil.ohm * 1000 + self.inner_mohm)

    def _pin_uv(self):
        return self.mv() * 1000 * self._bottom_ohm // (self._top_ohm + self._bottom_ohm)


class Latch:
    """A latching valve on an H-bridge whose inputs hang on two pins with pull-downs.

    It begins open, as after a power cut in a run: nothing but a good closing pulse shuts it.
    """

    def __init__(
        self,
        world,
        opens,
        closes,
        battery=None,
        ohm=8,
        least_mv=5000,
        least_us=20000,
        most_us=200000,
    ):
        self.open = True
        self.ohm = ohm
        self.pulses = []  # (+1 open or -1 close, us)
        self.moves = []  # (us, whether it is open now)
        self._world = world
        self._opens = opens
        self._closes = closes
        self._battery = battery
        self._least_mv = least_mv
        self._least_us = least_us
        self._most_us = most_us
        self._drive = 0
        self._since_us = 0
        for number in (opens, closes):
            world.line(number).listeners.append(self._changed)

    def _changed(self):
        world = self._world
        opens, closes = world.level(self._opens), world.level(self._closes)
        if opens and closes:
            world.fault("H-bridge of pins %d and %d shorts" % (self._opens, self._closes))
        drive = opens - closes
        if drive != self._drive:
            if self._drive:
                self._end()
            self._drive = drive
            if drive:
                self._begin()

    def _begin(self):
        world = self._world
        if world.coil is not None:
            world.fault("two coils live at once")
        world.coil = self
        world.note("coil")
        self._since_us = since_us = world.us

        def burn():
            if self._drive and self._since_us == since_us:
                world.fault("coil of pins %d and %d burns" % (self._opens, self._closes))

        world.at_us(since_us + self._most_us, burn)

    def _end(self):
        world = self._world
        took_us = world.us - self._since_us
        strong = self._battery is None or self._battery.mv() >= self._least_mv
        world.coil = None
        self.pulses.append((self._drive, took_us))
        if took_us > self._most_us:
            world.fault("coil of pins %d and %d burns" % (self._opens, self._closes))
        if strong and took_us >= self._least_us:
            if self.open != (self._drive > 0):
                self.moves.append((world.us, not self.open))
            self.open = self._drive > 0


class Held:
    """A valve that is open while its pin is at the level that feeds it."""

    def __init__(self, world, pin, on=1):
        self._world = world
        self._pin = pin
        self._on = on

    @property
    def open(self):
        """Whether water runs: a floating pin, pulled to the shut level, feeds nothing."""
        level = self._world.line(self._pin).level()
        return level == self._on


class Contact:
    """A contact to ground that gives pulses, with bounces, on a pin that something pulls up.

    pulled: a resistor outside does it; else the pin has to
    """

    def __init__(self, world, pin, pulled=False):
        self._world = world
        self.pin = pin
        self._open_level = 1 if pulled else None
        world.drive(pin, self._open_level)

    def pulse(self, ms=20, bounces=0):
        """Close for some time, with bounces 1 ms apart on the way in and out."""
        for _ in range(bounces + 1):
            self._world.drive(self.pin, 0)
            self._world.advance_ms(1)
            if _ < bounces:
                self._world.drive(self.pin, self._open_level)
                self._world.advance_ms(1)
        self._world.advance_ms(ms)
        self._world.drive(self.pin, self._open_level)


class Capacitive:
    """A probe that gives `uv` once it has been fed for `warm_us`; fed by a pin, or always."""

    def __init__(self, world, pin, uv, power=None, warm_us=50000):
        self.uv = uv
        self._world = world
        self._power = power
        self._warm_us = warm_us
        self._fed_us = None
        world.analog[pin] = self._pin_uv
        if power is not None:
            world.line(power).listeners.append(self._changed)

    def _changed(self):
        fed = self._world.level(self._power)
        if not fed:
            self._fed_us = None
        elif self._fed_us is None:
            self._fed_us = self._world.us

    def fed(self):
        """Whether it draws current now."""
        return self._power is None or self._fed_us is not None

    def _pin_uv(self):
        if self._power is None:
            return self.uv
        if self._fed_us is None:
            return 0
        return self.uv * min(self._world.us - self._fed_us, self._warm_us) // self._warm_us


class Granular:
    """A granular matrix sensor of `ohm` from the node to `far`, `series_ohm` from node to `near`.

    `ohm` None is a cut wire. Direct current wears it: `balance_us` is time one way less the other.
    """

    def __init__(self, world, node, near, far, ohm, series_ohm, supply_uv=3300000):
        self.ohm = ohm
        self.balance_us = 0
        self.excited_us = 0
        self._world = world
        self._near = near
        self._far = far
        self._series_ohm = series_ohm
        self._supply_uv = supply_uv
        self._way = 0
        self._since_us = 0
        world.analog[node] = self._node_uv
        for number in (near, far):
            world.line(number).listeners.append(self._changed)

    def _changed(self):
        took_us = self._world.us - self._since_us
        self.balance_us += self._way * took_us
        self.excited_us += abs(self._way) * took_us
        self._way = self._world.level(self._near) - self._world.level(self._far)
        self._since_us = self._world.us

    def _node_uv(self):
        near = self._world.level(self._near) * self._supply_uv
        far = self._world.level(self._far) * self._supply_uv
        if self.ohm is None:
            return near
        return near + (far - near) * self._series_ohm // (self._series_ohm + self.ohm)


class ClockChip:
    """A DS3231: registers, oscillator-stop flag, alarm 1 and its line, drift, and no answers."""

    def __init__(self, world, address=0x68, ppm=0):
        self.mute = 0  # how many of the next accesses go unanswered
        self.ppm = ppm
        self.sets = 0
        self._world = world
        self._base = [0, 0, 0, 1, 1, 1, 0]  # 2000-01-01 00:00:00, BCD
        self._base_us = world.us
        self._control = 0x1C
        self._status = 0x80  # fresh from the factory it has never run
        self._alarm = [0, 0, 0, 0]
        self._before = (1, 0, 0, 0)  # day, hour, minute, second at the last look
        world.i2c[address] = self

    def lose_power(self):
        """Its cell is flat, and main power goes."""
        self._status |= 0x80
        self._base = [0, 0, 0, 1, 1, 1, 0]
        self._base_us = self._world.us

    def spoil(self, place, value):
        """Put nonsense in a time register."""
        self._base[place] = value

    def answers(self):
        if self.mute > 0:
            self.mute -= 1
            return False
        return True

    def read(self, register, size):
        self._see_alarm()
        registers = self._now() + self._alarm + [0, 0, 0, self._control, self._status, 0, 0, 0]
        return bytes(registers[register : register + size])

    def write(self, register, data):
        self._see_alarm()
        for place, value in enumerate(data):
            at = register + place
            if at < 7:
                if at == 0:
                    self._base = self._now()
                self._base[at] = value
                self._base_us = self._world.us
                self.sets += 1
            elif at < 11:
                self._alarm[at - 7] = value
            elif at == 14:
                self._control = value
            elif at == 15:
                self._status = value & (self._status | 0x7F)  # the flag can only be cleared

    def line(self):
        """Level of its open-drain interrupt line, pulled up."""
        self._see_alarm()
        fired = self._status & 1 and self._control & 5 == 5
        return 0 if fired else 1

    def _see_alarm(self):
        now = self._now()
        second, minute, hour, day = self._alarm
        before, self._before = self._before, (now[4], now[2], now[1], now[0])
        if before < (day, hour, minute, second) <= self._before:
            self._status |= 1

    def _now(self):
        """Time registers, BCD, counted on from what was set."""
        us = self._world.us - self._base_us
        seconds = (us + us // 1000000 * self.ppm) // 1000000
        second, minute, hour, weekday, day, month, year = [
            (value >> 4) * 10 + (value & 15) for value in self._base
        ]
        if seconds == 0:
            return list(self._base)
        second += seconds
        minute += second // 60
        hour += minute // 60
        days = hour // 24
        for _ in range(days):
            weekday = weekday % 7 + 1
            day += 1
            length = 31 - (month in (4, 6, 9, 11))
            if month == 2:
                length = 29 if year % 4 == 0 else 28
            if day > length:
                day, month = 1, month + 1
                if month > 12:
                    month, year = 1, year + 1
        fields = (second % 60, minute % 60, hour % 24, weekday, day, month, year)
        return [value // 10 << 4 | value % 10 for value in fields]


class Thermometer:
    """A DS18B20 at `temp_mc`; `spoilt` readings have a wrong bit, `shorted` ones only zeros."""

    def __init__(self, world, pin, temp_mc, rom=b"\x28\x01\x02\x03\x04\x05\x06\x07"):
        self.temp_mc = temp_mc
        self.spoilt = 0
        self.shorted = False
        self.absent = False
        self.converts = True
        self.rom = rom
        self._world = world
        self._raw = 0x0550  # 85 degrees until the first conversion is over
        self._done_us = None
        self._state = ""
        self._got = b""
        self._out = b""
        world.wires[pin] = self

    def reset(self):
        self._state = "rom"
        self._got = b""
        return not self.absent

    def write(self, byte):
        if self._state == "rom":
            self._state = {0xCC: "do", 0x55: "match"}.get(byte, "")
        elif self._state == "match":
            self._got += bytes([byte])
            if len(self._got) == 8:
                self._state = "do" if self._got == self.rom else ""
        elif self._state == "do" and byte == 0x44:
            self._done_us = (
                self._world.us + 750000 - 20000
            )  # the slowest that the data sheet allows
            self._state = ""
        elif self._state == "do" and byte == 0xBE:
            self._finish()
            self._out = self._pad()
            self._state = "out"

    def read(self):
        if self.shorted:
            return 0
        if self._state != "out" or not self._out:
            return 0xFF
        byte, self._out = self._out[0], self._out[1:]
        return byte

    def _finish(self):
        if self.converts and self._done_us is not None and self._world.us >= self._done_us:
            self._raw = self.temp_mc * 16 // 1000 & 0xFFFF
            self._done_us = None

    def _pad(self):
        pad = bytes([self._raw & 0xFF, self._raw >> 8, 75, 70, 0x7F, 0xFF, 0x0C, 0x10])
        pad += bytes([crc8(pad)])
        if self.spoilt > 0:
            self.spoilt -= 1
            pad = bytes([pad[0] ^ 0x04]) + pad[1:]
        return pad
