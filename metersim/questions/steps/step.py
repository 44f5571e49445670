"""One step of a setting: a meter with one moved setting, its run, and its draws."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from metersim.files.faults import Keyed
from metersim.machine.scenario import Scenario
from metersim.measures.estimates import Measured, measure
from metersim.measures.indices import BY_KEY, Measure
from metersim.measures.intervals import LEVEL_TOTAL, Estimate
from metersim.measures.tally import tallied, tally_of
from metersim.questions.shared.counts import Share, shares_of
from metersim.questions.shared.discrepancy import errors_of
from metersim.questions.shared.looks import loads
from metersim.questions.shared.settings import Steps
from metersim.questions.shared.spread import Spread, gather
from metersim.questions.shared.unknowns import run_draws
from metersim.run.simulation import simulate

DRAWN_CELLS = 2_000  # of the run of each draw
CHANGES: Mapping[str, Measure] = {
    "skips": BY_KEY["cells.skip"],
    "doubles": Measure(
        "cells.several", "share", "cells with two or more", ("two", "three"), "cells"
    ),
    "singles": BY_KEY["cells.single"],
    "quality": BY_KEY["per_spacing.quality"],
    "precision": BY_KEY["precision"],
}
"""Reported measures of a step.  A double is a cell with two seeds or more, as people count."""


@dataclass(frozen=True)
class Step:
    """A meter with one moved setting, or the present meter.

    Attributes
    ----------
    setting : str
        Name of the moved setting; empty for the present meter.
    step : int
        Number of steps; 0 for the present meter.
    measured : Measured
        Measures of the meter.
    shares : mapping of str to Share
        Shares of skips, doubles and singles with their design effects.
    points : tuple of mappings
        Reported measures in every draw of the machine, as `Measured.points`.
    """

    setting: str
    step: int
    measured: Measured
    shares: Mapping[str, Share]
    points: tuple[Mapping[str, NDArray[np.float64]], ...]

    @property
    def steps(self) -> Steps:
        """Moved setting with its number of steps."""
        return {self.setting: self.step} if self.setting else {}

    @property
    def seeds_per_cell(self) -> float:
        """Mean number of seeds of a cell; 1 for a meter that releases no seed."""
        return self.measured.total("seeds") / self.measured.total("cells") or 1.0

    @cached_property
    def level(self) -> Spread:
        """Uncertainty of the reported measures."""
        scenario, reported = self.measured.scenario, tuple(CHANGES.values())
        return Spread(
            scenario.name,
            scenario.unknown,
            Measured(self.measured.tallies, LEVEL_TOTAL, reported).estimates,
            gather(self.points),
            errors=errors_of(scenario.posterior, scenario.lot.crop, reported),
            posterior=scenario.posterior,
            measures={part.key: part for part in reported},
        )

    @cached_property
    def estimates(self) -> Mapping[str, Estimate]:
        """Skips, doubles, singles, quality and precision, with their total uncertainty."""
        return Keyed({key: self.level.total(part.key) for key, part in CHANGES.items()})

    def noise(self, other: Step, kind: str, cells: float) -> float:
        """Standard error of the difference of two counts, one of each step. [1]"""
        return math.hypot(*(one.shares[kind].error(cells) for one in (self, other)))

    def by_stretch(self) -> NDArray[np.float64]:
        """Skips and doubles of each stretch over its mean cells, of shape (stretches, 2). [1]"""
        sums = self.measured.sums
        counts = np.stack([sums["none"], sums["two"] + sums["three"]], axis=1)
        made: NDArray[np.float64] = counts / sums["cells"].mean()
        return made


def run_step(job: tuple[Scenario, Steps, int, int, int, int]) -> Step:
    """Run one meter, and its draws if there are any, and keep its reported measures.

    The last two numbers of a job are those of the stretches of the run and of each draw.
    """
    scenario, steps, seed, draws, stretches, of_draws = job
    run = simulate(scenario, seed=seed)
    measured = measure(tally_of(run, stretches))
    setting, step = next(iter(steps.items()), ("", 0)) if len(steps) < 2 else ("", 0)
    points: tuple[Mapping[str, NDArray[np.float64]], ...] = ()
    if draws:
        cells = min(DRAWN_CELLS, scenario.passages)
        rows = run_draws(
            scenario, draws=draws, seed=seed, cells=cells, watch=_reported, stretches=of_draws
        )
        points = tuple(one.points for (one,) in rows)
    return Step(setting, step, measured, shares_of(loads(run)), points)


def _reported(scenario: Scenario, **of_run: Any) -> Measured:
    """Run a scenario and measure what a step reports."""
    return Measured((tallied(scenario, **of_run),), LEVEL_TOTAL, tuple(CHANGES.values()))
