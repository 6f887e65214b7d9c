"""The deadline shuts a valve when nothing else does."""

import fake_machine
from fake_machine.parts import Held, Latch


def bench(port="rp2"):
    """Two latching valves and their deadline. Returns world, machine, valves, latches, deadline."""
    world = fake_machine.power_on(port)
    import machine

    fake_machine.forget("evenclay.boards.drivers")
    from evenclay.boards.drivers.deadline import Deadline
    from evenclay.boards.drivers.valves import Coils, LatchingValve

    coils = Coils()
    valves, latches = [], []
    for opens in (16, 18):
        latches.append(Latch(world, opens, opens + 1))
        pins = [machine.Pin(n, machine.Pin.OUT, value=0) for n in (opens, opens + 1)]
        valves.append(LatchingValve(pins[0], pins[1], coils))
    timer = machine.Timer(-1 if port == "rp2" else 0)
    deadline = Deadline(timer, valves, port == "rp2")
    for valve in valves:
        valve.close()
    return world, machine, valves, latches, deadline


def open_one(valves, deadline, deadline_s):
    deadline.arm(0, deadline_s)
    valves[0].open()


def test_not_before_and_soon_after():
    for port in ("rp2", "esp32"):
        world, _, valves, latches, deadline = bench(port)
        open_one(valves, deadline, 600)
        began_us = world.us
        while latches[0].open:
            world.advance_ms(100)
            assert world.us - began_us < 603000000
        assert world.us - began_us >= 600000000
        world.advance_ms(5000)
        assert deadline.fired == 2 and not deadline.armed()
        assert [way for way, _ in latches[0].pulses[-2:]] == [-1, -1]
        assert world.faults == []


def test_while_the_main_loop_spins():
    for port in ("rp2", "esp32"):
        world, _, valves, latches, deadline = bench(port)
        from time import ticks_ms

        open_one(valves, deadline, 5)
        turns = 0
        while latches[0].open:  # stuck in a loop of its own: it never looks at the hub again
            ticks_ms()
            world.advance_ms(1)
            turns += 1
            assert turns < 10000


def test_hard_timers_fire_while_a_call_in_c_never_returns():
    world, _, valves, latches, deadline = bench("rp2")
    open_one(valves, deadline, 5)
    world.stuck_in_c = True
    world.advance_ms(8000)
    assert not latches[0].open

    # Without hard timers nothing in Python can run then: the watchdog is what is left.
    world, machine, valves, latches, deadline = bench("esp32")
    open_one(valves, deadline, 5)
    machine.WDT(timeout=8000)
    world.stuck_in_c = True
    assert fake_machine.raises(fake_machine.Restart, world.advance_ms, 9000)
    assert latches[0].open


def test_disarmed_it_leaves_alone():
    world, _, valves, latches, deadline = bench()
    open_one(valves, deadline, 60)
    world.advance_ms(30000)
    valves[0].close()
    deadline.disarm(0)
    pulses = len(latches[0].pulses)
    world.advance_ms(120000)
    assert len(latches[0].pulses) == pulses and deadline.fired == 0


def test_each_valve_has_its_own():
    world, _, valves, latches, deadline = bench()
    deadline.arm(0, 100)
    valves[0].open()
    deadline.arm(1, 10)
    valves[1].open()
    world.advance_ms(20000)
    assert latches[0].open and not latches[1].open
    deadline.disarm(1)
    world.advance_ms(90000)
    assert not latches[0].open


def test_a_coil_left_live_is_cut_first():
    """The main program hangs inside a pulse of another valve, the coil live."""
    world, machine, valves, latches, deadline = bench()
    open_one(valves, deadline, 3)
    world.line(19).listeners.clear()  # that coil is of a kind that stands it
    coils = valves[0]._coils
    pin = machine.Pin(19, machine.Pin.OUT, value=0)
    coils.live = pin
    pin.value(1)
    world.advance_ms(7000)
    assert world.line(19).level() == 0
    assert not latches[0].open
    assert world.faults == []


def test_a_coil_in_use_is_waited_for():
    world, _, valves, latches, deadline = bench()
    open_one(valves, deadline, 3)
    world.advance_ms(3920)  # the fourth tick comes while the other valve is pulsed
    valves[1].close()
    assert latches[0].open
    world.advance_ms(1000)
    assert not latches[0].open
    assert [way for way, _ in latches[1].pulses] == [-1, -1, -1, -1]
    world.advance_ms(5000)
    assert not deadline.armed()
    assert world.faults == []


def test_two_at_once_are_shut_one_after_the_other():
    world, _, valves, latches, deadline = bench()
    for valve in (0, 1):
        deadline.arm(valve, 5)
        valves[valve].open()
    world.advance_ms(10000)
    assert not latches[0].open and not latches[1].open
    assert world.faults == []


def test_held_valves():
    world = fake_machine.power_on()
    import machine

    from evenclay.boards.drivers.deadline import Deadline
    from evenclay.boards.drivers.valves import HeldValve

    water = Held(world, 2)
    valve = HeldValve(machine.Pin(2, machine.Pin.OUT, value=0))
    deadline = Deadline(machine.Timer(-1), [valve], True)
    deadline.arm(0, 60)
    valve.open()
    world.advance_ms(59000)
    assert water.open
    world.advance_ms(3000)
    assert not water.open


def test_esp32_knows_no_hard_timers():
    """Older firmware does not even know the name: every other test here arms without it."""
    _world, machine, valves, _, _ = bench("esp32")
    from evenclay.boards.drivers.deadline import Deadline

    wrong = Deadline(machine.Timer(1), valves, True)
    assert fake_machine.raises(TypeError, wrong.arm, 0, 5)


fake_machine.run_tests(globals())
