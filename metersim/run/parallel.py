"""Many calls of a function at once, on any `concurrent.futures.Executor`, in order.

`metersim.run.pool` has processes on this machine.  Libraries for clusters offer other executors.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from typing import TYPE_CHECKING, TypeVar

from metersim.files.faults import Parameter, bad
from metersim.machine.scenario import Scenario
from metersim.run.progress import worked

if TYPE_CHECKING:
    from concurrent.futures import Executor, Future

USUAL_WORKERS = 8  # most workers when their number is not given
MOST_WORKERS = 1000  # most processes that an option may ask for

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
    from concurrent.futures import BrokenExecutor  # slow to load, as is what follows it

    from metersim.run.pool import Crew

    jobs = iter(jobs)
    if isinstance(executor, Crew):
        yield from executor.alone(function, jobs)
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
    if scenario.own is None or executor is None:
        return
    import pickle
    from concurrent.futures import ProcessPoolExecutor

    from metersim.run.pool import Crew

    if not isinstance(executor, ProcessPoolExecutor | Crew):
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
