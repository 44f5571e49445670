"""Pairs of steps: whether their effects add up, and whether counts distinguish them.

The effect of a step is a change of two shares, skips and doubles.  Two steps are distinguished by
the part of one effect that no size of the other effect can make.  This part, in standard errors
of the difference of two counts, grows with the root of the counted cells.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from metersim.distributions.quantiles import stdtrit
from metersim.measures.intervals import Estimate, jackknife
from metersim.questions.shared.counts import CERTAINTY, POWER, Share, deviations
from metersim.questions.shared.settings import Steps

ALIKE = 0.9  # cosine of two effects beyond which they are called alike, or opposite
SEEN = ("skips", "doubles")
LEAST = 1e-5  # least share

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Pair:
    """Two single steps, each alone and the two together.

    Attributes
    ----------
    first, second : mapping of str to int
        Single steps, by name of the setting.
    interaction : mapping of str to Estimate
        Effect of the two steps together less the sum of their single effects, for skips and
        doubles; empty if the two were not run together. [1]
    way : str
        Effect of the second step compared with the first: ``alike``, ``opposite``, ``unlike``, or
        ``nothing`` when the runs detect no effect of one of them.
    separation : float
        Part that distinguishes the two effects, in standard errors of the difference of two counts
        of one cell, before and after one of the steps. [1]
    """

    first: Steps
    second: Steps
    interaction: Mapping[str, Estimate]
    way: str
    separation: float

    @property
    def adds_up(self) -> bool:
        """Whether the runs detect no deviation from the sum of the single effects."""
        return all(found.low <= 0 <= found.high for found in self.interaction.values())

    def distance(self, cells: float) -> float:
        """Part that distinguishes the effects in counts of so many cells, in standard errors."""
        return self.separation * math.sqrt(cells)

    def cells_to_distinguish(self, certainty: float = CERTAINTY, power: float = POWER) -> float:
        """Cells in each of two counts, before and after, that distinguish the two steps."""
        if self.separation == 0:
            return math.inf
        return (deviations(certainty, power) / self.separation) ** 2


def pair_of(
    steps: tuple[Steps, Steps],
    changes: tuple[Floats, Floats, Floats | None],
    shares: tuple[Mapping[str, Share], ...],
    level: float,
) -> Pair:
    """Joint effect of two steps, from runs with common random numbers.

    Parameters
    ----------
    steps : pair of mappings
        First and second step.
    changes : three of ndarray, shape (stretches, 2)
        Change of skips and doubles from the present meter in each stretch, for the first step, the
        second step, and the two together; None if they were not run. [1]
    shares : tuple of mappings
        Shares of skips and doubles of the present meter, and of the meters of a count after a step.
    level : float
        Coverage of the intervals of the interaction.

    Returns
    -------
    Pair
    """
    first, second, both = changes
    interaction: dict[str, Estimate] = {}
    if both is not None:
        beyond = (both - first - second).T
        interaction = {kind: _mean(one, level) for kind, one in zip(SEEN, beyond, strict=True)}
    before, *after = (_covariance([one[kind] for kind in SEEN]) for one in shares)
    noise = before + np.mean(after, axis=0)
    root = np.linalg.inv(np.linalg.cholesky(noise))
    a, b = (part @ root.T for part in (first, second))
    separation = _separation(a.mean(axis=0), b.mean(axis=0))
    if not (_is_detected(first) and _is_detected(second)):
        return Pair(*steps, interaction, "nothing", 0.0)
    cosine = _cosine(a.mean(axis=0), b.mean(axis=0))
    way = "alike" if cosine > ALIKE else "opposite" if cosine < -ALIKE else "unlike"
    if not _crossing(a, b):
        separation = 0.0
    return Pair(*steps, interaction, way, separation)


def _mean(values: Floats, level: float) -> Estimate:
    """Mean over stretches with its interval."""
    value, n = float(values.mean()), len(values)
    reach = float(stdtrit(n - 1, (1 + level) / 2)) * float(values.std(ddof=1)) / math.sqrt(n)
    return Estimate(value, value - reach, value + reach)


def _is_detected(changes: Floats) -> bool:
    """Whether the runs detect an effect of a step."""
    found = [_mean(column, CERTAINTY) for column in changes.T]
    return any(one.low > 0 or one.high < 0 for one in found)


def _covariance(shares: list[Share]) -> Floats:
    """Covariance of the shares of skips and doubles in a count of one cell."""
    skips, doubles = (share.value for share in shares)
    # a little of each kind, as no run proves that a share is 0
    values = np.maximum([skips, doubles, 1 - skips - doubles], LEAST)
    values = (values / values.sum())[:2]
    scale = np.sqrt([share.effect for share in shares])
    spread = np.diag(values) - np.outer(values, values)
    made: Floats = spread * np.outer(scale, scale)
    return made


def _cross(a: Floats, b: Floats) -> float:
    return float(a[0] * b[1] - a[1] * b[0])


def _separation(a: Floats, b: Floats) -> float:
    """Lesser of the two parts of one effect that are orthogonal to the other."""
    longer = max(float(np.hypot(*a)), float(np.hypot(*b)))
    return abs(_cross(a, b)) / longer if longer else 0.0


def _cosine(a: Floats, b: Floats) -> float:
    size = float(np.hypot(*a)) * float(np.hypot(*b))
    return float(a @ b) / size if size else 0.0


def _crossing(a: Floats, b: Floats) -> bool:
    """Whether the runs detect a difference of direction between two effects."""
    n = len(a)
    whole_a, whole_b = a.sum(axis=0), b.sum(axis=0)
    others_a, others_b = ((whole - part) / (n - 1) for whole, part in ((whole_a, a), (whole_b, b)))
    left_out = [_cross(*pair) for pair in zip(others_a, others_b, strict=True)]
    error = math.sqrt(jackknife(left_out))
    return abs(_cross(whole_a / n, whole_b / n)) > deviations(CERTAINTY) * error
