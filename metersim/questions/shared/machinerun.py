"""The run of a machine: all its rows on one fan, measured, and what their intervals hold."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from metersim.machine.airline import middle_row
from metersim.machine.scenario import Scenario
from metersim.measures.estimates import Measured
from metersim.measures.indices import BY_KEY
from metersim.measures.intervals import Estimate, jackknife
from metersim.measures.rows import (
    OF_PLAN,
    ROW_KEYS,
    PassMeasured,
    PassTally,
    measure_pass,
    tallied_pass,
)
from metersim.measures.tally import stretches_of
from metersim.questions.shared.alike import KindOfRows, kind_of_rows
from metersim.questions.shared.spread import Spread
from metersim.questions.shared.unknowns import DRAWS, spread_about
from metersim.run.rows import Pass
from metersim.run.toolbar import simulate_pass

KINDS = {"cells.skip": ("skip", ("none",)), "cells.double": ("double", ("two", "three"))}
"""Kind of cell by measure, and the columns that count it."""


@dataclass(frozen=True, eq=False)
class MachineRun:
    """What a machine does in a pass, or in its replicates.

    Attributes
    ----------
    measured : PassMeasured
        Measures of the rows, and their air.
    spread : Spread
        Uncertainty of one row, whose draws stand for the inputs and the model of all rows.
    drawn_row : int
        Number of that row.
    """

    measured: PassMeasured
    spread: Spread
    drawn_row: int

    def __repr__(self) -> str:
        return f"<MachineRun of {self.measured!r}>"

    @cached_property
    def whole(self) -> Spread:
        """Uncertainty of all rows together."""
        return self._about(self.measured.whole)

    @cached_property
    def rows(self) -> Mapping[int, Spread]:
        """Uncertainty of each row."""
        return {row: self._about(one) for row, one in self.measured.rows.items()}

    def _about(self, measured: Measured) -> Spread:
        """The row's own estimates with the draws of inputs and model of one row.

        A machine, and what is not known of it, is the same for all its rows.
        """
        estimates = {key: measured[key] for key in ROW_KEYS}
        known = {key: one.value for key, one in estimates.items() if not np.isnan(one.value)}
        return replace(self.spread, estimates=estimates, centres=known)

    @cached_property
    def of_plan(self) -> Mapping[int, Estimate]:
        """Seeds placed over seeds planned, by row; the intervals hold the sampling error."""
        return {row: one[OF_PLAN.key] for row, one in self.measured.rows.items()}

    @cached_property
    def kinds(self) -> Mapping[str, KindOfRows]:
        """Whether a row differs from the others, by measure; empty for a single row."""
        rows = list(self.measured.rows.values())
        if len(rows) < 2:
            return {}
        cells = [one.total("cells") for one in rows]
        return {
            key: kind_of_rows(
                kind, [sum(map(one.total, columns)) for one in rows], cells, _effect(rows, key)
            )
            for key, (kind, columns) in KINDS.items()
        }

    @property
    def numbers(self) -> tuple[int, ...]:
        """Numbers of the working rows."""
        return tuple(self.measured.rows)


def _effect(rows: list[Measured], key: str) -> float:
    """Variance of the counts of rows over that of independent cells, 1 or more. [1]"""
    found = plain = 0.0
    for one in rows:
        share, *others = one.points[key].tolist()
        if len(others) < 2:
            return 1.0
        found += jackknife(others)
        plain += share * (1 - share) / one.total("cells")
    return max(found / plain, 1.0) if plain > 0 else 1.0


def drawn_row(scenario: Scenario) -> int:
    """Number of the working row nearest to the middle, if possible one without own changes."""
    working = scenario.working_rows
    changed = dict(scenario.rows)
    middle = middle_row(scenario)
    return min(working, key=lambda row: (row in changed, abs(row - middle)))


def run_machine(
    scenario: Scenario,
    *,
    seed: int = 1,
    replicates: int = 1,
    draws: int = DRAWS,
    split: bool = True,
    engine: str | None = None,
    on_pass: Callable[[Pass], object] | None = None,
    on_cells: Callable[[int], object] | None = None,
) -> MachineRun:
    """Run and measure a machine.

    The records of a pass are not kept when the next one begins.

    Parameters
    ----------
    scenario : Scenario
        A machine: a scenario with a fan.
    seed, replicates : int
        Random seed, and number of passes.
    draws : int
        Draws of machine and inputs, each with a run of one row.
    split : bool
        As for `metersim.questions.shared.unknowns.spreads_about`.
    engine : str, optional
        As for `metersim.run.simulation.simulate`.
    on_pass : callable, optional
        Called with each pass.
    on_cells : callable, optional
        Called with each further number of cells that are done.

    Raises
    ------
    BadInput
        When the fan cannot give the vacuum.
    """
    tallies: list[PassTally] = []
    for k in range(replicates):
        done = simulate_pass(scenario, seed=seed, replicate=k, engine=engine)
        scenarios = [one.run.scenario for one in done.rows]
        tallies.append(tallied_pass(done, stretches_of(*scenarios, replicates=replicates)))
        if on_pass:
            on_pass(done)
        if on_cells:
            on_cells(sum(one.passages for one in scenarios))
    measured, row = measure_pass(tallies), drawn_row(scenario)
    own = measured.rows[row]
    middle = Measured(own.tallies, own.level, tuple(BY_KEY[key] for key in ROW_KEYS))
    spread = spread_about(middle, draws=draws, on_cells=on_cells, split=split)
    return MachineRun(measured, spread, row)
