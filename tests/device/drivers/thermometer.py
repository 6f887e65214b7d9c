"""A DS18B20, good and bad."""

import fake_machine
from fake_machine.parts import Thermometer


def bench(temp_mc, rom=None, port="rp2"):
    world = fake_machine.power_on(port)
    import machine

    fake_machine.forget("evenclay.boards.drivers")
    from onewire import OneWire

    from evenclay.boards.drivers.thermometer import Ds18b20

    part = Thermometer(world, 12, temp_mc)
    return world, part, Ds18b20(OneWire(machine.Pin(12)), rom)


def test_temperatures():
    # Sensor counts are sixteenths of a degree; the data sheet's own examples among them.
    for temp_mc in (125000, 25062, 10125, 500, 0, -500, -10125, -25062, -55000):
        for port in ("rp2", "esp32"):
            _, _, driver = bench(temp_mc, port=port)
            assert abs(driver.mc() - temp_mc) <= 63, temp_mc


def test_the_right_one_of_several():
    _, _, driver = bench(8000, rom=b"\x28\x01\x02\x03\x04\x05\x06\x07")
    assert driver.mc() == 8000
    _, _, driver = bench(8000, rom=b"\x28\xff\x02\x03\x04\x05\x06\x07")
    assert fake_machine.raises(OSError, driver.mc)


def test_one_spoilt_reading_is_read_again():
    _, part, driver = bench(8000)
    part.spoilt = 1
    assert driver.mc() == 8000


def test_spoilt_readings_are_refused():
    _, part, driver = bench(8000)
    part.spoilt = 2
    assert fake_machine.raises(OSError, driver.mc)
    assert driver.mc() == 8000


def test_two_convert_in_one_wait():
    world, _, first = bench(8000)
    import machine
    from onewire import OneWire

    from evenclay.boards.drivers.thermometer import CONVERT_MS, Ds18b20

    Thermometer(world, 13, 9000)
    second = Ds18b20(OneWire(machine.Pin(13)))
    first.convert()
    second.convert()
    world.advance_ms(CONVERT_MS)
    begin_us = world.us
    assert (first.mc(), second.mc()) == (8000, 9000)
    assert world.us - begin_us < 100000
    assert first.mc() == 8000  # and by itself again


def test_a_missing_sensor():
    _, part, driver = bench(8000)
    part.absent = True
    assert fake_machine.raises(OSError, driver.mc)


def test_a_shorted_line_has_a_good_checksum_and_is_refused():
    _, part, driver = bench(8000)
    part.shorted = True
    assert fake_machine.raises(OSError, driver.mc)


def test_85_degrees_before_the_first_conversion_is_refused():
    _, part, driver = bench(8000)
    part.converts = False  # it restarted meanwhile, as a sensor with a bad supply does
    assert fake_machine.raises(OSError, driver.mc)


fake_machine.run_tests(globals())
