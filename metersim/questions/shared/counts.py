"""Statistics of counts of cells: sizes, errors, and the dependence of neighbouring cells."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from metersim.distributions.normal import ndtr, ndtri
from metersim.files.faults import Keyed
from metersim.measures.indices import BY_KEY, Measure

FEWEST_WINDOWS = 4  # windows end to end that an estimate of the design effect needs

Floats = NDArray[np.float64]


def effect_by_windows(events: ArrayLike, window: int) -> float:
    """Design effect of events in cells that were recorded one by one.

    Parameters
    ----------
    events : array_like of bool, shape (cells,)
        Whether the event happened in each cell.
    window : int
        Cells of a window, 1 or more; much longer than the dependence of cells.

    Returns
    -------
    float
        Mean square of counts in all windows about their mean, over the binomial variance; 1 when
        there are too few cells or no events. [1]
    """
    happened = np.asarray(events, dtype=bool)
    cells = happened.size
    value = float(np.mean(happened)) if cells else 0.0
    if cells < FEWEST_WINDOWS * window or not 0 < value < 1:
        return 1.0
    sums = np.concatenate([[0], np.cumsum(happened)])
    deviation = sums[window:] - sums[:-window] - window * value
    # the mean comes from the same cells, which lowers the variance by the share of one window
    spread = float(np.mean(deviation**2)) / (1 - window / cells)
    return spread / (window * value * (1 - value))


def effect_by_blocks(events: Floats, cells: Floats) -> float:
    """Design effect of events in cells that are known only as sums over blocks.

    Parameters
    ----------
    events, cells : ndarray, shape (blocks,)
        Number of events and number of cells of each block.

    Returns
    -------
    float
        Mean square of events about the expected ones, over the binomial variance; 1 when there
        are too few blocks or no events. [1]
    """
    blocks, total = len(cells), float(cells.sum())
    share = float(events.sum()) / total if total else 0.0
    if blocks < 2 or not 0 < share < 1:
        return 1.0
    spread = float(np.sum((events - share * cells) ** 2)) * blocks / (blocks - 1)
    return spread / (total * share * (1 - share))


KINDS = ("skips", "doubles", "singles")
COUNTED: Mapping[str, Measure] = {
    "skips": BY_KEY["cells.skip"],
    "doubles": Measure(
        "cells.several", "share", "cells with two or more", ("two", "three"), "cells"
    ),
    "singles": BY_KEY["cells.single"],
}
"""Measure of each of `KINDS`.  A double is a cell with two seeds or more, as people count."""
SAID = {"singles": "singulation"}  # kinds whose printed name is not that of JSON
CERTAINTY, POWER = 0.95, 0.8
WINDOW = 200  # cells; the dependence of cells ends within a window of this length
LEAST_EFFECT = 0.1  # design effect of nearly regular events
MOST_PRACTICAL = 100_000  # seeds of a count that anybody would make
LEAST_WATCHED, MOST_WATCHED = 1_000, 1_000_000  # cells of a run from which counts are predicted
MOST_COUNTED = 10_000_000  # seeds that a count may have


@dataclass(frozen=True)
class Share:
    """Chance of an event in a cell, and the design effect of counts of it.

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
        Whether the event happened in each cell.

    Returns
    -------
    Share
        Its effect is estimated from windows of `WINDOW` cells.
    """
    happened = np.asarray(events, dtype=bool)
    value = float(np.mean(happened))
    return Share(value, max(effect_by_windows(happened, WINDOW), LEAST_EFFECT))


def shares_of(loads: NDArray[np.int64]) -> Mapping[str, Share]:
    """Shares of skips, doubles and singles, from the number of seeds in each cell."""
    kinds = (loads == 0, loads > 1, loads == 1)
    shares = {kind: share_of(events) for kind, events in zip(KINDS, kinds, strict=True)}
    return Keyed(shares, "kind of cell")


def angle(share: float) -> float:
    """Angle 2 asin sqrt(share) of a share, in rad; its variance hardly depends on the share."""
    return 2 * math.asin(math.sqrt(min(max(share, 0.0), 1.0)))


def share_at(angle: float) -> float:
    """Share of an angle; angles outside 0 to pi give 0 or 1."""
    return math.sin(min(max(angle, 0.0), math.pi) / 2) ** 2


def deviations(certainty: float, power: float = 0.5, sides: int = 2) -> float:
    """Difference of two shares that is detected, in standard errors.

    Parameters
    ----------
    certainty : float
        Chance that no difference is reported of two equal shares.
    power : float
        Chance that the difference of two unequal shares is detected.
    sides : int
        2 when either share may be the greater, 1 when the greater one is known.
    """
    return float(ndtri(1 - (1 - certainty) / sides) + ndtri(power))


def cells_to_detect(
    a: Share, b: Share, certainty: float = CERTAINTY, power: float = POWER
) -> float:
    """Cells in each of two counts that detect the difference of two shares.

    Parameters
    ----------
    a, b : Share
        True shares of the first and of the second count.
    certainty, power : float
        As for `deviations`.

    Returns
    -------
    float
        Cells; infinite when the shares are equal. [1]
    """
    difference = angle(b.value) - angle(a.value)
    if difference == 0:
        return math.inf
    return deviations(certainty, power) ** 2 * (a.effect + b.effect) / difference**2


def power_of(a: Share, b: Share, cells: float, certainty: float = CERTAINTY) -> float:
    """Chance that the difference of two shares is detected by two counts of so many cells."""
    error = math.sqrt((a.effect + b.effect) / cells)
    difference = abs(angle(b.value) - angle(a.value)) / error
    limit = deviations(certainty)
    return float(ndtr(difference - limit) + ndtr(-difference - limit))


def least_difference(
    share: Share, cells: float, certainty: float = CERTAINTY, power: float = POWER
) -> tuple[float, float]:
    """The nearest shares below and above whose difference from a share is detected by two counts.

    An end is nan where even a share of 0, or of 1, would not be detected.
    """
    reach = deviations(certainty, power) * math.sqrt(2 * share.effect / cells)
    middle = angle(share.value)
    below = share_at(middle - reach) if middle >= reach else math.nan
    above = share_at(middle + reach) if middle + reach <= math.pi else math.nan
    return below, above
