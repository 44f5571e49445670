"""Uphill to where the likelihood of stretches is largest."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from metersim.cellfit.likelihood import Stretches, Trials
from metersim.cellfit.model import FINEST, SCALE

FIRST = 40  # stretches of a first, rough fit
LEANS = (-0.5, 0.05, 0.5)  # forms of the scatter to start from
NONE = 2e-6  # a chance of which nothing is seen
LOW = np.array([NONE / 2 * SCALE, NONE / 2 * SCALE, math.log(FINEST), -0.97, math.log(0.4)])
HIGH = np.array([0.9 * SCALE, 0.9 * SCALE, math.log(0.6), 0.97, math.log(2.5)])
"""Bounds of what is fitted, as `metersim.cellfit.model.Cells.of` takes it."""
SMALL = np.full(5, 1e-4)  # of the differences that are slopes
MOST_STEPS = 60
MOST_MOVED = 0.4  # in one step
LEAST_DAMPING = 1e-10  # below which slopes of few stretches leave steps without a size
ENOUGH = 0.002  # gain of log likelihood, of which half is worth one standard error

Floats = NDArray[np.float64]


def some(parts: Sequence[Floats], most: int) -> list[Floats]:
    """So many of the stretches at most, taken all along them."""
    keep = min(len(parts), most)
    return [parts[k * len(parts) // keep] for k in range(keep)]


def maximum(parts: list[Floats]) -> Floats:
    """Where the likelihood is largest, first of few stretches, then of all."""
    few = Stretches(some(parts, FIRST))
    ratios = few.ratios
    apart = ratios[ratios > 0]  # more than half may lie on the spot of the one before
    distance = float(np.median(apart)) if apart.size else 1.0
    near = ratios[np.abs(ratios - distance) < 0.5 * distance] / distance
    spread = float(near.std()) if near.size else 0.0
    scatter = min(max(spread / math.sqrt(2), 0.01), 0.35)
    empty = max(float(np.mean(ratios > 1.5 * distance)) / 2, 1 / len(ratios))
    double = max(float(np.mean(ratios <= 0.5 * distance)) / 2, 1 / len(ratios))
    chances = [SCALE * empty, SCALE * double, math.log(scatter)]
    starts = [np.array([*chances, lean, math.log(distance)]) for lean in LEANS]
    starts = [np.clip(start, LOW, HIGH) for start in starts]
    sums = [few.log_likelihood(start, few.likely(start)).sum() for start in starts]
    best = _climbed(few, starts[int(np.argmax(sums))])
    if len(parts) > FIRST:
        best = _climbed(Stretches(parts), best)
    return best


def _climbed(data: Stretches, theta: Floats) -> Floats:
    """Uphill to where the likelihood is largest, by the slopes of the stretches.

    Their products stand for the curvature (Berndt, Hall, Hall & Hausman 1974, from memory), more
    of their diagonal where a step fails.
    """
    for _ in range(4):  # anew with the places of cells that what was found makes likely
        trials, before = data.likely(theta), theta
        # chances once more alone, which places of next to no scatter hold up
        for movable in (np.ones(5, dtype=bool), np.arange(5) < 2):
            theta = _uphill(data, trials, theta, movable)
        if float(np.abs(theta - before)[2:].max()) < 0.02:
            break
    return theta


def _uphill(data: Stretches, trials: Trials, theta: Floats, movable: NDArray[np.bool_]) -> Floats:
    size, damping = int(data.spacings.sum()), 1e-3
    each = data.log_likelihood(theta, trials)
    for _ in range(MOST_STEPS):
        slopes = np.array(
            [data.log_likelihood(theta + move, trials) - each for move in np.diag(SMALL)]
        )
        slopes /= SMALL[:, None]
        uphill = slopes.sum(axis=1)
        free = movable & ((theta > LOW) | (uphill > 0)) & ((theta < HIGH) | (uphill < 0))
        products = slopes @ slopes.T
        # of places that fit the model better than chance would, slopes tell too little: no less
        # than a share of what they are worth of a normal scatter
        least = np.array([0.0, 0.0, size, 0.0, 10 * size / math.exp(2 * theta[2])]) / 4
        np.fill_diagonal(products, np.maximum(np.diag(products), least))
        gained = 0.0
        while damping < 1e6:
            matrix = products + damping * np.diag(np.diag(products) + 1e-9)
            step = np.zeros_like(theta)
            step[free] = np.linalg.solve(matrix[np.ix_(free, free)], uphill[free])
            tried = np.clip(theta + np.clip(step, -MOST_MOVED, MOST_MOVED), LOW, HIGH)
            found = data.log_likelihood(tried, trials)
            gained = float((found - each).sum())
            if gained > 0:
                theta, each, damping = tried, found, max(damping / 10, LEAST_DAMPING)
                break
            damping *= 10
        if gained <= 0 or (gained < ENOUGH and damping < 1):
            break
    return theta
