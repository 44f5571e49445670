"""Measures of a condition as smooth functions of coefficients and open inputs.

Shares are binomial with a logit link, so zeros are no trouble.  Other measures are lognormal.  The
predictor is a polynomial: linear, square, product and cubic terms, with a ridge penalty that is
chosen on points held out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit, logit

from tests.validation.fit.runs import KEPT, RATIOS, WIDER

PENALTIES = (3.0, 30.0, 300.0)
HELD_OUT = 5  # every fifth point
ITERATIONS = 30  # at most
DISTURBED = 0.2  # SD of a predictor that the polynomial misses, assumed for weights
FARTHEST = 4.5  # of an input of the polynomial; beyond it, the value at this distance is taken
LEAST = 1e-5  # of a share


@dataclass(frozen=True, eq=False)
class Emulator:
    """A measure of one condition: a polynomial of its inputs.

    Attributes
    ----------
    share : bool
        Whether the predictor is the logit of a share; otherwise it is a logarithm.
    constant, linear, square, cubic
        Coefficients of the polynomial; `square` is a symmetric matrix.
    error : float
        SD of the predictor's error at points held out, without their sampling error.
    sampling : float
        Sampling variance of the runs over that of a binomial (shares), or mean SD of the logarithm.
    """

    share: bool
    constant: float
    linear: np.ndarray
    square: np.ndarray
    cubic: np.ndarray
    error: float
    sampling: float

    def __call__(self, inputs):
        """Values in SI at rows of inputs."""
        x = np.clip(inputs, -FARTHEST, FARTHEST)
        eta = self.constant + x @ self.linear + ((x @ self.square) * x).sum(-1) + x**3 @ self.cubic
        return expit(eta) if self.share else np.exp(eta)


def basis(inputs):
    """Columns of the polynomial: 1, linear, squares and products, cubes."""
    x = np.clip(inputs, -FARTHEST, FARTHEST)
    rows, columns = np.triu_indices(x.shape[1])
    return np.column_stack([np.ones(len(x)), x, x[:, rows] * x[:, columns], x**3])


def unpacked(beta, many):
    """Constant, linear, square and cubic coefficients from one vector."""
    rows, columns = np.triu_indices(many)
    pairs = len(rows)
    square = np.zeros((many, many))
    square[rows, columns] = beta[1 + many : 1 + many + pairs]
    return beta[0], beta[1 : 1 + many], (square + square.T) / 2, beta[1 + many + pairs :]


def emulate(inputs, results, key, many):
    """Emulator of a measure.

    Parameters
    ----------
    inputs, results : ndarray
        Of `tests.validation.fit.runs.runs_of`.
    key : str
        Measure.
    many : int
        Number of coefficients among the inputs.
    """
    values, variances, counts = results[:, :, KEPT.index(key)].T
    share = key in RATIOS
    right = np.isfinite(values) & np.isfinite(variances) & (share | (values > 0))
    right &= (counts > 1) | (variances == 0)
    x, y, v, n = inputs[right], values[right], variances[right], counts[right]
    likely = np.exp(-0.5 * (x[:, :many] ** 2).sum(1) * (1 - 1 / WIDER**2) / 2)  # half the way
    fit = _logistic if share else _lognormal
    columns, out = basis(x), np.arange(len(x)) % HELD_OUT == 0
    scale = np.sqrt((columns**2).mean(0))
    columns = columns / scale
    best = None
    for penalty in PENALTIES:
        beta = fit(columns[~out], y[~out], v[~out], n[~out], likely[~out], penalty)
        error, sampling = _error(share, columns[out] @ beta, y[out], v[out], n[out], likely[out])
        if best is None or error < best[0]:
            best = error, sampling, penalty
    error, sampling, penalty = best
    beta = fit(columns, y, v, n, likely, penalty) / scale
    return Emulator(share, *unpacked(beta, x.shape[1]), error, sampling)


def _logistic(columns, y, v, n, likely, penalty):
    """Penalised binomial fit; a disturbance of the predictor keeps large counts from ruling."""
    ridge = np.full(columns.shape[1], penalty)
    ridge[0] = 1e-6
    beta = np.zeros(columns.shape[1])
    beta[0] = logit(np.clip(np.average(y, weights=n * likely), LEAST, 1 - LEAST))
    spread = np.full(len(y), y.mean() * (1 - y.mean()))
    for _ in range(2):
        weight = likely * n / (1 + DISTURBED**2 * n * spread)
        beta = _climbed(columns, y, weight, ridge, beta)
        p = expit(columns @ beta)
        spread = p * (1 - p)
    return beta


def _climbed(columns, y, weight, ridge, beta):
    """Newton's steps, halved until the penalised likelihood rises."""

    def value(beta):
        eta = columns @ beta
        return weight @ (y * eta - np.logaddexp(0.0, eta)) - 0.5 * ridge @ beta**2

    here = value(beta)
    for _ in range(ITERATIONS):
        p = expit(columns @ beta)
        slope = columns.T @ (weight * (y - p)) - ridge * beta
        bend = (columns.T * (weight * p * (1 - p))) @ columns + np.diag(ridge)
        step = np.linalg.solve(bend, slope)
        while value(beta + step) < here and np.abs(step).max() > 1e-6:
            step = step / 2
        beta, before = beta + step, here
        here = value(beta)
        if here - before < 1e-3:
            break
    return beta


def _lognormal(columns, y, v, n, likely, penalty):
    ridge = np.full(columns.shape[1], penalty)
    ridge[0] = 1e-6
    weight = likely / (v / y**2 + 0.05**2)
    inner = (columns.T * weight) @ columns + np.diag(ridge)
    return np.linalg.solve(inner, columns.T @ (weight * np.log(y)))


def _error(share, eta, y, v, n, likely):
    """SD of the predictor's error without sampling error; and the size of the latter."""
    if not share:
        noise = v / y**2
        weight = likely / (noise + 0.05**2)
        error = np.average((np.log(y) - eta) ** 2 - noise, weights=weight)
        return np.sqrt(max(error, 0.0)), np.sqrt(np.average(noise, weights=weight))
    p = expit(np.clip(eta, -14, 14))
    spread = p * (1 - p)
    usual = spread / n
    sampling = float(np.sum(likely * v) / np.sum(likely * usual))
    weight = likely / (usual + (DISTURBED * spread) ** 2)
    excess = np.sum(weight * ((y - p) ** 2 - sampling * usual)) / np.sum(weight * spread**2)
    return np.sqrt(max(excess, 0.0)), sampling
