"""Compile the core and what of the simulator it meets at every wake, for replays of many years.

python -m evenclay.tools.dev.compiling

By mypyc and a C compiler, from the sources as they stand.
"""

import os
import re
import shlex
import shutil
import subprocess
import sys
import sysconfig
from pathlib import Path
from tempfile import TemporaryDirectory

from evenclay.tools.dev.compiled import DIGEST, FOLDER, ROOT, SUFFIX, digest, fresh, sources

# What mypyc does not take: classes whose fields are named in a table, and what types alone need.
INTERPRETED = ("__init__", "journal", "limits", "plan", "ports")
MET = ("devices", "faults", "plumbing", "site", "standing")
SIMULATED = (*(f"sim/house/{name}.py" for name in MET), "sim/replay/life.py")
# How a module of the core declares its constants.
CONST = re.compile(r"^from \. import .*\bconst\b.*\n", re.MULTILINE)
CONSTANT = re.compile(r"^(\w+) = const\((.*?)\)(?=$|  #)", re.MULTILINE)
CONFIG = """\
[mypy]
follow_imports = silent
ignore_missing_imports = True
[mypy-numba.*,numpy.*,pandas.*,scipy.*]
follow_imports = skip
follow_imports_for_stubs = True
"""  # the last four: nothing compiled is faster for their types, and to read them takes long
# Gcc takes half of its time over a warning of indentation, which no generated code needs.
QUIET = "-Wno-misleading-indentation"


def build(built: Path) -> None:
    """Compile into a folder and replace what is there. Exits where that cannot be done."""
    _look_for_compiler()
    made_of = digest()
    texts = {path.relative_to(ROOT).as_posix(): path.read_text("utf-8") for path in sources()}
    paths = [
        f"evenclay/{path}"
        for path in texts
        if (path.startswith("controller/") or path in SIMULATED)
        and Path(path).stem not in INTERPRETED
    ]
    with TemporaryDirectory(dir=built.parent) as place:
        package = Path(place) / "evenclay"
        for path, text in (texts | {"__init__.py": "", "../mypy.ini": CONFIG}).items():
            file = package / path
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_text(_inlined(text), "utf-8")
        command = [sys.executable, "-m", "mypyc", "--config-file=mypy.ini", *paths]
        flags = os.environ.get("CFLAGS") or sysconfig.get_config_var("CFLAGS") or ""
        environment = os.environ | {"CFLAGS": f"{flags} {QUIET}"}
        done = subprocess.run(
            command, cwd=place, env=environment, capture_output=True, text=True, check=False
        )
        # What mypyc warns of it leaves out, such as a default that is no literal.
        if done.returncode or ": warning:" in done.stdout + done.stderr:
            sys.exit(f"the core is not compiled: {done.stdout}{done.stderr}")
        (made,) = Path(place).glob("build/lib.*")
        names = sorted(file.relative_to(made).as_posix() for file in made.rglob(f"*{SUFFIX}"))
        (made / DIGEST).write_text("\n".join([made_of, *names]), "utf-8")
        shutil.rmtree(built, ignore_errors=True)
        made.rename(built)


def _inlined(text: str) -> str:
    """Declare the constants of a module final, so that mypyc inlines them, as MicroPython does."""
    text = CONST.sub(r"\g<0>from typing import Final\n", text, count=1)
    return CONSTANT.sub(r"\1: Final = \2", text)


def _look_for_compiler() -> None:
    """Exit with one line where the core cannot be compiled."""
    command = os.environ.get("CC") or sysconfig.get_config_var("CC") or "cc"
    compiler = shlex.split(command)[0]
    header = Path(sysconfig.get_path("include")) / "Python.h"
    missing = compiler if not shutil.which(compiler) else "" if header.exists() else header
    if missing:
        sys.exit(f"the core is not compiled: found no {missing}, and all works without, but slower")


if __name__ == "__main__":
    if not fresh(FOLDER):
        print(f"compiling the core into {FOLDER}", file=sys.stderr)
        try:
            build(FOLDER)
        except OSError as error:
            sys.exit(f"the core is not compiled: {error}")
