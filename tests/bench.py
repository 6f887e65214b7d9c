"""Short ways to say what a test of the core needs, on the bench of `tests/core.py`."""

from evenclay.controller.events import (
    ACCEPTED,
    ALARM,
    CLEARED,
    CLOSED,
    CUT_SHORT,
    LOCKED,
    OPENED,
    REFUSED,
    RELEASED,
    SKIPPED,
)
from evenclay.controller.plan import Plan, RowPart
from evenclay.controller.ports import Seen
from evenclay.controller.runner import Runner
from tests.core import Bench, plan, row, wall

MIN_S = 60
HOUR_S = 3600
DAY_S = 86400
START_S = wall(2025, 7, 1)  # a Tuesday
Event = tuple[int, ...]


def utc_plan(
    zones: int | list[dict[str, int]] = 1,
    starts_min: tuple[int, ...] = (360, 720),
    rows: list[RowPart] | None = None,
    run_s: int = 600,
    demand_um: int = 0,
    supplies: list[dict[str, int]] | None = None,
    bans: tuple[tuple[int, int, int], ...] = (),
    zone: dict[str, int] | None = None,
    **hub: int,
) -> Plan:
    """One zone, watered at 06:00 and 12:00 for ten minutes, all year, where local time is UTC.

    Its sensors are read every minute.
    """
    all_year = [row(1, 1, starts_min=starts_min, run_s=run_s, demand_um=demand_um)]
    fixed = {"std_s": 0, "dst_s": 0, "dst": 0, "poll_s": 60, "watch_s": 60}
    return plan(zones, rows or all_year, supplies, bans, zone, **{**fixed, **hub})


def booted(made: Plan, start_wall_s: int | None = START_S) -> Bench:
    """A bench whose hub has taken its first turn at local midnight."""
    bench = Bench(made, start_wall_s)
    bench.seen.soil_vwc_ppt = [320] * len(made.zones)
    bench.boot()
    bench.run_until(0)
    return bench


def ask(bench: Bench, what: int, zone: int = -1, value: object = 0) -> tuple[bool, int]:
    """Ask now. Returns whether it was accepted, and why not."""
    before = len(bench.events)
    bench.asked = [(what, zone, value)]
    bench.runner.turn()
    answers = [e for e in bench.events[before:] if e[0] in (ACCEPTED, REFUSED) and e[3] == what]
    assert answers, bench.events[before:]
    return answers[0][0] == ACCEPTED, answers[0][2]


def spans(bench: Bench, zone: int = 0) -> list[tuple[int, int]]:
    """When a valve was open, as its driver knows it: (opened, closed) uptimes."""
    found = []
    opened_s = None
    for what, valve, up_s in bench.calls:
        if valve == zone and what == "open":
            assert opened_s is None
            opened_s = up_s
        elif valve == zone and what == "close" and opened_s is not None:
            found.append((opened_s, up_s))
            opened_s = None
    return found if opened_s is None else [*found, (opened_s, bench.now_s)]


def edges(bench: Bench, why: int, zone: int | None = None) -> list[tuple[int, int]]:
    """When a lockout or alarm began (1) and ended (0): (1 or 0, uptime)."""
    return [
        (int(e[0] in (LOCKED, ALARM)), e[6])
        for e in bench.events
        if e[0] in (LOCKED, RELEASED, ALARM, CLEARED)
        and e[2] == why
        and (zone is None or e[1] == zone)
    ]


def runs(bench: Bench, zone: int = 0) -> list[tuple[int, int, int]]:
    """What became of a zone's runs, without openings: (what, why, uptime)."""
    return [
        (e[0], e[2], e[6])
        for e in bench.events
        if e[1] == zone and e[0] in (CLOSED, CUT_SHORT, SKIPPED)
    ]


def opened(bench: Bench, zone: int = 0) -> list[int]:
    """Uptimes at which a zone was opened, as events tell."""
    return [e[6] for e in bench.events if e[0] == OPENED and e[1] == zone]


class Piped(Bench):
    """A bench whose meters count what flows: `flow_ml_min` a zone, `leak_ml_min` a supply.

    A zone flows on while its valve travels shut, as long as its supply's `travel_s` says.
    """

    def __init__(self, made: Plan, start_wall_s: int | None = START_S) -> None:
        super().__init__(made, start_wall_s)
        self.flow_ml_min = [3000] * len(made.zones)
        self.leak_ml_min = [0] * len(made.supplies)
        self.flowed = [0] * len(made.supplies)  # sixtieths of a millilitre
        self.counted_s = 0
        self.shutting: dict[int, int] = {}  # zones, and until when they flow
        self.open_takes_s = 0  # how long a driver needs
        self.seen.meter_ml = [0] * len(made.supplies)

    def count(self) -> None:
        """Let flow what flowed since the last call."""
        from_s = self.counted_s
        took_s = self.now_s - from_s
        self.counted_s = self.now_s
        for supply, leak_ml_min in enumerate(self.leak_ml_min):
            self.flowed[supply] += leak_ml_min * took_s
        flows_s = dict.fromkeys(self.open_since, took_s)
        for valve, until_s in self.shutting.items():
            flows_s[valve] = min(max(until_s - from_s, 0), took_s)
        for valve, flow_s in flows_s.items():
            if valve < len(self.plan.zones):
                supply = self.plan.zones[valve].supply
                self.flowed[supply] += self.flow_ml_min[valve] * flow_s

    def boot(self) -> Runner:
        self.flowed = [0] * len(self.flowed)
        self.shutting = {valve: s - self.now_s for valve, s in self.shutting.items()}
        self.counted_s = 0
        return super().boot()

    def look(self) -> Seen:
        self.count()
        for supply, flowed in enumerate(self.flowed):
            if self.seen.meter_ml[supply] is not None:
                self.seen.meter_ml[supply] = flowed // 60
        return super().look()

    def open(self, valve: int, deadline_s: int) -> None:
        self.count()
        self.shutting.pop(valve, None)
        super().open(valve, deadline_s)
        self.now_s += self.open_takes_s

    def close(self, valve: int) -> None:
        self.count()
        if valve in self.open_since and valve < len(self.plan.zones):
            travel_s = self.plan.supplies[self.plan.zones[valve].supply].travel_s
            self.shutting[valve] = self.now_s + travel_s
        super().close(valve)


def piped(made: Plan) -> Piped:
    """A piped bench whose hub has taken its first turn at local midnight."""
    bench = Piped(made)
    bench.boot()
    bench.run_until(0)
    return bench
