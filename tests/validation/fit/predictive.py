"""Draws of what an unknown machine gives, and of what a source that was left out would print."""

from __future__ import annotations

import numpy as np
from scipy.special import softmax

from metersim.measures.indices import BY_KEY
from metersim.questions.evidence.printed import NO_UNIT, UNITS
from metersim.questions.evidence.score import LEAST_OTHERS, constant
from metersim.questions.shared.unseen import BLOCKS, DRAWS, Level
from tests.validation.fit.likelihood import (
    Predictor,
    classes_of,
    kept_rows,
    overdispersion,
    relative_variance,
)
from tests.validation.fit.runs import BENCH
from tests.validation.fit.sources import Observed, Source

CANDIDATES = 40  # machines of a draw, one of which is taken by its acceptance
MODEL_PART = 0.7  # of the draws for a crop without a source


def taken(log_weights, rng):
    """Index of one candidate for each draw, by its weight."""
    weights = softmax(log_weights, axis=1).cumsum(1)
    place = rng.random((len(weights), 1)) * weights[:, -1:]
    return (weights < place).sum(1).clip(max=weights.shape[1] - 1)


def accepted_latent(predictor, hypers, rng):
    """Latent numbers of one accepted meter for each draw of the hyperparameters.

    Returns
    -------
    ndarray, shape (draws, machines, latent)
        Latent numbers.
    ndarray, shape (draws, machines, columns)
        Emulated measures.
    """
    many, machines = len(hypers.means), predictor.source.machines
    latent = rng.standard_normal((many, CANDIDATES, machines, predictor.size))
    wide = type(hypers)(
        hypers.means[:, None, None],
        hypers.spreads[:, None, None],
        hypers.discrepancy,
        hypers.relative,
    )
    values = predictor.values(wide, latent, predictor.features(latent))
    index = taken(predictor.accepted(values), rng)
    return latent[np.arange(many), index], values[np.arange(many), index]


def bench_predictor(table, emulators):
    """Predictor of the default bench, which has no open inputs."""
    single = ((1.0, BENCH[1], "cells.single"),)
    one = Observed(BENCH[0], ("single",), (single,), (1.0,), (0,), (0.01,), "share", 250.0)
    return Predictor(Source("bench", (one,), {BENCH: None}, {BENCH: {}}, 1), table, emulators)


def machines(predictor, h, seed=1):
    """Coefficients of unknown machines on the scale of the emulators' inputs, one for each draw.

    Parameters
    ----------
    predictor : Predictor
        Of the default bench, on which the machines are accepted.
    h : ndarray, shape (draws, hyperparameters)
        Draws of the hyperparameters.

    Returns
    -------
    ndarray, shape (draws, coefficients)
    """
    table, rng = predictor.table, np.random.default_rng([seed, 5])
    hypers = table.read(h)
    latent, _ = accepted_latent(predictor, hypers, rng)
    scaled = hypers.means.copy()
    scaled[:, table.spreading] += hypers.spreads[:, table.spreading] * latent[:, 0]
    return table.inputs(scaled)


OUTCOME = 1.5  # weight of what a machine shows, over that of an input


def herded(points, shown):
    """Order of points in which the first few always represent all.

    Each next point is the one that brings the energy distance to all points down most.

    Parameters
    ----------
    points : ndarray, shape (n, k)
        Inputs of machines.
    shown : ndarray, shape (n, j)
        What they show, which a few points must represent before all.

    Returns
    -------
    ndarray of int, shape (n,)

    Notes
    -----
    Source: the energy distance of Székely & Rizzo, from memory; greedy choice is ours.
    """
    z = np.column_stack([whitened(points), OUTCOME * whitened(shown)])
    apart = np.sqrt(((z[:, None] - z[None]) ** 2).sum(-1))
    all_over, order, chosen = apart.mean(1), [], np.zeros(len(z))
    left = np.ones(len(z), bool)
    for n in range(len(z)):
        gain = np.where(left, (n + 1) * all_over - chosen, np.inf)
        k = int(np.argmin(gain))
        order.append(k)
        left[k] = False
        chosen += apart[k]
    return np.array(order)


def whitened(points):
    """Points without correlations, each column with an SD of 1."""
    spread = points.std(0)
    z = (points - points.mean(0)) / np.where(spread > 0, spread, 1.0)
    values, vectors = np.linalg.eigh(np.atleast_2d(np.cov(z.T)) + 1e-9 * np.eye(z.shape[1]))
    return z @ vectors / np.sqrt(values.clip(1e-6))


def printed(one, predicted, hyper, rng):
    """Draws of the values that a source prints of one observation, in its units.

    Parameters
    ----------
    one : Observed
        Observation.
    predicted : ndarray, shape (draws, rows)
        Predicted rows.
    hyper : Hyper
        Hyperparameters of the draws, for the discrepancy.

    Returns
    -------
    ndarray, shape (draws, rows)
    """
    if one.kind == "share":
        kept = kept_rows(one)
        p = classes_of(one, predicted)
        rho = overdispersion(one, p, hyper.discrepancy, np.zeros(len(kept)), rounds=False)
        found = np.empty_like(predicted)
        drawn = drawn_shares(p, rho, int(one.total * one.machines), rng)
        found[:, kept] = drawn[:, :-1]
        for k in set(range(predicted.shape[1])) - set(kept):
            found[:, k] = drawn[:, -1]
    else:
        sd = np.sqrt(relative_variance(one, hyper.discrepancy, hyper.relative))
        found = predicted * np.exp(sd * rng.standard_normal(len(predicted)))[:, None]
    columns = zip(found.T, one.units, one.decimals, strict=True)
    return np.column_stack([np.round(x / unit, digits) for x, unit, digits in columns])


def drawn_shares(p, rho, total, rng):
    """Counted shares: a multinomial count of shares from a Dirichlet distribution."""
    gammas = rng.standard_gamma(p * (1 / rho - 1)[:, None]).clip(1e-12)
    return rng.multinomial(total, gammas / gammas.sum(1, keepdims=True)) / total


def levels_of(predictor, h, seed=1):
    """Levels of a source with predictive draws, from draws of the hyperparameters.

    Parameters
    ----------
    predictor : Predictor
        Emulators of the source.
    h : ndarray, shape (BLOCKS * DRAWS, hyperparameters)
        Draws of the hyperparameters, from a fit without the source.

    Returns
    -------
    list of Level
    """
    rng, hypers = np.random.default_rng([seed, 9]), predictor.table.read(h)
    _, values = accepted_latent(predictor, hypers, rng)
    rows, found, start = predictor.levels(values), [], 0
    for one in predictor.source.observed:
        own = rows[:, start : start + len(one.rows)]
        start += len(one.rows)
        draws = printed(one, own, hypers, rng).T.reshape(-1, BLOCKS, DRAWS)
        found += [_level(predictor.source, one, k, each) for k, each in enumerate(draws)]
    return found


def _level(source, one, k, draws):
    measure = one.sums[k][0][2]
    kind = BY_KEY[measure].kind if measure in BY_KEY else measure
    return Level(
        laboratory=source.name,
        case=one.case,
        row=one.rows[k],
        measure=measure,
        published=round(one.published[k] / one.units[k], one.decimals[k]),
        unit=UNITS.get(kind, NO_UNIT)[0],
        spacings=int(one.count),
        group=one.group,
        held_back=one.held_back,
        draws=draws,
    )


def mixed(level, levels, seed=1):
    """A level with a part of its draws from the plain distribution of other sources' values.

    For a crop without a source: the model and what is published of any crop, 70 to 30.
    """
    others = {}
    for one in levels:
        apart = one.laboratory != level.laboratory and not one.held_back
        if one.measure == level.measure and apart:
            others.setdefault(one.laboratory, []).append(one.published)
    if len(others) < LEAST_OTHERS:
        return level
    rng = np.random.default_rng([seed, 13])
    plain = rng.choice(constant(others, level.unit, level.spacings), level.draws.shape)
    draws = np.where(rng.random(level.draws.shape) < MODEL_PART, level.draws, plain)
    return Level(**vars(level) | {"draws": draws})
