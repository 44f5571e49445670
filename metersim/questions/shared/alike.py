"""Counts of rows read together: what all rows share, what one row has, or what differs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from metersim.measures.intervals import Estimate

COMMON, ONE, DIFFER, OPEN = "common", "one row", "rows differ", "not distinguished"
PRIOR = {COMMON: 0.5, ONE: 0.4, DIFFER: 0.1}
"""assumption: chances before any count, that of one row shared by all rows."""
ALIKE, APART = 0.2, 1.5
"""assumption: SD of log-odds between rows in order, some 20 % of a share; of one that differs."""
MIDDLE, WIDTH = math.log(0.02 / 0.98), 1.5
"""assumption: mean and SD of the log-odds of the share that rows have in common."""
SURE_COMMON, SURE_APART = 0.75, 0.9  # chances from which it is said
LEVEL = 0.9  # of intervals
GRID: NDArray[np.float64] = np.arange(-11.0, 3.01, 0.02)  # log-odds


@dataclass(frozen=True)
class KindOfRows:
    """One kind of cell in all rows.

    Attributes
    ----------
    kind : str
        Name of the kind: ``skip`` or ``double``.
    counted : tuple of int
        Cells of this kind, by row.
    common_chance : float
        Chance that all rows have it in common: seed, vacuum and speed. [1]
    row_chances : tuple of float
        Chance that this row alone differs, by row. [1]
    several_chance : float
        Chance that every row has a share of its own. [1]
    common : Estimate
        Share of the rows that do not differ. [1]
    own : tuple of Estimate
        Share of each row, if it differs. [1]
    """

    kind: str
    counted: tuple[int, ...]
    common_chance: float
    row_chances: tuple[float, ...]
    several_chance: float
    common: Estimate
    own: tuple[Estimate, ...]

    @property
    def likeliest(self) -> int:
        """Place of the row that differs, if one does."""
        return int(np.argmax(self.row_chances))

    @property
    def verdict(self) -> str:
        """Whether it is `COMMON` to all rows, of `ONE` row, whether rows `DIFFER`, or `OPEN`."""
        if self.row_chances[self.likeliest] >= SURE_APART:
            return ONE
        if 1 - self.common_chance >= SURE_APART:
            return DIFFER
        return COMMON if self.common_chance >= SURE_COMMON else OPEN


def kind_of_rows(
    kind: str, counted: Sequence[int], cells: Sequence[int], effect: float = 1.0
) -> KindOfRows:
    """Chances that a kind of cell is common to all rows, or one row's.

    Parameters
    ----------
    kind : str
        Name of the kind: ``skip`` or ``double``.
    counted, cells : sequence of int
        Cells of this kind, and all cells, by row; two rows or more.
    effect : float
        Variance of a count over that of independent cells, 1 or more. [1]

    Returns
    -------
    KindOfRows
        Chances and shares.

    Notes
    -----
    assumption: a count is binomial with ``cells / effect`` cells.  Log-odds of the shares of rows
    in order lie normally about a common one, with SD `ALIKE`; that of a row that differs, with SD
    `APART`.  Chances before the counts are `PRIOR`.
    """
    chance = np.array(
        [_log_chance(k / effect, n / effect) for k, n in zip(counted, cells, strict=True)]
    )
    chance = np.exp(chance - chance.max(axis=1, keepdims=True))
    alike, apart = (np.log(chance @ _kernel(sd) + 1e-300) for sd in (ALIKE, APART))
    prior = -((GRID - MIDDLE) ** 2) / (2 * WIDTH**2)
    all_alike = alike.sum(axis=0) + prior
    rest = all_alike - alike  # common log-odds from all rows but one
    one = rest + apart
    several = apart.sum(axis=0) + prior
    rows = len(cells)
    logs = np.array(
        [
            math.log(PRIOR[COMMON]) + _log_sum(all_alike),
            *(math.log(PRIOR[ONE] / rows) + _log_sum(each) for each in one),
            math.log(PRIOR[DIFFER]) + _log_sum(several),
        ]
    )
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    best = int(np.argmax(weights[1:-1]))
    held = all_alike if weights[0] >= weights[1 + best] else one[best]
    return KindOfRows(
        kind=kind,
        counted=tuple(counted),
        common_chance=float(weights[0]),
        row_chances=tuple(weights[1:-1].tolist()),
        several_chance=float(weights[-1]),
        common=_estimate(held),
        own=tuple(_own(each, other) for each, other in zip(chance, rest, strict=True)),
    )


def _log_chance(counted: float, cells: float) -> NDArray[np.float64]:
    """Logarithm of the chance of a count on the grid, up to a constant."""
    found: NDArray[np.float64] = counted * GRID - cells * np.logaddexp(0.0, GRID)
    return found


@cache
def _kernel(sd: float) -> NDArray[np.float64]:
    """Chance of each log-odds of a row (first axis) given the common one (second axis)."""
    found: NDArray[np.float64] = np.exp(-((GRID[:, None] - GRID[None, :]) ** 2) / (2 * sd**2))
    found /= found.sum(axis=0)
    return found


def _log_sum(logs: NDArray[np.float64]) -> float:
    most = float(logs.max())
    return most + math.log(float(np.exp(logs - most).sum()))


def _own(chance: NDArray[np.float64], rest: NDArray[np.float64]) -> Estimate:
    """Share of a row that differs, from its own count and, weakly, from those of others."""
    known = np.exp(rest - rest.max())
    return _estimate(np.log(chance * (_kernel(APART) @ known) + 1e-300))


def _estimate(logs: NDArray[np.float64]) -> Estimate:
    """Mean and interval of a share whose log-odds have these weights."""
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    sums = np.cumsum(weights)
    low, high = np.interp([(1 - LEVEL) / 2, (1 + LEVEL) / 2], sums, GRID)
    ends = [1 / (1 + math.exp(-end)) for end in (low, high)]
    return Estimate(float(weights @ (1 / (1 + np.exp(-GRID)))), *ends)
