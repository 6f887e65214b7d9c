"""The processes of long tasks: how they end where the one that asked is interrupted."""

import threading
import time
from contextlib import suppress

import pytest

from evenclay.tools.plan import workers


def interrupted() -> list[bool]:
    """Work with one process until Ctrl-C, when twenty tasks wait: whether each was taken back.

    A map that is interrupted tries to take back those of its tasks that wait.
    """
    found: list[bool] = []
    with suppress(KeyboardInterrupt), workers.processes(1) as (executor, _):
        waiting = [executor.submit(time.sleep, 3600) for _ in range(20)]
        found += [task.cancel() for task in waiting]
        raise KeyboardInterrupt
    return found


def test_an_interrupt_ends_processes_and_takes_no_task_back(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    failed: list[object] = []
    monkeypatch.setattr(threading, "excepthook", failed.append)
    assert interrupted() == [False] * 20
    assert not failed
