"""Draws of what a source would print: a prediction with the sampling error of its count.

A run is longer than a published test, and its shares come with the error of another length.  So
the shares of a draw are counted anew in as many spacings as the source counted.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from metersim.measures.indices import BY_KEY
from metersim.measures.intervals import jackknife
from metersim.questions.evidence.predictions import COUNTED, Predicted
from metersim.questions.shared.discrepancy import SPREADS, widening
from metersim.questions.shared.statements import Row, Term
from metersim.run.streams import Streams

AT = 0.03  # share at which a discrepancy is stated
MEAN_BY_SHARES = math.sqrt(2)  # a mean errs by the errors of skips and of doubles together
SPACINGS = 250  # assumption where a source does not state its count; ISO 7256-1 takes so many
TESTS = (  # shares that are counted together
    ("per_spacing.multiple", "per_spacing.quality", "per_spacing.miss"),
    ("per_place.multiple", "per_place.single", "per_place.miss"),
    ("cells.skip", "cells.single", "cells.double", "cells.triple"),
)
UNITS = {  # unit of published values by kind of measure: symbol and value in SI
    "share": ("%", 0.01),
    "length": ("cm", 0.01),
    "time": ("ms", 0.001),
    "vacuum": ("kPa", 1000.0),
}
NO_UNIT = ("", 1.0)

Floats = NDArray[np.float64]


def unit_of(row: Row) -> tuple[str, float]:
    """Symbol and value in SI of the unit of a row."""
    kind = BY_KEY[row.measure].kind if row.measure in BY_KEY else row.measure
    return UNITS.get(kind, NO_UNIT)


def spacings_of(row: Row) -> int:
    """Spacings that a source counted for a number, or the usual number."""
    return int(row.stated.get("spacings", SPACINGS))


def decimals(row: Row) -> int:
    """Decimals of a published number as printed."""
    return len(str(row.stated["published"]).partition(".")[2])


def spread_shares(shares: ArrayLike, discrepancy: ArrayLike, rng: np.random.Generator) -> Floats:
    """Shares of a source that differs from the model by a discrepancy.

    Parameters
    ----------
    shares : array_like, shape (draws, k)
        Shares that add up to 1. [1]
    discrepancy : array_like
        SD at a share of 3 %, one number or one for each draw. [1]
    rng : numpy.random.Generator
        Generator of the differences.

    Returns
    -------
    ndarray, shape (draws, k)
        Shares that add up to 1. [1]

    Notes
    -----
    assumption: a Dirichlet distribution.  The variance of each share is ``discrepancy^2 p (1 - p) /
    (0.03 * 0.97)``, so the sum of its parameters is ``0.03 * 0.97 / discrepancy^2 - 1``.
    """
    p = np.asarray(shares, float)
    sds = np.broadcast_to(np.asarray(discrepancy, float), len(p))
    found = p.copy()
    apart = sds > 0
    total = np.maximum(AT * (1 - AT) / sds[apart] ** 2 - 1, 1e-3)
    drawn = rng.gamma(total[:, None] * p[apart])
    whole = drawn.sum(axis=1, keepdims=True)
    found[apart] = np.where(whole > 0, drawn / np.where(whole > 0, whole, 1.0), p[apart])
    return found


def counted(
    shares: ArrayLike, count: int, rng: np.random.Generator, discrepancy: ArrayLike = 0.0
) -> Floats:
    """Shares that a count of so many finds, one count for each draw.

    Parameters
    ----------
    shares : array_like, shape (draws, k)
        Expected shares of classes that exclude one another; what they lack to 1 is a class of its
        own. [1]
    count : int
        Number of spacings or cells.
    rng : numpy.random.Generator
        Generator of the counts.
    discrepancy : array_like
        SD of the model's error at a share of 3 %, as for `spread_shares`. [1]

    Returns
    -------
    ndarray, shape (draws, k)
        Counted shares. [1]
    """
    given = np.clip(np.asarray(shares, float), 0.0, 1.0)
    rest = np.maximum(1 - given.sum(axis=1, keepdims=True), 0.0)
    whole = np.hstack([given, rest])
    whole = spread_shares(whole / whole.sum(axis=1, keepdims=True), discrepancy, rng)
    found: Floats = rng.multinomial(count, whole) / count
    return found[:, :-1]


def remeasured(values: Floats, lengths: ArrayLike, count: int, rng: np.random.Generator) -> Floats:
    """Values of runs with the sampling error of so many spacings in place of their own.

    Parameters
    ----------
    values : ndarray, shape (draws, 1 + stretches)
        Positive values of whole runs, then without each stretch in turn.
    lengths : array_like, shape (draws,)
        Spacings of the runs.
    count : int
        Spacings of the source.
    rng : numpy.random.Generator
        Generator of the added error.

    Returns
    -------
    ndarray, shape (draws,)
        Values; those of runs with fewer spacings stay as they are.

    Notes
    -----
    assumption: the error is lognormal, and its variance falls as ``1/spacings``.
    """
    whole = values[:, 0]
    added = np.maximum(np.asarray(lengths, float) / count - 1, 0.0)
    own = np.array([jackknife(one[1:]) for one in values]) * added
    relative = np.sqrt(np.divide(own, whole**2, out=np.zeros_like(whole), where=whole > 0))
    found: Floats = whole * np.exp(relative * rng.standard_normal(len(whole)))
    return found


def printed(
    made: Predicted,
    row: Row,
    seed: int,
    *,
    discrepancy: ArrayLike = 0.0,
    relative: ArrayLike = 0.0,
) -> Floats:
    """Draws of what a source would print in a row, rounded as it rounds.

    Parameters
    ----------
    made : Predicted
        Prediction of the case.
    row : Row
        A level of the case.
    seed : int
        Random seed of the counts.  Levels of one test share their count.
    discrepancy, relative : array_like
        Errors of the model, one number or one for each draw: SD at a share of 3 %, and relative SD
        of other measures. [1]  That of shares is larger for a crop that was not fitted.

    Returns
    -------
    ndarray, shape (draws,)
        Draws, in the unit of the row; nan where a run has no value.

    Notes
    -----
    A number that is a mean over so many machines is the mean of as many draws of the model.
    """
    _, unit = unit_of(row)
    count = spacings_of(row)
    errors = discrepancy, relative
    each = [term.weight * _term(made, term, count, seed, *errors) for term in row.terms]
    total = np.sum(each, axis=0) / unit
    apart = len(total) / made.case.machines
    drawn = [np.roll(total, round(k * apart)) for k in range(made.case.machines)]
    found: Floats = np.mean(drawn, axis=0)
    return found.round(decimals(row))


def _term(
    made: Predicted,
    term: Term,
    count: int,
    seed: int,
    discrepancy: ArrayLike,
    relative: ArrayLike,
) -> Floats:
    """Draws of one measure of a condition, in SI."""
    own, key = made.values[term.condition], term.measure
    if key not in BY_KEY:
        return own[key][:, 0]
    part = made.case.conditions[term.condition].parts[0]
    discrepancy = widening(part.posterior, part.lot.crop) * np.asarray(discrepancy, float)
    where = f"printed {made.case.name} {term.condition} {count}"
    if BY_KEY[key].function is not None or BY_KEY[key].kind != "share":
        lengths = own[COUNTED][:, 0] * len(made.case.conditions[term.condition].parts)
        streams, name = Streams(seed), made.case.name
        whole = remeasured(own[key], lengths, count, streams.generator(f"{where} {key}"))
        error = streams.generator(f"printed {name} {key}").standard_normal(len(whole))
        size = relative if key in SPREADS else MEAN_BY_SHARES * discrepancy
        return whole * np.exp(np.asarray(size, float) * error)
    test = next((test for test in TESTS if key in test), (key,))
    together = [name for name in test if name in own]
    shares = np.column_stack([own[name][:, 0] for name in together])
    valid = np.isfinite(shares).all(axis=1)
    found = np.full(len(shares), np.nan)
    rng = Streams(seed).generator(f"{where} {test[0]}")
    errors = np.broadcast_to(discrepancy, len(shares))[valid]
    found[valid] = counted(shares[valid], count, rng, errors)[:, together.index(key)]
    return found
