"""Posterior of the hyperparameters: its mode, draws of it, and the same without each source."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize

from tests.validation.fit.likelihood import SourceModel

STEP = 0.02  # of a hyperparameter in prior SDs, for slopes
BEND = 0.15  # for curvature
WIDER = 1.15  # SD of proposed draws over that of the normal form


@dataclass(frozen=True, eq=False)
class Draws:
    """Draws of hyperparameters in prior SDs, of equal weight.

    Attributes
    ----------
    h : ndarray, shape (draws, hyperparameters)
    effective : float
        Effective number of the draws that they were taken from.
    """

    h: np.ndarray
    effective: float


class Posterior:
    """Posterior of the hyperparameters, from the marginal likelihoods of sources."""

    def __init__(self, predictors, table, *, points=2000, seed=1):
        self.table = table
        self.sources = [
            SourceModel(one, points, [seed, k])
            for k, one in enumerate(predictors)
            if one.source.fitted
        ]
        self.names = [one.source.name for one in self.sources]
        self.mode = np.zeros(table.size)
        self.bends = None  # curvature by source

    def by_source(self, h):
        """Log likelihoods of the sources."""
        return np.array([one(h) for one in self.sources])

    def value(self, h, without=None):
        """Negative log posterior, perhaps without a source."""
        found = sum(one(h) for k, one in enumerate(self.sources) if k != without)
        return 0.5 * float(h @ h) - found

    def slope(self, h, without=None):
        """Derivatives of `value`, by differences."""
        ahead = [self.value(x, without) for x in h + STEP * np.eye(len(h))]
        behind = [self.value(x, without) for x in h - STEP * np.eye(len(h))]
        return (np.array(ahead) - behind) / (2 * STEP)

    def adapt(self):
        """Move the points of all sources to the mode; return their effective numbers."""
        return {one.source.name: one.adapt(self.mode) for one in self.sources}

    def climb(self, start=None, *, without=None, iterations=25):
        """The mode by BFGS, perhaps without a source."""
        start = self.mode if start is None else start
        found = minimize(
            self.value,
            start,
            args=(without,),
            jac=self.slope,
            method="BFGS",
            options={"maxiter": iterations, "gtol": 0.02},
        )
        return found.x

    def fit(self, *, rounds=2, iterations=25):
        """Find the mode, with points that follow it; return the points' effective numbers."""
        effective = {}
        for _ in range(rounds):
            effective = self.adapt()
            self.mode = self.climb(iterations=iterations)
        self.bends = self._bends()
        return effective

    def _bends(self):
        """Second derivatives of the sources' log likelihoods at the mode."""
        size, eye = self.table.size, BEND * np.eye(self.table.size)
        here = self.by_source(self.mode)
        ahead = [self.by_source(self.mode + e) for e in eye]
        behind = [self.by_source(self.mode - e) for e in eye]
        found = np.empty((len(self.sources), size, size))
        for i in range(size):
            found[:, i, i] = (ahead[i] - 2 * here + behind[i]) / BEND**2
            for j in range(i):
                both = self.by_source(self.mode + eye[i] + eye[j])
                cross = (both - ahead[i] - ahead[j] + here) / BEND**2
                found[:, i, j] = found[:, j, i] = cross
        return found

    def covariance(self, without=None):
        """Covariance of the normal form at the mode, never wider than twice the prior."""
        kept = [k for k in range(len(self.sources)) if k != without]
        values, vectors = np.linalg.eigh(np.eye(self.table.size) - self.bends[kept].sum(0))
        return (vectors / np.maximum(values, 0.5)) @ vectors.T

    def without(self, name, iterations=6):
        """The mode without a source, from a Newton step and BFGS."""
        if name not in self.names:
            return self.mode
        k = self.names.index(name)
        step = -self.covariance(k) @ self.slope(self.mode, k)
        start = self.mode + step * min(1.0, 1.5 / max(np.linalg.norm(step), 1e-9))
        if self.value(start, k) > self.value(self.mode, k):
            start = self.mode
        return self.climb(start, without=k, iterations=iterations)

    def draws(self, many, *, mode=None, without=None, seed=1, proposed=None):
        """Draws of the hyperparameters, weighted from the normal form at a mode.

        Parameters
        ----------
        many : int
            Number of draws.
        mode : ndarray, optional
            Mode; by default that of all sources.
        without : str, optional
            Source that is left out.
        proposed : int, optional
            Number of proposals; twice `many` by default.
        """
        rng = np.random.default_rng([seed, 77])
        mode = self.mode if mode is None else mode
        k = self.names.index(without) if without in self.names else None
        root = np.linalg.cholesky(self.covariance(k)) * WIDER
        z = rng.standard_normal((proposed or 2 * many, self.table.size))
        proposals = mode + z @ root.T
        target = np.array([-self.value(h, k) for h in proposals])
        weights = target + 0.5 * (z**2).sum(1)
        weights = np.exp(weights - weights.max())
        weights = np.minimum(
            weights, weights.mean() * np.sqrt(len(weights))
        )  # no single draw rules
        weights /= weights.sum()
        taken = np.searchsorted(np.cumsum(weights), (np.arange(many) + rng.random()) / many)
        order = rng.permutation(many)
        picked = proposals[taken.clip(max=len(weights) - 1)][order]
        return Draws(picked, float(1 / np.sum(weights**2)))
