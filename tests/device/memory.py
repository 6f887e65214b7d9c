"""Memory of the core and a hub, on MicroPython: run by `test_memory.py`, from `.mpy` files.

    micropython -m tests.device.memory PLAN COUNT

prints the live heap of the core and a hub, in bytes: once booted, and after each of so many years.

PLAN is a file. Ports are kept here, not in tests/core.py, so that little but the core is counted;
nothing of the core is imported before the heap is measured.
"""

# MicroPython runs this too: annotations quoted.
# ruff: noqa: UP037

import gc
import sys

TYPE_CHECKING = False
if TYPE_CHECKING:
    from evenclay.controller.ports import Asked, Seen
    from evenclay.controller.runner import Runner

DAY_S = 86400
YEAR_S = 365 * DAY_S
BOOT_YEARS = 10  # between two restarts: a hub's uptime is good for 34 years
FIRST_S = 820454400  # 2026-01-01, in seconds since 2000


class Ports:
    """Two copies of record and plan in memory; valves that do as told; weather by a generator."""

    def __init__(self, plan: bytes, zones: int, supplies: int, seen: "Seen") -> None:
        self.valves = zones + supplies
        self.now_s = 0
        self.boot_s = 0  # when uptime began
        self.asked: "list[Asked]" = []
        self.opened = 0
        self.saved = 0
        self._seen = seen
        self._state = 1
        self._copies = {(0, 0): b"", (0, 1): b"", (1, 0): plan, (1, 1): b""}

    def up_s(self) -> int:
        return self.now_s

    def wall_s(self) -> int:
        return FIRST_S + self.boot_s + self.now_s

    def set_wall_s(self, wall_s: int) -> None:
        raise OSError("no clock to set")

    def look(self) -> "Seen":
        return self._seen

    def weather(self, day: int) -> None:
        """A day's rain, temperature, moisture and battery."""
        self._state = (self._state * 1664525 + 1013904223) & 0xFFFFFFFF
        chance = self._state >> 8
        seen = self._seen
        if chance % 9 == 0:
            seen.rain_um = ((seen.rain_um or 0) + chance % 23000) % 100000000
        seen.temp_mc = 25000 - abs(day % 365 - 182) * 120 + chance % 9000
        for zone in range(len(seen.soil_vwc_ppt)):
            seen.soil_vwc_ppt[zone] = 290 + (chance >> zone) % 80
        seen.battery_mv = 7400 + chance % 800

    def take_asked(self) -> "list[Asked]":
        asked = self.asked
        self.asked = []
        return asked

    def close(self, valve: int) -> None:
        pass

    def open(self, valve: int, deadline_s: int) -> None:
        self.opened += 1

    def read(self, slot: int, copy: int) -> bytes:
        return self._copies[(slot, copy)]

    def write(self, slot: int, copy: int, data: bytes) -> None:
        self.saved += 1
        self._copies[(slot, copy)] = data

    def report(self, event: "tuple[int, ...]") -> None:
        pass

    def feed(self) -> None:
        pass


def boot(data: bytes) -> "tuple[Ports, Runner]":
    """Import the core and boot a hub on a plan."""
    from evenclay.controller.plan import unpack
    from evenclay.controller.ports import PLAN, RECORD, Seen
    from evenclay.controller.runner import Runner

    assert (RECORD, PLAN) == (0, 1)
    plan = unpack(data)
    zones, supplies = len(plan.zones), len(plan.supplies)
    del plan
    seen = Seen(zones, supplies)
    seen.rain_um = 0
    made = Ports(data, zones, supplies, seen)
    return made, Runner(made)


def live(ports: "Ports", runner: "Runner", until_s: int) -> None:
    """Take turns at the hub's wakes; new weather at each midnight, an owner once a week."""
    from evenclay.controller.ports import ASK_CHECK, DRY

    day = ports.now_s // DAY_S
    while ports.now_s < until_s:
        if ports.now_s // DAY_S != day:
            day = ports.now_s // DAY_S
            ports.weather(day)
            if day % 7 == 0:
                ports.asked.append((ASK_CHECK, day // 7 % 8, (DRY + day % 3,)))
        wake_s = runner.turn()
        ports.now_s = min(max(wake_s, ports.now_s + 1), (day + 1) * DAY_S, until_s)


def restarted(runner: "Runner", ports: "Ports") -> "Runner":
    """The hub after a power cut."""
    return type(runner)(ports)


def main(path: str, count: int) -> None:
    """Measure, and print."""
    gc.threshold(8192)  # type: ignore[attr-defined]  # MicroPython's own; as boards do
    with open(path, "rb") as file:
        data = file.read()
    gc.collect()
    before = gc.mem_alloc()  # type: ignore[attr-defined]  # MicroPython's own
    ports, runner = boot(data)
    gc.collect()
    print("booted", gc.mem_alloc() - before)  # type: ignore[attr-defined]  # MicroPython's own
    gc.threshold(-1)  # type: ignore[attr-defined]  # the years may leave more: they pass sooner
    for year in range(1, count + 1):
        live(ports, runner, ports.now_s + YEAR_S)
        gc.collect()
        used = gc.mem_alloc() - before  # type: ignore[attr-defined]  # MicroPython's own
        print("year", year, used, ports.opened, ports.saved)
        if year % BOOT_YEARS == 0:
            ports.boot_s += ports.now_s
            ports.now_s = 0
            runner = restarted(runner, ports)


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
