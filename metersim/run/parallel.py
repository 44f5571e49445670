"""Many calls of a function at once, on any `concurrent.futures.Executor`, in order.

`processes` gives an executor of processes on this machine.  Libraries for clusters offer others.
"""

from __future__ import annotations

import multiprocessing
import os
import pickle
import signal
import sys
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager, suppress
from multiprocessing import resource_tracker
from multiprocessing.connection import wait
from typing import Any, TypeVar

from metersim.files.faults import Parameter, bad
from metersim.machine.scenario import Scenario
from metersim.run.progress import worked

USUAL_WORKERS = 8  # most workers when their number is not given
MOST_WORKERS = 1000  # most processes that an option may ask for
GRACE_SECONDS = 1.0  # from the time at which a worker is asked to end
CANCEL_SECONDS = 1.0  # longest wait for a pool to cancel its calls; it takes milliseconds

Job = TypeVar("Job")
Result = TypeVar("Result")


def in_order(
    function: Callable[[Job], Result],
    jobs: Iterable[Job],
    executor: Executor | None = None,
    ahead: int = 64,
) -> Iterator[Result]:
    """Results of a function in the order of its jobs, from any executor.

    Parameters
    ----------
    function : callable
        Takes one job.  An executor may have to pickle the function.
    jobs : iterable
        The jobs.  They are taken as they are needed, so there may be very many.
    executor : Executor, optional
        Works on the jobs.  Without one, this process works on one after the other.
    ahead : int
        Most jobs in flight, finished or not, 1 or more.  It should exceed the number of workers.

    Yields
    ------
    result
        Result of the next job.
    """
    if executor is None:
        yield from map(function, jobs)
        return
    flight: deque[Future[Result]] = deque()
    try:
        for job in jobs:
            flight.append(executor.submit(function, job))
            if len(flight) >= ahead:
                yield _told(flight.popleft())
        while flight:
            yield _told(flight.popleft())
    except BrokenExecutor:  # it ends all jobs in flight itself
        flight.clear()
        raise
    finally:
        for future in flight:
            future.cancel()


def _told(call: Future[Result]) -> Result:
    """Result of a call; its end is reported to a watcher."""
    result = call.result()
    worked(1, "run")
    return result


def check_sent(scenario: Scenario, executor: Executor | None) -> None:
    """Refuse own stations that other processes on this machine would not find.

    Raises
    ------
    BadInput
        When the executor is one of processes, and the stations cannot be pickled.
    """
    if scenario.own is None or not isinstance(executor, ProcessPoolExecutor):
        return
    try:
        pickle.dumps(scenario.own)
    except (pickle.PicklingError, AttributeError, TypeError) as error:
        message = "cannot be sent to other processes; define them at the top of a module"
        said = ", ".join(f"{name}: {one}" for name, one in scenario.own.said().items())
        raise bad(Parameter("stations"), said, f"{message} ({error})") from None


def cores() -> int:
    """Number of cores that this process may use, at most `USUAL_WORKERS`."""
    allowed = getattr(os, "sched_getaffinity", None)  # not on every system
    many = len(allowed(0)) if allowed else os.cpu_count() or 1
    return min(many, USUAL_WORKERS)


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
