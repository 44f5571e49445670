"""Total uncertainty of all points of a sweep, from draws of machines at a few of them.

What machines differ in changes slowly over a sweep, and mostly with the level of the measure.  So
draws are run at a few points, far apart from one another in settings and level.  What they add to
the sampling error of a row is interpolated between these points, on the scale of the measure.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from metersim.distributions.normal import ndtri
from metersim.distributions.quantiles import stdtrit
from metersim.measures.estimates import measure
from metersim.measures.indices import BY_KEY
from metersim.measures.intervals import LEVEL_TOTAL
from metersim.measures.scales import Scale, scale_of
from metersim.measures.tally import tallied
from metersim.questions.shared.spread import Spread
from metersim.questions.shared.unknowns import DRAWN_CELLS, most_cells, spreads_about
from metersim.questions.sweep.plan import Plan

NODES, MOST_NODES = 5, 16  # points at which machines are drawn; of so few points, all of them
POINTS_A_NODE = 16  # points for which a larger sweep has one more
NODE_DRAWS, NODE_CELLS = 16, 1_000  # machines at each, and cells of each run
LEVEL_WEIGHT = 3.0  # of a difference in level, over one in a setting; machines differ by it more
OF_SAMPLING = float(ndtri((1 + LEVEL_TOTAL) / 2) / ndtri(0.975))
"""Distance of an end of the total's level over that of a row's 95 % interval, if normal."""

Floats = NDArray[np.float64]


def places_of(plan: Plan, values: Floats) -> Floats:
    """Places of all points between 0 and 1: numbers, one column for each word, and the level.

    Parameters
    ----------
    plan : Plan
        Plan of the sweep.
    values : ndarray, shape (points,)
        Values of the response on its scale; nan where missing.

    Returns
    -------
    ndarray, shape (points, columns)
        Places; a column without any difference is 0.
    """
    columns = [values]
    for axis, words in zip(plan.axes, zip(*plan.points, strict=True), strict=True):
        if axis.is_number:
            columns.append(np.array([axis.number(word) for word in words]))
        else:  # two words lie as far apart as the ends of a range
            columns += [np.array(words) == word for word in axis.words[1:]]
    return _unit(np.stack(columns, axis=1).astype(float))


def _unit(table: Floats) -> Floats:
    """Columns that go from 0 to 1; one without any difference is 0."""
    finite = np.where(np.isfinite(table), table, math.nan)
    low, high = np.nanmin(finite, axis=0), np.nanmax(finite, axis=0)
    return np.asarray((table - low) / np.where(high > low, high - low, 1.0))


def nodes_of(places: Floats, first: int) -> list[int]:
    """Points far apart from one another: each next one is the farthest from those before it.

    Parameters
    ----------
    places : ndarray, shape (points, columns)
        Places of `places_of`; points with nan are left out.
    first : int
        Point to begin with.
    """
    many = min(NODES + len(places) // POINTS_A_NODE, MOST_NODES)
    found, away = [first], _apart(places, places[first])
    while len(found) < many and np.nanmax(away) > 0:
        found.append(int(np.nanargmax(away)))
        away = np.minimum(away, _apart(places, places[found[-1]]))
    return found


def _apart(places: Floats, place: Floats) -> Floats:
    """Squared distances from a place."""
    return np.asarray(((places - place) ** 2).sum(axis=1))


@dataclass(frozen=True, eq=False)
class Totals:
    """Draws of machines at some points of a sweep.

    Attributes
    ----------
    places : ndarray, shape (points, columns)
        Places of all points.
    spreads : mapping of int to Spread
        Uncertainty at the points with draws.
    """

    places: Floats
    spreads: Mapping[int, Spread]

    def of(self, key: str, sampled: Floats) -> Floats:
        """Value with its total interval at every point.

        Parameters
        ----------
        key : str
            Key of the measure.
        sampled : ndarray, shape (points, 3)
            Value, low and high of the rows, at 95 % of the sampling error.

        Returns
        -------
        ndarray, shape (points, 3)
            Value of the row, and the interval of an unknown machine at `LEVEL_TOTAL`.

        Notes
        -----
        At a point with draws, the interval is that of `metersim.questions.shared.spread.Spread`.
        Its centre (less the row's value) and its variance without the row's sampling error are
        averaged elsewhere, with weights by the inverse squared distance in level and settings.
        The sampling error of the row is added at each point.  assumption: half widths between
        points with draws are within a factor of 1.8 of those from draws of their own, mostly within
        a fifth (`tests/questions/test_sweep_totals.py`).
        """
        scale = self._scale(key, sampled)
        with np.errstate(divide="ignore", invalid="ignore"):
            value, low, high = scale.to(sampled).T
        parts = {point: self._beyond(key, scale, point) for point in self.spreads}
        parts = {
            point: (centre - value[point], wide)
            for point, (centre, wide) in parts.items()
            if math.isfinite(centre - value[point])
        }
        if not parts:
            return np.stack([sampled[:, 0], *np.full((2, len(sampled)), math.nan)], axis=1)
        shift, wide = (self._weights([*parts], value) @ np.array([*parts.values()])).T
        below, above = (
            np.hypot(wide, np.nan_to_num(OF_SAMPLING * side))
            for side in (value - low, high - value)
        )
        ends = (scale.back(value + shift - below), scale.back(value + shift + above))
        low, high = np.minimum(ends[0], sampled[:, 0]), np.maximum(ends[1], sampled[:, 0])
        return np.stack([sampled[:, 0], low, high], axis=1)

    def _scale(self, key: str, sampled: Floats) -> Scale:
        drawn = [one.draws.of(key)[0] for one in self.spreads.values()]
        known = np.concatenate([sampled[~np.isnan(sampled[:, 0]), 0], *drawn])
        return scale_of(BY_KEY[key], known)

    def _beyond(self, key: str, scale: Scale, point: int) -> tuple[float, float]:
        """Centre of the draws on the scale, and half width of what is no sampling of the row."""
        spread = self.spreads[point]
        values, variances = spread.draws.of(key)
        many = len(values)
        if many < 2:
            return math.nan, math.nan
        drawn = scale.to(values)
        among = float(np.var(drawn, ddof=1))
        sampling = scale.variance(values, variances) if len(variances) else 0.0
        excess = max(among - sampling, 0.0)
        error = spread.errors.get(key, 0.0)
        variance = excess + (excess + sampling) / many + error**2
        reach = float(stdtrit(many - 1, (1 + LEVEL_TOTAL) / 2)) * math.sqrt(variance)
        return float(np.mean(drawn)), reach

    def _weights(self, points: Sequence[int], values: Floats) -> Floats:
        """Weights of points with draws at every point, of shape (points, draws).

        The level is that of the measure, on its scale.
        """
        level = LEVEL_WEIGHT * _unit(values[:, None])
        places = np.concatenate([level, self.places[:, 1:]], axis=1)
        away = np.stack([_apart(places, places[point]) for point in points], axis=1)
        with np.errstate(divide="ignore", invalid="ignore"):
            weights = np.where((away == 0).any(axis=1, keepdims=True), away == 0, 1 / away)
        return np.asarray(weights / weights.sum(axis=1, keepdims=True))


def totals_of(
    plan: Plan, key: str, values: Floats, best: int | None, of_best: Spread | None
) -> Totals:
    """Draw machines at a few points of a sweep.

    Parameters
    ----------
    plan : Plan
        Plan of the sweep.
    key : str
        Key of the response.
    values : ndarray, shape (points,)
        Values of the response, in SI; nan where missing.
    best : int or None
        Best point, which always has draws.
    of_best : Spread or None
        Its uncertainty.
    """
    known = values[~np.isnan(values)]
    if not len(known):
        return Totals(np.zeros((plan.many, 1)), {})
    places = places_of(plan, scale_of(BY_KEY[key], known).to(values))
    first = int(np.nanargmax(values)) if best is None else best
    spreads = {}
    for point in nodes_of(places, first):
        if point == best and of_best is not None:
            spreads[point] = of_best
            continue
        job = plan.job(point)
        short = job.made()
        alike = most_cells(short) == DRAWN_CELLS  # from start to end
        cells = NODE_CELLS if alike else most_cells(short)
        short = short.lasting(min(cells, short.passages))
        own = measure(tallied(short, seed=job.seed), level=LEVEL_TOTAL)
        (spreads[point],), _ = spreads_about([own], draws=NODE_DRAWS, split=False)
    return Totals(places, spreads)
