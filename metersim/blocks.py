"""Spacings of rows -> sums over blocks, in the columns that measures are made of."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from metersim.spacing import CLASS_NAMES, ROUNDING, classes_of, place_counts
from metersim.tally import CP3_WINDOW, STRETCHES

SHORTEST_BLOCK = 10  # spacings; neighbours alone depend on each other where cells are independent

Floats = NDArray[np.float64]


def blocks_for(spacings: int) -> int:
    """Blocks to cut so many spacings into."""
    return max(1, min(STRETCHES, spacings // SHORTEST_BLOCK))


def block_sums(rows: Sequence[Floats], nominal: float, blocks: int) -> dict[str, Floats]:
    """Sums over contiguous blocks of nearly equal length, as `metersim.tally.Tally` has them.

    Parameters
    ----------
    rows : sequence of ndarray
        Spacings over the nominal spacing, row by row. [1]
    nominal : float
        Nominal spacing, for the window of CP3. [m]
    blocks : int
        How many, from 1 to the number of spacings.

    Returns
    -------
    dict of str to ndarray, shape (blocks,)
        Those columns of a tally that are of spacings.
    """
    ratio = np.concatenate(rows)
    starts = np.arange(blocks) * len(ratio) // blocks
    kind, excess = classes_of(ratio), ratio - 1
    normal = np.where(kind == 1, excess, 0.0)
    close = np.abs(excess) <= CP3_WINDOW / 2 * (1 + ROUNDING) / nominal

    def total(values: NDArray[np.generic]) -> Floats:
        return np.add.reduceat(values.astype(np.float64), starts)

    counts = np.stack([total(kind == k) for k in range(len(CLASS_NAMES))], axis=1)
    several, alone, vacant = place_counts(counts).T.astype(np.float64)
    return {
        **{f"class{k}": column for k, column in enumerate(counts.T, start=1)},
        "spacings": counts.sum(axis=1),
        "excess": total(excess),
        "excess2": total(excess**2),
        "normal": total(normal),
        "normal2": total(normal**2),
        "close": total(close),
        "several": several,
        "alone": alone,
        "vacant": vacant,
        "places": several + alone + vacant,
    }
