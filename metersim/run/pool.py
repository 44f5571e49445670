"""Processes on this machine, which end with their parent."""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager, suppress
from multiprocessing import resource_tracker
from multiprocessing.connection import wait
from typing import Any

GRACE_SECONDS = 1.0  # from the time at which a worker is asked to end
CANCEL_SECONDS = 1.0  # longest wait for a pool to cancel its calls; it takes milliseconds


@contextmanager
def processes(workers: int) -> Iterator[Executor | None]:
    """Processes on this machine, or None for one worker, which is this process.

    Parameters
    ----------
    workers : int
        Number of workers, 1 or more.

    Yields
    ------
    Executor or None
        Its processes ignore an interrupt, which this process handles.  They end with this process.
    """
    if workers == 1:
        yield None
        return
    context = multiprocessing.get_context("spawn")
    _start_tracker()
    others = set(multiprocessing.active_children())
    pool = _Pool(workers, mp_context=context, initializer=_serve)
    try:
        pool.submit(int)  # starts the first process, which takes a while
        yield pool
    except BaseException:  # calls in flight are lost: nobody waits for their results
        _cancel(pool)
        for process in set(multiprocessing.active_children()) - others:
            process.kill()
        raise
    pool.shutdown()


def _start_tracker() -> None:
    """Start the process that removes the semaphores of a pool whose process was killed.

    It does so without a warning: nothing is left over then, and there is nothing to do.
    """
    if os.name != "posix":  # other systems need none
        return
    quiet = "ignore:resource_tracker"
    sys.warnoptions.append(quiet)
    try:
        with _blocked():  # so that it outlives a group of processes that is asked to end
            resource_tracker.ensure_running()
    finally:
        sys.warnoptions.remove(quiet)


@contextmanager
def _blocked() -> Iterator[None]:
    """Block signals that end a process; a process that is started meanwhile has them blocked."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT, *_asking()})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _asking() -> set[signal.Signals]:
    """Signals by which others ask a process to end; a terminal that closes sends the second."""
    return {getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)}


class _Pool(ProcessPoolExecutor):
    """A pool whose new processes are not ended by a signal before `_serve` prepares them."""

    def submit(self, *call: Any, **options: Any) -> Future[Any]:
        """Submit a call; signals are blocked in a new process that it starts."""
        with _blocked():
            return super().submit(*call, **options)


def _cancel(pool: Executor) -> None:
    """Cancel waiting calls, and wait until the pool has done so before its processes end.

    Otherwise Python 3.11 takes the processes for broken.  It then fails to report that to calls
    that were cancelled.
    """
    known = threading.Event()
    with suppress(RuntimeError):  # the pool is broken already
        pool.submit(int).add_done_callback(lambda call: known.set())
    pool.shutdown(wait=False, cancel_futures=True)
    known.wait(CANCEL_SECONDS)


def _serve() -> None:
    """Prepare a worker before it loads any library of arrays."""
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")  # one worker per core is enough
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for number in _asking():
        signal.signal(number, _end_soon)
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, _asking())
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_soon(number: int, frame: object) -> None:
    """End this worker, but let its parent, which may have been asked too, end the work first."""
    ending = threading.Timer(GRACE_SECONDS, os._exit, (1,))
    ending.daemon = True
    ending.start()


def _end_with_parent() -> None:
    """End this worker when its parent process was killed."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)
