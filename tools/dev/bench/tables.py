"""Print the benchmark table: a hub's steps, other libraries' for scale, and whole years.

python -m evenclay.tools.dev.bench.tables

The hub's steps are those of the sources. Years and sweep are measured twice: from the sources, and
with the compiled core where it was built.
"""

import os
import statistics
import subprocess
import sys

from rich.console import Console
from rich.table import Table

from evenclay.tools.dev import compiled
from evenclay.tools.dev.bench.houses import ZONES, demo, widened
from evenclay.tools.dev.bench.steps import (
    WARM_DAYS,
    Turns,
    apscheduler_us,
    croniter_us,
    simpy_event_us,
    turns,
)
from evenclay.tools.dev.bench.years import (
    GROUNDS,
    SWEPT_YEARS,
    YEARS,
    Year,
    grounds_s,
    sweep_s,
    year,
)

OPENING_MOST_US, POLL_MOST_US = 15.0, 4.0
YEAR_MOST_MS, WIDE_PHYSICS_MOST_MS = 300.0, 60.0
GROUNDS_MOST_S = 5.0
SWEEP_YEARS, SWEEP_MOST_S = 1000, 150.0


def main() -> None:
    """Measure, and print the tables, each part in a process of its own."""
    parts = {"hub": _print_hub, "years": _print_years}
    if len(sys.argv) > 1:
        parts[sys.argv[1]]()
        return
    todo = [("hub", ""), ("years", "")]
    if compiled.fresh(compiled.FOLDER):
        todo.append(("years", str(compiled.FOLDER)))
    for part, core in todo:
        command = [sys.executable, "-m", "evenclay.tools.dev.bench.tables", part]
        subprocess.run(command, env=os.environ | {compiled.VARIABLE: core}, check=True)


def _core() -> str:
    return "core compiled" if compiled.in_use() else "core interpreted"


def _print_hub() -> None:
    console = Console()
    with console.status("measuring"):
        plan = demo()[0].plan
        assert not plan.supplies[0].meter and plan.supplies[1].meter
        found, looked = turns(widened(plan, 0)), turns(widened(plan, 1))
        scale = {
            "a bare SimPy event": simpy_event_us(),
            "croniter, next fire": croniter_us(),
            "APScheduler CronTrigger, next fire": apscheduler_us(),
        }
    console.print(_hub_table(found, looked, scale))


def _print_years() -> None:
    console = Console()
    with console.status("measuring"):
        one_year, wide_year = year(*demo()), year(*demo(wide=True))
        lived_s = grounds_s()
        swept_s = sweep_s() * SWEEP_YEARS / SWEPT_YEARS
    console.print(_year_table(one_year, YEAR_MOST_MS, None))
    console.print(_year_table(wide_year, None, WIDE_PHYSICS_MOST_MS))
    console.print(
        f"the demo's year on {GROUNDS} grounds, four ways, {_core()}, settled before, on two "
        f"processes: {lived_s:.1f} s, {_bar(lived_s, GROUNDS_MOST_S)}"
    )
    physics_ms = min(wide_year.physics_ms)
    console.print(
        f"a sweep of {SWEEP_YEARS} years x {ZONES} zones, the hub in the loop and the same ground "
        f"left alone, {_core()}, by {SWEPT_YEARS} on two processes: {swept_s:.0f} s, "
        f"{_bar(swept_s, SWEEP_MOST_S)}; {swept_s * 2e3 / SWEEP_YEARS / physics_ms:.1f} times its "
        "physics"
    )


def _bar(value: float, most: float | None) -> str:
    """What a value may be at most, and whether it is more; nothing where there is no bar."""
    if most is None:
        return ""
    return f"at most {most:g}" + ("" if value <= most else "  MISSED")


def _row(table: Table, name: str, value: float, most: float | None, base: float) -> None:
    table.add_row(name, f"{value:.2f}", _bar(value, most), f"{value / base:.2f}")


def _hub_table(found: Turns, looked: Turns, scale: dict[str, float]) -> Table:
    table = Table(title=f"{ZONES} zones, {_core()}, median")
    for column in ("what", "us", "bar", "SimPy events"):
        table.add_column(column, justify="left" if column in ("what", "bar") else "right")
    base = scale["a bare SimPy event"]

    def median_us(times_s: list[float]) -> float:
        return 1e6 * statistics.median(times_s)

    opening, poll = len(found.opening_s), len(found.poll_s)
    _row(table, f"opening wake, {opening}: hub", median_us(found.opening_s), OPENING_MOST_US, base)
    _row(table, "  with the runner", median_us(found.opening_turn_s), None, base)
    _row(table, f"idle poll, {poll}: hub", median_us(found.poll_s), POLL_MOST_US, base)
    _row(table, "  with the runner", median_us(found.poll_turn_s), None, base)
    poll, look = len(looked.poll_s), len(looked.look_s)
    _row(table, f"the same with a meter, {poll}: hub", median_us(looked.poll_s), None, base)
    each = f"its look each idle minute, {look}: hub"
    _row(table, each, median_us(looked.look_s), None, base)
    _row(table, "  with the runner", median_us(looked.look_turn_s), None, base)
    _row(table, "  a day's, with the runner", sum(looked.look_turn_s) * 1e6 / WARM_DAYS, None, base)
    for name, value in scale.items():
        _row(table, name, value, None, base)
    return table


def _year_table(found: Year, most_ms: float | None, physics_most_ms: float | None) -> Table:
    physics = statistics.median(found.physics_ms)
    table = Table(
        title=f"the demo's year, {_core()}, {found.zones} zones: "
        f"{found.runs} runs, {found.wakes} wakes, {YEARS} repeats"
    )
    for column in ("what", "best ms", "median ms", "bar", "physics alone"):
        table.add_column(column, justify="left" if column in ("what", "bar") else "right")
    for name, times_ms, bar_ms in (
        ("under its hub", found.whole_ms, most_ms),
        ("physics alone", found.physics_ms, physics_most_ms),
    ):
        best, median = min(times_ms), statistics.median(times_ms)
        bar = _bar(best, bar_ms)
        table.add_row(name, f"{best:.1f}", f"{median:.1f}", bar, f"{median / physics:.1f}")
    return table


if __name__ == "__main__":
    main()
