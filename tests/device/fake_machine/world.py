"""Simulated time, pins and interrupts."""

try:
    from micropython import heap_lock, heap_unlock
except ImportError:  # CPython: no heap to lock; what the stand-ins forbid is forbidden all the same

    def heap_lock():
        pass

    def heap_unlock():
        pass


TRACE_MOST = 400
LOOK_US = 5  # a look at the ticks takes time, so a loop that waits comes to an end
FALLING = 4
RISING = 8


class Fault(Exception):
    """A driver did what hardware does not forgive."""


class Restart(BaseException):
    """The chip restarts: a reset, a watchdog or a deep sleep. `args[0]` says which."""


class PowerCut(BaseException):
    """Power went."""


class Line:
    """One pin, as the chip and as the outside see it."""

    def __init__(self):
        self.out = None  # level driven by the chip; None: it is an input
        self.pull = None
        self.outside = None  # level driven from outside; None: nothing drives it
        self.handler = None
        self.trigger = 0
        self.hard = False
        self.listeners = []  # functions called when the chip's level changes

    def level(self):
        """0 or 1; None: floating."""
        if self.out is not None:
            return self.out
        return self.pull if self.outside is None else self.outside


class World:
    """A board and what hangs on it. `us`: simulated time, which may begin just before a wrap."""

    def __init__(self, port, us=0):
        self.port = port
        self.us = us
        self.faults = []
        self.trace = []  # what the chip was asked for, in order: the first TRACE_MOST of it
        self.analog = {}  # pin number -> function that returns microvolts
        self.i2c = {}  # address -> device
        self.wires = {}  # pin number -> 1-wire device
        self.coil = None  # the coil that is live
        self.reset_cause = 1  # power on
        self.memory = b""  # RTC memory
        self.rtc_us = None  # when the chip's clock was set; None: not since power came
        self.rtc_base_s = 0
        self.rtc_ppm = 0
        self._start()

    def _start(self):
        """What every restart does."""
        self.lines = {}
        self.in_irq = False
        self.hard_irq = False
        self.asleep = False
        self.stuck_in_c = False  # soft handlers wait for the end of a call in C
        self.watchdog_us = None
        self.watchdog_ms = 0
        self._later = []
        self._order = 0
        self._due_us = 0  # nothing happens by itself before; it may be earlier than what does

    def restart(self, cause, power_cut=False):
        """Restart the chip: every pin floats, every timer and handler is gone."""
        held = self.lines
        self._start()
        for number, line in held.items():
            kept = self.line(number)
            kept.outside = line.outside
            kept.listeners = line.listeners
        for number in held:
            for listener in self.lines[number].listeners:
                listener()
        self.reset_cause = cause
        if power_cut:
            self.memory = b""
            self.rtc_us = None

    def line(self, number):
        """The line of a pin number."""
        if number not in self.lines:
            self.lines[number] = Line()
        return self.lines[number]

    def level(self, number):
        """What a pin is at, as seen from outside; a floating pin counts as pulled down there."""
        return self.line(number).level() or 0

    def stop_at(self, us, error):
        """Raise `error` once it is `us`, out of whatever lets time pass then."""

        def stop():
            raise error

        self.at_us(us, stop)

    def fault(self, text):
        """Keep and raise a fault."""
        self.faults.append(text)
        raise Fault(text)

    def forbid_in_irq(self, what):
        """A fault if a hard handler is running: `what` allocates, waits or takes a lock."""
        self.note(what)
        if self.in_irq and self.hard_irq:
            self.enter()
            try:
                self.fault(what + " in a hard interrupt")
            finally:
                self.leave()

    def note(self, what):
        """Keep what the chip was asked for."""
        if not self.hard_irq and len(self.trace) < TRACE_MOST:
            self.trace.append(what)

    # The heap is locked while a hard handler runs, but not inside the stand-ins.

    def enter(self):
        if self.hard_irq:
            heap_unlock()

    def leave(self):
        if self.hard_irq:
            heap_lock()

    # Time.

    def at_us(self, us, function):
        """Call `function` once it is `us`."""
        self._order += 1
        self._later.append((us, self._order, function))
        self._due_us = min(self._due_us, us)

    def feed_watchdog(self):
        """Have the watchdog bite after its time from now."""
        self.watchdog_us = self.us + self.watchdog_ms * 1000
        self._due_us = min(self._due_us, self.watchdog_us)

    def call_off(self, until_us):
        """Forget what was to happen until then."""
        self._later = [due for due in self._later if due[0] > until_us]

    def look(self):
        """A look at the ticks, of which a loop that waits takes very many. Returns the time."""
        us = self.us + LOOK_US
        if us < self._due_us:  # as of most looks; it allocates nothing
            self.us = us
            return us
        self.enter()
        self.advance_us(LOOK_US)
        self.leave()
        return self.us

    def advance_ms(self, ms):
        self.advance_us(ms * 1000)

    def advance_us(self, us):
        """Let time pass. Whatever is due happens on the way, but not inside a handler."""
        end_us = self.us + us
        if end_us < self._due_us:
            self.us = end_us
            return
        while not self.in_irq:
            due = self._next(end_us)
            if due is None:
                break
            self._later.remove(due)
            self.us = max(self.us, due[0])
            due[2]()
        self.us = max(self.us, end_us)
        self._check_watchdog()
        self._find_due()

    def _find_due(self):
        """Find out when something happens next by itself."""
        found = [due[0] for due in self._later]
        if self.watchdog_us is not None:
            found.append(self.watchdog_us)
        self._due_us = min(found) if found else self.us + 1000000

    def _next(self, end_us):
        found = None
        for entry in self._later:
            if entry[0] <= end_us and (found is None or entry[:2] < found[:2]):
                found = entry
        bites_us = end_us if found is None else found[0]
        if self.watchdog_us is not None and self.watchdog_us <= bites_us:
            self.us = self.watchdog_us
            self._check_watchdog()
        return found

    def _check_watchdog(self):
        if self.watchdog_us is not None and self.us >= self.watchdog_us:
            self.watchdog_us = None
            raise Restart("watchdog")

    # Interrupts.

    def drive(self, number, level):
        """Something outside sets a pin's level."""
        line = self.line(number)
        before = line.level()
        line.outside = level
        edge = RISING if line.level() else FALLING
        if before != line.level() and line.handler and line.trigger & edge and not self.asleep:
            self.interrupt(line.handler, line.pin, line.hard)

    def interrupt(self, handler, argument, hard):
        """Call a handler as the chip does."""
        if self.in_irq:
            self.at_us(self.us, lambda: self.interrupt(handler, argument, hard))
            return
        if self.stuck_in_c and not hard:
            return
        self.in_irq = True
        self.hard_irq = hard
        try:
            if hard:
                heap_lock()
                try:
                    handler(argument)
                finally:
                    heap_unlock()
            else:
                handler(argument)
        except Exception as error:
            self.faults.append("raised in an interrupt: %r" % (error,))
            raise
        finally:
            self.in_irq = False
            self.hard_irq = False
