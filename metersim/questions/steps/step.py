"""One step of a setting: a meter with one moved setting, its run, and its draws."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from metersim.files.faults import Keyed
from metersim.machine.scenario import Scenario
from metersim.measures.estimates import Measured, measure
from metersim.measures.indices import BY_KEY, Measure
from metersim.measures.intervals import LEVEL_TOTAL, Estimate
from metersim.measures.tally import tallied, tally_of, tally_of_cells
from metersim.questions.shared.counts import COUNTED, Share, shares_of
from metersim.questions.shared.discrepancy import errors_of
from metersim.questions.shared.looks import carried, loads
from metersim.questions.shared.settings import Steps
from metersim.questions.shared.spread import Spread, gather
from metersim.questions.shared.unknowns import run_draws
from metersim.run.simulation import origin_of, simulate, simulate_cells

DRAWN_CELLS = 1_000
"""Cells of the run of each draw.

Half of a total interval over 16 draws has an SE of 10 to 35 % of it, as with runs of 2,000 cells.
"""
CHANGES: Mapping[str, Measure] = {
    **COUNTED,
    "quality": BY_KEY["per_spacing.quality"],
    "precision": BY_KEY["precision"],
}
"""Reported measures of a step; those of `COUNTED` need no seed on the ground."""
Points = tuple[Mapping[str, NDArray[np.float64]], ...]


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
        Reported measures in every draw of the machine, as `Measured.points`; empty without draws.
    whole : bool
        Whether `CHANGES` are reported; otherwise only those of them that need no fall of a seed.
    """

    setting: str
    step: int
    measured: Measured
    shares: Mapping[str, Share]
    points: Points
    whole: bool = True

    @property
    def steps(self) -> Steps:
        """Moved setting with its number of steps."""
        return {self.setting: self.step} if self.setting else {}

    @property
    def seeds_per_cell(self) -> float:
        """Mean number of seeds of a cell; 1 for a meter that releases no seed."""
        return self.measured.total("seeds") / self.measured.total("cells") or 1.0

    @property
    def reported(self) -> Mapping[str, Measure]:
        """Reported measures by kind."""
        return CHANGES if self.whole else COUNTED

    @cached_property
    def level(self) -> Spread:
        """Uncertainty of the reported measures."""
        scenario, reported = self.measured.scenario, tuple(self.reported.values())
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
        """Reported measures with their total uncertainty."""
        return Keyed({key: self.level.total(part.key) for key, part in self.reported.items()})

    def noise(self, other: Step, kind: str, cells: float) -> float:
        """Standard error of the difference of two counts, one of each step. [1]"""
        return math.hypot(*(one.shares[kind].error(cells) for one in (self, other)))

    def by_stretch(self) -> NDArray[np.float64]:
        """Skips and doubles of each stretch over its mean cells, of shape (stretches, 2). [1]"""
        sums = self.measured.sums
        counts = np.stack([sums["none"], sums["two"] + sums["three"]], axis=1)
        made: NDArray[np.float64] = counts / sums["cells"].mean()
        return made


class Job(NamedTuple):
    """One meter to run.

    Attributes
    ----------
    scenario : Scenario
        The meter.
    steps : mapping of str to int
        Its moved settings.
    seed, draws : int
        Random seed, and number of draws.
    stretches, of_draws : int
        Number of stretches of the run, and of the run of each draw.
    whole : bool
        Whether seeds are followed to the ground; otherwise cells alone are simulated.
    """

    scenario: Scenario
    steps: Steps
    seed: int
    draws: int
    stretches: int
    of_draws: int
    whole: bool = True


def run_step(job: Job) -> Step:
    """Run one meter, and its draws if there are any, and keep its reported measures."""
    scenario, seed = job.scenario, job.seed
    if job.whole or not job.steps:  # an answer has notes on the whole present meter
        run = simulate(scenario, seed=seed)
        measured, shown = measure(tally_of(run, job.stretches)), loads(run)
        if not job.whole:
            measured = replace(measured, measures=(*CHANGES.values(),))
    else:
        cells = simulate_cells(scenario, seed=seed)
        tally = tally_of_cells(origin_of(scenario, seed), cells, job.stretches)
        measured, shown = Measured((tally,), measures=(*COUNTED.values(),)), carried(cells)
    setting, step = next(iter(job.steps.items()), ("", 0)) if len(job.steps) < 2 else ("", 0)
    return Step(setting, step, measured, shares_of(shown), points_of(job), job.whole)


def points_of(job: Job) -> Points:
    """Reported measures of one meter in each of its draws."""
    if not job.draws:
        return ()
    scenario = job.scenario
    rows = run_draws(
        scenario,
        draws=job.draws,
        seed=job.seed,
        cells=min(DRAWN_CELLS, scenario.passages),
        watch=_reported if job.whole else _cells_reported,
        stretches=job.of_draws,
    )
    return tuple(one.points for (one,) in rows)


def _reported(scenario: Scenario, **of_run: Any) -> Measured:
    """Run a scenario and measure what a step reports."""
    return Measured((tallied(scenario, **of_run),), LEVEL_TOTAL, tuple(CHANGES.values()))


def _cells_reported(
    scenario: Scenario, *, stretches: int, on_cells: Any, **of_run: Any
) -> Measured:
    """Run the cells of a scenario and measure what a step reports of them."""
    tally = tally_of_cells(
        origin_of(scenario, **of_run), simulate_cells(scenario, **of_run), stretches
    )
    return Measured((tally,), LEVEL_TOTAL, tuple(COUNTED.values()))
