"""One named stream of random numbers per cause.

Every cause of chance draws from its own generator, so that moving one setting or switching one
cause off leaves all other luck as it was.  What is drawn for many cells is read in blocks, each
of which can be had without those before it; what is drawn for few is worked out from its index.
"""

from __future__ import annotations

import zlib
from typing import Any

import numpy as np

BETWEEN_BLOCKS = 0x9E3779B97F4A7C15F39CC0605CEDC835  # draws, as numpy's PCG64.jumped steps
WORD = (1 << 64) - 1
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
        self._opened: dict[str, tuple[np.random.Generator, np.random.PCG64, Any]] = {}
        self._keys: dict[str, int] = {}

    def _sequence(self, cause: str) -> np.random.SeedSequence:
        key = (self.replicate, zlib.crc32(cause.encode()))
        return np.random.SeedSequence(self.seed, spawn_key=key)

    def generator(self, cause: str) -> np.random.Generator:
        """A fresh generator of the stream of a cause, at its start."""
        return np.random.Generator(np.random.PCG64(self._sequence(cause)))

    def block(self, cause: str, number: int) -> np.random.Generator:
        """The generator of a cause at the start of a block of its numbers.

        Draw from it at once: it is the same object for all blocks of a cause.
        """
        if cause not in self._opened:
            bits = np.random.PCG64(self._sequence(cause))
            self._opened[cause] = np.random.Generator(bits), bits, bits.state
        generator, bits, start = self._opened[cause]
        bits.state = start
        if number:
            bits.advance(number * BETWEEN_BLOCKS % (1 << 128))
        return generator

    def uniform(self, cause: str, index: Any) -> Any:
        """Uniform numbers of a cause by index, whatever else was asked for.

        For causes that concern few cells, which would waste most of a block.

        Parameters
        ----------
        cause : str
            Name of the cause.
        index : int or ndarray of uint64
            Which numbers, 0 or more.

        Returns
        -------
        float or ndarray
            Between 0 and 1, neither of them included. [1]

        Notes
        -----
        Source: steele2014 (SplitMix64, whose state after n steps is known in closed form).
        """
        if cause not in self._keys:
            self._keys[cause] = int(self._sequence(cause).generate_state(1, np.uint64)[0])
        word = index * 0x9E3779B97F4A7C15 + self._keys[cause]
        for shift, factor in MIXES:
            if isinstance(word, int):
                word &= WORD
            word ^= word >> shift
            word *= factor
        if isinstance(word, int):
            word &= WORD
        word ^= word >> 31
        return ((word >> 12) + 0.5) * 2.0**-52
