"""The processes of long tasks: how they end where the one that asked is interrupted."""

import threading
import time

import pytest

from evenclay.tools.plan import workers


def interrupted() -> None:
    """Work with one process until Ctrl-C, when twenty tasks are waiting."""
    with workers.processes(1) as (executor, _):
        found = executor.map(time.sleep, [0.0] + [3600.0] * 20)
        next(found)
        found.close()  # type: ignore[attr-defined]  # as where it is interrupted
        raise KeyboardInterrupt


def test_an_interrupt_ends_processes_however_many_tasks_wait(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    failed: list[object] = []
    monkeypatch.setattr(threading, "excepthook", failed.append)
    with pytest.raises(KeyboardInterrupt):
        interrupted()
    assert not failed
