"""What a count of cells can show: sizes, errors and how neighbours depend on one another."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

FEWEST_WINDOWS = 4  # that cells must hold, end to end, to tell an effect

Floats = NDArray[np.float64]


def effect_by_windows(events: ArrayLike, window: int) -> float:
    """Design effect of cells that are known one by one.

    Parameters
    ----------
    events : array_like of bool, shape (cells,)
        Whether it happened at each.
    window : int
        Cells of a window, 1 or more; much longer than what cells know of one another.

    Returns
    -------
    float
        Mean square of counts in all windows about their mean, over the binomial variance; 1 when
        there are too few cells, or no events, to tell. [1]
    """
    happened = np.asarray(events, dtype=bool)
    cells = happened.size
    value = float(np.mean(happened)) if cells else 0.0
    if cells < FEWEST_WINDOWS * window or not 0 < value < 1:
        return 1.0
    sums = np.concatenate([[0], np.cumsum(happened)])
    apart = sums[window:] - sums[:-window] - window * value
    # the mean is that of the same cells, which takes the part of one window in all of them
    spread = float(np.mean(apart**2)) / (1 - window / cells)
    return spread / (window * value * (1 - value))


def effect_by_blocks(events: Floats, cells: Floats) -> float:
    """Design effect of cells of which sums over blocks alone are known.

    Parameters
    ----------
    events, cells : ndarray, shape (blocks,)
        How often it happened in each, and in how many cells.

    Returns
    -------
    float
        Mean square of events about those expected, over the binomial variance; 1 when there are
        too few blocks, or no events, to tell. [1]
    """
    blocks, total = len(cells), float(cells.sum())
    share = float(events.sum()) / total if total else 0.0
    if blocks < 2 or not 0 < share < 1:
        return 1.0
    spread = float(np.sum((events - share * cells) ** 2)) * blocks / (blocks - 1)
    return spread / (total * share * (1 - share))


KINDS = ("skips", "doubles", "singles")
CERTAINTY, POWER = 0.95, 0.8
WINDOW = 200  # cells; the effect of longer counts is the same: what cells know of one another ends
LEAST_EFFECT = 0.1  # of events that are nearly regular
MOST_TOLD = 100_000  # seeds; nobody counts more
LEAST_WATCHED, MOST_WATCHED = 1_000, 1_000_000  # cells of a run that shows what counts do
MOST_COUNTED = 10_000_000  # seeds that a count is allowed to have


@dataclass(frozen=True)
class Share:
    """How often something happens, and how much a count of it varies.

    Attributes
    ----------
    value : float
        Chance for each cell. [1]
    effect : float
        Variance of a count of many cells over that of independent cells. [1]
    """

    value: float
    effect: float = 1.0

    def error(self, cells: float) -> float:
        """Standard error of the share in a count of so many cells."""
        return math.sqrt(self.value * (1 - self.value) * self.effect / cells)


def share_of(events: ArrayLike) -> Share:
    """The share of events in a long sequence, with the effect of their dependence.

    Parameters
    ----------
    events : array_like of bool, shape (cells,)
        Whether it happened at each.

    Returns
    -------
    Share
        The effect is that of windows of `WINDOW` cells.
    """
    happened = np.asarray(events, dtype=bool)
    value = float(np.mean(happened))
    return Share(value, max(effect_by_windows(happened, WINDOW), LEAST_EFFECT))


def shares_of(loads: NDArray[np.int64]) -> Mapping[str, Share]:
    """Skips, doubles and singles in cells with so many seeds."""
    kinds = (loads == 0, loads > 1, loads == 1)
    return {kind: share_of(events) for kind, events in zip(KINDS, kinds, strict=True)}


def angle(share: float) -> float:
    """2 asin sqrt(share), in rad."""
    return 2 * math.asin(math.sqrt(min(max(share, 0.0), 1.0)))


def share_at(angle: float) -> float:
    """The share at an angle; the nearest one beyond either end."""
    return math.sin(min(max(angle, 0.0), math.pi) / 2) ** 2


def deviations(certainty: float, power: float = 0.5, sides: int = 2) -> float:
    """Standard errors by which two shares must differ to be told apart.

    Parameters
    ----------
    certainty : float
        Chance that two that are alike are not taken for different.
    power : float
        Chance that two that differ are found to.
    sides : int
        2 when either may be the greater, 1 when it is known which.
    """
    return float(ndtri(1 - (1 - certainty) / sides) + ndtri(power))


def cells_to_tell(a: Share, b: Share, certainty: float = CERTAINTY, power: float = POWER) -> float:
    """Cells in each of two counts that tell two shares apart; infinite when they are alike.

    Parameters
    ----------
    a, b : Share
        Of either count.
    certainty, power : float
        As for `deviations`.

    Returns
    -------
    float
        Cells. [1]
    """
    apart = angle(b.value) - angle(a.value)
    if apart == 0:
        return math.inf
    return deviations(certainty, power) ** 2 * (a.effect + b.effect) / apart**2


def power_of(a: Share, b: Share, cells: float, certainty: float = CERTAINTY) -> float:
    """Chance that two counts of so many cells differ as much as `differ` asks."""
    error = math.sqrt((a.effect + b.effect) / cells)
    apart = abs(angle(b.value) - angle(a.value)) / error
    return float(ndtr(apart - deviations(certainty)) + ndtr(-apart - deviations(certainty)))


def differ(
    counts: tuple[ArrayLike, ArrayLike],
    cells: tuple[float, float],
    effects: tuple[float, float],
    certainty: float = CERTAINTY,
) -> NDArray[np.bool_]:
    """Whether two counts differ by more than luck does.

    Parameters
    ----------
    counts : pair of array_like
        Events in either.
    cells : pair of float
        Cells of either.
    effects : pair of float
        Of `Share`.
    certainty : float
        Chance that counts of one meter are not found to differ.

    Returns
    -------
    ndarray of bool
        Of the shape of the counts.
    """
    angles = [
        2 * np.arcsin(np.sqrt((np.asarray(count) + 0.375) / (many + 0.75)))
        for count, many in zip(counts, cells, strict=True)
    ]
    error = math.sqrt(sum(effect / many for effect, many in zip(effects, cells, strict=True)))
    return np.asarray(np.abs(angles[1] - angles[0]) > deviations(certainty) * error)


def least_difference(
    share: Share, cells: float, certainty: float = CERTAINTY, power: float = POWER
) -> tuple[float, float]:
    """The nearest shares below and above that two counts of so many cells tell from a share.

    nan where even none, or all, could not be told from it.
    """
    reach = deviations(certainty, power) * math.sqrt(2 * share.effect / cells)
    middle = angle(share.value)
    below = share_at(middle - reach) if middle >= reach else math.nan
    above = share_at(middle + reach) if middle + reach <= math.pi else math.nan
    return below, above
