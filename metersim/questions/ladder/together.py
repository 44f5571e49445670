"""Two changes made together: whether they add up, and whether a count tells which of them did it.

What a step does is a change of two shares, skips and doubles.  Two steps can be told apart by as
much of either change as the other cannot make, however strongly it acts: that part, in standard
errors of the difference of two counts, grows with the root of what is counted.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from metersim.measures.intervals import Estimate, jackknife
from metersim.questions.shared.counts import CERTAINTY, POWER, Share, deviations
from metersim.questions.shared.settings import Steps

ALIKE = 0.9  # cosine of two changes beyond which they are called alike, or opposite
SEEN = ("skips", "doubles")
LEAST = 1e-5  # of a share

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Pair:
    """Two single steps, each alone and both together.

    Attributes
    ----------
    first, second : mapping of str to int
        The steps.
    beyond : mapping of str to Estimate
        By how much the change of both exceeds the sum of either alone, in skips and doubles. [1]
    way : str
        What the second does beside the first: ``alike``, ``opposite``, ``unlike``, or ``nothing``
        when either does nothing that the runs could tell from luck.
    apart : float
        What tells either from the other, in standard errors of the difference of two counts of one
        cell. [1]
    """

    first: Steps
    second: Steps
    beyond: Mapping[str, Estimate]
    way: str
    apart: float

    @property
    def adds_up(self) -> bool:
        """Whether both together do what either does alone, as far as the runs tell."""
        return all(found.low <= 0 <= found.high for found in self.beyond.values())

    def distance(self, cells: float) -> float:
        """What tells either from the other in counts of so many cells, in standard errors."""
        return self.apart * math.sqrt(cells)

    def cells_to_tell(self, certainty: float = CERTAINTY, power: float = POWER) -> float:
        """Cells in each of two counts, before and after, that tell which of both did it."""
        if self.apart == 0:
            return math.inf
        return (deviations(certainty, power) / self.apart) ** 2


def pair_of(
    steps: tuple[Steps, Steps],
    changes: tuple[Floats, Floats, Floats],
    shares: tuple[Mapping[str, Share], Mapping[str, Share]],
    level: float,
) -> Pair:
    """What two steps do together, from runs on common luck.

    Parameters
    ----------
    steps : pair of mappings
        First and second step.
    changes : three of ndarray, shape (stretches, 2)
        Change of skips and doubles from the present in each stretch: of the first step, of the
        second, of both. [1]
    shares : pair of mappings
        Skips and doubles at present, and with both steps.
    level : float
        Coverage of the intervals of what goes beyond the sum.

    Returns
    -------
    Pair
    """
    first, second, both = changes
    beyond = dict(zip(SEEN, map(lambda x: _mean(x, level), (both - first - second).T), strict=True))
    noise = sum(_covariance([one[kind] for kind in SEEN]) for one in shares)
    root = np.linalg.inv(np.linalg.cholesky(np.asarray(noise)))
    a, b = (part @ root.T for part in (first, second))
    apart = _apart(a.mean(axis=0), b.mean(axis=0))
    if not (_told(first) and _told(second)):
        return Pair(*steps, beyond, "nothing", 0.0)
    cosine = _cosine(a.mean(axis=0), b.mean(axis=0))
    way = "alike" if cosine > ALIKE else "opposite" if cosine < -ALIKE else "unlike"
    if not _crossing(a, b):
        apart = 0.0
    return Pair(*steps, beyond, way, apart)


def _mean(values: Floats, level: float) -> Estimate:
    """Mean over stretches, with its interval."""
    value, n = float(values.mean()), len(values)
    reach = float(stdtrit(n - 1, (1 + level) / 2)) * float(values.std(ddof=1)) / math.sqrt(n)
    return Estimate(value, value - reach, value + reach)


def _told(changes: Floats) -> bool:
    """Whether a step changes anything that luck does not explain."""
    found = [_mean(column, CERTAINTY) for column in changes.T]
    return any(one.low > 0 or one.high < 0 for one in found)


def _covariance(shares: list[Share]) -> Floats:
    """Covariance of the shares of skips and doubles in a count of one cell."""
    skips, doubles = (share.value for share in shares)
    # a little of each kind, as no run shows that something cannot be
    values = np.maximum([skips, doubles, 1 - skips - doubles], LEAST)
    values = (values / values.sum())[:2]
    scale = np.sqrt([share.effect for share in shares])
    spread = np.diag(values) - np.outer(values, values)
    made: Floats = spread * np.outer(scale, scale)
    return made


def _cross(a: Floats, b: Floats) -> float:
    return float(a[0] * b[1] - a[1] * b[0])


def _apart(a: Floats, b: Floats) -> float:
    """The lesser of the parts of either that lie across the other."""
    longer = max(float(np.hypot(*a)), float(np.hypot(*b)))
    return abs(_cross(a, b)) / longer if longer else 0.0


def _cosine(a: Floats, b: Floats) -> float:
    size = float(np.hypot(*a)) * float(np.hypot(*b))
    return float(a @ b) / size if size else 0.0


def _crossing(a: Floats, b: Floats) -> bool:
    """Whether two changes differ in direction by more than the luck of the runs explains."""
    n = len(a)
    whole_a, whole_b = a.sum(axis=0), b.sum(axis=0)
    others_a, others_b = ((whole - part) / (n - 1) for whole, part in ((whole_a, a), (whole_b, b)))
    left_out = [_cross(*pair) for pair in zip(others_a, others_b, strict=True)]
    error = math.sqrt(jackknife(left_out))
    return abs(_cross(whole_a / n, whole_b / n)) > deviations(CERTAINTY) * error
