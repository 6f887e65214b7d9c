"""Wall clocks, and how each of them loses the time."""

import fake_machine
from fake_machine.parts import ClockChip

# Seconds since 2000-01-01, counted by hand: 26 years hold 7 leap days; 2100 is past the end.
DAY_2026_S = (26 * 365 + 7) * 86400
DAY_2034_01_09_S = (34 * 365 + 9 + 8) * 86400
LEAP_DAY_2028_S = (28 * 365 + 7 + 31 + 28) * 86400
MOMENTS_S = (
    DAY_2026_S,
    DAY_2026_S + 86399,
    LEAP_DAY_2028_S + 45296,
    DAY_2034_01_09_S + 1,
    (1 << 30) + 7,  # past the small integers of a 32-bit board
    3155759999,  # the last second of 2099
)


def bench(port="rp2", ppm=0):
    """The clock chip on a bus. Returns world, chip, driver, clock."""
    world = fake_machine.power_on(port)
    import machine

    fake_machine.forget("evenclay.boards.drivers")
    from evenclay.boards.drivers.clock import Clock, Ds3231

    part = ClockChip(world, ppm=ppm)
    bus = machine.I2C(0, sda=machine.Pin(20), scl=machine.Pin(21), freq=100000)
    driver = Ds3231(bus)
    return world, part, driver, Clock(driver)


def test_a_new_chip_has_lost_the_time():
    for port in ("rp2", "esp32"):
        _, _, driver, clock = bench(port)
        assert driver.get() is None and clock.wall_s(0) is None


def test_set_and_read_back():
    for wall_s in MOMENTS_S:
        _, part, driver, clock = bench()
        clock.set(wall_s, 0)
        assert driver.get() == wall_s, wall_s
        assert clock.wall_s(5) == wall_s + 5
    clock.set(DAY_2026_S, 0)
    assert part.read(3, 1) == b"\x04"  # a Thursday, Monday being 1


def test_it_counts_over_midnight_and_new_year():
    world, _, driver, _ = bench()
    driver.set(DAY_2026_S - 2)
    world.advance_ms(5000)
    assert abs(driver.get() - (DAY_2026_S + 3)) <= 1


def test_a_stopped_oscillator_is_lost_until_set():
    _world, part, driver, clock = bench()
    clock.set(DAY_2026_S, 0)
    part.lose_power()
    assert driver.get() is None
    assert clock.wall_s(700) is None
    clock.set(DAY_2026_S + 60, 700)
    assert clock.wall_s(700) == DAY_2026_S + 60


def test_between_looks_uptime_counts():
    _world, part, _, clock = bench()
    clock.set(DAY_2026_S, 100)
    part.mute = 99  # nobody is asked
    assert clock.wall_s(100 + 599) == DAY_2026_S + 599
    assert part.mute == 99


def test_drift_is_taken_back_at_the_next_look():
    world, _, _, clock = bench(ppm=1000)
    clock.set(DAY_2026_S, 0)
    world.advance_ms(3600000)
    assert abs(clock.wall_s(3600) - (DAY_2026_S + 3603)) <= 1


def test_one_or_two_refusals_do_no_harm():
    for refusals in (1, 2):
        _, part, driver, _ = bench()
        driver.set(DAY_2026_S)
        part.mute = refusals
        assert driver.get() == DAY_2026_S


def test_a_mute_chip_is_done_without_for_a_day():
    _, part, driver, clock = bench()
    clock.set(DAY_2026_S, 0)
    part.mute = 1 << 30
    assert fake_machine.raises(OSError, driver.get)
    assert clock.wall_s(86400) == DAY_2026_S + 86400
    assert fake_machine.raises(OSError, clock.wall_s, 86401)
    part.mute = 0
    assert clock.wall_s(86500) is not None


def test_a_chip_that_is_mute_from_the_start_raises():
    _, part, _, clock = bench()
    part.mute = 1 << 30
    assert fake_machine.raises(OSError, clock.wall_s, 0)
    assert fake_machine.raises(OSError, clock.set, DAY_2026_S, 0)


def test_nonsense_is_not_a_time():
    for place, value in ((0, 0x5A), (0, 0x60), (4, 0x32), (5, 0x13), (4, 0x00), (2, 0x24)):
        _, part, driver, _ = bench()
        driver.set(DAY_2026_S)
        part.spoil(place, value)
        assert fake_machine.raises(OSError, driver.get), (place, value)


def test_twelve_hour_mode_was_not_set_by_us():
    _, part, driver, _ = bench()
    driver.set(DAY_2026_S)
    part.spoil(2, 0x41)
    assert driver.get() is None


def test_out_of_range_is_refused():
    _, part, _, clock = bench()
    for wall_s in (-1, 0, 700000000, 3155760000):
        assert fake_machine.raises(ValueError, clock.set, wall_s, 0)
    assert part.sets == 0


def test_alarm_pulls_its_line():
    world, part, driver, _ = bench()
    driver.set(DAY_2026_S)
    driver.arm(DAY_2026_S + 600)
    world.advance_ms(598000)
    assert part.line() == 1
    world.advance_ms(4000)
    assert part.line() == 0
    driver.disarm()
    assert part.line() == 1


def test_the_chips_own_clock():
    for port in ("rp2", "esp32"):
        world = fake_machine.power_on(port)
        import machine

        fake_machine.forget("evenclay.boards.drivers")
        from evenclay.boards.drivers.clock import ChipClock, Clock

        driver = ChipClock(machine.RTC())
        assert driver.get() is None
        world.advance_ms(86400000)  # it runs, but from nowhere
        assert driver.get() is None
        for wall_s in MOMENTS_S:
            Clock(driver).set(wall_s, 0)
            assert driver.get() == wall_s
        driver.set(DAY_2026_S)
        world.restart(3)
        world.advance_ms(10000)
        assert ChipClock(machine.RTC()).get() == DAY_2026_S + 10  # a reset keeps it
        world.restart(1, power_cut=True)
        assert ChipClock(machine.RTC()).get() is None


fake_machine.run_tests(globals())
