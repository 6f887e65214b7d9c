"""Compile the core, for those who live through many years: `make compiled`.

python -m tools.compiling

By mypyc, from the core's own sources with constants folded in as for a board, and a C compiler.
"""

import os
import shlex
import shutil
import subprocess
import sys
import sysconfig
from pathlib import Path
from tempfile import TemporaryDirectory

from tools.compiled import CORE, DIGEST, FOLDER, digest, fresh
from tools.link import link, module_of

# What mypyc does not take: classes whose fields are named in a table, and what types alone need.
INTERPRETED = ("__init__", "_const", "journal", "limits", "plan", "ports")


def build(built: Path) -> None:
    """Compile the core into a folder, in place of what is there. Exits where it cannot."""
    _look_for_compiler()
    texts = {f"controller/{file.name}": file.read_text("utf-8") for file in CORE.glob("*.py")}
    const = texts.pop("controller/_const.py")  # mypyc is to see TYPE_CHECKING by its name
    linked = link(texts, [module_of(path) for path in texts]) | {"controller/_const.py": const}
    with TemporaryDirectory(dir=built.parent) as place:
        (Path(place) / "controller").mkdir()
        for path, text in linked.items():
            (Path(place) / path).write_text(text, "utf-8")
        paths = [path for path in sorted(linked) if Path(path).stem not in INTERPRETED]
        command = [sys.executable, "-m", "mypyc", "--config-file=", *paths]
        done = subprocess.run(command, cwd=place, capture_output=True, text=True, check=False)
        # What mypyc warns of it leaves out, such as a default that is no literal.
        if done.returncode or ": warning:" in done.stdout + done.stderr:
            sys.exit(f"the core is not compiled: {done.stdout}{done.stderr}")
        (made,) = Path(place).glob("build/lib.*")
        (made / DIGEST).write_text(digest(), "utf-8")
        shutil.rmtree(built, ignore_errors=True)
        made.rename(built)


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
        build(FOLDER)
