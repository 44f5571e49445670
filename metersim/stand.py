"""From seeds to plants: which seeds come up, and where their plants stand."""

from __future__ import annotations

import dataclasses

import numpy as np
from scipy.special import ndtri

from metersim.luck import PLACES
from metersim.records import Run
from metersim.streams import Streams


def emerged(run: Run, chance: float, shift: float) -> Run:
    """The run with plants in place of its seeds: spacings are those that a tape in the row finds.

    Parameters
    ----------
    run : Run
        Records of seeds.
    chance : float
        Chance that a seed comes up, from 0 to 1. [1]
    shift : float
        SD of the distance along the row from a seed to its plant. [m]

    Returns
    -------
    Run
        The same cells and ticks; of the seeds, those that came up, where their plants stand.

    Notes
    -----
    assumption: seeds come up independently of one another and of their spacing; shifts are normal.
    The draws belong to the run's luck, one for each seed that a cell may carry, whether it does or
    not: where one of two meters skips, the seeds behind keep their luck.  They do not depend on
    chance and shift.
    """
    streams = Streams(run.seed, run.replicate)
    seed = (run.seeds.cell * PLACES + run.seeds.place).astype(np.uint64)
    up = np.flatnonzero(streams.uniform("emergence", seed) < chance)
    moved = shift * ndtri(streams.uniform("plant shift", seed))
    plants = run.seeds.part(up)
    return dataclasses.replace(
        run, seeds=dataclasses.replace(plants, position=plants.position + moved[up])
    )
