"""Intervals for sequences whose neighbours depend on each other.

Spacings are no independent sample: a seed too far on lengthens one spacing and shortens the next.
Skips may come in runs.  So a run is cut into contiguous blocks that are much longer than this
dependence.  Only the blocks are taken as independent.  Every statistic here is a function of column
sums.  So a resample of blocks is a product of matrices.

Sources: Kuensch 1989, Ann Stat 17(3):1217-1241, for resampling blocks; Korn & Graubard 1998,
Survey Methodology 24:193-201, for shares; both from memory.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from metersim.distributions.normal import ndtri
from metersim.distributions.quantiles import betaincinv, stdtrit

Floats = NDArray[np.float64]
Statistic = Callable[[Floats], Floats]
"""Maps column sums of shape (..., k) to values of shape (...)."""

LEVEL_TOTAL = 0.90
"""Coverage of every printed interval that is the total of all uncertainties."""

MOST_GAIN = 4.0
"""Most effective cells of a regular sequence over the cells that it has."""


@dataclass(frozen=True)
class Estimate:
    """A value and its interval.

    Attributes
    ----------
    value, low, high : float
        low <= value <= high; nan if there is nothing to estimate from.
    """

    value: float
    low: float
    high: float

    def __post_init__(self) -> None:
        if self.low > self.value or self.value > self.high:
            raise ValueError(
                f"value is {self.value}; allowed: from low {self.low} to high {self.high}"
            )

    def to_dict(self) -> dict[str, float | None]:
        """The three numbers by name, with None instead of nan."""
        named = {"value": self.value, "low": self.low, "high": self.high}
        return {name: None if math.isnan(number) else number for name, number in named.items()}


def bootstrap(
    sums: ArrayLike,
    functions: Sequence[Statistic],
    rng: np.random.Generator,
    resamples: int = 1000,
) -> tuple[Floats, Floats]:
    """Statistics of a run and of resamples of its blocks.

    Parameters
    ----------
    sums : array_like, shape (blocks, k)
        Column sums over contiguous blocks of a run.
    functions : sequence of f callables
        Functions that map column sums (..., k) to values (...).
    rng : numpy.random.Generator
        Generator of the resamples.
    resamples : int
        Number of resamples, 1 or more.

    Returns
    -------
    estimates : ndarray, shape (f,)
        Statistics of the run itself.
    replicates : ndarray, shape (f, resamples)
        Statistics of resamples: as many blocks, drawn with replacement.

    Raises
    ------
    ValueError
        If `sums` is not two-dimensional, finite and at least one row long, or `resamples` is
        below 1.
    """
    table = _blocks("sums", sums)
    drawn = _drawn(_weights(len(table), rng, resamples), table)
    whole = table.sum(axis=0)
    estimates = np.array([float(function(whole)) for function in functions])
    replicates = np.array([function(drawn) for function in functions])
    return estimates, replicates.reshape(len(functions), resamples)


def intervals(
    sums: ArrayLike,
    functions: Sequence[Statistic],
    rng: np.random.Generator,
    level: float = 0.95,
    resamples: int = 1000,
    floor: float = -math.inf,
) -> list[Estimate]:
    """Intervals of smooth statistics, such as means, SDs and CVs, from the same resamples.

    The bounds are percentiles of the block bootstrap.  A plain bootstrap is too narrow with few
    blocks.  So each bound is stretched away from the value by
    t(blocks - 1)/z sqrt(blocks/(blocks - 1)).  Use about 15 blocks or more.  For shares, above all
    rare ones, use `share_interval`.

    Parameters
    ----------
    sums, functions, rng, resamples
        As for `bootstrap`; resamples in which a statistic is nan are left out.
    level : float
        Coverage, between 0 and 1.
    floor : float
        Least possible value of the statistics, such as 0 for an SD; `low` is not below it.

    Returns
    -------
    list of Estimate
        One per statistic.  A single block does not show the spread: then the bounds are nan.

    Raises
    ------
    ValueError
        As `bootstrap`, or if `level` is not between 0 and 1.
    """
    estimates, replicates = bootstrap(sums, functions, rng, resamples)
    blocks = len(np.asarray(sums))
    return [
        _stretched(value, drawn, blocks, level, floor)
        for value, drawn in zip(estimates, replicates, strict=True)
    ]


def paired_intervals(
    blocks_a: ArrayLike,
    blocks_b: ArrayLike,
    functions: Sequence[Statistic],
    rng: np.random.Generator,
    level: float = 0.95,
    resamples: int = 1000,
) -> list[Estimate]:
    """Intervals of function(b) - function(a) for two runs on common random numbers.

    The same blocks are drawn from both, so the common part of the runs cancels.  Runs that agree
    in every block give exactly 0, 0, 0: these draws do not distinguish them.  All statistics share
    the resamples.

    Parameters
    ----------
    blocks_a, blocks_b : array_like, shape (blocks, k)
        Block sums over the same cells of each run.
    functions, rng, level, resamples
        As for `intervals`.

    Returns
    -------
    list of Estimate
        One per statistic.

    Raises
    ------
    ValueError
        As `intervals`, or if the two shapes differ.
    """
    a, b = _blocks("blocks_a", blocks_a), _blocks("blocks_b", blocks_b)
    if a.shape != b.shape:
        raise ValueError(f"blocks_b has shape {b.shape}; allowed: that of blocks_a, {a.shape}")
    weights = _weights(len(a), rng, resamples)
    wholes, drawn = zip(
        *((part.sum(axis=0), _drawn(weights, part)) for part in (a, b)), strict=True
    )
    apart = [
        [function(two[1]) - function(two[0]) for two in (wholes, drawn)] for function in functions
    ]
    return [_stretched(float(value), spread, len(a), level) for value, spread in apart]


def jackknife(left_out: ArrayLike) -> float:
    """Variance of a statistic, from its values without each block in turn; nan for one block.

    Source: Efron & Stein 1981, Ann Stat 9(3):586-596, from memory.
    """
    values = np.asarray(left_out, dtype=np.float64)
    n = len(values)
    return float((n - 1) * np.var(values)) if n > 1 else math.nan


def share_interval(
    numerator_blocks: ArrayLike, denominator_blocks: ArrayLike, *, level: float = 0.95
) -> Estimate:
    """Interval of a share that holds for rare events and for events that come in runs.

    The spread of the blocks gives the design effect: the linearised variance of the ratio over the
    binomial variance.  The design effect gives an effective number of cells, with Student's t for
    few blocks.  This number gives the Clopper-Pearson bounds (Korn & Graubard 1998, Survey
    Methodology 24:193-201, from memory).

    The design effect is taken as 1 where it cannot be found: with a single block, with no event,
    or with nothing but events.  Then no event in n cells gives about 3.69/n as the upper 95 %
    bound.  This is too low if the unseen events come in runs.

    Parameters
    ----------
    numerator_blocks, denominator_blocks : array_like, shape (blocks,)
        Events and cells of each block, 0 <= events <= cells for all blocks together.  A single
        block may hold parts of a sum that are no counts, as in
        `metersim.measures.spacing.place_sums`.
    level : float
        Coverage, between 0 and 1.

    Returns
    -------
    Estimate
        All nan when there are no cells. [-]

    Raises
    ------
    ValueError
        If the arrays differ in shape, are empty, not flat or not finite, or hold events outside
        0 to cells in all, or if `level` is not between 0 and 1.
    """
    events, cells = _events_and_cells(numerator_blocks, denominator_blocks)
    tail = _tail(level)
    blocks, n, hits = len(cells), float(cells.sum()), float(events.sum())
    if not 0 <= hits <= n:
        raise ValueError(f"the sum of events is {hits:g}; allowed: 0 to the cells, {n:g}")
    if n == 0:
        return Estimate(math.nan, math.nan, math.nan)
    p = hits / n
    effective = n
    if blocks > 1 and 0 < p < 1:
        gain = min(_gain(events, cells), MOST_GAIN)
        effective = n * gain * float(ndtri(tail) / stdtrit(blocks - 1, tail)) ** 2
    hit, missed = p * effective, (1 - p) * effective
    low = float(betaincinv(hit, missed + 1, tail)) if hit > 0 else 0.0
    high = float(betaincinv(hit + 1, missed, 1 - tail)) if missed > 0 else 1.0
    return Estimate(p, min(low, p), max(high, p))


def run_interval(
    numerator_blocks: ArrayLike, denominator_blocks: ArrayLike, *, level: float = 0.95
) -> Estimate:
    """Interval of the mean length of runs that holds for few runs.

    Assumption: each cell of a run is its last with the same chance, the inverse of the mean length.
    The number of runs that end is fixed.  This gives exact bounds of that chance, of Clopper and
    Pearson's kind (derived).  Blocks may differ by more, as when long runs stand beside short ones.
    Then the design effect widens the bounds as in `share_interval`.  There is no allowance for few
    blocks here: it would leave nothing of few runs.

    Parameters
    ----------
    numerator_blocks, denominator_blocks : array_like, shape (blocks,)
        Runs that begin in each block, and cells in it that are part of a run,
        0 <= runs <= cells.
    level : float
        Coverage, between 0 and 1.

    Returns
    -------
    Estimate
        1 or more, all nan when there are no runs. [cells]

    Raises
    ------
    ValueError
        As `share_interval`, or if a single block holds runs outside 0 to cells.
    """
    runs, cells = _events_and_cells(numerator_blocks, denominator_blocks)
    wrong = np.flatnonzero((runs < 0) | (runs > cells))
    if wrong.size:
        raise ValueError(
            f"numerator_blocks[{wrong[0]}] is {runs[wrong[0]]:g}; "
            f"allowed: 0 to the cells, {cells[wrong[0]]:g}"
        )
    tail = _tail(level)
    ends, n = float(runs.sum()), float(cells.sum())
    if ends == 0:
        return Estimate(math.nan, math.nan, math.nan)
    mean = n / ends
    gain = min(_gain(runs, cells), 1.0) if len(cells) > 1 and ends < n else 1.0
    ended, others = ends * gain, (n - ends) * gain
    low = 1 / float(betaincinv(ended, others, 1 - tail)) if others else 1.0
    high = 1 / float(betaincinv(ended, others + 1, tail))
    return Estimate(mean, min(low, mean), max(high, mean))


def _gain(events: Floats, cells: Floats) -> float:
    """Effective cells per cell: binomial variance of a share over its variance between blocks."""
    blocks, n = len(cells), float(cells.sum())
    p = float(events.sum()) / n
    rest = events - p * cells
    variance = blocks / (blocks - 1) * float(rest @ rest) / n**2
    return p * (1 - p) / n / variance if variance > 0 else math.inf


def _stretched(
    value: float, replicates: Floats, blocks: int, level: float, floor: float = -math.inf
) -> Estimate:
    tail = _tail(level)
    seen = replicates[~np.isnan(replicates)]
    if blocks < 2 or math.isnan(value) or seen.size == 0:
        return Estimate(float(value), math.nan, math.nan)
    ratio = float(stdtrit(blocks - 1, tail) / ndtri(tail))
    stretch = ratio * math.sqrt(blocks / (blocks - 1))
    below, above = (np.quantile(seen, [tail, 1 - tail]) - value) * stretch
    low = max(value + min(below, 0.0), min(floor, value))
    return Estimate(float(value), float(low), float(value + max(above, 0.0)))


def _weights(blocks: int, rng: np.random.Generator, resamples: int) -> Floats:
    if resamples < 1:
        raise ValueError(f"resamples is {resamples}; allowed: 1 or more")
    # distributed as multinomial draws, which take twice the time
    drawn = rng.integers(blocks, size=(resamples, blocks)) + blocks * np.arange(resamples)[:, None]
    counts = np.bincount(drawn.ravel(), minlength=resamples * blocks)
    return counts.reshape(resamples, blocks).astype(np.float64)


def _drawn(weights: Floats, table: Floats) -> Floats:
    """Column sums of resamples, a product of matrices.

    No linear algebra library is used: its threads take longer to start than this takes.
    """
    made: Floats = np.einsum("rb,bk->rk", weights, table)
    return made


def _tail(level: float) -> float:
    if not 0 < level < 1:
        raise ValueError(f"level is {level}; allowed: between 0 and 1")
    return (1 - level) / 2


def _blocks(name: str, values: ArrayLike) -> Floats:
    array = np.asarray(values, dtype=np.float64)
    if array.ndim != 2:
        raise ValueError(f"{name} has {array.ndim} dimensions; allowed: 2")
    if not np.isfinite(array).all():
        raise ValueError(f"{name} holds {array[~np.isfinite(array)][0]}; allowed: finite numbers")
    if len(array) == 0:
        raise ValueError(f"{name} has 0 blocks; allowed: 1 or more")
    return array


def _events_and_cells(
    numerator_blocks: ArrayLike, denominator_blocks: ArrayLike
) -> tuple[Floats, Floats]:
    events = _blocks("numerator_blocks", np.atleast_1d(numerator_blocks)[:, None])[:, 0]
    cells = _blocks("denominator_blocks", np.atleast_1d(denominator_blocks)[:, None])[:, 0]
    if events.shape != cells.shape:
        raise ValueError(
            f"numerator_blocks has shape {events.shape}; allowed: that of the cells, {cells.shape}"
        )
    return events, cells
