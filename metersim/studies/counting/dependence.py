"""How much a count of neighbouring cells varies, over one of independent cells: the design effect.

Neighbours depend on one another, as what arches or starves takes many cells.  A count of n cells is
worth one of ``n / effect`` independent ones.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

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
