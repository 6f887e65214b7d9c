"""A plan builder and a bench for tests of the core: a hub on ports that live in memory.

Runs on CPython and on MicroPython alike; imports nothing but the core.
"""

# MicroPython does not evaluate annotations: they stay quoted.
# ruff: noqa: UP031, UP037

from evenclay.controller import plan as plans
from evenclay.controller._const import TYPE_CHECKING
from evenclay.controller.civil import day_of
from evenclay.controller.ports import PLAN, Seen
from evenclay.controller.runner import Runner

if TYPE_CHECKING:
    from typing import Any

    from evenclay.controller.ports import Asked

# US Central time: invented only in that the house stands nowhere.
HUB = {
    "std_s": -21600,
    "dst_s": -18000,
    "dst": 1,
    "on_month": 3,
    "on_week": 2,
    "on_weekday": 0,
    "on_s": 7200,
    "off_month": 11,
    "off_week": 1,
    "off_weekday": 0,
    "off_s": 7200,
    "open_max": 1,
    "poll_s": 3600,
    "watch_s": 300,
    "frost": 1,
    "frost_on_mc": 2000,
    "frost_off_mc": 4000,
    "frost_hold_s": 7200,
    "rain_kind": plans.GAUGE,
    "rain_skip_um": 2000,
    "rain_cap_um": 25000,
    "drain_floor_um": 1000,
    "lock_floor_um": 5000,
    "dry_after_s": 86400,
    "weekdays": 127,
    "dates": plans.ANY_DATE,
    "battery": 0,
    "battery_open_mv": 7000,
    "battery_reserve_mv": 6500,
    "trim_step_pct": 10,
    "trim_least_pct": 50,
    "trim_most_pct": 170,
    "trim_gap_days": 5,
    "auto_trim": plans.AUTO_OFF,
    "rewet_pct": 125,
    "rewet_um": 8000,
    "rewet_days": 28,
    "rewet_hold_days": 7,
}
SUPPLY = {"flow_ml_min": 20000, "gap_s": 30, "travel_s": 0, "meter": 0, "master": 0}
ZONE = {
    "supply": 0,
    "share_pct": 100,
    "rest_s": 0,
    "cap_s": 7200,
    "longest_s": 3600,
    "flow_ml_min": 3000,
    "rate_um_h": 9000,
    "exposure_pct": 100,
    "demand_pct": 60,
    "held": 0,
    "probe": 0,
    "wet_ppt": 350,
    "wet_off_ppt": 340,
    "dry_ppt": 300,
}
ROW = {
    "cycles": 0,
    "run_s": 600,
    "run_ml": 0,
    "demand_um": 5000,
    "start_min": 300,
    "length_min": 720,
}


def with_codes(fields: str) -> "list[tuple[str, str]]":
    """Name and `struct` code of each field in a table of the record or the plan."""
    words = fields.split()
    return list(zip(words[::2], words[1::2]))  # noqa: B905 MicroPython has no strict


def merged(defaults: "dict[str, int]", changes: "dict[str, int]") -> "dict[str, int]":
    """Return a copy of a table of fields with some changed; refuses a name it does not know."""
    both = dict(defaults)
    for name in changes:
        assert name in defaults or name in ("tag", "month", "day"), name
    both.update(changes)
    return both


def row(
    month: int, day: int, cycles: int = 0, starts_min: "tuple[int, ...]" = (), **changes: int
) -> "plans.RowPart":
    """Return a season row."""
    values = merged(ROW, changes)
    values["month"] = month
    values["day"] = day
    values["cycles"] = len(starts_min) or cycles
    both: "dict[str, Any]" = dict(values)
    both["starts_min"] = tuple(starts_min)
    return plans.RowPart(both)


def usual_rows() -> "list[plans.RowPart]":
    """Rows of one usual calendar for a hot summer (common practice, no source)."""
    return [
        row(5, 1, 3, run_s=600),
        row(7, 1, 4, run_s=900),
        row(9, 16, 3, run_s=600),
        row(11, 1, 0),
    ]


def plan(
    zones: "int | list[dict[str, int]]" = 3,
    rows: "list[plans.RowPart] | None" = None,
    supplies: "list[dict[str, int]] | None" = None,
    bans: "tuple[tuple[int, int, int], ...] | list[tuple[int, int, int]]" = (),
    zone: "dict[str, int] | None" = None,
    **hub: int,
) -> "plans.Plan":
    """Return a packed plan.

    zones: a count, or a list of dicts of changes, one a zone; zone: changes for every zone;
    supplies: a list of dicts of changes; bans: tuples (kind, first, last); hub: changes of the hub.
    """
    changes: "list[dict[str, int]]" = (
        [{} for _ in range(zones)] if isinstance(zones, int) else zones
    )
    parts = []
    for index, change in enumerate(changes):
        both = dict(zone or {})
        both.update(change)
        both.setdefault("tag", index + 1)
        values: "dict[str, Any]" = dict(merged(ZONE, both))
        values["name"] = "zone %d" % index
        parts.append(plans.ZonePart(values))
    made = plans.Plan(
        plans.HubPart(merged(HUB, hub)),
        [plans.SupplyPart(merged(SUPPLY, change)) for change in supplies or [{}]],
        parts,
        usual_rows() if rows is None else rows,
        [plans.BanPart({"kind": kind, "first": first, "last": last}) for kind, first, last in bans],
    )
    made.pack()
    return made


def wall(year: int, month: int, day: int, hour: int = 0, minute: int = 0, second: int = 0) -> int:
    """Return UTC seconds since 2000-01-01."""
    return day_of(year, month, day) * 86400 + hour * 3600 + minute * 60 + second


class Bench:
    """Ports in memory. `calls` is every port call that matters, in order, with its uptime.

    Change `seen`, `offset_s` (wall less uptime; None: clock lost) and `asked` at will; put
    (valve, "open" or "close") into `broken` to have a driver raise.
    """

    def __init__(
        self,
        plan: "plans.Plan",
        start_wall_s: "int | None",
        store: "dict[tuple[int, int], bytes] | None" = None,
    ) -> None:
        self.plan = plan
        self.valves = len(plan.zones) + len(plan.supplies)
        self.now_s = 0
        self.offset_s = start_wall_s
        self.seen = Seen(len(plan.zones), len(plan.supplies))
        self.seen.rain_um = 0
        self.seen.temp_mc = 15000
        self.asked: "list[Asked]" = []
        self.calls: "list[tuple[str, int, int]]" = []
        self.events: "list[tuple[int, ...]]" = []
        self.broken: "set[tuple[int, str]]" = set()
        self.store_broken = False
        self.writes = 0
        self.open_since: "dict[int, int]" = {}
        self.store = {(PLAN, 0): plan.pack()} if store is None else store
        self.runner: "Any" = None

    def boot(self) -> "Runner":
        """Start a runner on these ports; uptime begins at 0."""
        if self.offset_s is not None:
            self.offset_s += self.now_s
        self.now_s = 0
        runner = Runner(self)
        self.runner = runner
        return runner

    def run_until(self, up_s: int, every_s: int = 0) -> None:
        """Take turns up to an uptime: at each wake, or every `every_s` seconds."""
        while self.now_s <= up_s:
            wake_s = self.runner.turn()
            step_s = self.now_s + every_s if every_s else wake_s
            self.now_s = max(step_s, self.now_s + 1)
        self.now_s = up_s

    # The ports.

    def up_s(self) -> int:
        return self.now_s

    def wall_s(self) -> "int | None":
        return None if self.offset_s is None else self.now_s + self.offset_s

    def set_wall_s(self, wall_s: int) -> None:
        self.offset_s = wall_s - self.now_s

    def look(self) -> Seen:
        return self.seen

    def take_asked(self) -> "list[Asked]":
        asked = self.asked
        self.asked = []
        return asked

    def close(self, valve: int) -> None:
        self.calls.append(("close", valve, self.now_s))
        if (valve, "close") in self.broken:
            raise OSError("valve %d does not close" % valve)
        self.open_since.pop(valve, None)

    def open(self, valve: int, deadline_s: int) -> None:
        self.calls.append(("open", valve, self.now_s))
        if (valve, "open") in self.broken:
            raise OSError("valve %d does not open" % valve)
        self.open_since[valve] = self.now_s

    def read(self, slot: int, copy: int) -> bytes:
        return self.store.get((slot, copy), b"")

    def write(self, slot: int, copy: int, data: bytes) -> None:
        if self.store_broken:
            raise OSError("store is full")
        self.writes += 1
        self.calls.append(("save", slot, self.now_s))
        self.store[(slot, copy)] = data

    def report(self, event: "tuple[int, ...]") -> None:
        self.events.append(event)

    def feed(self) -> None:
        pass

    # What tests ask.

    def told(self, what: int, why: "int | None" = None) -> "list[tuple[int, ...]]":
        """Return the events of a kind."""
        return [e for e in self.events if e[0] == what and (why is None or e[2] == why)]
