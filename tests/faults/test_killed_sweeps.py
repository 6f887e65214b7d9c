"""Sweeps on processes that are killed at a random moment, and on a Dask cluster of two workers.

The seed of the random moments is printed; SWEEP_SEED=n repeats them. Between two lines of progress
only the slow variant kills, since nothing but a clock can choose such a moment.
"""

import os
import random
import signal
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from evenclay.tools.plan import sweep as sweeping
from evenclay.tools.plan import workers
from tests import sweeps

ROOT = Path(__file__).parents[2]


def quiet(line: str) -> None:
    """Tell nobody."""


@pytest.fixture(scope="module")
def unbroken(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The result of the small sweep, in one go and in one process."""
    out = tmp_path_factory.mktemp("unbroken")
    with ThreadPoolExecutor(1) as executor:
        sweeping.run(sweeps.small(), out, executor, 1, quiet)
    return (out / sweeping.RESULT).read_bytes()


def start(out: Path) -> "subprocess.Popen[str]":
    command = [sys.executable, "-m", "tests.sweeps", str(out)]
    return subprocess.Popen(command, cwd=ROOT, stderr=subprocess.PIPE, text=True)


def kill_after(process: "subprocess.Popen[str]", lines: int, more_s: float) -> list[str]:
    """Kill a sweep some time after so many lines of progress; the lines that came."""
    assert process.stderr is not None
    told = []
    for line in process.stderr:
        told.append(line)
        if len(told) > lines:
            break
    try:
        process.wait(more_s)
    except subprocess.TimeoutExpired:
        process.send_signal(signal.SIGKILL)
    process.wait()
    return told


def stamps(out: Path) -> dict[str, tuple[int, int]]:
    found = [(path.name, path.stat()) for path in (out / sweeping.PARTS).glob("*.parquet")]
    return {name: (stat.st_ino, stat.st_mtime_ns) for name, stat in found}


def survive(out: Path, kills: int, chance: random.Random, most_s: float) -> None:
    """Kill a sweep again and again, at most so long after a line of progress; then let it end."""
    finished: dict[str, tuple[int, int]] = {}
    for _ in range(kills):
        process = start(out)
        kill_after(process, chance.randrange(3), chance.uniform(0.0, most_s))
        now = stamps(out)
        assert finished.items() <= now.items()  # nothing was lost or done again
        finished = now
    process = start(out)
    _, told = process.communicate()
    assert process.returncode == 0, told
    assert finished.items() <= stamps(out).items()
    before = f", {2 * len(finished)} of them done before" if finished else ""
    assert told.splitlines()[0] == f"12 years to live through{before}"


@pytest.mark.parametrize(
    ("kills", "most_s"), [(1, 0.0), pytest.param(12, 0.4, marks=pytest.mark.slow)]
)
def test_a_killed_sweep_goes_on(tmp_path: Path, unbroken: bytes, kills: int, most_s: float) -> None:
    seed = int(os.environ.get("SWEEP_SEED", random.randrange(2**32)))
    print(f"SWEEP_SEED={seed}")
    survive(tmp_path, kills, random.Random(seed), most_s)
    assert (tmp_path / sweeping.RESULT).read_bytes() == unbroken


def test_workers_die_with_the_process_that_asked(tmp_path: Path) -> None:
    """They hold the write end of its stderr: it ends once the last of them is gone."""
    process = start(tmp_path)
    assert process.stderr is not None
    process.stderr.readline()
    process.stderr.readline()  # a task is done, so workers live
    process.kill()
    process.communicate()


def test_a_cluster_of_two_gives_the_same_file(
    tmp_path: Path, unbroken: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However long a busy machine takes to bring the two up."""
    distributed = pytest.importorskip("distributed")
    dask = pytest.importorskip("dask")
    monkeypatch.setattr(workers, "CONNECT_S", 1000)
    patient = {f"distributed.comm.timeouts.{what}": "1000s" for what in ("connect", "tcp")}
    with (
        dask.config.set(patient),
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, dashboard_address=None, host="127.0.0.1"
        ) as two,
        workers.cluster(two.scheduler_address) as (executor, count),
    ):
        assert count == 2
        sweeping.run(sweeps.small(), tmp_path, executor, count, quiet)
    assert (tmp_path / sweeping.RESULT).read_bytes() == unbroken


def test_no_scheduler_there_is_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workers, "CONNECT_S", 0.5)
    for address in ("tcp://127.0.0.1:1", "nonsense://x", "not an address"):
        with (
            pytest.raises(workers.SweepError, match="--scheduler: found no scheduler") as caught,
            workers.cluster(address),
        ):
            pass
        assert len(str(caught.value).splitlines()) == 1
