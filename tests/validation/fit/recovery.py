"""Whether the fit recovers what its data were made from.

Hyperparameters are drawn from their priors, and sources of the real shape are simulated from them
through the emulators.  One source is left out of each fit.  90 % intervals then hold the true
hyperparameters, and the levels of the source that was left out, in 90 of 100 cases.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tests.validation.fit.likelihood import Predictor
from tests.validation.fit.posterior import Posterior
from tests.validation.fit.predictive import accepted_latent, levels_of, printed

POINTS = 300
DRAWS = 500  # of the hyperparameters; levels need as many
CHANCE = 0.9


@dataclass(frozen=True)
class Recovered:
    """What one fit held.

    Attributes
    ----------
    inside : dict of str to bool
        Whether the interval of each hyperparameter holds the true value.
    levels : list of bool
        Whether the interval of each level of the source left out holds its value.
    """

    inside: dict
    levels: list


def without_errors(emulators):
    """The emulators as if they were exact, as data are made with them."""
    return {key: replace(one, error=0.0) for key, one in emulators.items()}


def simulated(predictor, h, rng):
    """The source with values that one of its machines gives at known hyperparameters."""
    hypers = predictor.table.read(h[None])
    _, values = accepted_latent(predictor, hypers, rng)
    rows, made, start = predictor.levels(values), [], 0
    for one in predictor.source.observed:
        own = rows[:, start : start + len(one.rows)]
        start += len(one.rows)
        drawn = printed(one, own, hypers, rng)[0] * one.units
        made.append(replace(one, published=tuple(drawn.tolist())))
    return replace(predictor.source, observed=tuple(made))


def recover(sources, table, emulators, number, fit_table=None):
    """One data set from known hyperparameters, and a fit without one of its sources.

    Parameters
    ----------
    sources : list of Source
        Sources whose shape the data have.
    table : Table
        Table from whose priors the hyperparameters are drawn.
    emulators : dict
        Emulators by condition and measure.
    number : int
        Number of the data set; it chooses the random numbers, and the source to leave out.
    fit_table : Table, optional
        Table of the fit, for a negative control.

    Returns
    -------
    Recovered
    """
    rng = np.random.default_rng([11, number])
    truth, exact = rng.standard_normal(table.size), without_errors(emulators)
    fitted = [one for one in sources if one.fitted]
    made = [simulated(Predictor(one, table, exact), truth, rng) for one in fitted]
    own = fit_table or table
    predictors = [Predictor(one, own, exact) for one in made]
    left = predictors.pop(number % len(predictors))
    found = Posterior(predictors, own, points=POINTS, seed=number)
    found.fit(rounds=2, iterations=12)
    h = found.draws(DRAWS, seed=number, proposed=DRAWS).h
    inside = _inside_truth(table, own, truth, h)
    levels = [_holds(level.draws.ravel(), level.published) for level in levels_of(left, h, number)]
    return Recovered(inside, levels)


def _inside_truth(table, own, truth, h):
    """Whether intervals hold the true hyperparameters, by name."""
    true = dict(zip(table.names, truth, strict=True))
    return {name: _holds(column, true[name]) for name, column in zip(own.names, h.T, strict=True)}


def _holds(draws, value):
    low, high = np.quantile(draws, [(1 - CHANCE) / 2, (1 + CHANCE) / 2], method="weibull")
    return bool(low <= value <= high)


def coverage(results):
    """Shares inside by kind: means, spreads and discrepancies, and levels of the source left out.

    Returns
    -------
    dict of str to (float, int)
        Share and number of what was judged.
    """
    kinds = {"means": [], "spreads": [], "discrepancies": [], "levels": []}
    for one in results:
        for name, inside in one.inside.items():
            kind = "spreads" if name.startswith("spread of") else "means"
            kinds["discrepancies" if "discrepancy" in name else kind].append(inside)
        kinds["levels"] += one.levels
    return {kind: (float(np.mean(x)), len(x)) for kind, x in kinds.items() if x}
