"""Many calls of a function at once, on any `concurrent.futures.Executor`, in order.

One such executor is that of processes on this machine; libraries for clusters offer others.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager, suppress
from multiprocessing.connection import wait
from typing import Any, TypeVar

USUAL_WORKERS = 8  # at most, when nobody says how many
MOST_WORKERS = 1000  # processes that an option may ask for
CANCEL_SECONDS = 1.0  # most to wait for a pool; it takes some milliseconds

Job = TypeVar("Job")
Result = TypeVar("Result")


def in_order(
    function: Callable[[Job], Result],
    jobs: Iterable[Job],
    executor: Executor | None = None,
    ahead: int = 64,
) -> Iterator[Result]:
    """Results of a function, in the order of its jobs, wherever they are worked out.

    Parameters
    ----------
    function : callable
        Of one job; an executor may have to pickle it.
    jobs : iterable
        Taken up as they are needed, so that there may be very many.
    executor : Executor, optional
        Where to work; without one, here, one after the other.
    ahead : int
        Most jobs in flight, finished or not, 1 or more; some more than the executor works on.

    Yields
    ------
    result
        Of the next job.
    """
    if executor is None:
        yield from map(function, jobs)
        return
    flight: deque[Future[Result]] = deque()
    try:
        for job in jobs:
            flight.append(executor.submit(function, job))
            if len(flight) >= ahead:
                yield flight.popleft().result()
        while flight:
            yield flight.popleft().result()
    except BrokenExecutor:  # which ends all that is in flight itself
        flight.clear()
        raise
    finally:
        for future in flight:
            future.cancel()


def cores() -> int:
    """Cores that this process may use, but no more than `USUAL_WORKERS`."""
    allowed = getattr(os, "sched_getaffinity", None)  # not on every system
    many = len(allowed(0)) if allowed else os.cpu_count() or 1
    return min(many, USUAL_WORKERS)


@contextmanager
def processes(workers: int) -> Iterator[Executor | None]:
    """Processes on this machine, or None for one worker, which is this process.

    Parameters
    ----------
    workers : int
        1 or more.

    Yields
    ------
    Executor or None
        Its processes leave an interrupt to this one, and end when this one ends in any way.
    """
    if workers == 1:
        yield None
        return
    context = multiprocessing.get_context("spawn")
    others = set(multiprocessing.active_children())
    pool = _Pool(workers, mp_context=context, initializer=_serve)
    try:
        pool.submit(int)  # what starts the first process, which takes a while
        yield pool
    except BaseException:  # what is in flight is lost, and nobody waits for it
        _cancel(pool)
        for process in set(multiprocessing.active_children()) - others:
            process.terminate()
        raise
    pool.shutdown()


class _Pool(ProcessPoolExecutor):
    """Starts its processes, as calls come, deaf to interrupts before they can say so themselves."""

    def submit(self, *call: Any, **options: Any) -> Future[Any]:
        """A call in a process, perhaps a new one."""
        if not hasattr(signal, "pthread_sigmask"):
            return super().submit(*call, **options)
        before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        try:
            return super().submit(*call, **options)
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _cancel(pool: Executor) -> None:
    """Cancel what waits, and see that the pool knows before its processes are ended.

    Else Python 3.11 takes them for broken, and fails to tell that to calls that were cancelled.
    """
    known = threading.Event()
    with suppress(RuntimeError):  # it is broken already
        pool.submit(int).add_done_callback(lambda call: known.set())
    pool.shutdown(wait=False, cancel_futures=True)
    known.wait(CANCEL_SECONDS)


def _serve() -> None:
    """What a worker does first, before it loads any library of arrays."""
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")  # a worker a core is enough
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    """Leave no worker behind when the process that gives it work was killed."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)
