"""Random streams: one for each cause, named, so that no other draw moves them."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

BETWEEN_BLOCKS = 0x9E3779B97F4A7C15F39CC0605CEDC835  # numbers; the step of PCG64.jumped
WORD = (1 << 64) - 1
HALF = (1 << 26) - 1
STEP = 0x9E3779B97F4A7C15
MIXES = ((30, 0xBF58476D1CE4E5B9), (27, 0x94D049BB133111EB))


class Streams:
    """The streams of one run.

    Parameters
    ----------
    seed : int
        Seed of the run, 0 or more.
    replicate : int
        Number of the replicate, 0 or more.
    row : int
        Number of the row of a machine; 0 for a meter alone.
    """

    def __init__(self, seed: int, replicate: int = 0, row: int = 0) -> None:
        for name, value in (("seed", seed), ("replicate", replicate), ("row", row)):
            if isinstance(value, bool) or not isinstance(value, int) or value < 0:
                raise ValueError(f"{name} is {value!r}; it must be a whole number, 0 or more")
        self.seed = seed
        self.replicate = replicate
        self._place = (replicate, row) if row else (replicate,)
        root = np.random.SeedSequence(seed, spawn_key=self._place)
        self._bits = np.random.PCG64(root)
        self._start = self._bits.state
        self._generator = np.random.Generator(self._bits)
        self._word = int(root.generate_state(1, np.uint64)[0])
        self._keys: dict[str, int] = {}

    def generator(self, cause: str) -> np.random.Generator:
        """A fresh generator of the stream of a cause, at its start."""
        key = (*self._place, zlib.crc32(cause.encode()))
        return np.random.Generator(
            np.random.PCG64(np.random.SeedSequence(self.seed, spawn_key=key))
        )

    def stratified(self, cause: str, count: int) -> NDArray[np.float64]:
        """Uniform numbers of a cause: one in each of `count` equal parts, in random order.

        Columns of several causes make a Latin hypercube.  A column does not depend on the other
        columns, so studies that share a cause and a seed share its draws.

        Parameters
        ----------
        cause : str
            Name of the cause.
        count : int
            Number of draws, 1 or more.

        Returns
        -------
        ndarray, shape (count,)
            From 0 to 1; rounding may give 1. [1]

        Notes
        -----
        Source: mckay1979.
        """
        rng = self.generator(cause)
        drawn: NDArray[np.float64] = (rng.permutation(count) + rng.random(count)) / count
        return drawn

    def block(self, cause: str, number: int) -> np.random.Generator:
        """The generator at the start of a block of a cause's numbers.

        Draw from it at once: it is the same object for all blocks and causes, which lie far
        apart in one long period.
        """
        far = (zlib.crc32(cause.encode()) << 32) + number + 1
        self._bits.state = self._start
        self._bits.advance(far * BETWEEN_BLOCKS % (1 << 128))
        return self._generator

    def uniform(self, cause: str | Sequence[str], index: Any) -> Any:
        """Uniform numbers of causes by index.

        A number does not depend on what else was drawn.  This is for causes that concern few
        cells: a block would draw for all of them.

        Parameters
        ----------
        cause : str, or sequence of str
            Name of the cause; several give one row each.
        index : int or ndarray of uint64
            Index of each number, 0 or more; an array if there are several causes.

        Returns
        -------
        float or ndarray
            Between 0 and 1, neither of them included. [1]

        Notes
        -----
        Source: steele2014 (SplitMix64, whose state after n steps is known in closed form).
        """
        key: Any
        if isinstance(cause, str):
            key = self.key(cause)
        else:
            key = np.array([self.key(one) for one in cause], dtype=np.uint64)
            key = key.reshape(-1, *(1 for _ in index.shape))
        return ((_mixed(index * STEP + key) >> 12) + 0.5) * 2.0**-52

    def pair(self, cause: str, index: Any) -> tuple[Any, Any]:
        """Two uniform numbers of a cause by index, of half the digits each."""
        word = _mixed(index * STEP + self.key(cause))
        return ((word >> 38) + 0.5) * 2.0**-26, ((word >> 12 & HALF) + 0.5) * 2.0**-26

    def key(self, cause: str) -> int:
        """What the numbers of a cause by index begin from."""
        if cause not in self._keys:
            self._keys[cause] = int(_mixed(self._word + zlib.crc32(cause.encode()) * STEP))
        return self._keys[cause]


def _mixed(word: Any) -> Any:
    """Mix a word, or each word of an array, to 64 random bits."""
    for shift, factor in MIXES:
        if isinstance(word, int):
            word &= WORD
        word ^= word >> shift
        word *= factor
    if isinstance(word, int):
        word &= WORD
    return word ^ word >> 31
