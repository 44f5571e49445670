"""The length of row in a thousandth of a hectare or acre, and what stands in it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from metersim.records import Run
from metersim.stand import emerged
from metersim.studies.counting.counts import deviations
from metersim.units import ACRE, HECTARE

AREAS = {"metric": HECTARE / 1000, "us": ACRE / 1000}
"""A thousandth of a hectare and of an acre. [m2]"""
NEARLY = 0.05  # to know a stand to, of its mean
LEVEL = 0.95


def row_length(row_spacing: float, area: float) -> float:
    """Length of one row that has an area.

    Parameters
    ----------
    row_spacing : float
        Distance between rows, above 0. [m]
    area : float
        What is to be counted on, above 0. [m2]

    Returns
    -------
    float
        Exact. [m]
    """
    return area / row_spacing


@dataclass(frozen=True)
class Standing:
    """How many lie or stand in stretches of a row.

    Attributes
    ----------
    mean, sd : float
        Of the numbers in stretches of that length. [1]
    low, high : int
        Between which 95 of 100 stretches lie, by luck alone. [1]
    stretches : int
        That were looked at.
    """

    mean: float
    sd: float
    low: int
    high: int
    stretches: int

    def repeats(self, nearly: float = NEARLY, level: float = LEVEL) -> int:
        """Stretches, far from one another, whose mean is known to a share of it. [1]

        The mean of n stretches has an SD of ``sd / sqrt(n)``; at least 1.
        """
        if self.mean == 0:
            return 1
        return max(math.ceil((deviations(level) * self.sd / self.mean / nearly) ** 2), 1)


@dataclass(frozen=True)
class Stretch:
    """A stretch of row to dig up or to walk.

    Attributes
    ----------
    area, length : float
        How much of a field it is, and how long. [m2], [m]
    asked : float
        Seeds that the rate asks for there. [1]
    seeds : Standing or None
        Seeds that lie there; None when no run is so long.
    plants : Standing or None
        Plants that stand there; None on a bench, too.
    """

    area: float
    length: float
    asked: float
    seeds: Standing | None
    plants: Standing | None


def stretch_of(run: Run, area: float) -> Stretch:
    """What a run puts on an area.

    Parameters
    ----------
    run : Run
        Records of a long run.
    area : float
        See `AREAS`. [m2]

    Returns
    -------
    Stretch
    """
    demand = run.scenario.demand
    length = row_length(demand.row_spacing, area)
    seeds = standing_in(run.seeds.position, length)
    plants = None
    if run.scenario.in_field:
        stand = run.scenario.stand
        up = emerged(run, stand.emergence, stand.plant_shift)
        plants = standing_in(up.seeds.position, length)
    return Stretch(area, length, demand.rate * area, seeds, plants)


def standing_in(positions: ArrayLike, length: float) -> Standing | None:
    """Numbers in stretches that lie end to end, or None when there are fewer than two.

    Parameters
    ----------
    positions : array_like, shape (n,)
        Places along the row. [m]
    length : float
        Of a stretch, above 0. [m]
    """
    places: NDArray[np.float64] = np.asarray(positions, dtype=np.float64)
    if places.size < 2:
        return None
    first, last = float(places.min()), float(places.max())
    many = int((last - first) / length)
    if many < 2:
        return None
    which = np.floor((places - first) / length).astype(np.int64)
    counts = np.bincount(which, minlength=many)[:many]
    low, high = np.quantile(counts, [(1 - LEVEL) / 2, (1 + LEVEL) / 2], method="inverted_cdf")
    mean, sd = float(counts.mean()), float(counts.std(ddof=1))
    return Standing(mean, sd, int(low), int(high), many)
