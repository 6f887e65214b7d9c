"""Print the benchmark table: a hub's steps, other libraries' for scale, and whole years.

python -m evenclay.tools.dev.bench

The hub's steps are those of the sources. Years and sweep are measured twice: from the sources, and
with the compiled core where it was built.
"""

import os
import statistics
import subprocess
import sys

from rich.console import Console
from rich.table import Table

from evenclay.sim.ground import soil
from evenclay.tools.dev import compiled
from evenclay.tools.dev.bench_houses import ZONES, demo, widened
from evenclay.tools.dev.bench_steps import (
    WARM_DAYS,
    Turns,
    apscheduler_us,
    croniter_us,
    simpy_event_us,
    turns,
)
from evenclay.tools.dev.bench_years import (
    BATCH_MOST_S,
    BATCH_ZONE_YEARS,
    SWEPT_YEARS,
    YEARS,
    Year,
    batch_s,
    on_section,
    sweep_s,
    year,
)

OPENING_MOST_US, POLL_MOST_US = 15.0, 4.0
YEAR_MOST_MS, WIDE_YEAR_MOST_MS, YEAR_AIM_MS = 200.0, 250.0, 60.0
SECTION_YEAR_MOST_MS, SECTION_PHYSICS_MOST_MS = 300.0, 60.0
SWEEP_YEARS, SWEEP_MOST_S, SWEEP_AIM_S = 1000, 150.0, 40.0


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
        command = [sys.executable, "-m", "evenclay.tools.dev.bench", part]
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
        took_s, zone_years = batch_s()
    console.print(_hub_table(found, looked, scale))
    per_bar_s = took_s * BATCH_ZONE_YEARS / zone_years
    kept = "" if per_bar_s <= BATCH_MOST_S else "  MISSED"
    console.print(
        f"{BATCH_ZONE_YEARS} zone-years of columns, watered and unwatered, two threads: "
        f"{per_bar_s:.2f} s, at most {BATCH_MOST_S:g}{kept}"
    )


def _print_years() -> None:
    console = Console()
    with console.status("measuring"):
        one_year, wide_year = year(*demo()), year(*demo(wide=True))
        section = on_section()
        swept_s = sweep_s() * SWEEP_YEARS / SWEPT_YEARS
    console.print(_year_table(one_year, YEAR_MOST_MS))
    console.print(_year_table(wide_year, WIDE_YEAR_MOST_MS))
    for name, times_ms, most_ms in (
        ("the demo's year with its hub", section.hub_ms, SECTION_YEAR_MOST_MS),
        (f"physics alone, {ZONES} zones' year", section.physics_ms, SECTION_PHYSICS_MOST_MS),
    ):
        best_ms = min(times_ms)
        kept = "" if best_ms <= most_ms else "  MISSED"
        console.print(
            f"on the cross-section, {name}, {_core()}: best {best_ms:.0f} ms, median "
            f"{statistics.median(times_ms):.0f}, at most {most_ms:g}{kept}"
        )
    kept = "" if swept_s <= SWEEP_MOST_S else "  MISSED"
    physics_ms = min(wide_year.physics_ms)
    console.print(
        f"a sweep of {SWEEP_YEARS} years x {ZONES} zones, the hub in the loop, {_core()}, by "
        f"{SWEPT_YEARS} on two processes: {swept_s:.0f} s, at most {SWEEP_MOST_S:g}, aim "
        f"{SWEEP_AIM_S:g}{kept}; {swept_s * 2e3 / SWEEP_YEARS / physics_ms:.1f} times its physics"
    )


def _row(table: Table, name: str, value: float, most: float | None, base: float) -> None:
    kept = "" if most is None else f"at most {most:g}" + ("" if value <= most else "  MISSED")
    table.add_row(name, f"{value:.2f}", kept, f"{value / base:.2f}")


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


def _year_table(found: Year, most_ms: float) -> Table:
    physics = statistics.median(found.physics_ms)
    table = Table(
        title=f"the demo's year, {_core()}, {found.zones} zones of {soil.LAYERS} layers: "
        f"{found.runs} runs, {found.wakes} wakes, {YEARS} repeats"
    )
    for column in ("what", "best ms", "median ms", "bar", "physics alone"):
        table.add_column(column, justify="left" if column in ("what", "bar") else "right")
    for name, times_ms, bar in (
        ("replay with hourly soil", found.whole_ms, True),
        ("physics alone", found.physics_ms, False),
        ("the ground unwatered, once for all policies", found.dry_ms, False),
    ):
        best, median = min(times_ms), statistics.median(times_ms)
        kept = ""
        if bar:
            kept = f"at most {most_ms:g}, aim {YEAR_AIM_MS:g}"
            kept += "" if best <= most_ms else "  MISSED"
        table.add_row(name, f"{best:.1f}", f"{median:.1f}", kept, f"{median / physics:.1f}")
    return table


if __name__ == "__main__":
    main()
