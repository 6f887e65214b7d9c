"""The module `time` of a board."""

_PERIOD = 1 << 30  # what boards wrap at


class module:
    """Bound to one world."""

    def __init__(self, world):
        self._world = world

    def ticks_us(self):
        return self._world.look() % _PERIOD

    def ticks_ms(self):
        return self._world.look() // 1000 % _PERIOD

    def ticks_diff(self, end, start):
        return ((end - start + _PERIOD // 2) & (_PERIOD - 1)) - _PERIOD // 2

    def ticks_add(self, ticks, delta):
        return (ticks + delta) % _PERIOD

    def sleep_ms(self, ms):
        self._world.forbid_in_irq("sleep")
        self._world.advance_us(ms * 1000)

    def sleep_us(self, us):
        self._world.forbid_in_irq("sleep")
        self._world.advance_us(us)
