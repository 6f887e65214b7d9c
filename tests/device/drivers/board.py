"""Whole boards: the real pin maps, the real hub and the real main loop on the stand-in.

What is asked here is what water does, not what was commanded.
"""

import os
import sys

import fake_machine
from fake_machine.house import (
    BOARDS,
    FOLDER,
    MINUTE_US,
    ROWS,
    RUN_US,
    TYPED,
    House,
    clean,
)
from fake_machine.parts import Latch

from tests.core import plan, row, wall


def test_valves_are_shut_before_anything_else():
    for name, port, zones in BOARDS:
        house = House(name, port, zones)
        house.set_clock()
        assert len(house.open_now()) == zones  # as a power cut left them
        house.run_for(MINUTE_US // 2)
        trace = house.world.trace
        touched = [what for what in trace if what not in ("a new pin", "coil", "sleep")]
        first = trace.index(touched[0])
        assert trace[:first].count("coil") >= 2 * zones, trace[: first + 1]
        assert house.open_now() == []
        assert house.world.faults == []


def test_zones_are_watered_one_after_another():
    wraps_us = (1 << 30) * 1000 - 8 * MINUTE_US  # the ticks wrap in the first zone's run
    for name, port, zones in BOARDS:
        house = House(name, port, zones, us=wraps_us)
        house.set_clock()
        assert house.run_for((5 + 11 * zones) * MINUTE_US) == "cut"
        runs = house.runs()
        assert sorted([run[0] for run in runs]) == list(range(zones)), runs
        for zone, _, took_us in runs:
            assert abs(took_us - RUN_US) < 3000000, (zone, took_us)
        for before, after in zip(runs, runs[1:]):
            assert after[1] >= before[1] + before[2] + 29000000
        assert house.world.faults == []
        assert "record.0" in os.listdir(FOLDER) and "record.1" in os.listdir(FOLDER)


def test_a_midnight_and_the_four_cycles_around_it():
    rows = [row(5, 1, starts_min=(15, 75, 1320, 1380), run_s=600)]
    house = House("rp2_pico_w", "rp2", 4, rows=rows)
    house.set_clock(wall(2026, 7, 2, 2, 58))
    assert house.run_for(5 * 60 * MINUTE_US) == "cut"
    assert sorted([zone for zone, _, _ in house.runs()]) == sorted(list(range(4)) * 4)
    assert house.world.faults == []


def test_rain_in_the_bucket_leaves_the_cycles_after_it_without_need():
    rows = [row(5, 1, starts_min=(300, 420, 480), run_s=600)]
    house = House("rp2_pico_w", "rp2", 4, {"estimate": 1}, rows=rows)
    house.set_clock()
    began_us = house.world.us
    for tip in range(110):  # 31 mm in an hour, after the first cycle
        house.world.at_us(began_us + (120 + tip) * MINUTE_US // 2, house.rain.pulse)
    assert house.run_for(4 * 60 * MINUTE_US) == "cut"
    assert len(house.runs()) == 4
    assert max([us for _, us, _ in house.runs()]) < began_us + 60 * MINUTE_US
    assert house.world.faults == []


def test_held_valves_and_the_chips_own_clock():
    house = House("template", "esp32", 2, {"battery": 0, "frost": 0}, held=1)
    house.write("clock 2026-07-01 04:58\n")
    opened = []
    for minute in range(1, 26):
        house.world.at_us(minute * MINUTE_US, lambda: opened.append(house.open_now()))
    assert house.run_for(26 * MINUTE_US) == "cut"
    assert opened.count([0]) >= 9 and opened.count([1]) >= 9
    assert [0, 1] not in opened
    assert house.world.faults == []


class Relay:
    """A valve of one's own: it is of no class of the drivers'."""

    held = True

    def __init__(self, pin):
        self._pin = pin

    def open(self):
        self._pin.value(1)

    def close(self):
        self._pin.value(0)

    def shut_now(self):
        self._pin.value(0)
        return True

    def cut(self):
        pass


def with_relays(held):
    """A template board whose valves are of one's own class: what ended it, and what opened."""
    house = House("template", "esp32", 2, {"battery": 0, "frost": 0}, held=1)
    import machine

    Pin = machine.Pin
    made = [Relay(Pin(number, Pin.OUT, value=0)) for number in house.pins.VALVES]
    for valve in made:
        valve.held = held
    house.pins.valves = lambda: made
    house.write("clock 2026-07-01 04:58\n")
    seen = []
    for minute in (5, 15):
        house.world.at_us(minute * MINUTE_US, lambda: seen.extend(house.open_now()))
    return house.run_for(30 * MINUTE_US), seen


def test_a_held_valve_of_ones_own_waters_and_a_latching_one_is_told_apart():
    assert with_relays(True) == ("cut", [0, 1])
    assert with_relays(False) == ("returned", [])


def test_without_a_clock_nothing_opens_until_it_is_set():
    house = House("rp2_pico_w", "rp2", 4)
    assert house.run_for(30 * MINUTE_US) == "cut"
    assert house.runs() == [] and house.open_now() == []
    house.restart(1, power_cut=True)
    house.write("clock 2026-07-01 04:58\n")
    house.run_for(10 * MINUTE_US)
    assert len(house.open_now()) == 1


def cut_in_a_run(house, error, minutes=60):
    """Run into the first zone's watering, then let `error` come out of the main loop."""
    house.set_clock()
    house.world.stop_at(house.world.us + 6 * MINUTE_US, error)
    ended = house.run_for(minutes * MINUTE_US)
    return ended


def boots(house):
    """Restart and run for a minute. Returns the reason of the boot that the hub logged."""
    board, runner = house.start()
    for _ in range(3):
        board.due_s = runner.turn()
    from evenclay.controller.events import BOOT
    from evenclay.controller.words import WHY

    found = [WHY[event[2]] for event in runner.hub.faults.log.events() if event[0] == BOOT]
    assert len(found) == 1
    return found[0]


def test_a_power_cut_in_a_run_comes_back_shut():
    for name, port, zones in BOARDS:
        house = House(name, port, zones)
        assert cut_in_a_run(house, fake_machine.PowerCut()) == "cut"
        assert len(house.open_now()) == 1  # it latches: no software can shut it now
        house.restart(1, power_cut=True)
        house.world.advance_us(20 * MINUTE_US)
        assert len(house.open_now()) == 1
        assert boots(house) == "power"
        assert house.open_now() == []
        assert house.world.faults == []


def test_an_exception_shuts_rests_and_is_told_of():
    """The hub rests for a minute, without a restart, and then goes on with what waits."""
    for name, port, zones in BOARDS:
        house = House(name, port, zones)
        at_us = house.world.us + 6 * MINUTE_US
        pulses = []
        for second in (1, 30, 58):
            house.world.at_us(
                at_us + second * 1000000,
                lambda house=house, pulses=pulses: pulses.append(
                    (house.open_now(), [len(valve.pulses) for valve in house.valves])
                ),
            )
        assert cut_in_a_run(house, RuntimeError("a bug"), 20) == "cut"
        assert [one[0] for one in pulses] == [[], [], []]
        assert pulses[0] == pulses[2]  # nothing is pulsed while it rests
        assert b"a bug" in house.pins.note().read()
        assert [run[0] for run in house.runs()] == [0, 1]
        assert house.runs()[0][2] < RUN_US // 2 < house.runs()[1][2]
        house.restart(1, power_cut=True)
        runner = house.start()[1]
        if port == "rp2":  # in a file; RTC memory does not outlive a power cut
            assert runner.trouble.count == 1 and "a bug" in runner.trouble.text
        assert house.world.faults == []


def test_planned_restarts_are_no_crash():
    """An RP2 restarts itself by its watchdog: the note tells a restart that was meant."""
    from evenclay.boards.drivers.note import NEW_PLAN, SERVED

    for name, port, zones in BOARDS:
        for mark, word in ((NEW_PLAN, "plan"), (SERVED, "owner")):
            house = House(name, port, zones)
            house.pins.note().write(mark)
            house.restart(3)
            assert boots(house) == word
            house.restart(3)
            assert boots(house) == "crash"  # and only that one


def test_a_first_memory_error_restarts():
    for name, port, zones in BOARDS:
        house = House(name, port, zones)
        assert cut_in_a_run(house, MemoryError()) == "reset"
        assert house.runs() != [] and house.open_now() == []
        house.restart(3)
        began_us = house.world.us
        assert house.run_for(MINUTE_US - 2000000) == "cut"
        assert house.open_now() == []
        house.restart(3)
        assert house.world.us - began_us < MINUTE_US
        assert house.run_for(3 * MINUTE_US) == "cut"
        assert len(house.open_now()) == 1
        assert b"MemoryError" in house.pins.note().read()


def test_noise_on_the_console_stops_nothing():
    house = House("rp2_pico_w", "rp2", 4)
    house.set_clock()
    board, runner = house.start()
    runner.turn()
    said = []
    console = board.console
    console._say = said.append
    with open(TYPED, "w") as file:
        file.write("help\n")
    with open(TYPED) as stream:

        class Noise:
            def read(self, size):
                raise UnicodeError

        console._stream = Noise()
        while console.look():
            pass
        assert said and "> help" not in said
        console._stream = stream
        while console.look():
            pass
        assert "> help" in said


def test_what_is_typed_while_it_rests_is_answered():
    """Nor does the board spin over it."""
    house = House("rp2_pico_w", "rp2", 4)
    house.set_clock()
    import machine

    from evenclay.boards.common import once
    from evenclay.boards.drivers.sleep import Sleeper

    board, runner = house.start()
    board.due_s = runner.turn()
    board.due_s = runner.failed(RuntimeError("a bug"))
    said = []
    with open(TYPED, "w") as file:
        file.write("stop\n")
    with open(TYPED) as stream:
        board.console._stream = stream
        board.console._say = said.append
        sleeper = Sleeper(machine, False)
        began_us = house.world.us
        turns = 0
        while house.world.us - began_us < 10000000:
            once(board, runner, sleeper, 0)
            turns += 1
    assert turns < 100
    after = said[said.index("> stop") + 1]
    assert after.startswith("After an error every valve stays shut"), after


def test_a_stuck_loop_is_reset_by_the_watchdog_and_comes_back_shut():
    for name, port, zones in BOARDS:
        house = House(name, port, zones)
        house.set_clock()

        def stuck(house=house):
            house.world.advance_ms(20000)

        house.world.at_us(house.world.us + 6 * MINUTE_US, stuck)
        assert house.run_for(60 * MINUTE_US) == "watchdog"
        assert len(house.open_now()) == 1
        house.restart(3)
        assert boots(house) == "crash"
        assert house.open_now() == []


def test_a_crash_that_comes_back_does_not_pulse_the_valves_for_ever():
    house = House("rp2_pico_w", "rp2", 4)

    def broken():
        raise ValueError("no such bus \u00e9" * 40)

    pulses = []
    for _ in range(4):
        house.pins.sensors = broken
        assert house.run_for(5 * MINUTE_US) == "reset"
        pulses.append((house.world.us, len(house.valves[0].pulses)))
        house.restart(3)
    for before, after in zip(pulses[1:], pulses[2:]):
        assert after[0] - before[0] >= MINUTE_US
        assert after[1] - before[1] <= 4
    assert house.open_now() == []


def test_a_note_that_cannot_be_kept_stops_nothing():
    class Full:
        def read(self):
            return b"old"

        def write(self, data):
            raise OSError(28)

    house = House("rp2_pico_w", "rp2", 4)
    house.pins.note = Full
    # Nothing would say after a restart that this is not the first time: the hub rests here.
    assert cut_in_a_run(house, MemoryError(), 7) == "cut"
    assert house.open_now() == [] and len(house.runs()) == 1
    house.restart(3)
    house.pins.note = Full
    assert cut_in_a_run(house, KeyboardInterrupt()) == "reset"
    assert house.open_now() == []


def test_ctrl_c_shuts_and_restarts_for_service():
    for name, port, zones in BOARDS:
        house = House(name, port, zones)
        assert cut_in_a_run(house, KeyboardInterrupt()) == "reset"
        assert house.runs() != [] and house.open_now() == []
        house.restart(3)
        began_us = house.world.us
        assert house.run_for(MINUTE_US) == "returned"
        assert house.open_now() == []
        assert house.world.watchdog_us is None  # files may be copied at leisure
        house.world.call_off(began_us + MINUTE_US)
        house.world.advance_us(14 * MINUTE_US)
        assert house.open_now() == []
        # Who forgets it there finds a hub that runs again after a quarter of an hour.
        assert fake_machine.raises(fake_machine.Restart, house.world.advance_us, 2 * MINUTE_US)
        house.restart(3)
        assert boots(house) == "owner"


def test_the_deadline_stands_behind_a_hub_that_forgets():
    house = House("rp2_pico_w", "rp2", 4, {})
    house.set_clock()
    board, runner = house.start()
    board.due_s = runner.turn()
    board.open(0, 900)
    began_us = house.world.us
    while house.valves[0].open:
        house.world.advance_ms(500)
        board.feed()  # the loop lives, and has lost its mind
        assert house.world.us - began_us < 903000000
    assert house.world.us - began_us >= 900000000
    assert board.deadline.fired >= 1


def test_hard_interrupts_go_on_while_a_call_in_c_never_returns():
    house = House("rp2_pico_w", "rp2", 4)
    house.set_clock()
    board, runner = house.start()
    board.due_s = runner.turn()
    board.open(0, 3)
    house.world.stuck_in_c = True
    house.rain.pulse()
    house.world.advance_ms(5000)
    assert board.sensors.rain.um() == house.pins.TIP_UM
    assert not house.valves[0].open


def test_no_plan_or_a_wrong_one_shuts_and_returns():
    def none(house):
        os.remove(FOLDER + "/plan.0")

    def torn(house):
        with open(FOLDER + "/plan.0", "wb") as file:
            file.write(b"Ep\x01")

    def five(house):
        with open(FOLDER + "/plan.0", "wb") as file:
            file.write(plan(5, ROWS).pack())

    def held(house):
        with open(FOLDER + "/plan.0", "wb") as file:
            file.write(plan(4, ROWS, zone={"held": 1}).pack())

    def master(house):
        with open(FOLDER + "/plan.0", "wb") as file:
            file.write(plan(4, ROWS, supplies=[{"master": 1}]).pack())

    for spoil in (none, torn, five, held, master):
        house = House("rp2_pico_w", "rp2", 4)
        spoil(house)
        assert house.run_for(MINUTE_US) == "returned", spoil
        assert house.open_now() == []
        assert house.world.watchdog_us is None


def test_what_is_measured_reaches_the_hub():
    house = House("rp2_pico_w", "rp2", 4)
    house.set_clock()
    board, runner = house.start()
    board.due_s = runner.turn()
    house.world.advance_ms(1000)
    for _ in range(5):
        house.rain.pulse(bounces=2)
        house.world.advance_ms(500)
        board.feed()
    for _ in range(9):
        house.meters[0].pulse(ms=5)
    board.due_s = 0
    seen = board.look()
    assert seen.rain_um == 5 * house.pins.TIP_UM
    assert seen.meter_ml == [9000 // house.pins.PULSES_PER_L]
    assert abs(seen.temp_mc - 15000) <= 63
    assert abs(seen.soil_vwc_ppt[0] - 380) <= 3 and seen.soil_vwc_ppt[2:] == [None, None]
    assert abs(seen.battery_mv - 9000) < 40

    house = House("esp32", "esp32", 4)
    board, runner = house.start()
    seen = board.look()
    assert abs(seen.soil_vwc_ppt[0] - 396) <= 3  # 57 kPa at 20 degrees, by the table


def test_a_dry_contact_reaches_the_hub():
    house = House("template", "rp2", 2, {"battery": 0, "frost": 0}, held=1)
    import machine

    from evenclay.boards.drivers.contact import Contact as Driver
    from evenclay.boards.ports import Sensors

    pin = machine.Pin(10, machine.Pin.IN, machine.Pin.PULL_UP)
    house.pins.timer = lambda: machine.Timer(-1)
    house.pins.sensors = lambda: Sensors(contact=Driver(pin))
    board, _ = house.start()
    assert board.look().rain_wet is False
    house.world.drive(10, 0)
    assert board.look().rain_wet is True


def test_a_master_valve_opens_and_shuts_with_its_zones():
    # The pin map has three zones and a master; the plan uses two of the zones.
    house = House("rp2_pico_w", "rp2", 2, {"supplies": [{"master": 1}]})
    house.set_clock()
    all_valves = house.pins.valves
    house.pins.valves = lambda: made[:3]
    house.pins.masters = lambda: made[3:]
    made = all_valves()
    assert house.run_for(5 * MINUTE_US) == "cut"
    assert house.open_now() in ([0, 3], [1, 3])
    house.restart(1, power_cut=True)
    made = house.pins.valves()
    house.pins.valves = lambda: made[:3]
    house.pins.masters = lambda: made[3:]
    house.start()
    assert house.open_now() == []
    assert house.world.faults == []


def test_a_clock_that_does_not_answer_holds_the_water_back():
    house = House("rp2_pico_w", "rp2", 4)
    house.set_clock()
    house.clock.mute = 1 << 30
    assert house.run_for(10 * MINUTE_US) == "cut"
    assert house.runs() == [] and house.open_now() == []
    assert house.world.faults == []


def test_a_new_plan_restarts_the_board():
    house = House("rp2_pico_w", "rp2", 4)
    house.set_clock()
    from evenclay.boards.common import once
    from evenclay.boards.drivers.sleep import Sleeper
    from evenclay.controller.ports import ASK_PLAN

    board, runner = house.start()
    board.due_s = runner.turn()
    fresh = plan(2, ROWS).pack()
    board._asked.append((ASK_PLAN, -1, fresh))
    import machine

    sleeper = Sleeper(machine, False)
    assert fake_machine.raises(fake_machine.Restart, once, board, runner, sleeper, 0)
    assert house.open_now() == []
    house.restart(3)
    board, runner = house.start()
    assert len(runner.hub.plan.zones) == 2 and board.valves == 3
    assert board.note.mark == b"p"
    house.world.watchdog_us = None
    assert house.run_for(24 * MINUTE_US) == "cut"
    assert [zone for zone, _, _ in house.runs()] == [0, 1]


def test_a_plan_is_judged_by_what_is_wired_and_not_by_the_one_in_force():
    """Four valves and two masters are wired: a plan may grow to that, and no further."""
    house = House("rp2_pico_w", "rp2", 2)
    house.set_clock()
    from evenclay.controller.events import ACCEPTED, BAD_PLAN, REFUSED
    from evenclay.controller.ports import ASK_PLAN

    board, runner = house.start()
    for zones, answer in ((5, (REFUSED, BAD_PLAN)), (4, (ACCEPTED, 0))):
        board.due_s = runner.turn()
        board._asked.append((ASK_PLAN, -1, plan(zones, ROWS).pack()))
        board.due_s = runner.turn()
        found = [each for each in runner.hub.faults.log.events() if each[3] == ASK_PLAN]
        assert (found[-1][0], found[-1][2]) == answer, found
    assert len(runner.hub.plan.zones) == 4
    house.restart(3)
    board, runner = house.start()
    assert len(runner.hub.plan.zones) == 4 and board.valves == 5


def twelve(house):
    """Eight zones and four masters, all latching, on a house made for four."""
    import machine

    from evenclay.boards.drivers.valves import Coils, LatchingValve

    coils = Coils()
    house.valves = []
    made = []
    for opens in list(range(30, 54, 2)):  # more pins than the chip has: an expander's
        house.valves.append(Latch(house.world, opens, opens + 1, house.battery))
        pins = [machine.Pin(number, machine.Pin.OUT, value=0) for number in (opens, opens + 1)]
        made.append(LatchingValve(pins[0], pins[1], coils))
    house.pins.valves = lambda: made[:8]
    house.pins.masters = lambda: made[8:]


def test_twelve_latching_valves_boot_and_crash_within_the_watchdog():
    zones = [{"supply": zone // 2} for zone in range(8)]
    house = House("rp2_pico_w", "rp2", zones, {"supplies": [{"master": 1}] * 4})
    house.set_clock()
    twelve(house)
    board, runner = house.start()
    board.sensors.probes = [board.sensors.probes[0]] * 8
    began_us = house.world.us
    board.due_s = runner.turn()
    assert house.world.us - began_us < 5000000
    assert house.open_now() == []

    def broken(*_):
        raise RuntimeError("broken")

    house.world.advance_ms(1000)
    runner.hub.step = broken
    board.due_s = runner.turn()
    board.due_s = runner.turn()
    assert house.open_now() == []
    assert house.world.faults == []


def test_a_sensor_that_fails_stops_no_other():
    house = House("rp2_pico_w", "rp2", 4)
    house.set_clock()
    board, _ = house.start()
    house.air.absent = True
    house.probes[0].uv = 3300000
    seen = board.look()
    assert seen.temp_mc is None and seen.soil_vwc_ppt[0] is None
    assert seen.soil_vwc_ppt[1] is not None and seen.battery_mv is not None
    house.air.absent = False
    assert board.look().temp_mc is not None


def test_slow_sensors_are_read_only_when_the_hub_is_due():
    house = House("rp2_pico_w", "rp2", 4)
    house.set_clock()
    board, runner = house.start()
    board.due_s = runner.turn()
    house.air.temp_mc = 30000
    house.world.watchdog_us = None  # nothing feeds it here
    house.world.advance_us((board.due_s - board.up_s()) * 1000000 // 2)
    assert abs(board.look().temp_mc - 15000) <= 63
    house.world.advance_us((board.due_s + 1 - board.up_s()) * 1000000)
    assert abs(board.look().temp_mc - 30000) <= 63


def test_a_meter_is_looked_at_between_polls_and_no_slow_sensor_is():
    house = House("rp2_pico_w", "rp2", 4, {"supplies": [{"meter": 1}]})
    house.set_clock(wall(2026, 7, 1, 3))
    import machine

    from evenclay.boards.common import once
    from evenclay.boards.drivers.sleep import Sleeper
    from evenclay.boards.talk.console import Console
    from evenclay.controller.faults import LEAK_FAULT

    board, runner = house.start()
    sleeper = Sleeper(machine, False)

    def live(minutes):
        end_us = house.world.us + minutes * MINUTE_US
        with open(TYPED) as stream:
            board.console = Console(stream)
            board.serve(runner)
            while house.world.us < end_us:
                once(board, runner, sleeper, 0)

    live(2)  # the sensors are read once more when the pipe has settled
    house.air.temp_mc = 30000
    live(2)
    assert abs(board.look().temp_mc - 15000) <= 63
    for _ in range(house.pins.PULSES_PER_L * 10 // 9):
        house.meters[0].pulse(ms=5)
    live(1)
    assert runner.hub.record.faults == 0  # a litre at once may be one pulse of a coarse meter
    house.meters[0].pulse(ms=5)
    live(1)
    assert runner.hub.record.faults == LEAK_FAULT


def test_a_weak_battery_opens_nothing():
    house = House("rp2_pico_w", "rp2", 4)
    house.set_clock()
    house.battery.inner_mohm = 4000  # 9 V at rest, 6 V under a coil
    assert house.run_for(30 * MINUTE_US) == "cut"
    assert house.runs() == [] and house.open_now() == []


def test_the_guided_test_opens_each_zone_for_a_minute():
    for name, port, zones in BOARDS:
        house = House(name, port, zones)
        house.set_clock(wall(2026, 7, 1, 3))
        house.write("test\n")
        house.run_for((2 * zones + 1) * MINUTE_US)
        runs = house.runs()
        assert [run[0] for run in runs] == list(range(zones))
        for _, _, took_us in runs:
            assert abs(took_us - MINUTE_US) < 3000000


def test_typed_lines():
    house = House("rp2_pico_w", "rp2", 4)
    house.set_clock(wall(2026, 7, 1, 3))
    house.write("nonsense\n\nrun zone1\nrun x 5\nclock 2026-02-30 10:00\nstatus\n")
    house.type_at(MINUTE_US, "run zone1 5 anyway\n")
    house.run_for(8 * MINUTE_US)
    assert [(zone, took_us // MINUTE_US) for zone, _, took_us in house.runs()] == [(1, 5)]
    assert house.world.faults == []


def test_deep_sleep_only_with_every_valve_shut():
    house = House("template", "esp32", 2, {"battery": 0, "frost": 0}, held=1)
    house.pins.DEEP_LEAST_S = 300
    house.write("clock 2026-06-30 22:00\n")
    assert house.run_for(MINUTE_US) == "deep sleep"
    assert house.open_now() == []
    house.restart(4)
    house.write("clock 2026-07-01 04:58\n")

    def allow():
        house.pins.DEEP_LEAST_S = 1

    began_us = house.world.us
    house.world.at_us(began_us + 4 * MINUTE_US, allow)  # in the first zone's ten minutes
    house.world.at_us(began_us + 11 * MINUTE_US, lambda: opened.append(house.open_now()))
    opened = []
    assert house.run_for(30 * MINUTE_US) == "deep sleep"
    assert opened == [[0]] and house.open_now() == []


def test_the_guides_first_click():
    """No water is on, and the clock set or not: refused up to the gap, then the valve clicks.

    The guide says to let a minute go by; `next.txt`, more than the plan's gap of 30 s.
    """
    for name, port, zones in BOARDS:
        for clock in ("", "clock 2026-05-01 06:30\n"):
            for early_us, late_us in ((5000000, MINUTE_US), (30000000, 32000000)):
                house = House(name, port, zones)
                house.type_at(4000000, clock)
                house.type_at(early_us, "run zone0 1 anyway\n")
                house.type_at(late_us, "run zone0 1 anyway\n")
                house.run_for(MINUTE_US + MINUTE_US // 4)
                assert house.open_now() == [0]
                opened_us = [us for us, is_open in house.valves[0].moves if is_open]
                assert len(opened_us) == 1 and opened_us[0] >= late_us


def test_a_port_without_deep_sleep_stays_awake_and_waters():
    house = House("rp2_pico_w", "rp2", 4)
    house.pins.DEEP_LEAST_S = 1
    house.set_clock()
    assert house.run_for(50 * MINUTE_US) == "cut"
    assert [zone for zone, _, _ in house.runs()] == [0, 1, 2, 3]
    assert "light sleep" not in house.world.trace


def test_two_spigots_are_watered_at_once():
    """Every shipped pin map runs a plan of two supplies, with no master valve on either."""
    for name, port, zones in BOARDS + (("template", "esp32", 2),):
        held = name == "template"
        parts = [{"supply": zone % 2, "held": int(held)} for zone in range(zones)]
        hub = {"open_max": 2, "supplies": [{}, {}]}
        if held:
            hub.update({"battery": 0, "frost": 0})
        house = House(name, port, parts, hub)
        if held:
            house.write("clock 2026-07-01 04:58\n")
        else:
            house.set_clock()
        assert house.run_for(5 * MINUTE_US) == "cut"
        assert house.open_now() == [0, 1], name
        assert house.world.faults == []


def test_a_part_that_is_not_there_is_left_out_by_its_pin():
    for name, port, zones in BOARDS:
        house = House(name, port, zones, {"frost": 0, "battery": 0})
        pins = house.pins
        pins.VALVES = pins.VALVES[:3] + (15 if port == "rp2" else 14,)  # a held valve among them
        pins.MASTERS = (None, pins.VALVES[2])
        pins.PROBES = (None,)
        pins.METERS = (None, pins.METERS[1])
        pins.RAIN = pins.AIR = pins.BATTERY = pins.SOIL = None
        from evenclay.boards.drivers.valves import HeldValve, LatchingValve, NoValve

        made = [type(valve) for valve in pins.valves()]
        assert made == [LatchingValve] * 3 + [HeldValve]
        assert [type(valve) for valve in pins.masters()] == [NoValve, LatchingValve]
        found = pins.sensors()
        assert (found.rain, found.air, found.soil, found.battery) == (None,) * 4
        assert found.probes == [None] and found.meters[0] is None
        assert found.meters[1].ml() == 0


def test_a_board_keeps_a_log_of_all_its_boots():
    for name, port, zones in BOARDS:
        house = House(name, port, zones)
        house.set_clock()
        house.run_for(5 * MINUTE_US)
        size = os.stat(FOLDER + "/log/1")[6]
        assert size > 60, size
        house.restart(1, power_cut=True)
        house.run_for(MINUTE_US)
        assert os.listdir(FOLDER + "/log") == ["1"]
        assert os.stat(FOLDER + "/log/1")[6] > size + 60


def test_a_board_without_a_log_loads_nothing_of_it():
    house = House("rp2_pico_w", "rp2", 4)
    house.set_clock()
    house.pins.LOG_BYTES = 0
    house.run_for(MINUTE_US)
    assert "log" not in os.listdir(FOLDER)
    assert not [name for name in sys.modules if name.startswith("evenclay.boards.log")]


def test_a_board_with_a_gauge_never_sleeps_lightly():
    house = House("rp2_pico_w", "rp2", 4)
    house.set_clock(wall(2026, 7, 1, 3))
    house.pins.LIGHT_SLEEP = True
    for second in range(1, 40):
        house.world.at_us(second * 3 * 1000000, lambda: house.rain.pulse(ms=20))
    house.run_for(MINUTE_US)
    assert "light sleep" not in house.world.trace


def test_light_sleep_where_nothing_counts():
    house = House("template", "rp2", 2, {"battery": 0, "frost": 0}, held=1)
    import machine

    house.pins.timer = lambda: machine.Timer(-1)
    house.pins.LIGHT_SLEEP = True
    house.pins.BUTTON = None  # its presses would be missed in light sleep
    house.write("clock 2026-06-30 22:00\n")
    house.run_for(MINUTE_US)
    assert "light sleep" in house.world.trace
    assert house.world.faults == []


try:
    fake_machine.run_tests(globals())
finally:
    clean()
