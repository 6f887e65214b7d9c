"""The rules of the house that a syntax tree can show: who imports whom, what the core may use,
and that no test waits on the clock.

The tree is walked rather than the modules imported, so code for boards is judged too, and an import
inside a function is seen.
"""

import ast
import sys
import tomllib
from collections.abc import Iterator
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]

# Folder -> the folders it may import from.
MAY_IMPORT = {
    "controller": {"controller"},
    "sim": {"sim", "controller"},
    "boards": {"boards", "controller"},
    "tools": {"tools", "boards", "sim", "controller"},
    "tests": {"tests", "tools", "boards", "sim", "controller"},
}
CORE_MAY_USE = {"binascii", "struct"}
# The one module that meets MicroPython's own, and falls back where it is missing.
CONST_FILE = "controller/__init__.py"
# Names for the type checker alone, under `if TYPE_CHECKING:`; they never run.
TYPES_ONLY = {"collections", "typing"}
# The one file that may build an opening command.
GUARD_FILE = "controller/guard.py"

# So that a moved folder cannot pass by being empty.
LEAST_FILES = {"controller": 1, "sim": 1, "boards": 1, "tools": 1, "tests": 2}

PARAMS = [pytest.param(folder, id=folder) for folder in MAY_IMPORT]


def imported_tops(node: ast.AST, folder: str) -> Iterator[str]:
    """Folders of the package and other top-level names that one import statement reaches.

    A relative import reaches its own folder.
    """
    if isinstance(node, ast.Import):
        for alias in node.names:
            yield _top(alias.name)
    elif isinstance(node, ast.ImportFrom):
        if node.level:
            yield folder
        elif node.module == "evenclay":
            yield from (alias.name for alias in node.names)
        else:
            yield _top(node.module or "")


def _top(module: str) -> str:
    """`controller` of `evenclay.controller.hub`, `numpy` of `numpy.linalg`."""
    return module.removeprefix("evenclay.").split(".")[0]


def is_type_checking(node: ast.AST) -> bool:
    return isinstance(node, ast.If) and ast.unparse(node.test).lstrip("_") == "TYPE_CHECKING"


def types_only_nodes(tree: ast.Module) -> set[ast.AST]:
    """All nodes in the bodies of `if TYPE_CHECKING:`; an else branch does run and is not one."""
    return {
        inner
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and is_type_checking(node)
        for child in node.body
        for inner in ast.walk(child)
    }


def direction_faults(source: str, path: str) -> list[str]:
    """Imports from a folder that the file's own folder may not know."""
    folder = path.split("/")[0]
    return [
        f"{path}:{node.lineno}: {folder} imports {top}"
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Import | ast.ImportFrom)
        for top in imported_tops(node, folder)
        if top in MAY_IMPORT and top not in MAY_IMPORT[folder]
    ]


def allowlist_faults(source: str, path: str) -> list[str]:
    """Imports of the core from outside its short list."""
    tree = ast.parse(source)
    types_only = types_only_nodes(tree)
    allowed = CORE_MAY_USE | {"controller"}
    if path == CONST_FILE:
        allowed = allowed | {"micropython"}
    faults = []
    for node in ast.walk(tree):
        here = allowed | TYPES_ONLY if node in types_only else allowed
        for top in imported_tops(node, "controller"):
            if top not in here:
                faults.append(f"{path}:{getattr(node, 'lineno', 0)}: the core imports {top}")
        if isinstance(node, ast.Name) and node.id in {"__import__", "eval", "exec"}:
            faults.append(f"{path}:{node.lineno}: the core uses {node.id}")
    return faults


def float_faults(source: str, path: str) -> list[str]:
    """Float literals, true division and the name `float` in the core."""
    faults = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Constant) and isinstance(node.value, float | complex):
            faults.append(f"{path}:{node.lineno}: literal {node.value}")
        elif isinstance(node, ast.BinOp | ast.AugAssign) and isinstance(node.op, ast.Div):
            faults.append(f"{path}:{node.lineno}: true division")
        elif isinstance(node, ast.Name) and node.id == "float":
            faults.append(f"{path}:{node.lineno}: float")
    return faults


def is_open(node: ast.expr) -> bool:
    name = node.id if isinstance(node, ast.Name) else getattr(node, "attr", None)
    return name == "OPEN"


def asked_about(tree: ast.Module) -> set[ast.AST]:
    """Displays that are only looked into: `kind in (OPEN, CLOSE)`."""
    return {
        right
        for node in ast.walk(tree)
        if isinstance(node, ast.Compare)
        for op, right in zip(node.ops, node.comparators, strict=True)
        if isinstance(op, ast.In | ast.NotIn)
    }


def open_faults(source: str, path: str) -> list[str]:
    """Commands built with OPEN as their first element, outside the guard.

    A second name for OPEN would hide it from this test, so that is a fault too.
    """
    if path == GUARD_FILE:
        return []
    tree = ast.parse(source)
    only_asked = asked_about(tree)
    faults = []
    for node in ast.walk(tree):
        first: list[ast.expr] = []
        if isinstance(node, ast.Tuple | ast.List):
            if isinstance(node.ctx, ast.Load) and node not in only_asked:
                first = node.elts[:1]
        elif isinstance(node, ast.Call):
            first = node.args[:1]
        elif isinstance(node, ast.Assign):
            first = [node.value]
        if any(is_open(value) for value in first):
            faults.append(f"{path}:{getattr(node, 'lineno', 0)}: OPEN outside the guard")
        if isinstance(node, ast.alias) and node.name == "OPEN" and node.asname:
            faults.append(f"{path}:{node.lineno}: OPEN under another name")
    return faults


def waiting_faults(source: str, path: str) -> list[str]:
    """Calls of a test that wait on the machine's clock, or give up by it: a busy machine is slow.

    A limit of 0 is none, and a watchdog's is the stand-in's.
    """
    faults = []
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.Call):
            continue
        name = getattr(node.func, "attr", "") or getattr(node.func, "id", "")
        limits = [
            word.value.value
            for word in node.keywords
            if word.arg == "timeout" and isinstance(word.value, ast.Constant)
        ]
        waits = name == "sleep" and ast.unparse(node.func) in ("sleep", "time.sleep")
        if waits or (any(limits) and name != "WDT"):
            faults.append(f"{path}:{node.lineno}: waits on the clock: {ast.unparse(node)[:60]}")
    return faults


def files_of(folder: str) -> list[Path]:
    return sorted((ROOT / folder).rglob("*.py"))


def all_faults(folder: str) -> list[str]:
    rules = [direction_faults]
    if folder == "controller":
        rules += [allowlist_faults, float_faults, open_faults]
    if folder == "tests":
        rules += [waiting_faults]
    return [
        fault
        for file in files_of(folder)
        for rule in rules
        for fault in rule(file.read_text("utf-8"), file.relative_to(ROOT).as_posix())
    ]


@pytest.mark.parametrize("folder", PARAMS)
def test_folder_keeps_the_rules(folder: str) -> None:
    assert all_faults(folder) == []


@pytest.mark.parametrize("folder", PARAMS)
def test_enough_files_are_scanned(folder: str) -> None:
    assert len(files_of(folder)) >= LEAST_FILES[folder]


@pytest.mark.parametrize(
    ("path", "source"),
    [
        ("controller/hub.py", "from evenclay import sim"),
        ("controller/hub.py", "from evenclay.boards.desktop import port"),
        ("controller/hub.py", "if TYPE_CHECKING:\n    from evenclay.tools import cli"),
        ("controller/hub.py", "def f():\n    import evenclay.sim.section.kernel as s"),
        ("controller/hub.py", "from tests.unit import helper"),
        ("sim/replay/life.py", "from evenclay.tools import property_file"),
        ("sim/replay/life.py", "import evenclay.controller.hub, evenclay.boards.desktop"),
        ("boards/desktop/port.py", "from evenclay.sim import house"),
        ("boards/desktop/port.py", "import evenclay.tools"),
        ("tools/cli/commands.py", "try:\n    import tests\nexcept ImportError:\n    pass"),
    ],
)
def test_wrong_direction_is_caught(path: str, source: str) -> None:
    assert len(direction_faults(source, path)) == 1


@pytest.mark.parametrize(
    ("path", "source"),
    [
        (
            "controller/hub.py",
            "from evenclay.controller import plan\nfrom . import civil\nimport struct",
        ),
        (
            "sim/replay/life.py",
            "from evenclay.controller.hub import Hub\nfrom evenclay.sim import files\nimport numpy",
        ),
        ("boards/desktop/port.py", "from evenclay.controller import ports\nimport machine"),
        (
            "tools/cli/commands.py",
            "import evenclay.controller, evenclay.sim.replay.life, evenclay.tools.property.check",
        ),
        ("tests/unit/test_cli.py", "from evenclay import boards, controller, sim, tools"),
    ],
)
def test_right_direction_passes(path: str, source: str) -> None:
    assert direction_faults(source, path) == []


@pytest.mark.parametrize(
    ("path", "source"),
    [
        ("controller/hub.py", "import time"),
        ("controller/hub.py", "from micropython import const"),
        ("controller/hub.py", "def f():\n    import os"),
        ("controller/hub.py", "from typing import Any"),
        ("controller/hub.py", "if TYPE_CHECKING:\n    pass\nelse:\n    from typing import Any"),
        ("controller/hub.py", "if TYPE_CHECKING:\n    import numpy"),
        ("controller/hub.py", "import struct, json"),
        ("controller/hub.py", "t = __import__('time')"),
        ("controller/__init__.py", "import machine"),
    ],
)
def test_import_from_outside_is_caught(path: str, source: str) -> None:
    assert len(allowlist_faults(source, path)) == 1


@pytest.mark.parametrize(
    ("path", "source"),
    [
        (
            "controller/hub.py",
            "import struct\nfrom binascii import crc32\nfrom . import const",
        ),
        ("controller/hub.py", "if TYPE_CHECKING:\n    from typing import Any"),
        (
            "controller/__init__.py",
            "try:\n    from micropython import const\nexcept ImportError: ...",
        ),
    ],
)
def test_import_from_the_list_passes(path: str, source: str) -> None:
    assert allowlist_faults(source, path) == []


@pytest.mark.parametrize(
    "source",
    ["x = 1.0", "x = 1e3", "x = 2j", "x = a / b", "x /= 2", "x = float(a)", "x = map(float, a)"],
)
def test_float_is_caught(source: str) -> None:
    assert len(float_faults(source, "controller/hub.py")) == 1


def test_integers_pass() -> None:
    source = 'x = a // b\nx //= 1000\nx = "1.0 / 2"\ny = x % 60'
    assert float_faults(source, "controller/hub.py") == []


@pytest.mark.parametrize(
    "source",
    [
        "commands.append((OPEN, zone, run_s))",
        "return_value = [(CLOSE, zone), (ports.OPEN, zone)]",
        "command = [OPEN, zone]",
        "command = make(OPEN, zone)",
        "first = OPEN",
        "from evenclay.controller.ports import OPEN as START",
    ],
)
def test_opening_outside_the_guard_is_caught(source: str) -> None:
    assert len(open_faults(source, "controller/hub.py")) == 1
    assert open_faults(source, GUARD_FILE) == []


@pytest.mark.parametrize(
    "source",
    [
        "OPEN = const(1)",
        "if command[0] == OPEN: close_all()",
        "if kind in (OPEN, CLOSE): count += 1",
        "from evenclay.controller.ports import CLOSE, OPEN",
        "commands.append((CLOSE, zone))",
    ],
)
def test_asking_about_open_passes(source: str) -> None:
    assert open_faults(source, "controller/hub.py") == []


@pytest.mark.parametrize(
    "source",
    ["time.sleep(1)", "sleep(0.1)", "subprocess.run(command, timeout=250)", "f(timeout=1, x=2)"],
)
def test_waiting_on_the_clock_is_caught(source: str) -> None:
    assert len(waiting_faults(source, "tests/unit/test_x.py")) == 1


@pytest.mark.parametrize(
    "source",
    ["machine.WDT(timeout=8000)", "launch(timeout=0)", "world.sleep(1)", "def f(timeout=5): pass"],
)
def test_simulated_time_passes(source: str) -> None:
    assert waiting_faults(source, "tests/unit/test_x.py") == []


# What only developers run, and what only the extra `cluster` brings.
DEVELOPERS_TOOLS = {"tools/dev/bench/steps.py", "tools/dev/graph.py"}
EXTRA = {"distributed"}


def test_whatever_is_imported_is_installed_for_those_who_only_run_it() -> None:
    """The lock that `make replay` installs has a distribution of every package."""
    lock = (ROOT / "requirements.lock").read_text("utf-8").splitlines()
    locked = {line.split("==")[0].lower().replace("_", "-") for line in lock if "==" in line}
    assert "numpy" in locked
    known = packages_distributions()
    missing = set()
    for folder in ("sim", "tools"):
        for file in (ROOT / folder).rglob("*.py"):
            path = file.relative_to(ROOT).as_posix()
            tops = {
                top
                for node in ast.walk(ast.parse(file.read_text("utf-8")))
                for top in imported_tops(node, folder)
            }
            for top in tops - set(sys.stdlib_module_names) - set(MAY_IMPORT) - EXTRA:
                names = {name.lower().replace("_", "-") for name in known.get(top, [])}
                if path not in DEVELOPERS_TOOLS and not names & locked:
                    missing.add((path, top))
    assert not missing


def test_the_list_of_packages_is_that_of_the_folders() -> None:
    """What an installation holds is listed by name; a folder that is forgotten would be missing."""
    listed = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    found = {
        "evenclay." + init.parent.relative_to(ROOT).as_posix().replace("/", ".")
        for folder in ("boards", "controller", "sim", "tools")
        for init in (ROOT / folder).rglob("__init__.py")
    }
    assert set(listed["tool"]["setuptools"]["packages"]) == found | {"evenclay"}
