"""Draws by index as `metersim.run.streams` gives them, for one number at a time."""

from __future__ import annotations

from typing import Any

import numpy as np

from metersim.distributions.normal import ndtri
from metersim.run import streams
from metersim.run.draws import MOST_SEEDS, TURNS

STEP, HALF = np.uint64(streams.STEP), np.uint64(streams.HALF)
((SHIFT, FACTOR), (NEXT_SHIFT, NEXT_FACTOR)) = (
    tuple(map(np.uint64, pair)) for pair in streams.MIXES
)
LAST, LOW_BITS, UPPER_BITS = np.uint64(31), np.uint64(12), np.uint64(38)


def index_of(first: Any, cell: Any, nth: Any, turn: Any) -> Any:
    """Index of a draw, by first cell of the block, cell of the block, seed in cell and turn."""
    return np.uint64(((first + cell) * MOST_SEEDS + nth) * TURNS + turn)


def mixed(key: Any, index: Any) -> Any:
    """64 random bits of a cause, by index."""
    word = np.uint64(index) * STEP + np.uint64(key)
    word = (word ^ (word >> SHIFT)) * FACTOR
    word = (word ^ (word >> NEXT_SHIFT)) * NEXT_FACTOR
    return word ^ (word >> LAST)


def uniform(key: Any, index: Any) -> Any:
    """A uniform number of a cause."""
    return (np.float64(mixed(key, index) >> LOW_BITS) + 0.5) * 2.0**-52


def pair(key: Any, index: Any) -> Any:
    """Two uniform numbers of a cause, of half the digits each."""
    word = mixed(key, index)
    upper, lower = word >> UPPER_BITS, (word >> LOW_BITS) & HALF
    return (np.float64(upper) + 0.5) * 2.0**-26, (np.float64(lower) + 0.5) * 2.0**-26


def exponential(key: Any, index: Any) -> Any:
    """A standard exponential number of a cause."""
    return -np.log(uniform(key, index))


def normal(key: Any, index: Any) -> Any:
    """A standard normal number of a cause."""
    return ndtri(uniform(key, index))
