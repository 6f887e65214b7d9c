"""The interpreters of the device tests. Each test's report says which ones it ran on, and
`tests/conftest.py` prints them at the end of every run.
"""

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.device.wasm import Wasm

VERSION = (
    "import sys; print('micropython %d.%d.%d' % sys.implementation[1][:3],"
    " sys.implementation._machine, '64-bit' if sys.maxsize > 1 << 32 else '32-bit')"
)


@pytest.fixture(scope="session")
def wasm() -> Wasm:
    """A 32-bit MicroPython."""
    return Wasm()


@pytest.fixture(scope="session")
def wasm_name(wasm: Wasm) -> str:
    return wasm.name()


@pytest.fixture(scope="session")
def micropython_name(micropython: Path) -> str:
    said = subprocess.check_output([str(micropython), "-c", VERSION], text=True)
    return said.strip()


@pytest.fixture(autouse=True)
def _interpreters(
    request: pytest.FixtureRequest, record_property: Callable[[str, object], None]
) -> None:
    """Note in the test's report what it runs on."""
    record_property("interpreter", f"cpython {sys.version.split()[0]}")
    for fixture in ("micropython", "wasm"):
        if fixture in request.fixturenames:
            record_property("interpreter", request.getfixturevalue(f"{fixture}_name"))
