"""Every driver, on a stand-in for the hardware, under MicroPython and under CPython.

The scripts in `drivers/` are found, not listed; each runs in a process of its own, because it puts
the stand-in's modules in the place of real ones.
"""

import ast
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.device.board import HEAP, SOURCES

ROOT = Path(__file__).parents[2]
SCRIPTS = sorted((Path(__file__).parent / "drivers").glob("*.py"))
LEAST_SCRIPTS = 10
# What runs inside an interrupt, and what it may call: nothing here allocates on a board.
HANDLERS = {
    "drivers/counter.py": {"_count"},
    "drivers/deadline.py": {"_tick", "_shut"},
    "drivers/valves.py": {"shut_now", "cut"},
    "talk/button.py": {"_edge"},
}
# Constants of a pin map that name no pin.
NOT_PINS = {
    "PROBE_DRIFTS_PPM",
    "BATTERY_TOP_OHM",
    "CLOSE_LEAST_MV",
    "DEEP_LEAST_S",
    "LOG_BYTES",
    "ON",
    "PROBE_TABLES",
    "PULSES_PER_L",
    "SOIL_RANGE_OHM",
    "SOIL_SERIES_OHM",
    "SOIL_TABLE",
    "TIP_UM",
}
MAY_CALL = {"_shut", "cut", "len", "shut_now", "ticks_diff", "ticks_ms", "ticks_us", "value"}
ALLOCATES = (
    ast.Dict,
    ast.DictComp,
    ast.GeneratorExp,
    ast.JoinedStr,
    ast.Lambda,
    ast.List,
    ast.ListComp,
    ast.Set,
    ast.SetComp,
    ast.Slice,
    ast.Starred,
    ast.Tuple,
    ast.For,
    ast.Raise,
    ast.Div,
)


def run(command: list[str], path_variable: str, folder: Path) -> str:
    """Run a script in `folder`. Returns the last line it printed."""
    path = f"{SOURCES}:{ROOT}:.frozen:{ROOT / 'tests' / 'device'}"
    done = subprocess.run(
        command,
        cwd=folder,
        stdin=subprocess.DEVNULL,
        env={**os.environ, path_variable: path, "PYTHONPYCACHEPREFIX": str(folder / "compiled")},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout.splitlines()[-1]


def test_enough_scripts_are_found() -> None:
    assert len(SCRIPTS) >= LEAST_SCRIPTS


@pytest.mark.parametrize("script", [pytest.param(script, id=script.stem) for script in SCRIPTS])
def test_driver_under_micropython(script: Path, micropython: Path, tmp_path: Path) -> None:
    last = run([str(micropython), *HEAP, str(script)], "MICROPYPATH", tmp_path)
    assert re.fullmatch(r"[1-9]\d* passed on micropython \d+\.\d+\.\d+", last)


@pytest.mark.parametrize("script", [pytest.param(script, id=script.stem) for script in SCRIPTS])
def test_driver_under_cpython(script: Path, tmp_path: Path) -> None:
    last = run([sys.executable, str(script)], "PYTHONPATH", tmp_path)
    assert re.fullmatch(r"[1-9]\d* passed on cpython \d+\.\d+\.\d+", last)


@pytest.mark.slow
def test_a_week_of_talk(micropython: Path, tmp_path: Path) -> None:
    steps = Path(__file__).parent / "drivers" / "steps.py"
    last = run([str(micropython), *HEAP, str(steps), "7"], "MICROPYPATH", tmp_path)
    assert last.startswith("1 passed")


def pin_numbers(board: str) -> set[int]:
    """Numbers that stand in the constants of a board's pin map that name pins."""
    tree = ast.parse((ROOT / "boards" / board / "pins.py").read_text("utf-8"))
    numbers = set()
    for node in tree.body:
        if isinstance(node, ast.Assign | ast.AnnAssign) and node.value is not None:
            target = node.targets[0] if isinstance(node, ast.Assign) else node.target
            names = [name.id for name in ast.walk(target) if isinstance(name, ast.Name)]
            if set(names) & NOT_PINS:
                continue
            numbers |= {
                inner.value
                for inner in ast.walk(node.value)
                if isinstance(inner, ast.Constant) and type(inner.value) is int
            }
    return numbers


@pytest.mark.parametrize("board", ["rp2_pico_w", "esp32", "template"])
def test_wiring_table_names_the_pins_of_the_pin_map(board: str) -> None:
    lines = (ROOT / "boards" / board / "README.md").read_text("utf-8").splitlines()
    cells = [re.fullmatch(r"\| ([\d, ]+) \|.*", line) for line in lines]
    told = [int(number) for cell in cells if cell for number in cell[1].split(",")]
    assert len(told) == len(set(told))  # no pin is used twice
    assert set(told) == pin_numbers(board)


def allocations(function: ast.FunctionDef) -> list[str]:
    """What in a handler allocates, or calls what may."""
    faults = []
    for node in ast.walk(function):
        if isinstance(node, ALLOCATES):
            faults.append(f"{node.__class__.__name__} at line {getattr(node, 'lineno', 0)}")
        elif isinstance(node, ast.Call):
            name = getattr(node.func, "id", None) or getattr(node.func, "attr", None)
            if name not in MAY_CALL or node.keywords:
                faults.append(f"{name}() at line {node.lineno}")
    return faults


@pytest.mark.parametrize("file", [pytest.param(file, id=file) for file in HANDLERS])
def test_interrupt_handlers_allocate_nothing(file: str) -> None:
    tree = ast.parse((ROOT / "boards" / file).read_text("utf-8"))
    handlers = [
        node
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef) and node.name in HANDLERS[file]
    ]
    assert {handler.name for handler in handlers} == HANDLERS[file]
    for handler in handlers:
        handler.body = handler.body[1:] if ast.get_docstring(handler) else handler.body
        assert allocations(handler) == [], handler.name


@pytest.mark.parametrize(
    "body",
    [
        "kept = [1]",
        "x = (a, b)",
        "print(1)",
        "x = f'{a}'",
        "for n in a: pass",
        "pin.irq(h, hard=1)",
    ],
)
def test_an_allocating_handler_is_caught(body: str) -> None:
    function = ast.parse(f"def _tick(self):\n    {body}").body[0]
    assert isinstance(function, ast.FunctionDef)
    assert len(allocations(function)) == 1
