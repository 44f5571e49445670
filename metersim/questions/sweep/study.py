"""What comes out over a space of settings: every point of a plan, on the same luck.

A planned sweep is run here, or on any `concurrent.futures.Executor`, with the same rows in the same
order.
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

from metersim.files.faults import BadInput, bad
from metersim.files.rowfile import RowFile
from metersim.files.tables import dataframe
from metersim.measures.estimates import measure
from metersim.measures.indices import MEASURES
from metersim.measures.tally import tallied
from metersim.questions.sweep.plan import COUNTS, PARTS, VALUE_COLUMNS, Job, Plan
from metersim.run.parallel import in_order

if TYPE_CHECKING:
    import pandas as pd

PLACES = {m.key: len(PARTS) * k for k, m in enumerate(MEASURES)}  # of a measure in a row's values

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Outcome:
    """What a run of a sweep gave.

    Attributes
    ----------
    values : tuple of float
        By `VALUE_COLUMNS`, in SI; none when there was nothing to run.
    fault : str
        Why the settings of the point contradict, or nothing.
    """

    values: tuple[float, ...] = ()
    fault: str = ""


def run_point(job: Job, engine: str | None = None) -> Outcome:
    """Run one point of a sweep once, by either engine, and measure it."""
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
        What was asked.
    values : ndarray, shape (points, replicates, columns)
        By `VALUE_COLUMNS`, in SI; nan where there is nothing to tell.
    faults : mapping of int to str
        Why a point is not possible, by point.
    """

    plan: Plan
    values: Floats
    faults: Mapping[int, str] = field(default_factory=dict)

    def __repr__(self) -> str:
        return f"<Sweep of {self.plan!r}; to_dataframe() shows its rows>"

    def estimates(self, key: str) -> Floats:
        """Value, low and high of a measure: an array of shape (points, replicates, 3)."""
        place = PLACES[key]
        return self.values[:, :, place : place + len(PARTS)]

    def to_dataframe(self) -> pd.DataFrame:
        """One row a point and replicate, in SI, for pandas (extra ``notebook``)."""
        plan, repeat = self.plan, self.plan.replicates
        columns: dict[str, Any] = {
            "point": np.repeat(np.arange(plan.many), repeat),
            "replicate": np.tile(np.arange(repeat), plan.many),
        }
        columns |= {key: np.repeat(column, repeat) for key, column in plan.varied().items()}
        flat = self.values.reshape(-1, len(VALUE_COLUMNS))
        columns |= {name: flat[:, k] for k, name in enumerate(VALUE_COLUMNS)}
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
    on_row: Callable[[int], None] | None = None,
    run: Callable[[Job], Outcome] = run_point,
) -> Sweep:
    """Run every point of a plan, on the same luck.

    Parameters
    ----------
    plan : Plan
        From `plan_sweep`.
    executor : Executor, optional
        Where to run: processes, threads or a cluster; here, when not given.
    ahead : int
        Most runs in flight; some more than the executor works on at once.
    out : str or Path, optional
        File for the rows, each written as soon as it and all before it are there.
    resume : bool
        Whether to go on with that file.
    on_row : callable, optional
        Told how many rows there are, after each one and after those that were there before.
    run : callable
        In place of `run_point`; it must be picklable where `executor` pickles.

    Returns
    -------
    Sweep
        The rows; the same whatever the executor.

    Raises
    ------
    BadInput
        When no point is possible, or the file cannot be used or written.

    Examples
    --------
    >>> import metersim as m
    >>> swept = m.sweep(m.plan_sweep("maize_bench", "vacuum_kpa=2:6:3", changes=["turns=20"]))
    >>> [f"{skip:.1%}" for skip in swept.estimates("cells.skip")[:, 0, 0]]
    ['1.8%', '0.3%', '0.0%']
    """
    plan.check_some_point()
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
        for row, texts in enumerate(file.finished()):
            keep(row, _outcome_of(plan, row, texts, file))
        file.settle()
        start = file.rows
        try:
            for row, outcome in enumerate(in_order(run, jobs(start), executor, ahead), start):
                file.append([*plan.head(row), *_texts(outcome), outcome.fault])
                keep(row, outcome)
        except BrokenExecutor:
            message = "a worker was ended from outside, perhaps for want of memory; "
            message += f"{file.rows:,} finished rows are kept, go on with --resume"
            raise bad(str(out), "", message) from None
        except KeyboardInterrupt:  # it may have come between a row and the word of it
            if on_row:
                on_row(file.rows)
            raise
    return Sweep(plan, values, faults)


def _texts(outcome: Outcome) -> list[str]:
    """Values as a row holds them: a number is read back to its last bit."""
    if outcome.fault:
        return [""] * len(VALUE_COLUMNS)
    *measures, cells, seeds = outcome.values
    texts = ["" if math.isnan(value) else repr(float(value)) for value in measures]
    return [*texts, str(int(cells)), str(int(seeds))]


def _outcome_of(plan: Plan, row: int, texts: list[str], file: RowFile) -> Outcome:
    """What a row of a file tells; raises `BadInput` unless the plan could have written it."""
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
