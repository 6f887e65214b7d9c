"""Processes of this machine or a cluster's workers for long tasks, and how far they have come."""

import gc
import multiprocessing
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import timedelta
from importlib import import_module
from multiprocessing.context import BaseContext
from typing import Any, TypeVar

CONNECT_S = 10
SHOWN_S = 2.0  # between two lines of progress
READY = "evenclay.tools.plan.ready"  # which a worker imports before it is needed

Tell = Callable[[str], None]
T = TypeVar("T")


class SweepError(ValueError):
    """A mistake in what is asked of a long task; the user is told it in one line."""


@dataclass
class Progress:
    """Tells how many years are done and how long the rest may take."""

    total: int
    done: int
    tell: Tell
    _started_s: float = field(default_factory=time.monotonic)
    _before: int = 0
    _told_s: float = -SHOWN_S

    def __post_init__(self) -> None:
        self._before = self.done
        before = f", {self.done:,} of them done before" if self.done else ""
        self.tell(f"{self.total:,} years to live through{before}")

    def add(self, years: int) -> None:
        """Count finished years."""
        self.done += years
        now_s = time.monotonic()
        if now_s - self._told_s < SHOWN_S and self.done < self.total:
            return
        self._told_s = now_s
        each_s = (now_s - self._started_s) / (self.done - self._before)
        left_s = round(each_s * (self.total - self.done))
        left = f"; {timedelta(seconds=left_s)} left" if self.done < self.total else ""
        self.tell(f"{self.done:,} of {self.total:,} years{left}")


@contextmanager
def counting(what: str) -> Iterator[Callable[[int, int], None]]:
    """Show on stderr how many of something are done, of how many, and the time left.

    On a terminal as a bar, else as a line for each tenth.
    """
    from rich import progress
    from rich.console import Console

    console = Console(stderr=True, highlight=False)
    parts = (
        progress.TextColumn("{task.description}"),
        progress.BarColumn(),
        progress.MofNCompleteColumn(),
        progress.TimeRemainingColumn(),
        progress.TextColumn("left"),
    )
    plain = not console.is_terminal
    with progress.Progress(*parts, console=console, transient=True, disable=plain) as shown:
        number, told = shown.add_task(what, total=None), -1

        def count(done: int, total: int) -> None:
            nonlocal told
            shown.update(number, completed=done, total=total)
            if plain and 10 * done // total > told:
                told = 10 * done // total
                left_s = shown.tasks[0].time_remaining
                left = ""
                if left_s is not None and done < total:
                    left = f"; {timedelta(seconds=round(left_s))} left"
                print(f"{what}: {done} of {total}{left}", file=sys.stderr, flush=True)

        yield count


def cores() -> int:
    """Return how many processes of ours can run at once on this machine."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


class _Pool(ProcessPoolExecutor):
    """Processes whose tasks cannot be taken back.

    Where some were, the thread that hands tasks out fails as the processes are stopped, and the
    whole program then waits for ever (Python 3.11.7; later ones do not).
    """

    def submit(self, function: Callable[..., T], /, *args: Any, **named: Any) -> "Future[T]":
        """Hand in a task."""
        future = super().submit(function, *args, **named)
        # The pool makes its futures itself, so that no class of ours can say so.
        future.cancel = lambda: False  # type: ignore[method-assign]
        return future


@contextmanager
def processes(count: int) -> Iterator[tuple[Executor, int]]:
    """Start processes; they end with this context, or when the process that asked for them dies.

    They make themselves ready while the caller goes on.
    """
    with _Pool(count, _context(), _begin_worker) as executor:
        with _ctrl_c_waits():
            for _ in range(count):
                executor.submit(import_module, READY)
        try:
            yield executor, count
        except BrokenProcessPool:
            raise SweepError(
                "a process died, perhaps for want of memory: say the same again, "
                "with fewer --processes if need be"
            ) from None
        except BaseException:
            for child in multiprocessing.active_children():
                child.terminate()
            raise


def _context() -> BaseContext:
    """How processes begin: as forks of one that has made itself ready, where there are forks.

    A fork of this one would inherit threads half alive.
    """
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload([READY])
    return context


@contextmanager
def _ctrl_c_waits() -> Iterator[None]:
    """Start processes that Ctrl-C does not reach: it is for this one, once they have started.

    A process that it stopped as it starts would show a traceback, and so would one that starts when
    this one has ended.
    """
    heard: list[int] = []
    before = signal.signal(signal.SIGINT, lambda number, _: heard.append(number))
    masks = hasattr(signal, "pthread_sigmask")  # which processes started here inherit
    mask = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT}) if masks else None
    try:
        yield
    finally:
        if mask is not None:
            signal.pthread_sigmask(signal.SIG_SETMASK, mask)
        signal.signal(signal.SIGINT, before)
    if heard:
        raise KeyboardInterrupt


def _begin_worker() -> None:
    """Leave Ctrl-C to the parent, and end when the parent ends, for whatever reason."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    assert parent is not None

    def follow() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=follow, daemon=True).start()


@contextmanager
def cluster(address: str) -> Iterator[tuple[Executor, int]]:
    """The workers of a Dask cluster, and how many tasks they take at once. Raises: SweepError."""
    try:
        from distributed import Client
    except ImportError:
        raise SweepError(
            "--scheduler: found no package distributed, allowed once it is installed: "
            "pip install 'evenclay[cluster]'"
        ) from None
    reason = None
    try:
        client = Client(address, timeout=CONNECT_S)
    except (OSError, ValueError) as error:
        reason = str(error).splitlines()[0]
    if reason is not None:
        # End the half-made client here: by another thread, while a cluster starts, it would wait
        # for a lock that waits for that thread.
        gc.collect()
        raise SweepError(f"--scheduler: found no scheduler at {address} ({reason})")
    with client:
        workers = sum(client.nthreads().values())
        if not workers:
            raise SweepError(f"--scheduler: found no workers at {address}, allowed one or more")
        yield client.get_executor(), workers
