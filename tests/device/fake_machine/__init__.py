"""A stand-in for a microcontroller: the modules `machine`, `time` and `onewire`, and what hangs on
the pins. It models what hardware does to a wrong driver, rather than saying yes.

Fault model. What a driver does wrong is kept in `world.faults` and raised as `Fault`:

- a pin at reset is a floating input: driving it before it is an output, or reading one that nothing
  drives or pulls, is a fault; so is an output on a pin that only reads, or that the flash uses
- both inputs of an H-bridge high is a short; a coil live too long burns; two coils live at once
  overload the supply; a pulse that is too short or too weak moves nothing, in silence
- an interrupt handler that allocates fails (under MicroPython the heap is really locked), as does
  one that sleeps, reads an ADC or a bus, or sets a timer up; hard handlers run even while a call in
  C never returns, soft ones do not
- an ADC clips, an ESP32's reads nothing below 100 mV, bends at the top and wants its attenuator set
- a bus device may not answer; a 1-wire device may answer wrongly, early, or with a shorted line
- clocks drift, stop and lose the time; a watchdog that is not fed resets, asleep or not
- light sleep stops timers and loses edges; deep sleep, reset and power cut lose everything but what
  the chip keeps

Not modelled: the time that a call takes (a look at the ticks takes 5 us), electrical noise, and
what a brown-out does to a chip that does not reset.

Time is simulated: it moves when a driver sleeps or looks at the ticks, and by `world.advance_ms`.
"""

import os
import sys

from fake_machine import chip, onewire_bus, ticks
from fake_machine.world import Fault, PowerCut, Restart, World

FOUND_LEAST = 1


def power_on(port="rp2", us=0):
    """A new board of a port, `rp2` or `esp32`, its pins floating. Returns its world."""
    world = World(port, us)
    install(world)
    return world


def install(world):
    """Put the stand-ins in the place of the port's modules."""
    sys.modules["machine"] = chip.module(world)
    sys.modules["time"] = ticks.module(world)
    sys.modules["onewire"] = onewire_bus.module(world)
    if hasattr(os, "sync"):  # it would write out all that this machine has not yet
        os.sync = _sync


def _sync():
    """The stand-in's files are there for as long as a test runs, power cuts and all."""


def forget(name):
    """Drop loaded modules below `name`, as a restart does."""
    for loaded in list(sys.modules):
        if loaded == name or loaded.startswith(name + "."):
            del sys.modules[loaded]


def raises(kind, function, *args):
    """Whether `function(*args)` raises `kind`."""
    try:
        function(*args)
    except kind:
        return True
    return False


def run_tests(names):
    """Run every function `test_...` of a script, and say how many passed on what."""
    found = sorted([name for name in names if name.startswith("test_")])
    assert len(found) >= FOUND_LEAST
    for name in found:
        print(name)
        names[name]()
    version = ".".join([str(part) for part in sys.implementation.version[:3]])
    print("%d passed on %s %s" % (len(found), sys.implementation.name, version))


__all__ = ["Fault", "PowerCut", "Restart", "World", "forget", "power_on", "raises", "run_tests"]
