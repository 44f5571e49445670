"""Classes of spacings and the indices built on them, from seed positions along a row.

This module knows no meter and draws nothing at random.  Lengths are in metres.  Every index is a
ratio, so any one unit would do.  Two families of indices are in use.  `place_counts` is for shares
of theoretical places, and `per_spacing` gives shares of spacings.

Sources: ISO 7256-1:1984 for the classes; the place scheme from memory of the same standard;
Kachman & Smith 1995, Trans ASAE 38(2):379-387, for the indices per spacing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from metersim.distributions.normal import ndtr

CLASS_BOUNDS = (0.5, 1.5, 2.5, 3.5)
"""Upper bounds of the first four classes in reference spacings, each part of its class."""

CLASS_NAMES = ("multiple", "normal", "one miss", "two misses", "three or more misses")

ROUNDING = 1e-9
"""Relative slack at a bound: positions 100 m down a row carry a rounding error of 1e-14 m."""


def spacings_of(positions: ArrayLike) -> NDArray[np.float64]:
    """Distances between neighbours along the row, for seeds in any order.

    Parameters
    ----------
    positions : array_like, shape (n,)
        Positions along the row. [m]

    Returns
    -------
    ndarray, shape (max(n - 1, 0),)
        Spacings, 0 or more. [m]

    Raises
    ------
    ValueError
        If a position is not finite or the array is not flat.
    """
    return np.diff(np.sort(_flat("positions", positions)))


def classify(spacings: ArrayLike, reference: float) -> NDArray[np.int64]:
    """Class of each spacing by ISO 7256-1:1984.

    Parameters
    ----------
    spacings : array_like, shape (n,)
        Spacings, 0 or more. [m]
    reference : float
        Theoretical spacing, above 0. [m]

    Returns
    -------
    ndarray of int, shape (n,)
        0 multiple (up to 0.5 references), 1 normal (up to 1.5), 2 one miss (up to 2.5),
        3 two misses (up to 3.5), 4 three or more.  A spacing on a bound belongs to the lower
        class.  A spacing within 1e-9 of a bound, relative, counts as on it.

    Raises
    ------
    ValueError
        If a spacing is negative or not finite, or the reference is not above 0.
    """
    return classes_of(_spacings(spacings) / _above_zero("reference", reference)).astype(np.int64)


def classes_of(ratios: NDArray[np.float64]) -> NDArray[np.int8]:
    """Classes as in `classify`, of checked spacings over the reference."""
    # a few comparisons, read as 0 and 1, take a fraction of the time of a search
    above = [(ratios > bound * (1 + ROUNDING)).view(np.int8) for bound in CLASS_BOUNDS]
    return above[0] + above[1] + above[2] + above[3]


def class_counts(spacings: ArrayLike, reference: float) -> NDArray[np.int64]:
    """Number of spacings in each class.

    Parameters, errors : as for `classify`.

    Returns
    -------
    ndarray of int, shape (5,)
        Counts in the order of `CLASS_NAMES`.
    """
    return np.bincount(classify(spacings, reference), minlength=5).astype(np.int64)


def place_counts(counts: ArrayLike) -> NDArray[np.int64]:
    """Numbers of theoretical places with several seeds, with one and with none.

    ISO scheme, with n'1 ... n'5 the class counts and N their sum: n2 = n'1, n1 = N - 2 n2,
    n0 = n'3 + 2 n'4 + 3 n'5 (ISO 7256-1:1984, from memory).

    The scheme takes every multiple for a pair.  Beyond N/2 multiples it would give a negative
    n1.  Then n1 is 0, and n2 is the number of places with any seed: N - n'1, at least one.  So the
    number of places stays right.

    Parameters
    ----------
    counts : array_like of whole numbers, shape (..., 5)
        Class counts of one row, or of several.  For blocks of a row see `place_sums`.

    Returns
    -------
    ndarray of int, shape (..., 3)
        n2, n1, n0.

    Raises
    ------
    ValueError
        If the last axis is not 5 long or a count is not a whole number of 0 or more.
    """
    n = _counts(counts)
    total, multiples = n.sum(axis=-1), n[..., 0]
    seeded = np.maximum(total - multiples, np.minimum(total, 1))
    several = np.minimum(multiples, seeded)
    empty = n[..., 2] + 2 * n[..., 3] + 3 * n[..., 4]
    return np.stack([several, seeded - several, empty], axis=-1)


def place_sums(blocks: ArrayLike) -> NDArray[np.int64]:
    """Parts of the theoretical places of a row, block by block.

    The parts sum to the `place_counts` of the whole row, however it is cut.  `place_counts` of
    each block would not: a block of many multiples would lose more pairs than the row does.  So
    the part of a single block may be no count of its own: below 0, or more pairs than places.

    Parameters
    ----------
    blocks : array_like of whole numbers, shape (blocks, 5)
        Class counts of each block of one row.

    Returns
    -------
    ndarray of int, shape (blocks, 3)
        Parts of n2, n1, n0.
    """
    n = _counts(blocks)
    row = n.sum(axis=0)
    several, seeded = n[:, 0].copy(), n[:, 1:].sum(axis=1)
    if row[0] and not row[1:].any():  # all seeds of the row at one place
        seeded[np.argmax(n[:, 0] > 0)] = 1
    if several.sum() > seeded.sum():
        several = seeded.copy()
    empty = n[:, 2] + 2 * n[:, 3] + 3 * n[:, 4]
    return np.stack([several, seeded - several, empty], axis=-1)


@dataclass(frozen=True)
class PerSpacing:
    """Indices per spacing, Kachman & Smith 1995, Trans ASAE 38(2):379-387.

    Attributes
    ----------
    spacings : int
        N, spacings measured.
    multiple : float
        D, share of spacings up to 0.5 references. [-]
    quality : float
        A, quality of feed index: share of normal spacings. [-]
    miss : float
        M, share of spacings above 1.5 references. [-]
        The three sum to 1, or are nan when there is no spacing.
    """

    spacings: int
    multiple: float
    quality: float
    miss: float


def per_spacing(counts: ArrayLike) -> PerSpacing:
    """Shares of spacings.

    Parameters
    ----------
    counts : array_like of whole numbers, shape (5,)
        Class counts.

    Returns
    -------
    PerSpacing

    Raises
    ------
    ValueError
        If there are not five counts or one is not a whole number of 0 or more.
    """
    n = _counts(_one_row(counts))
    total = int(n.sum())
    parts = (int(n[0]), int(n[1]), int(n[2:].sum()))
    return PerSpacing(total, *(part / total if total else math.nan for part in parts))


def lag_correlation(spacings: ArrayLike, lag: int = 1) -> float:
    """Correlation of spacings with the spacings `lag` further on.

    Seeds with independent position errors give -0.5 at lag 1: a seed too far on lengthens one
    spacing and shortens the next.

    Parameters
    ----------
    spacings : array_like, shape (n,)
        Spacings in the order of the row. [m]
    lag : int
        1 or more.

    Returns
    -------
    float
        Sum of lagged products over sum of squares, both about the mean of all; nan with fewer
        than lag + 2 spacings or when all are alike. [-]

    Raises
    ------
    ValueError
        If a spacing is negative or not finite, or the lag is below 1.
    """
    if lag < 1:
        raise ValueError(f"lag is {lag}; allowed: 1 or more")
    values = _spacings(spacings)
    if values.size < lag + 2 or np.ptp(values) == 0:
        return math.nan
    off = values - values.mean()
    return float(off[:-lag] @ off[lag:] / (off @ off))


def quality_of_scatter(scatter: float, reference: float) -> float:
    """Share of normal spacings of a row without a skip or a double, whose seeds scatter normally.

    Parameters
    ----------
    scatter : float
        SD of a seed's place along the row, each independent of the others. [m]
    reference : float
        Nominal spacing. [m]

    Notes
    -----
    ``1 - 2 Phi(-x / (2 sqrt(2) sigma))``, with the spacing x and the scatter sigma.
    """
    reference = _above_zero("reference", reference)
    return 1 - 2 * float(ndtr(-reference / (2 * math.sqrt(2) * _above_zero("scatter", scatter))))


def _flat(name: str, values: ArrayLike) -> NDArray[np.float64]:
    array = np.asarray(values, dtype=np.float64)
    if array.ndim != 1:
        raise ValueError(f"{name} has {array.ndim} dimensions; allowed: 1")
    wrong = np.flatnonzero(~np.isfinite(array))
    if wrong.size:
        raise ValueError(f"{name}[{wrong[0]}] is {array[wrong[0]]}; allowed: finite numbers")
    return array


def _spacings(values: ArrayLike) -> NDArray[np.float64]:
    array = _flat("spacings", values)
    if array.size and array.min() < 0:
        raise ValueError(f"spacings[{array.argmin()}] is {array.min()}; allowed: 0 or more")
    return array


def _above_zero(name: str, value: float) -> float:
    if not (value > 0 and math.isfinite(value)):
        raise ValueError(f"{name} is {value}; allowed: finite and above 0")
    return value


def _one_row(counts: ArrayLike) -> NDArray[np.float64]:
    array = np.asarray(counts, dtype=np.float64)
    if array.shape != (5,):
        raise ValueError(f"counts has shape {array.shape}; allowed: (5,)")
    return array


def _counts(counts: ArrayLike) -> NDArray[np.int64]:
    array = np.asarray(counts, dtype=np.float64)
    if array.ndim < 1 or array.shape[-1] != 5:
        raise ValueError(f"counts has shape {array.shape}; allowed: five at the last axis")
    wrong = ~((array >= 0) & (array == np.floor(array)) & np.isfinite(array))
    if wrong.any():
        raise ValueError(f"counts holds {array[wrong][0]}; allowed: whole numbers, 0 or more")
    return array.astype(np.int64)
