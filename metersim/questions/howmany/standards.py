"""Limits of standards on a share, and stretches of row to dig or walk."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from metersim.distributions.quantiles import betainc
from metersim.files.faults import Parameter, bad
from metersim.files.units import ACRE, HECTARE
from metersim.measures.indices import COMPARE, STANDARDS, Limit, read_limits
from metersim.measures.observed import observed_spacings
from metersim.measures.plants import emerged
from metersim.measures.spacing import classes_of
from metersim.questions.shared.counts import CERTAINTY, POWER, Share, angle, deviations, share_of
from metersim.run.records import Run

AREAS = {"metric": HECTARE / 1000, "us": ACRE / 1000}
"""A thousandth of a hectare and of an acre. [m2]"""
NEARLY = 0.05  # relative standard deviation to which the mean of a stand is wanted
LEVEL = 0.95


def row_length(row_spacing: float, area: float) -> float:
    """Length of one row that covers an area.

    Parameters
    ----------
    row_spacing : float
        Distance between rows, above 0. [m]
    area : float
        Area to count on, above 0. [m2]

    Returns
    -------
    float
        Exact length. [m]
    """
    return area / row_spacing


@dataclass(frozen=True)
class Standing:
    """Numbers of seeds or plants in equal stretches of a row.

    Attributes
    ----------
    mean, sd : float
        Mean and SD of the numbers in stretches of that length. [1]
    low, high : int
        Ends of the range that holds 95 of 100 stretches. [1]
    stretches : int
        Number of stretches in the run.
    """

    mean: float
    sd: float
    low: int
    high: int
    stretches: int

    def repeats(self, nearly: float = NEARLY, level: float = LEVEL) -> int:
        """Number of distant stretches that give the mean to a relative error. [1]

        The mean of n stretches has an SD of ``sd / sqrt(n)``.  The number is at least 1.
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
        Area of field and length of the stretch. [m2], [m]
    asked : float
        Seeds of the nominal rate on this area. [1]
    seeds : Standing or None
        Seeds in such stretches; None when the run is too short.
    plants : Standing or None
        Plants in such stretches; None on a bench, or when the run is too short.
    """

    area: float
    length: float
    asked: float
    seeds: Standing | None
    plants: Standing | None


def stretch_of(run: Run, area: float) -> Stretch:
    """Seeds and plants of a run on an area.

    Parameters
    ----------
    run : Run
        Long run with its records.
    area : float
        Area, such as one of `AREAS`. [m2]

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
    """Numbers in stretches end to end; None when there are fewer than two stretches.

    Parameters
    ----------
    positions : array_like, shape (n,)
        Places along the row. [m]
    length : float
        Length of a stretch, above 0. [m]
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


MANY = 99
CELL_EVENTS = {
    "cells.skip": (0, 0),
    "cells.single": (1, 1),
    "cells.double": (2, 2),
    "cells.triple": (3, MANY),
}
"""Least and greatest number of seeds in a cell of each kind."""
SPACING_EVENTS = {
    "per_spacing.multiple": (0, 0),
    "per_spacing.quality": (1, 1),
    "per_spacing.miss": (2, MANY),
}
"""First and last class of spacings of each kind; see `metersim.measures.spacing.classes_of`."""
WORSE = (1.25, 1.5, 2.0, 3.0)  # unwanted events of a meter, over the number that a limit allows


def limits_of(text: str) -> tuple[Limit, ...]:
    """Limits of a standard, or a single limit such as ``per_spacing.miss<=5%``.

    Raises
    ------
    BadInput
        For any other text, or when a limit is not on a share of cells or spacings.
    """
    limits = read_limits(text)
    if text in STANDARDS:
        return limits
    (limit,) = limits
    countable = (*CELL_EVENTS, *SPACING_EVENTS)
    if limit.key not in countable:
        raise bad(
            Parameter("limits"),
            text,
            f"cannot be counted one by one; give {' or '.join(countable)}",
        )
    if not 0 < limit.value < 1:
        raise bad(
            Parameter("limits"),
            text,
            "none, or all, can be shown by no count; give a share between",
        )
    return (limit,)


@dataclass(frozen=True)
class Side:
    """A true share of a meter, and the acceptance limit for it.

    Attributes
    ----------
    limit : Limit
        Acceptance limit.
    share : Share
        True share of the meter.
    """

    limit: Limit
    share: Share

    @property
    def kept(self) -> bool:
        """Whether the true share meets the limit."""
        return bool(COMPARE[self.limit.sign](np.array([self.share.value]), self.limit.value)[0])

    def to_show(self, certainty: float = CERTAINTY, power: float = POWER) -> float:
        """Cells or spacings in a count that detects the side of the limit. [1]

        The test has one side.  Infinite when the share equals the limit.
        """
        apart = angle(self.share.value) - angle(self.limit.value)
        if apart == 0:
            return math.inf
        return deviations(certainty, power, sides=1) ** 2 * self.share.effect / apart**2

    def passes(self, counted: float, worse: float) -> float:
        """Chance that a count keeps to the limit although the meter does not. [1]

        Parameters
        ----------
        counted : float
            Counted cells or spacings.
        worse : float
            Unwanted events of the meter, over the allowed number.
        """
        allowed = self.limit.value if self.limit.sign == "<=" else 1 - self.limit.value
        true = min(allowed * worse, 1.0)
        # binomial distribution of the count, widened by the design effect about its middle
        most = (math.floor(allowed * counted + 1e-9) + 0.5) / self.share.effect - 0.5
        rest = max(counted / self.share.effect - most, 0.0)
        return float(betainc(rest, max(most, 0.0) + 1, 1 - true)) if rest else 1.0


def side_of(run: Run, seeds_by_cell: NDArray[np.int64], limit: Limit) -> Side:
    """True share of a meter with its limit, from a long run.

    Parameters
    ----------
    run : Run
        Run with its records.
    seeds_by_cell : ndarray of int, shape (cells,)
        Seeds by cell that the way of looking shows.
    limit : Limit
        Limit that `limits_of` gives.
    """
    if limit.key in CELL_EVENTS:
        low, high = CELL_EVENTS[limit.key]
        return Side(limit, share_of((seeds_by_cell >= low) & (seeds_by_cell <= high)))
    low, high = SPACING_EVENTS[limit.key]
    classes = classes_of(observed_spacings(run) / run.scenario.spacing)
    if not classes.size:
        raise bad(
            Parameter("limits"), str(limit), "no two seeds came out: there is no spacing to judge"
        )
    return Side(limit, share_of((classes >= low) & (classes <= high)))
