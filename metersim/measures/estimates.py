"""Measures with intervals, from sums over stretches of runs.

Every measure is a function of sums over stretches of cells (`metersim.measures.tally`).  Its
interval comes from the differences between stretches (`metersim.measures.intervals`).  Replicates
add stretches.  The same stretches of two runs with common random numbers can be paired.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from metersim.files.faults import Keyed
from metersim.files.tables import dataframe
from metersim.machine.scenario import Scenario
from metersim.measures.indices import MEASURES, Measure
from metersim.measures.intervals import (
    Estimate,
    Statistic,
    intervals,
    paired_intervals,
    run_interval,
    share_interval,
)
from metersim.measures.pool import Emptied, stops_of
from metersim.measures.tally import Tally, stretches_of, tally_of
from metersim.run.records import Origin, Run
from metersim.run.streams import Streams

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]

POWERS = {"length": 1, "area": 2}
"""Power of the nominal spacing that brings sums of a kind to SI."""


def estimates_of(
    sums: Mapping[str, Floats],
    measures: Sequence[Measure],
    nominal: float,
    rng: np.random.Generator,
    level: float = 0.95,
) -> dict[str, Estimate]:
    """Measures with their intervals, from sums over blocks.

    Parameters
    ----------
    sums : mapping of str to ndarray, shape (blocks,)
        Sums by column; lengths are in nominal spacings.
    measures : sequence of Measure
        Measures to estimate.
    nominal : float
        Nominal spacing. [m]
    rng : numpy.random.Generator
        Generator of the resamples.
    level : float
        Coverage of the intervals.

    Returns
    -------
    dict of str to Estimate
        Estimates by key, in SI.
    """
    names, table = list(sums), np.stack(list(sums.values()), axis=1)

    def statistic(measure: Measure) -> Statistic:
        scale = nominal ** POWERS.get(measure.kind, 0)

        def function(totals: Floats) -> Floats:
            columns = {name: totals[..., k] for k, name in enumerate(names)}
            value: Floats = scale * measure.of(columns)
            return value

        return function

    def counted(measure: Measure) -> Estimate:
        top = np.sum([sums[name] for name in measure.top], axis=0)
        bottom = sums[measure.bottom]
        if measure.kind == "cells":
            return run_interval(bottom, top, level=level)
        return share_interval(top, bottom, level=level)

    found: dict[str, Estimate] = {}
    for floor, signed in ((0.0, False), (-math.inf, True)):
        smooth = {m.key: statistic(m) for m in measures if m.function and m.signed == signed}
        if smooth:
            made = intervals(table, list(smooth.values()), rng, level, floor=floor)
            found |= zip(smooth, made, strict=True)
    return {part.key: found.get(part.key) or counted(part) for part in measures}


@dataclass(frozen=True)
class Measured(Mapping[str, Estimate]):
    """Sums and measures of the runs of one scenario, by key.

    Attributes
    ----------
    tallies : tuple of Tally
        One per replicate, all with the same number of stretches.
    level : float
        Coverage of the intervals.
    measures : tuple of Measure
        Measures to estimate.
    """

    tallies: tuple[Tally, ...]
    level: float = 0.95
    measures: tuple[Measure, ...] = MEASURES

    def __repr__(self) -> str:
        many = (
            f"{len(self.measures)} measures of {sum(part.cells for part in self.tallies):,} cells"
        )
        return f"<Measured {self.scenario.name}: {many}; to_dataframe() shows them>"

    @property
    def origin(self) -> Origin:
        """Origin of the first replicate."""
        return self.tallies[0].origin

    @property
    def scenario(self) -> Scenario:
        """All settings."""
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
        spacing = self.scenario.spacing
        return Keyed(estimates_of(self.sums, self.measures, spacing, rng, self.level))

    @cached_property
    def points(self) -> dict[str, Floats]:
        """Every measure by key, in SI: first of all stretches, then without each of them in turn.

        This is cheap, as nothing is resampled.  `metersim.measures.intervals.jackknife` takes the
        values without each stretch and gives the sampling error of the first value.
        """
        table = np.stack(list(self.sums.values()), axis=1)
        total = table.sum(axis=0, keepdims=True)
        sums = np.concatenate([total, total - table])
        columns = {name: sums[:, k] for k, name in enumerate(self.sums)}
        return {part.key: self._scale(part) * part.of(columns) for part in self.measures}

    def __getitem__(self, key: str) -> Estimate:
        return self.estimates[key]

    def __iter__(self) -> Iterator[str]:
        return (part.key for part in self.measures)

    def __len__(self) -> int:
        return len(self.measures)

    def _scale(self, measure: Measure) -> float:
        return self.scenario.spacing ** POWERS.get(measure.kind, 0)

    def total(self, column: str) -> int:
        """Sum of a column of counts over all stretches."""
        return int(self.sums[column].sum())

    @property
    def spilt(self) -> int:
        """Seeds that leaked out of the pool of all runs."""
        return sum(part.spilt for part in self.tallies)

    @property
    def spilt_share(self) -> float:
        """Part of the seed used that leaked out of the pool; 0 where no seed was used. [1]"""
        used = self.spilt + self.total("seeds")
        return self.spilt / used if used else 0.0

    @property
    def counts(self) -> dict[str, int]:
        """Counts of cells, seeds and spacings behind the measures."""
        names = ("cells", "seeds", "none", "one", "two", "three", "spacings", "pulses")
        labels = ("cells", "seeds", "skips", "singles", "doubles", "triples", "spacings", "pulses")
        made = {label: self.total(name) for label, name in zip(labels, names, strict=True)}
        made["classes"] = [self.total(f"class{k}") for k in range(1, 6)]  # type: ignore[assignment]
        made["longest_skip_run"] = max(part.longest_skip_run for part in self.tallies)
        return made

    @cached_property
    def reasons(self) -> NDArray[np.int64]:
        """Number of cells by reason, see `metersim.machine.losses.REASONS`."""
        reasons: NDArray[np.int64] = np.sum([part.reasons for part in self.tallies], axis=0)
        return reasons

    @cached_property
    def gaps(self) -> NDArray[np.int64]:
        """Runs of skips between seeds by reason, see `metersim.measures.tally.Tally`."""
        gaps: NDArray[np.int64] = np.sum([part.gaps for part in self.tallies], axis=0)
        return gaps

    @property
    def emptied(self) -> Emptied | None:
        """Earliest moment at which a replicate starved as its hopper was empty, if one did."""
        found = [part.emptied for part in self.tallies if part.emptied]
        return min(found, key=lambda one: one.cell, default=None)

    @property
    def turns_at_least(self) -> int | None:
        """Turns of each replicate from which intervals cover at their rate; None if it has them.

        Skips come in runs where the pool is starved, and intervals need many of them.
        """
        enough = stops_of(self.scenario).enough
        if sum(part.cells for part in self.tallies) >= enough:
            return None
        return math.ceil(enough / len(self.tallies) / self.scenario.disc.cells)

    def to_dataframe(self) -> pd.DataFrame:
        """A data frame with one row per measure, in SI (extra ``notebook``)."""
        return dataframe(
            [
                {
                    "key": part.key,
                    "kind": part.kind,
                    **vars(self.estimates[part.key]),
                    "meaning": part.meaning,
                }
                for part in self.measures
            ]
        )


def difference(
    a: Measured, b: Measured, measure: Measure, then: Callable[[Any], Any] | None = None
) -> Estimate:
    """Difference of one measure, as `differences` gives it.

    With `then`, the function is applied to the measure in SI, elementwise, before the comparison.
    """
    (found,) = _differences(a, b, [measure], then)
    return found


def differences(a: Measured, b: Measured, measures: Iterable[Measure]) -> dict[str, Estimate]:
    """Differences of measures by key, `b` less `a`, paired by stretches with common random numbers.

    Both must have the same number of replicates and of stretches, over about as many cells, and the
    sums of the measures.  All measures share the resamples, so each difference is the one that it
    has alone.
    """
    asked = list(measures)
    found = _differences(a, b, asked)
    return Keyed(dict(zip((one.key for one in asked), found, strict=True)))


def _differences(
    a: Measured,
    b: Measured,
    measures: Sequence[Measure],
    then: Callable[[Any], Any] | None = None,
) -> list[Estimate]:
    rng = Streams(a.origin.seed).generator("resampling")
    names, powers = [name for name in a.sums if name in b.sums], sorted({*POWERS.values()})
    tables = [  # the last columns bring sums of lengths and areas to SI, of each run by itself
        np.concatenate(
            [
                np.stack([part.sums[name] for name in names], axis=1),
                np.tile([part.scenario.spacing**power / many for power in powers], (many, 1)),
            ],
            axis=1,
        )
        for part in (a, b)
        for many in [len(part.sums[names[0]])]
    ]

    def statistic(measure: Measure) -> Statistic:
        def function(totals: Floats) -> Floats:
            columns = {name: totals[..., k] for k, name in enumerate(names)}
            value: Floats = measure.of(columns)
            if measure.kind in POWERS:
                value = value * totals[..., len(names) + powers.index(POWERS[measure.kind])]
            return then(value) if then else value

        return function

    return paired_intervals(tables[0], tables[1], list(map(statistic, measures)), rng, a.level)


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
        One or more runs or tallies.
    level : float
        Coverage of the intervals.
    stretches : int, optional
        Number of stretches in each run.  By default it is that of the first tally.  Without a
        tally, it is as many as the cells allow.

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
    >>> 0.9 < quality.low < quality.value < quality.high < 1
    True
    """
    given = (runs,) if isinstance(runs, Run | Tally) else tuple(runs)
    tallies = [part for part in given if isinstance(part, Tally)]
    if stretches is None:
        scenarios = [part.origin.scenario for part in given]
        several = len(given)
        stretches = (
            tallies[0].stretches if tallies else stretches_of(*scenarios, replicates=several)
        )
    for part in tallies:
        if part.stretches != stretches:
            raise ValueError(f"a tally has {part.stretches} stretches; allowed: {stretches}")
    each = (part if isinstance(part, Tally) else tally_of(part, stretches) for part in given)
    return Measured(tuple(each), level)
