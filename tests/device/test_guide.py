"""`controller/README.md`: its smallest hub runs, and its table of the record is the record's."""

import os
import re
import struct
import subprocess
import sys
from pathlib import Path

import pytest

from evenclay.controller import journal
from evenclay.controller.journal import HUB_FIELDS, ZONE_FIELDS
from tests.core import plan, row, wall, with_codes
from tests.device.board import SOURCES, fill

ROOT = Path(__file__).parents[2]
GUIDE = (ROOT / "controller" / "README.md").read_text("utf-8")
LINES_MOST = 31


def smallest_hub() -> str:
    blocks = re.findall(r"```python\n(.*?)```", GUIDE, re.DOTALL)
    (found,) = [block for block in blocks if "Runner(" in block]
    return str(found)


def test_the_smallest_hub_is_small() -> None:
    lines = [line for line in smallest_hub().splitlines() if line.strip()]
    assert len(lines) <= LINES_MOST


# Runs a program in simulated time: it passes when the program sleeps, and only then. The program's
# lines come with the second in which they were printed.
IN_SIMULATED_TIME = """
import sys
import time as real

class Time:
    gmtime = real.gmtime
    now_s = 0

    def time(self):
        return {begin_s} + self.now_s + (946684800 if real.gmtime(0)[0] == 1970 else 0)

    def monotonic_ns(self):
        return self.now_s * 1000000000

    def sleep(self, seconds):
        self.now_s += max(seconds, 1)
        if self.now_s > {last_s}:
            sys.exit()

class BoardTime(Time):
    def ticks_ms(self):
        return self.now_s * 1000

time = sys.modules["time"] = BoardTime() if hasattr(real, "ticks_ms") else Time()
said = print

def print(*words):
    said(time.now_s, *words)

exec(open("hub.py").read(), {{"print": print}})
"""


@pytest.mark.parametrize("copy", [0, 1])
@pytest.mark.parametrize("interpreter", ["cpython", "micropython", "micropython, bundled"])
def test_the_smallest_hub_waters(
    interpreter: str, copy: int, micropython: Path, tmp_path: Path
) -> None:
    """It boots, shuts its valves, and waters zone by zone; a cycle begins after a minute.

    Either copy of the plan may be the good one: a power cut tears the one that is written.
    """
    made = plan(
        2,
        [row(1, 1, 1, run_s=600, start_min=600, length_min=60)],
        supplies=[{"gap_s": 0}],
        zone={"cap_s": 43200},
        std_s=0,
        dst=0,
        frost=0,
        rain_kind=0,
    )
    packed = made.pack()
    (tmp_path / "plan.0").write_bytes(packed[:-1] if copy else packed)
    if copy:
        (tmp_path / "plan.1").write_bytes(packed)
    (tmp_path / "hub.py").write_text(smallest_hub(), encoding="utf-8")
    program = IN_SIMULATED_TIME.format(begin_s=wall(2026, 7, 1, 9, 59), last_s=3600)
    (tmp_path / "start.py").write_text(program, encoding="utf-8")
    command = sys.executable if interpreter == "cpython" else str(micropython)
    path = f"{SOURCES}:.frozen"
    if interpreter.endswith("bundled"):
        path = f"{fill(tmp_path / 'board', 'boards/drivers/store.py')}:.frozen"
    hub = subprocess.run(
        [command, "start.py"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": path, "MICROPYPATH": path},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )
    assert hub.returncode == 0, hub.stdout + hub.stderr
    said = hub.stdout.splitlines()
    assert said[:3] == ["0 close 0", "0 close 1", "0 close 2"]
    moves = [line for line in said if re.fullmatch(r"\d+ (open|close) .*", line)]
    opened = [line.split() for line in moves if " open " in line]
    # Each deadline is the longest run.
    assert [line[1:] for line in opened] == [["open", "0", "3600"], ["open", "1", "3600"]]
    starts_s = [int(line[0]) for line in opened]
    assert 60 <= starts_s[0] <= 120
    for zone, start_s in enumerate(starts_s):
        assert f"{start_s + 600} close {zone}" in moves
    assert starts_s[1] >= starts_s[0] + 600
    records = [journal.unpack_record(path.read_bytes()) for path in tmp_path.glob("record.*")]
    assert any(record is not None and record.used_s[:2] == [600, 600] for record in records)


def record_rows() -> list[tuple[str, str, str, str]]:
    """(part, field, code, comment) as journal.py has them."""
    source = (ROOT / "controller" / "journal.py").read_text("utf-8")
    notes = dict(re.findall(r'^    "(\w+) \w "(?:  # (.*))?$', source, re.MULTILINE))
    rows = [("hub", name, code, notes[name]) for name, code in with_codes(HUB_FIELDS)]
    return rows + [("zone", name, code, notes[name]) for name, code in with_codes(ZONE_FIELDS)]


def record_table() -> str:
    lines = ["| at | field | code | what |", "|---|---|---|---|"]
    head = (
        ("magic", "2s", "`Er`"),
        ("version", "B", str(journal._RECORD_MAGIC[2])),
        ("zones", "B", "how many"),
        ("length", "H", "of the whole record"),
        ("sequence", "I", "one more at each write"),
    )
    at = 0
    for name, code, what in head:
        lines.append(f"| {at} | {name} | {code} | {what} |")
        at += struct.calcsize("<" + code)
    for part, name, code, what in record_rows():
        place = str(at) if part == "hub" else "then"
        each = "" if part == "hub" else " a zone"
        lines.append(f"| {place} | `{name}` | {code}{each} | {what} |")
        at += struct.calcsize("<" + code) if part == "hub" else 0
    lines.append("| then | CRC-32 | I | of all before |")
    return "\n".join(lines)


def test_the_guide_has_the_record() -> None:
    """Out of date? `python -m tests.device.test_guide` prints the table anew."""
    assert record_table() in GUIDE


def test_the_record_fits_a_page() -> None:
    assert len(journal.Record(8).pack()) <= journal._RECORD_BYTES_MAX


if __name__ == "__main__":
    print(record_table())
