"""The module `machine` of a board."""

from fake_machine.world import FALLING, RISING, Restart

# Pins of the chip: which can be read as voltages, which only read, which the flash uses.
ANALOG = {"rp2": (26, 27, 28, 29), "esp32": (32, 33, 34, 35, 36, 37, 38, 39)}
INPUT_ONLY = {"rp2": (), "esp32": (34, 35, 36, 37, 38, 39)}  # and nothing pulls them inside
FLASH = {"rp2": (), "esp32": (6, 7, 8, 9, 10, 11)}
WATCHDOG_MOST_MS = {"rp2": 8388, "esp32": 0x7FFFFFFF}
TIMERS = {"rp2": (-1,), "esp32": (0, 1, 2, 3)}
# When a chip's clock starts, having lost power: 2021-01-01 or 2000-01-01.
CLOCK_START_S = {"rp2": 662774400, "esp32": 0}
FULL_UV = 3300000
RP2_SLEEP_MOST_MS = (1 << 32) // 1000  # its light sleep counts microseconds in 32 bits


def module(world):
    """The module, bound to one world."""
    port = world.port

    class Pin:
        IN = 0
        OUT = 1
        PULL_UP = 1
        PULL_DOWN = 2
        IRQ_FALLING = FALLING
        IRQ_RISING = RISING

        def __init__(self, number, mode=None, pull=None, value=None):
            world.forbid_in_irq("a new pin")
            if isinstance(number, Pin):
                number = number.number
            if number in FLASH[port]:
                world.fault("pin %d is the flash's" % number)
            self.number = number
            self._line = line = world.line(number)
            line.pin = self
            if mode == Pin.OUT:
                if number in INPUT_ONLY[port]:
                    world.fault("pin %d only reads" % number)
                line.out = value or 0
                self._tell()
            elif mode == Pin.IN:
                if pull is not None and number in INPUT_ONLY[port]:
                    world.fault("pin %d has no pull inside" % number)
                line.out = None
                line.pull = {None: None, Pin.PULL_UP: 1, Pin.PULL_DOWN: 0}[pull]
                self._tell()

        def value(self, level=None):
            world.enter()
            try:
                return self._value(level)
            finally:
                world.leave()

        def _value(self, level):
            line = self._line
            if level is None:
                if line.level() is None:
                    world.fault("pin %d floats, and is read" % self.number)
                return line.level()
            if line.out is None:
                world.fault("pin %d is no output, and is driven" % self.number)
            if line.out != level:
                line.out = level
                self._tell()
            return None

        def _tell(self):
            for listener in self._line.listeners:
                listener()

        def _irq(self, handler, trigger, hard):
            world.forbid_in_irq("irq set-up")
            line = self._line
            if line.level() is None:
                world.fault("pin %d floats, and is to interrupt" % self.number)
            line.handler = handler
            line.trigger = trigger
            line.hard = hard

        if port == "rp2":

            def irq(self, handler=None, trigger=FALLING | RISING, hard=False):
                self._irq(handler, trigger, hard)

        else:

            def irq(self, handler=None, trigger=FALLING | RISING):  # this port takes no `hard`
                self._irq(handler, trigger, False)

    class Converter:
        ATTN_0DB = 0
        ATTN_11DB = 3

        def __init__(self, pin, atten=0):
            world.forbid_in_irq("a new ADC")
            number = pin.number if isinstance(pin, Pin) else pin
            if number not in ANALOG[port]:
                raise ValueError("pin has no ADC")
            self._number = number
            self._attenuated = atten == Converter.ATTN_11DB

        def _uv(self):
            world.forbid_in_irq("ADC")
            world.advance_us(10)
            source = world.analog.get(self._number)
            if source is None:
                world.fault("nothing is wired to ADC pin %d" % self._number)
            return min(max(source(), 0), FULL_UV)

    class Rp2Converter(Converter):
        def read_u16(self):
            twelve = self._uv() * 4095 // FULL_UV
            return twelve << 4 | twelve >> 8

    class EspConverter(Converter):
        def _seen_uv(self):
            uv = self._uv()
            top_uv = 3100000 if self._attenuated else 950000
            if uv < 100000:
                return 0
            return min(uv, top_uv)

        def read_u16(self):
            seen_uv = self._seen_uv()
            if self._attenuated and seen_uv > 2600000:
                seen_uv = 2600000 + (seen_uv - 2600000) * 7 // 5  # it bends at the top
            full_uv = FULL_UV if self._attenuated else 950000
            twelve = min(seen_uv, full_uv) * 4095 // full_uv
            return twelve << 4 | twelve >> 8

        def read_uv(self):
            return self._seen_uv()

    class I2C:
        def __init__(self, bus, scl=None, sda=None, freq=400000):
            world.forbid_in_irq("a new bus")

        def readfrom_mem(self, address, register, size):
            return self._device(address).read(register, size)

        def writeto_mem(self, address, register, data):
            self._device(address).write(register, data)

        def _device(self, address):
            world.forbid_in_irq("I2C")
            world.advance_us(900)
            device = world.i2c.get(address)
            if device is None or not device.answers():
                raise OSError(5)
            return device

    class Timer:
        ONE_SHOT = 0
        PERIODIC = 1

        def __init__(self, number=-1):
            world.forbid_in_irq("a new timer")
            if number not in TIMERS[port]:
                raise ValueError("no such timer")
            self._runs = 0

        def _start(self, mode, period, callback, hard):
            world.forbid_in_irq("timer set-up")
            self._runs += 1
            self._mode = mode
            self._period_us = period * 1000
            self._callback = callback
            self._hard = hard
            self._again(self._runs)

        if port == "rp2":

            def init(self, mode=1, period=-1, callback=None, hard=False):
                self._start(mode, period, callback, hard)

        else:

            def init(self, mode=1, period=-1, callback=None):  # older firmware takes no `hard`
                self._start(mode, period, callback, False)

        def deinit(self):
            world.forbid_in_irq("timer set-up")
            self._runs += 1

        def _again(self, run):
            def fire():
                if run != self._runs:
                    return
                if self._mode == Timer.PERIODIC:
                    self._again(run)
                if not world.asleep:
                    world.interrupt(self._callback, self, self._hard)

            world.at_us(world.us + self._period_us, fire)

    class WDT:
        def __init__(self, id=0, timeout=5000):
            if timeout > WATCHDOG_MOST_MS[port]:
                raise ValueError("timeout too long")
            world.watchdog_ms = timeout
            self.feed()

        def feed(self):
            world.feed_watchdog()

    class Rtc:
        def datetime(self, fields=None):
            if fields is None:
                return _fields(self._now_s())
            world.rtc_us = world.us
            world.rtc_base_s = _seconds(fields)
            return None

        def _now_s(self):
            elapsed_us = world.us - (world.rtc_us or 0)
            elapsed_us += elapsed_us // 1000000 * world.rtc_ppm
            base_s = CLOCK_START_S[port] if world.rtc_us is None else world.rtc_base_s
            return base_s + elapsed_us // 1000000

    class EspRtc(Rtc):
        def memory(self, data=None):
            if data is None:
                return world.memory
            if len(data) > 2048:
                raise ValueError("buffer too long")
            world.memory = bytes(data)
            return None

    class Module:
        PWRON_RESET = 1
        WDT_RESET = 3

        def reset_cause(self):
            return world.reset_cause

        def reset(self):
            raise Restart("reset")

        def lightsleep(self, ms):
            world.forbid_in_irq("light sleep")
            world.asleep = True
            try:
                world.advance_us(ms * 1000)
            finally:
                world.asleep = False

        def deepsleep(self, ms):
            if ms >= RP2_SLEEP_MOST_MS:
                raise ValueError("sleep too long")
            self.lightsleep(ms)  # the watchdog goes on
            raise Restart("reset")

    class EspModule(Module):
        HARD_RESET = 2
        DEEPSLEEP_RESET = 4
        SOFT_RESET = 5

        def deepsleep(self, ms):
            world.forbid_in_irq("deep sleep")
            self.slept_ms = ms
            raise Restart("deep sleep")

    rp2 = port == "rp2"
    made = Module() if rp2 else EspModule()
    made.Pin = Pin
    made.ADC = Rp2Converter if rp2 else EspConverter
    made.I2C = I2C
    made.Timer = Timer
    made.WDT = WDT
    made.RTC = Rtc if rp2 else EspRtc
    return made


# Dates by counting days one by one: slow, and nothing like the arithmetic under test.

_LENGTHS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


def _length(year, month):
    leap = month == 2 and year % 4 == 0
    return _LENGTHS[month - 1] + (1 if leap else 0)


def _fields(seconds):
    days, second = divmod(seconds, 86400)
    weekday = (days + 5) % 7
    year, month = 2000, 1
    while days >= _length(year, month):
        days -= _length(year, month)
        month += 1
        if month > 12:
            year, month = year + 1, 1
    return (year, month, days + 1, weekday, second // 3600, second // 60 % 60, second % 60, 0)


def _seconds(fields):
    year, month, day, _, hour, minute, second, _ = fields
    days = day - 1
    at_year, at_month = 2000, 1
    while (at_year, at_month) < (year, month):
        days += _length(at_year, at_month)
        at_month += 1
        if at_month > 12:
            at_year, at_month = at_year + 1, 1
    return days * 86400 + hour * 3600 + minute * 60 + second
