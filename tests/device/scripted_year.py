"""A year of one hub, scripted in integers: the same trace from every interpreter.

Run as a program it prints the trace: a line for each port call and event, numbers alone. Weather is
made by a linear congruential generator; the owner, the faults and the power cuts are listed below.

    python -m tests.device.scripted_year            print the trace
    python -m tests.device.scripted_year --write    re-make tests/golden/year.txt

The second form is the only way the golden file changes, and needs CPython.
"""

# MicroPython runs this too: no f-strings with nested quotes, no pathlib, annotations quoted.
# ruff: noqa: UP031, UP037

import sys
from binascii import crc32

from evenclay.controller import TYPE_CHECKING
from evenclay.controller import plan as plans
from evenclay.controller.ports import (
    ASK_CHECK,
    ASK_CLEAR,
    ASK_CLOCK,
    ASK_HOLD,
    ASK_PLAN,
    ASK_RUN,
    ASK_RUN_ANYWAY,
    ASK_SAMPLE,
    ASK_STOP,
    ASK_TEST,
    DRY,
    FIRM,
    WET,
)
from tests.core import Bench, plan, row, wall

if TYPE_CHECKING:
    from collections.abc import Callable

    from evenclay.controller.ports import Asked

HOUR = 3600
DAY = 86400
DAYS = 365
FIRST_S = wall(2033, 7, 1, 5)  # midnight in the plan's zone; the year passes 2034-01-09
HEAD_LINES = 400  # of the trace, kept in the golden file; the rest by its CRC


def house(first_cycles: int) -> "plans.Plan":
    """Four zones on two spigots, one with a meter and a master; seasons wrap over the new year."""
    return plan(
        zones=[
            {"probe": 1, "sensor": 1, "exposure_pct": 50},
            {"share_pct": 130, "rest_s": 1800, "sensor": 1},
            {"supply": 1, "exposure_pct": 20, "demand_ppt": 2500},
            {"supply": 1, "held": 1, "cap_s": 3000, "demand_ppt": 2500},
        ],
        rows=[
            row(3, 1, 1, run_s=600),
            row(5, 1, first_cycles, run_s=600, start_min=0, length_min=1440),
            row(7, 1, 4, run_s=900),
            row(9, 16, starts_min=(90, 150, 1430), run_s=600),
            row(11, 20, 0),
        ],
        supplies=[{}, {"meter": 1, "master": 1}],
        bans=[(plans.BAN_HOURS, 840, 960), (plans.BAN_DATES, 7 * 32 + 4, 7 * 32 + 4)],
        estimate=1,
        battery=1,
        open_max=2,
    )


class Lcg:
    """Numerical Recipes' quick generator, by its constants: 32 bits, the high ones used."""

    def __init__(self, seed: int) -> None:
        self.state = seed

    def below(self, most: int) -> int:
        """A number from 0 to `most` - 1."""
        self.state = (self.state * 1664525 + 1013904223) & 0xFFFFFFFF
        return (self.state >> 8) % most


class Traced(Bench):
    """A bench that prints what passes and keeps none of it."""

    def __init__(
        self, made: "plans.Plan", put: "Callable[[str], None]", first_s: int = FIRST_S
    ) -> None:
        super().__init__(made, first_s)
        self.put = put
        self.true_s = 0  # since `first_s`; uptime begins anew at each boot
        self.boot_s = 0
        self.soil_um = [0] * len(made.zones)
        self.tap_ml_s = 50
        self.leak_ml_s = 0
        self.seen.battery_mv = 8000
        self.broken_hub: "object" = None  # the hub whose turns raise
        self.start_meters()

    def start_meters(self) -> None:
        """Meters count from boot."""
        for supply, part in enumerate(self.plan.supplies):
            if part.meter:
                self.seen.meter_ml[supply] = 0

    def up_s(self) -> int:
        if self.runner.hub is self.broken_hub:
            raise ValueError("scripted")
        return super().up_s()

    def close(self, valve: int) -> None:
        self.put("close %d %d" % (self.true_s, valve))
        super().close(valve)

    def open(self, valve: int, deadline_s: int) -> None:
        self.put("open %d %d %d" % (self.true_s, valve, deadline_s))
        super().open(valve, deadline_s)

    def write(self, slot: int, copy: int, data: bytes) -> None:
        super().write(slot, copy, data)
        # Without the CRC that ends it: that of a whole record is the same for all of them.
        self.put("save %d %d %d %d" % (self.true_s, slot, copy, crc32(data[:-4])))

    def report(self, event: "tuple[int, ...]") -> None:
        self.put("event " + " ".join([str(number) for number in event]))

    def flow(self, for_s: int) -> None:
        """Water through the meters, and into the soil."""
        meter_ml = self.seen.meter_ml
        for zone in self.open_since:
            if zone < len(self.plan.zones):
                self.soil_um[zone] += for_s * 2
                ml = meter_ml[self.plan.zones[zone].supply]
                if ml is not None:
                    meter_ml[self.plan.zones[zone].supply] = ml + for_s * self.tap_ml_s
        for supply, ml in enumerate(meter_ml):
            if ml is not None:
                meter_ml[supply] = ml + for_s * self.leak_ml_s

    def turn(self) -> int:
        """Take one turn. Returns the uptime of the next."""
        wake_s: int = self.runner.turn()
        hub = self.runner.hub
        if wake_s == hub.wake_s and not self.leak_ml_s:  # a look at a meter that stands still
            wake_s = hub.due_s
        return wake_s

    def live(self, until_s: int) -> None:
        """Take turns to a true second, reading the meter as it flows."""
        while self.true_s < until_s:
            wake_s = self.turn()
            self.calls.clear()  # what is kept among what is not would leave no room on a small heap
            self.events.clear()
            next_s = min(max(wake_s, self.now_s + 1), until_s - self.boot_s)
            self.flow(next_s - self.now_s)
            self.true_s += next_s - self.now_s
            self.now_s = next_s

    def cut_power(self, away_s: int, clock: bool) -> None:
        """Power goes for a while; a held valve shuts, a latching one stays open."""
        self.put("cut %d" % self.true_s)
        held = [z for z, part in enumerate(self.plan.zones) if part.held]
        for zone in held:
            self.open_since.pop(zone, None)
        self.flow(away_s)
        self.true_s += away_s
        wall_s = None if self.offset_s is None else self.offset_s + self.now_s
        self.now_s = 0
        self.offset_s = wall_s + away_s if clock and wall_s is not None else None
        self.boot_s = self.true_s
        self.seen.rain_um = 0
        self.start_meters()
        self.boot()


# (day, second of the day, command)
ASKED: "tuple[tuple[int, int, Asked], ...]" = (
    (1, 100, (ASK_TEST, -1, 0)),
    (9, 60, (ASK_CHECK, 0, (FIRM, DRY))),
    (16, 60, (ASK_CHECK, 0, (DRY,))),
    (17, 60, (ASK_CHECK, 1, (FIRM, WET, DRY))),
    (18, 60, (ASK_SAMPLE, 2, (0, 1))),
    (19, 60, (ASK_SAMPLE, 2, 4)),
    (20, 8 * HOUR, (ASK_RUN, 1, 600)),
    (24, 60, (ASK_CHECK, 7, (DRY,))),
    (30, 9 * HOUR, (ASK_HOLD, -1, FIRST_S + 41 * DAY)),
    (33, 9 * HOUR, (ASK_RUN, 1, 900)),
    (34, 9 * HOUR, (ASK_RUN_ANYWAY, 1, 900)),
    (52, 5 * HOUR + 300, (ASK_STOP, -1, 0)),
    (75, 9 * HOUR, (ASK_CLEAR, -1, 0)),
    (96, 6 * HOUR, (ASK_CLOCK, -1, FIRST_S + 96 * DAY + 6 * HOUR)),
    (101, 9 * HOUR, (ASK_CLEAR, 3, 0)),
    (110, 9 * HOUR, (ASK_CLEAR, -1, 0)),
    (290, 9 * HOUR, (ASK_PLAN, -1, b"not a plan")),
    (300, 9 * HOUR, (ASK_PLAN, -1, house(3).pack())),
    (320, 9 * HOUR, (ASK_CLEAR, -1, 0)),
)
# The first eight only teach, and most are refused: the day before had a cycle, or rain.
ASKED += tuple([(day, 60, (ASK_SAMPLE, 2, day % 5)) for day in range(120, 288)])
# (day, second of the day, seconds the clock moves)
STEPS = ((58, 7 * HOUR, 5 * HOUR), (60, 7 * HOUR, -5 * HOUR), (330, HOUR, -50 * HOUR))
# (day, second of the day, seconds without power, whether the clock goes on)
CUTS = (
    (12, 5 * HOUR + 400, 120, True),
    (44, 5 * HOUR + 200, 3 * DAY, True),
    (95, 8 * HOUR, 600, False),
    (200, 3 * HOUR, 12 * DAY, True),
    (334, 400, 60, True),
)
# (hour from, hour to, valve, what its driver does not do)
BROKEN = ((70 * 24, 72 * 24, 1, "open"), (100 * 24 + 1, 100 * 24 + 4, 3, "close"))
# (day from, day to, millilitres a second at the second spigot): shut off, and a burst hose
TAP = ((87, 88, 0), (105, 106, 120))
STORE_BROKEN = (80, 82)
MESS = 315  # the day on which a turn raises


def weather(bench: Traced, day: int, lcg: Lcg) -> "list[int]":
    """One day's rain by hour, um; sets how warm it gets, and what probe and battery read."""
    cold = 182 - abs(day - 182)  # 1 July is day 0: midwinter is near day 182
    bench.seen.temp_mc = 28000 - cold * 170 + lcg.below(9000)
    rain = [0] * 24
    if lcg.below(9) == 0:
        for hour in range(12 + lcg.below(10), 24):
            rain[hour] = lcg.below(3000)
    wet_um = sum(rain)
    for zone, soil_um in enumerate(bench.soil_um):
        bench.soil_um[zone] = min(max(0, soil_um + wet_um // 2 - 2500), 32000)
    ppt = 280 + bench.soil_um[0] // 400 + lcg.below(7)
    bench.seen.soil_vwc_ppt[0] = None if 150 <= day < 153 else ppt
    bench.seen.battery_mv = 6900 if day == 65 else 6400 if day == 66 else 8000 - day
    return rain


def year(put: "Callable[[str], None]") -> None:
    """Live the year; `put` takes each line of the trace."""
    lcg = Lcg(20260501)
    bench = Traced(house(3), put)
    bench.boot()
    acts = [(act[0] * DAY + act[1], 0, place) for place, act in enumerate(ASKED)]
    acts += [(act[0] * DAY + act[1], 1, place) for place, act in enumerate(STEPS)]
    acts += [(act[0] * DAY + act[1], 2, place) for place, act in enumerate(CUTS)]
    acts.sort()
    for day in range(DAYS):
        bench.store_broken = STORE_BROKEN[0] <= day < STORE_BROKEN[1]
        bench.tap_ml_s = 50
        for first, last, tap_ml_s in TAP:
            if first <= day < last:
                bench.tap_ml_s = tap_ml_s
        if day == MESS:
            bench.broken_hub = bench.runner.hub
        rains = weather(bench, day, lcg)
        warmest_mc = bench.seen.temp_mc or 0
        for hour, rain_um in enumerate(rains):
            bench.seen.temp_mc = warmest_mc - abs(hour - 15) * 500
            now_h = day * 24 + hour
            bench.broken = {(v, how) for first, last, v, how in BROKEN if first <= now_h < last}
            end_s = (now_h + 1) * HOUR
            while acts and acts[0][0] < end_s:
                at_s, kind, place = acts.pop(0)
                bench.live(at_s)
                if kind == 0:
                    bench.asked = [ASKED[place][2]]
                elif kind == 1 and bench.offset_s is not None:
                    bench.offset_s += STEPS[place][2]
                elif kind == 2:
                    bench.cut_power(CUTS[place][2], CUTS[place][3])
            bench.live(end_s)
            bench.seen.rain_um = (bench.seen.rain_um or 0) + rain_um
    put("end %d %d" % (bench.true_s, bench.writes))


def golden(text: str) -> str:
    """What the golden file holds: the first lines, then the length and CRC of the whole."""
    lines = text.split("\n")
    count = len(lines) - 1
    kept = lines[: min(HEAD_LINES, count)]
    kept.append("... %d lines, CRC-32 %d" % (count, crc32(text.encode())))
    return "\n".join(kept) + "\n"


def main() -> None:
    """Print the trace, or re-make the golden file."""
    if "--write" not in sys.argv:
        year(print)
        return
    lines: "list[str]" = []
    year(lines.append)
    path = __file__.replace("device/scripted_year.py", "golden/year.txt")
    with open(path, "w") as file:
        file.write(golden("\n".join(lines) + "\n"))


if __name__ == "__main__":
    main()
