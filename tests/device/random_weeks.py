"""Weeks drawn by number: plan, weather, owner and faults from one seed, the same on every
interpreter.

    python -m tests.device.random_weeks WEEK ...    print the traces of some weeks, from 0 on
    python -m tests.device.random_weeks --write     re-make tests/golden/weeks.txt

A trace has a line for each port call and event, numbers alone. The golden file holds each week's
length and CRC; the second form is the only way it changes, and needs CPython.
"""

# MicroPython runs this too: no f-strings with nested quotes, no pathlib, annotations quoted.
# ruff: noqa: UP031, UP037

import sys
from binascii import crc32

from evenclay.controller import TYPE_CHECKING
from evenclay.controller import plan as plans
from evenclay.controller.plan import PlanError
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
    PLAN,
    RECORD,
    Seen,
)
from evenclay.tools.property.plan_ranges import check_plan
from tests.core import plan, row, wall
from tests.device.scripted_year import DAY, HOUR, Lcg, Traced

if TYPE_CHECKING:
    from collections.abc import Callable

    from evenclay.controller.ports import Asked

WEEKS = 304
WEEK_S = 7 * DAY
FAULTS = (
    "broken_open",
    "broken_close",
    "store",
    "report",
    "blind",
    "no_wall",
    "lost",
    "back",
    "forward",
    "cut",
    "cut_lost",
    "torn",
    "explode",
    "dry_tap",
    "burst",
    "leak",
    "probe",
    "battery",
    "cold",
)
OFFSETS_S = (-36000, -28800, -21600, -12600, 0, 3600, 20700, 34200, 43200, 50400)
SMALL_INT_END = (2034, 1, 9)  # 2^30 s since 2000-01-01: no small integer of a 32-bit board


class Draw(Lcg):
    """Numbers in a range, and one of several."""

    def within(self, least: int, most: int) -> int:
        return least + self.below(most - least + 1)

    def one(self, *choices: int) -> int:
        return choices[self.below(len(choices))]

    def chance(self, pct: int) -> int:
        return 1 if self.below(100) < pct else 0


class Faulty(Traced):
    """A traced bench whose sensors, clock and console can fail as well."""

    def __init__(
        self, made: "plans.Plan", put: "Callable[[str], None]", first_s: int, seed: int
    ) -> None:
        super().__init__(made, put, first_s)
        self.draw = Draw(seed)
        self.blind = self.no_wall = self.mute = self.replanned = False

    def look(self) -> Seen:
        if self.blind:
            raise OSError("no sensor answers")
        return super().look()

    def wall_s(self) -> "int | None":
        if self.no_wall:
            raise OSError("the clock does not answer")
        return super().wall_s()

    def open(self, valve: int, deadline_s: int) -> None:
        if self.replanned:
            raise OSError("a new plan: restart first")
        super().open(valve, deadline_s)

    def write(self, slot: int, copy: int, data: bytes) -> None:
        super().write(slot, copy, data)
        self.replanned = self.replanned or slot == PLAN

    def turn(self) -> int:
        """Take a turn; after a new plan was written, restart under it, as a board does."""
        wake_s = super().turn()
        if not self.replanned:
            return wake_s
        self.replanned = False
        self.plan = self.runner.hub.plan
        self.valves = len(self.plan.zones) + len(self.plan.supplies)
        self.soil_um = [0] * len(self.plan.zones)
        before = self.seen
        self.seen = Seen(len(self.plan.zones), len(self.plan.supplies))
        self.seen.temp_mc = before.temp_mc
        self.cut_power(0, True)
        return 0

    def report(self, event: "tuple[int, ...]") -> None:
        if self.mute:
            raise OSError("no console")
        super().report(event)


def random_row(draw: Draw, month: int) -> "plans.RowPart":
    """A row of a month: closed, by a window, or by explicit starts."""
    day = draw.within(1, 28)
    usual = {
        "run_s": draw.within(60, 2400),
        "run_ml": draw.one(0, 0, draw.within(1000, 60000)),
        "demand_um": draw.below(9000),
        "rain_um": draw.below(3000),
    }
    kind = draw.below(8)
    if kind == 0:
        return row(month, day, 0)
    if kind < 4:
        starts_min = [draw.below(1440)]
        while len(starts_min) < 4:
            later_min = starts_min[-1] + draw.within(1, 500)
            if later_min >= 1440:
                break
            starts_min.append(later_min)
        return row(month, day, 0, tuple(starts_min), **usual)
    start_min = draw.below(1440)
    cycles = draw.one(1, 2, 3, 4, 6, draw.within(1, 24))
    length_min = draw.within(cycles, 1440)
    return row(month, day, cycles, (), start_min=start_min, length_min=length_min, **usual)


def random_zone(draw: Draw, supplies: int) -> "dict[str, int]":
    """Changes of one zone."""
    return {
        "supply": draw.below(supplies),
        "share_pct": draw.one(100, draw.within(0, 300)),
        "rest_s": draw.one(0, draw.below(7200)),
        "cap_s": draw.within(600, 20000),
        "longest_s": draw.within(60, 5400),
        "exposure_pct": draw.below(300),
        "demand_ppt": draw.below(1500),
        "rate_um_h": draw.one(9000, draw.within(1000, 40000)),
        "begin_um": draw.within(36000, 200000),
        "top_um": draw.below(40000),
        "beside_ppm": draw.below(20000),
        "held": draw.chance(40),
        "probe": draw.chance(40),
    }


def random_plan(draw: Draw) -> "plans.Plan":
    """A plan that passes its own check: draws again until one does."""
    while True:
        supplies = draw.within(1, 4)
        zones = [random_zone(draw, supplies) for _ in range(draw.within(supplies, 8))]
        probed = [zone + 1 for zone, part in enumerate(zones) if part["probe"]]
        for part in zones:
            part["sensor"] = draw.one(0, *probed)
        std_s = draw.one(*OFFSETS_S)
        on_month = draw.within(1, 12)
        bans = []
        for _ in range(draw.one(0, 0, 1, 2)):
            if draw.chance(60):
                first_min = draw.below(1200)
                bans.append((plans.BAN_HOURS, first_min, first_min + draw.below(240)))
            else:
                month = draw.within(1, 12)
                bans.append((plans.BAN_DATES, month * 32 + draw.within(1, 28), month * 32 + 28))
        try:
            made = plan(
                zones=zones,
                rows=[random_row(draw, month) for month in range(1, 13, draw.one(1, 3, 12))],
                supplies=[
                    {
                        "meter": draw.chance(40),
                        "master": draw.chance(30),
                        "gap_s": draw.one(0, 30, draw.below(600)),
                    }
                    for _ in range(supplies)
                ],
                bans=bans,
                std_s=std_s,
                dst_s=std_s + draw.one(3600, 1800, -3600),
                dst=draw.chance(60),
                on_month=on_month,
                on_week=draw.within(1, 5),
                on_weekday=draw.below(7),
                off_month=(on_month + draw.within(3, 8)) % 12 + 1,
                off_week=draw.within(1, 5),
                open_max=draw.within(1, supplies),
                poll_s=draw.one(1800, 3600, 3600, draw.within(60, 3600)),
                watch_s=draw.one(300, 600, 600, draw.within(10, 600)),
                frost=draw.chance(70),
                rain_kind=draw.below(3),
                weekdays=draw.one(127, 127, 127, draw.within(1, 127)),
                dates=draw.one(0, 0, 0, 1, 2),
                battery=draw.chance(50),
                estimate=draw.chance(80),
            )
            check_plan(made)
            return made
        except PlanError:
            continue


def random_asked(draw: Draw, zones: int, now_wall_s: int, spare: bytes) -> "Asked":
    """One owner command, of any kind, and not always a good one."""
    what = draw.one(
        ASK_HOLD,
        ASK_CHECK,
        ASK_SAMPLE,
        ASK_RUN,
        ASK_RUN_ANYWAY,
        ASK_STOP,
        ASK_CLEAR,
        ASK_CLEAR,
        ASK_CLOCK,
        ASK_PLAN,
        ASK_TEST,
        99,
    )
    zone = draw.one(-1, draw.below(zones), draw.below(9))
    value: object = draw.below(4000)
    if what == ASK_HOLD:
        value = draw.one(0, now_wall_s + draw.below(2 * DAY))
    elif what == ASK_CHECK:
        value = tuple([draw.within(1, 3) for _ in range(draw.within(1, 3))])
    elif what == ASK_SAMPLE:
        value = (draw.below(6), (draw.below(5), draw.below(5)))[draw.below(2)]
    elif what == ASK_CLOCK:
        value = now_wall_s + draw.one(0, 0, draw.below(7200))
    elif what == ASK_PLAN:
        value = spare[: draw.one(len(spare), len(spare), draw.below(len(spare)))]
    return (what, zone, value)


def begin(bench: Faulty, name: str) -> None:
    """A fault begins."""
    draw = bench.draw
    if name in ("broken_open", "broken_close"):
        bench.broken.add((draw.below(bench.valves), name[7:]))
    elif name == "lost":
        bench.offset_s = None
    elif name in ("back", "forward"):
        if bench.offset_s is not None:
            step_s = draw.one(draw.below(120), draw.below(2 * HOUR), draw.below(3 * DAY))
            bench.offset_s += step_s if name == "forward" else -step_s
    elif name in ("cut", "cut_lost", "torn"):
        if name == "torn":  # the power went while a copy was being written
            copy = draw.below(2)
            data = bench.read(RECORD, copy)
            bench.store[(RECORD, copy)] = data[: draw.below(len(data) + 1)]
        bench.cut_power(draw.one(30, draw.below(HOUR), draw.below(2 * DAY)), name != "cut_lost")
    elif name == "explode":
        bench.broken_hub = bench.runner.hub
    elif name == "dry_tap":
        bench.tap_ml_s = 0
    elif name == "burst":
        bench.tap_ml_s = 160
    elif name == "leak":
        bench.leak_ml_s = draw.within(1, 20)


def end(bench: Faulty, name: str, first_s: int) -> None:
    """A fault is over."""
    if name in ("broken_open", "broken_close"):
        bench.broken = set()
    elif name == "lost" and bench.offset_s is None:
        bench.offset_s = first_s + bench.true_s - bench.now_s
    elif name in ("dry_tap", "burst"):
        bench.tap_ml_s = 50
    elif name == "leak":
        bench.leak_ml_s = 0


def sense(bench: Faulty, faults: "list[str]", warm_mc: int) -> None:
    """Set what every sensor reads this hour."""
    draw = bench.draw
    seen = bench.seen
    bench.store_broken = "store" in faults
    bench.mute = "report" in faults
    bench.blind = "blind" in faults
    bench.no_wall = "no_wall" in faults
    rains = draw.chance(6)
    if rains and seen.rain_um is not None:
        seen.rain_um += draw.below(9000)
    seen.rain_wet = bool(rains)
    seen.temp_mc = -3000 if "cold" in faults else warm_mc + draw.below(9000)
    seen.battery_mv = draw.one(6300, 6800) if "battery" in faults else 8000 - draw.below(200)
    for zone, part in enumerate(bench.plan.zones):
        if part.probe:
            soil_um = min(max(0, bench.soil_um[zone] - 150 + rains * 3000), 32000)
            bench.soil_um[zone] = soil_um
            ppt: "int | None" = 280 + soil_um // 400 + draw.below(7)
            if "probe" in faults:
                ppt = (None, 0, 900, 545)[draw.below(4)]
            seen.soil_vwc_ppt[zone] = ppt


def timetable(draw: Draw) -> "list[tuple[int, int, str]]":
    """(second, second of its end, fault) in order; some weeks have none."""
    found = []
    for _ in range(draw.one(0, 2, 4, 6, 8)):
        at_s = draw.below(WEEK_S)
        end_s = at_s + draw.one(HOUR, 6 * HOUR, DAY, draw.within(1, 2 * DAY))
        found.append((at_s, end_s, FAULTS[draw.below(len(FAULTS))]))
    found.sort()
    return found


def first_second(seed: int, draw: Draw) -> int:
    """When the week begins; every fourth one passes the end of a board's small integers."""
    if seed % 4 == 0:
        return wall(*SMALL_INT_END) - draw.below(WEEK_S)
    return wall(draw.within(2025, 2098), draw.within(1, 12), draw.within(1, 28), draw.below(24))


def week(seed: int, put: "Callable[[str], None]") -> None:
    """Live one week; `put` takes each line of its trace."""
    draw = Draw((seed * 2654435761 + 12345) & 0xFFFFFFFF)
    made = random_plan(draw)
    spare = random_plan(draw).pack()
    first_s = first_second(seed, draw)
    put("week %d: plan %d, from %d" % (seed, made.crc, first_s))
    bench = Faulty(made, put, first_s, draw.below(1 << 24))
    warm_mc = draw.within(1000, 26000)
    coming = timetable(draw)
    asks = [draw.below(WEEK_S) for _ in range(draw.below(6))]
    asks += [at_s + draw.below(900) for at_s in asks]  # an owner seldom says one thing only
    asks.sort()
    standing: "list[tuple[int, str]]" = []  # end, fault
    sense(bench, [], warm_mc)
    bench.boot()
    if seed % 2:  # half of the hubs know the lasting errors of what they hear
        record = bench.runner.hub.record
        record.heard[:] = [8] * len(record.heard)
    for hour in range(7 * 24):
        hour_end_s = (hour + 1) * HOUR
        while coming and coming[0][0] < hour_end_s:
            at_s, end_s, name = coming.pop(0)
            bench.live(at_s)
            put("fault %d %s" % (bench.true_s, name))
            begin(bench, name)
            standing.append((end_s, name))
        while asks and asks[0] < hour_end_s:
            bench.live(asks.pop(0))
            now_wall_s = first_s + bench.true_s
            bench.asked = [random_asked(draw, len(bench.plan.zones), now_wall_s, spare)]
        bench.live(hour_end_s)
        for end_s, name in [entry for entry in standing if entry[0] <= hour_end_s]:
            end(bench, name, first_s)
            standing.remove((end_s, name))
        sense(bench, [entry[1] for entry in standing], warm_mc)
    put("end %d %d" % (bench.true_s, bench.writes))


def traced(seed: int) -> str:
    """The whole trace of a week."""
    lines: "list[str]" = []
    week(seed, lines.append)
    lines.append("")
    return "\n".join(lines)


def golden(seed: int, text: str) -> str:
    """What the golden file holds of a week."""
    return "week %d: %d lines, CRC-32 %d\n" % (seed, text.count("\n"), crc32(text.encode()))


def main() -> None:
    """Print traces, or re-make the golden file."""
    if "--write" not in sys.argv:
        for word in sys.argv[1:]:
            week(int(word), print)
        return
    path = __file__.replace("device/random_weeks.py", "golden/weeks.txt")
    with open(path, "w") as file:
        for seed in range(WEEKS):
            file.write(golden(seed, traced(seed)))


if __name__ == "__main__":
    main()
