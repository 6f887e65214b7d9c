"""A plan builder and a bench for tests of the core: a hub on ports that live in memory.

Runs on CPython and on MicroPython alike; imports nothing but the core.
"""

# MicroPython does not evaluate annotations: they stay quoted.
# ruff: noqa: UP031, UP037

from evenclay.controller import TYPE_CHECKING
from evenclay.controller import plan as plans
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
    "dry_after_s": 86400,
    "weekdays": 127,
    "dates": plans.ANY_DATE,
    "battery": 0,
    "battery_open_mv": 7000,
    "battery_reserve_mv": 6500,
    "estimate": 0,
    "dose_um": 3000,
    "opening_um": 8000,
    "yard_top_um": 30000,
    "yard_top_ppt": 400,
    "yard_freely_um": 60000,
    "yard_end_um": 160000,
    "yard_demand_ppt": 700,
    "yard_hold_um": 60000,
    "yard_lack_um": 50000,
    "sample_gain_pct": 70,
    "sensor_gain_pct": 20,
    "learn_ppt": 5,
    "whole_mpf": 200,
}
# The sun of 33 degrees north, um a day (FAO-56, eq. 21).
SUN_UM = (
    7618,
    8320,
    9344,
    10593,
    11944,
    13268,
    14454,
    15428,
    16156,
    16636,
    16881,
    16907,
    16718,
    16309,
    15671,
    14797,
    13707,
    12452,
    11122,
    9836,
    8717,
    7875,
    7388,
    7299,
)
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
    "held": 0,
    "probe": 0,
    "wet_ppt": 350,
    "wet_off_ppt": 340,
    "demand_ppt": 600,
    "top_um": 25000,
    "top_ppt": 400,
    "freely_um": 50000,
    "end_um": 150000,
    "beside_ppm": 4000,
    "hold_um": 60000,
    "begin_um": 60000,
    "target_um": 36000,
    "sensor": 0,
    "full_ppt": 380,
    "per_pf_ppt": 60,
    "error_mpf": 250,
    "class1_um": 150000,
    "class2_um": 90000,
    "class3_um": 60000,
    "class4_um": 30000,
}
ROW = {
    "cycles": 0,
    "run_s": 600,
    "run_ml": 0,
    "demand_um": 5000,
    "rain_um": 1000,
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
    hub_values: "dict[str, Any]" = dict(merged(HUB, hub))
    hub_values["sun_um"] = SUN_UM
    made = plans.Plan(
        plans.HubPart(hub_values),
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
