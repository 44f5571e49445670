"""How well the model did on published cases like a scenario, which it had not seen."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from metersim.machine.scenario import Scenario
from metersim.measures.limits import Conditions
from metersim.questions.shared.cases import Case, load_case
from metersim.questions.shared.unseen import OUTLIERS, Level, shipped_unseen

CHANCE = 0.9  # of the intervals
PERCENT = "%"
COMPARED = ("speed", "frequency", "peripheral_speed", "vacuum", "cells")
"""Conditions by whose ratios cases are called near."""
ELSEWHERE = 1.0  # distance between bench and field, as of a factor e in one condition
LEAST = 1e-3  # SI, in place of a vacuum or a speed of 0, which has no logarithm


@dataclass(frozen=True)
class Tried:
    """A published number, and what the model gave for it without its source.

    Attributes
    ----------
    level : Level
        The published number with its predictive draws.
    reference : str
        Reference of the source.
    surface : str
        ``bench`` or ``field``.
    at : Conditions
        Conditions of the source.
    distance : float
        Distance of these from those of the scenario. [1]
    """

    level: Level
    reference: str
    surface: str
    at: Conditions
    distance: float

    @cached_property
    def ends(self) -> tuple[float, float, float]:
        """Low end, middle and high end of the prediction, in the unit of the number."""
        tail = (1 - CHANCE) / 2
        low, middle, high = np.quantile(self.level.draws, [tail, 0.5, 1 - tail]).tolist()
        return low, middle, high

    @property
    def inside(self) -> bool:
        """Whether the published number lies inside the interval."""
        low, _, high = self.ends
        return low <= self.level.published <= high

    @property
    def miss(self) -> float:
        """Distance of the middle of the prediction from the published number, in its unit."""
        return abs(self.ends[1] - self.level.published)


@dataclass(frozen=True)
class Unseen:
    """Published numbers of the crop of a scenario, those of the nearest cases first."""

    crop: str
    tried: tuple[Tried, ...]

    @property
    def sources(self) -> int:
        """Number of laboratories."""
        return len({one.level.laboratory for one in self.tried})

    @property
    def inside(self) -> int:
        """Numbers inside their intervals."""
        return sum(one.inside for one in self.tried)

    @property
    def miss(self) -> float:
        """Median distance of predictions of shares from published numbers; nan without any. [pp]"""
        shares = [one.miss for one in self.tried if one.level.unit == PERCENT]
        return float(np.median(shares)) if shares else math.nan

    @property
    def nearest(self) -> tuple[Tried, ...]:
        """Numbers of the nearest case."""
        return tuple(one for one in self.tried if one.level.case == self.tried[0].level.case)


def unseen_like(scenario: Scenario) -> Unseen:
    """Predictions of published numbers with the crop of a scenario.

    Cases that `metersim evidence` leaves out as another kind of meter are left out here.
    """
    crop, found = scenario.lot.crop.casefold(), []
    cases: dict[str, Case] = {}
    at, surface = Conditions.of(scenario), scenario.furrow.surface
    for level in shipped_unseen():
        if level.case in OUTLIERS or level.laboratory in OUTLIERS:
            continue
        case = cases.get(level.case) or cases.setdefault(level.case, load_case(level.case))
        where = _tested(case, level.row)
        if where.lot.crop.casefold() != crop:
            continue
        there, on = Conditions.of(where), where.furrow.surface
        far = distance(at, there) + ELSEWHERE * (on != surface)
        found.append(Tried(level, case.reference, on, there, far))
    nearest: dict[str, float] = {}
    for one in found:
        name = one.level.case
        nearest[name] = min(nearest.get(name, math.inf), one.distance)
    ordered = sorted(found, key=lambda one: (nearest[one.level.case], one.level.case))
    return Unseen(scenario.lot.crop, tuple(ordered))


def distance(one: Conditions, other: Conditions) -> float:
    """Root of the sum of squares of logarithms of ratios of the conditions in `COMPARED`. [1]"""
    logs = ([math.log(max(getattr(at, k), LEAST)) for k in COMPARED] for at in (one, other))
    return math.dist(*logs)


def _tested(case: Case, name: str) -> Scenario:
    """The first scenario of a row of a case, at the middle of what its source does not state."""
    row = next(one for one in case.rows if one.name == name)
    condition = row.terms[0].condition if row.terms else next(iter(case.conditions))
    return case.conditions[condition].parts[0]
