"""Scales on which uncertainties of a measure add up, and intervals made on them.

A share lies between 0 and 1, and a length above 0.  An interval from a mean and an SD would ignore
this.  So both are taken on another scale, and the interval is brought back.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from metersim.measures.indices import Measure

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Scale:
    """A scale: a rising function, and what belongs to it.

    Attributes
    ----------
    to, back : callable
        The function of values, and its inverse; beyond its ends the inverse stays at them.
    flatness : callable
        Square of the inverse slope, by which a variance of values is divided.
    """

    to: Callable[[Floats], Floats]
    back: Callable[[Floats], Floats]
    flatness: Callable[[Floats], Floats]

    def variance(self, values: Floats, variances: Floats) -> float:
        """Mean variance on the scale, from variances of values.

        The means of both are divided, not their ratios averaged: a share of 0 has no variance.
        """
        flat = float(np.mean(self.flatness(values)))
        return float(np.mean(variances)) / flat if flat > 0 else 0.0


PLAIN = Scale(lambda x: x, lambda y: y, np.ones_like)
LOGARITHM = Scale(np.log, np.exp, np.square)
RUNS = Scale(np.log, lambda y: np.exp(y).clip(1.0), np.square)
"""The scale of lengths of runs of cells, which are 1 or more."""
ANGLE = Scale(
    lambda x: np.arcsin(np.sqrt(x.clip(0.0, 1.0))),
    lambda y: np.sin(y.clip(0.0, np.pi / 2)) ** 2,
    lambda x: 4 * x * (1 - x),
)
"""The scale of shares: a share of counts has there the same sampling error at each value.

It takes 0 and 1.  The logarithm of the odds does not: at small shares an error that goes with
sqrt(p (1 - p)) would be many times the share there.
"""


def bent(knee: float) -> Scale:
    """The scale of differences: even below a knee, and logarithmic far beyond it.

    So a difference that grows with its level keeps its sign, and one near 0 may have either.

    Parameters
    ----------
    knee : float
        Size of a difference that noise makes, 0 or more; 0 gives the plain scale.
    """
    if knee <= 0:
        return PLAIN
    return Scale(
        lambda x: np.arcsinh(x / knee), lambda y: knee * np.sinh(y), lambda x: x * x + knee * knee
    )


def scale_of(measure: Measure | None, values: Floats) -> Scale:
    """The scale of a measure; plain for parts of sums, or numbers not all above 0."""
    if measure is not None and measure.kind == "share" and measure.top:
        return ANGLE
    if measure is None or measure.signed or not np.all(values > 0):
        return PLAIN
    return RUNS if measure.kind == "cells" else LOGARITHM
