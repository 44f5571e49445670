"""Processes on this machine, which end with their parent."""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager, suppress
from multiprocessing import resource_tracker
from multiprocessing.connection import wait
from typing import Any, TypeVar

Job = TypeVar("Job")
Result = TypeVar("Result")

PATIENCE_SECONDS = 1.0  # of work after which processes are worth their start
GRACE_SECONDS = 1.0  # from the time at which a worker is asked to end
CANCEL_SECONDS = 1.0  # longest wait for a pool to cancel its calls; it takes milliseconds


class Crew(Executor):
    """Processes on this machine that start when work has lasted for a while in this process.

    Short work never starts them.  While they start, this process goes on with the work.
    """

    def __init__(self, workers: int) -> None:
        self._workers = workers
        self._spent = 0.0  # s of work in this process
        self._pool: _Pool | None = None
        self._ready: Future[bool] | None = None  # ends when the first process is there
        self._others = set(multiprocessing.active_children())

    def start(self) -> _Pool:
        """Start the pool, which starts a process when there is a call for it."""
        if self._pool is None:
            _start_tracker()
            context = multiprocessing.get_context("spawn")
            self._pool = _Pool(self._workers, mp_context=context, initializer=_serve)
        return self._pool

    def alone(self, function: Callable[[Job], Result], jobs: Iterator[Job]) -> Iterator[Result]:
        """Results of the next jobs, which this process works on until another is there."""
        while self._ready is None or not self._ready.done():
            start = time.monotonic()
            try:
                job = next(jobs)
            except StopIteration:
                return
            result = function(job)
            self._spent += time.monotonic() - start
            if self._spent > PATIENCE_SECONDS and self._ready is None:
                # each call starts a process, which imports the function
                self._ready, *_ = [self.submit(callable, function) for _ in range(self._workers)]
            yield result

    def submit(self, *call: Any, **options: Any) -> Future[Any]:
        """Submit a call to the processes."""
        return self.start().submit(*call, **options)

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """End the processes when they have done their calls; at once where none is there yet."""
        if self._ready is not None and not self._ready.done():
            self.kill()
        if self._pool is not None:
            self._pool.shutdown(wait, cancel_futures=cancel_futures)

    def kill(self) -> None:
        """End the processes at once; calls in flight are lost."""
        if self._pool is not None:
            _cancel(self._pool)
        started = set(multiprocessing.active_children()) - self._others
        for process in started:
            process.kill()
        for process in started:
            process.join(CANCEL_SECONDS)


@contextmanager
def processes(workers: int, *, at_once: bool = True) -> Iterator[Executor | None]:
    """Processes on this machine, or None for one worker, which is this process.

    Parameters
    ----------
    workers : int
        Number of workers, 1 or more.
    at_once : bool
        Whether to start them now, and not when this process has worked for a while.

    Yields
    ------
    Executor or None
        Its processes ignore an interrupt, which this process handles.  They end with this process.
    """
    if workers == 1:
        yield None
        return
    crew = Crew(workers)
    try:
        if at_once:
            crew.submit(int)  # starts the first process, which takes a while
        yield crew.start() if at_once else crew
    except BaseException:  # nobody waits for results
        crew.kill()
        raise
    crew.shutdown()


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
