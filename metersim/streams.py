"""One named stream of random numbers per cause.

Every cause of chance draws from its own generator, so that moving one setting or switching one
cause off leaves all other luck as it was.  A stream is read in order, and what it gives does
not depend on how many numbers are taken at a time.
"""

from __future__ import annotations

import zlib

import numpy as np


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

    def generator(self, cause: str) -> np.random.Generator:
        """A fresh generator of the stream of a cause, at its start."""
        key = (self.replicate, zlib.crc32(cause.encode()))
        return np.random.Generator(
            np.random.PCG64(np.random.SeedSequence(self.seed, spawn_key=key))
        )
