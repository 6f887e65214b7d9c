"""The compiled core decides as the interpreted one does, to the byte, and runs in its place only as
long as it is made of the very sources.
"""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from evenclay.controller import runner
from evenclay.tools.dev import compiled, compiling
from tests.unit.test_propose import run, short_weather, small_study

ROOT = Path(__file__).parents[2]
GOLDEN = ROOT / "tests" / "golden"
DEMO = ROOT / "sim" / "demo"

TRACES = """
from tests.device import random_weeks, scripted_year
lines = []
scripted_year.year(lines.append)
print(scripted_year.golden("\\n".join(lines) + "\\n"), end="")
for seed in range(random_weeks.WEEKS):
    print(random_weeks.golden(seed, random_weeks.traced(seed)), end="")
"""
WHERE = "import evenclay.tools, evenclay.controller.hub as hub; print(hub.__file__)"
OF_A_WORKER = """
from evenclay.tools.dev import compiled
from evenclay.tools.plan import workers
with workers.processes(1) as (executor, _):
    print(executor.submit(compiled.in_use).result())
"""
# A few grounds and years, in this process.
PROPOSED = """
from evenclay.tools.cli import main
from tests.unit.test_propose import small_study
with small_study():
    main()
"""


def compile_quickly(patch: pytest.MonkeyPatch) -> None:
    """Not optimized, and without what a debugger reads: it takes a third of the time so, and what
    is compiled must decide the same.
    """
    for what in ("OPT", "DEBUG"):
        patch.setenv(f"MYPYC_{what}_LEVEL", "0")


@pytest.fixture(scope="module")
def built() -> Path:
    """A compiled core of these sources. Skips where the machine cannot make one.

    It is kept in the environment as long as the sources are the same.
    """
    folder = Path(sys.prefix) / "compiled-for-tests"
    if compiled.fresh(folder):
        return folder
    try:
        with pytest.MonkeyPatch.context() as patch:
            compile_quickly(patch)
            compiling.build(folder)
    except SystemExit as told:
        if "found no" not in str(told):
            raise
        pytest.skip(str(told))
    return folder


def python(*arguments: str, core: Path | None = None, root: Path = ROOT) -> str:
    """What another Python prints, with a compiled core or without one."""
    told = {compiled.VARIABLE: str(core or ""), "PYTHONPATH": str(root)}
    command = [sys.executable, *arguments]
    done = subprocess.run(
        command, env=os.environ | told, cwd=root, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_it_is_run_where_it_is_built(built: Path) -> None:
    assert python("-c", WHERE, core=built).startswith(str(built))
    assert python("-c", OF_A_WORKER, core=built) == "True\n"


def test_ground_that_is_not_compiled_inherits_from_what_is(built: Path) -> None:
    program = (
        "from evenclay.tools.dev import compiled; compiled.use(); "
        "from evenclay.sim.house import standing; from evenclay.sim.judge import informed; "
        "print(issubclass(informed.ToldGround, standing.SectionGround), "
        "standing.__file__.endswith('.py'))"
    )
    assert python("-c", program, core=built) == "True False\n"


def test_a_tree_without_it_runs_the_sources() -> None:
    assert python("-c", WHERE) == f"{ROOT / 'controller' / 'hub.py'}\n"
    assert python("-c", OF_A_WORKER) == "False\n"


def test_these_tests_run_the_sources() -> None:
    assert not compiled.in_use()
    assert runner.__file__ == str(ROOT / "controller" / "runner.py")


def test_the_scripted_year_and_random_weeks_are_the_golden_ones(built: Path) -> None:
    found = python("-c", "import evenclay.tools\n" + TRACES, core=built)
    golden = [(GOLDEN / name).read_text("utf-8") for name in ("year.txt", "weeks.txt")]
    assert found == "".join(golden)


@pytest.mark.slow
def test_a_replay_writes_the_same_bytes(built: Path, tmp_path: Path) -> None:
    demo = (str(DEMO / "property.toml"), "--weather", str(DEMO / "weather.csv"))
    span = ("--from", "2022-07-01", "--to", "2022-07-21")
    for name, core in (("compiled", built), ("sources", None)):
        out = str(tmp_path / name)
        python("-m", "evenclay.tools.cli", "replay", *demo, *span, "--out", out, core=core)
    for name in ("decisions.jsonl", "daily.csv", "summary.json"):
        wanted = (tmp_path / "sources" / name).read_bytes()
        assert (tmp_path / "compiled" / name).read_bytes() == wanted
    assert len((tmp_path / "sources" / "decisions.jsonl").read_text().splitlines()) > 500


def test_a_plan_is_worked_out_alike(built: Path, tmp_path: Path) -> None:
    """Where a strip's estimate is lived by days, without a hub around it; from the sources in this
    process, which has them.
    """
    demo = ("propose", str(DEMO / "property.toml"), "--weather", str(short_weather(tmp_path)))
    folders = {name: str(tmp_path / name) for name in ("compiled", "sources")}
    python("-c", PROPOSED, *demo, "--grounds", "1", "--out", folders["compiled"], core=built)
    with small_study():
        assert run(*demo, "--grounds", "1", "--out", folders["sources"])[0] == 0
    for name in ("property.toml", "proposal.json"):
        assert (tmp_path / "compiled" / name).read_bytes() == (
            tmp_path / "sources" / name
        ).read_bytes()


@pytest.mark.slow
def test_a_sweep_writes_the_same_bytes(built: Path, tmp_path: Path) -> None:
    for name, core in (("compiled", built), ("sources", None)):
        (tmp_path / name).mkdir()
        python("-m", "tests.sweeps", str(tmp_path / name), core=core)
    wanted = (tmp_path / "sources" / "years.parquet").read_bytes()
    assert (tmp_path / "compiled" / "years.parquet").read_bytes() == wanted


@pytest.mark.parametrize(
    "name", ["controller/estimates.py", "sim/house/house.py", "tools/dev/compiling.py"]
)
def test_what_was_edited_runs_from_its_sources(built: Path, tmp_path: Path, name: str) -> None:
    package = tmp_path / "evenclay"
    shutil.copytree(ROOT / "package", package)
    for folder in ("controller", "sim", "tools"):
        ignore = shutil.ignore_patterns("__pycache__")
        shutil.copytree(ROOT / folder, package / folder, ignore=ignore)
    shutil.copy(ROOT / "requirements-dev.lock", package)
    assert python("-c", WHERE, core=built, root=tmp_path).startswith(str(built))
    edited = package / name
    edited.write_text(edited.read_text("utf-8") + "# edited\n", "utf-8")
    source = package / "controller" / "hub.py"
    assert python("-c", WHERE, core=built, root=tmp_path) == f"{source}\n"


def test_where_a_compiled_file_is_missing_the_sources_run(built: Path, tmp_path: Path) -> None:
    core = shutil.copytree(built, tmp_path / "core")
    assert python("-c", WHERE, core=core).startswith(str(core))
    next(core.glob("*__mypyc*")).unlink()
    assert python("-c", WHERE, core=core) == f"{ROOT / 'controller' / 'hub.py'}\n"


@pytest.mark.parametrize("name", ["evenclay.controller.agenda", "evenclay.sim.house.site"])
def test_it_does_not_mix_with_what_was_imported_before(built: Path, name: str) -> None:
    script = f"import {name}\n{WHERE}"
    assert python("-c", script, core=built) == f"{ROOT / 'controller' / 'hub.py'}\n"


def test_without_a_compiler_one_line_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("CC", "no-such-compiler -O2")
    with pytest.raises(SystemExit) as told:
        compiling.build(tmp_path / "core")
    assert str(told.value).startswith("the core is not compiled: found no no-such-compiler,")
    assert "\n" not in str(told.value)
    assert list(tmp_path.iterdir()) == []


def test_what_the_compiler_would_leave_out_is_an_error(
    built: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert built.exists()  # so there is a compiler
    compile_quickly(monkeypatch)
    monkeypatch.setattr(compiling, "SIMULATED", ())
    for path, text in (("__init__", ""), ("wrong", 'class Wrong:\n    one = int("1")\n')):
        (tmp_path / "controller").mkdir(exist_ok=True)
        (tmp_path / "controller" / f"{path}.py").write_text(text)
    for module in (compiled, compiling):
        monkeypatch.setattr(module, "ROOT", tmp_path)
    monkeypatch.setattr(compiled, "MADE_BY", ())
    with pytest.raises(SystemExit, match="Unsupported default"):
        compiling.build(tmp_path / "core")
    assert not (tmp_path / "core").exists()
