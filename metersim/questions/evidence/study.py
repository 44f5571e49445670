"""Comparison of the model with published cases."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

from metersim.files.faults import all_of, bad
from metersim.files.tables import dataframe
from metersim.machine.stations import stations_of
from metersim.questions.evidence.predictions import DRAWS, MakesStations, Predicted, predict
from metersim.questions.evidence.score import Scores, score
from metersim.questions.evidence.verdicts import (
    AGREES,
    VERDICTS,
    Interval,
    Outcome,
    judge,
)
from metersim.questions.shared.cases import Case, load_case, shipped_cases
from metersim.questions.shared.unseen import shipped_unseen

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, eq=False)
class Evidence:
    """Published cases with their predictions and verdicts.

    Attributes
    ----------
    predictions : tuple of Predicted
        Prediction of each case.
    outcomes : tuple of Outcome
        Outcome of each published row.
    draws, seed : int
        Number of draws, and random seed of draws and runs.
    score : Scores, optional
        Score of the shipped predictions of unseen levels; None where none are shipped.
    """

    predictions: tuple[Predicted, ...]
    outcomes: tuple[Outcome, ...]
    draws: int
    seed: int
    score: Scores | None = None

    def __repr__(self) -> str:
        verdicts = ", ".join(f"{many} {verdict}" for verdict, many in self.counts.items())
        rows = f"{len(self.outcomes)} published rows"
        return f"<Evidence of {rows}: {verdicts}; to_dataframe() lists them>"

    @property
    def levels(self) -> tuple[int, int, float]:
        """Number of levels, of those inside their interval, and mean width of those in percent."""
        found = [o for o in self.outcomes if o.kind == "level"]
        widths = [
            o.interval.high - o.interval.low for o in found if o.interval and o.interval.unit == "%"
        ]
        inside = sum(o.verdict == AGREES for o in found)
        return len(found), inside, sum(widths) / len(widths) if widths else math.nan

    @property
    def counts(self) -> dict[str, int]:
        """Number of rows by verdict."""
        found = [outcome.verdict for outcome in self.outcomes]
        return {verdict: found.count(verdict) for verdict in VERDICTS}

    def of(self, case: str) -> list[Outcome]:
        """Outcomes of a case."""
        return [outcome for outcome in self.outcomes if outcome.case == case]

    def to_dataframe(self) -> pd.DataFrame:
        """A table for pandas with one row for each published row (extra ``notebook``)."""
        return dataframe(list(table_rows(self.outcomes)))


def table_rows(outcomes: Iterable[Outcome]) -> Iterator[dict[str, Any]]:
    """Outcomes as flat rows; numbers in the unit that a row names."""
    nothing = math.nan
    empty = Interval(nothing, nothing, nothing, nothing, nothing, "")
    for outcome in outcomes:
        numbers = outcome.interval or empty
        yield {
            "case": outcome.case,
            "row": outcome.row,
            "kind": outcome.kind,
            "published": numbers.published,
            "median": numbers.median,
            "low": numbers.low,
            "high": numbers.high,
            "sampling_share": numbers.sampling,
            "unit": numbers.unit,
            "verdict": outcome.verdict,
            "published_text": outcome.published,
            "predicted_text": outcome.predicted,
            "why": outcome.why,
        }


def load_cases(names: str | Iterable[str | Case] = ()) -> list[Case]:
    """Cases by name or file, or all shipped ones; raises `BadInput` with every fault found."""
    given: list[str | Case] = [names] if isinstance(names, str) else list(names)
    cases: list[Case] = all_of(*(partial(_loaded, one) for one in given or shipped_cases()))
    first: dict[str, Case] = {}
    for case in cases:
        if first.setdefault(case.name, case) is not case:
            message = f"a case of this name is given twice, {first[case.name].path} too"
            raise bad(str(case.path), "", f"{message}; leave one out, or rename it")
    return cases


def _loaded(one: str | Case) -> Case:
    return one if isinstance(one, Case) else load_case(one)


def evidence(
    names: str | Iterable[str | Case] = (),
    *,
    draws: int = DRAWS,
    seed: int = 1,
    stations: MakesStations = stations_of,
    executor: Executor | None = None,
    on_run: Callable[[int], Any] | None = None,
) -> Evidence:
    """Compare the model with published cases.

    Parameters
    ----------
    names : iterable of str or Case
        Shipped cases, case files, or `Case` objects; all shipped cases by default.
    draws, seed, stations, executor, on_run
        As for `metersim.questions.evidence.predictions.predict`.

    Returns
    -------
    Evidence
        Predictions and verdicts.

    Raises
    ------
    BadInput
        When a case is unknown or given twice, or its file is wrong.

    Examples
    --------
    >>> import metersim as m
    >>> m.evidence(["qi2013"], draws=8, seed=1).outcomes[0].published
    '0.19 %'
    """
    cases = load_cases(names)
    made = predict(
        cases, draws=draws, seed=seed, stations=stations, executor=executor, on_run=on_run
    )
    return Evidence(tuple(made), judge(made, seed), draws, seed, shipped_score())


def shipped_score() -> Scores | None:
    """Score of the shipped predictions of unseen levels; None where none are shipped."""
    levels = shipped_unseen()
    return score(levels) if levels else None
