"""Sums over stretches of runs -> measures with intervals.

Every measure is a function of sums over stretches of cells (`metersim.tally`), and its interval
comes from how these differ (`metersim.intervals`).  Replicates add stretches.  The same
stretches of two runs on the same luck can be paired.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from metersim.frames import dataframe
from metersim.intervals import (
    Estimate,
    Statistic,
    intervals,
    paired_interval,
    run_interval,
    share_interval,
)
from metersim.records import Origin, Run
from metersim.scenario import Scenario
from metersim.streams import Streams
from metersim.tally import Tally, stretches_for, tally_of

if TYPE_CHECKING:
    import pandas as pd

SI_SUFFIX = {  # of a column, by kind of measure
    "length": "_m",
    "time": "_s",
    "per_area": "_per_m2",
    "frequency": "_per_s",
    "cells": "_cells",
}

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Measure:
    """What is estimated.

    Attributes
    ----------
    key : str
        Dotted place in the output, such as ``per_place.miss``.
    kind : str
        ``share``, ``length``, ``time``, ``per_area``, ``frequency`` or ``cells``.
    meaning : str
        In words.
    top : tuple of str
        For a ratio of sums, such as a share or a mean length of runs: the columns of the
        numerator, added up.
    bottom : str
        Column of the denominator.
    function : callable, optional
        For anything else: maps the column sums of a dict of columns to a value.
    """

    key: str
    kind: str
    meaning: str
    top: tuple[str, ...] = ()
    bottom: str = ""
    function: Callable[[dict[str, Any]], Any] | None = None

    def of(self, sums: dict[str, Any]) -> Any:
        """The value from sums by column, numbers or arrays; lengths in nominal spacings."""
        if self.function is not None:
            return np.asarray(self.function(sums))
        bottom = sums[self.bottom]
        return sum(sums[name] for name in self.top) / np.where(bottom > 0, bottom, np.nan)


def _sd(count: str, total: str, squares: str) -> Callable[[dict[str, Any]], Any]:
    def function(sums: dict[str, Any]) -> Any:
        n = sums[count]
        rest = sums[squares] - sums[total] ** 2 / np.where(n > 0, n, np.nan)
        return np.sqrt(np.maximum(rest, 0.0) / np.where(n > 1, n - 1, np.nan))

    return function


def _ratio(top: str, bottom: str, offset: float = 0.0) -> Callable[[dict[str, Any]], Any]:
    def function(sums: dict[str, Any]) -> Any:
        n = sums[bottom]
        return offset + sums[top] / np.where(n > 0, n, np.nan)

    return function


def _share(key: str, meaning: str, bottom: str, *top: str) -> Measure:
    return Measure(key, "share", meaning, top, bottom)


_spacing_sd = _sd("spacings", "excess", "excess2")
MEASURES: tuple[Measure, ...] = (
    _share("cells.skip", "cells that released no seed", "cells", "none"),
    _share("cells.single", "cells that released one seed", "cells", "one"),
    _share("cells.double", "cells that released two seeds", "cells", "two"),
    _share("cells.triple", "cells that released three seeds or more", "cells", "three"),
    Measure(
        "cells.skip_run",
        "cells",
        "mean length of a run of skips, in cells",
        ("none",),
        "skip_runs",
    ),
    _share(
        "per_place.multiple",
        "theoretical places with several seeds (ISO 7256-1)",
        "places",
        "several",
    ),
    _share("per_place.single", "theoretical places with one seed (ISO 7256-1)", "places", "alone"),
    _share("per_place.miss", "theoretical places without a seed (ISO 7256-1)", "places", "vacant"),
    _share(
        "per_spacing.multiple",
        "spacings up to 0.5 of nominal, multiple index D",
        "spacings",
        "class1",
    ),
    _share(
        "per_spacing.quality",
        "spacings from 0.5 to 1.5 of nominal, quality of feed index A",
        "spacings",
        "class2",
    ),
    _share(
        "per_spacing.miss",
        "spacings over 1.5 of nominal, miss index M",
        "spacings",
        "class3",
        "class4",
        "class5",
    ),
    Measure(
        "precision",
        "share",
        "SD of normal spacings over nominal",
        function=_sd("class2", "normal", "normal2"),
    ),
    Measure(
        "spacing.mean", "length", "mean of all spacings", function=_ratio("excess", "spacings", 1.0)
    ),
    Measure("spacing.sd", "length", "SD of all spacings, nothing removed", function=_spacing_sd),
    Measure(
        "spacing.cv",
        "share",
        "SD of all spacings over their mean",
        function=lambda sums: _spacing_sd(sums) / _ratio("excess", "spacings", 1.0)(sums),
    ),
    _share("spacing.cp3", "spacings within 1.5 cm of nominal (CP3)", "spacings", "close"),
    Measure(
        "drop_time.mean", "time", "mean time from hole to rest", function=_ratio("fall", "seeds")
    ),
    Measure(
        "drop_time.sd",
        "time",
        "SD of the time from hole to rest",
        function=_sd("seeds", "fall", "fall2"),
    ),
    Measure(
        "placed.per_area", "per_area", "seeds placed on an area", function=_ratio("seeds", "area")
    ),
    Measure(
        "placed.frequency",
        "frequency",
        "seeds released in a second",
        function=_ratio("seeds", "time"),
    ),
    _share("sensor.seen", "seeds that the sensor counts", "seeds", "pulses"),
    _share(
        "sensor.multiple",
        "spacings up to 0.5 of nominal, as the sensor shows them",
        "shown",
        "shown1",
    ),
    _share(
        "sensor.miss",
        "spacings over 1.5 of nominal, as the sensor shows them",
        "shown",
        "shown3",
        "shown4",
        "shown5",
    ),
)
BY_KEY = {measure.key: measure for measure in MEASURES}


@dataclass(frozen=True)
class Measured:
    """Runs of one scenario, summed up.

    Attributes
    ----------
    tallies : tuple of Tally
        One a replicate, cut into as many stretches each.
    level : float
        Coverage of the intervals.
    """

    tallies: tuple[Tally, ...]
    level: float = 0.95

    def __repr__(self) -> str:
        many = f"{len(MEASURES)} measures of {sum(part.cells for part in self.tallies):,} cells"
        return f"<Measured {self.scenario.name}: {many}; to_dataframe() shows them>"

    @property
    def origin(self) -> Origin:
        """Where the first replicate comes from."""
        return self.tallies[0].origin

    @property
    def scenario(self) -> Scenario:
        """What was set."""
        return self.origin.scenario

    @cached_property
    def sums(self) -> dict[str, Floats]:
        """Sums over all stretches of all runs, by column."""
        names = self.tallies[0].sums
        return {name: np.concatenate([part.sums[name] for part in self.tallies]) for name in names}

    @cached_property
    def estimates(self) -> dict[str, Estimate]:
        """Every measure with its interval, by key, in SI."""
        rng = Streams(self.origin.seed).generator("resampling")
        table = np.stack(list(self.sums.values()), axis=1)
        smooth = {part.key: self._statistic(part) for part in MEASURES if part.function}
        made = intervals(table, list(smooth.values()), rng, self.level, floor=0.0)
        found = dict(zip(smooth, made, strict=True))
        return {part.key: found.get(part.key) or self._counted(part) for part in MEASURES}

    @cached_property
    def points(self) -> dict[str, Floats]:
        """Every measure by key, in SI: of all stretches, then without each of them in turn.

        Cheap, as nothing is resampled; `metersim.intervals.jackknife` tells from the latter how
        much luck moves the former.
        """
        table = np.stack(list(self.sums.values()), axis=1)
        total = table.sum(axis=0, keepdims=True)
        sums = np.concatenate([total, total - table])
        columns = {name: sums[:, k] for k, name in enumerate(self.sums)}
        return {part.key: self._scale(part) * part.of(columns) for part in MEASURES}

    def __getitem__(self, key: str) -> Estimate:
        return self.estimates[key]

    def _counted(self, measure: Measure) -> Estimate:
        top = np.sum([self.sums[name] for name in measure.top], axis=0)
        bottom = self.sums[measure.bottom]
        if measure.kind == "cells":
            return run_interval(bottom, top, level=self.level)
        return share_interval(top, bottom, level=self.level)

    def _statistic(self, measure: Measure) -> Statistic:
        names, scale = list(self.sums), self._scale(measure)

        def statistic(totals: Floats) -> Floats:
            columns = {name: totals[..., k] for k, name in enumerate(names)}
            value: Floats = scale * measure.of(columns)
            return value

        return statistic

    def _scale(self, measure: Measure) -> float:
        return self.scenario.spacing if measure.kind == "length" else 1.0

    def total(self, column: str) -> int:
        """Sum of a column of counts over all stretches."""
        return int(self.sums[column].sum())

    @property
    def counts(self) -> dict[str, int]:
        """Whole numbers behind the measures."""
        names = ("cells", "seeds", "none", "one", "two", "three", "spacings", "pulses")
        labels = ("cells", "seeds", "skips", "singles", "doubles", "triples", "spacings", "pulses")
        made = {label: self.total(name) for label, name in zip(labels, names, strict=True)}
        made["classes"] = [self.total(f"class{k}") for k in range(1, 6)]  # type: ignore[assignment]
        made["longest_skip_run"] = max(part.longest_skip_run for part in self.tallies)
        return made

    @cached_property
    def reasons(self) -> NDArray[np.int64]:
        """Cells by the reason for what they released, see `metersim.records.REASONS`."""
        reasons: NDArray[np.int64] = np.sum([part.reasons for part in self.tallies], axis=0)
        return reasons

    @cached_property
    def gaps(self) -> NDArray[np.int64]:
        """Runs of skips between seeds by their reason, see `metersim.tally.Tally`."""
        gaps: NDArray[np.int64] = np.sum([part.gaps for part in self.tallies], axis=0)
        return gaps

    def to_dataframe(self) -> pd.DataFrame:
        """One row a measure, in SI, for pandas (extra ``notebook``)."""
        return dataframe(
            [
                {
                    "key": part.key,
                    "kind": part.kind,
                    **vars(self.estimates[part.key]),
                    "meaning": part.meaning,
                }
                for part in MEASURES
            ]
        )


def difference(a: Measured, b: Measured, measure: Measure) -> Estimate:
    """How much a measure of `b` lies above that of `a`, paired by stretches on the same luck.

    Both must have the same number of replicates and of stretches, over about as many cells.
    """
    names = list(a.sums)
    rng = Streams(a.origin.seed).generator("resampling")
    tables = [np.stack(list(part.sums.values()), axis=1) for part in (a, b)]
    if measure.kind == "length":
        tables = [
            np.concatenate([t, np.full((len(t), 1), p._scale(measure) / len(t))], axis=1)
            for t, p in zip(tables, (a, b), strict=True)
        ]

    def statistic(totals: Floats) -> Floats:
        columns = {name: totals[..., k] for k, name in enumerate(names)}
        value: Floats = measure.of(columns)
        return value * totals[..., -1] if measure.kind == "length" else value

    return paired_interval(tables[0], tables[1], statistic, rng, a.level)


def measure(
    runs: Run | Tally | Sequence[Run | Tally],
    *,
    level: float = 0.95,
    stretches: int | None = None,
) -> Measured:
    """Measures of a run, or of replicates of one scenario, with intervals.

    Parameters
    ----------
    runs : Run, Tally or sequence of them
        At least one.
    level : float
        Coverage of the intervals.
    stretches : int, optional
        Stretches in each run; when not given, those of the first tally or, of runs alone, as many
        as the cells allow.

    Returns
    -------
    Measured
        Estimates by key, such as ``measure(run)["per_spacing.miss"]``.

    Raises
    ------
    ValueError
        If a tally has another number of stretches.

    Examples
    --------
    >>> import metersim as m
    >>> run = m.simulate(m.load_scenario("maize_bench", ["turns=100"]), seed=3)
    >>> quality = m.measure(run)["per_spacing.quality"]
    >>> f"{quality.value:.1%}, from {quality.low:.1%} to {quality.high:.1%}"
    '95.5%, from 94.4% to 96.4%'
    """
    given = (runs,) if isinstance(runs, Run | Tally) else tuple(runs)
    tallies = [part for part in given if isinstance(part, Tally)]
    if stretches is None:
        shortest = min(part.origin.scenario.passages for part in given)
        stretches = tallies[0].stretches if tallies else stretches_for(shortest, len(given))
    for part in tallies:
        if part.stretches != stretches:
            raise ValueError(f"a tally has {part.stretches} stretches; allowed: {stretches}")
    each = (part if isinstance(part, Tally) else tally_of(part, stretches) for part in given)
    return Measured(tuple(each), level)
