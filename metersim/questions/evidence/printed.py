"""Draws of what a source would print: a prediction with the sampling error of its count.

A run is longer than a published test, and its shares come with the error of another length.  So
the shares of a draw are counted anew in as many spacings as the source counted.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from metersim.measures.indices import BY_KEY
from metersim.measures.intervals import jackknife
from metersim.questions.evidence.predictions import COUNTED, Predicted
from metersim.questions.shared.statements import Row, Term
from metersim.run.streams import Streams

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


def counted(shares: ArrayLike, count: int, rng: np.random.Generator) -> Floats:
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

    Returns
    -------
    ndarray, shape (draws, k)
        Counted shares. [1]
    """
    given = np.clip(np.asarray(shares, float), 0.0, 1.0)
    rest = np.maximum(1 - given.sum(axis=1, keepdims=True), 0.0)
    whole = np.hstack([given, rest])
    found: Floats = rng.multinomial(count, whole / whole.sum(axis=1, keepdims=True)) / count
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


def printed(made: Predicted, row: Row, seed: int) -> Floats:
    """Draws of what a source would print in a row, rounded as it rounds.

    Parameters
    ----------
    made : Predicted
        Prediction of the case.
    row : Row
        A level of the case.
    seed : int
        Random seed of the counts.  Levels of one test share their count.

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
    each = [term.weight * _term(made, term, count, seed) for term in row.terms]
    total = np.sum(each, axis=0) / unit
    apart = len(total) / made.case.machines
    drawn = [np.roll(total, round(k * apart)) for k in range(made.case.machines)]
    return np.round(np.mean(drawn, axis=0), decimals(row))


def _term(made: Predicted, term: Term, count: int, seed: int) -> Floats:
    """Draws of one measure of a condition, in SI."""
    own, key = made.values[term.condition], term.measure
    if key not in BY_KEY:
        return own[key][:, 0]
    where = f"printed {made.case.name} {term.condition} {count}"
    if BY_KEY[key].function is not None or BY_KEY[key].kind != "share":
        lengths = own[COUNTED][:, 0] * len(made.case.conditions[term.condition].parts)
        return remeasured(own[key], lengths, count, Streams(seed).generator(f"{where} {key}"))
    test = next((test for test in TESTS if key in test), (key,))
    together = [name for name in test if name in own]
    shares = np.column_stack([own[name][:, 0] for name in together])
    valid = np.isfinite(shares).all(axis=1)
    found = np.full(len(shares), np.nan)
    rng = Streams(seed).generator(f"{where} {test[0]}")
    found[valid] = counted(shares[valid], count, rng)[:, together.index(key)]
    return found
