"""Runs of a sweep: all points of a plan with common random numbers.

Any `concurrent.futures.Executor` gives the same rows in the same order.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import BrokenExecutor, Executor
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from metersim.files.faults import BadInput, Keyed, bad
from metersim.files.rowfile import RowFile
from metersim.files.tables import dataframe
from metersim.measures.estimates import measure
from metersim.measures.indices import MEASURES
from metersim.measures.tally import tallied
from metersim.questions.sweep.plan import COUNTS, PARTS, VALUE_COLUMNS, Job, Plan
from metersim.run.parallel import check_sent, in_order

if TYPE_CHECKING:
    import pandas as pd

PLACES = Keyed({m.key: len(PARTS) * k for k, m in enumerate(MEASURES)})  # first column in a row

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Outcome:
    """Result of one run of a sweep.

    Attributes
    ----------
    values : tuple of float
        Values of `VALUE_COLUMNS`, in SI; empty for an impossible point.
    fault : str
        Contradiction in the settings of the point, or an empty text.
    """

    values: tuple[float, ...] = ()
    fault: str = ""


def run_point(job: Job, engine: str | None = None) -> Outcome:
    """Run and measure one point of a sweep."""
    try:
        scenario = job.made()
    except BadInput as error:
        return Outcome(fault="; ".join(f"{fault.key}: {fault.message}" for fault in error.faults))
    measured = measure(tallied(scenario, seed=job.seed, replicate=job.replicate, engine=engine))
    estimates = (measured.estimates[m.key] for m in MEASURES)
    values = [number for e in estimates for number in (e.value, e.low, e.high)]
    return Outcome((*values, *(float(measured.counts[name]) for name in COUNTS)))


@dataclass(frozen=True)
class Sweep:
    """Rows of a sweep.

    Attributes
    ----------
    plan : Plan
        Plan of the sweep.
    values : ndarray, shape (points, replicates, columns)
        Values of `VALUE_COLUMNS`, in SI; nan where missing.
    faults : mapping of int to str
        Contradictions of impossible points, by point.
    """

    plan: Plan
    values: Floats
    faults: Mapping[int, str] = field(default_factory=dict)

    def __repr__(self) -> str:
        return f"<Sweep of {self.plan!r}; to_dataframe() lists its rows>"

    def estimates(self, key: str) -> Floats:
        """Value, low and high of a measure, of shape (points, replicates, 3)."""
        place = PLACES[key]
        return self.values[:, :, place : place + len(PARTS)]

    def to_dataframe(self) -> pd.DataFrame:
        """A table for pandas with one row a point and replicate, in SI (extra ``notebook``)."""
        plan, repeat = self.plan, self.plan.replicates
        columns: dict[str, Any] = {
            "point": np.repeat(np.arange(plan.many), repeat),
            "replicate": np.tile(np.arange(repeat), plan.many),
        }
        columns |= {key: np.repeat(column, repeat) for key, column in plan.varied().items()}
        flat = self.values.reshape(-1, len(VALUE_COLUMNS))
        names = (*(f"{m.key}{part}" for m in MEASURES for part in PARTS), *COUNTS)
        columns |= {name: flat[:, k] for k, name in enumerate(names)}
        columns["fault"] = [
            self.faults.get(point, "") for point in range(plan.many) for _ in range(repeat)
        ]
        return dataframe(columns)


def sweep(
    plan: Plan,
    *,
    executor: Executor | None = None,
    ahead: int = 64,
    out: str | Path | None = None,
    resume: bool = False,
    mend: bool = False,
    on_row: Callable[[int], None] | None = None,
    run: Callable[[Job], Outcome] = run_point,
) -> Sweep:
    """Run all points of a plan with common random numbers.

    Parameters
    ----------
    plan : Plan
        Plan of `plan_sweep`.
    executor : Executor, optional
        Executor of the runs: processes, threads or a cluster; by default they run here.
    ahead : int
        Largest number of submitted runs; it should exceed the number of workers.
    out : str or Path, optional
        File of the rows.  Each row is written as soon as all rows before it are finished.
    resume : bool
        Whether to continue that file.
    mend : bool
        Whether to compute the first row of it that was changed or damaged, and all rows after it,
        again; otherwise such a file is refused.
    on_row : callable, optional
        Function that takes the number of rows, after each row and after those of the file.
    run : callable
        Function in place of `run_point`; it must be picklable where `executor` pickles.

    Returns
    -------
    Sweep
        Rows, which are the same for all executors.

    Raises
    ------
    BadInput
        When no point is possible, own stations cannot be sent to processes, or the file cannot
        be used or written.

    Examples
    --------
    >>> import metersim as m
    >>> swept = m.sweep(m.plan_sweep("maize_bench", "vacuum_kpa=2:6:3", changes=["turns=20"]))
    >>> low, middle, high = swept.estimates("cells.skip")[:, 0, 0]
    >>> bool(low > middle >= high)
    True
    """
    plan.check_some_point()
    check_sent(plan.base, executor)
    values = np.full((plan.many, plan.replicates, len(VALUE_COLUMNS)), math.nan)
    faults: dict[int, str] = {}

    def keep(row: int, outcome: Outcome) -> None:
        point, replicate = divmod(row, plan.replicates)
        if outcome.fault:
            faults[point] = outcome.fault
        else:
            values[point, replicate] = outcome.values
        if on_row:
            on_row(row + 1)

    def jobs(start: int) -> Iterator[Job]:
        for row in range(start, plan.rows):
            yield plan.job(*divmod(row, plan.replicates))

    if out is None:
        for row, outcome in enumerate(in_order(run, jobs(0), executor, ahead)):
            keep(row, outcome)
        return Sweep(plan, values, faults)
    with RowFile(Path(out), plan.origin(), plan.columns, resume=resume) as file:
        try:
            for row, texts in enumerate(file.finished()):
                keep(row, _outcome_of(plan, row, texts, file))
        except BadInput:
            if not mend:
                raise
        file.drop_rest()
        start = file.rows
        try:
            for row, outcome in enumerate(in_order(run, jobs(start), executor, ahead), start):
                file.append([*plan.head(row), *_texts(outcome), outcome.fault])
                keep(row, outcome)
        except BrokenExecutor:
            message = "a worker was ended from outside, perhaps for want of memory; "
            message += f"{file.rows:,} finished rows are kept, go on with `resume`"
            raise bad(str(out), "", message) from None
        except MemoryError:
            message = f"the memory is not enough; {file.rows:,} finished rows are kept, go on with "
            message += "`resume` and fewer `workers`"
            raise bad(str(out), "", message) from None
        except KeyboardInterrupt:  # it may come between a row and its report
            if on_row:
                on_row(file.rows)
            raise
    return Sweep(plan, values, faults)


def _texts(outcome: Outcome) -> list[str]:
    """Values of a row as texts, from which numbers are read back exactly."""
    if outcome.fault:
        return [""] * len(VALUE_COLUMNS)
    *measures, cells, seeds = outcome.values
    texts = ["" if math.isnan(value) else repr(float(value)) for value in measures]
    return [*texts, str(int(cells)), str(int(seeds))]


def _outcome_of(plan: Plan, row: int, texts: list[str], file: RowFile) -> Outcome:
    """Result in a row of a file; raises `BadInput` when the row does not belong to the plan."""
    many = 2 + len(plan.axes)
    numbers, fault = texts[many:-1], texts[-1]
    try:
        outcome = Outcome(fault=fault) if fault else Outcome(tuple(map(_number, numbers)))
    except ValueError:
        raise file.spoilt() from None
    if row >= plan.rows or tuple(texts[:many]) != plan.head(row) or numbers != _texts(outcome):
        raise file.spoilt()
    return outcome


def _number(text: str) -> float:
    return float(text) if text else math.nan
