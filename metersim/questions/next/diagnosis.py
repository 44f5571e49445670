"""Hypotheses on a meter, weighed by counts and by the seed that was used.

Possible meters of each hypothesis are drawn, each with its own machine.  A `Surface` predicts what
each shows at the settings of every count, and the chance of the counts weighs them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import takewhile

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from metersim.distributions.normal import ndtr
from metersim.machine.scenario import Scenario
from metersim.questions.next.bank import ALL, SHARED, Bank, levels, setting_name, shares_of
from metersim.questions.next.hypotheses import (
    ELSE,
    ELSE_PRIOR,
    FINE,
    LENS,
    OF_A_ROW,
    OF_THE_LOT,
    UNLISTED,
    Points,
)
from metersim.questions.next.shown import seeds_used
from metersim.questions.shared.alike import kind_of_rows
from metersim.questions.shared.looks import (
    BELT,
    KINDS,
    SENSOR,
    SPACED,
    Levels,
    Look,
    flat_chance,
    log_chances,
    summed,
)
from metersim.run.streams import Streams

Floats = NDArray[np.float64]

USED_SD = 0.02
"""Relative SD of seed used over area (assumption): scales, tank residue, and measured area."""
USED_LEVEL = 0.02  # chance below which the seed used is not that of a meter in order
CONTRADICTED = 3.0  # times less likely with a dirty lens than without, from which it is excluded
TINY = 1e-100  # least sum of chances, so that points can be drawn however unlikely all are
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
    bank : Bank
        Possible meters, and what they show.
    seen : sequence of Seen
        Counts with their settings, oldest first.
    used : Used or None
        Seed that was used at the present settings.
    alone : float
        Chance that this row alone differs from the other rows of its machine.  Faults that all
        rows share are that much less likely. [1]
    common : float
        Chance that all rows have what this row has.  Faults that hardly happen on all rows at once
        are that much less likely. [1]
    since : int
        Number of the first count after the last one that was left out.
    """

    bank: Bank
    seen: Sequence[Seen]
    used: Used | None = None
    alone: float = 0.0
    common: float = 0.0
    since: int = 0

    @property
    def base(self) -> Scenario:
        """Present settings."""
        return self.bank.base

    @property
    def points(self) -> Points:
        """Possible meters."""
        return self.bank.points

    @property
    def here(self) -> list[int]:
        """Numbers of the counts since the last change of a setting, all at the present ones."""
        back = reversed(range(self.since, len(self.seen)))
        return sorted(takewhile(lambda k: self.seen[k].meter == self.base, back))

    @cached_property
    def _levels(self) -> dict[tuple[str, str], Levels]:
        """Rates of all points, by settings and way of looking."""
        places = {
            (setting_name(one.meter), way): one.meter for one in self.seen for way in one.ways
        }
        return {key: levels(self.bank, meter, key[1]) for key, meter in places.items()}

    def log_chances(self, looks: Sequence[int]) -> Floats:
        """Logarithm of the chance of some counts together, by point.

        Counts at the same settings are summed, as they have the same errors of the model.  A
        monitor counts in one way only: the chance is a mean over the ways that are possible.
        """
        many = max((len(one.ways) for one in self.seen), default=1)
        rows = [
            sum(
                (
                    log_chances(self._levels[key], [look])[0]
                    for key, look in self._summed(looks, variant)
                ),
                np.zeros(len(self.points)),
            )
            for variant in range(many)
        ]
        return np.asarray(logsumexp(rows, axis=0) - np.log(many))

    def log_flat(self, looks: Sequence[int]) -> float:
        """The same where something that is not listed is wrong: all shares are equally likely."""
        effects = self.bank.surface.effects
        return sum(
            flat_chance(look, max(1.0, *(effects[way, kind] for kind in KINDS)))
            for (_, way), look in self._summed(looks, 0)
        )

    def _summed(self, looks: Sequence[int], variant: int) -> list[tuple[tuple[str, str], Look]]:
        """Sums of counts by settings and way of looking."""
        groups: dict[tuple[str, str, bool], list[Look]] = {}
        for k in looks:
            one = self.seen[k]
            way = one.ways[min(variant, len(one.ways) - 1)]
            key = (setting_name(one.meter), way, one.look.doubles is None)
            groups.setdefault(key, []).append(one.look)
        return [((name, way), summed(some)) for (name, way, _), some in groups.items()]

    @cached_property
    def used_chances(self) -> Floats:
        """Logarithm of the chance of the seed used, by point; 0 where it is not known."""
        if self.used is None:
            return np.zeros(len(self.points))
        apart = self._used_apart(np.arange(len(self.points)), SHARED)
        return np.asarray(-(apart**2) / 2 - np.log(USED_SD * np.sqrt(2 * np.pi)))

    def _used_apart(self, at: NDArray[np.int64], errors: str) -> Floats:
        """SDs by which the seed used lies above what some points use."""
        bank, points = self.bank, self.points.of(at)
        machines = bank.machines.at(at)
        skip, double = shares_of(bank.surface, self.base, BELT, points, machines, errors=errors)
        wanted = seeds_used(skip, double, points.slip)
        ratio, weighed = (self.used.ratio, self.used.weighed) if self.used else (1.0, False)
        return np.asarray((ratio - wanted * (points.size**3 if weighed else 1.0)) / USED_SD)

    @cached_property
    def used_differs(self) -> bool:
        """Whether a meter in order hardly ever uses so much or so little seed."""
        if self.used is None:
            return False
        fine = np.flatnonzero(self.points.which == self.points.names.index(FINE))
        apart = np.abs(self._used_apart(fine, ALL))
        return bool(np.mean(2 * ndtr(-apart)) < USED_LEVEL)

    @cached_property
    def weights(self) -> Floats:
        """Chance of each point after all counts; sums to 1 less the chance of `ELSE`. [1]"""
        return self.weighed(range(len(self.seen)))

    def weighed(self, looks: Sequence[int]) -> Floats:
        """Chance of each point after some of the counts, and the seed used. [1]"""
        logs = self.log_chances(looks) + self.used_chances + np.log(self.points.prior)
        for names, chance in ((OF_THE_LOT, self.alone), (OF_A_ROW, self.common)):
            some = [k for k, name in enumerate(self.points.names) if name in names]
            there = np.isin(self.points.which, some)
            logs = logs + np.where(there, np.log(max(1 - chance, TINY)), 0.0)
        other = self.log_flat(looks) + np.log(ELSE_PRIOR)
        if self.used:
            other -= np.log(MOST_USED)
        listed = float(logsumexp(logs))
        chance = float(np.exp(listed - np.logaddexp(listed, other)))
        return np.asarray(np.exp(logs - listed) * max(chance, TINY))

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
        return float(total**2 / np.sum(self.weights**2))

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

    @cached_property
    def lens_contradicted(self) -> bool:
        """Whether the seed used is far less likely with a dirty lens than without."""
        if self.used is None or LENS not in self.points.names:
            return False
        lens = self.points.which == self.points.names.index(LENS)
        logs = self.log_chances(range(len(self.seen))) + np.log(self.points.prior)
        so, otherwise = (
            logsumexp((logs + self.used_chances)[group]) - logsumexp(logs[group])
            for group in (lens, ~lens)
        )
        return bool(so < otherwise - np.log(CONTRADICTED))


def with_others(found: Diagnosis, others: Sequence[Look]) -> Diagnosis:
    """A diagnosis that knows how other rows were counted, in the way of the present counts."""
    if not others or not found.here:
        return found
    first = found.seen[found.here[-1]]
    mine = [found.seen[k].look for k in found.here if found.seen[k].ways == first.ways]
    cells = [sum(look.cells for look in mine), *(look.cells for look in others)]
    alone, common = 0.0, 1.0
    for kind in KINDS:
        counts = [getattr(look, f"{kind}s") or 0 for look in (*mine, *others)]
        counted = [sum(counts[: len(mine)]), *counts[len(mine) :]]
        effect = max(found.bank.surface.effects[first.ways[0], kind], 1.0)
        rows = kind_of_rows(kind, counted, cells, effect)
        alone, common = max(alone, rows.row_chances[0]), min(common, rows.common_chance)
    return replace(found, alone=alone, common=common)


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
