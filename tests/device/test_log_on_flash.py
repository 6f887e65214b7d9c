"""A busy month of a hub's log on littlefs, under MicroPython: cuts at its writes, and wear."""

import re
import subprocess
from pathlib import Path
from typing import Any

import pytest

from evenclay.boards.log.ring import Ring
from evenclay.controller.ports import RECORD
from tests import core
from tests.device.board import SOURCES
from tests.logs import Logged, bench_of

ROOT = Path(__file__).parents[2]
PROGRAM = "tests/device/fake_machine/log_on_flash.py"
DAY_S = 86400
MONTH_DAYS = 30
MONTHS = 120  # ten years, each month as busy as the busiest
RATED_ERASES = 100_000  # usual in data sheets of serial NOR flash (from memory)
STEP = 41  # every so many-th write of the log is cut in the quick variant


def run(micropython: Path, *arguments: object) -> dict[str, int]:
    """The figures that the program prints."""
    done = subprocess.run(
        [
            micropython,
            "-X",
            "heapsize=16m",
            PROGRAM,
            *map(str, arguments),
        ],
        cwd=ROOT,
        env={"MICROPYPATH": f":{SOURCES}:{ROOT / 'tools' / 'log'}:.frozen"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
    found = re.findall(r"^(\w+) (\d+)$", done.stdout, re.MULTILINE)  # littlefs prints, too
    return {name: int(value) for name, value in found}


@pytest.fixture(scope="module")
def month(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Everything that a busy hub wrote in a month, in its order."""
    folder = tmp_path_factory.mktemp("month")
    lines: list[str] = []
    with pytest.MonkeyPatch.context() as patch:
        for name in ("begin", "add"):
            patch.setattr(Ring, name, noted(name, getattr(Ring, name), lines))
        busy_month(Logged(folder), lines)
    path = folder / "month.txt"
    path.write_text("\n".join(lines) + "\n")
    return path


def noted(name: str, plain: Any, lines: list[str]) -> Any:
    def write(ring: Ring, data: bytes, head: bytes = b"") -> None:
        if head:  # `begin` adds its first entry
            plain(ring, data, head)
        else:
            lines.append(f"{name} {bytes(data).hex()}")
            plain(ring, data)

    return write


def busy_month(logged: Logged, lines: list[str]) -> None:
    """Eight zones on two spigots with meters, four cycles a day, a probe each, and rain.

    The readings are invented: they change at each look.
    """
    plan = core.plan(
        zones=[{"supply": zone % 2, "probe": 1} for zone in range(8)],
        rows=[core.row(1, 1, 4, run_s=900, demand_um=9000)],
        supplies=[{"meter": 1}, {"meter": 1}],
        estimate=0,  # each zone has its whole run in each cycle
        battery=1,
        open_max=2,
        poll_s=10800,
        watch_s=600,
    )
    bench = bench_of(logged, plan, core.wall(2027, 7, 1))
    write = bench.write

    def saved(slot: int, copy: int, data: bytes) -> None:
        if slot == RECORD:
            lines.append(f"save {copy:02x}{data.hex()}")
        write(slot, copy, data)

    bench.write = saved  # type: ignore[method-assign]  # the month notes what passes
    state = 1
    seen = bench.seen
    ml = [0, 0]
    bench.boot()
    while bench.now_s < MONTH_DAYS * DAY_S:
        state = (state * 1664525 + 1013904223) & 0xFFFFFFFF
        chance = state >> 8
        seen.temp_mc = 24000 + chance % 9000
        seen.battery_mv = 7600 + chance % 90
        seen.rain_um = (seen.rain_um or 0) + (chance % 3000 if chance % 40 == 0 else 0)
        seen.soil_vwc_ppt = [290 + (chance >> zone) % 9 for zone in range(8)]
        seen.meter_ml = [ml[0], ml[1]]
        wake_s = bench.runner.turn()
        next_s = max(min(wake_s, bench.runner.hub.due_s), bench.now_s + 1)
        for zone in bench.open_since:
            if zone < 8:
                ml[zone % 2] += 50 * (next_s - bench.now_s)
        bench.now_s = next_s
    logged.recorders[0].flush()
    assert logged.recorders[0].failed is None


def test_the_month_is_busy_and_its_log_is_whole(month: Path, capsys: Any) -> None:
    lines = month.read_text().splitlines()
    adds = [line for line in lines if line.startswith("add")]
    saves = [line for line in lines if line.startswith("save")]
    assert len(adds) > 1000 and len(saves) > 1000
    bytes_a_day = sum(len(line) // 2 + 4 for line in lines if line[0] in "ab") // MONTH_DAYS
    print(f"a busy hub's log takes {bytes_a_day} bytes a day")
    assert bytes_a_day < 5000


def test_a_cut_loses_nothing_that_was_written_before(micropython: Path, month: Path) -> None:
    assert run(micropython, "cut", month, STEP)["cuts"] > 500


@pytest.mark.slow
def test_a_cut_at_every_write_of_the_month_loses_nothing(micropython: Path, month: Path) -> None:
    found = run(micropython, "cut", month, 1)
    print(found)
    assert found["cuts"] > 20_000


def test_no_block_wears_out_in_ten_years(micropython: Path, month: Path) -> None:
    found = run(micropython, "wear", month, 3)
    worst = found["worst"] * MONTHS // 3
    print(f"the worst block after ten years: {worst} erases, rated for {RATED_ERASES}")
    assert worst < RATED_ERASES // 10
    assert found["kept"] <= 65536


@pytest.mark.slow
def test_ten_years_are_lived_to_their_end(micropython: Path, month: Path) -> None:
    found = run(micropython, "wear", month, MONTHS)
    print(f"the worst block after ten years: {found['worst']} erases, rated for {RATED_ERASES}")
    assert found["worst"] < RATED_ERASES // 10
