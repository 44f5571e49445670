"""The cell model fitted to spacings, with its intervals."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaincinv, ndtri, stdtrit

from metersim.measures.cellmodel import FINEST, SCALE, Cells, Stretches, Trials, block_starts
from metersim.measures.intervals import MOST_GAIN, Estimate

FIRST = 40  # stretches of a first, rough fit
LEANS = (-0.5, 0.05, 0.5)  # forms of the scatter to start from
NONE = 2e-6  # a chance of which nothing is seen
LOW = np.array([NONE / 2 * SCALE, NONE / 2 * SCALE, math.log(FINEST), -0.97, math.log(0.4)])
HIGH = np.array([0.9 * SCALE, 0.9 * SCALE, math.log(0.6), 0.97, math.log(2.5)])
"""Bounds of what is fitted, as `metersim.measures.cellmodel.Cells.of` takes it."""
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


STRETCH = 10  # spacings that are taken together
MOST_FITTED = 2000  # spacings; further ones would change the last digit alone
WIDE = 0.25  # scatter over the distance of cells, from which on seeds change order too often
MISFIT = 1.95  # of `misfit`
STEPS = np.array([0.1, 0.1, 0.01, 0.004, 0.06])  # of differences; see `_steps`


@dataclass(frozen=True)
class CellFit:
    """What was fitted, as seen where the spacings were measured.

    Attributes
    ----------
    empty, double : Estimate
        Chances that a cell holds no seed, and two. [1]
    scatter : Estimate
        SD of the distance of a seed from its place, over the nominal spacing. [1]
    distance : Estimate
        Distance of cells over the nominal spacing. [1]
    error : Cells
        All that was fitted, with the form of the scatter.
    spacings : int
        How many were fitted.
    """

    empty: Estimate
    double: Estimate
    scatter: Estimate
    distance: Estimate
    error: Cells
    spacings: int

    @property
    def is_wide(self) -> bool:
        """Whether seeds change order so often that empty cells and doubles are not sure."""
        return self.scatter.value > WIDE * self.distance.value


def fit_cells(rows: Sequence[Floats], *, level: float = 0.95) -> CellFit:
    """Fit the model to spacings.

    Parameters
    ----------
    rows : sequence of ndarray
        Spacings over the nominal spacing, in order, each row for itself.  From more than
        `MOST_FITTED`, stretches all along the rows are taken. [1]
    level : float
        Coverage of the intervals.

    Returns
    -------
    CellFit

    Raises
    ------
    ValueError
        With fewer than two stretches of spacings.

    Notes
    -----
    Intervals come from the likelihood's curvature and from how its slope differs between blocks
    of stretches (the sandwich form; from memory), with Student's t for few blocks; those of
    chances by an effective number of cells and Jeffreys's bounds (from memory), as what is
    fitted need be no whole number of cells.

    In 300 samples each, 95 % intervals of empty, double, scatter and distance held the truth in
    96, 95, 93 and 97 % (250 spacings, chances of 0.04 and 0.03, normal scatter of 0.1) and in
    94, 93, 95 and 98 % (100 spacings of the same), and in 93, 96, 95 and 98 % (250 spacings, 0.1,
    0.05, scatter of 0.2).  Where delays are exponential, with longer tails
    than fitted ones (scatter 0.15, skewness 1.2), it was 96, 95, 88 and 99 %, as scatter came out
    4 % small.  The usual interval of an SD, of spacings taken for independent, held 92 % of the
    first.  tests/measures/test_cellfit.py has a shorter trial.
    """
    parts = _parts(rows)
    theta = maximum(parts)
    data = Stretches(parts)
    covariance, blocks = _sandwich(data, theta)
    spread = np.sqrt(np.diag(covariance))
    natural = Cells.of(theta)
    empty, given, distance = natural.empty, natural.given_filled, natural.distance
    filled, size = 1 - empty, sum(part.size for part in parts)
    double = given * filled
    cells = size / (filled + double)
    slope = np.array([-given, filled]) / SCALE
    double_sd = math.sqrt(float(slope @ covariance[:2, :2] @ slope))
    along = np.array([1.0, 1.0])  # of the logs of scatter and distance
    scatter_sd = math.sqrt(float(along @ covariance[np.ix_([2, 4], [2, 4])] @ along))
    scatter, seen_sd = data.scatter(theta)
    t = float(stdtrit(blocks - 1, 0.5 + level / 2))
    return CellFit(
        empty=_chance(empty, spread[0] / SCALE, cells, t, level),
        double=_chance(double, double_sd, cells, t, level),
        scatter=_positive(scatter * distance, max(scatter_sd, seen_sd), t)
        if theta[2] > LOW[2]
        else Estimate(scatter * distance, 0.0, max(scatter, FINEST) * distance),
        distance=_positive(distance, max(spread[4], FINEST / 100), t),
        error=natural,
        spacings=size,
    )


def fitted_density(fit: CellFit, ratios: Floats) -> Floats:
    """Density of spacings over the nominal one, as fitted.

    Parameters
    ----------
    fit : CellFit
        The fit.
    ratios : ndarray
        Spacings over the nominal one. [1]

    Returns
    -------
    ndarray
        Density, shape of `ratios`. [1]

    Notes
    -----
    The difference of two errors is worked out on a fine grid; seeds that change order are folded
    back, which is exact for two seeds.
    """
    distance = fit.distance.value
    scatter = fit.scatter.value / distance
    step = min(scatter / 12, 0.01)
    half = round(4 / step)
    grid = np.linspace(-half * step, half * step, 2 * half + 1)
    error = np.exp(fit.error.log_error(grid))
    apart = np.convolve(error, error[::-1], mode="same")
    apart /= apart.sum() * step
    empty, double = fit.empty.value, fit.double.value
    filled = 1 - empty
    seeds = filled + double

    def near(where: Floats) -> Floats:
        found: Floats = np.interp(where, grid, apart, left=0.0, right=0.0)
        return found

    x = ratios / distance
    density = double / seeds * (near(x) + near(-x))
    for gap in range(1, 12):
        weight = filled**2 * empty ** (gap - 1) / seeds
        density = density + weight * (near(x - gap) + near(-x - gap))
    result: Floats = density / distance
    return result


def misfit(fit: CellFit, ratios: Floats) -> float:
    """How far spacings are from what was fitted, over what chance makes of as many.

    Parameters
    ----------
    fit : CellFit
        The fit.
    ratios : ndarray
        All spacings over the nominal one. [1]

    Returns
    -------
    float
        Largest distance of the two distributions, times the root of the number of spacings; above
        `MISFIT` in fewer than one of a thousand samples of the model. [1]

    Notes
    -----
    Source: Kolmogorov's limit law, from memory; the number is too large rather than too small for
    spacings, whose neighbours depend on one another, and for a fit to the same spacings.
    """
    step = min(fit.scatter.value / 8, 0.02)
    edges = np.arange(0.0, max(float(ratios.max()), 1.0) + 2 * step, step)
    inside = np.cumsum(fitted_density(fit, edges[1:] - step / 2)) * step
    found = np.searchsorted(np.sort(ratios), edges[1:], side="right") / len(ratios)
    return float(np.abs(found - inside).max()) * math.sqrt(len(ratios))


def _parts(rows: Sequence[Floats]) -> list[Floats]:
    """Stretches of rows, no more than are fitted."""
    parts: list[Floats] = []
    for row in rows:
        parts += np.array_split(row, max(len(row) // STRETCH, 1)) if len(row) else []
    if len(parts) < 2:
        raise ValueError(f"{len(parts)} stretches of spacings; allowed: 2 or more")
    return some(parts, MOST_FITTED // STRETCH)


def _sandwich(data: Stretches, theta: Floats) -> tuple[Floats, int]:
    """Covariance of what was fitted, and the number of blocks it is of."""
    trials = data.likely(theta)
    every = _steps(theta)
    free = (theta > LOW + 2 * every) & (theta < HIGH - 2 * every)
    free[:2] = theta[:2] > NONE * SCALE
    index = np.flatnonzero(free)
    moves, steps = np.diag(every)[index], every[index]
    centre = data.log_likelihood(theta, trials)
    up = np.array([data.log_likelihood(theta + move, trials) for move in moves])
    down = np.array([data.log_likelihood(theta - move, trials) for move in moves])
    starts = block_starts(len(centre))
    blocks = len(starts)
    sums = np.add.reduceat(((up - down) / (2 * steps[:, None])).T, starts, axis=0)
    sums -= sums.mean(axis=0)
    curvature = np.diag((up + down - 2 * centre).sum(axis=1) / steps**2)
    for i, j in zip(*np.tril_indices(len(index), -1), strict=True):
        both = data.log_likelihood(theta + moves[i] + moves[j], trials)
        rise = float((both - up[i] - up[j] + centre).sum())
        curvature[i, j] = curvature[j, i] = rise / (steps[i] * steps[j])
    inverse = np.linalg.pinv(-curvature, rcond=1e-10, hermitian=True)
    covariance = np.zeros((len(theta), len(theta)))
    meat = sums.T @ sums * blocks / (blocks - 1)
    covariance[np.ix_(index, index)] = inverse @ meat @ inverse
    return covariance, blocks


def _steps(theta: Floats) -> Floats:
    """Steps of differences: a share of a chance, and of the scatter for the distance of cells."""
    size = np.array([theta[0], theta[1], 1.0, 1.0, math.exp(theta[2])])
    made: Floats = STEPS * size
    return made


def _chance(value: float, sd: float, cells: float, t: float, level: float) -> Estimate:
    """A chance between bounds of as many cells as its SD is that of (Jeffreys's)."""
    tail = (1 - level) / 2
    effective = cells
    if sd > 0:
        gain = min(value * (1 - value) / sd**2 / cells, MOST_GAIN)
        effective = cells * gain * (float(ndtri(1 - tail)) / t) ** 2
    hit, missed = value * effective, (1 - value) * effective
    low, high = (float(betaincinv(hit + 0.5, missed + 0.5, at)) for at in (tail, 1 - tail))
    return Estimate(value, min(low, value) if value > NONE else 0.0, max(high, value))


def _positive(value: float, relative: float, t: float) -> Estimate:
    factor = math.exp(t * relative)
    return Estimate(value, value / factor, value * factor)
