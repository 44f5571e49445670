"""Plain forms of measures, and closed forms of rows: what the package is held to."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from metersim.measures.spacing import ROUNDING, _above_zero, _spacings, classify, place_counts


def class_columns(spacings: ArrayLike, reference: float) -> NDArray[np.int64]:
    """One row a spacing, 1 in the column of its class: what block sums are made of.

    Parameters, errors : as for `classify`.

    Returns
    -------
    ndarray of int, shape (n, 5)
        Zeros and ones; each row sums to 1.
    """
    return np.eye(5, dtype=np.int64)[classify(spacings, reference)]


@dataclass(frozen=True)
class PerPlace:
    """Indices per theoretical place, ISO 7256-1:1984.

    Attributes
    ----------
    places : int
        N', places passed.
    multiple, single, miss : float
        Shares of places with several seeds, one, none; they sum to 1, or are nan when no
        place was passed. [-]
    """

    places: int
    multiple: float
    single: float
    miss: float


def per_place(counts: ArrayLike) -> PerPlace:
    """Shares of theoretical places; see `place_counts` for the scheme and its limit.

    Parameters
    ----------
    counts : array_like of whole numbers, shape (5,)
        Class counts.

    Returns
    -------
    PerPlace
    """
    several, one, none = (int(n) for n in place_counts(counts))
    places = several + one + none
    return PerPlace(places, *(n / places if places else math.nan for n in (several, one, none)))


def precision(spacings: ArrayLike, reference: float, ddof: int = 1) -> float:
    """Standard deviation of the normal spacings over the reference.

    About 0.29 is the most that means anything: normal spacings spread evenly over their class
    give 1/sqrt(12) (Kachman & Smith 1995, Trans ASAE 38(2):379-387).

    Parameters
    ----------
    spacings : array_like, shape (n,)
        Spacings, 0 or more. [m]
    reference : float
        Theoretical spacing, above 0. [m]
    ddof : {1, 0}
        What is taken off the number of normal spacings in the divisor.

    Returns
    -------
    float
        Precision, nan with fewer than two normal spacings. [-]

    """
    values = _spacings(spacings)
    normal = values[classify(values, reference) == 1]
    return float(normal.std(ddof=ddof)) / reference if normal.size >= 2 else math.nan


def within_window(spacings: ArrayLike, centre: float, width: float = 0.03) -> float:
    """Share of spacings within half a width of a centre; CP3 with the usual 3 cm.

    Parameters
    ----------
    spacings : array_like, shape (n,)
        Spacings, 0 or more. [m]
    centre, width : float
        Middle and whole width of the window, above 0; its ends belong to it. [m]

    Returns
    -------
    float
        Share, nan without spacings. [-]

    Raises
    ------
    ValueError
        If a spacing is negative or not finite, or centre or width is not above 0.
    """
    off = np.abs(_spacings(spacings) - _above_zero("centre", centre))
    half = _above_zero("width", width) / 2 + ROUNDING * centre
    return float(np.mean(off <= half)) if off.size else math.nan


@dataclass(frozen=True)
class CellModel:
    """What perfectly placed cells with misses and coincident doubles must give.

    Attributes
    ----------
    multiple, quality, miss : float
        D, A and M per spacing. [-]
    cv : float
        Coefficient of variation of all spacings. [-]
    """

    multiple: float
    quality: float
    miss: float
    cv: float


def cell_model(miss: float, double: float) -> CellModel:
    """Closed forms for independent cells without position error.

    With m the misses, d the doubles and s = 1 - m + d seeds a cell: D = d/s, A = (1-m)^2/s,
    M = m(1-m)/s, CV^2 = s(1+m)/(1-m) - 1 = m + d(1+m)/(1-m)
    (derived: the gap between filled cells is geometric).
    Per place the same row gives d, 1-m-d and m.

    Parameters
    ----------
    miss, double : float
        Chances that a cell holds no seed, and that it holds two. [-]

    Returns
    -------
    CellModel

    Raises
    ------
    ValueError
        If `miss` is not in [0, 1) or `double` not in [0, 1 - miss].
    """
    if not 0 <= miss < 1:
        raise ValueError(f"miss is {miss}; allowed: 0 to below 1")
    if not 0 <= double <= 1 - miss:
        raise ValueError(f"double is {double}; allowed: 0 to 1 - miss, here {1 - miss:g}")
    filled = 1 - miss
    seeds = filled + double
    variance = miss + double * (1 + miss) / filled
    return CellModel(
        multiple=double / seeds,
        quality=filled**2 / seeds,
        miss=miss * filled / seeds,
        cv=math.sqrt(variance),
    )
