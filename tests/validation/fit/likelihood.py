"""Likelihood of the values of one source, given hyperparameters, over its unknown machine.

A source's latent numbers are standard normal: the machine's deviations, one for each coefficient
that differs between machines, and one for each open input.  Fixed latent points with importance
weights make the marginal likelihood a smooth function of the hyperparameters.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
from scipy.special import expit, gammaln, log_expit, logsumexp

from tests.validation.fit.emulator import FARTHEST
from tests.validation.fit.sources import feature_of, place_of

AT = 0.03  # share at which a discrepancy is stated
LEAST, MOST_RHO = 2e-4, 0.5  # of a share, and of the overdispersion
TAILS = 1.3  # variance of the logarithm of an SD over that of normal values, 1/(2 n)
MEAN_CV = 0.25  # of all spacings, for the sampling error of their mean
BROAD_SHARE, BROAD_SPREAD = 0.024, 0.5  # discrepancies of a source that is an outlier
PRIOR_PART = 0.3  # of the points of a source
WIDENED = 1.2  # variance of the other points over that estimated


def parts_of(measure):
    """A measure as a constant and weights of emulated measures."""
    if measure == "per_spacing.quality":
        return 1.0, {"per_spacing.multiple": -1.0, "per_spacing.miss": -1.0}
    return 0.0, {measure: 1.0}


def needed(source):
    """Emulated measures of each condition of a source."""
    found = {place: {"cells.single": None} for place in source.conditions}
    for one in source.observed:
        for terms in one.sums:
            for _, condition, measure in terms:
                found[one.case, condition].update(dict.fromkeys(parts_of(measure)[1]))
    return {place: tuple(keys) for place, keys in found.items()}


class Predictor:
    """Emulators of a source side by side, as functions of its latent numbers."""

    def __init__(self, source, table, emulators):
        self.source, self.table = source, table
        self.columns = [(p, key) for p, keys in needed(source).items() for key in keys]
        self.k, self.unknowns = len(table.varied), source.inputs
        names = list(self.unknowns)
        many, wide = len(self.columns), self.k + len(names)
        self.constant, self.errors = np.empty(many), np.empty(many)
        self.share = np.empty(many, bool)
        self.linear, self.cubic = np.zeros((wide, many)), np.zeros((wide, many))
        self.square = np.zeros((wide, many, wide))
        for r, (place, key) in enumerate(self.columns):
            one = emulators[(*place, key)]
            own = [*range(self.k), *(self.k + names.index(name) for name in source.opened[place])]
            self.constant[r], self.errors[r], self.share[r] = one.constant, one.error, one.share
            self.linear[own, r], self.cubic[own, r] = one.linear, one.cubic
            self.square[np.ix_(own, [r], own)] = one.square[:, None, :]
        self.single = [r for r, (_, key) in enumerate(self.columns) if key == "cells.single"]
        self.rows = [row for one in source.observed for row in one.rows]
        self.offset, self.weights = self._sums()

    def _sums(self):
        offset, weights = [], []
        for one in self.source.observed:
            for terms in one.sums:
                row, start = np.zeros(len(self.columns)), 0.0
                for weight, condition, measure in terms:
                    constant, parts = parts_of(measure)
                    start += weight * constant
                    for key, part in parts.items():
                        row[self.columns.index(((one.case, condition), key))] += weight * part
                offset.append(start)
                weights.append(row)
        return np.array(offset), np.array(weights).T

    @property
    def size(self):
        """Latent numbers of one machine."""
        return len(self.table.spreading) + len(self.unknowns)

    def features(self, latent):
        """Inputs of the emulators that stem from open inputs, shape (..., inputs)."""
        own = latent[..., len(self.table.spreading) :]
        places = place_of(own)
        columns = [feature_of(u, places[..., k]) for k, u in enumerate(self.unknowns.values())]
        return np.stack(columns, -1) if columns else own

    def values(self, hyper, latent, features):
        """Emulated measures, shape (..., columns), at hyperparameters and latent numbers."""
        scaled = np.broadcast_to(hyper.means, (*latent.shape[:-1], self.k)).copy()
        spreading = self.table.spreading
        scaled[..., spreading] += hyper.spreads[..., spreading] * latent[..., : len(spreading)]
        inputs = np.concatenate([self.table.inputs(scaled), features], -1)
        return self.at(inputs.reshape(-1, inputs.shape[-1])).reshape(*inputs.shape[:-1], -1)

    def at(self, inputs):
        """Emulated measures at rows of inputs."""
        x = np.clip(inputs, -FARTHEST, FARTHEST)
        wide, many = self.linear.shape
        bent = (x @ self.square.reshape(wide, -1)).reshape(len(x), many, wide)
        eta = self.constant + x @ self.linear + x**3 @ self.cubic
        eta += np.matmul(bent, x[:, :, None])[..., 0]
        return np.where(self.share, expit(eta), np.exp(np.minimum(eta, 20.0)))

    def accepted(self, values):
        """Logarithm of the chance that a tester publishes these machines, by draw."""
        best = values[..., self.single].max(-1)
        middle, scale = self.table.accepted, self.table.acceptance_scale
        return log_expit((best - middle) / scale).sum(-1)

    def levels(self, values):
        """Predicted rows from emulated measures, shape (draws, machines, columns)."""
        first, mean = values[:, 0], values.mean(1)
        found = self.offset + first @ self.weights
        if self.source.machines > 1:
            over = np.repeat(
                [one.machines > 1 for one in self.source.observed],
                [len(one.rows) for one in self.source.observed],
            )
            found[:, over] = (self.offset + mean @ self.weights)[:, over]
        return found

    def row_errors(self):
        """Emulators' error of each row, on its logit or logarithm, for one condition."""
        size = np.abs(self.weights)
        return (size * self.errors[:, None]).sum(0) / np.maximum(size.sum(0), 1e-12)


def classes_of(one, shares):
    """Chances of the classes of a count: the rows but the largest of a full set, then the rest."""
    kept = kept_rows(one)
    given = np.clip(shares[..., kept], LEAST, 1 - LEAST)
    rest = np.maximum(1 - given.sum(-1, keepdims=True), LEAST)
    found = np.concatenate([given, rest], -1)
    return found / found.sum(-1, keepdims=True)


def kept_rows(one):
    """Rows of an observation that are classes of their own."""
    rows = list(range(len(one.published)))
    if len(rows) > 1 and abs(sum(one.published) - 1) < 0.01:
        rows.remove(int(np.argmax(one.published)))
    return rows


def overdispersion(one, p, discrepancy, errors, *, rounds=True):
    """Variance of a true share over p (1 - p), beside that of the count.

    Notes
    -----
    The discrepancy is an SD at a share of 3 %.  The error of an emulator and rounding add to it.
    """
    minor = p[..., :-1] * (1 - p[..., :-1])
    rounding = max(u * 10.0**-d for u, d in zip(one.units, one.decimals, strict=True))
    found = np.asarray(discrepancy) ** 2 / (AT * (1 - AT)) / one.machines
    found = found + (errors**2 * minor).mean(-1)
    if rounds:
        found = found + (rounding**2 / 12 / minor).min(-1)
    return np.clip(found, 1e-6, MOST_RHO)


def log_count(counts, p, rho):
    """Logarithm of the chance of counts: multinomial with shares from a Dirichlet distribution."""
    total, n = 1 / rho - 1, counts.sum()
    alpha = p * total[..., None]
    found = gammaln(total) - gammaln(n + total) + gammaln(n + 1)
    each = gammaln(counts + alpha) - gammaln(alpha) - gammaln(counts + 1)
    return found + each.sum(-1)


def relative_variance(one, discrepancy, relative):
    """Variance of the logarithm of a published spread, mean or other number."""
    if one.kind == "mean":
        return 2 * np.asarray(discrepancy) ** 2 / one.machines + MEAN_CV**2 / one.total
    if one.kind == "spread":
        return np.asarray(relative) ** 2 / one.machines + TAILS / (2 * one.total)
    return np.asarray(relative) ** 2 + 0.0


def log_chance(one, predicted, discrepancy, relative, errors):
    """Logarithm of the density of an observation, by draw."""
    if one.kind == "share":
        p = classes_of(one, predicted)
        kept = kept_rows(one)
        rho = overdispersion(one, p, discrepancy, errors[kept])
        shares = np.array([one.published[k] for k in kept])
        rest = max(1 - shares.sum(), 0.0)
        return log_count(np.append(shares, rest) * one.total * one.machines, p, rho)
    published = max(one.published[0], 1e-9)
    rounding = one.units[0] * 10.0 ** -one.decimals[0] / published
    variance = relative_variance(one, discrepancy, relative) + errors[0] ** 2 + rounding**2 / 12
    miss = np.log(published) - np.log(np.maximum(predicted[..., 0], 1e-9))
    return -0.5 * (miss**2 / variance + np.log(2 * math.pi * variance))


class SourceModel:
    """Marginal likelihood of a source's fitted observations as a function of hyperparameters."""

    def __init__(self, predictor, points, seed):
        self.predictor, self.source = predictor, predictor.source
        self.table, self.points = predictor.table, points
        ends = np.cumsum([0, *(len(one.rows) for one in self.source.observed)])
        self.slices = [slice(a, b) for a, b in pairwise(ends)]
        self.errors = predictor.row_errors()
        self.rng = np.random.default_rng(seed)
        self.shape = (self.source.machines, predictor.size)
        self._take(np.zeros(math.prod(self.shape)), np.eye(math.prod(self.shape)), prior=1.0)
        self.broad = self._broad()

    @property
    def fitted(self):
        return [k for k, one in enumerate(self.source.observed) if one.fitted]

    def _take(self, mean, covariance, prior=PRIOR_PART):
        """Take latent points: from the prior, and normal ones about a mean."""
        size = len(mean)
        root = np.linalg.cholesky(covariance)
        z = self.rng.standard_normal((self.points, size))
        near = np.arange(self.points) >= round(prior * self.points)
        z[near] = mean + z[near] @ root.T
        log_prior = -0.5 * (z**2).sum(1)
        apart = np.linalg.solve(root, (z - mean).T)
        log_near = -0.5 * (apart**2).sum(0) - np.log(np.diag(root)).sum()
        if prior < 1:
            mixed = np.logaddexp(np.log(prior) + log_prior, np.log1p(-prior) + log_near)
            self.log_weights = log_prior - mixed
        else:
            self.log_weights = np.zeros(self.points)
        self.latent = z.reshape(self.points, *self.shape)
        self.features = self.predictor.features(self.latent)

    def _broad(self):
        hyper = self.table.read(np.zeros(self.table.size))
        zero = np.zeros((1, *self.shape))
        values = self.predictor.values(hyper, zero, self.predictor.features(zero))
        levels = self.predictor.levels(values)
        return float(self.log_chances(levels, BROAD_SHARE, BROAD_SPREAD).sum(1)[0])

    def log_chances(self, levels, discrepancy, relative):
        """Log densities of the fitted observations, shape (draws, observations)."""
        found = [
            log_chance(
                self.source.observed[k],
                levels[:, self.slices[k]],
                discrepancy,
                relative,
                self.errors[self.slices[k]],
            )
            for k in self.fitted
        ]
        return np.stack(found, -1) if found else np.zeros((len(levels), 0))

    def terms(self, h):
        """Log weights of the points, with and without the likelihood."""
        hyper = self.table.read(h)
        values = self.predictor.values(hyper, self.latent, self.features)
        before = self.log_weights + self.predictor.accepted(values)
        levels = self.predictor.levels(values)
        likely = self.log_chances(levels, hyper.discrepancy, hyper.relative).sum(1)
        return before + likely, before

    def __call__(self, h):
        """Logarithm of the marginal likelihood, with the share of outliers."""
        if not self.fitted:
            return 0.0
        after, before = self.terms(h)
        found = logsumexp(after) - logsumexp(before)
        share = self.table.outlier
        return float(np.logaddexp(np.log1p(-share) + found, np.log(share) + self.broad))

    def adapt(self, h, rounds=3):
        """Move the points to where the source's posterior is; return the effective number."""
        size, effective = math.prod(self.shape), float(self.points)
        for _ in range(rounds if self.fitted else 0):
            weights = _tempered(self.terms(h)[0], size)
            effective = 1 / np.sum(weights**2)
            z = self.latent.reshape(self.points, size)
            mean = weights @ z
            covariance = (z - mean).T @ ((z - mean) * weights[:, None])
            trust = effective / (effective + 2 * size)
            covariance = trust * covariance + (1 - trust) * np.eye(size)
            self._take(trust * mean, WIDENED * covariance)
        return self.effective(h)

    def effective(self, h):
        """Effective number of points at hyperparameters."""
        after, _ = self.terms(h)
        return float(np.exp(2 * logsumexp(after) - logsumexp(2 * after)))

    def outlying(self, h):
        """Chance that the source is an outlier."""
        if not self.fitted:
            return 0.0
        after, before = self.terms(h)
        found, share = logsumexp(after) - logsumexp(before), self.table.outlier
        return float(expit(np.log(share) + self.broad - np.log1p(-share) - found))


def _tempered(log_weights, size):
    """Normalised weights, flattened until a few times as many points count as there are sizes."""
    power = 1.0
    while True:
        weights = np.exp(power * (log_weights - log_weights.max()))
        weights /= weights.sum()
        if 1 / np.sum(weights**2) >= 3 * size or power < 0.1:
            return weights
        power *= 0.8
