"""Response of a measure in a sweep: best point, plateau, acceptable points, and importance.

Sources: classes of quality of feed, onal1995; first-order and total indices, saltelli2010.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from metersim.distributions.quantiles import stdtrit
from metersim.files.faults import Parameter, bad
from metersim.files.tables import dataframe
from metersim.measures.estimates import measure
from metersim.measures.indices import (
    BY_KEY,
    COMPARE,
    PUBLISHED,
    PUBLISHED_LIMITS,
    Limit,
    check_measure,
    read_limit,
)
from metersim.measures.intervals import LEVEL_TOTAL, Estimate
from metersim.measures.tally import tallied
from metersim.questions.shared.spread import Spread
from metersim.questions.shared.unknowns import spread_about
from metersim.questions.sweep.points import Axis
from metersim.questions.sweep.study import Sweep
from metersim.questions.sweep.totals import Totals, totals_of
from metersim.run.streams import Streams

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

HIGHER = ("cells.single", "per_place.single", "per_spacing.quality", "spacing.cp3", "sensor.seen")
NEITHER = ("spacing.mean", "drop_time.mean", "placed.per_area", "placed.frequency")
PLATEAU = 0.5  # percentage points of a share, percent of other measures
NEAR_END = 0.05  # share of a range that counts as its end in samples
RESAMPLES, AT_ONCE = 1000, 100


@dataclass(frozen=True)
class Response:
    """Response of a measure to the varied settings.

    Attributes
    ----------
    sweep : Sweep
        Rows of the sweep.
    key : str
        Key of the measure.
    limits : tuple of Limit
        Acceptance limits; an acceptable point meets all of them.
    source : str
        Source of the limits in words.
    tolerance : float
        Largest distance of a plateau point from the best: percentage points of a share, percent of
        other measures.
    """

    sweep: Sweep
    key: str
    limits: tuple[Limit, ...]
    source: str
    tolerance: float = PLATEAU

    def __repr__(self) -> str:
        return f"<Response of {self.key} to {self.sweep.plan!r}; to_dataframe() lists it>"

    def to_dataframe(self) -> pd.DataFrame:
        """A table for pandas with one row a point, in SI (extra ``notebook``).

        Varied settings keep their own units.  Other columns give the response with its total
        interval and that of the sampling error, and whether the point is acceptable, surely
        acceptable, on the plateau, and the best.
        """
        columns = self.sweep.plan.varied()
        columns |= dict(zip(("value", "low", "high"), self.totals(self.key).T, strict=True))
        columns |= {"sampling_low": self.values[:, 1], "sampling_high": self.values[:, 2]}
        columns |= {"acceptable": self.acceptable, "surely": self.surely, "plateau": self.plateau}
        columns["best"] = np.arange(len(self.values)) == self.best
        return dataframe(columns)

    def estimates(self, key: str) -> Floats:
        """Value, low and high of a measure at every point, of shape (points, 3).

        Replicates are independent.  The half interval of their mean is the root of the sum of the
        squared half intervals, over their number.
        """
        parts = self.sweep.estimates(key)
        value = parts[:, :, 0].mean(axis=1)
        below, above = (
            np.sqrt(((parts[:, :, k] - parts[:, :, 0]) ** 2).sum(axis=1)) / parts.shape[1]
            for k in (1, 2)
        )
        return np.stack([value, value - below, value + above], axis=1)

    @cached_property
    def values(self) -> Floats:
        """Value of the response at every point, with the 95 % interval of the sampling error."""
        return self.estimates(self.key)

    def totals(self, key: str) -> Floats:
        """Value of a measure and its total interval at every point, of shape (points, 3).

        The value is that of the row, with the usual machine.  The interval is that of an unknown
        machine, at 90 %.  See `metersim.questions.sweep.totals` for the way it is found.
        """
        return self._totals.of(key, self.estimates(key))

    @cached_property
    def _totals(self) -> Totals:
        of_best = None if self.best is None else self.spread_of_best
        return totals_of(self.sweep.plan, self.key, self.values[:, 0], self.best, of_best)

    @cached_property
    def acceptable(self) -> Flags:
        """Points that meet all limits."""
        kept = np.isfinite(self.values[:, 0])
        for limit in self.limits:
            kept &= COMPARE[limit.sign](self.estimates(limit.key)[:, 0], limit.value)
        return kept

    @cached_property
    def surely(self) -> Flags:
        """Points that meet all limits with their whole total intervals."""
        kept = self.acceptable.copy()
        for limit in self.limits if kept.any() else ():
            end = self.totals(limit.key)[:, 2 if limit.sign == "<=" else 1]
            kept &= COMPARE[limit.sign](end, limit.value)
        return kept

    @property
    def sense(self) -> int:
        """Sign of a better response: 1 for higher, -1 for lower, 0 for neither."""
        return 0 if self.key in NEITHER else 1 if self.key in HIGHER else -1

    @cached_property
    def best(self) -> int | None:
        """Best acceptable point, or best of all if none is acceptable; None without any order."""
        score = self.sense * self.values[:, 0]
        score[np.isnan(score)] = -math.inf
        if self.acceptable.any():
            score[~self.acceptable] = -math.inf
        if self.sense == 0 or not np.isfinite(score).any():
            return None
        return int(np.argmax(score))

    @cached_property
    def plateau(self) -> Flags:
        """Points within the tolerance of the best that are as acceptable as it."""
        if self.best is None:
            return np.zeros(len(self.values), dtype=bool)
        top = self.values[self.best, 0]
        scale = 1.0 if BY_KEY[self.key].kind == "share" else abs(top)
        room = self.tolerance / 100 * scale * (1 + 1e-9)
        inside: Flags = self.sense * (top - self.values[:, 0]) <= room
        return np.asarray(inside & (self.acceptable | ~self.acceptable[self.best]))

    @cached_property
    def total_of_best(self) -> Estimate:
        """The measure at the best point with its total uncertainty, from draws of machines.

        Raises
        ------
        ValueError
            When no point is best.
        """
        return self.spread_of_best.total(self.key)

    @cached_property
    def spread_of_best(self) -> Spread:
        """Sampling, input and model uncertainty of all measures at the best point.

        Raises
        ------
        ValueError
            When no point is best.
        """
        if self.best is None:
            raise ValueError("no point is best")
        job = self.sweep.plan.job(self.best)
        found = measure(tallied(job.made(), seed=job.seed), level=LEVEL_TOTAL)
        return spread_about(found)

    @cached_property
    def tied(self) -> Flags | None:
        """Points without a detected paired difference from the best, at 95 %.

        None without replicates, which give the sampling error of differences.
        """
        repeat = self.sweep.plan.replicates
        if self.best is None or repeat < 2:
            return None
        each = self.sweep.estimates(self.key)[:, :, 0]
        differences = each - each[self.best]
        reach = float(stdtrit(repeat - 1, 0.975)) / math.sqrt(repeat)
        spread = differences.std(axis=1, ddof=1)
        tied = np.abs(differences.mean(axis=1)) <= reach * spread + 1e-12
        return np.asarray(tied)

    def at_end(self) -> list[tuple[Axis, str, bool]]:
        """Axes whose range ends at the best point: axis, value, and whether more is allowed."""
        plan, found = self.sweep.plan, []
        if self.best is None:
            return []
        for axis, word in zip(plan.axes, plan.points[self.best], strict=True):
            if not axis.is_number:
                continue
            ends = axis.low, axis.high
            if axis.words:
                numbers = [axis.number(other) for other in axis.words]
                ends = min(numbers), max(numbers)
            near = 0.0 if plan.design == "grid" else NEAR_END * (ends[1] - ends[0])
            for end, most in zip(ends, (axis.spec.low, axis.spec.high), strict=True):
                if abs(axis.number(word) - end) <= near + 1e-9 * abs(end):
                    outermost = axis.unit.from_si(most) if axis.unit else most
                    found.append((axis, word, not math.isclose(end, outermost, abs_tol=1e-12)))
        return found


def respond(
    sweep: Sweep,
    key: str = "per_spacing.quality",
    limits: Sequence[Limit] = (),
    tolerance: float = PLATEAU,
) -> Response:
    """Response of a measure with its acceptance limits, or the published ones by default.

    Parameters
    ----------
    sweep : Sweep
        Rows of the sweep.
    key : str
        Key of the measure.
    limits : sequence of Limit
        Acceptance limits; an acceptable point meets all of them.  See `read_limit`.
    tolerance : float
        Largest distance of a plateau point from the best: percentage points of a share, percent of
        other measures.

    Raises
    ------
    BadInput
        For an unknown measure.

    Examples
    --------
    >>> import metersim as m
    >>> plan = m.plan_sweep("maize_bench", "vacuum_kpa=1,3,5", changes=["turns=20"])
    >>> found = m.respond(m.sweep(plan))
    >>> plan.points[found.best], found.acceptable.tolist()
    (('3',), [False, True, True])
    """
    check_measure(Parameter("response"), key)
    if limits:
        return Response(sweep, key, tuple(limits), "the limits that were given", tolerance)
    return Response(sweep, key, tuple(map(read_limit, PUBLISHED_LIMITS)), PUBLISHED, tolerance)


@dataclass(frozen=True)
class Importance:
    """Shares of the variance of a response that each axis explains, with 95 % intervals.

    Attributes
    ----------
    first : ndarray, shape (axes, 3)
        Share that the axis explains alone: value, low, high.
    total : ndarray, shape (axes, 3)
        Share that the axis explains alone or together with others.
    sd : float
        SD of the response over the ranges, in SI.
    sampling : float
        Share of the variance from sampling error, by replicates; nan without them.
    """

    first: Floats
    total: Floats
    sd: float
    sampling: float


def importance(sweep: Sweep, key: str) -> Importance:
    """Indices of importance of a measure, from a sweep of that design.

    Raises
    ------
    ValueError
        For a sweep of another design.
    BadInput
        When the measure has no value at some point.

    Examples
    --------
    >>> import metersim as m
    >>> vary, short = ["vacuum_kpa=1:2", "notch=-1:1"], ["turns=10"]
    >>> plan = m.plan_sweep("maize_bench", vary, design="importance", points=16, changes=short)
    >>> shares = m.importance(m.sweep(plan), "cells.skip")
    >>> vacuum, notch = shares.total[:, 0]
    >>> bool(vacuum > notch)
    True
    """
    plan = sweep.plan
    if plan.design != "importance":
        raise ValueError(f"the design is {plan.design!r}; it must be 'importance'")
    each = sweep.estimates(key)[:, :, 0]
    if not np.isfinite(each).all():
        message = "has no value at some points, so importance is unknown; narrow the ranges"
        raise bad(Parameter("response"), key, message)
    means = each.mean(axis=1)
    parts = means.reshape(len(plan.axes) + 2, plan.size)
    sampling = math.nan
    if plan.replicates > 1 and means.var() > 0:
        # points have common random numbers, so that only differences between points are noise
        noise = (each - each.mean(axis=0)).var(axis=1, ddof=1).mean() / plan.replicates
        sampling = float(noise / means.var())
    rng = Streams(plan.seed).generator("resampling")
    first, total = indices(parts, rng)
    return Importance(first, total, float(means[: 2 * plan.size].std()), sampling)


def indices(parts: Floats, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """First-order and total indices with bootstrap intervals.

    Parameters
    ----------
    parts : ndarray, shape (axes + 2, n)
        A function at the points of samples A, B and, for each axis, A with that axis from B.
    rng : numpy.random.Generator
        Generator of the resamples.

    Returns
    -------
    first, total : ndarray, shape (axes, 3)
        Value, low and high; nan for a function that does not vary.
    """
    n = parts.shape[1]
    everything = np.tile(np.arange(n), (2, 1))  # twice, as scipy takes a single one for a number
    if np.ptp(parts) == 0:
        nothing = np.full((len(parts) - 2, 3), math.nan)
        return nothing, nothing
    values = _indices(parts, everything)
    drawn = [
        _indices(parts, rng.integers(n, size=(AT_ONCE, n))) for _ in range(RESAMPLES // AT_ONCE)
    ]
    made = []
    for value, draws in zip(values, zip(*drawn, strict=True), strict=True):
        ends = np.nanquantile(np.concatenate(draws), [0.025, 0.975], axis=0)
        made.append(np.stack([value[0], *ends], axis=1))
    return made[0], made[1]


def _indices(parts: Floats, chosen: NDArray[np.int64]) -> tuple[Floats, Floats]:
    """Indices from chosen points of each sample, with one row a choice of points."""
    from scipy.stats import sobol_indices  # slow to load, and seldom needed

    drawn = parts[:, chosen]
    found = sobol_indices(
        func={"f_A": drawn[0], "f_B": drawn[1], "f_AB": drawn[2:]}, n=parts.shape[1]
    )
    first, total = (
        np.asarray(order).reshape(len(chosen), -1)
        for order in (found.first_order, found.total_order)
    )
    return first, total
