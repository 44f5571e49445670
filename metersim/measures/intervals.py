"""Honest intervals for sequences whose neighbours depend on each other.

Spacings are no independent sample: a seed too far on lengthens one and shortens the next, and
skips may come in runs.  So a run is cut into contiguous blocks much longer than that memory,
and only the blocks are taken as independent.  Every statistic here is a function of column
sums, so that a resample of blocks is a product of matrices.

Sources: Kuensch 1989, Ann Stat 17(3):1217-1241, for resampling blocks; Korn & Graubard 1998,
Survey Methodology 24:193-201, for shares; both from memory.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaincinv, ndtri, stdtrit

Floats = NDArray[np.float64]
Statistic = Callable[[Floats], Floats]
"""Maps column sums of shape (..., k) to values of shape (...)."""

MOST_GAIN = 4.0
"""Regular sequences may count for more cells than they have, but for no more than this often."""


@dataclass(frozen=True)
class Estimate:
    """A value and the interval it is held to lie in.

    Attributes
    ----------
    value, low, high : float
        low <= value <= high; nan where there is nothing to estimate from.
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
        """The three numbers by name, None instead of nan."""
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
        Each maps column sums (..., k) to values (...).
    rng : numpy.random.Generator
        Source of the resamples.
    resamples : int
        1 or more.

    Returns
    -------
    estimates : ndarray, shape (f,)
        Statistics of the run itself.
    replicates : ndarray, shape (f, resamples)
        Statistics of as many blocks drawn with replacement.

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

    Percentiles of the block bootstrap, each stretched away from the value by
    t(blocks - 1)/z sqrt(blocks/(blocks - 1)), as a plain bootstrap is too narrow with few
    blocks.  About 15 blocks or more are wanted.  For shares, rare ones above all, take
    `share_interval`.

    Parameters
    ----------
    sums, functions, rng, resamples
        As for `bootstrap`; resamples in which a statistic is nan are left out.
    level : float
        Coverage, between 0 and 1.
    floor : float
        The least the statistics can be, such as 0 for an SD; `low` stops there.

    Returns
    -------
    list of Estimate
        One a statistic; without bounds (nan) from a single block, which tells nothing of
        the spread.

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


def paired_interval(
    blocks_a: ArrayLike,
    blocks_b: ArrayLike,
    function: Statistic,
    rng: np.random.Generator,
    level: float = 0.95,
    resamples: int = 1000,
) -> Estimate:
    """Interval of function(b) - function(a) for two runs on common random numbers.

    The same blocks are drawn from both, so what the runs share cancels.  Runs that agree in
    every block give exactly 0, 0, 0: these draws met nothing that tells them apart.

    Parameters
    ----------
    blocks_a, blocks_b : array_like, shape (blocks, k)
        Block sums over the same cells of each run.
    function, rng, level, resamples
        As for `interval`.

    Returns
    -------
    Estimate

    Raises
    ------
    ValueError
        As `interval`, or if the two shapes differ.
    """
    a, b = _blocks("blocks_a", blocks_a), _blocks("blocks_b", blocks_b)
    if a.shape != b.shape:
        raise ValueError(f"blocks_b has shape {b.shape}; allowed: that of blocks_a, {a.shape}")
    weights = _weights(len(a), rng, resamples)
    value = float(function(b.sum(axis=0)) - function(a.sum(axis=0)))
    apart = function(_drawn(weights, b)) - function(_drawn(weights, a))
    return _stretched(value, apart, len(a), level)


def jackknife(left_out: ArrayLike) -> float:
    """Variance of a statistic from its values without each block in turn; nan with fewer than two.

    Source: Efron & Stein 1981, Ann Stat 9(3):586-596, from memory.
    """
    values = np.asarray(left_out, dtype=np.float64)
    n = len(values)
    return float((n - 1) * np.var(values)) if n > 1 else math.nan


def share_interval(
    numerator_blocks: ArrayLike, denominator_blocks: ArrayLike, *, level: float = 0.95
) -> Estimate:
    """Interval of a share, honest for rare events and for events that come in runs.

    The spread of the blocks gives the design effect (linearised variance of the ratio over the
    binomial one), that an effective number of cells, less the t allowance for few blocks, and
    that the Clopper-Pearson bounds (Korn & Graubard 1998, Survey Methodology 24:193-201, from
    memory).  With no event, or nothing but events, and with a single block the design effect
    cannot be seen and is taken as 1: none in n gives about 3.69/n as the upper 95 % bound,
    too low if events that have not been met yet would come in runs.

    Parameters
    ----------
    numerator_blocks, denominator_blocks : array_like, shape (blocks,)
        Events and cells of each block, 0 <= events <= cells.
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
        0 to cells, or if `level` is not between 0 and 1.
    """
    events, cells = _events_and_cells(numerator_blocks, denominator_blocks)
    tail = _tail(level)
    blocks, n = len(cells), float(cells.sum())
    if n == 0:
        return Estimate(math.nan, math.nan, math.nan)
    p = float(events.sum()) / n
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
    """Interval of the mean length of runs, honest when there are few.

    Each cell of a run is taken to be its last with the same chance, the inverse of the mean
    length.  Cells are met until so many runs have ended, which gives exact bounds of that chance
    as Clopper and Pearson's, for a set number of events (derived).  Where blocks differ by more
    than that, as when long runs stand beside short ones, the design effect widens them as in
    `share_interval`, but without its allowance for few blocks, which leaves nothing of few runs.

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
        As `share_interval`.
    """
    runs, cells = _events_and_cells(numerator_blocks, denominator_blocks)
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
    """How many cells each cell counts for: binomial variance of a share over that of the blocks."""
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
    """Column sums of resamples: a product of matrices, without the threads of a linear algebra
    library, which take longer to start than this does and are in each other's way."""
    made: Floats = np.einsum("rb,bk->rk", weights, table)
    return made


def _tail(level: float) -> float:
    if not 0 < level < 1:
        raise ValueError(f"level is {level}; allowed: between 0 and 1")
    return (1 - level) / 2


def _table(name: str, values: ArrayLike) -> Floats:
    array = np.asarray(values, dtype=np.float64)
    if array.ndim != 2:
        raise ValueError(f"{name} has {array.ndim} dimensions; allowed: 2")
    if not np.isfinite(array).all():
        raise ValueError(f"{name} holds {array[~np.isfinite(array)][0]}; allowed: finite numbers")
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
    wrong = np.flatnonzero((events < 0) | (events > cells))
    if wrong.size:
        raise ValueError(
            f"numerator_blocks[{wrong[0]}] is {events[wrong[0]]:g}; "
            f"allowed: 0 to the cells of the block, {cells[wrong[0]]:g}"
        )
    return events, cells


def _blocks(name: str, values: ArrayLike) -> Floats:
    array = _table(name, values)
    if len(array) == 0:
        raise ValueError(f"{name} has 0 blocks; allowed: 1 or more")
    return array
