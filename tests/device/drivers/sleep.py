"""Uptime over wraps, and sleep in chunks."""

import fake_machine

HOUR_MS = 3600000


def bench(port="rp2", light=True, us=0):
    world = fake_machine.power_on(port, us)
    import machine

    fake_machine.forget("evenclay.boards.drivers")
    from evenclay.boards.drivers.sleep import Sleeper, Uptime

    return world, machine, Sleeper(machine, light), Uptime()


def test_uptime_over_forty_days_and_three_wraps():
    for us in (0, ((1 << 30) - 700) * 1000):
        world, _, _, uptime = bench(us=us)
        began_us = world.us
        for _ in range(40 * 8):
            world.advance_ms(3 * HOUR_MS + 1)
            assert abs(uptime.s() * 1000000 - (world.us - began_us)) <= 1000100
        assert uptime.s() >= 40 * 86400


def test_uptime_never_goes_back():
    world, _, _, uptime = bench(us=((1 << 30) - 3) * 1000)
    last_s = 0
    for _ in range(3000):
        world.advance_ms(7)
        now_s = uptime.s()
        assert now_s >= last_s
        last_s = now_s
    assert last_s == 21


def test_chunks_are_shorter_than_the_watchdog():
    for light in (True, False):
        world, machine, sleeper, _ = bench(light=light)
        watchdog = machine.WDT(timeout=8000)
        began_us = world.us
        while world.us - began_us < 3600000000:
            sleeper.chunk(3600000, False)
            watchdog.feed()


def test_no_longer_than_asked():
    for light in (True, False):
        world, _, sleeper, _ = bench(light=light)
        sleeper.chunk(1000, False)
        assert 900000 <= world.us <= 1100000
        sleeper.chunk(0, False)
        sleeper.chunk(-5, False)
        assert world.us <= 1100000


def test_awake_with_a_valve_open():
    """Light sleep stops timers, and with them the deadline."""
    _world, machine, sleeper, _ = bench(light=True)
    ticks = []
    timer = machine.Timer(-1)
    timer.init(mode=timer.PERIODIC, period=100, callback=ticks.append)
    sleeper.chunk(60000, True)
    assert len(ticks) >= 9
    ticks.clear()
    sleeper.chunk(60000, False)
    assert ticks == []


def test_deep_sleep_with_a_valve_open_needs_a_hardware_wake():
    _, machine, sleeper, _ = bench("esp32")
    assert fake_machine.raises(OSError, sleeper.deep, 600, True, False)
    assert fake_machine.raises(fake_machine.Restart, sleeper.deep, 600, True, True)
    assert fake_machine.raises(fake_machine.Restart, sleeper.deep, 600, False, False)
    assert machine.slept_ms == 600000


def test_deep_sleep_is_refused_where_the_watchdog_outlasts_it():
    world, machine, sleeper, _ = bench("rp2")
    assert not sleeper.can_deep
    for wait_s in (5, 600, 10800):
        assert fake_machine.raises(OSError, sleeper.deep, wait_s, False, False)
    assert "light sleep" not in world.trace
    # Why: this is what would come of it.
    machine.WDT(timeout=8000)
    assert fake_machine.raises(ValueError, machine.deepsleep, 10800000)
    began_us = world.us
    assert fake_machine.raises(fake_machine.Restart, machine.deepsleep, 600000)
    assert world.us - began_us < 9000000  # by the watchdog, not at the sleep's end


def test_a_watchdog_that_is_not_fed_restarts():
    world, machine, _, _ = bench()
    assert fake_machine.raises(ValueError, lambda: machine.WDT(timeout=8389))
    machine.WDT(timeout=8000)
    world.advance_ms(7900)
    assert fake_machine.raises(fake_machine.Restart, world.advance_ms, 200)


fake_machine.run_tests(globals())
