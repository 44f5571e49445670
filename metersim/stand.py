"""From seeds to plants: which seeds come up, where their plants stand, and how late they are."""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from metersim.luck import PLACES
from metersim.records import Run, Seeds
from metersim.streams import Streams

Floats = NDArray[np.float64]


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
    plants = come_up(run.seeds, Streams(run.seed, run.replicate), chance, shift)
    return dataclasses.replace(run, seeds=plants)


def come_up(seeds: Seeds, streams: Streams, chance: float, shift: float) -> Seeds:
    """Those of the seeds that come up, where their plants stand.

    Parameters
    ----------
    seeds : Seeds
        All or some of a run.
    streams : Streams
        The run's luck.
    chance, shift : float
        As for `emerged`.

    Returns
    -------
    Seeds
        In the order of the seeds.
    """
    index = _index(seeds)
    up = np.flatnonzero(streams.uniform("emergence", index) < chance)
    moved = shift * ndtri(streams.uniform("plant shift", index))
    plants = seeds.part(up)
    return dataclasses.replace(plants, position=plants.position + moved[up])


def delays(
    seeds: Seeds, streams: Streams, spread: float, late_share: float, late_by: float
) -> Floats:
    """How long after the mean day of the timely ones each seed would come up.

    Parameters
    ----------
    seeds : Seeds
        Seeds or plants of a run.
    streams : Streams
        The run's luck.
    spread : float
        SD of the time of emergence. [s]
    late_share : float
        Chance that a seed is held up, as by a crust or a cold patch. [1]
    late_by : float
        What that delays it by. [s]

    Returns
    -------
    ndarray, shape (seeds,)
        Negative for the early ones. [s]

    Notes
    -----
    assumption: times are normal; what is held up is so independently of its neighbours and of
    whether it comes up, although crusts and cold patches lie in patches.
    The draws are one a seed and cause, as those of `emerged`, and depend on none of the settings.
    """
    index = _index(seeds)
    held = streams.uniform("late emergence", index) < late_share
    early = spread * ndtri(streams.uniform("emergence delay", index))
    times: Floats = early + late_by * held
    return times


def median_delay(spread: float, late_share: float, late_by: float) -> float:
    """Median of `delays` over all plants that there might be.

    Parameters
    ----------
    spread, late_share, late_by : float
        As for `delays`; a share below a half.

    Returns
    -------
    float
        From 0 to `late_by`. [s]
    """
    if spread == 0 or late_share == 0 or late_by == 0:
        return 0.0
    from scipy.optimize import brentq  # slow to load, and seldom needed

    def above(time: float) -> float:
        timely, late = ndtr(time / spread), ndtr((time - late_by) / spread)
        return float((1 - late_share) * timely + late_share * late - 0.5)

    return float(brentq(above, 0.0, late_by))


def even_seeds_sd(spacing: float, chance: float, shift: float) -> float:
    """SD of plant spacings if seeds lay perfectly even: no meter can do better.

    Parameters
    ----------
    spacing : float
        Distance of the seeds. [m]
    chance, shift : float
        As for `emerged`.

    Returns
    -------
    float
        sqrt(spacing^2 (1 - chance)/chance^2 + 2 shift^2); nan where nothing comes up. [m]

    Notes
    -----
    derived: a gap spans a geometric number of places, and both of its plants are shifted.
    """
    if chance == 0:
        return float("nan")
    return float(np.sqrt(spacing**2 * (1 - chance) / chance**2 + 2 * shift**2))


def _index(seeds: Seeds) -> NDArray[np.uint64]:
    """Which of the numbers of a cause is a seed's."""
    return (seeds.cell * PLACES + seeds.place).astype(np.uint64)
