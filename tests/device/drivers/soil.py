"""Soil sensors: published figures, and what open, short and cut wires look like."""

import fake_machine
from fake_machine.parts import Capacitive, Granular

# kPa at R in ohm and T in thousandths of a degree, computed from the published equation.
# Source: Shock, Barnum & Seddigh 1998, Irrigation Association proceedings, pp. 139-146.
PUBLISHED = (
    (1000, 24000, 10420),
    (5000, 10000, 24260),
    (5000, 24000, 30440),
    (5000, 30000, 34180),
    (10000, 24000, 59050),
    (15000, 24000, 92580),
    (20000, 24000, 132430),
    (600, 24000, 8540),
)
TABLE = ((24000, 480), (30000, 380), (38000, 250), (46000, 120), (52000, 0))
SUCTION_TABLE = ((0, 380), (10, 365), (33, 347), (100, 324), (200, 310))
SERIES_OHM = 10000
RANGE_OHM = (500, 25000)  # of this test's sensor


def capacitive(port, uv, power=None, drift_ppm=0):
    world = fake_machine.power_on(port)
    import machine

    fake_machine.forget("evenclay.boards.drivers")
    from evenclay.boards.drivers.soil import CapacitiveProbe

    number = 27 if port == "rp2" else 33
    part = Capacitive(world, number, uv, power)
    pin = None if power is None else machine.Pin(power, machine.Pin.OUT, value=0)
    adc = machine.ADC(machine.Pin(number), atten=machine.ADC.ATTN_11DB)
    return world, part, CapacitiveProbe(adc, TABLE, drift_ppm, pin)


def granular(port, ohm, table=SUCTION_TABLE):
    world = fake_machine.power_on(port)
    import machine

    fake_machine.forget("evenclay.boards.drivers")
    from evenclay.boards.drivers.soil import GranularMatrix

    number = 28 if port == "rp2" else 33
    part = Granular(world, number, 14, 15, ohm, SERIES_OHM)
    near = machine.Pin(14, machine.Pin.OUT, value=0)
    far = machine.Pin(15, machine.Pin.OUT, value=0)
    adc = machine.ADC(machine.Pin(number), atten=machine.ADC.ATTN_11DB)
    return world, part, GranularMatrix(adc, near, far, SERIES_OHM, RANGE_OHM, table)


def test_published_suction():
    from evenclay.boards.drivers.soil import suction_pa

    for ohm, temp_mc, pa in PUBLISHED:
        assert abs(suction_pa(ohm, temp_mc) - pa) <= 5, (ohm, temp_mc)


def test_suction_out_of_range():
    """The sensor's own range counts, and none of the driver's."""
    from evenclay.boards.drivers.soil import suction_pa

    for ohm, sound in ((450, False), (550, True), (24000, True), (26000, False)):
        _, _, sensor = granular("rp2", ohm)
        assert sensor.ohm() is not None
        assert (sensor.suction_kpa(24000) is not None) == sound, ohm
    assert suction_pa(30000, 60000) is None  # the denominator is gone


def test_resistance_through_the_circuit():
    for ohm in (600, 1000, 5000, 10000, 15000, 20000):
        world, _part, sensor = granular("rp2", ohm)
        assert abs(sensor.ohm() - ohm) <= ohm // 100 + 5, ohm
        assert world.faults == []


def test_no_direct_current():
    world, part, sensor = granular("rp2", 5000)
    for _ in range(10):
        sensor.ohm()
    assert part.excited_us > 50000
    assert abs(part.balance_us) * 1000 <= part.excited_us
    assert world.level(14) == 0 and world.level(15) == 0  # nothing flows at rest


def test_suction_and_water_content():
    _, _, sensor = granular("rp2", 10000)
    assert abs(sensor.suction_kpa(24000) - 59) <= 1
    assert abs(sensor.vwc_ppt(24000) - 338) <= 2  # between 347 at 33 kPa and 324 at 100
    cold, warm = sensor.suction_kpa(10000), sensor.suction_kpa(30000)
    assert warm - cold > 10  # skipping the temperature would cost that


def test_wires_cut_or_shorted():
    for port in ("rp2", "esp32"):
        _, _, sensor = granular(port, None)
        assert sensor.ohm() is None and sensor.vwc_ppt(24000) is None
        _, _, sensor = granular(port, 0)
        assert sensor.vwc_ppt(24000) is None


def test_an_esp32_refuses_what_its_converter_bends():
    """At the ends it reads wrongly; the two ways round then do not add up."""
    _, _, sensor = granular("esp32", 600)
    assert sensor.ohm() is None
    _, _, sensor = granular("esp32", 200)  # below what it can see: a short
    assert sensor.suction_kpa(20000) is None
    _, _, sensor = granular("esp32", 8000)
    assert abs(sensor.ohm() - 8000) < 200


def test_capacitive_by_its_table():
    for uv, ppt in ((24000, 480), (27000, 430), (38000, 250), (52000, 0)):
        _, _, probe = capacitive("rp2", uv * 3300000 // 65535)
        assert abs(probe.vwc_ppt(20000) - ppt) <= 2, uv


def test_capacitive_takes_its_drift_off():
    shown = []
    for temp_mc in (0, 15000, 20000, 32500):
        _, _, probe = capacitive("rp2", 30000 * 3300000 // 65535, drift_ppm=800)
        shown.append(probe.vwc_ppt(temp_mc))
    assert [ppt - shown[2] for ppt in shown] == [16, 4, 0, -10]
    _, _, probe = capacitive("rp2", 2900000, drift_ppm=800)
    assert probe.vwc_ppt(40000) == 0  # never below


def test_capacitive_beyond_its_table_gives_the_end():
    _, _, probe = capacitive("rp2", 1000000)
    assert probe.vwc_ppt(20000) == 480
    _, _, probe = capacitive("rp2", 2900000)
    assert probe.vwc_ppt(20000) == 0


def test_capacitive_at_a_rail_says_nothing():
    for port in ("rp2", "esp32"):
        for uv in (0, 30000, 3300000):
            _, _, probe = capacitive(port, uv)
            assert probe.vwc_ppt(20000) is None


def test_capacitive_is_fed_only_while_read():
    world, part, probe = capacitive("rp2", 1510000, 22)
    assert not part.fed()
    assert abs(probe.vwc_ppt(20000) - 380) <= 3
    assert not part.fed()
    del world.analog[27]
    assert fake_machine.raises(fake_machine.Fault, probe.vwc_ppt, 20000)
    assert not part.fed()


def test_interpolate():
    from evenclay.boards.drivers.adc import interpolate

    assert interpolate(((5, 7),), 0) == 7 and interpolate(((5, 7),), 9) == 7
    table = ((0, 0), (10, 100), (20, 50))
    for at, value in ((-1, 0), (0, 0), (5, 50), (10, 100), (15, 75), (20, 50), (21, 50)):
        assert interpolate(table, at) == value


def test_esp32_needs_its_attenuator():
    """The stand-in, without attenuation, clips a probe at about 1 V."""
    world = fake_machine.power_on("esp32")
    import machine

    Capacitive(world, 33, 2000000)
    assert machine.ADC(machine.Pin(33)).read_u16() == 65535
    assert machine.ADC(machine.Pin(33), atten=machine.ADC.ATTN_11DB).read_u16() < 42000


fake_machine.power_on()
fake_machine.run_tests(globals())
