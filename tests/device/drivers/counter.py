"""Rain and flow by counted pulses, and a dry contact."""

import fake_machine
from fake_machine.parts import Contact

DAY_MS = 86400000


def bench(port="rp2", debounce_ms=100, us=0, pull=True):
    """A counter on a contact. Returns world, machine, counter, contact."""
    world = fake_machine.power_on(port, us)
    import machine

    fake_machine.forget("evenclay.boards.drivers")
    from evenclay.boards.drivers.counter import Counter

    contact = Contact(world, 14)
    pin = machine.Pin(14, machine.Pin.IN, machine.Pin.PULL_UP if pull else None)
    return world, machine, Counter(pin, debounce_ms, port == "rp2"), contact


def test_tips_are_counted_once_each():
    for port in ("rp2", "esp32"):
        for bounces in (0, 1, 5):
            world, _, counter, contact = bench(port)
            world.advance_ms(1000)
            for _ in range(7):
                contact.pulse(bounces=bounces)
                world.advance_ms(500)
            assert counter.count == 7
            assert world.faults == []


def test_the_bench_bounces():
    world, _, counter, contact = bench(debounce_ms=0)
    world.advance_ms(1000)
    contact.pulse(bounces=3)
    assert counter.count == 4


def test_a_tip_after_any_number_of_quiet_days_counts():
    # Ticks wrap at 12.4 days and differences change sign at 6.2.
    for days in (1, 6, 7, 9, 12, 13, 20, 40):
        world, _, counter, contact = bench()
        world.advance_ms(1000)
        contact.pulse()
        world.advance_ms(days * DAY_MS)
        contact.pulse()
        world.advance_ms(1000)
        contact.pulse()
        assert counter.count == 3


def test_across_the_wrap_of_ticks():
    world, _, counter, contact = bench(us=((1 << 30) - 500) * 1000)
    for _ in range(10):
        world.advance_ms(200)
        contact.pulse(bounces=2)
    assert counter.count == 10


def test_it_counts_while_the_program_is_stuck():
    world, _, counter, contact = bench()
    world.stuck_in_c = True
    world.advance_ms(1000)
    contact.pulse()
    assert counter.count == 1


def test_it_never_allocates_even_when_full():
    world, _, counter, contact = bench()
    world.advance_ms(1000)
    counter.count = 0x3FFFFFFF
    contact.pulse()
    assert counter.count == 0


def test_a_pin_without_a_pull_is_caught():
    assert fake_machine.raises(fake_machine.Fault, bench, "rp2", 100, 0, False)


def test_light_sleep_loses_pulses():
    """Why a board with a gauge or a meter stays awake."""
    world, machine, counter, _contact = bench()
    world.advance_ms(1000)
    world.at_us(world.us + 100000, lambda: world.drive(14, 0))
    machine.lightsleep(1000)
    assert counter.count == 0


def test_rain_and_flow():
    world, _, counter, contact = bench(debounce_ms=1)
    from evenclay.boards.drivers.counter import FlowMeter, RainGauge

    rain, flow = RainGauge(counter, 279), FlowMeter(counter, 450)
    assert rain.um() == 0 and flow.ml() == 0
    world.advance_ms(100)
    for _ in range(45):
        contact.pulse(ms=3)
        world.advance_ms(5)
    assert rain.um() == 45 * 279
    assert flow.ml() == 100
    counter.count = 450 * 1000 + 1
    assert flow.ml() == 1000002


def test_contact_believes_five_samples():
    world = fake_machine.power_on()
    import machine

    fake_machine.forget("evenclay.boards.drivers")
    from evenclay.boards.drivers.contact import Contact as Driver

    pin = machine.Pin(10, machine.Pin.IN, machine.Pin.PULL_UP)
    rain = Driver(pin)
    assert rain.wet() is False
    world.drive(10, 0)
    assert rain.wet() is True
    world.at_us(world.us + 7000, lambda: world.drive(10, None))  # it chatters
    assert rain.wet() is True
    assert rain.wet() is False
    other = Driver(pin, 1)
    assert other.wet() is True


def test_contact_that_chatters_from_the_start_says_nothing():
    world = fake_machine.power_on()
    import machine

    fake_machine.forget("evenclay.boards.drivers")
    from evenclay.boards.drivers.contact import Contact as Driver

    rain = Driver(machine.Pin(10, machine.Pin.IN, machine.Pin.PULL_UP))
    world.at_us(world.us + 7000, lambda: world.drive(10, 0))
    assert rain.wet() is None


fake_machine.run_tests(globals())
