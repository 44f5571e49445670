"""One named stream of random numbers per cause.

Every cause of chance draws from its own generator, so that moving one setting or switching one
cause off leaves all other luck as it was.  What is drawn for many cells is read in blocks, each
of which can be had without those before it; what is drawn for few is worked out from its index.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from typing import Any

import numpy as np

BETWEEN_BLOCKS = 0x9E3779B97F4A7C15F39CC0605CEDC835  # draws, as numpy's PCG64.jumped steps
WORD = (1 << 64) - 1
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
    """

    def __init__(self, seed: int, replicate: int = 0) -> None:
        for name, value in (("seed", seed), ("replicate", replicate)):
            if isinstance(value, bool) or not isinstance(value, int) or value < 0:
                raise ValueError(f"{name} is {value!r}; it must be a whole number, 0 or more")
        self.seed = seed
        self.replicate = replicate
        root = np.random.SeedSequence(seed, spawn_key=(replicate,))
        self._bits = np.random.PCG64(root)
        self._start = self._bits.state
        self._generator = np.random.Generator(self._bits)
        self._word = int(root.generate_state(1, np.uint64)[0])

    def generator(self, cause: str) -> np.random.Generator:
        """A fresh generator of the stream of a cause, at its start."""
        key = (self.replicate, zlib.crc32(cause.encode()))
        return np.random.Generator(
            np.random.PCG64(np.random.SeedSequence(self.seed, spawn_key=key))
        )

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
        """Uniform numbers of causes by index, whatever else was asked for.

        For causes that concern few cells, which would waste most of a block.

        Parameters
        ----------
        cause : str, or sequence of str
            Name of the cause; several give one row each.
        index : int or ndarray of uint64
            Which numbers, 0 or more; an array when there are several causes.

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
            key = self._key(cause)
        else:
            key = np.array([self._key(one) for one in cause], dtype=np.uint64)
            key = key.reshape(-1, *(1 for _ in index.shape))
        return _mixed(index * STEP + key)

    def _key(self, cause: str) -> int:
        word = self._word + zlib.crc32(cause.encode()) * STEP & WORD
        return int(_mixed(word) * 2**52) << 12


def _mixed(word: Any) -> Any:
    """A uniform number between 0 and 1 of a word of 64 bits: Python's whole number or arrays."""
    for shift, factor in MIXES:
        if isinstance(word, int):
            word &= WORD
        word ^= word >> shift
        word *= factor
    if isinstance(word, int):
        word &= WORD
    word ^= word >> 31
    return ((word >> 12) + 0.5) * 2.0**-52
