"""Hypotheses on a meter, weighed by counts and by the seed that was used.

Possible meters of each hypothesis are drawn, each with its own machine.  A `Surface` predicts what
each shows at the settings of every count, and the chance of the counts weighs them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import takewhile

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from metersim.machine.scenario import Scenario
from metersim.questions.next.bank import Bank, levels, shares_of
from metersim.questions.next.hypotheses import (
    ELSE,
    ELSE_PRIOR,
    FINE,
    LENS,
    OF_THE_LOT,
    UNLISTED,
    Points,
)
from metersim.questions.next.possible import Machines
from metersim.questions.next.shown import seeds_used
from metersim.questions.next.surface import Surface
from metersim.questions.shared.looks import (
    BELT,
    KINDS,
    SENSOR,
    SPACED,
    Look,
    flat_chance,
    log_chances,
)
from metersim.run.streams import Streams

Floats = NDArray[np.float64]

USED_SD = 0.02
"""Relative SD of seed used over area (assumption): scales, tank residue, and measured area."""
MOST_USED = 1.5  # ratio up to which `ELSE` finds all ratios equally likely


@dataclass(frozen=True)
class Seen:
    """A count and the settings at which it was made.

    Attributes
    ----------
    meter : Scenario
        Settings.
    look : Look
        Count.
    ways : tuple of str
        Ways of looking by which it may have been made, equally likely.
    """

    meter: Scenario
    look: Look
    ways: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "ways", self.ways or (self.look.way,))


@dataclass(frozen=True)
class Used:
    """Seed that was used on a known area, over what the set rate asks for.

    Attributes
    ----------
    ratio : float
        Used over asked. [1]
    weighed : bool
        Whether the seed was weighed, not counted: larger seed then weighs more.
    """

    ratio: float
    weighed: bool = False


@dataclass(frozen=True, eq=False)
class Diagnosis:
    """Possible meters, weighed by how well they explain the counts.

    Attributes
    ----------
    base : Scenario
        Present settings.
    seen : tuple of Seen
        Counts with their settings.
    points : Points
        Possible meters.
    machines : Machines
        Their machines.
    surface : Surface
        What they show at any settings.
    chances : ndarray, shape (counts, points)
        Logarithm of the chance of each count. [1]
    flat : ndarray, shape (counts,)
        The same for something that is not listed. [1]
    used : Used or None
        Seed that was used.
    used_chances : ndarray, shape (points,)
        Logarithm of its chance; 0 without it. [1]
    alone : float
        Chance that this row alone differs from the other rows of its machine.  Faults that all
        rows share are that much less likely. [1]
    """

    base: Scenario
    seen: tuple[Seen, ...]
    points: Points
    machines: Machines
    surface: Surface
    chances: Floats
    flat: Floats
    used: Used | None
    used_chances: Floats
    alone: float = 0.0

    @property
    def here(self) -> list[int]:
        """Numbers of the counts since the last change of a setting, all at the present ones."""
        back = reversed(range(len(self.seen)))
        return sorted(takewhile(lambda k: self.seen[k].meter == self.base, back))

    @cached_property
    def weights(self) -> Floats:
        """Chance of each point after all counts; sums to 1 less the chance of `ELSE`. [1]"""
        return self.weighed(range(len(self.seen)))

    def weighed(self, looks: Sequence[int]) -> Floats:
        """Chance of each point after some of the counts, and the seed used. [1]"""
        rows = [*looks]
        logs = self.chances[rows].sum(axis=0) + self.used_chances + np.log(self.points.prior)
        shared = [k for k, name in enumerate(self.points.names) if name in OF_THE_LOT]
        logs = logs + np.where(np.isin(self.points.which, shared), np.log1p(-self.alone), 0.0)
        other = self.flat[rows].sum() + np.log(ELSE_PRIOR)
        if self.used:
            other -= np.log(MOST_USED)
        return np.asarray(np.exp(logs - logsumexp([*logs, other])))

    @property
    def names(self) -> tuple[str, ...]:
        """Hypotheses, `ELSE` last."""
        return (*self.points.names, ELSE)

    def before(self, name: str) -> float:
        """Chance of a hypothesis before all counts. [1]"""
        return ELSE_PRIOR if name == ELSE else self._sum(self.points.prior, name)

    def after(self, name: str, weights: Floats | None = None) -> float:
        """Chance of a hypothesis after the counts, or with other weights. [1]"""
        weights = self.weights if weights is None else weights
        return float(1 - weights.sum()) if name == ELSE else self._sum(weights, name)

    def unlisted(self, weights: Floats | None = None) -> float:
        """Chance that something is wrong of which the listed faults say nothing. [1]"""
        return max(self.after(ELSE, weights), UNLISTED * (1 - self.after(FINE, weights)))

    def _sum(self, weights: Floats, name: str) -> float:
        return float(weights[self.points.which == self.points.names.index(name)].sum())

    @property
    def effective(self) -> float:
        """Effective number of points: the number of equal weights with the same variance."""
        total = self.weights.sum()
        return float(total**2 / np.sum(self.weights**2)) if total > 0 else 0.0

    def mean(self, column: str) -> float:
        """Mean of a column of the points after all counts."""
        return float(self.weights @ getattr(self.points, column) / self.weights.sum())

    def interval(self, column: str, level: float = 0.8) -> tuple[float, float]:
        """Interval of a column of the points after all counts, with a chance of `level`."""
        values = getattr(self.points, column)
        order = np.argsort(values, kind="stable")
        weights = self.weights / self.weights.sum()
        below = np.cumsum(weights[order]) - weights[order] / 2
        low, high = np.interp([(1 - level) / 2, (1 + level) / 2], below, values[order])
        return float(low), float(high)

    def picks(self, count: int, seed: int, weights: Floats | None = None) -> NDArray[np.int64]:
        """Numbers of points drawn in proportion to their weights, evenly spread."""
        weights = self.weights if weights is None else weights
        start = Streams(seed).generator("resampled").random()
        at = (np.arange(count) + start) / count * weights.sum()
        found = np.searchsorted(np.cumsum(weights), at).clip(max=len(weights) - 1)
        return np.asarray(found, dtype=np.int64)

    def shares(
        self, meter: Scenario, way: str, at: NDArray[np.int64] | None = None
    ) -> tuple[Floats, Floats]:
        """Shares of skips and doubles of the points, or of some, at the settings of a scenario."""
        points, machines = self.points, self.machines
        if at is not None:
            points, machines = points.of(at), machines.at(at)
        return shares_of(self.surface, meter, way, points, machines)

    @cached_property
    def lens_contradicted(self) -> bool:
        """Whether the seed used is less likely with a dirty lens than without."""
        if self.used is None or LENS not in self.points.names:
            return False
        lens = self.points.which == self.points.names.index(LENS)
        weights = self.chances.sum(axis=0) + np.log(self.points.prior)
        so, otherwise = (
            logsumexp((weights + self.used_chances)[group]) - logsumexp(weights[group])
            for group in (lens, ~lens)
        )
        return bool(so < otherwise)


def diagnose(bank: Bank, seen: Sequence[Seen], used: Used | None = None) -> Diagnosis:
    """Weigh possible meters by counts and by the seed that was used.

    Parameters
    ----------
    bank : Bank
        Possible meters.
    seen : sequence of Seen
        One or more counts of the same meter, in ways and at settings that the bank covers.
    used : Used, optional
        Seed that was used on a known area, at the present settings.
    """
    base, points, machines, surface = bank.base, bank.points, bank.machines, bank.surface
    chances = np.array([_chances(surface, one, points, machines) for one in seen])
    return Diagnosis(
        base=base,
        seen=tuple(seen),
        points=points,
        machines=machines,
        surface=surface,
        chances=chances.reshape(len(seen), len(points)),
        flat=np.array([_flat(surface, one) for one in seen]),
        used=used,
        used_chances=_used_chances(surface, base, used, points, machines),
    )


def _chances(surface: Surface, one: Seen, points: Points, machines: Machines) -> Floats:
    """Logarithm of the chance of a count, by point; a mean over the ways in which it was made."""
    rows = [
        log_chances(levels(surface, one.meter, way, points, machines), [one.look])[0]
        for way in one.ways
    ]
    return np.asarray(logsumexp(rows, axis=0) - np.log(len(rows)))


def _flat(surface: Surface, one: Seen) -> float:
    effect = max(surface.effects[one.ways[0], kind] for kind in KINDS)
    return flat_chance(one.look, effect)


def _used_chances(
    surface: Surface, base: Scenario, used: Used | None, points: Points, machines: Machines
) -> Floats:
    if used is None:
        return np.zeros(len(points))
    skip, double = shares_of(surface, base, BELT, points, machines)
    wanted = seeds_used(skip, double, points.slip)
    if used.weighed:
        wanted = wanted * points.size**3
    apart = (used.ratio - wanted) / USED_SD
    return np.asarray(-(apart**2) / 2 - np.log(USED_SD * np.sqrt(2 * np.pi)))


def by_cells_or_spacing(look: Look, counts: str | None) -> tuple[str, ...]:
    """Ways in which a count may have been made, for what a monitor counts.

    Parameters
    ----------
    look : Look
        Count; one of the sensor may be by cells or by spacings.
    counts : {'cells', 'spacing', None}
        What the monitor counts; None where nobody knows.
    """
    if look.way != SENSOR:
        return (look.way,)
    return {"cells": (SENSOR,), "spacing": (SPACED,), None: (SENSOR, SPACED)}[counts]
