"""A whole board whose console is this process's own, and whose time passes only as it is told.

    micropython -m fake_machine.typed_week ORDERS DONE

ORDERS and DONE are named pipes. Each line of ORDERS is `go SECONDS`, or `battery MOHM` to give the
battery so much of inner resistance. A line on DONE says that the seconds have passed.
"""

import sys

import fake_machine
from fake_machine.house import House, clean

orders = open(sys.argv[1])  # noqa: SIM115 it is read as long as this runs
done = open(sys.argv[2], "w")  # noqa: SIM115 the same
house = House("rp2_pico_w", "rp2", 2, {"estimate": 1, "rain_kind": 0, "battery": 0})
pins = house.pins
pins.VALVES = pins.VALVES[:2]
# Nothing counts pulses, so the board sleeps for five seconds at a time: a week is long.
pins.RAIN = pins.LIGHT = pins.BUTTON = None
pins.METERS = (None, None)
pins.LIGHT_SLEEP = True


def breathe():
    """Days are warm and nights cool: air that stands still is no air."""
    house.air.temp_mc = 40000 - house.air.temp_mc
    house.world.at_us(house.world.us + 6 * 3600 * 1000000, breathe)


def obey():
    """Say that it is time, and take orders until time is to pass again."""
    done.write("done\n")
    while True:
        words = orders.readline().split()
        if not words:
            raise fake_machine.PowerCut
        if words[0] == "go":
            house.world.at_us(house.world.us + int(words[1]) * 1000000, obey)
            return
        house.battery.inner_mohm = int(words[1])


from evenclay.boards.common import run  # noqa: E402  # the stand-in comes first

breathe()
house.world.at_us(house.world.us + 5000000, obey)
try:
    run(pins, sys.stdin)
except fake_machine.PowerCut:
    pass
finally:
    clean()
if house.world.faults:
    raise SystemExit(house.world.faults)
