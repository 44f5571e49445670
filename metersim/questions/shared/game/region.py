"""Joint region of the shares of skips and doubles that a count of cells allows.

A count has three kinds of cells: skips, doubles, and all others.  Neighbouring cells depend on one
another, so n cells count as ``n / effect`` independent ones.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

LEVEL = 0.90
"""Coverage of a joint region."""
HALF = 0.5
"""Cells added to each kind: no count proves that a kind of cell is impossible."""
RAYS = 72  # corners of an outline
HALVINGS = 40
DRAWS = 2_000  # counts from which a chance is estimated; its standard error is 1 of 100 at most

Floats = NDArray[np.float64]


def bound(level: float = LEVEL) -> float:
    """Quantile of the chi-square distribution with two degrees of freedom.

    Parameters
    ----------
    level : float
        Chance below the quantile, from 0 to below 1. [1]

    Notes
    -----
    ``-2 log(1 - level)``, exactly.
    """
    return -2.0 * math.log1p(-level)


def departure(counts: ArrayLike, shares: ArrayLike) -> Any:
    """How far counts lie from true shares: twice the logarithm of a ratio of likelihoods.

    Parameters
    ----------
    counts : array_like, shape (..., 3)
        Skips, doubles and all cells.
    shares : array_like, shape (..., 2)
        True shares of skips and doubles, above 0 and below 1 together. [1]

    Returns
    -------
    float or ndarray
        0 where the shares fit best. [1]

    Notes
    -----
    ``G = 2 sum(a log(a / (A p)))`` over the three kinds, with ``a`` a count and `HALF`, and ``A``
    the sum of them.  Without the half, it is the usual ratio of likelihoods of a multinomial count.
    With it, the region is a contour of the posterior under the prior of Jeffreys, in coordinates in
    which no share has an end.  Its coverage is tested.
    """
    held = _kinds(counts) + HALF
    true = _kinds(np.insert(np.asarray(shares, dtype=np.float64), 2, 1.0, axis=-1))
    with np.errstate(divide="ignore"):
        logs = np.log(held / held.sum(axis=-1, keepdims=True)) - np.log(true.clip(min=0.0))
    return 2 * (held * logs).sum(axis=-1)


def _kinds(counts: ArrayLike) -> Floats:
    """Skips, doubles and all other cells, from skips, doubles and all cells."""
    made = np.array(counts, dtype=np.float64)
    made[..., 2] -= made[..., 0] + made[..., 1]
    return made


def holds(
    skips: float,
    doubles: float,
    cells: float,
    shares: tuple[float, float],
    effect: float = 1.0,
    level: float = LEVEL,
) -> bool:
    """Whether true shares lie in the region of a count.

    Parameters
    ----------
    skips, doubles, cells : float
        Counts.
    shares : tuple of float
        True shares of skips and doubles. [1]
    effect : float
        Variance of a count over that of independent cells. [1]
    level : float
        Coverage of the region. [1]

    Examples
    --------
    >>> from metersim.questions.shared.game.region import holds
    >>> holds(6, 9, 300, (0.02, 0.02)), holds(6, 9, 300, (0.05, 0.02))
    (True, False)
    """
    counts = np.array([skips, doubles, cells]) / effect
    return bool(departure(counts, shares) <= bound(level))


def outline(
    skips: float, doubles: float, cells: float, effect: float = 1.0, level: float = LEVEL
) -> Floats:
    """Corners of the region of a count, in order round it.

    Parameters
    ----------
    skips, doubles, cells, effect, level
        As for `holds`.

    Returns
    -------
    ndarray, shape (RAYS, 2)
        Shares of skips and doubles, each above 0. [1]

    Notes
    -----
    The departure is convex in the shares and endless at their ends, so each ray from the middle
    meets the outline once.  It is found by halving.
    """
    counts = np.array([skips, doubles, cells]) / effect
    middle = (counts[:2] + HALF) / (counts[2] + 3 * HALF)
    turn = 2 * math.pi * np.arange(RAYS) / RAYS
    way = np.stack([np.cos(turn), np.sin(turn)], axis=1) * np.sqrt(middle * (1 - middle))
    with np.errstate(divide="ignore"):
        rest = (1 - middle.sum()) / way.sum(axis=1, keepdims=True)
        ends = np.concatenate([-middle / way, rest], axis=1)
    ends = np.where(ends > 0, ends, np.inf).min(axis=1)
    inside, outside = np.zeros(RAYS), ends
    for _ in range(HALVINGS):
        half = (inside + outside) / 2
        within = departure(counts, middle + half[:, None] * way) <= bound(level)
        inside, outside = np.where(within, half, inside), np.where(within, outside, half)
    corners: Floats = middle + inside[:, None] * way
    return corners


def drawn_counts(
    shares: tuple[float, float], cells: float, rng: np.random.Generator, draws: int = DRAWS
) -> Floats:
    """Counts of independent cells: skips, doubles and cells, shape (draws, 3)."""
    skip, double = shares
    size = max(round(cells), 1)
    drawn = rng.multinomial(size, [skip, double, max(1 - skip - double, 0.0)], draws)
    counts: Floats = drawn.astype(np.float64)
    counts[:, 2] = size
    return counts


def chance_apart(
    shares: tuple[float, float],
    other: tuple[float, float],
    cells: float,
    rng: np.random.Generator,
    effect: float = 1.0,
    level: float = LEVEL,
) -> float:
    """Chance that a count of a meter has a region without the shares of another meter.

    Parameters
    ----------
    shares : tuple of float
        True shares of skips and doubles of the meter that is counted. [1]
    other : tuple of float
        Known shares of the meter that it might be. [1]
    cells : float
        Cells of the count.
    rng : numpy.random.Generator
        Generator of the counts.
    effect, level : float
        As for `holds`.

    Returns
    -------
    float
        Chance; about ``1 - level`` where both are the same. [1]
    """
    counts = drawn_counts(shares, cells / effect, rng)
    return float(np.mean(departure(counts, other) > bound(level)))


def apart(first: ArrayLike, second: ArrayLike, level: float = LEVEL) -> Any:
    """Whether two counts differ by more than sampling error explains.

    Parameters
    ----------
    first, second : array_like, shape (..., 3)
        Skips, doubles and cells of both counts, over their effect.
    level : float
        Chance that two counts of one meter are not taken for different. [1]

    Returns
    -------
    bool or ndarray
        Whether the departures of both from their common shares sum to more than the bound.
    """
    one, two = (np.asarray(each, dtype=np.float64) for each in (first, second))
    both = one + two
    shares = (both[..., :2] + HALF) / (both[..., 2:] + 3 * HALF)
    return departure(one, shares) + departure(two, shares) > bound(level)


def chance_different(
    shares: tuple[float, float],
    other: tuple[float, float],
    cells: tuple[float, float],
    rng: np.random.Generator,
    effect: float = 1.0,
    level: float = LEVEL,
) -> float:
    """Chance that a count before and a count after differ by more than sampling error explains.

    Parameters
    ----------
    shares, other : tuple of float
        True shares of skips and doubles before and after. [1]
    cells : tuple of float
        Cells of both counts.
    rng, effect, level
        As for `chance_apart`.
    """
    first = drawn_counts(shares, cells[0] / effect, rng)
    second = drawn_counts(other, cells[1] / effect, rng)
    return float(np.mean(apart(first, second, level)))
