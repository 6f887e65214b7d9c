"""`controller/README.md`: its smallest hub runs, and its table of the record is the record's."""

import os
import re
import struct
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from controller import journal
from tests.core import plan, row
from tests.device.board import fill
from tests.records import HUB_FIELDS, ZONE_FIELDS

ROOT = Path(__file__).parents[2]
GUIDE = (ROOT / "controller" / "README.md").read_text("utf-8")
LINES_MOST = 43
SOON_S = 4
PATIENCE_S = 30


def smallest_hub() -> str:
    blocks = re.findall(r"```python\n(.*?)```", GUIDE, re.DOTALL)
    (found,) = [block for block in blocks if "Runner(" in block]
    return str(found)


def test_the_smallest_hub_is_small() -> None:
    lines = [line for line in smallest_hub().splitlines() if line.strip()]
    assert len(lines) <= LINES_MOST


@pytest.mark.parametrize("interpreter", ["cpython", "micropython", "micropython, bundled"])
def test_the_smallest_hub_waters(interpreter: str, micropython: Path, tmp_path: Path) -> None:
    """It boots, shuts its valves, and opens what is due: a cycle begins some seconds from now."""
    made = plan(
        2,
        [row(1, 1, 24, run_s=600, start_min=0, length_min=1440)],
        supplies=[{"gap_s": 0}],
        zone={"cap_s": 43200},
        std_s=3600 - SOON_S - int(time.time()) % 3600,
        dst=0,
        frost=0,
        rain_kind=0,
    )
    (tmp_path / "plan.0").write_bytes(made.pack())
    (tmp_path / "hub.py").write_text(smallest_hub(), encoding="utf-8")
    command = [sys.executable, "-u"] if interpreter == "cpython" else [str(micropython)]
    path = f"{ROOT}:.frozen"
    if interpreter.endswith("bundled"):
        path = f"{fill(tmp_path / 'board')}:.frozen"
    hub = subprocess.Popen(
        [*command, "hub.py"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": path, "MICROPYPATH": path},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    stop = threading.Timer(PATIENCE_S, hub.kill)
    stop.start()
    said = []
    try:
        assert hub.stdout is not None
        for line in hub.stdout:
            said.append(line.rstrip())
            if line.startswith("open 0 "):
                break
    finally:
        stop.cancel()
        hub.kill()
        hub.wait()
        hub.stdout.close()  # type: ignore[union-attr]
    assert said[:3] == ["close 0", "close 1", "close 2"], said
    assert said[-1] == "open 0 3600", said  # the deadline: the longest run
    records = [journal.unpack_record(path.read_bytes()) for path in tmp_path.glob("record.*")]
    assert any(record is not None and record.opening == 1 for record in records)


def record_rows() -> list[tuple[str, str, str, str]]:
    """(part, field, code, comment) as journal.py has them."""
    source = (ROOT / "controller" / "journal.py").read_text("utf-8")
    notes = dict(
        re.findall(r"^        (\w+): (?:int|list\[int\])(?:  # (.*))?$", source, re.MULTILINE)
    )
    rows = [("hub", name, code, notes[name]) for name, code in HUB_FIELDS]
    return rows + [("zone", name, code, notes[name]) for name, code in ZONE_FIELDS]


def record_table() -> str:
    lines = ["| at | field | code | what |", "|---|---|---|---|"]
    head = (
        ("magic", "2s", "`Er`"),
        ("version", "B", "1"),
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
    assert len(journal.Record(8).pack()) <= journal.RECORD_BYTES_MAX


if __name__ == "__main__":
    print(record_table())
