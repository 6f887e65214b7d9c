"""Who works on a sweep: processes of this machine, or a Dask cluster's workers."""

import multiprocessing
import os
import signal
import threading
from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager

CONNECT_S = 10


class SweepError(ValueError):
    """What a user of a sweep can mend, in one line."""


def cores() -> int:
    """How many processes this machine runs at once for us."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


@contextmanager
def processes(count: int) -> Iterator[tuple[Executor, int]]:
    """Processes of this machine, gone when this is left or the process that asked dies."""
    context = multiprocessing.get_context("spawn")  # a fork would inherit threads half alive
    with ProcessPoolExecutor(count, context, _begin_worker) as executor:
        try:
            yield executor, count
        except BrokenProcessPool:
            raise SweepError(
                "a process died, perhaps for want of memory; the same command goes on, "
                "with fewer --processes if need be"
            ) from None
        except BaseException:
            for child in multiprocessing.active_children():
                child.terminate()
            raise


def _begin_worker() -> None:
    """Leave Ctrl-C to the parent, and die with it however it dies."""
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
    try:
        client = Client(address, timeout=CONNECT_S)
    except (OSError, ValueError) as error:
        reason = str(error).splitlines()[0]
        raise SweepError(f"--scheduler: found no scheduler at {address} ({reason})") from None
    with client:
        workers = sum(client.nthreads().values())
        if not workers:
            raise SweepError(f"--scheduler: found no workers at {address}, allowed one or more")
        yield client.get_executor(), workers
